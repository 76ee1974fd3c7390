//! The result in a manager's words.

use super::score::FEWEST;
use super::{Backtest, PartScore};
use crate::settings::Settings;

pub fn of(result: &Backtest, settings: &Settings) -> Vec<String> {
    let mut out = vec![format!(
        "{} month-ends of your own past were forecast again, each with only what was known then.",
        result.looks
    )];
    out.extend(part("membranes", "membrane", &result.membrane));
    let ahead = &result.salt_passage_ahead;
    if let (Some(within), Some(error), Some(unchanged)) =
        (ahead.within, ahead.error_share, ahead.unchanged_error_share)
    {
        out.push(format!(
            "What a membrane lets through, forecast three months ahead, was {:.0} % off in the middle of {} cases ({:.0} % for taking it that nothing changes); {:.0} % came inside the likely span.",
            100.0 * error,
            ahead.forecasts,
            100.0 * unchanged,
            100.0 * within
        ));
    }
    if let Some(rule) = &result.membrane.rule_of_thumb
        && rule.parts >= FEWEST
    {
        out.push(format!(
            "Your rule of thumb ({:.0} months) missed the day of the limit by {:.0} days in the middle of {} membranes; for {} of them the limit came first.",
            settings.usual_interval.membrane_months, rule.error_days, rule.parts, rule.limit_came_first
        ));
    }
    if let Some(plans) = result.plans.as_ref().filter(|p| p.membranes >= FEWEST) {
        out.push(format!(
            "The suggested days would have come {} the limit in the middle, too late for {} of {} membranes; the rule of thumb {}, too late for {}.",
            before(plans.suggested_days_before),
            plans.suggested_too_late,
            plans.membranes,
            before(plans.rule_days_before),
            plans.rule_too_late
        ));
        if let Some(money) = plans.money {
            let currency = settings
                .prices
                .currency
                .as_deref()
                .map_or(String::new(), |c| format!("{c} "));
            out.push(format!(
                "Membranes and lost rounds would have cost {currency}{:.0} a year and van by the suggestions, {currency}{:.0} by the rule of thumb.",
                money.suggested, money.rule_of_thumb
            ));
        }
    }
    out.extend(part("resin fillings", "resin filling", &result.resin));
    out
}

fn before(days: f64) -> String {
    if days >= 0.0 {
        format!("{days:.0} days before")
    } else {
        format!("{:.0} days after", -days)
    }
}

fn part(many: &str, one: &str, score: &PartScore) -> Vec<String> {
    let Some(within) = score.within else {
        return vec![format!(
            "Of {} {many} {} were seen to reach the limit: too few to judge the forecasts by (at least {FEWEST}).",
            score.parts, score.reached
        )];
    };
    let later = score.later_than_p50.unwrap_or(0.5);
    let lean = if later > 0.6 {
        "the middle forecast leaned to the early side"
    } else if later < 0.4 {
        "the middle forecast leaned to the late side"
    } else {
        "the middle forecast leaned to neither side"
    };
    let mut out = vec![format!(
        "Of {} {many} {} were seen to reach the limit. The likely span held the day in {:.0} % of forecasts (80 % is meant), and {lean}.",
        score.parts,
        score.reached,
        100.0 * within
    )];
    if let (Some(days), Some(share)) = (score.error_days, score.error_share) {
        out.push(format!(
            "Where the limit was seen, the middle forecast for a {one} was {days:.0} days off, {:.0} % of the time that was left.",
            100.0 * share
        ));
    }
    out
}
