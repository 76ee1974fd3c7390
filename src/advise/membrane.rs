//! A membrane's state, suggested day and reason.

use crate::calendar::{Date, DateExt};

use super::alarm::{self, Alarm, AlarmKind, AlarmLevel, Known, Late};
use super::assess::{AssessmentContext, DistrictPeers};
use super::meters;
use super::plan::membrane::{NextOnes, burn, plan};
use super::{
    AlarmAssessment, CauseAssessment, MembraneAssessment, MembraneMoney, State, Suspect, add_days,
    in_words, lead_end, round_to, state_by_date,
};
use crate::fit::{
    AreaFit, Break, CannotTell, Compared, MembraneForecast, Meter, Span, VanFit, VanMeters,
};
use crate::lives::{ElementLife, End, Frame, Start, VanLives};
use crate::settings::Settings;

/// How far the salt passage of the membrane in use rose of late beyond the usual, ln.
pub fn rise_of_late(van: &VanLives, fit: &VanFit, until: Date) -> Option<f64> {
    let (life, forecast) = (van.elements.last()?, fit.membrane.as_ref().ok()?);
    alarm::rise_of_late(life, &forecast.compared, until)
}

/// `area` and `next`: of its district.
pub fn assess(
    van: &VanLives,
    fit: &VanFit,
    (area, next): (Option<&AreaFit>, Option<&NextOnes>),
    beside: &DistrictPeers,
    context: &AssessmentContext<'_>,
) -> MembraneAssessment {
    let Frame { as_of, until, .. } = context.frame;
    let (prices, settings) = (context.prices, context.settings);
    let life = van.elements.last().filter(|e| e.end == End::InUse);
    let fitted_on = life.and_then(|l| l.fitted_on);
    let rule_of_thumb_on =
        fitted_on.map(|d| add_days(d, settings.usual_interval.membrane_months * 30.4375));
    let empty = |reason: String| MembraneAssessment {
        fitted_on,
        litres_made: life
            .and_then(|l| l.litres_made.filter(|_| l.fitted_on.is_some()))
            .map(|l| round_to(l, 1.0)),
        salt_passage: Span::unknown(),
        limit_on: Span::unknown(),
        replace_on: None,
        state: State::Unknown,
        reason,
        suspect: None,
        check_meter_first: false,
        rule_of_thumb_on,
        readings: life.map_or(0, |l| l.points.len()),
        alarm: None,
        costs: None,
        next_one_days: None,
        early: Vec::new(),
    };
    let (life, forecast) = match (life, &fit.membrane) {
        (Some(life), Ok(forecast)) => (life, forecast),
        (_, Err(why)) => return empty(cannot_tell(why)),
        (None, Ok(_)) => return empty("No RO membrane is in use on this van.".to_owned()),
    };
    let burn = burn(van, fit, area, context.wide, prices);
    let planned = plan(van, forecast, next, &burn, until, prices);
    let replace_on = planned.replace_on;
    let compared = &forecast.compared;
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let raised = alarm_of(life, forecast, &fit.meters, settings);
    let state = match raised.map(|a| a.level) {
        Some(AlarmLevel::Raised) => State::FailingEarly,
        level => state_by_date(replace_on, as_of, settings).unwrap_or_else(|| {
            let soon = forecast
                .limit_on
                .p10
                .is_some_and(|d| d <= lead_end(as_of, settings));
            if level.is_some() || soon {
                State::Watch
            } else {
                State::OnCourse
            }
        }),
    };
    let doubt = fit.meters.doubt_of_passage();
    let meter = meters::to_check(&fit.meters, || {
        let wanted = matches!(state, State::FailingEarly | State::Overdue | State::Due);
        let later = fit.meters.still_suspected() / forecast.growth_per_litre.max(1e-12);
        let days = later / forecast.use_ahead.litres_per_day.max(1e-9);
        // With the meter corrected it would not be due.
        wanted && replace_on.is_some_and(|d| add_days(d, days) > lead_end(as_of, settings))
    });
    let step = alarm::step_up(&fit.meters, begin);
    let behind = step.map(|s| s.1);
    let late = Late {
        share: late_share(life),
        explains: forecast.short.last().map_or(0.0, |s| s.by_lateness),
    };
    let causes = raised.map(|a| {
        let lost = fit.meters.pressure_lost(begin);
        alarm::causes(&a, behind, &late, (doubt, lost), beside.neighbours_rise)
    });
    let finding = raised.map(|a| alarm::finding(&a, step.map(|s| s.0), compared));
    let alarm = raised.map(|a| {
        let meter = meter.map(|m| meters::sentence(m, "its"));
        let known = Known {
            finding: finding.as_deref().unwrap_or_default(),
            beside: step.map_or_else(Default::default, |s| s.0.beside),
            late,
            prefilter_days: van
                .prefilters
                .last()
                .and_then(|p| p.changed_on)
                .map(|d| until.days_since(d)),
            meter: meter.as_deref(),
            neighbours_rise: beside.neighbours_rise,
            pressure: fit.meters.pressure,
        };
        let causes = causes.iter().flatten();
        assessed(&a, step.map(|s| s.0), compared, causes, &known)
    });
    let named = matches!(state, State::FailingEarly | State::Watch);
    let suspect = named.then(|| {
        let likeliest = causes.as_ref().and_then(|c| c.first()).map(|c| c.suspect);
        match meter {
            Some(_) if doubt >= meters::DOUBTED => Suspect::Probe,
            _ => likeliest.unwrap_or(Suspect::Membrane),
        }
    });
    let told = ReasonFacts {
        state,
        life,
        forecast,
        replace_on,
        alarm: alarm.as_ref(),
        finding: finding.as_deref(),
        meter,
        still_suspected: fit.meters.still_suspected(),
    };
    MembraneAssessment {
        salt_passage: forecast.salt_passage.map(|s| round_to(s, 0.0001)),
        limit_on: forecast.limit_on,
        replace_on,
        state,
        reason: told.reason(settings),
        suspect,
        check_meter_first: meter.is_some(),
        alarm,
        next_one_days: planned.next_days.map(f64::round),
        costs: planned.money.map(MembraneMoney::rounded),
        early: planned.early,
        ..empty(String::new())
    }
}

