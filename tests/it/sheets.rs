//! The sheets that owners really keep: one log for everything, workbooks, phone
//! forms, headings of all sorts, and files that are no records at all.

use rust_xlsxwriter::{Format, Formula, Workbook};

use crate::ingesting::{rows_in_store, stored, totals};
use crate::run::{Seen, Yard};

/// Rows set aside: file, line, reason, and the kind of the part.
fn set_aside(yard: &Yard) -> Vec<(String, u64, String, String)> {
    let out = yard
        .good(&["set-aside", "--quiet", "--format", "jsonl"])
        .out;
    out.lines()
        .map(|line| {
            let row: serde_json::Value = serde_json::from_str(line).expect("JSON");
            let word = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
            (
                word("file"),
                row["line"].as_u64().unwrap_or(0),
                word("reason"),
                word("kind"),
            )
        })
        .collect()
}

/// Ingests one file written anew, and says what came of it.
fn ingest(text: &str) -> (Yard, Seen) {
    let yard = Yard::new();
    yard.write("log.csv", text);
    let seen = yard.run(&["ingest", "log.csv"]);
    (yard, seen)
}

/// A file that is refused with one line, after which nothing is stored.
fn refused(text: &str) -> String {
    let (yard, seen) = ingest(text);
    assert_eq!(seen.code, 1, "{seen:#?}");
    assert_eq!(totals(&seen), [0, 0, 0, 0], "{seen:#?}");
    let _ = yard;
    seen.err.trim_end().to_owned()
}

const LOG: &str = "Date,Van,Tap,Membrane,Resin,Litres,Job,Cost,Notes\n\
    03/10/2026,Quill,320,12,0,310,,,\n\
    10/10/2026,Quill,325,13,1,,Resin,85.00,\n\
    17/10/2026,Quill,318,12,0,290,,,filters changed\n\
    24/10/2026,Quill,,,,305,,,busy week\n\
    31/10/2026,Quill,330,1O,0,300,,,needs new resin soon\n";

#[test]
fn a_row_gives_a_part_of_every_kind_that_it_holds() {
    let (yard, seen) = ingest(LOG);
    // readings 4, of them one with a letter for a digit; fills 4; services 2
    assert_eq!(totals(&seen), [10, 9, 0, 1], "{seen:#?}");
    assert!(
        seen.out.contains("readings, services and fills"),
        "{seen:#?}"
    );
    assert_eq!(rows_in_store(&yard), [10, 9, 0, 1]);
    assert_eq!(stored(&yard, "readings").len(), 3);
    assert_eq!(stored(&yard, "fills").len(), 4);
    let services = stored(&yard, "services");
    assert_eq!(services.len(), 2, "{services:?}");
    assert!(
        services[0].starts_with("Quill,2026-10-10,resin,,85"),
        "{services:?}"
    );
    assert!(
        services[1].starts_with("Quill,2026-10-17,prefilter,"),
        "{services:?}"
    );
    let aside = set_aside(&yard);
    assert_eq!(aside.len(), 1);
    assert_eq!(
        (aside[0].1, aside[0].3.as_str()),
        (6, "readings"),
        "{aside:?}"
    );

    // the same file once more is stored already, part by part
    let again = yard.run(&["ingest", "log.csv"]);
    assert_eq!(totals(&again), [10, 0, 9, 1], "{again:#?}");
    assert_eq!(rows_in_store(&yard)[3], 1);
    assert_eq!(set_aside(&yard).len(), 1);

    // mended in its own file, the part goes in and leaves the list
    yard.write("log.csv", LOG.replace("1O", "10"));
    let mended = yard.good(&["ingest", "log.csv"]);
    assert_eq!(totals(&mended), [10, 1, 9, 0], "{mended:#?}");
    assert!(set_aside(&yard).is_empty());
    assert_eq!(rows_in_store(&yard)[3], 0);
    assert_eq!(stored(&yard, "readings").len(), 4);
}

#[test]
fn notes_and_free_columns_of_jobs_tell_of_work_where_they_say_so_plainly() {
    let (yard, seen) = ingest(
        "Date,Van,Tap,Membrane,Resin,Notes\n\
        03/10/2026,Quill,320,12,0,new resin put in\n\
        10/10/2026,Quill,325,13,1,changed the filters\n\
        17/10/2026,Quill,318,12,0,DI swapped\n\
        24/10/2026,Quill,318,12,0,new membrane\n\
        25/10/2026,Quill,318,12,0,needs new resin\n\
        26/10/2026,Quill,318,12,0,no new resin\n\
        27/10/2026,Quill,318,12,0,ordered resin\n\
        28/10/2026,Quill,318,12,0,resin next month?\n\
        29/10/2026,Quill,318,12,0,filters changed on Monday\n",
    );
    assert_eq!(totals(&seen), [13, 13, 0, 0], "{seen:#?}");
    let services = stored(&yard, "services");
    let told: Vec<&str> = services
        .iter()
        .filter_map(|line| line.get(6..).and_then(|l| l.split(",,").next()))
        .collect();
    assert_eq!(
        told,
        [
            "2026-10-03,resin",
            "2026-10-10,prefilter",
            "2026-10-17,resin",
            "2026-10-24,membrane"
        ]
    );
    // each is listed with its line; what may be work is said and not taken
    for said in [
        "taken as resin changed (\"new resin put in\"); lines 2, 4",
        "line 10: \"filters changed on Monday\" may tell of work",
    ] {
        assert!(
            yard.good(&["files", "remarks", "log.csv"])
                .out
                .contains(said),
            "{said}: {seen:#?}"
        );
    }

    let (yard, seen) = ingest(
        "Which van?,Date,What is the tap TDS?,Did you change anything?\n\
        Quill,03/10/2026,320,No\n\
        Quill,10/10/2026,321,\"Yes, resin\"\n\
        Quill,17/10/2026,322,new filters put in\n\
        Quill,24/10/2026,323,all good\n\
        Quill,31/10/2026,324,Yes\n",
    );
    assert_eq!(totals(&seen), [8, 7, 0, 1], "{seen:#?}");
    assert_eq!(set_aside(&yard)[0].1, 6);
    assert_eq!(stored(&yard, "services").len(), 2);

    // jobs of the customers are none of the plant's
    let (yard, seen) = ingest(
        "Date,Van,Job,Tap,Notes\n03/10/2026,Quill,12 High Road,320,\n10/10/2026,Quill,School,321,new resin\n\
         17/10/2026,Quill,Conservatory,322,\n",
    );
    assert_eq!(totals(&seen), [4, 4, 0, 0], "{seen:#?}");
    assert!(
        seen.err
            .contains("column \"Job\" kept out: none of its cells names work"),
        "{seen:#?}"
    );
    assert_eq!(stored(&yard, "services").len(), 1);
}

