//! What a report promises, tried on an assessment made by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;

use super::*;
use crate::advise::{
    Early, Item, Order, Outcome, Rank, State, Task, last_list, orders, unused_stock,
};
use crate::calendar::{DateExt, date};
use book::Book;
use fixture::{AS_OF, assessment};
use layout::{many, plan_of, sketches, texts};
use look::Ink;
use pixels::{Picture, Renderer};

const PLAIN: text::Screen = text::Screen {
    width: 80,
    paint: text::Paint::Plain,
};

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

/// Everything that is written on a page, as one text.
fn said_on(sketch: &display_list::DisplayList) -> String {
    let lines: Vec<&str> = texts(sketch).into_iter().map(|(_, text)| text).collect();
    lines.join(" ")
}

#[test]
fn pages_speak_in_peoples_words() {
    for (name, sketch) in sketches(&assessment()) {
        let said = said_on(&sketch).to_lowercase();
        for word in words::NEVER_SAID {
            assert!(!said.contains(word), "{name} says {word}: {said}");
        }
    }
}

#[test]
fn the_index_speaks_in_peoples_words() {
    let fleet = many(12);
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    let plan = plan_of(&fleet, Path::new("unused"));
    let html = html::index(&plan, &lines, &Book::of(&plan, &lines).names);
    let body = html.split_once("<body>").unwrap().1;
    let body = body.split("<script>").next().unwrap().to_lowercase();
    for word in words::NEVER_SAID {
        let place = body.find(word);
        let near = place.map(|at| &body[at.saturating_sub(80)..(at + 40).min(body.len())]);
        assert_eq!(near, None, "the index says {word}");
    }
    for word in words::MUST_BE_SAID {
        assert!(
            body.contains(&word.to_lowercase()),
            "the index never says {word}"
        );
    }
    for (word, _) in glossary::WORDS {
        assert!(
            body.contains(&format!("<dt>{}</dt>", word.to_lowercase())),
            "{word}"
        );
    }
}

#[test]
fn the_first_page_and_every_vans_page_use_the_words_of_the_trade() {
    let fleet = assessment();
    for (name, sketch) in sketches(&fleet) {
        let van = fleet
            .vans
            .iter()
            .find(|v| name == format!("van-{}.png", v.van));
        // a van without membranes has no rejection and no waste
        let has_membrane = van.is_some_and(|v| v.series.has_membrane);
        if name != "fleet.png" && !has_membrane {
            continue;
        }
        let said = said_on(&sketch).to_lowercase();
        for word in words::MUST_BE_SAID {
            assert!(
                said.contains(&word.to_lowercase()),
                "{name} never says {word}: {said}"
            );
        }
    }
}

#[test]
fn a_long_list_goes_on_on_further_pages_and_loses_no_busy_van() {
    let fleet = many(200);
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    let pages = pages::fleet::paged(&lines);
    let shown: usize = pages.iter().map(|p| p.len()).sum();
    let busy = lines.iter().filter(|l| l.rank != Rank::OnCourse).count();
    assert!(pages[0].len() >= 8 && busy > pages[0].len());
    assert_eq!(shown, busy);
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
    let cards = first
        .files
        .iter()
        .filter(|f| f.to_string_lossy().contains("card-"))
        .count();
    assert!(cards > 0);
    assert_eq!(
        first.files.len(),
        5 + 4 + 12 + cards + files::TABLES.len() + 1
    );
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
    let plan = plan_of(&fleet, dir.path());
    let all = Book::of(&plan, &plan_of(&fleet, Path::new("unused")).lines())
        .pages
        .len();
    // fleet, vans at a glance, water, records, districts, vans and a card each
    assert!(all >= 1 + 1 + 1 + 1 + 4 + 2 + 2);
    write(&plan, &|done, total| {
        assert!(done <= total && total == all);
        most.fetch_max(done, Ordering::Relaxed);
    })
    .unwrap();
    assert_eq!(most.load(Ordering::Relaxed), all);
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
    let lines = plan_of(&fleet, Path::new("unused")).lines();
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
    let jobs = crate::advise::jobs(&fleet, 4);
    assert!(
        jobs.windows(2)
            .all(|w| w.iter().map(|j| j.date).is_sorted())
    );
    let late = |j: &due::Job| j.days_late() > 0 || j.state == State::FailingEarly;
    let end = axis::days_after(AS_OF, 28);
    assert!(jobs.iter().all(|j| j.date <= end || late(j)));
    // Work is done on working days after the day of the list, a Saturday.
    assert!(jobs.iter().all(|j| j.date > AS_OF));
    assert!(jobs.iter().all(|j| fleet.work.days.includes(j.date)));
    assert!(
        jobs.iter()
            .any(|j| j.item == Item::Prefilter && j.state == State::Overdue)
    );
    // An alarm is for now, and nothing is bought for it before it was looked at.
    let alarm = jobs
        .iter()
        .find(|j| j.state == State::FailingEarly)
        .unwrap();
    assert_eq!(alarm.task, Task::Inspect);
    assert_eq!(alarm.date, date(2026, 11, 2));
    assert!(
        orders(&fleet, &crate::advise::jobs(&fleet, 4))
            .iter()
            .all(|o| { o.item != Item::Membrane || o.vans.iter().all(|v| v.van != alarm.van) })
    );
    let visits = due::visits(&fleet, 0);
    assert!(visits.iter().all(|v| v.jobs.iter().any(late)));
}