/// The alarm of an element, if there is one.
pub fn alarm_of(
    life: &ElementLife,
    forecast: &MembraneForecast,
    meters: &VanMeters,
    settings: &Settings,
) -> Option<Alarm> {
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let allowed = settings.running.false_alarms_per_van_year;
    alarm::alarm(forecast, meters, begin, allowed)
}

fn late_share(life: &ElementLife) -> f64 {
    let litres: f64 = life.litres_by_level.iter().sum();
    if litres > 0.0 {
        (life.late_litres / litres).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// The alarm with its causes, in numbers and words.
fn assessed<'a>(
    raised: &Alarm,
    step: Option<&Break>,
    compared: &Compared,
    causes: impl Iterator<Item = &'a alarm::Cause>,
    known: &Known<'_>,
) -> AlarmAssessment {
    let stepped = raised.kind == AlarmKind::Step;
    let step = step.filter(|_| stepped);
    AlarmAssessment {
        level: raised.level,
        kind: raised.kind,
        since: raised.since,
        probability: round_to(raised.probability, 0.01),
        step_on: step.map(Break::began),
        step_ratio: step.map(|s| round_to(s.size.exp(), 0.01)),
        pace: round_to(compared.pace, 0.01),
        p_faster_than_95: round_to(compared.p_faster_than_95, 0.001),
        causes: causes
            .map(|c| CauseAssessment {
                suspect: c.suspect,
                probability: round_to(c.probability, 0.001),
                facts: alarm::facts_for(c.suspect, known),
                check_first: alarm::check_first(c.suspect, stepped),
            })
            .collect(),
    }
}

/// What the reason is made of.
struct ReasonFacts<'a> {
    state: State,
    life: &'a ElementLife,
    forecast: &'a MembraneForecast,
    replace_on: Option<Date>,
    alarm: Option<&'a AlarmAssessment>,
    finding: Option<&'a str>,
    /// The meter to check before anything else.
    meter: Option<&'a Meter>,
    /// By how much more than it was corrected salt passage reads too high, should the meter
    /// be as wrong as it looks, ln.
    still_suspected: f64,
}

