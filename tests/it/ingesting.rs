//! What happens to rows on their way in, and that every one is accounted for.

use crate::run::{Seen, Yard};

const READINGS: &str = "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n\
    QV-001,2026-09-01T16:00,338,12,0\n\
    QV-001,2026-09-08T16:00,341,13,1\n\
    QV-001,2026-09-15T16:00,335,12,1\n";

/// The lines of a file that the store gives out again, without its header.
pub fn stored(yard: &Yard, file: &str) -> Vec<String> {
    let out = yard.path().join("out");
    let _ = std::fs::remove_dir_all(&out);
    yard.good(&["export", "--out", "out"]);
    let text = yard.read(&format!("out/{file}.csv"));
    text.lines().skip(1).map(str::to_owned).collect()
}

/// read, stored, already stored, set aside, from the last line of an ingest.
pub fn totals(seen: &Seen) -> [u64; 4] {
    let line = seen
        .out
        .lines()
        .find(|l| l.contains(" read = "))
        .unwrap_or_else(|| panic!("no totals: {seen:#?}"));
    let after = line.split_once(": ").expect("totals").1;
    let numbers: Vec<u64> = after
        .split_whitespace()
        .filter_map(|w| w.parse().ok())
        .collect();
    let totals: [u64; 4] = numbers.try_into().unwrap_or_else(|_| panic!("{line}"));
    assert_eq!(totals[0], totals[1] + totals[2] + totals[3], "{line}");
    totals
}

/// The same from the store itself, as the assessment says it.
pub fn rows_in_store(yard: &Yard) -> [u64; 4] {
    let json = yard.good(&["assess", "--quiet", "--format", "json"]).out;
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let rows = ["read", "stored", "already_stored", "set_aside"].map(|k| {
        value["rows"][k]
            .as_u64()
            .unwrap_or_else(|| panic!("{value}"))
    });
    assert_eq!(rows[0], rows[1] + rows[2] + rows[3]);
    rows
}

#[test]
fn reading_the_same_file_twice_stores_nothing_twice() {
    let yard = Yard::new();
    yard.write("readings.csv", READINGS);
    assert_eq!(
        totals(&yard.good(&["ingest", "readings.csv"])),
        [3, 3, 0, 0]
    );
    assert_eq!(
        totals(&yard.good(&["ingest", "readings.csv"])),
        [3, 0, 3, 0]
    );
    assert_eq!(rows_in_store(&yard), [6, 3, 3, 0]);
    yard.good(&["export", "--out", "out"]);
    assert_eq!(yard.read("out/readings.csv").lines().count(), 4);
}

#[test]
fn an_overlapping_export_stores_only_what_is_new_and_a_correction_wins() {
    let yard = Yard::new();
    yard.write("a.csv", READINGS);
    let corrected = READINGS.replace("341,13,1", "341,31,1") + "QV-001,2026-09-22T16:00,340,13,2\n";
    yard.write("b.csv", corrected);
    yard.good(&["ingest", "a.csv"]);
    let seen = yard.good(&["ingest", "b.csv"]);
    assert_eq!(totals(&seen), [4, 2, 2, 0]);
    assert!(
        seen.out.contains("1 new, 1 corrected, 2 already stored"),
        "{seen:#?}"
    );
    yard.good(&["export", "--out", "out"]);
    let rows = yard.read("out/readings.csv");
    assert!(rows.contains(",31,") && !rows.contains("341,13,"), "{rows}");
}

#[test]
fn a_file_that_is_not_ours_does_not_stop_the_others() {
    let yard = Yard::new();
    yard.write("in/a.csv", "colour,size\nred,3\n");
    yard.write("in/b.csv", "");
    yard.write("in/c.csv", READINGS);
    let seen = yard.run(&["ingest", "in", "missing.csv"]);
    assert_eq!(seen.code, 1, "{seen:#?}");
    assert_eq!(totals(&seen), [3, 3, 0, 0]);
    let complaints: Vec<&str> = seen.err.lines().collect();
    assert_eq!(complaints.len(), 3, "{seen:#?}");
    for name in ["a.csv", "b.csv", "missing.csv"] {
        assert!(
            complaints.iter().any(|l| l.contains(name)),
            "{name}: {seen:#?}"
        );
    }
}

#[test]
fn an_empty_folder_is_one_clear_line() {
    let yard = Yard::new();
    std::fs::create_dir(yard.path().join("nothing")).unwrap();
    let seen = yard.run(&["ingest", "nothing"]);
    assert_eq!(seen.code, 1);
    assert!(seen.err.contains("nothing"), "{seen:#?}");
    assert_eq!(seen.err.trim_end().lines().count(), 1, "{seen:#?}");
}

