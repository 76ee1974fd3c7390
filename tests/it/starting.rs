//! Starting from nothing: usage, templates, an invented fleet.

use std::io::Read;
use std::process::Stdio;

use crate::run::Yard;

#[test]
fn every_help_shows_a_working_example() {
    let yard = Yard::new();
    let overview = yard.good(&["--help"]).out;
    let commands: Vec<&str> = overview
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help")
        .collect();
    assert!(commands.len() >= 2, "{overview}");
    for command in commands {
        let help = yard.good(&[command, "--help"]).out;
        let example = help
            .split("Example:\n")
            .nth(1)
            .unwrap_or_else(|| panic!("{command}: {help}"));
        assert!(
            example.trim_start().starts_with("litrewise "),
            "{command}: {example}"
        );
        for option in ["--store", "--as-of", "--quiet", "--jobs"] {
            assert!(help.contains(option), "{command}: {option}");
        }
    }
}

#[test]
fn shells_complete_what_can_be_typed_and_the_manual_has_a_page_for_every_command() {
    let yard = Yard::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = yard.good(&["completions", shell]).out;
        for word in ["litrewise", "ingest", "set-aside", "backtest"] {
            assert!(script.contains(word), "{shell} does not know {word}");
        }
    }
    let listed = yard.good(&["man", "--out", "man1"]).out;
    let overview = yard.good(&["--help"]).out;
    let commands = overview
        .lines()
        .skip_while(|l| !l.starts_with("Commands:"))
        .skip(1)
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.split_whitespace().next())
        .filter(|c| *c != "help");
    for command in commands {
        let page = yard.read(&format!("man1/litrewise-{command}.1"));
        assert!(
            page.contains(".SH SYNOPSIS") && page.contains("Example:"),
            "{page}"
        );
        assert!(listed.contains(&format!("litrewise-{command}.1")));
    }
    assert!(yard.read("man1/litrewise.1").contains(".TH litrewise 1"));
}

#[test]
fn wrong_usage_ends_with_code_two() {
    let yard = Yard::new();
    for arguments in [
        &["nonsense"][..],
        &["simulate", "--vans", "0"],
        &["template", "--as-of", "31.10.2026"],
        &["template", "--set", "limits"],
    ] {
        let seen = yard.run(arguments);
        assert_eq!(seen.code, 2, "{seen:#?}");
        assert!(seen.out.is_empty());
    }
}

#[test]
fn the_same_seed_gives_the_same_files() {
    let yard = Yard::new();
    for out in ["one", "two"] {
        yard.good(&[
            "simulate", "--vans", "3", "--months", "4", "--seed", "5", "--out", out,
        ]);
    }
    for name in ["readings", "fills", "services", "vans", "hardness"] {
        let [one, two] = ["one", "two"].map(|f| yard.read(&format!("{f}/{name}.csv")));
        assert_eq!(one, two);
        assert!(one.lines().count() > 2, "{name}: {one}");
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let yard = Yard::new();
    yard.write("taken", "");
    let line = yard.bad(1, &["simulate", "--quiet", "--out", "taken"]);
    assert!(
        line.starts_with("litrewise: cannot write taken: "),
        "{line}"
    );
}

#[test]
fn templates_are_never_written_over_somebodys_rows() {
    let yard = Yard::new();
    yard.write("ours/fills.csv", "mine");
    let seen = yard.good(&["template", "--out", "ours"]);
    assert_eq!(yard.read("ours/fills.csv"), "mine");
    assert!(seen.err.contains("left alone"), "{seen:#?}");
    assert!(seen.out.contains("90 seconds"));
    assert_eq!(yard.read("ours/readings.csv").lines().count(), 3);
}

#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let yard = Yard::new();
    let mut child = yard
        .command(&["template", "--out", "ours"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let status = child.wait().unwrap();
    let mut complaints = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut complaints)
        .unwrap();
    assert!(!complaints.contains("panicked"), "{complaints}");
    assert_eq!(status.code(), Some(0), "{complaints}");
}