impl ReasonFacts<'_> {
    fn reason(&self, settings: &Settings) -> String {
        let (life, forecast) = (self.life, self.forecast);
        let holds = forecast.salt_passage.p50;
        // as the assessment tells it, so that no page differs by a tenth
        let holds = holds.map_or(0.0, |s| 100.0 * (1.0 - round_to(s, 0.0001)));
        let limit = 100.0 * (1.0 - settings.limits.salt_passage);
        let few = if forecast.readings < 5 {
            format!(
                " Mostly from membranes in similar water: {} reading{} so far.",
                forecast.readings,
                if forecast.readings == 1 { "" } else { "s" }
            )
        } else {
            String::new()
        };
        let start = match life.start {
            Start::Inferred => " No record of the fitting; it is worked out from the readings.",
            Start::BeforeRecords => " No record of when it was fitted.",
            Start::Recorded => "",
        };
        let now = format!("Rejection {holds:.1} % (limit {limit:.0} %)");
        if let Some(meter) = self.meter {
            let day = self.replace_on.map_or(String::new(), |day| {
                let when = super::around(day, &forecast.limit_on);
                format!(" If the meter is right, the membrane needs changing {when}.")
            });
            let passes = forecast.salt_passage.p50.unwrap_or(0.0) * (-self.still_suspected).exp();
            let holds = 100.0 * (1.0 - passes.min(1.0));
            return format!(
                "{}. {} With the meter corrected, rejection is about \
                 {holds:.1} % (limit {limit:.0} %).{day}{start}{few}",
                meters::sentence(meter, "Its"),
                meters::HOW
            );
        }
        let what = match (self.state, forecast.limit_on.p50, self.replace_on) {
            (State::FailingEarly, ..) => format!(
                "{now}, and {}. {}",
                self.finding.unwrap_or("it falls too fast"),
                self.alarm.map_or(String::new(), blamed)
            ),
            (State::Watch, ..) => format!(
                "{now}; {}: test it again soon.",
                self.finding
                    .map_or("it may fall to the limit soon".to_owned(), |f| format!(
                        "it looks as if {f}, but the readings are not certain yet"
                    ))
            ),
            (_, Some(limit_on), _)
                if forecast
                    .salt_passage
                    .p50
                    .is_some_and(|s| s >= settings.limits.salt_passage) =>
            {
                let when = super::around(limit_on, &forecast.limit_on);
                format!("{now}: it fell below the limit {when}.")
            }
            (_, Some(_), Some(day)) => {
                let when = super::around(day, &forecast.limit_on);
                format!("{now}; changing it {when} costs least.")
            }
            _ => format!("{now}; above the limit for years at this use."),
        };
        format!("{what}{start}{few}")
    }
}

/// What is to blame for an alarm, why, and what to look at first.
fn blamed(alarm: &AlarmAssessment) -> String {
    let Some(first) = alarm.causes.first() else {
        return String::new();
    };
    let what = match first.suspect {
        Suspect::Membrane => "the membrane itself",
        Suspect::Prefilter => "the pre-filters",
        Suspect::Probe => "a TDS meter, not the membrane",
        Suspect::Feed => "the water at the tap, not the membrane",
    };
    let why = first.facts.join("; ");
    let why = match first.suspect {
        Suspect::Membrane => String::new(),
        _ => format!(": {why}"),
    };
    format!(
        "Most likely {what} ({:.0} %){why}. First: {}",
        (100.0 * first.probability).min(99.0),
        first.check_first
    )
}

/// A sentence for what has no forecast.
pub fn cannot_tell(why: &CannotTell) -> String {
    match why {
        CannotTell::NotFitted => "This van has no RO membrane.".to_owned(),
        CannotTell::NoSaltPassage => {
            "No forecast: tap TDS and membrane TDS were never read together on this RO membrane."
                .to_owned()
        }
        CannotTell::NoProductReading => "No forecast: product TDS was never read.".to_owned(),
        CannotTell::NoFillsSince(Some(day)) => format!(
            "No forecast: no tank fills recorded since {}, so litres cannot be counted.",
            in_words(*day)
        ),
        CannotTell::NoFillsSince(None) => {
            "No forecast: no tank fills recorded, so litres cannot be counted.".to_owned()
        }
        CannotTell::NoHardness => "No forecast: hardness not known.".to_owned(),
    }
}
