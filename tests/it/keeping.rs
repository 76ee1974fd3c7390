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
    let seen = yard.good(&["files", "take-back", "a.csv"]);
    assert!(seen.out.contains("a.csv (file 1): taken back"), "{seen:#?}");
    assert_eq!(
        equation(&seen),
        "4 rows read = 4 stored + 0 already stored + 0 set aside"
    );
    let listed = yard.good(&["files"]).out;
    let lines: Vec<&str> = listed.lines().collect();
    assert_eq!(lines.len(), 3, "{listed}");
    assert!(
        lines[0].contains("a.csv") && lines[1].contains("taken back"),
        "{listed}"
    );
    yard.good(&["files", "take-back", "2"]);
    let seen = yard.good(&["files", "take-back", "2"]);
    assert!(seen.out.contains("nothing to do"), "{seen:#?}");
    assert_eq!(
        equation(&seen),
        "0 rows read = 0 stored + 0 already stored + 0 set aside"
    );
    let seen = yard.good(&["files", "put-back", "1"]);
    assert_eq!(
        equation(&seen),
        "3 rows read = 3 stored + 0 already stored + 0 set aside"
    );
    let line = yard.bad(2, &["files", "take-back", "c.csv"]);
    assert!(line.contains("litrewise files"), "{line}");
    yard.good(&["ingest", "a.csv"]);
    let line = yard.bad(2, &["files", "take-back", "a.csv"]);
    assert!(line.contains("1, 3"), "{line}");
}

fn rows_in_store(yard: &Yard) -> [u64; 4] {
    let json = yard.good(&["assess", "--quiet", "--format", "json"]).out;
    let value: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    let rows = ["read", "stored", "already_stored", "set_aside"]
        .map(|key| value["rows"][key].as_u64().expect("a count"));
    assert_eq!(rows[0], rows[1] + rows[2] + rows[3], "{value}");
    let listed = yard.good(&["set-aside", "--format", "jsonl"]).out;
    assert_eq!(listed.lines().count() as u64, rows[3], "{listed}");
    rows
}

#[test]
fn rows_set_aside_go_out_to_be_corrected_and_come_in_again() {
    let yard = Yard::new();
    // Day first and decimal commas are settled by other rows than those set
    // aside; the second row of QV-2 on that day has its place kept.
    yard.write(
        "depot.csv",
        "Reg;Date;TDS in;RO;Note\n\
         QV-1;25.09.2026 08:00;338,5;12,5;\n\
         QV-1;03.04.2026 08:00;1,2O4;12,5;\"two\nlines\"\n\
         QV-2;04.05.2026;330,5;11,5;\n\
         QV-2;04.05.2026;33O;11,5;=1+1\n\
         QV-2;04.05.2026;331,5;10,5;\n\
         QV-3;05.13.2O26;330,5;12,5;\n",
    );
    yard.write(
        "fills.csv",
        "van,started_at,litres\nQV-1,2026-09-01T16:00,3OO x\n",
    );
    yard.good(&["ingest", "depot.csv", "fills.csv"]);
    assert_eq!(rows_in_store(&yard), [7, 3, 0, 4]);
    let seen = yard.good(&["set-aside", "--out", "fix.csv"]);
    assert_eq!(seen.out, "fix.csv: 4 rows to correct\n");
    yard.bad(1, &["set-aside", "-q", "--out", "fix.csv"]);

    // Nothing corrected: nothing changes but where they are listed.
    let before = yard.good(&["set-aside"]).out;
    // Its two tables are read like two files.
    yard.good(&["ingest", "fix.csv"]);
    assert_eq!(rows_in_store(&yard), [7, 3, 0, 4]);
    let after = yard.good(&["set-aside"]).out;
    let reasons = |text: &str| {
        let mut lines: Vec<String> = text
            .lines()
            .filter_map(|line| Some(line.split_once(": ")?.1.to_owned()))
            .collect();
        lines.sort();
        lines
    };
    assert_eq!(reasons(&before), reasons(&after), "{before}\n{after}");
    yard.good(&["set-aside", "--out", "again.csv"]);
    let text = yard.read("again.csv");
    assert!(text.contains("day first; decimal comma"), "{text}");
    assert!(text.contains("'=1+1"), "made harmless: {text}");

    let text = text.replace("1,2O4", "1204,5").replace(",33O,", ",333,");
    yard.write("again.csv", text.replace("3OO x", "300"));
    // Out of all its rows one stays wrong.
    yard.good(&["ingest", "again.csv"]);
    assert_eq!(rows_in_store(&yard), [7, 6, 0, 1]);
    yard.good(&["export", "--out", "out"]);
    let readings = yard.read("out/readings.csv");
    assert!(
        readings.contains("2026-04-03T08:00:00+01:00,,1204.5,12.5"),
        "{readings}"
    );
    // All three of that day are there, each once.
    for value in ["330.5,11.5", "333,11.5", "331.5,10.5"] {
        assert!(
            readings.contains(&format!("QV-2,2026-05-04,,{value}")),
            "{readings}"
        );
    }
    // The same file once more brings nothing new, and the uncorrected source
    // does not list again what was corrected.
    for name in ["again.csv", "depot.csv"] {
        yard.good(&["ingest", "-q", name]);
    }
    let [_, stored, _, aside] = rows_in_store(&yard);
    assert_eq!((stored, aside), (6, 1));
    // Mended at its source instead: its place in the day is the same.
    let depot = yard.read("depot.csv").replace(";33O;", ";333;");
    yard.write("depot.csv", depot);
    yard.good(&["ingest", "depot.csv"]);
    assert_eq!(rows_in_store(&yard)[1], 6);
    // Taken back, the corrections go and the rows are listed again.
    let list = yard.good(&["files"]).out;
    let ids: Vec<&str> = list
        .lines()
        .filter(|line| !line.contains("fix.csv"))
        .skip(2)
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    for id in ids {
        yard.good(&["files", "take-back", id]);
    }
    assert_eq!(rows_in_store(&yard), [7, 3, 0, 4]);
}

