//! An assessment made by hand, for tests only: twelve invented vans in four
//! districts, every state at least once.

use crate::calendar::{Date, date};

use super::axis::{day_number, days_after};
use crate::advise::*;

pub const AS_OF: Date = date(2026, 10, 31);
pub const MONTH: Date = date(2026, 10, 1);

/// A wobble between -1 and 1 that is the same every time.
fn wobble(i: usize) -> f64 {
    let x = (i as f64 * 12.9898).sin() * 43_758.545;
    (x - x.floor()) * 2.0 - 1.0
}

const DISTRICTS: [(&str, f64); 4] = [
    ("QA1", 310.0),
    ("QA3", 285.0),
    ("QB1", 140.0),
    ("QC7", 35.0),
];

fn mark(date: Date, item: Item, inferred: bool) -> ServiceMark {
    ServiceMark {
        date,
        item,
        quantity: None,
        cost: None,
        part: None,
        note: None,
        inferred,
    }
}

/// A van with a membrane fitted 19 months ago, its salt passage growing by
/// `growth` a month, and resin changed `resin_days` ago.
fn van(i: usize, growth: f64, state: State) -> VanAssessment {
    let (postcode, hardness) = DISTRICTS[i % 4];
    let fitted = days_after(AS_OF, -(560 + 7 * i as i32));
    let passage =
        |day: Date| 0.028 * (growth * (day_number(day) - day_number(fitted)) / 30.4).exp();
    let points: Vec<(Date, f64)> = (0..78)
        .map(|k| days_after(fitted, k * 7))
        .filter(|d| *d <= AS_OF)
        .enumerate()
        .map(|(k, d)| (d, passage(d) * (1.0 + 0.06 * wobble(i * 100 + k))))
        .collect();
    let path = (0..60)
        .map(|k| days_after(fitted, k * 28))
        .map(|d| {
            let ahead = (day_number(d) - day_number(AS_OF)).max(0.0) / 365.0;
            let middle = passage(d);
            let spread = 0.03 + 0.35 * ahead;
            Band {
                x: d,
                p10: middle * (-spread).exp(),
                p50: middle,
                p90: middle * spread.exp(),
            }
        })
        .collect();
    let limit_at = |factor: f64| {
        let months = (0.10_f64 / 0.028).ln() / (growth * factor);
        days_after(fitted, (months * 30.4) as i32)
    };
    let resin_changed = days_after(AS_OF, -(20 + 9 * i as i32));
    let per_week = 900.0 + 60.0 * i as f64;
    let product = (0..50)
        .map(|k| days_after(AS_OF, -350 + 7 * k))
        .enumerate()
        .map(|(k, d)| {
            let age = (day_number(d) - day_number(resin_changed)).rem_euclid(120.0);
            let ppm = if age < 60.0 {
                0.4
            } else {
                0.4 + (age - 60.0) * 0.09
            };
            (d, (ppm * (1.0 + 0.2 * wobble(i * 7 + k))).max(0.0))
        })
        .collect();
    let product_path = (0..30)
        .map(|k| days_after(resin_changed, k * 7))
        .map(|d| {
            let age = day_number(d) - day_number(resin_changed);
            let ahead = ((day_number(d) - day_number(AS_OF)) / 60.0).clamp(0.0, 2.0);
            let middle = 0.4 + ((age - 60.0).max(0.0) * 0.09).min(14.0);
            Band {
                x: d,
                p10: (middle - 2.0 * ahead).max(0.2),
                p50: middle,
                p90: middle + 3.0 * ahead,
            }
        })
        .collect();
    let overdue = state == State::Overdue;
    let tests = points.iter().rev().take(15).rev();
    let tests = tests
        .map(|(date, passage)| MembraneTest {
            date: *date,
            feed_ppm: hardness + 60.0,
            permeate_ppm: (passage * (hardness + 60.0)).round(),
            water_c: Some(11.5),
            feed_bar: Some(4.2),
            permeate_lpm: Some(1.6),
            concentrate_lpm: Some(3.3),
        })
        .collect();
    VanAssessment {
        explained: Default::default(),
        van: format!("QV-{:03}", i + 1),
        postcode: Some(postcode.to_owned()),
        hardness_mg_l_caco3: Some(hardness),
        hardness_basis: Some(HardnessBasis::Table),
        membranes: 1,
        resin_litres: 11.0,
        recovery: Some(0.33),
        membrane: MembraneAssessment {
            fitted_on: Some(fitted),
            litres_made: Some(61_200.0),
            salt_passage: Span {
                p10: Some(passage(AS_OF) * 0.96),
                p50: Some(passage(AS_OF)),
                p90: Some(passage(AS_OF) * 1.04),
            },
            limit_on: Span {
                p10: Some(limit_at(1.15)),
                p50: Some(limit_at(1.0)),
                p90: Some(limit_at(0.8)),
            },
            replace_on: Some(match state {
                State::Overdue => days_after(AS_OF, -20),
                State::Due => days_after(AS_OF, 9),
                State::FailingEarly | State::Watch => days_after(AS_OF, 12),
                _ => days_after(limit_at(1.0), -40).max(days_after(AS_OF, 40)),
            }),
            state,
            reason: format!(
                "61,200 L of {hardness:.0} mg/L water through it, and falling as expected there."
            ),
            suspect: match state {
                State::FailingEarly => Some(Suspect::Prefilter),
                State::Watch => Some(Suspect::Probe),
                _ => None,
            },
            check_meter_first: false,
            rule_of_thumb_on: Some(days_after(fitted, 639)),
            readings: points.len(),
            alarm: None,
            costs: None,
            next_one_days: None,
            early: Vec::new(),
        },
        resin: ResinAssessment {
            changed_on: Some(resin_changed),
            litres_treated: Some(4100.0),
            litres_left: Span {
                p10: Some(2500.0),
                p50: Some(3300.0),
                p90: Some(4200.0),
            },
            limit_on: Span {
                p10: Some(days_after(AS_OF, 18)),
                p50: Some(days_after(AS_OF, 26)),
                p90: Some(days_after(AS_OF, 34)),
            },
            replace_on: Some(days_after(
                AS_OF,
                if i.is_multiple_of(3) { 5 } else { 16 } + i as i32 / 2,
            )),
            state: if i.is_multiple_of(3) {
                State::Due
            } else {
                State::OnCourse
            },
            reason: "About 3,300 L left in this resin.".to_owned(),
            best_bottle: None,
            early: Vec::new(),
        },
        prefilter: PrefilterAssessment {
            changed_on: Some(days_after(AS_OF, -80)),
            replace_on: Some(days_after(AS_OF, if overdue { -37 } else { 34 })),
            state: if overdue {
                State::Overdue
            } else {
                State::OnCourse
            },
            reason: "Pre-filters are changed every 12 weeks.".to_owned(),
            by_chlorine_on: None,
            by_days_on: None,
            week_late: None,
            early: Vec::new(),
        },
        meters: Vec::new(),
        series: VanSeries {
            fitted: Fitted {
                membranes: 1,
                resin_litres: 11.0,
                ..Fitted::default()
            },
            has_membrane: true,
            has_resin: true,
            salt_passage: points,
            salt_passage_path: path,
            product_ppm: product,
            product_path,
            feed_ppm: Vec::new(),
            weeks: (0..60)
                .map(|k| WeekLitres {
                    monday: days_after(date(2026, 10, 26), -7 * (59 - k)),
                    litres: (per_week * (1.0 + 0.3 * wobble(i * 31 + k as usize))).max(0.0),
                })
                .collect(),
            services: vec![
                mark(fitted, Item::Membrane, false),
                mark(days_after(resin_changed, -120), Item::Resin, true),
                mark(days_after(AS_OF, -80), Item::Prefilter, false),
                mark(days_after(AS_OF, -164), Item::Prefilter, false),
                mark(resin_changed, Item::Resin, false),
            ],
            remarks: vec![RecordsRemark {
                date: Some(days_after(resin_changed, -120)),
                about: crate::advise::About::Services,
                text: "the resin looks replaced, but no service is recorded".to_owned(),
            }],
            last_reading_on: Some(days_after(AS_OF, if i == 4 { -40 } else { -3 })),
            membrane_tests: tests,
            usual_passage: Vec::new(),
            litres_per_week: Some(per_week),
        },
        records: Vec::new(),
        habits: Vec::new(),
    }
}

