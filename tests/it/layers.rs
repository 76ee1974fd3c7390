//! Who may use whom: the direction in which data flows.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// The table of folders in DEVELOPERS.md: folder, and the folders it may use
/// (`None`: all).
fn table() -> BTreeMap<String, Option<BTreeSet<String>>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md");
    let text = std::fs::read_to_string(path).expect("DEVELOPERS.md");
    let mut found = BTreeMap::new();
    for line in text.lines() {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [folder, _, may_use] = cells[..] else {
            continue;
        };
        let Some(folder) = folder.strip_prefix('`').and_then(|f| f.strip_suffix("/`")) else {
            continue;
        };
        let used = may_use.split('`').skip(1).step_by(2).map(str::to_owned);
        let may_use = (may_use != "all").then(|| used.collect());
        found.insert(folder.to_owned(), may_use);
    }
    found
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// Top-level modules named after `crate::` in code, comments left out.
fn uses(source: &str) -> BTreeSet<String> {
    let code: String = source
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .collect::<Vec<_>>()
        .join("\n");
    let mut names = BTreeSet::new();
    for (at, pattern) in code.match_indices("crate::") {
        let rest = &code[at + pattern.len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut word = String::new();
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => names.extend(first_word(&std::mem::take(&mut word))),
                    _ => {}
                }
                word.push(c);
            }
            names.extend(first_word(&word));
        } else {
            names.extend(first_word(rest));
        }
    }
    names
}

fn first_word(path: &str) -> Option<String> {
    let word: String = path
        .trim_start_matches([',', ' ', '\n'])
        .chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect();
    (!word.is_empty()).then_some(word)
}

#[test]
fn every_folder_uses_only_what_lies_before_it() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let table = table();
    assert!(
        table.len() >= 12,
        "the table of folders has gone: {table:?}"
    );
    let mut wrong = Vec::new();
    for entry in std::fs::read_dir(&src).expect("src") {
        let folder = entry.expect("an entry").path();
        if !folder.is_dir() {
            continue;
        }
        let name = folder.file_name().unwrap().to_string_lossy().into_owned();
        let Some(allowed) = table.get(&name) else {
            wrong.push(format!("src/{name} is not in the table of DEVELOPERS.md"));
            continue;
        };
        let Some(allowed) = allowed else {
            continue;
        };
        let mut files = Vec::new();
        sources(&folder, &mut files);
        for file in files {
            let text = std::fs::read_to_string(&file).expect("a source file");
            for used in uses(&text) {
                if used != name && !allowed.contains(&used) {
                    wrong.push(format!("{} uses {used}", file.display()));
                }
            }
        }
    }
    wrong.sort();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_scan_sees_single_paths_groups_and_no_comments() {
    let source = "use crate::store::records::Item;\nuse crate::{fit::{self, Span}, water};\n// crate::report\nlet x = crate::lives::cut();";
    let seen: Vec<String> = uses(source).into_iter().collect();
    assert_eq!(seen, ["fit", "lives", "store", "water"]);
}