#[test]
fn a_file_whose_dates_an_option_settled_lists_nothing_when_read_without_it() {
    let yard = Yard::new();
    // The answer that is kept for files of its shape is lost.
    let forget = || {
        std::fs::remove_file(yard.path().join("litrewise-store/answers.json"))
            .expect("the kept answers");
    };
    yard.write(
        "fills.csv",
        "van,date,litres\nQV-1,03/04/2026 16:00,300\nQV-1,05/06/2026 16:00,310\nQV-1,05/06/2026 17:00,x\n",
    );
    yard.good(&["ingest", "fills.csv", "--date-order", "day-first"]);
    assert_eq!(rows_in_store(&yard), [3, 2, 0, 1]);
    forget();
    let seen = yard.good(&["ingest", "fills.csv"]);
    assert_eq!(
        equation(&seen),
        "3 rows read = 0 stored + 2 already stored + 1 set aside"
    );
    assert_eq!(rows_in_store(&yard), [5, 2, 2, 1]);
    // What stood for them gone, they are listed; and back again.
    let seen = yard.good(&["files", "take-back", "1"]);
    assert_eq!(
        equation(&seen),
        "3 rows read = 0 stored + 0 already stored + 3 set aside"
    );
    yard.good(&["files", "put-back", "1"]);
    assert_eq!(rows_in_store(&yard), [5, 2, 2, 1]);
    // With the option they are in the store once more.
    yard.good(&["ingest", "fills.csv", "--date-order", "day-first"]);
    assert_eq!(rows_in_store(&yard)[1], 2);
    forget();
    // The file has grown: only its new row waits for the option.
    let grown = yard.read("fills.csv") + "QV-1,07/08/2026 16:00,320\n";
    yard.write("fills.csv", grown);
    let seen = yard.good(&["ingest", "fills.csv"]);
    assert_eq!(
        equation(&seen),
        "4 rows read = 0 stored + 2 already stored + 2 set aside"
    );
    let listed = yard.good(&["set-aside", "--format", "jsonl"]).out;
    assert_eq!(listed.lines().count(), 2, "{listed}");
    yard.good(&["ingest", "fills.csv", "--date-order", "day-first"]);
    let [_, stored, _, aside] = rows_in_store(&yard);
    assert_eq!((stored, aside), (3, 1));
}

