//! No label covers another, leaves its page or is cut: measured by the boxes of
//! all texts, for every page, every drawing of the index and the gallery, over
//! fleets of all kinds.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use crate::calendar::DateExt;
use std::path::Path;

use rayon::prelude::*;

use super::axis::{day_number, days_after};
use super::book::Book;
use super::display_list::{DisplayList, Stroke};
use super::fixture::{AS_OF, MONTH, assessment};
use super::rect::Rect;
use super::{ReportPlan, gallery, html};
use crate::advise::*;
use crate::backtest::Beside;

pub fn plan_of<'a>(assessment: &'a Assessment, out: &'a Path) -> ReportPlan<'a> {
    ReportPlan::new(assessment, MONTH, out)
}

pub fn sketches_of(plan: &ReportPlan<'_>) -> Vec<(String, DisplayList)> {
    let lines = plan.lines();
    let book = Book::of(plan, &lines);
    book.pages
        .par_iter()
        .map(|(name, page)| (name.clone(), page.sketch(plan, &lines).unwrap()))
        .collect()
}

pub fn sketches(assessment: &Assessment) -> Vec<(String, DisplayList)> {
    sketches_of(&plan_of(assessment, Path::new("unused")))
}

/// What is written where.
pub fn texts(sketch: &DisplayList) -> Vec<(Rect, &str)> {
    let text = |stroke| match stroke {
        &Stroke::Text { ref text, area, .. } => Some((area, text.as_str())),
        _ => None,
    };
    sketch.strokes.iter().filter_map(text).collect()
}

fn assert_well_laid(name: &str, sketch: &DisplayList) {
    let (width, height) = sketch.size;
    let page = Rect::at(0.0, 0.0, f64::from(width), f64::from(height));
    let texts = texts(sketch);
    for (i, (a, text)) in texts.iter().enumerate() {
        assert!(
            page.inset(8.0).holds(a),
            "{name}: {text:?} leaves the page at {a:?}"
        );
        for (b, other) in texts.iter().skip(i + 1) {
            assert!(
                !a.inset(1.0).overlaps(b),
                "{name}: {text:?} covers {other:?}"
            );
        }
    }
}

/// A name of 60 letters, odd characters, and a fleet of many.
pub fn many(n: usize) -> Assessment {
    let mut many = assessment();
    let few = many.vans.clone();
    many.vans = (0..n)
        .filter_map(|i| {
            let mut van = few.get(i % few.len())?.clone();
            van.van = format!("QV-{i:03}");
            if i == 7 {
                van.van =
                    "The <big> \"white\" van & its trailer, with a very long name …".to_owned();
            }
            Some(van)
        })
        .collect();
    many
}

/// A name as long as anybody ever types one.
const SIXTY: &str = "The second white van of the northern round, kept at the yard";

fn with_vans(change: impl Fn(usize, &mut VanAssessment)) -> Assessment {
    let mut fleet = assessment();
    for (i, van) in fleet.vans.iter_mut().enumerate() {
        change(i, van);
    }
    fleet
}