#[test]
fn jobs_as_csv_are_safe_in_a_spreadsheet() {
    let mut fleet = assessment();
    for van in &mut fleet.vans {
        van.van = "=1+1, \"x\"".to_owned();
    }
    let text = due::csv(&crate::advise::jobs(&fleet, 8));
    let mut reader = csv::ReaderBuilder::new().from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty());
    assert!(rows.iter().all(|r| r.get(0) == Some("'=1+1, \"x\"")));
    assert!(rows.iter().all(|r| r.len() == 15));
}

#[test]
fn the_calendar_can_be_parsed_back() {
    use icalendar::{Calendar, Component, DatePerhapsTime};
    let fleet = assessment();
    let visits = due::visits(&fleet, 8);
    let text = due::icalendar(&visits);
    assert_eq!(text, due::icalendar(&visits));
    // RFC 5545, 3.1: lines end in CRLF and are at most 75 octets long
    assert!(
        text.split("\r\n")
            .all(|line| line.len() <= 75 && !line.contains('\n'))
    );
    let calendar: Calendar = text.parse().unwrap();
    let events: Vec<_> = calendar.events().collect();
    // One event for each visit.
    assert_eq!(events.len(), visits.len());
    let mut ids: Vec<&str> = events.iter().map(|e| e.get_uid().unwrap()).collect();
    for (event, visit) in events.iter().zip(&visits) {
        let Some(DatePerhapsTime::Date(day)) = event.get_start() else {
            panic!("not an all-day event")
        };
        assert_eq!(day.to_string(), visit.day.to_string());
        let said = event.get_description().unwrap();
        for job in &visit.jobs {
            assert!(
                said.contains(&format!("{}: {}", job.van, due::what(job))),
                "{said}"
            );
        }
        assert_eq!(event.property_value("DTSTAMP"), Some("20261031T000000Z"));
        assert_eq!(event.get_sequence(), Some(9800));
    }
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), visits.len());
}

#[test]
fn vans_of_one_base_share_a_visit_where_that_costs_less() {
    let mut fleet = assessment();
    // Cheap to do early, and a visit is worth something.
    for van in &mut fleet.vans {
        van.resin.early = vec![Early {
            days: 190.0,
            cost: 9.0,
        }];
    }
    let (alone, shared) = (due::visits(&assessment(), 6), due::visits(&fleet, 6));
    let jobs = |visits: &[due::Visit]| visits.iter().map(|v| v.jobs.len()).sum::<usize>();
    assert!(
        shared
            .iter()
            .flat_map(|v| &v.jobs)
            .any(|j| j.days_early() > 3)
    );
    assert!(jobs(&shared) >= jobs(&alone) && shared.len() <= alone.len());
    assert!(shared.iter().any(|v| v.vans().len() > 1));
    let most = |v: &due::Visit| v.jobs.len() <= fleet.work.jobs_a_day(v.base.as_deref());
    assert!(shared.iter().all(most));
    let text = due::text(&shared, &fleet, due::By::Day, PLAIN);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("which saves a visit"), "{text}");
    assert!(text.contains("Mon 2 Nov 2026"), "{text}");
    assert!(text.contains("competent people decide"), "{text}");
}