#[test]
fn rows_set_aside_keep_file_line_reason_and_text() {
    let yard = Yard::new();
    let text = READINGS.to_owned() + "QV-001,2026-09-22T16:00,\"1,2O4\",13,2\n";
    yard.write("october.csv", text);
    assert_eq!(totals(&yard.good(&["ingest", "october.csv"])), [4, 3, 0, 1]);
    let listed = yard.good(&["set-aside", "--format", "jsonl"]).out;
    let rows: Vec<serde_json::Value> = listed
        .lines()
        .map(|l| serde_json::from_str(l).expect("a JSON line"))
        .collect();
    assert_eq!(rows.len(), 1, "{listed}");
    assert_eq!(rows[0]["file"], "october.csv");
    assert_eq!(rows[0]["line"], 5);
    assert_eq!(rows[0]["text"], "QV-001,2026-09-22T16:00,\"1,2O4\",13,2");
    assert!(
        rows[0]["reason"]
            .as_str()
            .is_some_and(|r| r.contains("feed_ppm")),
        "{listed}"
    );
    for format in ["text", "csv"] {
        let out = yard.good(&["set-aside", "--format", format]).out;
        assert!(out.contains("october.csv") && out.contains('5'), "{out}");
    }
    // Mended at its source, it takes the place of the row set aside.
    let mended = READINGS.to_owned() + "QV-001,2026-09-22T16:00,344,13,2\n";
    yard.write("october.csv", mended);
    yard.good(&["ingest", "october.csv"]);
    let [_, stored, _, _] = rows_in_store(&yard);
    assert_eq!(stored, 4);
}

#[test]
fn a_row_of_the_future_is_set_aside() {
    let yard = Yard::new();
    yard.write(
        "r.csv",
        READINGS.to_owned() + "QV-001,2026-12-24T16:00,344,13,2\n",
    );
    assert_eq!(totals(&yard.good(&["ingest", "r.csv"])), [4, 3, 0, 1]);
}

#[test]
fn a_dry_run_says_what_would_happen_and_stores_nothing() {
    let yard = Yard::new();
    yard.write("r.csv", READINGS);
    let seen = yard.good(&["ingest", "--dry-run", "r.csv"]);
    assert_eq!(totals(&seen), [3, 3, 0, 0]);
    assert!(!yard.path().join("litrewise-store").exists());
    yard.good(&["ingest", "r.csv"]);
    yard.write(
        "s.csv",
        READINGS.to_owned() + "QV-001,2026-09-22T16:00,344,13,2\n",
    );
    assert_eq!(
        totals(&yard.good(&["ingest", "--dry-run", "s.csv"])),
        [4, 1, 3, 0]
    );
    assert_eq!(rows_in_store(&yard), [3, 3, 0, 0]);
}

#[test]
fn day_and_month_that_cannot_be_told_apart_wait_for_the_option() {
    let yard = Yard::new();
    let text = "van,date,litres\nQV-001,03/04/2026 16:00,300\nQV-001,05/06/2026 16:00,310\n";
    yard.write("fills.csv", text);
    let seen = yard.good(&["ingest", "fills.csv"]);
    assert_eq!(totals(&seen), [2, 0, 0, 2]);
    let all = format!("{}{}", seen.out, seen.err);
    assert!(all.contains("--date-order"), "{seen:#?}");
    let seen = yard.good(&["ingest", "fills.csv", "--date-order", "day-first"]);
    assert_eq!(totals(&seen)[1], 2, "{seen:#?}");
    yard.good(&["export", "--out", "out"]);
    let fills = yard.read("out/fills.csv");
    assert!(
        fills.contains("2026-04-03T16:00") && fills.contains("2026-06-05T16:00"),
        "{fills}"
    );
    assert_eq!(yard.good(&["set-aside", "--format", "jsonl"]).out, "");
}

#[test]
fn the_order_of_files_is_irrelevant_unless_rows_share_a_key() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "4", "--months", "3", "--out", "in"]);
    let names =
        ["readings", "fills", "services", "vans", "hardness"].map(|n| format!("in/{n}.csv"));
    let mut outs = Vec::new();
    for (number, turn) in [0usize, 2, 4].into_iter().enumerate() {
        let mut files: Vec<&str> = names.iter().map(String::as_str).collect();
        files.rotate_left(turn);
        let store = format!("store-{number}");
        let mut arguments = vec!["ingest", "--store", &store];
        arguments.extend(files);
        yard.good(&arguments);
        let out = format!("out-{number}");
        yard.good(&["export", "--store", &store, "--out", &out]);
        outs.push(
            ["readings", "fills", "services", "vans", "hardness"]
                .map(|n| yard.read(&format!("{out}/{n}.csv"))),
        );
    }
    assert!(outs.windows(2).all(|pair| pair[0] == pair[1]));
}