#[test]
fn a_part_set_aside_is_mended_in_a_file_of_its_own() {
    let (yard, _) = ingest(LOG);
    yard.good(&["set-aside", "--out", "fix.csv"]);
    let fix = yard.read("fix.csv");
    assert_eq!(fix.lines().count(), 2, "{fix}");
    yard.write("fix.csv", fix.replace("1O", "10"));
    let mended = yard.good(&["ingest", "fix.csv"]);
    assert_eq!(totals(&mended), [1, 1, 0, 0], "{mended:#?}");
    assert!(set_aside(&yard).is_empty());
    assert_eq!(rows_in_store(&yard), [10, 10, 0, 0]);
}

#[test]
fn parts_of_one_line_are_set_aside_and_mended_one_by_one() {
    let text = "Date,Van,Tap,Membrane,Resin,Litres,Job\n\
        03/10/2026,Quill,3l5,12,0,3OO,tyres\n\
        31/10/2026,Quill,320,12,0,310,resin\n";
    let (yard, seen) = ingest(text);
    assert_eq!(totals(&seen), [6, 3, 0, 3], "{seen:#?}");
    let kinds: Vec<String> = set_aside(&yard).into_iter().map(|row| row.3).collect();
    assert_eq!(kinds, ["readings", "fills", "services"]);
    yard.write("log.csv", text.replace("3OO", "300"));
    let seen = yard.run(&["ingest", "log.csv"]);
    assert_eq!(totals(&seen), [6, 1, 3, 2], "{seen:#?}");
    let kinds: Vec<String> = set_aside(&yard).into_iter().map(|row| row.3).collect();
    assert_eq!(kinds, ["readings", "services"]);
    yard.good(&["files", "take-back", "2"]);
    let kinds: Vec<String> = set_aside(&yard).into_iter().map(|row| row.3).collect();
    assert_eq!(kinds, ["readings", "fills", "services"]);
    rows_in_store(&yard);
}

#[test]
fn every_heading_of_a_weekly_sheet_is_known() {
    for header in [
        "Week commencing,Van,Tap,Membrane,Resin",
        "W/C,Van,Tap,Membrane,Resin",
        "Datum,Van,Tap,Membrane,Resin",
        "weekCommencing,vanId,tapPpm,membranePpm,resinPpm",
        "DATE,VAN NO,TDS IN,TDS MEMBRANE,TDS OUT",
        "takenAt,van,feedPpm,permeatePpm,productPpm",
        "Date,Van,\"Tap, ppm\",Membrane / ppm,Resin [ppm]",
        "Date,Reg,tds in,tds out,pure",
        "Date of reading,Which van?,TDS of tap water (ppm),TDS after the membrane (ppm),TDS after the resin (ppm)",
    ] {
        let text = format!("{header}\n05/10/2026,Quill,320,12,1\n19/10/2026,Quill,325,13,1\n");
        let (yard, seen) = ingest(&text);
        assert_eq!(totals(&seen), [2, 2, 0, 0], "{header}: {seen:#?}");
        let readings = stored(&yard, "readings");
        assert!(readings[0].contains(",320,12,1,"), "{header}: {readings:?}");
    }
}

#[test]
fn degrees_are_degrees_in_every_encoding() {
    let rows = b"\nQuill,2026-10-05T08:00,320,12,1,11\n".as_slice();
    for sign in [
        "(\u{b0}C)".as_bytes(),
        b"(\xb0C)",
        "(Â°C)".as_bytes(),
        "(\u{fffd}C)".as_bytes(),
        b"(?C)",
        b"(\xf8C)",
        "\u{2103}".as_bytes(),
        "(ºC)".as_bytes(),
        b", deg C",
        b"/ C",
    ] {
        let mut bytes = b"van,taken_at,feed_ppm,permeate_ppm,product_ppm,\"Water temp ".to_vec();
        bytes.extend(sign);
        bytes.push(b'"');
        bytes.extend(rows);
        let yard = Yard::new();
        yard.write("log.csv", &bytes);
        let seen = yard.good(&["ingest", "log.csv"]);
        let readings = stored(&yard, "readings");
        assert!(
            readings[0].contains(",320,12,1,11,"),
            "{}: {readings:?} {seen:#?}",
            String::from_utf8_lossy(sign)
        );
    }
}

#[test]
fn a_column_that_stands_twice_is_one_column() {
    let text = "Date,Van,Tap ppm,Tap ppm,Membrane,Resin\n\
        05/10/2026,Quill,320,320,12,1\n\
        19/10/2026,Quill,325,325,13,1\n\
        20/10/2026,Quill,326,,13,1\n\
        21/10/2026,Quill,,327,13,1\n";
    let (yard, seen) = ingest(text);
    assert_eq!(totals(&seen), [4, 4, 0, 0], "{seen:#?}");
    let readings = stored(&yard, "readings");
    assert!(readings[3].contains(",327,13,1,"), "{readings:?}");
    // where they contradict one another throughout, nobody can tell which is meant
    let error = refused(
        "Date,Van,Tap ppm,Mains ppm,Membrane\n\
        05/10/2026,Quill,320,12,12\n19/10/2026,Quill,325,13,13\n",
    );
    assert!(
        error.contains("several columns could be feed_ppm"),
        "{error}"
    );
}

