//! The month as a manager does it: one command, listings for programs, and what
//! the exit code tells.

use litrewise::inside::calendar::Datelike;
use std::io::Write;
use std::process::Stdio;

use serde_json::Value;

use crate::run::Yard;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|e| panic!("{e}: {text}"))
}

#[test]
fn one_command_takes_in_what_is_new_says_what_is_missing_and_writes_the_pages() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "4", "--months", "8", "--out", "exports",
    ]);
    // Nobody read QV-002 in October, and one row cannot be used.
    let readings = yard.read("exports/readings.csv");
    let kept = readings
        .lines()
        .filter(|l| !l.starts_with("QV-002,2026-10"));
    let mut kept: Vec<&str> = kept.collect();
    kept.push("QV-001,2026-10-20T16:00,QA3,3E8,12,0,,,,");
    yard.write("exports/readings.csv", kept.join("\n") + "\n");
    let seen = yard.good(&["month", "exports", "-q"]);
    let out = seen.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(out.contains("October 2026"), "{out}");
    assert!(out.contains("No TDS reading this month: QV-002."), "{out}");
    assert!(out.contains("1 row to fix"), "{out}");
    assert!(out.contains("planned on 30 Sep 2026"), "{out}");
    for file in ["index.html", "due.csv", "due.ics", "fleet.xlsx"] {
        let path = format!("litrewise-report/2026-10/{file}");
        assert!(yard.path().join(&path).is_file(), "{path}");
    }
    assert!(!yard.path().join("litrewise-report/index.html").exists());
    // Again: nothing is new, the pages are the same.
    let page = yard.path().join("litrewise-report/2026-10/van-QV-001.png");
    let drawn = std::fs::read(&page).unwrap();
    let seen = yard.good(&["month", "exports", "-q"]);
    assert!(seen.out.contains("files with nothing new"), "{}", seen.out);
    assert_eq!(std::fs::read(&page).unwrap(), drawn);
    // One van's pages alone: of one with a job to come, named loosely.
    let due = json(&yard.good(&["due", "-q", "-f", "json"]).out);
    let van = due["visits"][0]["jobs"][0]["van"].as_str().unwrap();
    let loosely = van.to_lowercase().replace('-', " ");
    let seen = yard.good(&["report", "-q", "--van", &loosely, "--out", "one"]);
    assert_eq!(
        seen.out.lines().collect::<Vec<_>>(),
        [format!("one/van-{van}.png"), format!("one/card-{van}.png")]
    );
    assert_eq!(
        std::fs::read_dir(yard.path().join("one")).unwrap().count(),
        2
    );
}

#[test]
fn what_cannot_be_read_is_said_and_the_rest_of_the_month_is_done() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "2", "--months", "4", "--out", "exports",
    ]);
    yard.write("exports/tyres.csv", "wheel,pressure\nleft,2.4\n");
    let seen = yard.run(&["month", "exports", "-q"]);
    assert_eq!(seen.code, 1, "{seen:#?}");
    assert!(
        seen.err.starts_with("error: exports/tyres.csv"),
        "{seen:#?}"
    );
    assert!(seen.out.contains("The report: "), "{seen:#?}");
}

#[test]
fn rows_come_from_standard_input_too() {
    let yard = Yard::new();
    let mut child = yard
        .command(&["ingest", "-", "-f", "json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let rows = b"van,taken_at,feed_ppm\nQV-001,2026-09-01T16:00,338\nQV-001,2026-09-08T16:00,x\n";
    child.stdin.take().unwrap().write_all(rows).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    let told = json(&String::from_utf8(output.stdout).unwrap());
    assert_eq!(told["files"][0]["file"], "standard input");
    assert_eq!(told["rows"]["read"], 2);
    assert_eq!(told["rows"]["set_aside"], 1);
    let listed = json(&yard.good(&["to-fix", "-f", "json"]).out);
    assert_eq!(listed[0]["line"], 3);
    // The row below its own header, to be corrected and taken in.
    let fix = yard.good(&["to-fix", "-o", "-"]).out;
    assert!(fix.contains("QV-001,2026-09-08T16:00,x"), "{fix}");
    let toml = yard.good(&["settings", "--write", "-"]).out;
    assert!(
        toml.contains("[work]") && toml.contains("# days = \"Mon-Fri\""),
        "{toml}"
    );
    assert!(!yard.path().join("-").exists());
}

#[test]
fn every_listing_comes_as_json() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "4", "--months", "8", "--out", "exports",
    ]);
    let told = json(&yard.good(&["ingest", "exports", "-f", "json", "-n"]).out);
    assert_eq!(told["dry_run"], true);
    let told = json(&yard.good(&["ingest", "exports", "-f", "json"]).out);
    assert_eq!(told["files"].as_array().unwrap().len(), 5);
    for arguments in [
        &["files"][..],
        &["check"],
        &["assess"],
        &["due"],
        &["due", "--last-month"],
        &["parts"],
        &["districts"],
        &["to-fix"],
        &["settings"],
        &["backtest"],
    ] {
        let arguments: Vec<&str> = arguments
            .iter()
            .copied()
            .chain(["-q", "-f", "json"])
            .collect();
        json(&yard.good(&arguments).out);
    }
    let files = json(&yard.good(&["files", "-f", "json"]).out);
    assert_eq!(files[0]["in_store"], true);
    let due = json(&yard.good(&["due", "--last-month", "-q", "-f", "json"]).out);
    assert!(due["last_list"].is_array());
    for visit in due["visits"].as_array().unwrap() {
        let day: litrewise::inside::calendar::Date =
            visit["day"].as_str().unwrap().parse().unwrap();
        assert!(day.weekday().num_days_from_monday() < 5, "{visit}");
    }
    let weekend = ["--set", "work.days=Sat-Sun", "due", "-q", "-f", "json"];
    for visit in json(&yard.good(&weekend).out)["visits"].as_array().unwrap() {
        let day: litrewise::inside::calendar::Date =
            visit["day"].as_str().unwrap().parse().unwrap();
        assert!(day.weekday().num_days_from_monday() > 4, "{visit}");
    }
}