/// A van without a membrane.
fn resin_only(i: usize) -> VanAssessment {
    let mut van = van(i, 0.03, State::Unknown);
    van.membrane.salt_passage = Span::unknown();
    van.membrane.limit_on = Span::unknown();
    van.membrane.replace_on = None;
    van.membrane.fitted_on = None;
    van.membrane.litres_made = None;
    van.prefilter = PrefilterAssessment {
        changed_on: None,
        replace_on: None,
        state: State::Unknown,
        reason: String::new(),
        by_chlorine_on: None,
        by_days_on: None,
        week_late: None,
        early: Vec::new(),
    };
    van.membranes = 0;
    van.recovery = None;
    van.series.has_membrane = false;
    van.series.salt_passage.clear();
    van.series.salt_passage_path.clear();
    van
}

/// A van of which next to nothing is known.
fn unknown(i: usize) -> VanAssessment {
    let mut van = van(i, 0.03, State::Unknown);
    van.membrane.salt_passage = Span::unknown();
    van.membrane.limit_on = Span::unknown();
    van.membrane.replace_on = None;
    van.membrane.readings = 0;
    van.membrane.reason = "No fills recorded since 3 May, so litres cannot be counted.".to_owned();
    van.resin.litres_left = Span::unknown();
    van.resin.limit_on = Span::unknown();
    van.resin.replace_on = None;
    van.resin.state = State::Unknown;
    van.series = VanSeries {
        has_membrane: true,
        has_resin: true,
        ..VanSeries::default()
    };
    van
}