#[test]
fn the_list_the_csv_the_calendar_and_json_tell_the_same_jobs() {
    let fleet = many(24);
    let visits = due::visits(&fleet, 8);
    let json: serde_json::Value =
        serde_json::from_str(&due::json(&visits, AS_OF, None).unwrap()).unwrap();
    let csv = due::csv(&crate::advise::jobs(&fleet, 8));
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let mut rows = rows.iter();
    let out = json["visits"].as_array().unwrap();
    assert_eq!(out.len(), visits.len());
    for (visit, out) in visits.iter().zip(out) {
        assert_eq!(out["day"], visit.day.to_string());
        for (job, out) in visit.jobs.iter().zip(out["jobs"].as_array().unwrap()) {
            let row = rows.next().unwrap();
            assert_eq!(job.date, visit.day);
            assert_eq!(out["van"], job.van);
            assert_eq!(out["item"], job.item.word());
            assert_eq!(out["what"], due::what(job));
            let cells = [&row[0], &row[2], &row[4], &row[6], &row[7]];
            let own = [
                job.van.clone(),
                job.item.word().to_owned(),
                visit.day.to_string(),
                job.why.clone(),
                job.own_day.to_string(),
            ];
            assert_eq!(cells, own.each_ref().map(String::as_str));
            // Empty, for whoever does the work.
            assert_eq!((&row[13], &row[14]), ("", ""));
        }
    }
    assert_eq!(rows.next(), None);
}

#[test]
fn an_order_counts_every_planned_part_and_takes_off_the_shelf() {
    let mut fleet = many(24);
    for (n, van) in fleet.vans.iter_mut().enumerate() {
        van.series.fitted.membranes = 1 + (n % 2) as u32;
        van.series.fitted.resin_litres = 11.0;
        van.series.fitted.membrane = Some("4040 low pressure".to_owned());
    }
    let jobs = crate::advise::jobs(&fleet, 8);
    let sum = |item: Item| -> f64 {
        let jobs = jobs
            .iter()
            .filter(|j| j.item == item && j.task == Task::Change);
        jobs.map(|j| j.quantity).sum()
    };
    let of = |orders: &[Order], item: Item| orders.iter().find(|o| o.item == item).cloned();
    let plain = orders(&fleet, &crate::advise::jobs(&fleet, 8));
    let (membranes, resin) = (sum(Item::Membrane), sum(Item::Resin));
    assert!(membranes > 2.0 && resin > 25.0);
    let membrane = of(&plain, Item::Membrane).unwrap();
    assert_eq!((membrane.needed, membrane.to_order), (membranes, membranes));
    assert_eq!(membrane.part.as_deref(), Some("4040 low pressure"));
    let bags = of(&plain, Item::Resin).unwrap().bags.unwrap();
    assert_eq!(f64::from(bags.bags), (resin / 25.0).ceil());
    // Seven days before the first visit that needs one, on a working day.
    let first = jobs
        .iter()
        .find(|j| j.item == Item::Membrane && j.task == Task::Change);
    let by = fleet
        .work
        .days
        .on_or_before(axis::days_after(first.unwrap().date, -7));
    assert_eq!(membrane.order_by, Some(by));
    fleet.ordering.stock = [
        ("4040 LOW pressure".to_owned(), 1.0),
        ("membrane".to_owned(), 1.0),
        ("resin".to_owned(), 10_000.0),
        ("hose".to_owned(), 3.0),
    ]
    .into();
    let less = orders(&fleet, &crate::advise::jobs(&fleet, 8));
    let membrane = of(&less, Item::Membrane).unwrap();
    assert_eq!(
        (membrane.on_shelf, membrane.to_order),
        (2.0, membranes - 2.0)
    );
    let resin = of(&less, Item::Resin).unwrap();
    assert_eq!(
        (resin.to_order, resin.bags, resin.order_by),
        (0.0, None, None)
    );
    assert_eq!(unused_stock(&fleet, &less), ["hose"]);
    let text = order::text(
        &orders(&fleet, &crate::advise::jobs(&fleet, 8)),
        &fleet,
        8,
        PLAIN,
    );
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    assert!(text.contains("RO membrane, 4040"), "{text}");
    assert!(text.contains("more"), "{text}");
}

