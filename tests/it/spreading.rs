//! Vans summed up apart, the fleet put together from that.

use crate::run::Yard;

#[test]
fn an_assessment_from_summaries_is_the_assessment() {
    let yard = Yard::new();
    yard.good(&[
        "simulate",
        "--proving",
        "--vans",
        "5",
        "--months",
        "9",
        "--out",
        "in",
    ]);
    yard.good(&["ingest", "in"]);
    let summaries = yard.path().join("vans.arrow");
    let told = yard.command(&["summarise"]).output().expect("runs");
    assert!(told.status.success() && !told.stdout.is_empty());
    std::fs::write(&summaries, &told.stdout).expect("written");
    let assess = ["assess", "--format", "json"];
    let one = yard.good(&assess).out;
    let from = [&assess[..], &["--from-summaries", "vans.arrow"]].concat();
    assert_eq!(yard.good(&from).out, one);
    // settings and the day are those of this run, not of the summary
    let from = [
        &from[..],
        &["--as-of", "2026-07-31", "--set", "limits.product_ppm=5"],
    ]
    .concat();
    let told = [
        &assess[..],
        &["--as-of", "2026-07-31", "--set", "limits.product_ppm=5"],
    ]
    .concat();
    assert_eq!(yard.good(&from).out, yard.good(&told).out);
}

#[test]
fn what_cannot_be_read_as_summaries_is_said_in_one_line() {
    let yard = Yard::new();
    yard.good(&[
        "simulate",
        "--proving",
        "--vans",
        "2",
        "--months",
        "3",
        "--out",
        "in",
    ]);
    yard.good(&["ingest", "in"]);
    let said = yard.bad(1, &["assess", "--from-summaries", "in/vans.csv"]);
    assert!(
        said.contains("in/vans.csv") && said.contains("litrewise summarise"),
        "{said}"
    );
    let said = yard.bad(1, &["assess", "--from-summaries", "nowhere.arrow"]);
    assert!(said.contains("nowhere.arrow"), "{said}");
    let said = yard.bad(1, &["summarise", "--rows", "in/fills.csv"]);
    assert!(said.contains("in/fills.csv"), "{said}");
}
