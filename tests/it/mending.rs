//! What an owner puts right afterwards: a row too many, a total that is no row, a
//! date corrected in the sheet, a van with two names.

use crate::ingesting::{rows_in_store, stored, totals};
use crate::run::Yard;

const LOG: &str = "Date,Van,Tap,Membrane,Resin,Litres,Notes\n\
    03/10/2026,Quill,320,12,0,310,\n\
    10/10/2026,Quill,325,13,1,300,DI swapped\n\
    17/10/2026,Quill,318,71,0,290,\n\
    24/10/2026,Quill,318,12,0,305,\n\
    TOTAL,,,,,1205,\n";

#[test]
fn a_row_taken_back_is_out_and_stays_out_until_it_is_put_back() {
    let yard = Yard::new();
    yard.write("log.csv", LOG);
    yard.good(&["ingest", "log.csv"]);
    assert_eq!(rows_in_store(&yard), [10, 9, 0, 1]);
    // only the part that a note was mistaken for
    let seen = yard.good(&["files", "take-back", "log.csv:3", "--only", "services"]);
    assert!(
        seen.out.contains("services: 10/10/2026,Quill,325"),
        "{seen:#?}"
    );
    assert_eq!(rows_in_store(&yard), [9, 8, 0, 1]);
    assert!(stored(&yard, "services").is_empty());
    assert_eq!(stored(&yard, "fills").len(), 4);
    // whole lines, several at once
    yard.good(&["files", "take-back", "log.csv:2", "1:4-5"]);
    assert_eq!(rows_in_store(&yard), [3, 2, 0, 1]);
    // in the same file, under the same name and grown, they stay out
    for text in [
        LOG.to_owned(),
        format!("{LOG}31/10/2026,Quill,319,12,0,299,\n"),
    ] {
        yard.write("log.csv", text);
        let seen = yard.good(&["ingest", "log.csv"]);
        assert!(
            seen.err.contains("7 rows that you took back before"),
            "{seen:#?}"
        );
    }
    assert_eq!(rows_in_store(&yard)[1], 4);
    assert_eq!(stored(&yard, "readings").len(), 2);
    // back again, from whichever version of the file
    let seen = yard.good(&["files", "put-back", "log.csv:2", "log.csv:3-5"]);
    assert!(seen.out.contains("put back"), "{seen:#?}");
    assert_eq!(rows_in_store(&yard)[1], 11);
    assert_eq!(stored(&yard, "services").len(), 1);
    let seen = yard.good(&["files", "put-back", "log.csv:2"]);
    assert!(seen.out.contains("nothing to do"), "{seen:#?}");
    let listed = yard.good(&["files"]).out;
    assert!(
        listed.contains("line 3 taken back") && listed.contains("line 3 put back"),
        "{listed}"
    );
    for (arguments, why) in [
        (
            ["files", "take-back", "log.csv:99"].as_slice(),
            "no row stands on line 99",
        ),
        (&["files", "take-back", "other.csv:3"], "no file other.csv"),
        (
            &["files", "take-back", "log.csv", "--only", "fills"],
            "--only goes with a line",
        ),
    ] {
        let line = yard.bad(2, arguments);
        assert!(line.contains(why), "{line}");
    }
    yard.good(&["check"]);
}

#[test]
fn a_row_set_aside_that_is_none_leaves_the_list_for_good() {
    let yard = Yard::new();
    yard.write("log.csv", LOG);
    yard.good(&["ingest", "log.csv"]);
    let listed = yard.good(&["to-fix"]);
    assert!(
        listed.err.contains("litrewise files take-back log.csv:6"),
        "{listed:#?}"
    );
    yard.good(&["files", "take-back", "log.csv:6"]);
    assert_eq!(rows_in_store(&yard), [9, 9, 0, 0]);
    yard.good(&["ingest", "log.csv"]);
    yard.write(
        "log.csv",
        LOG.replace("TOTAL", "31/10/2026,Quill,319,12,0,299,\nTOTAL"),
    );
    let seen = yard.good(&["ingest", "log.csv"]);
    assert_eq!(totals(&seen), [12, 2, 10, 0], "{seen:#?}");
    assert!(yard.good(&["to-fix", "-q"]).out.is_empty());
    assert_eq!(rows_in_store(&yard)[3], 0);
    // it stays off the list where the file that it was dismissed from is taken back
    yard.good(&["files", "take-back", "1"]);
    assert!(yard.good(&["to-fix", "-q"]).out.is_empty());
    assert_eq!(rows_in_store(&yard)[3], 0);
    yard.good(&["files", "put-back", "1"]);
    assert!(yard.good(&["to-fix", "-q"]).out.is_empty());
    yard.good(&["files", "put-back", "1:6"]);
    assert_eq!(rows_in_store(&yard)[3], 1);
    // as it was before the file came at all
    for file in ["1", "2", "3"] {
        yard.good(&["files", "take-back", file]);
    }
    let seen = yard.good(&["files", "put-back", "1"]);
    assert!(
        seen.out
            .contains("10 rows read = 9 stored + 0 already stored + 1 set aside"),
        "{seen:#?}"
    );
}

