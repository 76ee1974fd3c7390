//! Today's answers beside those of a fleet that is otherwise.

mod apply;
mod change;

use std::collections::BTreeMap;

use crate::calendar::Date;
use serde::Serialize;

use super::{Assessment, CostPer1000Litres, Span};
use crate::fit;
use crate::lives::{Fleet, FleetLives};
use crate::settings::Settings;
use apply::Otherwise;
pub use change::{Change, read};

/// Why a question cannot be answered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(
    clippy::enum_variant_names,
    reason = "each says what is not there, as people say it"
)]
pub enum WhatIfError {
    #[error("no van {0} in service on that day")]
    NoVan(String),
    #[error("no van is based in {0}")]
    NoVanThere(String),
    #[error("nothing tells how hard the water in {0} is: add a row for it to the hardness file")]
    NoWater(String),
    #[error(
        "that price is not known: give it in litrewise.toml or with --set, or the cost of services"
    )]
    NoPrices,
}

/// One question with its answers.
#[derive(Debug, Clone, Serialize)]
pub struct WhatIf {
    /// As it was asked.
    pub asked: String,
    pub notes: Vec<String>,
    /// Vans for which anything is otherwise, in order of name.
    pub vans: Vec<VanWhatIf>,
    /// Districts for which anything is otherwise, or which are new, in order of name.
    pub areas: Vec<AreaWhatIf>,
    pub fleet_cost: Both<Option<Span<f64>>>,
}

/// Today's value and the other one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Both<T> {
    pub today: T,
    pub changed: T,
}

#[derive(Debug, Clone, Serialize)]
pub struct VanWhatIf {
    pub van: String,
    #[serde(flatten)]
    pub answers: Both<VanAnswers>,
}

/// What is said of a van.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VanAnswers {
    pub postcode: Option<String>,
    pub hardness_mg_l_caco3: Option<f64>,
    pub membrane_limit_on: Span<Date>,
    pub membrane_replace_on: Option<Date>,
    /// How long the next membrane is best kept.
    pub next_membrane_days: Option<f64>,
    pub next_membrane_per_1000_l: Option<f64>,
    pub resin_litres_left: Span<f64>,
    pub resin_replace_on: Option<Date>,
    pub prefilter_replace_on: Option<Date>,
    /// The coming twelve months.
    pub cost: Option<Span<f64>>,
}

#[derive(Debug, Clone, Serialize)]
pub struct AreaWhatIf {
    pub postcode: String,
    #[serde(flatten)]
    pub answers: Both<Option<AreaAnswers>>,
}

/// What is said of a district.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AreaAnswers {
    pub hardness_mg_l_caco3: Option<f64>,
    pub membrane_life_days: Span<f64>,
    pub membrane_days: Option<f64>,
    pub resin_litres: Option<f64>,
    pub prefilter_days: Option<f64>,
    pub cost_per_1000_litres: Option<CostPer1000Litres>,
}

/// Answers one question: all its changes hold together.
///
/// `today` is the assessment of the same lives and settings.
///
/// # Errors
/// [`WhatIfError`].
pub fn what_if(
    asked: &str,
    changes: &[Change],
    fleet: &Fleet,
    lives: &FleetLives,
    settings: &Settings,
    today: &Assessment,
) -> Result<WhatIf, WhatIfError> {
    let mut otherwise = Otherwise::unchanged(lives, settings);
    for change in changes {
        otherwise.apply(change, fleet)?;
    }
    let fitted = fit::fit_ahead(
        lives,
        &otherwise.lives,
        &otherwise.ahead,
        &otherwise.settings,
    );
    let changed = super::assess_undrawn(&otherwise.lives, &fitted, &otherwise.settings);
    Ok(beside(asked, otherwise.notes, today, &changed))
}

fn beside(asked: &str, notes: Vec<String>, today: &Assessment, changed: &Assessment) -> WhatIf {
    let vans = van_answers(today)
        .into_iter()
        .zip(van_answers(changed))
        .filter(|(a, b)| a != b)
        .map(|((van, today), (_, changed))| VanWhatIf {
            van,
            answers: Both { today, changed },
        })
        .collect();
    let (before, after) = (area_answers(today), area_answers(changed));
    let mut names: Vec<&String> = before.iter().chain(&after).map(|a| &a.0).collect();
    names.sort();
    names.dedup();
    let find = |list: &[(String, AreaAnswers)], name: &str| {
        list.iter().find(|a| a.0 == name).map(|a| a.1.clone())
    };
    let areas = names
        .into_iter()
        .map(|name| AreaWhatIf {
            postcode: name.clone(),
            answers: Both {
                today: find(&before, name),
                changed: find(&after, name),
            },
        })
        .filter(|a| a.answers.today != a.answers.changed)
        .collect();
    let cost = |a: &Assessment| a.money.expected.as_ref().map(|e| e.fleet);
    WhatIf {
        asked: asked.to_owned(),
        notes,
        vans,
        areas,
        fleet_cost: Both {
            today: cost(today),
            changed: cost(changed),
        },
    }
}

fn van_answers(assessment: &Assessment) -> Vec<(String, VanAnswers)> {
    let expected = assessment.money.expected.iter().flat_map(|e| &e.vans);
    let costs: BTreeMap<&str, Span<f64>> =
        expected.map(|van| (van.van.as_str(), van.cost)).collect();
    assessment
        .vans
        .iter()
        .map(|v| {
            let answers = VanAnswers {
                postcode: v.postcode.clone(),
                hardness_mg_l_caco3: v.hardness_mg_l_caco3,
                membrane_limit_on: v.membrane.limit_on,
                membrane_replace_on: v.membrane.replace_on,
                next_membrane_days: v.membrane.next_one_days,
                next_membrane_per_1000_l: v.membrane.costs.map(|c| c.next_one_per_1000_l),
                resin_litres_left: v.resin.litres_left,
                resin_replace_on: v.resin.replace_on,
                prefilter_replace_on: v.prefilter.replace_on,
                cost: costs.get(v.van.as_str()).copied(),
            };
            (v.van.clone(), answers)
        })
        .collect()
}

fn area_answers(assessment: &Assessment) -> Vec<(String, AreaAnswers)> {
    assessment
        .areas
        .iter()
        .map(|a| {
            let answers = AreaAnswers {
                hardness_mg_l_caco3: a.hardness_mg_l_caco3,
                membrane_life_days: a.membrane_life_days,
                membrane_days: a.suggested.membrane_days,
                resin_litres: a.suggested.resin_litres,
                prefilter_days: a.suggested.prefilter_days,
                cost_per_1000_litres: a.cost_per_1000_litres,
            };
            (a.postcode.clone(), answers)
        })
        .collect()
}
