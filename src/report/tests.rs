//! What a report promises, tried on an assessment made by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;

use super::*;
use crate::advise::{Early, Item, State};
use book::Book;
use fixture::{AS_OF, assessment};
use layout::{many, plan_of, sketches, texts};
use look::Ink;
use pixels::{Picture, Renderer};

fn has_ink(picture: &Picture<'_>, ink: Ink) -> usize {
    picture.inks().filter(|i| *i == ink).count()
}

#[test]
fn pages_are_a4_with_ink_where_there_is_data() {
    let mut renderer = Renderer::default();
    for (name, sketch) in sketches(&assessment()) {
        let picture = renderer.picture(&sketch).unwrap();
        assert_eq!((picture.width, picture.height), look::PAGE, "{name}");
        assert_eq!(picture.inks().count(), 1754 * 1240);
        if name.starts_with("van-")
            && !["van-QV-011.png", "van-QV-012.png"].contains(&name.as_str())
        {
            assert!(has_ink(&picture, look::MEMBRANE) > 800, "{name}");
            assert!(has_ink(&picture, look::RESIN) > 300, "{name}");
            assert!(has_ink(&picture, look::WATER) > 20_000, "{name}");
        }
    }
}

#[test]
fn no_text_is_smaller_than_seven_points() {
    // 15 px at 150 dots per inch are 7.2 points
    for (name, sketch) in sketches(&assessment()) {
        for (area, text) in texts(&sketch) {
            assert!(
                area.height() > 14.99,
                "{name}: {text:?} is {} px",
                area.height()
            );
        }
    }
}

#[test]
fn pages_speak_in_peoples_words() {
    for (name, sketch) in sketches(&assessment()) {
        for (_, text) in texts(&sketch) {
            for word in words::NEVER_SAID {
                assert!(
                    !text.to_lowercase().contains(word),
                    "{name}: {text:?} says {word}"
                );
            }
        }
    }
}

#[test]
fn a_long_list_goes_on_on_further_pages_and_loses_no_busy_van() {
    let fleet = many(200);
    let lines = parts::by_urgency(&fleet);
    let pages = pages::fleet::paged(&lines);
    let shown: usize = pages.iter().map(|p| p.len()).sum();
    let busy = lines.iter().filter(|l| l.state != State::OnCourse).count();
    assert_eq!(shown, busy.max(12));
    let names = Book::of(&plan_of(&fleet, Path::new("unused")), &lines).names;
    assert_eq!(names.fleet.first().unwrap(), "fleet.png");
    assert_eq!(names.fleet.get(1).unwrap(), "fleet-2.png");
}

#[test]
fn the_same_assessment_gives_the_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let fleet = assessment();
    let write_to = |name: &str| {
        let out = dir.path().join(name);
        write(&plan_of(&fleet, &out), &|_, _| {}).unwrap()
    };
    let (first, second) = (write_to("a"), write_to("b"));
    assert_eq!(first.files.len(), 4 + 4 + 12 + files::TABLES.len() + 1);
    for (a, b) in first.files.iter().zip(&second.files) {
        assert_eq!(a.file_name(), b.file_name());
        assert_eq!(fs::read(a).unwrap(), fs::read(b).unwrap(), "{a:?}");
    }
}

#[test]
fn a_van_that_left_the_fleet_leaves_the_report() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("report");
    let mut fleet = assessment();
    write(&plan_of(&fleet, &out), &|_, _| {}).unwrap();
    assert!(out.join("van-QV-001.png").exists());
    fleet.vans.remove(0);
    write(&plan_of(&fleet, &out), &|_, _| {}).unwrap();
    assert!(!out.join("van-QV-001.png").exists());
    assert!(out.join("van-QV-002.png").exists());
}

#[test]
fn progress_ends_at_the_number_of_pages() {
    let dir = tempfile::tempdir().unwrap();
    let most = AtomicUsize::new(0);
    let fleet = many(2);
    write(&plan_of(&fleet, dir.path()), &|done, total| {
        // fleet, vans in little, water, records, districts and vans
        assert!(done <= total && total == 1 + 1 + 1 + 1 + 4 + 2);
        most.fetch_max(done, Ordering::Relaxed);
    })
    .unwrap();
    assert_eq!(most.load(Ordering::Relaxed), 10);
}

