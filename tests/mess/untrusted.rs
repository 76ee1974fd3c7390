//! Files that mean harm, or were made by chance as if they did: nothing hangs,
//! nothing leaves its folder, nothing is run by a terminal, a spreadsheet or a
//! browser.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::run::{Seen, Yard};

const READINGS: &str = "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm\n";

/// Runs what must come to an end by itself.
fn ends(yard: &Yard, arguments: &[&str]) -> Seen {
    let mut child = yard
        .command(arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let since = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if since.elapsed() > Duration::from_secs(60) {
            child.kill().unwrap();
            panic!("{arguments:?} hangs");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let output = child.wait_with_output().unwrap();
    Seen {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// Every file and folder below a folder, links not followed.
fn below(folder: &Path, found: &mut BTreeSet<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if std::fs::symlink_metadata(&path).unwrap().is_dir() {
            below(&path, found);
        }
        found.insert(path);
    }
}

/// A van's year, so that every page and list has something to say of it.
fn year_of(van: &str, postcode: &str, note: &str) -> [String; 3] {
    let quoted = |text: &str| format!("\"{}\"", text.replace('"', "\"\""));
    let (van, postcode, note) = (quoted(van), quoted(postcode), quoted(note));
    let mut readings = READINGS.to_owned();
    let mut fills = "van,started_at,litres\n".to_owned();
    for week in 0..40 {
        let day = litrewise::inside::calendar::date(2026, 1, 5)
            + litrewise::inside::calendar::TimeDelta::weeks(week);
        readings += &format!("{van},{day}T08:00,{postcode},320,{},1\n", 12 + week / 4);
        fills += &format!("{van},{day}T17:00,900\n");
    }
    let services = format!(
        "van,done_at,item,quantity,cost,part,note\n{van},2026-01-02,membrane,1,180,{note},{note}\n{van},2026-01-02,resin,11,66,{note},{note}\n"
    );
    [readings, fills, services]
}

fn take_in_year(yard: &Yard, van: &str, postcode: &str, note: &str) {
    for (name, text) in ["r.csv", "f.csv", "s.csv"]
        .iter()
        .zip(year_of(van, postcode, note))
    {
        yard.write(&format!("in/{name}"), text);
    }
    yard.good(&["ingest", "in"]);
}

#[cfg(unix)]
#[test]
fn links_pipes_and_loops_in_a_folder_neither_hang_nor_break() {
    use std::os::unix::fs::symlink;
    let yard = Yard::new();
    let good = yard.write(
        "elsewhere/good.csv",
        format!("{READINGS}QV-01,2026-10-01T08:00,,320,12,0\n"),
    );
    let folder = yard.path().join("in");
    std::fs::create_dir(&folder).unwrap();
    symlink(&good, folder.join("link.csv")).unwrap();
    symlink("nowhere.csv", folder.join("dangling.csv")).unwrap();
    symlink("b.csv", folder.join("a.csv")).unwrap();
    symlink("a.csv", folder.join("b.csv")).unwrap();
    symlink("..", folder.join("up")).unwrap();
    symlink(".", folder.join("self")).unwrap();
    assert!(
        Command::new("mkfifo")
            .arg(folder.join("pipe.csv"))
            .status()
            .unwrap()
            .success()
    );
    let seen = ends(&yard, &["ingest", "in"]);
    assert_eq!(seen.code, 0, "{seen:?}");
    assert!(seen.out.contains("1 file: 1 row read"), "{seen:?}");
    for named in ["in/a.csv", "in/dangling.csv", "/dev/null"] {
        let seen = ends(&yard, &["ingest", named]);
        assert_eq!(seen.code, 1, "{named}: {seen:?}");
        assert!(seen.err.contains(named), "{named}: {seen:?}");
    }
}

#[test]
fn a_name_never_leads_out_of_the_folder() {
    let yard = Yard::new();
    for (n, van) in [
        "../../../escaped",
        "/tmp/escaped",
        "..\\..\\escaped",
        "a/../b",
        "CON",
        ".",
        "..",
        "\u{202e}gpj.exe",
    ]
    .iter()
    .enumerate()
    {
        for (name, text) in ["r", "f", "s"].iter().zip(year_of(van, "QA3", "ok")) {
            yard.write(&format!("in/{n}{name}.csv"), text);
        }
    }
    yard.good(&["ingest", "in"]);
    let mut before = BTreeSet::new();
    below(yard.path(), &mut before);
    yard.good(&["report", "--out", "report/october"]);
    yard.good(&["export", "--out", "report/plain"]);
    let mut after = BTreeSet::new();
    below(yard.path(), &mut after);
    let report = yard.path().join("report");
    for path in after.difference(&before) {
        assert!(path.starts_with(&report), "{}", path.display());
        let name = path.file_name().unwrap().to_str().unwrap();
        assert!(
            name.chars()
                .all(|c| c.is_ascii_alphanumeric() || "-_.".contains(c)),
            "{name}"
        );
    }
    assert!(after.len() > before.len() + 10);
}

/// Characters that a terminal obeys instead of showing them.
fn is_obeyed(c: char) -> bool {
    (c.is_control() && c != '\n' && c != '\t')
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[test]
fn no_text_of_a_file_steers_the_terminal() {
    let yard = Yard::new();
    let bell = "\u{1b}[2J\u{1b}]0;owned\u{7}QV\u{9b}31m";
    take_in_year(&yard, "QV-01", "QA3", "ok");
    yard.write(
        "in/s2.csv",
        format!("van,done_at,item,note\nQV\u{1b}[7m-01,2026-03-02,flush,note {bell}\n"),
    );
    yard.write("in/z.csv", format!("{READINGS}QV-02,2026-10-01T08:00,,{bell},12,0\n{bell},x,,320,12,0\nQV-02,2026-10-01T08:00,{bell},320,12,0\n"));
    yard.write(
        "in/y.csv",
        format!("van,taken_at,feed_ppm,{bell} TDS\nQV-02,2026-10-02T08:00,320,1\n"),
    );
    yard.write("in/x.csv", format!("{bell},{bell}\n1,2\n"));
    let mut seen = vec![ends(&yard, &["ingest", "in"])];
    for arguments in [
        &["set-aside"][..],
        &["assess"],
        &["due", "--weeks", "60"],
        &["ingest", "in/x.csv"],
    ] {
        seen.push(ends(&yard, arguments));
    }
    for seen in seen {
        for shown in [&seen.out, &seen.err] {
            let steering: Vec<char> = shown.chars().filter(|c| is_obeyed(*c)).collect();
            assert!(steering.is_empty(), "{steering:?} in {shown}");
        }
    }
}

/// What a spreadsheet takes for a formula.
fn is_formula(cell: &str) -> bool {
    cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err()
}

#[test]
fn no_cell_that_goes_out_is_a_formula() {
    let yard = Yard::new();
    take_in_year(&yard, "@SUM(1+1)*cmd", "QA3", "=HYPERLINK(\"http://x\")");
    yard.write("in/z.csv", format!("{READINGS}QV-02,2026-10-01T08:00,,=1+2,12,0\n+cmd,x,,320,12,0\n@now,2026-10-01T08:00,,-x,12,0\n"));
    yard.good(&["ingest", "in"]);
    yard.good(&["export", "--out", "plain"]);
    yard.good(&["report", "--out", "report"]);
    let mut texts = vec![
        yard.good(&["set-aside", "--format", "csv"]).out,
        yard.good(&["assess", "--format", "csv"]).out,
        yard.good(&["due", "--weeks", "200", "--format", "csv"]).out,
    ];
    let mut found = BTreeSet::new();
    below(yard.path(), &mut found);
    let written = found.iter().filter(|path| {
        path.extension().is_some_and(|e| e == "csv") && !path.starts_with(yard.path().join("in"))
    });
    texts.extend(written.map(|path| std::fs::read_to_string(path).unwrap()));
    assert!(texts.len() > 6);
    for text in &texts {
        let mut rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(text.as_bytes());
        for row in rows.records() {
            for cell in &row.unwrap() {
                assert!(!is_formula(cell), "{cell:?} in {text}");
            }
        }
    }
    // and it comes in again as it was
    assert!(texts.iter().any(|text| text.contains("'@SUM(1+1)*cmd")));
    yard.good(&["ingest", "--store", "again", "plain"]);
    yard.good(&["export", "--store", "again", "--out", "plain-again"]);
    assert_eq!(
        yard.read("plain/services.csv"),
        yard.read("plain-again/services.csv")
    );
}

#[test]
fn no_text_of_a_file_is_run_by_a_browser() {
    let yard = Yard::new();
    let tag = "<script>alert(1)</script><img src=x onerror=\"alert(2)\">'&lt;";
    take_in_year(&yard, tag, "QA3", tag);
    yard.good(&["report", "--out", "report"]);
    let page = yard.read("report/index.html");
    assert!(
        page.contains("&lt;script&gt;alert(1)"),
        "the van is on the page"
    );
    for raw in ["<script>alert", "<img src=x", "onerror=\""] {
        assert!(!page.contains(raw), "{raw}");
    }
    let lower = page.to_lowercase();
    assert!(
        !lower.contains("javascript:") && !lower.contains("http://"),
        "{page}"
    );
    // every quote mark within a value is escaped: tags close where they open
    for tag in page.split('<').skip(1) {
        let inside = tag.split('>').next().unwrap();
        assert!(inside.matches('"').count() % 2 == 0, "<{inside}>");
    }
}