#[test]
fn columns_that_say_the_same_in_other_ways_are_one_column() {
    for (header, rows) in [
        (
            "Date,Van,Vehicle,Tap,Membrane,Resin",
            [
                "05/10/2026,Quill,QUILL ,320,12,1",
                "19/10/2026,Quill,quill,325,13,1",
            ],
        ),
        (
            "Date,Datum,Van,Tap,Membrane,Resin",
            [
                "05/10/2026,2026-10-05,Quill,320,12,1",
                "19/10/2026,19 Oct 2026,Quill,325,13,1",
            ],
        ),
        (
            "Date,Van,Postcode,Location,Tap,Tap TDS,Membrane,Resin",
            [
                "05/10/2026,Quill,QA3 4XY,qa34xy,320,320.0 ppm,12,1",
                "19/10/2026,Quill,QA3 4XY,QA3  4xy,325,325.00,13,1",
            ],
        ),
    ] {
        let (yard, seen) = ingest(&format!("{header}\n{}\n", rows.join("\n")));
        assert_eq!(totals(&seen), [2, 2, 0, 0], "{header}: {seen:#?}");
        assert!(seen.err.contains("hold the same"), "{header}: {seen:#?}");
        let readings = stored(&yard, "readings");
        assert!(readings[0].starts_with("Quill,2026-10-05,"), "{readings:?}");
        assert!(readings[1].contains(",325,13,1,"), "{readings:?}");
    }
    // the cell that reads one way only tells how the other is meant
    let mut text = "Date,Van,Litres,Volume\n\
        05/10/2026,Quill,\"1,200\",1200\n19/10/2026,Quill,1.310,1310\n20/10/2026,Quill,310,311\n"
        .to_owned();
    for day in 1..=20 {
        text += &format!("{day:02}/11/2026,Quill,312,312.0\n");
    }
    let (yard, seen) = ingest(&text);
    let aside = set_aside(&yard);
    assert_eq!(totals(&seen), [23, 22, 0, 1], "{aside:?}");
    assert!(aside[0].2.contains("\"310\" and \"311\""), "{aside:?}");
    let fills = stored(&yard, "fills");
    assert!(
        fills[0].contains(",1200,") && fills[1].contains(",1310,"),
        "{fills:?}"
    );
}

#[test]
fn what_lacks_a_date_or_a_column_of_its_own_is_refused_with_its_headings() {
    let error = refused("Wasser,Van,Tap,Membrane,Resin\n05/10/2026,Quill,320,12,1\n");
    assert!(error.contains("no column says when"), "{error}");
    assert!(error.contains("\"Tap\" (feed_ppm)"), "{error}");
    for foreign in [
        "Date,Reg,Litres,Price per litre,Mileage\n05/10/2026,Quill,48.2,1.45,80123\n",
        "Date,Van,Start,End,Miles\n05/10/2026,Quill,80120,80160,40\n",
        "Date,Van,In,Out\n05/10/2026,Quill,08:00,17:00\n",
        "Van,Driver,Phone\nQuill,A. N. Other,00000\n",
        "Van,Membrane,Resin\nQuill,12,1\n",
        "Date,Van,Qty\n05/10/2026,Quill,3\n",
        "Name,Postcode,Price\nA. N. Other,QA1 1AA,12\n",
    ] {
        refused(foreign);
    }
    // the answer is given once, and the file goes in
    let yard = Yard::new();
    yard.write(
        "log.csv",
        "Wann,Van,Wasser\n05/10/2026,Quill,320\n25/10/2026,Quill,322\n",
    );
    let columns = ["--column", "Wann=taken_at", "--column", "Wasser=feed_ppm"];
    let arguments: Vec<&str> = ["ingest", "log.csv"].into_iter().chain(columns).collect();
    assert_eq!(totals(&yard.good(&arguments)), [2, 2, 0, 0]);
}

#[test]
fn litres_that_count_tanks_are_asked_about() {
    for header in ["Tank fills", "Fills", "Litres"] {
        let text = format!(
            "Date,Van,{header}\n05/10/2026,Quill,3\n12/10/2026,Quill,4\n19/10/2026,Quill,3\n"
        );
        let (yard, seen) = ingest(&text);
        assert_eq!(totals(&seen), [3, 0, 0, 3], "{header}: {seen:#?}");
        assert!(set_aside(&yard)[0].2.contains("litres or tanks?"));
        let seen = yard.good(&["ingest", "log.csv", "--tank-fills", "400"]);
        assert_eq!(totals(&seen), [3, 3, 0, 0], "{seen:#?}");
        assert!(stored(&yard, "fills")[1].contains(",1600,"));
        assert!(set_aside(&yard).is_empty());
    }
}

#[test]
fn a_counter_stands_no_lower_than_the_fill() {
    let (yard, seen) = ingest(
        "Datum;Van;Liter;Zählerstand\n05.10.2026;Quill;450;12.345\n19.10.2026;Quill;430;12.775\n\
         20.10.2026;Quill;410;713.185\n",
    );
    assert_eq!(totals(&seen), [3, 2, 0, 1], "{seen:#?}");
    let fills = stored(&yard, "fills");
    assert!(fills[1].contains(",430,12775,"), "{fills:?}");
    assert!(
        set_aside(&yard)[0]
            .2
            .contains("which may be 713185 or 713.185")
    );
}

#[test]
fn parts_of_a_tank_are_asked_about_too() {
    let (yard, seen) = ingest("Date,Van,Tanks filled\n05/10/2026,Quill,2\n19/10/2026,Quill,1.5\n");
    assert_eq!(totals(&seen), [2, 0, 0, 2], "{seen:#?}");
    let seen = yard.good(&["ingest", "log.csv", "--tank-fills", "400"]);
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    assert!(stored(&yard, "fills")[1].contains(",600,"));
}

#[test]
fn a_column_of_what_each_row_is_decides_nothing() {
    let (yard, seen) = ingest(
        "Date,Van,Type,Tap,Membrane,Litres,Item\n05/10/2026,Quill,Reading,320,12,,\n\
         05/10/2026,Quill,Fill,,,450,\n19/10/2026,Quill,Service,,,,Resin\n20/10/2026,Quill,Fill,,,430,\n",
    );
    assert_eq!(totals(&seen), [4, 4, 0, 0], "{seen:#?}");
    assert_eq!(stored(&yard, "fills").len(), 2);
    assert_eq!(stored(&yard, "services"), ["Quill,2026-10-19,resin,,,,"]);
}

#[test]
fn a_sheet_of_ticks_alone_is_one_of_services() {
    let (yard, seen) = ingest(
        "Date,Van,Resin changed?,Filters changed?\n05/10/2026,Quill,Y,\n19/10/2026,Quill,,x\n\
         20/10/2026,Quill,maybe,\n21/10/2026,Quill,,no\n",
    );
    assert_eq!(totals(&seen), [4, 2, 0, 2], "{seen:#?}");
    let services = stored(&yard, "services");
    assert!(
        services[0].starts_with("Quill,2026-10-05,resin"),
        "{services:?}"
    );
    let reasons: Vec<String> = set_aside(&yard).into_iter().map(|row| row.2).collect();
    assert!(
        reasons[0].contains("neither a tick nor empty"),
        "{reasons:?}"
    );
}

