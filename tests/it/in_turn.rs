//! A fleet too large to be held: the same answers, van by van.

use litrewise::inside::advise::{self, Assessment, Glance, jobs};
use litrewise::inside::calendar::{Date, date};
use litrewise::inside::lives::{self, VanLives};
use litrewise::inside::report::text::{self, Paint, Screen};
use litrewise::inside::settings::Settings;
use litrewise::inside::store::Store;

use crate::run::Yard;

/// A fleet of which one van is out of service, one has no base, one is new,
/// and one is written in two ways.
fn odd_fleet(yard: &Yard) {
    yard.good(&[
        "simulate",
        "--proving",
        "--vans",
        "14",
        "--months",
        "15",
        "--out",
        "in",
    ]);
    let into = yard.path().join("in");
    for name in ["readings.csv", "fills.csv", "services.csv"] {
        let path = into.join(name);
        let mut text = std::fs::read_to_string(&path).expect("written");
        let header = text.lines().next().expect("a header").to_owned();
        let rows = |van: &str| -> Vec<String> {
            let of_van = text.lines().filter(|row| row.starts_with(van));
            of_van.map(str::to_owned).collect()
        };
        // rows of one more van, where the van stood left out
        let place = header.split(',').position(|column| column == "postcode");
        let mut more = String::new();
        for row in rows("QV-001,") {
            let mut cells: Vec<&str> = row.split(',').collect();
            cells[0] = "Nowhere";
            if let Some(place) = place {
                cells[place] = "";
            }
            more += &(cells.join(",") + "\n");
        }
        for (i, row) in rows("QV-004,").into_iter().enumerate() {
            if i % 3 == 0 {
                text = text.replace(&row, &row.replacen("QV-004", "qv 004", 1));
            }
        }
        std::fs::write(&path, text + &more).expect("written");
    }
    let path = into.join("vans.csv");
    let mut text = std::fs::read_to_string(&path).expect("written");
    text = text
        .lines()
        .map(|row| match row.split(',').next() {
            // columns as `simulate` writes them; out of service is the last but one
            Some("QV-002") => {
                let mut cells: Vec<&str> = row.split(',').collect();
                cells[6] = "2026-03-31";
                cells.join(",") + "\n"
            }
            _ => row.to_owned() + "\n",
        })
        .collect();
    std::fs::write(
        &path,
        text + "Nowhere,,400,1,25,,,\nBrand new,QA1 1XX,400,1,25,,,\n",
    )
    .expect("written");
    yard.good(&["ingest", "in"]);
}

fn whole(store: &Store, as_of: Date, settings: &Settings) -> Assessment {
    let lives = lives::cut(&store.fleet().expect("read"), as_of, settings);
    advise::assess(
        &lives,
        &litrewise::inside::fit::fit(&lives, settings),
        settings,
    )
}

fn in_turn(store: &Store, rows_at_once: u64, as_of: Date, settings: &Settings) -> Assessment {
    let mut chunks = store.van_chunks(rows_at_once).expect("opened");
    let glance = |van: &VanLives| Glance::of(van, settings);
    let lives = lives::cut_in_turn(&mut chunks, as_of, settings, glance).expect("cut");
    advise::assess_in_turn(&lives, settings).expect("assessed")
}

/// All that is said of an assessment without drawing.
fn said(assessment: &Assessment) -> [String; 5] {
    let screen = Screen {
        width: 80,
        paint: Paint::Plain,
    };
    [
        serde_json::to_string_pretty(assessment).expect("plain data"),
        text::table(assessment, screen),
        text::explained(assessment, screen),
        litrewise::inside::report::districts::text(assessment, screen),
        format!("{:?}", jobs(assessment, 30)),
    ]
}

#[test]
fn vans_one_after_the_other_give_the_same_assessment() {
    let yard = Yard::new();
    odd_fleet(&yard);
    let store = Store::open(&yard.path().join("litrewise-store")).expect("there");
    let settings = Settings::default();
    let newest = store.van_chunks(1).expect("opened");
    let newest = newest.newest_day(&settings.time_zone).expect("read");
    let newest = newest.expect("rows");
    let told = yard.good(&["assess"]).err;
    let as_of = format!("as of {newest}, the day of the newest row");
    assert!(told.contains(&as_of), "{told}");
    for as_of in [newest, date(2026, 2, 10)] {
        let expected = said(&whole(&store, as_of, &settings));
        assert!(expected[0].contains("\"Nowhere\"") && expected[0].contains("QV-004"));
        // a van at a time, several, all at once
        for rows_at_once in [1, 2_000, u64::MAX] {
            let found = said(&in_turn(&store, rows_at_once, as_of, &settings));
            for (found, expected) in found.iter().zip(&expected) {
                assert!(found == expected, "{rows_at_once}\n{found}\n{expected}");
            }
        }
    }
}
