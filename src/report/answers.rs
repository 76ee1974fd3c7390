//! What a fleet manager asks of a month's report, in the order of asking, each
//! answered in a few sentences from finished results.

use crate::calendar::Date;

use super::ReportPlan;
use super::axis::day_number;
use super::changes;
use super::charts::{expected_by_van, intervals};
use super::order;
use super::pages::warranty;
use super::parts::{VanLine, finding_and_visits};
use super::words;
use crate::advise::{
    Assessment, Gain, Habit, HabitRemark, Item, LOST_DAY_PER_MEMBRANE, Rank, State, VanAssessment,
    best_reading,
};

/// A question with its answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    pub question: &'static str,
    /// Where the index has it.
    pub id: &'static str,
    /// Sentences, the weightiest first; never empty.
    pub said: Vec<String>,
}

/// A van not read for longer is named, days.
const NOT_READ: f64 = 21.0;
/// Names in one sentence; the rest is counted.
const NAMED: usize = 8;
/// Fewer readings than this and a forecast leans on the fleet.
pub const FEW_READINGS: usize = 5;

/// The answers in the order of the questions.
pub fn answers(plan: &ReportPlan<'_>, lines: &[VanLine<'_>]) -> [Answer; 8] {
    let assessment = plan.assessment;
    let (since, currency) = (plan.since, assessment.fleet.currency.as_deref());
    [
        Answer {
            question: "What needs doing?",
            id: "todo",
            said: vec![format!("{}.", finding_and_visits(lines))],
        },
        Answer {
            question: "What changed since last month?",
            id: "changed",
            said: changes::changed(since),
        },
        Answer {
            question: "Is any van in trouble?",
            id: "trouble",
            said: trouble(assessment, lines),
        },
        Answer {
            question: "Did last month's work help?",
            id: "work",
            said: changes::helped(since),
        },
        Answer {
            question: "Can I claim under warranty?",
            id: "claim",
            said: claim(assessment),
        },
        Answer {
            question: "What did it cost?",
            id: "cost",
            said: cost(plan, currency),
        },
        Answer {
            question: "Are my intervals right?",
            id: "intervals",
            said: right_intervals(assessment),
        },
        Answer {
            question: "How far can I trust this?",
            id: "believe",
            said: believe(plan),
        },
    ]
}

fn cost(plan: &ReportPlan<'_>, currency: Option<&str>) -> Vec<String> {
    let mut said = changes::cost(plan.since, currency);
    if let Some(ahead) = expected_by_van::in_words(&plan.assessment.money) {
        // the year ahead weighs more than the details of the month
        said.insert(said.len().min(1), ahead);
    }
    said
}