#[test]
fn the_exit_code_tells_what_was_mistyped_and_what_is_overdue() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "4", "--months", "8", "--out", "exports",
    ]);
    yard.good(&["ingest", "exports", "-q"]);
    for arguments in [
        &["assess", "--van", "nobody"][..],
        &["due", "--van", "nobody"],
        &["due", "--base", "QZ9"],
        &["report", "--van", "nobody"],
        &["report", "--month", "2031-01"],
        &["assess", "--what-if", "membranes 2 for nobody"],
        &["files", "take-back", "nothing.csv"],
        &["settings", "set", "prices.membrain=180"],
        &["settings", "set", "work.jobs_per_day=many"],
        &["assess", "--set", "limits.product_ppm=ten"],
    ] {
        let seen = yard.run(&[arguments, &["-q"]].concat());
        assert_eq!(seen.code, 2, "{arguments:?}: {seen:#?}");
        assert!(seen.err.starts_with("error: "), "{seen:#?}");
    }
    let due = json(&yard.good(&["due", "-q", "-f", "json"]).out);
    let visits = due["visits"].as_array().unwrap().iter();
    let jobs = visits.flat_map(|v| v["jobs"].as_array().unwrap());
    let late = jobs.filter(|j| j["state"] == "overdue").count();
    let code = yard.run(&["due", "-q", "--exit-code"]).code;
    assert_eq!(code, if late > 0 { 3 } else { 0 });
}

#[test]
fn colour_comes_when_it_is_asked_for() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "2", "--months", "4", "--out", "exports",
    ]);
    yard.good(&["ingest", "exports", "-q"]);
    let has_colour = |when: &[&str]| {
        let seen = yard.good(&[&["assess", "-q"], when].concat());
        seen.out.contains("\x1b[")
    };
    assert!(has_colour(&["--color", "always"]) && has_colour(&["--colour=always"]));
    assert!(!has_colour(&["--color", "never"]) && !has_colour(&[]));
}

#[test]
fn a_setting_is_set_by_command_and_holds_from_then_on() {
    let yard = Yard::new();
    yard.good(&["settings", "--write"]);
    yard.good(&["settings", "set", "prices.currency=£", "stock.resin=25"]);
    yard.good(&["settings", "set", "prices.currency=EUR"]);
    let listed = json(&yard.good(&["settings", "-q", "-f", "json"]).out);
    let value = |key: &str| {
        let mut lines = listed.as_array().unwrap().iter();
        lines.find(|l| l["key"] == key).unwrap()["value"].clone()
    };
    assert_eq!(value("prices.currency"), "EUR");
    assert_eq!(value("stock.resin"), 25.0);
    // Nothing is written where one value of several is wrong.
    let file = yard.read("litrewise-store/litrewise.toml");
    yard.bad(2, &["settings", "set", "stock.resin=30", "work.days=never"]);
    assert_eq!(yard.read("litrewise-store/litrewise.toml"), file);
}

#[test]
fn the_calendars_end_neither_stops_a_report_nor_holds_it_up() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "2", "--months", "8", "--out", "exports",
    ]);
    yard.good(&["ingest", "exports", "-q"]);
    for day in ["9999-06-01", "9999-12-31"] {
        let seen = yard.good(&["report", "-q", "--as-of", day, "--van", "QV-001", "-o", day]);
        assert!(seen.out.contains("van-QV-001.png"), "{seen:#?}");
    }
}