#[test]
fn the_index_shows_every_page_and_escapes_every_name() {
    let mut fleet = many(12);
    for (van, name) in fleet
        .vans
        .iter_mut()
        .zip(["<script>alert(1)</script>", "\"onload=x\" '&"])
    {
        van.van = name.to_owned();
        van.membrane.reason = format!("{name} declines.");
        van.postcode = Some("<b>".to_owned());
    }
    let lines = parts::by_urgency(&fleet);
    let plan = plan_of(&fleet, Path::new("unused"));
    let names = Book::of(&plan, &lines).names;
    let html = html::index(&plan, &lines, &names);
    assert_eq!(html.matches("<script").count(), 1);
    assert!(!html.contains("<b>"));
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(!html.contains("\"onload=x\""));
    for file in names.fleet.iter().chain(&names.vans).chain(&names.areas) {
        assert!(html.contains(&format!("href=\"{file}\"")), "{file}");
    }
    for table in files::TABLES {
        assert!(html.contains(&format!("href=\"{}\"", table.name)));
    }
    // every drawing has a text in its place, and nothing is loaded from beside
    let drawings = html.matches("class=\"drawing\"").count();
    assert!(drawings > 30);
    assert_eq!(drawings, html.matches("role=\"img\" aria-label=\"").count());
    assert!(!html.contains("<img") && !html.contains("src="));
    for tag in [
        "table", "tr", "td", "ul", "li", "figure", "details", "div", "main", "nav", "section",
        "article", "svg", "text", "symbol",
    ] {
        let open =
            html.matches(&format!("<{tag}>")).count() + html.matches(&format!("<{tag} ")).count();
        assert_eq!(open, html.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    assert!(
        !html.contains("http:") && !html.contains("https:"),
        "works without a network"
    );
}

#[test]
fn jobs_come_by_date_and_only_within_the_weeks() {
    let fleet = assessment();
    let jobs = due::jobs(&fleet, 4);
    assert!(
        jobs.windows(2)
            .all(|w| w.iter().map(|j| j.date).is_sorted())
    );
    let end = axis::days_after(AS_OF, 28);
    assert!(jobs.iter().all(|j| j.date <= end));
    assert!(
        jobs.iter()
            .any(|j| j.item == Item::Prefilter && j.state == State::Overdue)
    );
    assert!(
        jobs.iter()
            .any(|j| j.state == State::FailingEarly && j.date <= AS_OF)
    );
    assert!(due::jobs(&fleet, 0).iter().all(|j| j.date <= AS_OF));
}

#[test]
fn jobs_as_csv_are_safe_in_a_spreadsheet() {
    let mut fleet = assessment();
    for van in &mut fleet.vans {
        van.van = "=1+1, \"x\"".to_owned();
    }
    let text = due::csv(&due::jobs(&fleet, 8));
    let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    assert!(rows.iter().all(|r| r.get(0) == Some("'=1+1, \"x\"")));
    assert!(rows.iter().all(|r| r.len() == 8));
}

#[test]
fn the_calendar_can_be_parsed_back() {
    use icalendar::{Calendar, Component, DatePerhapsTime};
    let fleet = assessment();
    let jobs = due::jobs(&fleet, 8);
    let text = due::icalendar(&jobs);
    assert_eq!(text, due::icalendar(&jobs));
    // RFC 5545, 3.1: lines end in CRLF and are at most 75 octets long
    assert!(
        text.split("\r\n")
            .all(|line| line.len() <= 75 && !line.contains('\n'))
    );
    let calendar: Calendar = text.parse().unwrap();
    let events: Vec<_> = calendar.events().collect();
    assert_eq!(events.len(), jobs.len());
    let mut ids: Vec<&str> = events.iter().map(|e| e.get_uid().unwrap()).collect();
    for (event, job) in events.iter().zip(&jobs) {
        let Some(DatePerhapsTime::Date(day)) = event.get_start() else {
            panic!("not an all-day event")
        };
        assert_eq!(day.to_string(), job.date.to_string());
        assert!(event.get_summary().unwrap().contains(&job.van));
        assert_eq!(event.property_value("DTSTAMP"), Some("20261031T000000Z"));
        assert_eq!(event.get_sequence(), Some(9800));
    }
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), jobs.len());
}

#[test]
fn a_shared_visit_is_said_once_with_what_it_saves() {
    let mut fleet = assessment();
    // Cheap to do early, and a visit is worth something.
    for van in &mut fleet.vans {
        van.resin.early = vec![Early {
            days: 190.0,
            cost: 9.0,
        }];
    }
    let alone = due::jobs(&assessment(), 6);
    let shared = due::jobs(&fleet, 6);
    let days = |jobs: &[due::Job]| {
        let mut days: Vec<_> = jobs.iter().map(|j| (j.van.clone(), j.date)).collect();
        days.dedup();
        days.len()
    };
    assert!(shared.iter().any(|j| j.days_early() > 0));
    assert!(shared.len() >= alone.len() && days(&shared) < days(&alone));
    let text = due::text(&shared, &fleet, due::By::Day);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("one visit for 2 jobs"), "{text}");
    assert!(text.contains("which saves a visit"), "{text}");
    assert!(text.contains("licensed people decide"), "{text}");
    // The calendar holds one event for each job, on the day of its visit.
    let calendar = due::icalendar(&shared);
    assert_eq!(calendar.matches("BEGIN:VEVENT").count(), shared.len());
}