#[test]
fn a_time_of_day_may_lack_its_colon() {
    let (yard, seen) = ingest(
        "Date,Time,Van,Tap,Membrane\n05/10/2026,0730,Quill,320,12\n19/10/2026,1615,Quill,320,12\n\
         20/10/2026,2575,Quill,320,12\n21/10/2026,7,Quill,320,12\n",
    );
    assert_eq!(totals(&seen), [4, 2, 0, 2], "{seen:#?}");
    let readings = stored(&yard, "readings");
    assert!(
        readings[0].starts_with("Quill,2026-10-05T07:30"),
        "{readings:?}"
    );
    let aside = set_aside(&yard);
    assert!(aside[1].2.contains("not a time of day"), "{aside:?}");
}

#[test]
fn a_row_of_all_vans_is_of_none() {
    let (yard, seen) = ingest(
        "Date,Van,Tap\n05/10/2026,Quill,320\n19/10/2026,All vans,322\n19/10/2026,both,322\n",
    );
    assert_eq!(totals(&seen), [3, 1, 0, 2], "{seen:#?}");
    assert!(set_aside(&yard)[0].2.contains("not one van"));
}

#[test]
fn a_point_before_three_digits_is_thousands_where_it_can_be_nothing_else() {
    let (yard, seen) = ingest("Date,Van,Litres\n05/10/2026,Quill,1.200\n19/10/2026,Quill,1.201\n");
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    assert!(stored(&yard, "fills")[0].contains(",1200,"));
    // 12 or 12,345 litres: both are fills
    let (yard, seen) = ingest("Date,Van,Litres\n05/10/2026,Quill,312\n19/10/2026,Quill,19.345\n");
    assert_eq!(totals(&seen)[1], 2, "{seen:#?}");
    let (yard2, seen) = ingest("Date,Van,Litres\n05/10/2026,Quill,312\n19/10/2026,Quill,20.000\n");
    assert_eq!(totals(&seen)[3], 1, "{seen:#?}");
    drop((yard, yard2));
}

#[test]
fn what_a_meter_did_not_show_costs_its_own_cell() {
    for blind in [">999", "OL", "n/a", "---", "err", "999"] {
        let text = format!(
            "Date,Van,Tap,Membrane,Resin\n05/10/2026,Quill,{blind},12,1\n19/10/2026,Quill,325,13,1\n"
        );
        let (yard, seen) = ingest(&text);
        assert_eq!(totals(&seen), [2, 2, 0, 0], "{blind}: {seen:#?}");
        assert!(stored(&yard, "readings")[0].contains(",,12,1,"), "{blind}");
    }
}

#[test]
fn a_year_of_two_digits_does_not_hide_the_day() {
    let (yard, seen) =
        ingest("Date,Van,Tap,Membrane,Resin\n19/10/26,Quill,320,12,1\n05/10/26,Quill,321,12,1\n");
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    let readings = stored(&yard, "readings");
    assert!(readings[0].starts_with("Quill,2026-10-05"), "{readings:?}");
    assert!(readings[1].starts_with("Quill,2026-10-19"), "{readings:?}");
}

#[test]
fn folders_are_read_downwards_and_what_is_beside_records_is_passed_over() {
    let yard = Yard::new();
    let row = |day: u32| format!("van,taken_at,feed_ppm\nQuill,2026-10-{day:02}T08:00,320\n");
    yard.write("logs/2026/10/a.csv", row(1));
    yard.write("logs/2026/b.csv", row(2));
    yard.write("logs/c.csv", row(3));
    yard.write("logs/vans.csv.bak", "van,membranes\nQuill,9\n");
    yard.write("logs/~$c.xlsx", "x");
    yard.write("logs/.~lock.c.csv#", "x");
    yard.write("logs/.hidden/d.csv", row(4));
    let seen = yard.good(&["ingest", "logs"]);
    assert_eq!(totals(&seen), [3, 3, 0, 0], "{seen:#?}");
    for name in ["vans.csv.bak", "~$c.xlsx", ".~lock.c.csv#", ".hidden"] {
        let told = format!("{}{}", seen.out, seen.err);
        assert!(told.contains(name), "{name}: {seen:#?}");
    }
    let order: Vec<&str> = seen
        .out
        .lines()
        .filter_map(|l| l.split(':').next())
        .collect();
    assert_eq!(
        &order[..3],
        ["logs/2026/10/a.csv", "logs/2026/b.csv", "logs/c.csv"]
    );
}

/// A year of a van whose resin comes due.
fn fleet(yard: &Yard) {
    let mut readings = "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n".to_owned();
    let mut fills = "van,started_at,litres\n".to_owned();
    for week in 0..40 {
        let (month, day) = (1 + week / 4, 1 + 7 * (week % 4));
        readings += &format!(
            "Quill,2026-{month:02}-{day:02}T08:00,320,{},{}\n",
            12 + week / 4,
            week * week / 170
        );
        fills += &format!("Quill,2026-{month:02}-{day:02}T09:00,900\n");
    }
    yard.write("readings.csv", readings);
    yard.write("fills.csv", fills);
    yard.write(
        "services.csv",
        "van,done_at,item\nQuill,2025-12-01,membrane\nQuill,2025-12-01,resin\nQuill,2025-12-01,prefilter\n",
    );
    yard.good(&["ingest", "readings.csv", "fills.csv", "services.csv"]);
}

#[test]
fn what_the_program_writes_for_people_is_no_record() {
    let yard = Yard::new();
    fleet(&yard);
    let before = rows_in_store(&yard);
    yard.good(&["report", "--as-of", "2026-10-31", "--out", "report"]);
    let due = yard.good(&[
        "due",
        "--as-of",
        "2026-10-31",
        "--weeks",
        "26",
        "--format",
        "csv",
    ]);
    yard.write("due-list.csv", due.out);
    let assessment = yard.good(&["assess", "--as-of", "2026-10-31", "--format", "csv"]);
    yard.write("assessed.csv", assessment.out);
    let parts = yard.good(&["parts", "--as-of", "2026-10-31", "--format", "csv"]);
    yard.write("parts.csv", parts.out);
    let aside = yard.good(&["set-aside", "--quiet", "--format", "csv"]);
    yard.write("aside.csv", aside.out);
    for file in [
        "due-list.csv",
        "assessed.csv",
        "parts.csv",
        "aside.csv",
        "report/due.csv",
        "report/assessment.csv",
        "report/fleet.xlsx",
    ] {
        let seen = yard.run(&["ingest", file]);
        assert_eq!(seen.code, 1, "{file}: {seen:#?}");
        assert_eq!(seen.err.trim_end().lines().count(), 1, "{file}: {seen:#?}");
        assert!(seen.err.contains("litrewise's own"), "{file}: {seen:#?}");
    }
    assert_eq!(rows_in_store(&yard), before);
    // what the store gives out as records is taken
    yard.good(&["export", "--out", "out"]);
    yard.good(&["ingest", "out"]);
}