#[test]
fn last_months_list_says_what_was_done_and_what_is_open() {
    let before = assessment();
    let mut now = assessment();
    now.as_of = date(2026, 11, 30);
    let listed = crate::advise::jobs(&before, 5);
    let done = listed
        .iter()
        .find(|j| j.item == Item::Resin && j.task == Task::Change)
        .unwrap();
    let day = date(2026, 11, 12);
    for van in now.vans.iter_mut().filter(|v| v.van == done.van) {
        van.resin.changed_on = Some(day);
    }
    let list = last_list(&before, &now);
    let outcome = |job: &due::Job| {
        let listed = list
            .iter()
            .find(|l| l.job.van == job.van && l.job.item == job.item);
        listed.unwrap().outcome
    };
    assert_eq!(outcome(done), Outcome::Done(day));
    let filters = listed.iter().find(|j| j.item == Item::Prefilter).unwrap();
    let late = now.as_of.days_since(filters.own_day);
    assert_eq!(outcome(filters), Outcome::Open { days_late: late });
    let said = due::last_list(&list, before.as_of).join(" ");
    assert!(said.contains("planned on 31 Oct 2026, "), "{said}");
    assert!(said.contains(&format!("({late} days late)")), "{said}");
}

#[test]
fn a_visit_keeps_its_identity_when_its_day_moves() {
    let resin_from = |first: i32| {
        let mut fleet = assessment();
        for (n, van) in fleet.vans.iter_mut().enumerate() {
            van.series.has_membrane = false;
            van.prefilter.state = State::Unknown;
            van.resin.replace_on = Some(axis::days_after(AS_OF, first + 3 * n as i32));
        }
        fleet
    };
    let (fleet, later) = (resin_from(5), resin_from(12));
    let ids = |fleet: &Assessment| -> Vec<String> {
        let text = due::icalendar(&due::visits(fleet, 8));
        let mut ids: Vec<String> = text
            .lines()
            .filter(|l| l.starts_with("UID:"))
            .map(str::to_owned)
            .collect();
        ids.sort();
        ids
    };
    assert_eq!(ids(&fleet), ids(&later));
    assert!(ids(&fleet).len() > 5);
}

#[test]
fn the_terminal_says_the_most_urgent_first_within_80_columns() {
    for fleet in [assessment(), many(30)] {
        for text in [
            text::summary(&fleet, PLAIN),
            text::table(&fleet, PLAIN),
            due::text(&due::visits(&fleet, 8), &fleet, due::By::Day, PLAIN),
            due::text(&due::visits(&fleet, 8), &fleet, due::By::Base, PLAIN),
        ] {
            assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
        }
    }
    let text = text::summary(&assessment(), PLAIN);
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
    let plain = text::table(&fleet, PLAIN);
    let colour = text::table(
        &fleet,
        text::Screen {
            paint: text::Paint::Colour,
            ..PLAIN
        },
    );
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
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    let bytes = workbook::bytes(&plan_of(&fleet, Path::new("unused")), &lines).unwrap();
    assert_eq!(
        bytes,
        workbook::bytes(&plan_of(&fleet, Path::new("unused")), &lines).unwrap()
    );
    assert_eq!(&bytes[..4], b"PK\x03\x04");
    let empty = Assessment {
        vans: vec![],
        areas: vec![],
        ..assessment()
    };
    assert!(workbook::bytes(&plan_of(&empty, Path::new("unused")), &[]).is_ok());
}

