//! What a fleet manager asks of a month's report, in the order of asking, each
//! answered in a few sentences from finished results.

use jiff::civil::Date;

use super::ReportPlan;
use super::axis::day_number;
use super::changes;
use super::charts::{expected_by_van, fleet_passage, intervals};
use super::parts::{VanLine, finding};
use super::words;
use crate::advise::{Assessment, Gain, State, VanAssessment, best_reading};

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

/// The seven answers.
pub fn answers(plan: &ReportPlan<'_>, lines: &[VanLine<'_>]) -> [Answer; 7] {
    let assessment = plan.assessment;
    let (since, currency) = (plan.since, assessment.fleet.currency.as_deref());
    [
        Answer {
            question: "What must I do?",
            id: "todo",
            said: vec![format!("{}.", finding(lines))],
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
            question: "Can I believe this?",
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
    for line in lines.iter().filter(|l| l.state == State::FailingEarly) {
        let check = line.van.membrane.suspect.map_or("", words::suspect);
        said.push(match check {
            "" => format!("{}: the membrane is failing early.", line.van.van),
            check => format!("{}: the membrane is failing early; {check}.", line.van.van),
        });
    }
    let vans: Vec<&VanAssessment> = lines
        .iter()
        .map(|l| l.van)
        .filter(|v| v.series.has_membrane)
        .collect();
    if !vans.is_empty() {
        said.push(format!(
            "{}.",
            fleet_passage::title(&vans, assessment.limits.salt_passage)
        ));
    }
    let spent: Vec<String> = lines
        .iter()
        .filter(|l| {
            let day = l.van.resin.limit_on.p50;
            l.van.series.has_resin && day.is_some_and(|d| d <= assessment.as_of)
        })
        .map(|l| l.van.van.clone())
        .collect();
    if !spent.is_empty() {
        said.push(format!(
            "Water after the resin is likely at its limit or over it on {}.",
            named(&spent)
        ));
    }
    let cannot: Vec<String> = lines
        .iter()
        .filter(|l| l.state == State::Unknown)
        .map(|l| l.van.van.clone())
        .collect();
    if !cannot.is_empty() {
        said.push(format!("It cannot be told for {}.", named(&cannot)));
    }
    if said.is_empty() {
        said.push("No van is.".to_owned());
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
    let unit = if currency.is_none() {
        " in your own currency"
    } else {
        ""
    };
    if !priced {
        said.push(
            "What that saves needs your own prices, from the cost column of services or from the settings.".to_owned(),
        );
    } else if per_year > 0.0 {
        said.push(format!(
            "Expected to save {}{unit} a year over all vans.",
            words::money(per_year, currency)
        ));
    } else {
        said.push("They save nothing against the rule of thumb here.".to_owned());
    }
    said
}

fn believe(plan: &ReportPlan<'_>) -> Vec<String> {
    let assessment = plan.assessment;
    let mut said = Vec::new();
    match plan.backtest {
        Some(result) => {
            said.extend(super::past::in_short(result));
        }
        None => said.push(
            "How good past forecasts were was not worked out this time (litrewise report --backtest).".to_owned(),
        ),
    }
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
            "{} on {} or more own readings.",
            match all {
                1 => "The membrane's forecast rests".to_owned(),
                n => format!("All {n} membranes' forecasts rest"),
            },
            FEW_READINGS
        )),
        (few, all) => said.push(format!(
            "{few} of {} on fewer than {FEW_READINGS} own readings: mostly from fleets like yours.",
            match all {
                1 => "1 membrane's forecast rests".to_owned(),
                n => format!("{n} membranes' forecasts rest"),
            }
        )),
    }
    said.extend(not_read(assessment));
    said.extend(next_reading(assessment));
    let aside = assessment.rows.set_aside;
    if aside > 0 {
        said.push(format!(
            "{} of {} set aside: litrewise set-aside lists them.",
            match aside {
                1 => "1 row".to_owned(),
                n => format!("{} rows", words::thousands(n as f64)),
            },
            format_args!("{} are", words::thousands(assessment.rows.read as f64)),
        ));
    }
    said
}

/// Vans that nobody has read for three weeks.
pub fn not_read(assessment: &Assessment) -> Option<String> {
    let names = names_not_read(assessment);
    (!names.is_empty()).then(|| format!("Not read for three weeks: {}.", named(&names)))
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

/// The one reading that would tell most.
pub fn next_reading(assessment: &Assessment) -> Option<String> {
    let best = best_reading(assessment)?;
    Some(match best.gain {
        Gain::First { vans: 1 } => format!(
            "One reading of tap and after the membrane on {} would tell most: there is none for the membrane in use.",
            best.van
        ),
        Gain::First { vans } => format!(
            "One reading of tap and after the membrane on {} would tell most: there is none for the membrane in use, nor on {} more.",
            best.van,
            words::count(vans - 1, "van", "vans")
        ),
        Gain::Narrows(share) => format!(
            "One reading of tap and after the membrane on {} would tell most: it narrows what is known of that membrane by about {:.0} %.",
            best.van,
            (share * 20.0).round() * 5.0
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
