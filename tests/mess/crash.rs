//! Killed at any moment: the store opens, nothing committed is lost, nothing is
//! doubled by the run after, and a report is the old one or the new one.
//!
//! `LITREWISE_KILLS` says how often to kill; 30 unless it does.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use super::pollution::Chance;
use super::run::Yard;

const KINDS: [&str; 5] = ["readings", "fills", "services", "vans", "hardness"];

fn kills() -> usize {
    let stated = std::env::var("LITREWISE_KILLS").ok();
    stated.and_then(|n| n.parse().ok()).unwrap_or(30)
}

/// Starts a command and kills it after a while; gives the lines it had printed.
fn killed_after(yard: &Yard, arguments: &[&str], moment: Duration) -> Vec<String> {
    let mut child = yard
        .command(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    std::thread::sleep(moment);
    kill(&mut child)
}

fn kill(child: &mut Child) -> Vec<String> {
    // SIGKILL: nothing is tidied up
    child.kill().unwrap();
    child.wait().unwrap();
    let mut out = Vec::new();
    if let Some(pipe) = child.stdout.take() {
        let mut bytes = Vec::new();
        BufReader::new(pipe).read_to_end(&mut bytes).unwrap();
        // a line without its end was not printed yet
        let whole = bytes.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
        out.extend(bytes[..whole].lines().map_while(Result::ok));
    }
    out
}

/// Five kinds of file, the long ones in several parts, so that there is much to
/// interrupt.
fn fleet(yard: &Yard) {
    yard.good(&[
        "simulate", "--vans", "4", "--months", "2", "--seed", "5", "--out", "made",
    ]);
    for name in KINDS {
        let text = yard.read(&format!("made/{name}.csv"));
        let mut lines = text.lines();
        let header = lines.next().unwrap();
        let rows: Vec<&str> = lines.collect();
        for (n, part) in rows.chunks(rows.len().div_ceil(2)).enumerate() {
            yard.write(
                &format!("in/{name}-{n}.csv"),
                format!("{header}\n{}\n", part.join("\n")),
            );
        }
    }
}

fn exported(yard: &Yard, store: &str) -> [String; 5] {
    let out = format!("{store}-out");
    yard.good(&["export", "--store", store, "--out", &out]);
    KINDS.map(|name| yard.read(&format!("{out}/{name}.csv")))
}

fn stored(yard: &Yard, store: &str) -> u64 {
    // the totals are those of the whole store; long ago there was no van to fit
    let long_ago = [
        "assess",
        "--store",
        store,
        "--format",
        "json",
        "--as-of",
        "2001-01-01",
    ];
    let seen = yard.good(&long_ago);
    let all: serde_json::Value = serde_json::from_str(&seen.out).unwrap();
    let rows = &all["rows"];
    let of = |name: &str| rows[name].as_u64().unwrap();
    assert_eq!(
        of("read"),
        of("stored") + of("already_stored") + of("set_aside")
    );
    of("stored")
}

#[test]
fn a_killed_ingest_loses_nothing_and_doubles_nothing() {
    let yard = Yard::new();
    fleet(&yard);
    let since = Instant::now();
    yard.good(&["ingest", "--store", "whole", "in"]);
    let takes = since.elapsed();
    let expected = exported(&yard, "whole");
    let count = stored(&yard, "whole");
    let mut chance = Chance::new(9);
    let (mut killed, mut seen) = (0, (0, 0));
    for n in 0..kills() {
        let store = format!("s{n}");
        // now and then it is killed again on the way
        for _ in 0..1 + chance.below(2) {
            let moment = takes.mul_f64(chance.below(1_100) as f64 / 1_000.0);
            let told = killed_after(&yard, &["ingest", "--store", &store, "in"], moment);
            let finished: Vec<&str> = told
                .iter()
                .filter_map(|line| line.split_once(".csv: "))
                .map(|(name, _)| name)
                .collect();
            killed += 1;
            seen.0 += usize::from(!finished.is_empty());
            seen.1 += usize::from(finished.len() < 10);
            // what was said to be in is in
            if finished.is_empty() {
                continue;
            }
            let names: Vec<String> = finished.iter().map(|name| format!("{name}.csv")).collect();
            let mut again = vec!["ingest", "--dry-run", "--store", &store];
            again.extend(names.iter().map(String::as_str));
            let again = yard.good(&again);
            let known = again
                .out
                .lines()
                .filter(|line| line.contains(" 0 new,"))
                .count();
            assert_eq!(known, names.len(), "kill {n} after {moment:?}: {again:?}");
        }
        yard.good(&["ingest", "--store", &store, "in"]);
        assert_eq!(exported(&yard, &store), expected, "kill {n}");
        assert_eq!(stored(&yard, &store), count, "kill {n}");
        for folder in [store.clone(), format!("{store}-out")] {
            std::fs::remove_dir_all(yard.path().join(folder)).unwrap();
        }
    }
    println!(
        "{killed} kills of ingest in {} stores ({takes:?} long): {} with files finished, {} before the last",
        kills(),
        seen.0,
        seen.1
    );
    assert!(
        seen.0 > 0 && seen.1 > 0,
        "the moments must lie within the run"
    );
}

/// The files of a folder, by name.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = std::fs::read_dir(folder).unwrap();
    entries
        .map(|entry| {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read(path).unwrap())
        })
        .collect()
}