#[test]
fn every_page_is_a_small_file() {
    let fleet = many(16);
    let plan = plan_of(&fleet, Path::new("unused"));
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    for (name, page) in &Book::of(&plan, &lines).pages {
        let bytes = book::png(name, page.sketch(&plan, &lines)).unwrap();
        assert!(bytes.len() < 150_000, "{name}: {} bytes", bytes.len());
    }
}

/// Cells of a sheet as text; days as `2026-11-02`.
fn sheet_of(bytes: &[u8], name: &str) -> Vec<Vec<String>> {
    use calamine::{Data, Reader, Xlsx};
    let mut book: Xlsx<_> = Xlsx::new(std::io::Cursor::new(bytes)).unwrap();
    let range = book.worksheet_range(name).unwrap();
    let say = |cell: &Data| match cell {
        // days are counted from 30 December 1899
        Data::DateTime(day) => {
            let days = day.as_f64() as i32 - 36_526;
            axis::days_after(crate::calendar::date(2000, 1, 1), days).to_string()
        }
        other => other.to_string(),
    };
    range
        .rows()
        .map(|row| row.iter().map(say).collect())
        .collect()
}

/// A fleet in which every state, two membranes and every task are found.
fn every_state() -> Assessment {
    let mut fleet = assessment();
    for van in &mut fleet.vans {
        if van.membrane.state == State::Overdue {
            van.membranes = 2;
            van.series.fitted.membranes = 2;
        }
    }
    // a due membrane whose date rests on a doubted meter
    fleet.vans[7].membrane.check_meter_first = true;
    fleet
}