/// Fleets of all kinds, by name.
fn fleets() -> Vec<(&'static str, Assessment)> {
    assert_eq!(SIXTY.chars().count(), 60);
    let month = |d: crate::calendar::Date| d.first_of_month() == MONTH;
    vec![
        ("one van", many(1)),
        ("two vans", many(2)),
        ("five vans", many(5)),
        ("twelve vans", assessment()),
        ("two hundred vans", many(200)),
        (
            "no vans",
            Assessment {
                vans: vec![],
                areas: vec![],
                fleet: FleetSeries::default(),
                ..assessment()
            },
        ),
        (
            "names of sixty letters",
            with_vans(|i, van| {
                van.van = format!("{}{i:02}", &SIXTY[..58]);
                van.postcode = Some("QWERTYUIOPASDFGH1".to_owned());
            }),
        ),
        (
            "an empty month",
            with_vans(|_, van| {
                let series = &mut van.series;
                series.services.retain(|s| !month(s.date));
                series.salt_passage.retain(|p| !month(p.0));
                series.product_ppm.retain(|p| !month(p.0));
                series.weeks.retain(|w| !month(w.monday));
                series.last_reading_on = Some(days_after(MONTH, -4));
            }),
        ),
        (
            "no alarms",
            with_vans(|_, van| {
                van.membrane.state = State::OnCourse;
                van.membrane.suspect = None;
                van.resin.state = State::OnCourse;
                van.prefilter.state = State::OnCourse;
            }),
        ),
        (
            "all failing",
            with_vans(|i, van| {
                van.membrane.state = State::FailingEarly;
                van.membrane.suspect = Some(Suspect::Feed);
                van.resin.state = [State::Overdue, State::Unknown][i % 2];
                van.prefilter.state = State::Overdue;
                van.membrane.reason =
                    "It lets half as much again through as a month ago, in water \
                    that has not changed, and no other van based there does the same; the pressure \
                    at the tap was read and is what it was."
                        .to_owned();
            }),
        ),
        ("alarms raised and pending", with_vans(alarmed)),
        ("ten years", with_vans(|_, van| ten_years(van))),
        ("costs and prices", with_money(assessment())),
        ("many vans with costs", with_money(many(60))),
        (
            "a currency of many letters",
            Assessment {
                fleet: FleetSeries {
                    currency: Some("Quilldown dollars".to_owned()),
                    ..assessment().fleet
                },
                ..assessment()
            },
        ),
        (
            "three readings",
            with_vans(|_, van| {
                van.membrane.readings = 3;
                let series = &mut van.series;
                series.salt_passage.truncate(3);
                series.product_ppm.truncate(2);
                series.weeks.clear();
                series.services.clear();
            }),
        ),
        (
            "spans that never end",
            with_vans(|_, van| {
                van.membrane.limit_on.p90 = None;
                van.resin.limit_on = Span::unknown();
                van.resin.litres_left = Span {
                    p10: Some(2.0e7),
                    p50: None,
                    p90: None,
                };
            }),
        ),
    ]
}

/// An alarm on a membrane young enough for a claim, with all that is told of it.
fn alarmed(i: usize, van: &mut VanAssessment) {
    if !van.series.has_membrane {
        return;
    }
    let suspects = [
        Suspect::Membrane,
        Suspect::Probe,
        Suspect::Prefilter,
        Suspect::Feed,
    ];
    let facts = vec![
        "what comes through rose to 2.5 times what it was, at once, around 24 August".to_owned(),
        "the flow at equal temperature is the same".to_owned(),
        "the pre-filters were changed in time".to_owned(),
    ];
    let cause = |(k, suspect): (usize, Suspect)| CauseAssessment {
        suspect,
        probability: [0.64, 0.2, 0.12, 0.04][k],
        facts: facts.clone(),
        check_first: "Read tap and membrane water again after five minutes of flow.",
    };
    van.membrane.fitted_on = Some(days_after(AS_OF, -200));
    van.membrane.state = [State::FailingEarly, State::Watch][i % 2];
    van.membrane.suspect = Some(Suspect::Membrane);
    van.membrane.alarm = Some(AlarmAssessment {
        level: [AlarmLevel::Raised, AlarmLevel::Pending][i % 2],
        kind: AlarmKind::Step,
        probability: 0.9,
        since: days_after(AS_OF, -50),
        step_on: Some(days_after(AS_OF, -60)),
        step_ratio: Some(2.5),
        pace: 3.1,
        p_faster_than_95: 0.995,
        causes: suspects.into_iter().enumerate().map(cause).collect(),
    });
    let readings = van.series.salt_passage.iter().rev().take(28).rev();
    van.series.usual_passage = readings
        .map(|(day, passage)| Band {
            x: *day,
            p10: passage * 0.4,
            p50: passage * 0.6,
            p90: passage * 0.9,
        })
        .collect();
    van.habits = vec![HabitRemark {
        habit: Habit::ValveTooOpen,
        text: format!(
            "Waste ratio 4.6 : 1 ({} % recovery): about 4,900 L a week more to waste than at 2 : 1.",
            15 + i
        ),
    }];
    van.records = van.series.remarks.clone();
}