/// The path of some Parquet file of a table.
fn a_part(yard: &Yard, table: &str) -> std::path::PathBuf {
    fn find(folder: &std::path::Path) -> Option<std::path::PathBuf> {
        let mut entries: Vec<_> = std::fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").path())
            .filter(|path| !path.ends_with("_delta_log"))
            .collect();
        entries.sort();
        entries.into_iter().find_map(|path| match path.is_dir() {
            true => find(&path),
            false => Some(path),
        })
    }
    find(&yard.path().join("litrewise-store").join(table)).expect("a part")
}

#[test]
fn a_damaged_store_is_named_read_as_far_as_it_goes_and_restored_from_the_source() {
    let yard = Yard::new();
    let october = READINGS.replace("2026-09", "2026-10");
    yard.write("september.csv", READINGS);
    yard.write("october.csv", &october);
    yard.good(&["ingest", "september.csv", "october.csv"]);
    let seen = yard.good(&["check"]);
    assert!(seen.out.contains("8 rows: no damage"), "{seen:#?}");
    let before = yard.good(&["assess", "--format", "json"]).out;

    let part = a_part(&yard, "readings");
    let mut bytes = std::fs::read(&part).expect("a part");
    let middle = bytes.len() / 2;
    bytes[middle] ^= 4;
    std::fs::write(&part, &bytes).expect("written");
    let name = part
        .file_name()
        .expect("a name")
        .to_string_lossy()
        .into_owned();
    for command in [
        vec!["assess"],
        vec!["export", "--out", "out"],
        vec!["due"],
        vec!["set-aside"],
    ] {
        let seen = yard.run(&command);
        assert_eq!(seen.code, 1, "{command:?}: {seen:#?}");
        assert!(
            seen.err.contains(&name) && seen.err.contains("litrewise check"),
            "{seen:#?}"
        );
        assert!(!seen.err.contains("panicked"), "{seen:#?}");
    }
    assert_eq!(
        yard.read("out/readings.csv").lines().count(),
        4,
        "the other month is there"
    );
    let seen = yard.run(&["check"]);
    assert_eq!(seen.code, 1);
    assert!(
        seen.out.contains(&name) && seen.out.contains("3 rows"),
        "{seen:#?}"
    );
    assert!(
        seen.out.contains("`litrewise ingest september.csv`"),
        "{seen:#?}"
    );
    let seen = yard.run(&["ingest", "september.csv"]);
    assert_eq!(
        equation(&seen),
        "3 rows read = 3 stored + 0 already stored + 0 set aside"
    );
    yard.good(&["repair"]);
    yard.good(&["check"]);
    let after = yard.good(&["assess", "--format", "json"]).out;
    assert_eq!(before, after);
}

#[test]
fn an_export_for_others_names_nobody_and_comes_in_again() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "6", "--months", "3", "--out", "in"]);
    yard.write(
        "notes.csv",
        "van,done_at,item,part,note\nQV-001,2026-10-01,flush,Jo's hose,ring Jo\n",
    );
    yard.good(&["ingest", "in", "notes.csv"]);
    for out in ["one", "two"] {
        yard.good(&["export", "--anonymous", "--out", out]);
    }
    yard.good(&["export", "--out", "plain"]);
    let tables = ["readings", "fills", "services", "vans", "hardness"];
    for name in tables {
        let text = yard.read(&format!("one/{name}.csv"));
        assert_eq!(text, yard.read(&format!("two/{name}.csv")), "{name}");
        for told in ["QV-", "Jo", "QA3", "QB"] {
            let is_area = told == "QB" && !text.contains("QB1") && !text.contains("QB2");
            assert!(is_area || !text.contains(told), "{name}: {told}");
        }
        if name != "hardness" {
            let plain = yard.read(&format!("plain/{name}.csv"));
            assert_eq!(text.lines().count(), plain.lines().count(), "{name}");
        }
    }
    let vans = |name: &str| {
        let text = yard.read(&format!("one/{name}.csv"));
        let vans = text
            .lines()
            .skip(1)
            .filter_map(|line| line.split(',').next());
        vans.map(str::to_owned)
            .collect::<std::collections::BTreeSet<_>>()
    };
    assert_eq!(vans("vans").len(), 6);
    assert!(vans("readings").is_subset(&vans("vans")));
    assert!(vans("services").is_subset(&vans("vans")));
    let seen = yard.good(&["ingest", "--store", "theirs", "one"]);
    assert!(seen.out.contains("+ 0 set aside"), "{seen:#?}");
    yard.good(&["export", "--store", "theirs", "--out", "again"]);
    for name in tables {
        assert_eq!(
            yard.read(&format!("one/{name}.csv")),
            yard.read(&format!("again/{name}.csv"))
        );
    }
}