#[test]
fn a_list_of_jobs_comes_in_as_work_done_where_it_is_ticked() {
    let yard = Yard::new();
    fleet(&yard);
    let due = yard.good(&[
        "due",
        "--as-of",
        "2026-10-31",
        "--weeks",
        "26",
        "--format",
        "csv",
    ]);
    let mut lines = due.out.lines().map(str::to_owned);
    let mut ticked = format!("{}\n", lines.next().expect("a header"));
    assert!(ticked.ends_with(",tick,done_on\n"), "{ticked}");
    let jobs: Vec<String> = lines.collect();
    assert!(jobs.len() > 1, "{jobs:?}");
    for (i, job) in jobs.iter().enumerate() {
        let tick = ["x,", ",14/11/2026"].get(i).copied().unwrap_or(",");
        let job = job.strip_suffix(",,").expect("nothing ticked yet");
        ticked += &format!("{job},{tick}\n");
    }
    yard.write("due.csv", &ticked);
    let services = stored(&yard, "services").len();
    assert_eq!(yard.run(&["ingest", "due.csv"]).code, 1);
    let seen = yard.run(&["ingest", "--done", "due.csv", "--done-on", "2026-11-12"]);
    assert_eq!(seen.code, 0, "{seen:#?}");
    let done = jobs.len().min(2) as u64;
    assert_eq!(totals(&seen), [done, done, 0, 0], "{seen:#?}");
    assert_eq!(stored(&yard, "services").len(), services + done as usize);
    let lines = stored(&yard, "services").join("\n");
    assert!(
        lines.contains("2026-11-12") && lines.contains("2026-11-14"),
        "{lines}"
    );
}

/// A log as people keep it: a title over all columns, typed dates, a formula, a
/// van's name merged over its rows, notes, and sheets that hold something else.
fn workbook(yard: &Yard) {
    let mut book = Workbook::new();
    let date = Format::new().set_num_format("dd/mm/yyyy");
    let title = Format::new().set_bold();
    let sheet = book.add_worksheet().set_name("Log").expect("a name");
    sheet
        .merge_range(0, 0, 0, 6, "Water log 2026", &title)
        .expect("a title");
    for (column, head) in [
        "Week commencing",
        "Van",
        "Tap",
        "Membrane",
        "Resin",
        "Litres",
        "Notes",
    ]
    .into_iter()
    .enumerate()
    {
        sheet.write(2, column as u16, head).expect("a heading");
    }
    sheet
        .merge_range(3, 1, 5, 1, "Quill", &title)
        .expect("a van");
    for row in 0..3_u32 {
        let day =
            rust_xlsxwriter::ExcelDateTime::from_ymd(2026, 10, 5 + 7 * row as u8).expect("a day");
        sheet
            .write_with_format(3 + row, 0, &day, &date)
            .expect("a date");
        sheet.write(3 + row, 2, 320 + row).expect("a number");
        sheet.write(3 + row, 3, 12.125).expect("a number");
        sheet.write(3 + row, 4, 1).expect("a number");
    }
    sheet
        .write_formula(3, 5, Formula::new("=2*155").set_result("310"))
        .expect("a formula");
    sheet.write(4, 5, 300).expect("a number");
    sheet.write(5, 6, "new resin").expect("a note");
    sheet.set_row_hidden(4).expect("a hidden row");
    let vans = book.add_worksheet().set_name("My vans").expect("a name");
    for (column, head) in ["Van", "Base", "Tank size"].into_iter().enumerate() {
        vans.write(0, column as u16, head).expect("a heading");
    }
    vans.write(1, 0, "Quill").expect("a van");
    vans.write(1, 1, "QA3").expect("a base");
    vans.write(1, 2, 400).expect("a tank");
    let old = book.add_worksheet().set_name("Old").expect("a name");
    old.write(0, 0, "Van").expect("a heading");
    old.write(1, 0, "Barque").expect("a van");
    old.set_hidden(true);
    book.add_worksheet();
    book.save(yard.path().join("book.xlsx"))
        .expect("a workbook");
}

#[test]
fn each_sheet_of_a_workbook_is_a_file_of_its_own() {
    let yard = Yard::new();
    workbook(&yard);
    let seen = yard.good(&["ingest", "book.xlsx"]);
    // three readings, two fills, one service; one van
    assert_eq!(totals(&seen), [7, 7, 0, 0], "{seen:#?}");
    assert!(
        seen.out
            .contains("book.xlsx#Log: readings, fills and services"),
        "{seen:#?}"
    );
    assert!(seen.out.contains("book.xlsx#My vans: vans"), "{seen:#?}");
    assert!(
        format!("{}{}", seen.out, seen.err).contains("book.xlsx#Old"),
        "{seen:#?}"
    );
    let readings = stored(&yard, "readings");
    assert!(readings[0].starts_with("Quill,2026-10-05,"), "{readings:?}");
    assert!(readings[0].contains(",320,12.125,1,"), "{readings:?}");
    assert!(stored(&yard, "fills")[0].contains(",310,"));
    assert!(stored(&yard, "services")[0].starts_with("Quill,2026-10-19,resin"));
    let again = yard.good(&["ingest", "book.xlsx"]);
    assert_eq!(totals(&again), [7, 0, 7, 0], "{again:#?}");
    rows_in_store(&yard);
}