/// Folders in which a report waits to be put in place.
fn waiting(yard: &Yard) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(yard.path()).unwrap();
    let paths = entries.map(|entry| entry.unwrap().path());
    paths
        .filter(|path| path.to_string_lossy().contains(".report.new-"))
        .collect()
}

#[test]
fn a_killed_report_leaves_the_old_one_or_the_new_one() {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "3", "--months", "6", "--seed", "5", "--out", "made",
    ]);
    yard.good(&["ingest", "made"]);
    let made = |as_of: &str, out: &str| {
        yard.good(&["report", "--as-of", as_of, "--out", out]);
        files(&yard.path().join(out))
    };
    let newest = yard
        .read("made/readings.csv")
        .lines()
        .last()
        .unwrap()
        .split(',')
        .nth(1)
        .unwrap()[..10]
        .to_owned();
    let new_day: litrewise::inside::calendar::Date = newest.parse().unwrap();
    let old_day = (new_day - litrewise::inside::calendar::TimeDelta::days(45)).to_string();
    let old = made(&old_day, "old");
    let since = Instant::now();
    let new = made(&newest, "new");
    let takes = since.elapsed();
    assert_ne!(old, new);
    let mut chance = Chance::new(11);
    let mut ends = [0, 0];
    for n in 0..kills() {
        let report = yard.path().join("report");
        let _ = std::fs::remove_dir_all(&report);
        std::fs::create_dir(&report).unwrap();
        for (name, bytes) in &old {
            std::fs::write(report.join(name), bytes).unwrap();
        }
        let arguments = ["report", "--as-of", &newest, "--out", "report"];
        if n % 3 == 0 {
            killed_after(
                &yard,
                &arguments,
                takes.mul_f64(chance.below(1_050) as f64 / 1_000.0),
            );
        } else {
            // once it begins to write
            let mut child = yard
                .command(&arguments)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()
                .unwrap();
            let begun = Instant::now();
            while waiting(&yard).is_empty() && begun.elapsed() < takes * 3 {
                std::thread::sleep(Duration::from_micros(200));
            }
            // while it writes, or once all is written and being put in place
            let last = |path: &PathBuf| path.join("index.html").exists();
            while n % 3 == 1 && waiting(&yard).iter().any(|path| !last(path)) {
                std::hint::spin_loop();
            }
            let most = if n % 3 == 1 { 1_500 } else { 60_000 };
            std::thread::sleep(Duration::from_micros(chance.below(most) as u64));
            kill(&mut child);
        }
        let found = files(&report);
        if found == old {
            ends[0] += 1;
        } else {
            let differs: Vec<&String> = new
                .keys()
                .filter(|name| found.get(*name) != new.get(*name))
                .collect();
            assert!(
                found == new,
                "kill {n}: neither the old report nor the new one; not new: {differs:?}"
            );
            ends[1] += 1;
        }
        for path in waiting(&yard) {
            std::fs::remove_dir_all(path).unwrap();
        }
    }
    println!(
        "{} kills of report ({takes:?} long): {} left the old one, {} the new one",
        kills(),
        ends[0],
        ends[1]
    );
}