#[cfg(unix)]
#[test]
fn what_is_written_is_for_its_owner_only() {
    use std::os::unix::fs::PermissionsExt;
    fn check(path: &std::path::Path) {
        let found = std::fs::metadata(path).expect("metadata");
        let expected = if found.is_dir() { 0o700 } else { 0o600 };
        let mode = found.permissions().mode() & 0o777;
        assert_eq!(mode, expected, "{}", path.display());
        if found.is_dir() {
            for entry in std::fs::read_dir(path).expect("a folder") {
                check(&entry.expect("an entry").path());
            }
        }
    }
    let yard = Yard::new();
    yard.write("r.csv", READINGS);
    yard.write("bad.csv", "van,taken_at,feed_ppm\nQV-1,2026-09-01,x\n");
    yard.good(&["ingest", "r.csv", "bad.csv"]);
    yard.good(&["files", "take-back", "1"]);
    yard.good(&["files", "put-back", "1"]);
    yard.good(&["export", "--anonymous", "--out", "out"]);
    yard.good(&["set-aside", "--out", "fix.csv"]);
    yard.good(&["report", "--quiet", "--out", "report"]);
    for name in ["litrewise-store", "out", "fix.csv", "report"] {
        check(&yard.path().join(name));
    }
}

#[test]
fn a_second_writer_waits_its_turn_and_readers_never_wait() {
    let yard = Yard::new();
    yard.write("r.csv", READINGS);
    yard.good(&["ingest", "r.csv"]);
    let lock = std::fs::File::open(yard.path().join("litrewise-store/ingest.lock")).expect("lock");
    lock.lock().expect("locked");
    let line = yard.bad(1, &["ingest", "-q", "--no-wait", "r.csv"]);
    assert!(line.contains("another litrewise is writing"), "{line}");
    yard.bad(1, &["files", "-q", "take-back", "1"]);
    yard.good(&["assess"]);
    yard.good(&["report", "--quiet", "--out", "report"]);
    drop(lock);
    // Really at once: each waits its turn and ends well, and nothing is lost.
    let names: Vec<String> = (0..4).map(|n| format!("{n}.csv")).collect();
    for (n, name) in names.iter().enumerate() {
        yard.write(name, READINGS.replace("QV-001", &format!("QV-10{n}")));
    }
    let runs: Vec<_> = names
        .iter()
        .map(|name| vec!["ingest", "-q", name.as_str()])
        .chain([
            vec!["report", "--quiet", "--out", "report"],
            vec!["assess", "-q"],
        ])
        .map(|arguments| {
            let mut command = yard.command(&arguments);
            command
                .stdout(std::process::Stdio::piped())
                .stderr(std::process::Stdio::piped());
            command.spawn().expect("a run")
        })
        .collect();
    for (n, run) in runs.into_iter().enumerate() {
        let output = run.wait_with_output().expect("an end");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "{n}: {told}");
    }
    assert_eq!(rows_in_store(&yard)[1], 15);
    yard.good(&["check"]);
}