#[test]
fn a_job_keeps_its_identity_when_its_date_moves() {
    let fleet = assessment();
    let mut later = assessment();
    for van in &mut later.vans {
        van.resin.replace_on = van.resin.replace_on.map(|d| axis::days_after(d, 3));
    }
    let ids = |fleet: &Assessment| -> Vec<String> {
        let text = due::icalendar(&due::jobs(fleet, 8));
        let mut ids: Vec<String> = text
            .lines()
            .filter(|l| l.starts_with("UID:"))
            .map(str::to_owned)
            .collect();
        ids.sort();
        ids
    };
    assert_eq!(ids(&fleet), ids(&later));
}

#[test]
fn the_terminal_says_the_most_urgent_first_within_80_columns() {
    for fleet in [assessment(), many(30)] {
        for text in [
            text::summary(&fleet),
            text::table(&fleet, text::Paint::Plain),
            due::text(&due::jobs(&fleet, 8), &fleet, due::By::Day),
            due::text(&due::jobs(&fleet, 8), &fleet, due::By::Base),
        ] {
            assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
        }
    }
    let text = text::summary(&assessment());
    let place = |needle: &str| text.find(needle).unwrap();
    assert!(place("QV-002 (QA3)") < place("QV-004 (QC7)"));
    assert!(place("QV-004 (QC7)") < place("QV-008 (QC7)"));
}

#[test]
fn json_has_the_contracts_keys_and_unknown_is_null() {
    let json: serde_json::Value =
        serde_json::from_str(&assessment_json(&assessment()).unwrap()).unwrap();
    assert_eq!(json["schema"], "litrewise/assessment/1");
    assert_eq!(json["as_of"], "2026-10-31");
    assert_eq!(json["vans"][1]["membrane"]["state"], "failing_early");
    assert_eq!(json["vans"][1]["membrane"]["suspect"], "prefilter");
    assert!(json["vans"][11]["membrane"]["limit_on"]["p50"].is_null());
    assert_eq!(json["rows"]["read"], 9120);
}

#[test]
fn csv_has_a_row_per_van_and_empty_cells_for_the_unknown() {
    let text = assessment_csv(&assessment());
    let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
    let heads = reader.headers().unwrap().clone();
    let place = heads
        .iter()
        .position(|h| h == "membrane_limit_on_p50")
        .unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 12);
    assert_eq!(rows.last().unwrap().get(place), Some(""));
}

#[test]
fn the_gallery_has_one_picture_per_kind_of_chart() {
    let dir = tempfile::tempdir().unwrap();
    let files = gallery(&assessment(), None, dir.path()).unwrap();
    assert_eq!(files.len(), 13);
    for file in files {
        let decoder = png::Decoder::new(std::io::BufReader::new(fs::File::open(&file).unwrap()));
        let reader = decoder.read_info().unwrap();
        assert_eq!((reader.info().width, reader.info().height), look::SINGLE);
    }
}

#[test]
fn colour_changes_nothing_but_the_states_and_takes_no_room() {
    let fleet = many(30);
    let plain = text::table(&fleet, text::Paint::Plain);
    let colour = text::table(&fleet, text::Paint::Colour);
    assert!(!plain.contains('\x1b') && colour.contains("\x1b[1;31moverdue      \x1b[0m"));
    let mut bare = String::new();
    let mut rest = colour.as_str();
    while let Some((before, after)) = rest.split_once('\x1b') {
        bare.push_str(before);
        rest = after.split_once('m').unwrap().1;
    }
    assert_eq!(bare + rest, plain);
    assert_eq!(colour.matches("\x1b[").count(), 2 * fleet.vans.len());
}

#[test]
fn the_workbook_is_a_workbook_and_always_the_same() {
    let mut fleet = many(12);
    fleet.vans[0].van = "=cmd()|x!A1".to_owned();
    fleet.vans[1].membrane.reason = "long ".repeat(20_000);
    let lines = parts::by_urgency(&fleet);
    let jobs = due::jobs(&fleet, 8);
    let bytes = workbook::bytes(&fleet, &lines, &jobs).unwrap();
    assert_eq!(bytes, workbook::bytes(&fleet, &lines, &jobs).unwrap());
    assert_eq!(&bytes[..4], b"PK\x03\x04");
    let empty = Assessment {
        vans: vec![],
        areas: vec![],
        ..assessment()
    };
    assert!(workbook::bytes(&empty, &[], &[]).is_ok());
}

#[test]
fn every_page_is_a_small_file() {
    let fleet = many(16);
    let plan = plan_of(&fleet, Path::new("unused"));
    let lines = parts::by_urgency(&fleet);
    for (name, page) in &Book::of(&plan, &lines).pages {
        let bytes = book::png(name, page.sketch(&plan, &lines)).unwrap();
        assert!(bytes.len() < 150_000, "{name}: {} bytes", bytes.len());
    }
}