#[test]
fn page_card_list_calendar_workbook_and_json_tell_the_same_jobs() {
    let fleet = every_state();
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    for state in [
        State::Unknown,
        State::FailingEarly,
        State::Overdue,
        State::Due,
        State::Watch,
        State::OnCourse,
    ] {
        let is_there = |l: &parts::VanLine<'_>| l.parts.iter().any(|p| p.state == state);
        assert!(lines.iter().any(is_there), "{state:?}");
    }
    let visits = due::visits(&fleet, DUE_WEEKS);
    let jobs: Vec<due::Job> = visits.iter().flat_map(|v| v.jobs.clone()).collect();
    assert!(jobs.len() > 8);

    let csv_text = due::csv(&jobs);
    let mut reader = csv::ReaderBuilder::new().from_reader(csv_text.as_bytes());
    let heads = reader.headers().unwrap().clone();
    let column = |name: &str| heads.iter().position(|h| h == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();

    let json: serde_json::Value =
        serde_json::from_str(&due::json(&visits, AS_OF, None).unwrap()).unwrap();
    let told = json["visits"].as_array().unwrap().iter();
    let told: Vec<(&serde_json::Value, &serde_json::Value)> = told
        .flat_map(|visit| {
            let jobs = visit["jobs"].as_array().unwrap().iter();
            jobs.map(move |job| (&visit["day"], job))
        })
        .collect();

    let calendar: icalendar::Calendar = due::icalendar(&visits).parse().unwrap();
    let events: Vec<&icalendar::Event> = calendar.events().collect();
    let book = workbook::bytes(&plan_of(&fleet, Path::new("unused")), &lines).unwrap();
    let sheet = sheet_of(&book, "Jobs");
    let plan = plan_of(&fleet, Path::new("unused"));
    let html = html::index(&plan, &lines, &Book::of(&plan, &lines).names);
    let pages: std::collections::BTreeMap<String, String> = sketches(&fleet)
        .iter()
        .map(|(name, sketch)| (name.clone(), said_on(sketch)))
        .collect();

    assert_eq!(
        (rows.len(), told.len(), sheet.len()),
        (jobs.len(), jobs.len(), jobs.len() + 1)
    );
    for (i, job) in jobs.iter().enumerate() {
        let (what, van) = (due::what(job), job.van.as_str());
        let (day, own_day) = (job.date.to_string(), job.own_day.to_string());
        let quantity = if job.quantity > 0.0 {
            job.quantity.to_string()
        } else {
            String::new()
        };

        let cell = |name: &str| rows[i].get(column(name)).unwrap();
        assert_eq!(
            [
                cell("van"),
                cell("date"),
                cell("own_day"),
                cell("quantity"),
                cell("why")
            ],
            [van, &day, &own_day, &quantity, &job.why]
        );
        let (on, as_json) = told[i];
        assert_eq!(
            (on.as_str(), as_json["van"].as_str()),
            (Some(day.as_str()), Some(van))
        );
        assert_eq!(as_json["what"].as_str(), Some(what.as_str()));
        assert_eq!(as_json["why"].as_str(), Some(job.why.as_str()));
        assert_eq!(as_json["quantity"].as_f64().unwrap_or(0.0), job.quantity);

        let event = events.iter().find(|e| {
            use icalendar::{Component, DatePerhapsTime};
            let on = match e.get_start() {
                Some(DatePerhapsTime::Date(on)) => on.to_string(),
                _ => String::new(),
            };
            on == day
                && e.get_description()
                    .unwrap_or("")
                    .contains(&format!("{van}: {what}"))
        });
        let event = event.unwrap_or_else(|| panic!("no event for {van}: {what} on {day}"));
        {
            use icalendar::Component;
            assert!(
                event.get_description().unwrap().contains(&job.why),
                "{van}: {what}"
            );
        }

        let row = &sheet[i + 1];
        let take = due::takes(job).unwrap_or_default();
        for told in [van, &day, &words::capital(&what), &take, &own_day, &job.why] {
            assert!(
                row.iter().any(|cell| cell == told),
                "{told:?} is not in {row:?}"
            );
        }

        // the page of the van says the day, its card and the index the job too
        let line = lines.iter().find(|l| l.van.van == van).unwrap();
        let mut parts = line.parts.iter();
        let is_of = |p: &&parts::Part<'_>| {
            p.item == job.item || (p.check_meter && job.task == crate::advise::Task::CheckMeter)
        };
        let part = parts.find(is_of).unwrap();
        assert_eq!(part.visit, Some(job.date));
        let page = &pages[&format!("van-{van}.png")];
        let weekday = words::weekday_near(job.date, AS_OF);
        let own = words::weekday_near(job.own_day, AS_OF);
        assert!(
            page.contains(&weekday) || page.contains(&own),
            "{van} {what}: {weekday} {page}"
        );
        if line.jobs.iter().all(|other| job.date <= other.date) {
            let card = &pages[&format!("card-{van}.png")];
            for told in [&words::capital(&what), &take, &words::day(job.date)] {
                let told = told.split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(card.contains(&told), "{told:?} is not on the card: {card}");
                assert!(html.contains(&told), "{told:?} is not in the index");
            }
        }
    }
    let both = jobs
        .iter()
        .filter(|j| j.quantity == 2.0 && j.item == Item::Membrane);
    assert!(
        both.into_iter()
            .all(|j| due::what(j) == "change both RO membranes")
    );
}

#[test]
fn what_harms_the_glass_comes_first() {
    let mut fleet = assessment();
    // over the limit at the pole, though only due by its date
    let van = &mut fleet.vans[9];
    van.resin.litres_left = crate::advise::Span {
        p10: Some(0.0),
        p50: Some(0.0),
        p90: Some(0.0),
    };
    van.resin.limit_on.p50 = Some(AS_OF);
    van.resin.state = State::Due;
    fleet.vans[6].membrane.salt_passage.p50 = Some(0.12);
    let lines = plan_of(&fleet, Path::new("unused")).lines();
    let order: Vec<Rank> = lines.iter().map(|l| l.rank).collect();
    assert!(order.is_sorted());
    let names: Vec<&str> = lines.iter().take(3).map(|l| l.van.van.as_str()).collect();
    assert_eq!(names, ["QV-010", "QV-007", "QV-002"]);
    assert!(
        lines[0].why(None).starts_with("Product TDS"),
        "{}",
        lines[0].why(None)
    );
    assert!(lines[1].why(None).contains("(limit 90 %)"));
}