/// Two years of costs, prices for everything, and parts to order.
fn with_money(mut fleet: Assessment) -> Assessment {
    let spent = SpentIn {
        membranes: 1234.5,
        resin: 8765.4,
        prefilters: 456.7,
        other: 12.3,
        total: 10_468.9,
        services: 140,
        without_cost: 9,
    };
    fleet.money.spent.this_year = spent;
    fleet.money.spent.last_year_to_the_day = SpentIn {
        total: 8000.0,
        ..spent
    };
    fleet.money.spent.months = (0..24).map(|k| month_spent(10 + k)).collect();
    fleet.money.spent.last_12_months = spent;
    fleet.money.years = [Item::Membrane, Item::Prefilter, Item::Resin]
        .map(|item| PartYears {
            item,
            last: 12.0,
            last_at_prices: Some(1234.0),
            next: 34.0,
            next_cost: Some(4321.0),
        })
        .to_vec();
    let cost = |middle: f64| Span {
        p10: Some(middle * 0.8),
        p50: Some(middle),
        p90: Some(middle * 1.3),
    };
    fleet.money.expected = Some(Expected {
        from: days_after(AS_OF, 1),
        to: days_after(AS_OF, 365),
        fleet: cost(12_345.0),
        without: vec!["water_per_m3", "drain_per_m3"],
        months: (0..12).map(|k| month_spent(34 + k)).collect(),
        vans: fleet
            .vans
            .iter()
            .enumerate()
            .map(|(i, van)| VanExpected {
                van: van.van.clone(),
                cost: cost(200.0 + 37.0 * i as f64),
                unknown: Vec::new(),
            })
            .collect(),
    });
    fleet.parts_to_order = (11..=12)
        .map(|month| MonthOfParts {
            month: format!("2026-{month}"),
            membranes: cost(2.0),
            prefilter_sets: cost(4.0),
            resin_litres: cost(88.0),
        })
        .collect();
    for (i, area) in fleet.areas.iter_mut().enumerate() {
        let per_1000 = |total| CostPer1000Litres {
            membrane: 2.1,
            resin: 7.3,
            prefilters: 0.4,
            lost_rounds: 0.2,
            water: Some(4.0),
            total,
        };
        area.cost_per_1000_litres = Some(per_1000(14.0 + i as f64));
        area.rule_cost_per_1000_litres = Some(per_1000(19.0));
    }
    fleet
}

/// A reading a week, a filling a month and a membrane a year for ten years.
fn ten_years(van: &mut VanAssessment) {
    let first = days_after(AS_OF, -3652);
    let series = &mut van.series;
    let days = || (0..522).map(|k| days_after(first, 7 * k));
    let age = |d| (day_number(d) - day_number(first)) % 365.0;
    series.salt_passage = days().map(|d| (d, 0.02 + age(d) / 5000.0)).collect();
    series.product_ppm = days().map(|d| (d, (age(d) % 30.0) / 4.0)).collect();
    series.weeks = days()
        .map(|monday| WeekLitres {
            monday,
            litres: 12_345.0,
        })
        .collect();
    series.services = (0..120)
        .map(|k| ServiceMark {
            date: days_after(first, 30 * k),
            item: Item::ALL[usize::try_from(k).unwrap() % 6],
            quantity: None,
            cost: None,
            part: None,
            note: None,
            inferred: k % 5 == 0,
        })
        .collect();
    van.membrane.litres_made = Some(1.3e6);
}

/// Sums of the month that lies so many months after January 2024.
fn month_spent(k: i32) -> MonthSpent {
    let part = 34.0 * f64::from(k % 7);
    MonthSpent {
        month: format!("{}-{:02}", 2024 + k / 12, k % 12 + 1),
        membranes: part,
        resin: 2.0 * part,
        prefilters: part,
        other: 0.0,
        total: 4.0 * part,
    }
}

/// A month in which everything changed.
fn busy_month(fleet: &Assessment) -> Since {
    let mut before = fleet.clone();
    before.as_of = days_after(MONTH, -1);
    for (i, van) in before.vans.iter_mut().enumerate() {
        van.membrane.state = [State::OnCourse, State::Overdue, State::Watch][i % 3];
        let earlier = |d: crate::calendar::Date| days_after(d, -900);
        van.membrane.limit_on = van.membrane.limit_on.map(earlier);
    }
    let mut since = since(&before, fleet);
    since.joined = fleet.vans.iter().map(|v| v.van.clone()).collect();
    let effects = [
        Effect::Helped {
            before: 0.112,
            after: 0.021,
        },
        Effect::NoBetter {
            before: 0.1,
            after: 0.1,
        },
        Effect::NotReadSince,
        Effect::CannotBeSeen,
        Effect::NotReadBefore,
    ];
    since.work = fleet
        .vans
        .iter()
        .flat_map(|van| {
            effects.map(|effect| Work {
                van: van.van.clone(),
                item: Item::Membrane,
                on: MONTH,
                inferred: false,
                effect,
                given_up: Some(2345.0),
            })
        })
        .collect();
    since
}

