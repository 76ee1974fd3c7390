//! The result in a manager's words.

use super::score::FEWEST;
use super::{Backtest, PartScore};
use crate::settings::Settings;

pub fn of(result: &Backtest, settings: &Settings) -> Vec<String> {
    let mut out = vec![format!(
        "Every month-end of your own past, {} of them, was forecast again with only the data of that day.",
        result.looks
    )];
    out.extend(part("RO membranes", "RO membrane", &result.membrane));
    let ahead = &result.salt_passage_ahead;
    if let (Some(within), Some(error), Some(unchanged)) =
        (ahead.within, ahead.error_share, ahead.unchanged_error_share)
    {
        out.push(format!(
            "Salt passage forecast three months ahead was typically {:.0} % out over {} cases, against {:.0} % if you assume no change; {:.0} % came inside the likely range.",
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
            "The {:.0}-month rule typically missed the day of the limit by {:.0} days over {} RO membranes; for {} of them the limit came first.",
            settings.usual_interval.membrane_months, rule.error_days, rule.parts, rule.limit_came_first
        ));
    }
    if let Some(plans) = result.plans.as_ref().filter(|p| p.membranes >= FEWEST) {
        out.push(format!(
            "The suggested days would typically have come {} the limit, too late for {} of {} RO membranes; the usual interval {}, too late for {}.",
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
                "RO membranes and failures on the road would have cost {currency}{:.0} per van per year by the suggestions, {currency}{:.0} at the usual interval.",
                money.suggested, money.rule_of_thumb
            ));
        }
    }
    out.extend(part("resin refills", "resin refill", &result.resin));
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
            "Of {} {many} {} were seen to reach the limit: too few to judge the forecasts (at least {FEWEST}).",
            score.parts, score.reached
        )];
    };
    let later = score.later_than_p50.unwrap_or(0.5);
    let lean = if later > 0.6 {
        "the best estimates came rather early"
    } else if later < 0.4 {
        "the best estimates came rather late"
    } else {
        "with no bias early or late"
    };
    let mut out = vec![format!(
        "Of {} {many} {} were seen to reach the limit. Over all month-ends {:.0} % of forecasts came true inside their likely range (target 80 %), {lean}.",
        score.parts,
        score.reached,
        100.0 * within
    )];
    if let (Some(days), Some(share)) = (score.error_days, score.error_share) {
        out.push(format!(
            "Where the limit was seen, the best estimate for an average {one} was {days:.0} days out, {:.0} % of the time that was left.",
            100.0 * share
        ));
    }
    out
}
