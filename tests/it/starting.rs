//! Starting from nothing: usage, templates, an invented fleet.

use std::io::Read;
use std::process::Stdio;

use crate::run::Yard;

/// The commands as they are listed, in their groups.
fn commands(yard: &Yard) -> Vec<String> {
    let overview = yard.good(&["--help"]).out;
    assert!(overview.contains("\nEvery month:\n"), "{overview}");
    let groups = overview.split("Global options:").next().expect("groups");
    let commands = groups.lines().filter(|l| l.starts_with("  "));
    let commands = commands.filter_map(|l| l.split_whitespace().next());
    let commands: Vec<String> = commands.map(str::to_owned).collect();
    assert!(commands.len() >= 18, "{overview}");
    commands
}

#[test]
fn every_help_shows_a_working_example() {
    let yard = Yard::new();
    for command in commands(&yard) {
        let help = yard.good(&[&command, "--help"]).out;
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

/// A folder in which every example can be typed: records of a fleet, a file with
/// a row to fix, and a program that opens pages by writing down which.
fn yard_for_examples() -> Yard {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", "4", "--months", "8", "--out", "exports",
    ]);
    yard.write(
        "october.csv",
        "van,date,tap,membrane,resin\n\
         QV-001,25/10/2026 09:00,338,16,1\n\
         QV-001,26/10/2026 09:00,3E8,16,1\n",
    );
    let opener = yard.write("bin/xdg-open", "#!/bin/sh\necho \"$1\" >> opened\n");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let everybody = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(opener, everybody).expect("a program");
    }
    yard
}

/// Types a line as a shell takes it.
#[cfg(unix)]
fn type_in(yard: &Yard, line: &str) {
    let binary = std::path::Path::new(env!("CARGO_BIN_EXE_litrewise"));
    let folder = binary.parent().expect("a folder").display();
    let bin = yard.path().join("bin");
    let typed = std::process::Command::new("/bin/sh")
        .args(["-c", line])
        .current_dir(yard.path())
        .env_clear()
        .env("PATH", format!("{}:{folder}:/usr/bin:/bin", bin.display()))
        .env("LITREWISE_TODAY", "2026-11-25")
        .stdin(Stdio::null())
        .output()
        .expect("a shell");
    assert!(typed.status.success(), "{line}: {typed:?}");
}

/// The lines of an example.
fn example(help: &str) -> Vec<String> {
    let lines = help.split("Example:\n").nth(1).unwrap_or_default().lines();
    let lines = lines
        .map(str::trim)
        .take_while(|l| l.starts_with("litrewise "));
    lines.map(str::to_owned).collect()
}

#[cfg(unix)]
#[test]
fn every_example_of_a_help_works_as_it_stands() {
    let yard = yard_for_examples();
    let mut typed = 0;
    for command in commands(&yard) {
        let mut helps = vec![yard.good(&[&command, "--help"]).out];
        if command == "files" {
            for below in ["take-back", "put-back", "remarks"] {
                helps.push(yard.good(&["files", below, "--help"]).out);
            }
        }
        if command == "settings" {
            helps.push(yard.good(&["settings", "set", "--help"]).out);
        }
        for line in helps.iter().flat_map(|help| example(help)) {
            type_in(&yard, &line);
            typed += 1;
        }
    }
    assert!(typed > 30, "{typed}");
    let opened = yard.read("opened");
    assert!(
        opened.contains("litrewise-report/2026-10/index.html"),
        "{opened}"
    );
}

#[cfg(unix)]
#[test]
fn every_command_of_the_readme_works_as_it_stands() {
    let readme = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = std::fs::read_to_string(readme).expect("the README");
    assert!(
        readme.lines().count() <= 120,
        "{} lines",
        readme.lines().count()
    );
    let yard = yard_for_examples();
    let mut typed = 0;
    for block in readme.split("```sh\n").skip(1) {
        let lines = block.split("```").next().unwrap_or_default().lines();
        for line in lines.filter(|l| l.starts_with("litrewise ")) {
            type_in(&yard, line);
            typed += 1;
        }
    }
    assert!(typed >= 10, "{typed}");
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
    for command in commands(&yard) {
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
    assert!(line.starts_with("error: cannot write taken: "), "{line}");
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
