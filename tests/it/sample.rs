//! The sample fleet that is built in, and what is made from it.

use std::path::Path;

use crate::run::Yard;

#[test]
fn the_demo_does_the_whole_job_from_anywhere_and_again() {
    let yard = Yard::new();
    for _ in 0..2 {
        let seen = yard.good(&["demo", "--out", "look"]);
        assert!(seen.out.contains("QV-011"), "{seen:#?}");
        assert!(seen.out.contains("look/report/index.html"), "{seen:#?}");
        assert!(yard.path().join("look/report/fleet.png").exists());
    }
    yard.write("mine/notes.txt", "keep");
    let line = yard.bad(1, &["demo", "--quiet", "--out", "mine"]);
    assert!(
        line.contains("mine") && line.contains("empty folder"),
        "{line}"
    );
    assert_eq!(yard.read("mine/notes.txt"), "keep");
}

#[test]
fn sample_data_is_what_simulate_makes() {
    let yard = Yard::new();
    yard.good(&["simulate", "--out", "made"]);
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data");
    for name in ["readings", "fills", "services", "vans", "hardness"] {
        let name = format!("{name}.csv");
        let kept = std::fs::read(kept.join(&name)).expect("sample data");
        let made = std::fs::read(yard.path().join("made").join(&name)).expect("made data");
        assert!(
            kept == made,
            "sample-data/{name} is stale: litrewise demo --remake"
        );
    }
}