#[test]
fn tables_of_a_sheet_one_below_the_other_are_read_one_by_one() {
    let yard = Yard::new();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("All").expect("a name");
    let rows: [&[&str]; 12] = [
        &["dateRead", "vanName", "tdsTap", "tdsMembrane"],
        &["2026-10-05 07:30", "Quill", "320", "12"],
        &["2026-10-12 07:30", "Quill", "3Z1", "12"],
        &[],
        &["Filling up"],
        &["fillDate", "vanName", "litresFilled", "meterReading"],
        &["2026-10-05", "Quill", "310", "8310"],
        &["2026-10-12", "Quill", "300", "8610"],
        &[],
        &["Parts changed"],
        &["dateDone", "vanName", "whatWasChanged", "cost"],
        &["2026-10-12", "Quill", "Resin", "85"],
    ];
    for (row, cells) in rows.into_iter().enumerate() {
        for (column, cell) in cells.iter().enumerate() {
            sheet
                .write(row as u32, column as u16, *cell)
                .expect("a cell");
        }
    }
    book.save(yard.path().join("book.xlsx"))
        .expect("a workbook");
    let seen = yard.run(&["ingest", "book.xlsx"]);
    assert_eq!(totals(&seen), [5, 4, 0, 1], "{seen:#?}");
    for said in [
        "book.xlsx#All: readings",
        "book.xlsx#All (2): fills",
        "book.xlsx#All (3): services",
    ] {
        assert!(seen.out.contains(said), "{said}: {seen:#?}");
    }
    assert_eq!(set_aside(&yard)[0].1, 3);
    assert_eq!(stored(&yard, "services"), ["Quill,2026-10-12,resin,,85,,"]);
    let again = yard.run(&["ingest", "book.xlsx"]);
    assert_eq!(totals(&again), [5, 0, 4, 1], "{again:#?}");
    assert!(!again.err.contains("not in it any more"), "{again:#?}");
    yard.good(&["files", "take-back", "book.xlsx#All (3):12"]);
    assert!(stored(&yard, "services").is_empty());
}

#[test]
fn tables_of_a_text_one_below_the_other_are_read_one_by_one() {
    let text = "Date;Van;Tap;Membrane\n05/10/2026;Quill;320;12\n19/10/2026;Quill;3Z1;12\n\n\
        Filling up\nDate;Van;Litres;Meter reading\n05/10/2026;Quill;310;8310\n19/10/2026;Quill;300;8610\n\n\
        Date;Van;What was changed;Cost\n19/10/2026;Quill;Resin;85\n";
    let (yard, seen) = ingest(text);
    assert_eq!(totals(&seen), [5, 4, 0, 1], "{seen:#?}");
    for said in [
        "log.csv: readings",
        "log.csv (2): fills",
        "log.csv (3): services",
    ] {
        assert!(seen.out.contains(said), "{said}: {seen:#?}");
    }
    assert_eq!(
        (set_aside(&yard)[0].0.as_str(), set_aside(&yard)[0].1),
        ("log.csv", 3)
    );
    let again = yard.run(&["ingest", "log.csv"]);
    assert_eq!(totals(&again), [5, 0, 4, 1], "{again:#?}");
    assert!(!again.err.contains("not in it any more"), "{again:#?}");
    yard.good(&["files", "take-back", "log.csv (3):11"]);
    assert!(stored(&yard, "services").is_empty());

    // one that is none of ours is said once, and costs the other nothing
    let (yard, seen) = ingest(
        "Date,Van,Tap,Membrane\n05/10/2026,Quill,320,12\n19/10/2026,Quill,321,12\n\n\
         Date,Van,Litres,Fuel card,Mileage\n05/10/2026,Quill,48.2,12,80123\n12/10/2026,Quill,47.2,12,80423\n",
    );
    assert_eq!(seen.code, 1, "{seen:#?}");
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    assert!(
        seen.err
            .contains("log.csv (2):5: looks like fills, but its headings speak of fuel"),
        "{seen:#?}"
    );
    assert!(set_aside(&yard).is_empty());
}

/// A table of an OpenDocument 1.2 spreadsheet: cells as their values and their types.
fn ods_table(name: &str, rows: &[&[(&str, &str)]]) -> String {
    let cell = |(kind, value): &(&str, &str)| match *kind {
        "" => "<table:table-cell/>".to_owned(),
        "string" => format!(
            "<table:table-cell office:value-type=\"string\"><text:p>{value}</text:p></table:table-cell>"
        ),
        "float" => format!(
            "<table:table-cell office:value-type=\"float\" office:value=\"{value}\"><text:p>?</text:p></table:table-cell>"
        ),
        kind => format!(
            "<table:table-cell office:value-type=\"{kind}\" office:{kind}-value=\"{value}\"><text:p>?</text:p></table:table-cell>"
        ),
    };
    let row = |cells: &&[(&str, &str)]| {
        let cells: String = cells.iter().map(cell).collect();
        format!("<table:table-row>{cells}</table:table-row>")
    };
    let rows: String = rows.iter().map(row).collect();
    format!(
        "<table:table table:name=\"{name}\">{rows}<table:table-row table:number-rows-repeated=\"1048000\"><table:table-cell table:number-columns-repeated=\"1024\"/></table:table-row></table:table>"
    )
}

/// The archive of such a spreadsheet (OASIS OpenDocument 1.2, part 3).
fn ods(tables: &str) -> Vec<u8> {
    use std::io::Write as _;
    use zip::write::SimpleFileOptions;
    const TYPE: &str = "application/vnd.oasis.opendocument.spreadsheet";
    let content = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content \
         xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\" office:version=\"1.2\">\
         <office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    );
    let manifest = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><manifest:manifest \
         xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\" manifest:version=\"1.2\">\
         <manifest:file-entry manifest:full-path=\"/\" manifest:media-type=\"{TYPE}\"/>\
         <manifest:file-entry manifest:full-path=\"content.xml\" manifest:media-type=\"text/xml\"/></manifest:manifest>"
    );
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    for (name, text) in [
        ("mimetype", TYPE),
        ("META-INF/manifest.xml", &manifest),
        ("content.xml", &content),
    ] {
        archive.start_file(name, stored).expect("an entry");
        archive.write_all(text.as_bytes()).expect("its text");
    }
    archive.finish().expect("an archive").into_inner()
}

#[test]
fn an_open_document_workbook_is_read_as_any_other() {
    let log = ods_table(
        "Log",
        &[
            &[("string", "Van log 2026")],
            &[],
            &[
                ("string", "Date"),
                ("string", "Time"),
                ("string", "Van"),
                ("string", "Tap"),
                ("string", "Membrane"),
                ("string", "Notes"),
            ],
            &[
                ("date", "2026-10-05"),
                ("time", "PT07H30M00S"),
                ("string", "Quill"),
                ("float", "320"),
                ("float", "12.125"),
            ],
            &[
                ("date", "2026-10-12T07:45:00"),
                ("", ""),
                ("string", "Quill"),
                ("float", "1.5e2"),
                ("string", "1O"),
                ("string", "new resin"),
            ],
        ],
    );
    let fills = ods_table(
        "Fills",
        &[
            &[("string", "Date"), ("string", "Van"), ("string", "Litres")],
            &[
                ("date", "2026-10-05"),
                ("string", "Quill"),
                ("float", "310"),
            ],
        ],
    );
    let yard = Yard::new();
    yard.write("book.ods", ods(&(log + &fills)));
    let seen = yard.run(&["ingest", "book.ods"]);
    assert_eq!(totals(&seen), [4, 3, 0, 1], "{seen:#?}");
    let readings = stored(&yard, "readings");
    assert!(
        readings[0].starts_with("Quill,2026-10-05T07:30"),
        "{readings:?}"
    );
    assert!(readings[0].contains(",320,12.125,"), "{readings:?}");
    assert!(stored(&yard, "fills")[0].contains(",310,"));
    assert!(stored(&yard, "services")[0].starts_with("Quill,2026-10-12"));
    let aside = set_aside(&yard);
    assert_eq!(
        (aside[0].0.as_str(), aside[0].1),
        ("book.ods#Log", 5),
        "{aside:?}"
    );
    let again = yard.run(&["ingest", "book.ods"]);
    assert_eq!(totals(&again), [4, 0, 3, 1], "{again:#?}");
}

