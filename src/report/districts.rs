//! Districts for the terminal: intervals beside the usual intervals, what 1000 L
//! cost, what is saved, and which bottle suits whom.

use crate::advise::{Assessment, CostPer1000Litres, Span};

use super::error::ReportError;
use super::export::{harmless, row};
use super::text::{Screen, push_wrapped};
use super::words;

/// One paragraph for each district.
pub fn text(assessment: &Assessment, screen: Screen) -> String {
    let fleet = &assessment.fleet;
    let currency = fleet.currency.as_deref();
    let mut out = String::new();
    for area in &assessment.areas {
        let hardness = area
            .hardness_mg_l_caco3
            .map_or_else(|| "hardness unknown".to_owned(), |h| format!("{h:.0} mg/L"));
        let vans = words::count(area.vans, "van", "vans");
        out.push_str(&format!("{}  {hardness}, {vans}\n", area.postcode));
        let mut say = |text: String| push_wrapped(&mut out, &text, ("  ", "    "), screen);
        if let Some(days) = area.suggested.membrane_days {
            say(format!(
                "RO membrane every {} (usual {:.0} months); one lasts {} days",
                words::days_as_interval(days),
                fleet.rule_membrane_months,
                between(&area.membrane_life_days),
            ));
        }
        if area.resin_life_litres.p50.is_some() {
            let when = match area.suggested.resin_litres {
                Some(litres) => format!(
                    "every {} L of water (usual: at the limit)",
                    words::thousands(words::two_figures(litres))
                ),
                None => "at the limit, as usual".to_owned(),
            };
            say(format!(
                "DI resin {when}; a litre of it treats {} L",
                between(&area.litres_per_litre_of_resin),
            ));
        }
        if let Some(days) = area.suggested.prefilter_days {
            say(format!(
                "pre-filters every {} (usual {:.0} weeks)",
                words::days_as_interval(days),
                fleet.rule_prefilter_weeks
            ));
        }
        if let (Some(ours), Some(rule)) =
            (area.cost_per_1000_litres, area.rule_cost_per_1000_litres)
        {
            say(format!("1,000 L cost {}", parts_of(&ours)));
            say(format!("at the usual intervals {}", parts_of(&rule)));
        }
        if let (Some(saving), Some(low), Some(high)) = (
            area.saving_per_van_year,
            area.saving_span.p10,
            area.saving_span.p90,
        ) {
            say(format!(
                "saves {} per van per year, likely {} to {}",
                words::money(saving, currency),
                words::money(low, currency),
                words::money(high, currency)
            ));
        }
        let bottles: Vec<String> = assessment
            .vans
            .iter()
            .filter(|v| v.postcode.as_deref() == Some(area.postcode.as_str()))
            .filter_map(|v| {
                let bottle = v.resin.best_bottle?;
                let with = if bottle.with_prefilters {
                    " with the pre-filters"
                } else {
                    ""
                };
                Some(format!(
                    "{} {:.0} L, every {:.0} days{with}",
                    v.van, bottle.litres, bottle.change_every_days
                ))
            })
            .collect();
        if !bottles.is_empty() {
            say(format!("best DI vessel: {}", bottles.join("; ")));
        }
    }
    if out.is_empty() {
        out.push_str("No van has a known base yet.\n");
    }
    out
}

/// Every district as it stands in the assessment.
///
/// # Errors
/// [`ReportError::CannotSerialise`]
pub fn json(assessment: &Assessment) -> Result<String, ReportError> {
    let text = serde_json::to_string_pretty(&assessment.areas);
    Ok(text.map_err(ReportError::CannotSerialise)? + "\n")
}

/// One row for each district; unknown is an empty cell.
pub fn csv(assessment: &Assessment) -> String {
    let heads = [
        "postcode",
        "hardness_mg_l_caco3",
        "vans",
        "membrane_days",
        "resin_litres",
        "prefilter_days",
        "membrane_life_days_low",
        "membrane_life_days",
        "membrane_life_days_high",
        "cost_per_1000_litres",
        "cost_per_1000_litres_at_usual_interval",
        "saving_per_van_year",
    ];
    let mut out = row(heads.map(str::to_owned).into_iter());
    let figure =
        |x: Option<f64>, digits: usize| x.map_or(String::new(), |x| format!("{x:.digits$}"));
    for area in &assessment.areas {
        let (suggested, life) = (&area.suggested, &area.membrane_life_days);
        let cells = [
            harmless(&area.postcode),
            figure(area.hardness_mg_l_caco3, 1),
            area.vans.to_string(),
            figure(suggested.membrane_days, 0),
            figure(suggested.resin_litres, 0),
            figure(suggested.prefilter_days, 0),
            figure(life.p10, 0),
            figure(life.p50, 0),
            figure(life.p90, 0),
            figure(area.cost_per_1000_litres.map(|c| c.total), 2),
            figure(area.rule_cost_per_1000_litres.map(|c| c.total), 2),
            figure(area.saving_per_van_year, 2),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// The likely range of a number.
fn between(span: &Span<f64>) -> String {
    let say = |x: f64| words::thousands(words::two_figures(x));
    match (span.p10, span.p90) {
        (Some(a), Some(b)) => format!("{} to {}", say(a), say(b)),
        (Some(a), None) => format!("more than {}", say(a)),
        _ => "an unknown number of".to_owned(),
    }
}

fn parts_of(cost: &CostPer1000Litres) -> String {
    let water = cost
        .water
        .map_or(String::new(), |w| format!(", water {w:.2}"));
    format!(
        "{:.2}: membrane {:.2}, resin {:.2}, pre-filters {:.2}, lost days {:.2}{water}",
        cost.total, cost.membrane, cost.resin, cost.prefilters, cost.lost_rounds
    )
}