/// As root, permissions hold nobody back: the command runs as somebody else.
#[cfg(target_os = "linux")]
fn as_nobody(yard: &Yard, arguments: &[&str]) -> Option<Seen> {
    let command = yard.command(arguments);
    let mut nobody = std::process::Command::new("setpriv");
    nobody
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(command.get_program())
        .args(command.get_args())
        .current_dir(yard.path())
        .env("LITREWISE_TODAY", "2026-11-25");
    let output = nobody.output().ok()?;
    let seen = Seen {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    // 127 and the like: not even begun
    (seen.code <= 2 && !seen.err.starts_with("setpriv")).then_some(seen)
}

#[cfg(target_os = "linux")]
#[test]
fn folders_that_cannot_be_written_or_read_are_named() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    let yard = Yard::new();
    yard.write("r.csv", READINGS);
    yard.good(&["ingest", "r.csv"]);
    if std::fs::metadata(yard.path()).expect("metadata").uid() != 0 {
        eprintln!("skipped: needs to be root, to run as somebody else");
        return;
    }
    let open_up =
        |mode| std::fs::set_permissions(yard.path(), std::fs::Permissions::from_mode(mode));
    open_up(0o755).expect("permissions");
    let Some(seen) = as_nobody(&yard, &["assess", "-q"]) else {
        eprintln!("skipped: the command cannot be run as somebody else here");
        return;
    };
    let is_refused = |seen: &Seen| {
        assert_eq!(seen.code, 1, "{seen:#?}");
        assert_eq!(seen.err.trim_end().lines().count(), 1, "{seen:#?}");
        assert!(seen.err.contains("Permission denied"), "{seen:#?}");
    };
    // A store of somebody else's.
    is_refused(&seen);
    // Readable, not writable: looking works, writing says why not.
    let own = std::process::Command::new("sh")
        .args(["-c", "chmod -R a+rX litrewise-store"])
        .current_dir(yard.path())
        .status();
    assert!(own.expect("chmod").success());
    let seen = as_nobody(&yard, &["assess", "-q"]).expect("a run");
    assert_eq!(seen.code, 0, "{seen:#?}");
    is_refused(&as_nobody(&yard, &["ingest", "-q", "r.csv"]).expect("a run"));
    is_refused(&as_nobody(&yard, &["export", "--out", "out"]).expect("a run"));
    is_refused(&as_nobody(&yard, &["report", "-q", "--out", "report"]).expect("a run"));
    is_refused(&as_nobody(&yard, &["ingest", "-q", "--store", "own", "r.csv"]).expect("a run"));
    assert_eq!(rows_in_store(&yard)[1], 3);
}

/// Needs a small disk of its own, which only root can have.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_and_costs_nothing_that_was_stored() {
    struct SmallDisk(std::path::PathBuf);
    impl Drop for SmallDisk {
        fn drop(&mut self) {
            let _ = std::process::Command::new("umount").arg(&self.0).status();
        }
    }
    let mount = |arguments: &[&str], at: &std::path::Path| {
        let mut command = std::process::Command::new("mount");
        command
            .args(arguments)
            .arg(at)
            .output()
            .is_ok_and(|o| o.status.success())
    };
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "12", "--months", "6", "--out", "in"]);
    let at = yard.path().join("disk");
    let ingest = ["ingest", "-q", "--store", "disk/store", "in"];
    let mut full = 0;
    for size in [100, 136, 168, 216, 240] {
        std::fs::create_dir_all(&at).expect("a folder");
        if !mount(
            &["-t", "tmpfs", "-o", &format!("size={size}k"), "none"],
            &at,
        ) {
            eprintln!("skipped: no small disk can be had here");
            return;
        }
        let disk = SmallDisk(at.clone());
        let seen = yard.run(&ingest);
        if seen.code != 0 {
            full += 1;
            assert_eq!(seen.code, 1, "{size}: {seen:#?}");
            assert!(seen.err.contains("the disk is full"), "{size}: {seen:#?}");
            assert_eq!(seen.err.trim_end().lines().count(), 1, "{size}: {seen:#?}");
        }
        assert!(mount(&["-o", "remount,size=4m"], &at));
        if at.join("store/litrewise.json").exists() {
            yard.good(&["check", "--store", "disk/store"]);
        }
        yard.good(&ingest);
        let seen = yard.good(&ingest);
        assert!(equation(&seen).contains("= 0 stored"), "{size}: {seen:#?}");
        yard.good(&["check", "--store", "disk/store"]);
        drop(disk);
    }
    assert!(full >= 3, "{full}");
}