#[test]
fn a_row_of_a_sheet_is_set_aside_with_its_number() {
    let yard = Yard::new();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Log").expect("a name");
    for (row, cells) in [
        ["van", "taken_at", "feed_ppm"],
        ["Quill", "2026-10-05T08:00", "320"],
        ["", "", ""],
        ["Quill", "2026-10-06T08:00", "3Z0"],
    ]
    .into_iter()
    .enumerate()
    {
        for (column, cell) in cells.into_iter().enumerate() {
            sheet
                .write(row as u32, column as u16, cell)
                .expect("a cell");
        }
    }
    // a formula that no program has worked out
    sheet.write(4, 0, "Quill").expect("a van");
    sheet.write(4, 1, "2026-10-07T08:00").expect("a date");
    sheet
        .write_formula(4, 2, Formula::new("=C2+1").set_result(""))
        .expect("a formula");
    book.save(yard.path().join("book.xlsx"))
        .expect("a workbook");
    let seen = yard.run(&["ingest", "book.xlsx"]);
    assert_eq!(totals(&seen), [3, 1, 0, 2], "{seen:#?}");
    let aside = set_aside(&yard);
    assert_eq!(
        (aside[0].0.as_str(), aside[0].1),
        ("book.xlsx#Log", 4),
        "{aside:?}"
    );
    assert_eq!(aside[1].1, 5, "{aside:?}");
}

#[test]
fn a_file_of_one_van_need_not_name_it_in_every_row() {
    let rows = "Date,Tap,Membrane,Litres,Filters changed\n05/10/2026,320,12,310,x\n19/10/2026,3Z1,12,300,\n";
    // a line above the headings says it
    for title in [
        "Van: Quill,,,,\n",
        "Van,Quill,,,\n",
        "Water log\nReg: Quill\n",
    ] {
        let (yard, seen) = ingest(&format!("{title}{rows}"));
        assert_eq!(totals(&seen), [5, 4, 0, 1], "{title}: {seen:#?}");
        assert!(seen.err.contains("all rows are of van Quill"), "{seen:#?}");
        assert!(stored(&yard, "services")[0].starts_with("Quill,2026-10-05,prefilter"));
    }
    // otherwise it is asked, and the answer is kept for this file
    let yard = Yard::new();
    yard.write("log.csv", rows);
    yard.write("other.csv", rows);
    let seen = yard.run(&["ingest", "log.csv"]);
    assert!(seen.err.contains("--van NAME"), "{seen:#?}");
    let seen = yard.good(&["ingest", "log.csv", "--van", "Quill"]);
    assert_eq!(totals(&seen), [5, 4, 0, 1], "{seen:#?}");
    yard.write("log.csv", format!("{rows}26/10/2026,322,12,301,\n"));
    let seen = yard.good(&["ingest", "log.csv"]);
    assert_eq!(totals(&seen), [7, 2, 4, 1], "{seen:#?}");
    assert_eq!(yard.run(&["ingest", "other.csv"]).code, 1);
    // what is mended goes to the same van
    yard.good(&["to-fix", "--out", "fix.csv"]);
    let fix = yard.read("fix.csv").replace("3Z1", "321");
    yard.write("fix.csv", fix);
    yard.good(&["ingest", "fix.csv"]);
    assert_eq!(rows_in_store(&yard), [11, 7, 4, 0]);
    assert!(
        stored(&yard, "readings")
            .iter()
            .all(|row| row.starts_with("Quill,"))
    );

    let mut book = Workbook::new();
    for (name, tap) in [("Quill", 320), ("Moth", 180)] {
        let sheet = book.add_worksheet().set_name(name).expect("a name");
        for (column, head) in ["Date", "Tap", "Membrane"].into_iter().enumerate() {
            sheet.write(0, column as u16, head).expect("a heading");
        }
        sheet.write(1, 0, "25/10/2026").expect("a date");
        sheet.write(1, 1, tap).expect("a number");
        sheet.write(1, 2, 12).expect("a number");
    }
    let yard = Yard::new();
    book.save(yard.path().join("book.xlsx"))
        .expect("a workbook");
    assert_eq!(yard.run(&["ingest", "book.xlsx"]).code, 1);
    let seen = yard.good(&["ingest", "book.xlsx", "--van-by-sheet"]);
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    let readings = stored(&yard, "readings");
    assert!(
        readings[0].starts_with("Moth,2026-10-25,,180"),
        "{readings:?}"
    );
    assert!(
        readings[1].starts_with("Quill,2026-10-25,,320"),
        "{readings:?}"
    );
}

#[test]
fn json_lines_are_read_as_far_as_their_keys_tell() {
    let (yard, seen) = ingest(
        "{\"van\":\"Quill\",\"takenAt\":\"2026-10-05T08:00\",\"tds\":{\"in\":320,\"out\":12},\"litres\":310}\n\
         {\"van\":\"Quill\",\"takenAt\":\"2026-10-12T08:00\",\"tds\":{\"in\":\"32O\",\"out\":13},\"litres\":null}\n\
         not json\n",
    );
    assert_eq!(totals(&seen), [4, 2, 0, 2], "{seen:#?}");
    let aside = set_aside(&yard);
    assert_eq!((aside[0].1, aside[1].1), (2, 3), "{aside:?}");
    let error = refused("{\"name\":\"A\",\"colour\":\"red\"}\n");
    assert!(error.contains("\"colour\""), "{error}");
}