fn area(postcode: &str, hardness: f64) -> AreaAssessment {
    let life = 9.0e6 / (hardness + 40.0);
    let resin = 3.0e6 / (hardness + 60.0);
    let spread = |middle: f64, by: f64| Span {
        p10: Some(middle / by),
        p50: Some(middle),
        p90: Some(middle * by),
    };
    let soft = hardness < 50.0;
    AreaAssessment {
        postcode: postcode.to_owned(),
        hardness_mg_l_caco3: Some(hardness),
        vans: 3,
        litres_per_week: Some(1200.0),
        membrane_life_litres: Span {
            p90: if soft { None } else { Some(life * 1.5) },
            ..spread(life, 1.5)
        },
        membrane_life_days: spread(life / 150.0, 1.5),
        resin_life_litres: spread(resin, 1.3),
        suggested: Suggested {
            membrane_days: Some(life / 170.0),
            resin_litres: Some(resin * 0.8),
            prefilter_days: Some(84.0),
        },
        saving_per_van_year: Some(143.0 - hardness / 3.0),
        saving_span: spread(143.0 - hardness / 3.0, 1.3),
        cost_per_1000_litres: None,
        rule_cost_per_1000_litres: None,
        litres_per_litre_of_resin: spread(resin / 11.0, 1.3),
    }
}

/// The whole fleet.
pub fn assessment() -> Assessment {
    use State::*;
    let states = [
        OnCourse,
        FailingEarly,
        OnCourse,
        Overdue,
        Watch,
        OnCourse,
        OnCourse,
        Due,
        OnCourse,
        OnCourse,
    ];
    let growth = [
        0.045, 0.085, 0.03, 0.02, 0.065, 0.035, 0.028, 0.06, 0.04, 0.033,
    ];
    let mut vans: Vec<VanAssessment> = states
        .iter()
        .zip(growth)
        .enumerate()
        .map(|(i, (state, g))| van(i, g, *state))
        .collect();
    vans.push(resin_only(10));
    vans.push(unknown(11));
    let areas: Vec<AreaAssessment> = DISTRICTS.iter().map(|(p, h)| area(p, *h)).collect();
    let curve = |scale: f64, by: f64| -> Vec<Band<f64>> {
        (0..40)
            .map(|k| {
                let x = 10.0 + 9.0 * f64::from(k);
                let middle = scale / (x + 40.0);
                Band {
                    x,
                    p10: middle / by,
                    p50: middle,
                    p90: middle * by,
                }
            })
            .collect()
    };
    let dots = |scale: f64, every: usize| -> Vec<LifeDot> {
        (0..12)
            .map(|i| {
                let h = DISTRICTS[i % 4].1;
                LifeDot {
                    van: format!("QV-{:03}", i + 1).into(),
                    hardness_mg_l_caco3: h,
                    litres: scale / (h + 40.0) * (1.0 + 0.25 * wobble(i)),
                    seen: i % every == 0,
                }
            })
            .collect()
    };
    Assessment {
        parts: Vec::new(),
        schema: "litrewise/assessment/1",
        as_of: AS_OF,
        records_end_on: AS_OF,
        limits: Limits {
            salt_passage: 0.10,
            product_ppm: 10.0,
        },
        vans,
        areas,
        rows: RowCounts {
            read: 9120,
            stored: 9050,
            already_stored: 58,
            set_aside: 12,
        },
        fleet: FleetSeries {
            currency: Some("£".to_owned()),
            membrane_dots: dots(9.0e6, 5),
            resin_dots: dots(2.5e6, 2),
            membrane_life_by_hardness: curve(9.0e6, 1.5),
            resin_life_by_hardness: curve(2.5e6, 1.35),
            shared: Vec::new(),
            remarks: vec!["Fitted on 11 membranes and 24 resin refills.".to_owned()],
            missing: vec!["April 2026: no fills from any van".to_owned()],
            rule_membrane_months: 21.0,
            rule_prefilter_weeks: 12.0,
        },
        parts_to_order: Vec::new(),
        money: no_money(),
        work: crate::settings::Work::default(),
        ordering: Ordering {
            order_days: 7,
            resin_bag_litres: 25.0,
            stock: Default::default(),
        },
        saved_visit: 20.0,
        most_days_early: 14,
    }
}

/// Nothing spent, nothing known.
fn no_money() -> Money {
    Money {
        currency: Some("£".to_owned()),
        prices: KnownPrices {
            membrane: None,
            prefilter: None,
            resin_per_litre: None,
            labour_per_visit: None,
            lost_day: None,
            water_per_m3: None,
            drain_per_m3: None,
        },
        spent: Spent {
            this_year: SpentIn::default(),
            last_year_to_the_day: SpentIn::default(),
            last_year: SpentIn::default(),
            last_12_months: SpentIn::default(),
            months: Vec::new(),
            vans: Vec::new(),
        },
        expected: None,
        years: Vec::new(),
    }
}