#[test]
fn a_row_that_is_gone_from_its_file_is_asked_about() {
    let yard = Yard::new();
    yard.write("log.csv", LOG);
    yard.good(&["ingest", "log.csv"]);
    // a date put right, and a row below
    yard.write(
        "log.csv",
        LOG.replace("17/10", "18/10") + "31/10/2026,Quill,319,12,0,299,\n",
    );
    let seen = yard.good(&["ingest", "log.csv"]);
    for said in [
        "2 rows stored from earlier versions of this file are not in it any more",
        "1:4 readings: 17/10/2026,Quill,318,71,0,290",
        "`litrewise files take-back 1:4`",
    ] {
        assert!(seen.err.contains(said), "{said}: {seen:#?}");
    }
    yard.good(&["files", "take-back", "1:4"]);
    let readings = stored(&yard, "readings");
    assert_eq!(readings.len(), 5, "{readings:?}");
    assert!(
        readings.iter().all(|row| !row.contains("2026-10-17")),
        "{readings:?}"
    );
    assert!(
        !yard
            .good(&["ingest", "log.csv"])
            .err
            .contains("not in it any more")
    );
    // an export that begins later, and one of the next month under the same name
    let rows: Vec<&str> = LOG.lines().collect();
    yard.write("log.csv", [rows[0], rows[3], rows[4]].join("\n"));
    let seen = yard.good(&["ingest", "log.csv"]);
    assert!(!seen.err.contains("1:2"), "{seen:#?}");
    yard.write(
        "log.csv",
        format!("{}\n02/11/2026,Quill,320,12,0,310,\n", rows[0]),
    );
    let seen = yard.good(&["ingest", "log.csv"]);
    assert!(!seen.err.contains("not in it any more"), "{seen:#?}");
}

#[test]
fn a_row_already_stored_says_where_a_later_correction_holds() {
    let yard = Yard::new();
    let row = |ppm: u32| {
        format!("van,taken_at,feed_ppm,permeate_ppm\nQuill,2026-10-03T08:00,320,{ppm}\n")
    };
    yard.write("right.csv", row(17));
    yard.write("typo.csv", row(71));
    for (order, ppm) in [
        (["right.csv", "typo.csv"], 71),
        (["typo.csv", "right.csv"], 17),
    ] {
        let yard_of = Yard::new();
        for file in order {
            yard_of.write(file, yard.read(file));
            yard_of.good(&["ingest", file]);
        }
        let seen = yard_of.good(&["ingest", order[0]]);
        let said = format!("corrected since (line 2 by line 2 of {})", order[1]);
        assert!(seen.err.contains(&said), "{seen:#?}");
        assert!(stored(&yard_of, "readings")[0].contains(&format!(",320,{ppm},")));
        // the last one in holds: nothing is said of it
        let seen = yard_of.good(&["ingest", order[1]]);
        assert!(!seen.err.contains("corrected since"), "{seen:#?}");
        yard_of.good(&["files", "take-back", "2:2"]);
        let other = if ppm == 71 { 17 } else { 71 };
        assert!(stored(&yard_of, "readings")[0].contains(&format!(",320,{other},")));
    }
}

#[test]
fn a_van_that_was_renamed_bears_its_new_name_in_rows_old_and_new() {
    let yard = Yard::new();
    let fills = |van: &str, days: std::ops::Range<u32>| {
        let rows = days.map(|day| format!("{van},2026-10-{day:02}T08:00,300\n"));
        format!("van,started_at,litres\n{}", rows.collect::<String>())
    };
    yard.write("a.csv", fills("Moth", 1..8));
    yard.write("b.csv", fills("Barque", 8..12));
    yard.good(&["ingest", "a.csv", "b.csv"]);
    let vans = |yard: &Yard| yard.good(&["vans", "-q"]).out;
    assert!(
        vans(&yard).starts_with("Barque  4 fills\nMoth    7 fills\n"),
        "{}",
        vans(&yard)
    );
    let seen = yard.good(&["vans", "rename", "barque", "Moth"]);
    assert!(
        seen.out.contains("Barque and Moth are one van now: Moth"),
        "{seen:#?}"
    );
    assert!(
        vans(&yard).starts_with("Moth  11 fills\n"),
        "{}",
        vans(&yard)
    );
    yard.write("c.csv", fills("BARQUE", 12..14));
    yard.good(&["ingest", "c.csv", "b.csv"]);
    assert!(
        vans(&yard).starts_with("Moth  13 fills\n"),
        "{}",
        vans(&yard)
    );
    assert!(
        stored(&yard, "fills")
            .iter()
            .all(|row| row.starts_with("Moth,"))
    );
    assert_eq!(rows_in_store(&yard), [17, 13, 4, 0]);
    // a name of its own, then all back
    yard.good(&["vans", "rename", "Moth", "Old Moth"]);
    assert!(
        vans(&yard).starts_with("Old Moth  13 fills\n"),
        "{}",
        vans(&yard)
    );
    let line = yard.bad(2, &["vans", "rename", "Old Moth", "Barque"]);
    assert!(line.contains("litrewise vans take-back Barque"), "{line}");
    yard.bad(2, &["vans", "take-back", "Quill"]);
    yard.good(&["vans", "take-back", "Moth"]);
    yard.good(&["vans", "take-back", "Barque"]);
    assert!(
        vans(&yard).starts_with("Barque  6 fills\nMoth    7 fills\n"),
        "{}",
        vans(&yard)
    );
    // a list that knows one of the two: the other's rows come in under its name
    yard.write("vans.csv", "van,base_postcode\nMoth,QA3\n");
    yard.good(&["ingest", "vans.csv"]);
    assert_eq!(rows_in_store(&yard)[3], 6);
    yard.good(&["vans", "rename", "Barque", "Moth"]);
    assert_eq!(rows_in_store(&yard), [18, 14, 4, 0]);
    // both listed: the van that gives the name keeps its base
    yard.write("vans.csv", "van,base_postcode\nMoth,QA3\nBarque,QB1\n");
    yard.good(&["ingest", "vans.csv"]);
    assert_eq!(stored(&yard, "vans"), ["Moth,QA3,,,,,,"]);
    yard.good(&["check"]);
}
