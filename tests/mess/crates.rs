//! What we build on: licences that allow it, versions pinned by their hash.

use std::collections::BTreeSet;
use std::process::Command;

use serde_json::Value;

use crate::run::Yard;

/// Licences (SPDX identifiers) that ask for no more than their text beside the
/// program, or nothing.
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Crates under a licence of their own, each for a reason.
const EXCEPTIONS: [(&str, &str); 1] = [
    // asks for changes to its own files to be published: it is used unchanged
    ("option-ext", "MPL-2.0"),
];

/// Whether one way through a licence expression needs allowed licences only.
fn is_allowed(expression: &str) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let mut words: Vec<&str> = spaced.split_whitespace().collect();
    words.reverse();
    let fine = either(&mut words);
    fine && words.is_empty()
}

fn either(words: &mut Vec<&str>) -> bool {
    let mut fine = both(words);
    while words.last() == Some(&"OR") {
        words.pop();
        // no short cut: the words have to be read
        fine = both(words) || fine;
    }
    fine
}

fn both(words: &mut Vec<&str>) -> bool {
    let mut fine = one(words);
    while words.last() == Some(&"AND") {
        words.pop();
        fine = one(words) && fine;
    }
    fine
}

fn one(words: &mut Vec<&str>) -> bool {
    match words.pop() {
        Some("(") => {
            let fine = either(words);
            words.pop() == Some(")") && fine
        }
        Some(word) => {
            let mut name = word.to_owned();
            if words.last() == Some(&"WITH") {
                words.pop();
                name = format!("{word} WITH {}", words.pop().unwrap_or_default());
            }
            ALLOWED.contains(&name.as_str())
        }
        None => false,
    }
}

#[test]
fn licence_expressions_are_read_as_spdx_has_them() {
    for fine in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0 OR MIT",
        "(MIT OR GPL-2.0) AND BSD-3-Clause",
        "Apache-2.0 WITH LLVM-exception OR GPL-3.0",
    ] {
        assert!(is_allowed(fine), "{fine}");
    }
    for wrong in [
        "",
        "GPL-3.0",
        "MIT AND GPL-2.0",
        "MIT AND (GPL-2.0 OR LGPL-2.1)",
        "MIT MIT",
        "(MIT",
    ] {
        assert!(!is_allowed(wrong), "{wrong}");
    }
}

/// All packages; only those of this machine's platform, or of every one.
fn metadata(of_this_platform: bool) -> Value {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let host = Command::new("rustc").arg("-vV").output().unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let host = host
        .lines()
        .find_map(|line| line.strip_prefix("host: "))
        .unwrap();
    let told = Command::new(cargo)
        .args(["metadata", "--locked", "--format-version", "1"])
        .args(
            of_this_platform
                .then_some(["--filter-platform", host])
                .into_iter()
                .flatten(),
        )
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(
        told.status.success(),
        "{}",
        String::from_utf8_lossy(&told.stderr)
    );
    serde_json::from_slice(&told.stdout).unwrap()
}

#[test]
fn every_crate_comes_under_a_licence_that_allows_it() {
    let metadata = metadata(true);
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 50);
    let mut wrong = Vec::new();
    let mut excepted = 0;
    for package in packages {
        let (name, licence) = (
            package["name"].as_str().unwrap(),
            package["license"].as_str().unwrap_or(""),
        );
        if EXCEPTIONS.contains(&(name, licence)) {
            excepted += 1;
        } else if !is_allowed(licence) {
            wrong.push(format!("{name}: {licence}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(
        excepted,
        EXCEPTIONS.len(),
        "an exception that nothing needs"
    );
}

/// `name version` of each crate that the program links on any platform, or that
/// writes code for it.
fn linked() -> BTreeSet<String> {
    let metadata = metadata(false);
    let list = |value: &Value| value.as_array().unwrap().clone();
    let nodes = list(&metadata["resolve"]["nodes"]);
    let mut ahead = vec![metadata["resolve"]["root"].clone()];
    let mut seen = BTreeSet::new();
    while let Some(id) = ahead.pop() {
        if !seen.insert(id.as_str().unwrap().to_owned()) {
            continue;
        }
        let node = nodes.iter().find(|node| node["id"] == id).unwrap();
        for dep in list(&node["deps"]) {
            if list(&dep["dep_kinds"])
                .iter()
                .any(|kind| kind["kind"].is_null())
            {
                ahead.push(dep["pkg"].clone());
            }
        }
    }
    let packages = list(&metadata["packages"]);
    let linked = packages
        .iter()
        .filter(|package| seen.contains(package["id"].as_str().unwrap()))
        .map(|package| {
            let text = |key: &str| package[key].as_str().unwrap().to_owned();
            format!("{} {}", text("name"), text("version"))
        });
    linked
        .filter(|name| !name.starts_with("litrewise "))
        .collect()
}

#[test]
fn the_program_prints_the_licence_of_all_that_it_holds() {
    let told = Yard::new().good(&["licences"]).out;
    let crates = told.split("\nCrates\n======\n").nth(1).unwrap();
    let listed: BTreeSet<String> = crates
        .lines()
        .take_while(|line| !line.is_empty())
        .map(|line| line.split(" (").next().unwrap().to_owned())
        .collect();
    assert_eq!(listed, linked(), "python3 licences/collect.py");
    for part in [
        include_str!("../../LICENSE").trim_end(),
        "DejaVu changes are in public domain",
        "TERMS AND CONDITIONS FOR USE, REPRODUCTION, AND DISTRIBUTION",
        "Mozilla Public License Version 2.0",
    ] {
        assert!(told.contains(part), "{part}");
    }
}

#[test]
fn every_crate_is_pinned_by_its_hash_and_none_of_our_code_is_unsafe() {
    for lock in ["Cargo.lock", "fuzz/Cargo.lock"] {
        let path = format!("{}/{lock}", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(path).unwrap();
        let lock_file: toml::Table = text.parse().unwrap();
        let packages = lock_file["package"].as_array().unwrap();
        for package in packages {
            let name = package["name"].as_str().unwrap();
            if name.starts_with("litrewise") {
                continue;
            }
            let source = package
                .get("source")
                .and_then(toml::Value::as_str)
                .unwrap_or("");
            assert!(
                source.starts_with("registry+https://"),
                "{lock}: {name} comes from {source:?}"
            );
            let hash = package
                .get("checksum")
                .and_then(toml::Value::as_str)
                .unwrap_or("");
            assert_eq!(hash.len(), 64, "{lock}: {name}");
        }
    }
    let manifest =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml")).unwrap();
    let manifest: toml::Table = manifest.parse().unwrap();
    assert_eq!(
        manifest["lints"]["rust"]["unsafe_code"].as_str(),
        Some("forbid")
    );
}
