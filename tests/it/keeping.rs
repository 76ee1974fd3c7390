//! What the store keeps: files of any size, whole or not at all, taken back
//! and mended, and what is said when something is wrong with it.

use crate::run::{Seen, Yard};

const READINGS: &str = "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n\
    QV-001,2026-09-01T16:00,338,12,0\n\
    QV-001,2026-09-08T16:00,341,13,1\n\
    QV-001,2026-09-15T16:00,335,12,1\n";

fn equation(seen: &Seen) -> &str {
    seen.out
        .lines()
        .rfind(|line| line.contains(" read = "))
        .and_then(|line| line.split_once(": "))
        .unwrap_or_else(|| panic!("no totals: {seen:#?}"))
        .1
}

#[test]
fn a_line_of_many_megabytes_is_set_aside_and_the_others_are_read() {
    let yard = Yard::new();
    let long = "9".repeat(5 << 20);
    yard.write(
        "r.csv",
        format!("{READINGS}QV-001,{long},1,1,1\nQV-001,2026-09-22T16:00,344,13,2\n"),
    );
    let seen = yard.good(&["ingest", "r.csv"]);
    assert_eq!(
        equation(&seen),
        "5 rows read = 4 stored + 0 already stored + 1 set aside"
    );
    let listed = yard.good(&["set-aside", "--format", "jsonl"]).out;
    let row: serde_json::Value = serde_json::from_str(listed.trim()).expect("one JSON line");
    assert_eq!(row["line"], 5);
    assert!(
        row["reason"].as_str().is_some_and(|r| r.contains("1 MiB")),
        "{listed:.300}"
    );
    assert!(listed.len() < 6000, "{}", listed.len());
    // One line and nothing else.
    yard.write("one.csv", "x".repeat(9 << 20));
    yard.bad(1, &["ingest", "-q", "one.csv"]);
}

#[cfg(unix)]
#[test]
fn a_pipe_is_read_like_a_file_and_a_device_is_refused() {
    let yard = Yard::new();
    let pipe = yard.path().join("pipe");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.is_ok_and(|status| status.success()), "mkfifo");
    let writer = std::thread::spawn(move || std::fs::write(pipe, READINGS));
    let seen = yard.good(&["ingest", "pipe"]);
    writer.join().expect("a writer").expect("a written pipe");
    assert_eq!(
        equation(&seen),
        "3 rows read = 3 stored + 0 already stored + 0 set aside"
    );
    let line = yard.bad(1, &["ingest", "-q", "/dev/zero"]);
    assert!(line.contains("/dev/zero"), "{line}");
}

#[test]
fn a_file_taken_back_is_out_until_it_is_put_back() {
    let yard = Yard::new();
    yard.write("a.csv", READINGS);
    yard.write(
        "b.csv",
        format!("{READINGS}QV-001,2026-09-22T16:00,344,13,2\n"),
    );
    yard.good(&["ingest", "a.csv", "b.csv"]);
    let seen = yard.good(&["ingest", "--take-back", "a.csv"]);
    assert!(seen.out.contains("a.csv (file 1): taken back"), "{seen:#?}");
    assert_eq!(
        equation(&seen),
        "4 rows read = 4 stored + 0 already stored + 0 set aside"
    );
    let listed = yard.good(&["ingest", "--list"]).out;
    let lines: Vec<&str> = listed.lines().collect();
    assert_eq!(lines.len(), 3, "{listed}");
    assert!(
        lines[0].contains("a.csv") && lines[1].contains("taken back"),
        "{listed}"
    );
    yard.good(&["ingest", "--take-back", "2"]);
    let seen = yard.good(&["ingest", "--take-back", "2"]);
    assert!(seen.out.contains("nothing to do"), "{seen:#?}");
    assert_eq!(
        equation(&seen),
        "0 rows read = 0 stored + 0 already stored + 0 set aside"
    );
    let seen = yard.good(&["ingest", "--put-back", "1"]);
    assert_eq!(
        equation(&seen),
        "3 rows read = 3 stored + 0 already stored + 0 set aside"
    );
    let line = yard.bad(2, &["ingest", "--take-back", "c.csv"]);
    assert!(line.contains("--list"), "{line}");
    yard.good(&["ingest", "a.csv"]);
    let line = yard.bad(2, &["ingest", "--take-back", "a.csv"]);
    assert!(line.contains("1, 3"), "{line}");
}