#[test]
fn what_goes_out_comes_in_again_unchanged() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "12", "--months", "2", "--out", "in"]);
    yard.good(&["ingest", "in"]);
    yard.good(&["export", "--out", "out"]);
    let seen = yard.good(&["ingest", "--store", "again", "out"]);
    assert_eq!(totals(&seen)[3], 0, "{seen:#?}");
    assert_eq!(totals(&yard.good(&["ingest", "out"]))[1], 0);
    yard.good(&["export", "--store", "again", "--out", "out-again"]);
    for name in ["readings", "fills", "services", "vans", "hardness"] {
        let [one, two] = ["out", "out-again"].map(|f| yard.read(&format!("{f}/{name}.csv")));
        assert_eq!(one, two, "{name}");
        assert!(one.lines().count() > 1);
    }
}

#[test]
fn templates_go_in_without_a_row_set_aside() {
    let yard = Yard::new();
    yard.good(&["template", "--out", "ours"]);
    let seen = yard.good(&["ingest", "ours"]);
    assert_eq!(totals(&seen), [10, 10, 0, 0], "{seen:#?}");
}

#[test]
fn every_dialect_of_ten_files_is_read_and_every_row_accounted_for() {
    let yard = Yard::new();
    let day = |n: usize| format!("2026-09-{n:02}");
    yard.write("in/01 plain.csv", READINGS);
    yard.write(
        "in/02 semicolon.csv",
        "Reg;Date;TDS in;RO;Pure\nQV-002;17.09.2026 08:00;338,5;12,5;0,5\nQV-002;24.09.2026 08:00;339,0;12,0;0,5\n",
    );
    yard.write(
        "in/03 tab.csv",
        "Van\tTaken at\tFeed (uS/cm)\tPermeate (uS/cm)\nQV-003\t2026-09-02 16:00\t676\t24\n",
    );
    let utf16: Vec<u8> = std::iter::once(0xFEFFu16)
        .chain("van,taken_at,feed_ppm\r\nQV-004,2026-09-03T16:00,120\r\n".encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    yard.write("in/04 utf16.csv", utf16);
    let mut latin = b"van,taken_at,feed (\xB5S/cm)\n".to_vec();
    latin.extend(b"QV-005,2026-09-04T16:00,240\n");
    yard.write("in/05 windows.csv", latin);
    yard.write(
        "in/06 bom.csv",
        format!(
            "\u{feff}van,started_at,litres\nQV-001,{}T16:00,310\nQV-001,{}T16:00,0\n",
            day(1),
            day(2)
        ),
    );
    yard.write(
        "in/07 fills.csv",
        "Van;Date;Filled (gallons)\nQV-002;18.09.2026 16:00;66\n",
    );
    yard.write(
        "in/08 services.csv",
        "Reg,Date done,Work,Price\nQV-001,25/09/2026,DI,£66.00\nQV-001,26/09/2026,sandwich,3\n",
    );
    yard.write("in/09 vans.csv", "Van,Base postcode,Tank size,Membranes,Resin litres\nQV-001,QA3 4XX,400,1,11\nQV-002,QA3 4XX,400,1,11\nQV-003,QA3,400,1,11\nQV-004,QC2,400,1,11\nQV-005,QC2,400,1,11\n");
    yard.write(
        "in/10 hardness.csv",
        "Postcode,Hardness,Unit\nQA3,20,clark\nQC2,5.6,german\n",
    );
    let seen = yard.good(&["ingest", "in"]);
    let [read, stored, already, aside] = totals(&seen);
    assert_eq!((read, stored, already, aside), (20, 18, 0, 2), "{seen:#?}");
    assert_eq!(rows_in_store(&yard), [20, 18, 0, 2]);
    yard.good(&["export", "--out", "out"]);
    let readings = yard.read("out/readings.csv");
    assert!(readings.contains("338.5,12.5,0.5"), "{readings}");
    // 676 and 24 µS/cm on the 0.5 scale.
    assert!(readings.contains("338,12,"), "{readings}");
    // 66 imperial gallons of 4.54609 L.
    assert!(
        yard.read("out/fills.csv").contains("300.04"),
        "{}",
        yard.read("out/fills.csv")
    );
}