#[test]
fn a_phone_form_is_read_by_its_questions() {
    let (yard, seen) = ingest(
        "Submitted at,Which van?,What is the TDS of the tap water? (ppm),TDS after the membrane (ppm),\
         TDS after the resin (ppm),How many litres did you make today?,Did you change the resin?,Anything else?\n\
         2026-10-05 08:12:44,Quill,320,12,1,310,No,\n\
         2026-10-12 08:02:13,Quill,325,13,6,290,Yes,\n",
    );
    assert_eq!(totals(&seen), [5, 5, 0, 0], "{seen:#?}");
    assert!(stored(&yard, "services")[0].contains(",resin,"));
    let error = refused("Submitted at,How was your day?,Rating\n2026-10-05 08:12:44,fine,5\n");
    assert!(error.contains("\"Rating\""), "{error}");
}

#[test]
fn litres_beside_a_job_are_those_of_the_resin_where_only_jobs_have_any() {
    let (yard, seen) = ingest(
        "Date,Van,Job,Litres,Cost\n05/10/2026,Quill,resin,25,85\n19/10/2026,Quill,filters,,30\n",
    );
    assert_eq!(totals(&seen), [2, 2, 0, 0], "{seen:#?}");
    let services = stored(&yard, "services");
    assert!(services[0].contains(",resin,25,85"), "{services:?}");
    let (_yard, seen) =
        ingest("Date,Van,Job,Litres,Cost\n05/10/2026,Quill,resin,310,85\n19/10/2026,Quill,,300,\n");
    assert_eq!(totals(&seen), [3, 3, 0, 0], "{seen:#?}");
}

#[test]
fn fills_that_say_no_source_are_water_from_the_mains() {
    let (yard, _) = ingest("van,started_at,litres\nQuill,2026-10-03T09:00,300\n");
    assert_eq!(
        stored(&yard, "fills"),
        ["Quill,2026-10-03T09:00:00+01:00,,,300,,,mains"]
    );
}

#[test]
fn a_month_that_was_never_taken_in_is_said() {
    let yard = Yard::new();
    let mut fills = "van,started_at,litres\n".to_owned();
    for (month, day) in (1..=10).flat_map(|m| [3, 10, 17, 24].map(|d| (m, d))) {
        for van in ["Quill", "Barque"] {
            if month != 4 {
                fills += &format!("{van},2026-{month:02}-{day:02}T09:00,300\n");
            }
        }
    }
    yard.write("fills.csv", fills);
    let seen = yard.good(&["ingest", "fills.csv"]);
    let told = format!("{}{}", seen.out, seen.err);
    assert!(
        told.contains("April 2026: no fills from any van"),
        "{seen:#?}"
    );
    assert!(!told.contains("March 2026"), "{seen:#?}");
}

/// Last year's rows pasted below this year's, with their own header in another order and
/// a column that is none of ours, are read by that header; a separator lost beside a date
/// is put right where it can be in one way only.
#[test]
fn a_table_below_in_another_order_and_a_separator_lost_beside_a_date() {
    let yard = Yard::new();
    yard.write(
        "in/book.csv",
        "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n\
         QV-1,2026-03-02T08:00,310,12,0\n\
         QV-2,2026-03-02T09:00,305,11,1\n\
         QV-12026-03-09T08:00,311,13,0\n\
         \n\
         taken_at,driver,van,product_ppm,permeate_ppm,feed_ppm\n\
         2025-03-03T08:00,Max,QV-1,2,9,301\n\
         2025-03-03T09:00,Max,QV-2,1,8,302\n",
    );
    let seen = yard.run(&["ingest", "in"]);
    assert_eq!(seen.code, 0, "{}{}", seen.out, seen.err);
    let rows = stored(&yard, "readings");
    assert_eq!(rows.len(), 5, "{rows:?}");
    for (start, figures) in [
        ("QV-1,2025-03-03", ",301,9,2"),
        ("QV-2,2025-03-03", ",302,8,1"),
        ("QV-1,2026-03-09", ",311,13,0"),
    ] {
        let is_it = |row: &String| row.starts_with(start) && row.contains(figures);
        assert!(rows.iter().any(is_it), "{start} {figures}: {rows:?}");
    }
}

#[test]
fn what_is_written_beside_a_reading_is_kept_and_shown() {
    let yard = Yard::new();
    yard.write(
        "in/readings.csv",
        "Van,Date,Tap,Membrane,Resin,Comments\n\
         Quill,05/10/2026,320,12,0,tap was slow\n\
         Quill,12/10/2026,322,12,0,\n\
         Quill,19/10/2026,321,13,0,new resin\n\
         Quill,26/10/2026,324,13,0,\"=1+1, and <b>loud</b>\"\n",
    );
    yard.good(&["ingest", "in"]);
    yard.good(&["export", "--out", "out"]);
    let readings = yard.read("out/readings.csv");
    let notes: Vec<&str> = readings
        .lines()
        .map(|line| {
            line.split_once("concentrate_lpm,")
                .map_or(line, |(_, note)| note)
        })
        .collect();
    assert_eq!(notes[0], "note");
    assert!(notes[1].ends_with(",tap was slow"), "{readings}");
    assert!(notes[2].ends_with(','), "{readings}");
    // work is a service, once
    assert!(notes[3].ends_with(','), "{readings}");
    assert!(yard.read("out/services.csv").contains("new resin"));
    assert!(notes[4].contains("'=1+1"), "{readings}");
    yard.good(&["export", "--anonymous", "--out", "others"]);
    assert!(!yard.read("others/readings.csv").contains("slow"));
    // what goes out comes in as it was
    yard.good(&["ingest", "out", "--store", "again"]);
    yard.good(&["export", "--store", "again", "--out", "out-again"]);
    for name in ["readings.csv", "services.csv"] {
        assert_eq!(
            yard.read(&format!("out/{name}")),
            yard.read(&format!("out-again/{name}"))
        );
    }
    yard.good(&["report", "--out", "pages"]);
    let index = yard.read("pages/index.html");
    assert!(
        index.contains("Noted 5 Oct 2026: “tap was slow”"),
        "no note"
    );
    assert!(index.contains("&lt;b&gt;loud"), "no escape");
    // corrected beside the same reading
    yard.write(
        "in/readings.csv",
        "Van,Date,Tap,Membrane,Resin,Comments\nQuill,2026-10-05,320,12,0,tap was very slow\n",
    );
    yard.good(&["ingest", "in"]);
    yard.good(&["export", "--out", "out"]);
    assert!(yard.read("out/readings.csv").contains("very slow"));
}