fn past(fleet: &Assessment) -> crate::backtest::Backtest {
    let beside: Vec<Beside> = (0..40_i32)
        .map(|k| Beside {
            van: fleet.vans[k as usize % fleet.vans.len().max(1)].van.clone(),
            made_on: days_after(AS_OF, -1000 + 20 * k),
            limit_on: Span {
                p10: Some(days_after(AS_OF, -960 + 20 * k)),
                p50: Some(days_after(AS_OF, -900 + 20 * k)),
                p90: (k % 4 > 0).then(|| days_after(AS_OF, -700 + 20 * k)),
            },
            came_on: days_after(AS_OF, -910 + 20 * k + 5 * (k % 30)),
        })
        .collect();
    crate::backtest::Backtest::of_beside(AS_OF, beside)
}

#[test]
fn no_text_covers_another_leaves_its_page_or_is_cut() {
    let mut cut = Vec::new();
    for (kind, fleet) in fleets() {
        let lines = plan_of(&fleet, Path::new("unused")).lines();
        let quiet = sketches(&fleet);
        let mut all = quiet;
        if !fleet.vans.is_empty() && fleet.vans.len() < 100 {
            let (since, past) = (busy_month(&fleet), past(&fleet));
            let plan = ReportPlan {
                since: Some(&since),
                backtest: Some(&past),
                ..plan_of(&fleet, Path::new("unused"))
            };
            all.extend(sketches_of(&plan));
            for (name, paint) in gallery::singles(&fleet, Some(&past), &lines) {
                all.push((name.to_owned(), gallery::sketch(&paint).unwrap()));
            }
        }
        for (name, sketch) in all {
            let place = format!("{kind}, {name}");
            assert_well_laid(&place, &sketch);
            // long names and long reasons have to be shortened somewhere
            let long = [
                "names of sixty letters",
                "all failing",
                "two hundred vans",
                "many vans with costs",
            ];
            if !long.contains(&kind) {
                let all = texts(&sketch).into_iter();
                let short = all.filter(|(_, text)| text.ends_with('…'));
                cut.extend(short.map(|(_, text)| format!("{place}: {text}")));
            }
        }
    }
    assert!(cut.is_empty(), "cut:\n{}", cut.join("\n"));
}

/// The boxes of the texts of every drawing in an index.
fn drawn_texts(html: &str) -> Vec<(Rect, Vec<(Rect, String)>)> {
    let number = |tag: &str, name: &str| -> f64 {
        let from = tag.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
        tag[from..].split('"').next().unwrap().parse().unwrap()
    };
    html.split("<svg viewBox=\"0 0 ")
        .skip(1)
        .map(|drawing| {
            let drawing = drawing.split("</svg>").next().unwrap();
            let mut size = drawing.split('"').next().unwrap().split(' ');
            let mut side = || size.next().unwrap().parse::<f64>().unwrap();
            let page = Rect::at(0.0, 0.0, side(), side());
            let texts = drawing.split("<text ").skip(1).map(|tag| {
                let tag = format!(" {tag}");
                let class = tag.split("class=\"t").nth(1).unwrap();
                let size: f64 = class[..2].parse().unwrap();
                let said = tag.split('>').nth(1).unwrap();
                let said = said.strip_suffix("</text").unwrap().to_owned();
                let at = (number(&tag, "x"), number(&tag, "y") - 0.76 * size);
                (Rect::at(at.0, at.1, number(&tag, "textLength"), size), said)
            });
            (page, texts.collect())
        })
        .collect()
}

#[test]
fn no_text_of_a_drawing_covers_another_or_leaves_it() {
    let mut seen = 0;
    for (kind, fleet) in fleets() {
        let lines = plan_of(&fleet, Path::new("unused")).lines();
        let plan = plan_of(&fleet, Path::new("unused"));
        let names = Book::of(&plan, &lines).names;
        let index = html::index(&plan, &lines, &names);
        for text in index.split("<text class=\"t").skip(1) {
            let size = text.split([' ', '"']).next().unwrap();
            let styled = format!(".t{size}{{font-size:{size}px}}");
            assert!(index.contains(&styled), "{kind}: {styled}");
        }
        for (page, texts) in drawn_texts(&index) {
            for (i, (a, text)) in texts.iter().enumerate() {
                assert!(page.holds(a), "{kind}: {text:?} leaves {page:?} at {a:?}");
                for (b, other) in texts.iter().skip(i + 1) {
                    let apart = !a.inset(1.0).overlaps(b);
                    assert!(apart, "{kind}: {text:?} covers {other:?}");
                }
            }
            seen += texts.len();
        }
    }
    assert!(seen > 10_000, "{seen}");
}
