//! The sample fleet that is built in, and what is made from it.

use std::collections::BTreeMap;
use std::path::Path;

use crate::pictures;
use crate::run::Yard;

#[test]
fn the_demo_does_the_whole_job_from_anywhere_and_again() {
    let yard = Yard::new();
    for _ in 0..2 {
        let seen = yard.good(&["demo", "--out", "look"]);
        assert!(seen.out.contains("QV-011"), "{seen:#?}");
        assert!(seen.out.contains("look/report/index.html"), "{seen:#?}");
        assert!(yard.path().join("look/report/fleet.png").exists());
        // What the user put into the store's settings stays.
        yard.write("look/store/litrewise.toml", "[limits]\nproduct_ppm = 9\n");
    }
    assert!(
        yard.read("look/report/assessment.json")
            .contains("\"product_ppm\": 9")
    );
    assert!(yard.read("look/store/litrewise.toml").contains("= 9"));
    yard.write("mine/notes.txt", "keep");
    let line = yard.bad(1, &["demo", "--quiet", "--out", "mine"]);
    assert!(
        line.contains("mine") && line.contains("empty folder"),
        "{line}"
    );
    assert_eq!(yard.read("mine/notes.txt"), "keep");
}

/// Names and bytes of a folder's files.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    std::fs::read_dir(folder)
        .unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
        .map(|entry| entry.expect("an entry").path())
        .map(|path| {
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read(&path).expect("a readable file"))
        })
        .collect()
}

#[test]
fn sample_report_and_charts_are_what_one_command_makes() {
    let yard = Yard::new();
    yard.good(&["demo", "--quiet", "--remake", "."]);
    let checkout = Path::new(env!("CARGO_MANIFEST_DIR"));
    for folder in ["sample-data", "notebooks-free-reports", "charts"] {
        let (kept, made) = (
            files(&checkout.join(folder)),
            files(&yard.path().join(folder)),
        );
        let names =
            |files: &BTreeMap<String, Vec<u8>>| -> Vec<String> { files.keys().cloned().collect() };
        assert_eq!(
            names(&kept),
            names(&made),
            "{folder} is stale: cargo run -- demo --remake ."
        );
        let drawn = Path::new(env!("CARGO_TARGET_TMPDIR"));
        for (name, bytes) in &made {
            let before = kept.get(name).expect("the same names");
            let same = if name.ends_with(".png") {
                pictures::compare(name, before, bytes, drawn)
            } else if before == bytes {
                Ok(())
            } else {
                Err(format!("{name} differs"))
            };
            if let Err(what) = same {
                panic!("{folder} is stale: cargo run -- demo --remake . ({what})");
            }
        }
    }
}