fn trouble(assessment: &Assessment, lines: &[VanLine<'_>]) -> Vec<String> {
    if lines.is_empty() {
        return vec!["There are no vans yet.".to_owned()];
    }
    let mut said = Vec::new();
    let names = |kept: &dyn Fn(&VanLine<'_>) -> bool| -> Vec<String> {
        let kept = lines.iter().filter(|l| kept(l));
        kept.map(|l| l.van.van.clone()).collect()
    };
    let spent = names(&|l| l.rank == Rank::ProductOver);
    if !spent.is_empty() {
        said.push(format!(
            "Product TDS at or near its limit of {} ppm: {}. Change the DI resin before the next job.",
            words::figures(assessment.limits.product_ppm),
            named(&spent)
        ));
    }
    for line in lines.iter().filter(|l| l.state == State::FailingEarly) {
        let name = words::part(Item::Membrane, f64::from(line.van.membranes));
        let check = match line.van.membrane.suspect {
            _ if line.van.membrane.check_meter_first => "; check the TDS meter first".to_owned(),
            Some(suspect) => format!("; {}", words::suspect(suspect)),
            None => String::new(),
        };
        said.push(format!("{}: {name} failing early{check}.", line.van.van));
    }
    if said.is_empty() {
        said.push("No: no product TDS at its limit, no RO membrane failing early.".to_owned());
    }
    said.extend(waste_ratios(assessment));
    let unknown = names(&|l| l.rank == Rank::NoForecast);
    if !unknown.is_empty() {
        said.push(format!(
            "No forecast for {}: not enough readings.",
            named(&unknown)
        ));
    }
    said
}

/// Waste ratios that need setting, or that none does.
fn waste_ratios(assessment: &Assessment) -> Option<String> {
    let with_membrane = || assessment.vans.iter().filter(|v| v.series.has_membrane);
    let set = |v: &VanAssessment| {
        let valve = |h: &HabitRemark| matches!(h.habit, Habit::ValveTooTight | Habit::ValveTooOpen);
        let ratio = 1.0 / v.recovery? - 1.0;
        v.habits
            .iter()
            .any(valve)
            .then(|| format!("{} ({ratio:.1} : 1)", v.van))
    };
    let to_set: Vec<String> = with_membrane().filter_map(set).collect();
    let recorded = with_membrane().filter(|v| v.recovery.is_some()).count();
    Some(match (to_set.len(), recorded, with_membrane().count()) {
        (_, _, 0) => return None,
        (0, 0, _) => "Waste ratio: not recorded on any van.".to_owned(),
        (0, recorded, all) => {
            format!("Waste ratio: fine on {recorded} of {all} vans, not recorded on the others.")
                .replace(
                    &format!("{all} of {all} vans, not recorded on the others"),
                    "all vans",
                )
        }
        _ => format!("Waste ratio to set: {}.", named(&to_set)),
    })
}

/// Which membranes give cause for a warranty claim, or why none does.
fn claim(assessment: &Assessment) -> Vec<String> {
    let vans = || assessment.vans.iter().filter(|v| v.series.has_membrane);
    let claims = vans().filter(|v| warranty::has_one(v, assessment.as_of));
    let claims: Vec<String> = claims.map(|v| v.van.clone()).collect();
    if !claims.is_empty() {
        return vec![format!(
            "Perhaps, for {}: see the warranty sheet.",
            named(&claims)
        )];
    }
    let failing = vans().filter(|v| v.membrane.state == State::FailingEarly);
    let in_doubt = failing.filter(|v| v.membrane.check_meter_first);
    let in_doubt: Vec<String> = in_doubt.map(|v| v.van.clone()).collect();
    vec![if in_doubt.is_empty() {
        "No: no young RO membrane is failing early.".to_owned()
    } else {
        format!(
            "Not yet: check the TDS meter of {} first.",
            named(&in_doubt)
        )
    }]
}

/// TDS meters to check before anything is bought on their word.
pub fn meters_to_check(assessment: &Assessment) -> Vec<String> {
    let of = |van: &VanAssessment| Some(format!("{}: {}.", van.van, words::meter_to_check(van)?));
    let mut said: Vec<String> = assessment.vans.iter().filter_map(of).collect();
    said.push(match said.is_empty() {
        true => "No: none is in doubt.".to_owned(),
        false => CUP.to_owned(),
    });
    said
}

const CUP: &str = "Both TDS meters in one cup of tap water: the same within 5 %.";

/// What has to be ordered now.
pub fn order_now(plan: &ReportPlan<'_>) -> Vec<String> {
    let (orders, assessment) = (&plan.orders, plan.assessment);
    let mut said: Vec<String> = order::misses(orders, assessment).into_iter().collect();
    said.extend(order::now(orders, assessment));
    if said.is_empty() {
        said.push("Nothing: no part has to be ordered today.".to_owned());
    }
    said
}

fn right_intervals(assessment: &Assessment) -> Vec<String> {
    let mut said = vec![format!("{}.", intervals::title(assessment))];
    let currency = assessment.fleet.currency.as_deref();
    let per_year: f64 = assessment
        .areas
        .iter()
        .filter_map(|a| Some(a.saving_per_van_year? * a.vans as f64))
        .sum();
    let priced = assessment
        .areas
        .iter()
        .any(|a| a.saving_per_van_year.is_some());
    if !priced {
        said.push(
            "Set prices to see what that saves: the cost column of services, or the settings."
                .to_owned(),
        );
    } else if per_year > 0.0 {
        said.push(format!(
            "Expected to save {} a year over all vans{}",
            words::money(per_year, currency),
            saved_by(assessment)
        ));
    } else {
        said.push("They save nothing against the usual intervals here.".to_owned());
    }
    said
}

/// How a sentence on a saving ends: what it rests on, where nobody priced the day
/// that a van loses.
pub fn saved_by(assessment: &Assessment) -> String {
    match assessment.money.prices.lost_day {
        Some(_) => ".".to_owned(),
        None => format!(
            ". Assumed: a failure on the road costs {LOST_DAY_PER_MEMBRANE:.1} times a membrane; set your own as prices.lost_day."
        ),
    }
}

fn believe(plan: &ReportPlan<'_>) -> Vec<String> {
    let assessment = plan.assessment;
    let mut said = Vec::new();
    match plan.backtest {
        Some(result) => {
            said.extend(super::past::in_short(result));
        }
        None => {
            said.push("Past forecasts not checked: run litrewise report --backtest.".to_owned())
        }
    }
    said.extend(words::missing(assessment));
    let with_membrane = || assessment.vans.iter().filter(|v| v.series.has_membrane);
    let (few, all) = (
        with_membrane()
            .filter(|v| v.membrane.readings < FEW_READINGS)
            .count(),
        with_membrane().count(),
    );
    match (few, all) {
        (0, 0) => {}
        (0, all) => said.push(format!(
            "{} on {FEW_READINGS} or more of the van's own readings.",
            match all {
                1 => "The RO membrane forecast rests".to_owned(),
                n => format!("All {n} RO membrane forecasts rest"),
            },
        )),
        (few, all) => said.push(format!(
            "{few} of {} on fewer than {FEW_READINGS} readings of the van: mostly from typical trade figures.",
            match all {
                1 => "1 RO membrane forecast rests".to_owned(),
                n => format!("{n} RO membrane forecasts rest"),
            }
        )),
    }
    said.extend(not_read(assessment));
    said.extend(next_reading(assessment));
    let aside = assessment.rows.set_aside;
    if aside > 0 {
        said.push(format!(
            "{} of {} rows not used: litrewise to-fix lists them.",
            words::thousands(aside as f64),
            words::thousands(assessment.rows.read as f64),
        ));
    }
    said
}

/// Vans that nobody has read for three weeks.
pub fn not_read(assessment: &Assessment) -> Option<String> {
    let names = names_not_read(assessment);
    (!names.is_empty()).then(|| format!("No reading for three weeks: {}.", named(&names)))
}

/// The names of vans that nobody has read for three weeks, in order of van.
pub fn names_not_read(assessment: &Assessment) -> Vec<String> {
    let today = day_number(assessment.as_of);
    let late = |day: Option<Date>| day.is_none_or(|d| today - day_number(d) > NOT_READ);
    assessment
        .vans
        .iter()
        .filter(|v| late(v.series.last_reading_on))
        .map(|v| v.van.clone())
        .collect()
}

/// The van to test next.
pub fn next_reading(assessment: &Assessment) -> Option<String> {
    let best = best_reading(assessment)?;
    Some(match best.gain {
        Gain::First { vans: 1 } => format!(
            "Test {} next: no tap and membrane TDS yet for the RO membrane in use.",
            best.van
        ),
        Gain::First { vans } => format!(
            "Test {} next: no tap and membrane TDS yet for the RO membrane in use, nor on {} more.",
            best.van,
            words::count(vans - 1, "van", "vans")
        ),
        Gain::Widest { low, high } => format!(
            "Test {} next, tap and membrane TDS: its rejection is the least certain, likely between {:.0} and {:.0} %.",
            best.van,
            100.0 * (1.0 - high),
            100.0 * (1.0 - low)
        ),
    })
}

/// Names in a sentence, at most eight.
pub fn named(names: &[String]) -> String {
    at_most(names, NAMED)
}

/// Names in a sentence, at most so many; the rest is counted.
pub fn at_most(names: &[String], most: usize) -> String {
    match names.len() {
        n if n > most => format!(
            "{} and {} more",
            names.get(..most).unwrap_or_default().join(", "),
            n - most
        ),
        _ => words::list(names),
    }
}
