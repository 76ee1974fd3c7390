//! The series that pages draw, taken from lives and fits without computing anew.

use super::{Fitted, FleetSeries, Item, VanSeries};
use crate::fit::{FleetFindings, VanFit};
use crate::lives::{Gap, VanLives};
use crate::settings::Settings;

/// `is_drawn`: whether pages will be; without them only the weeks are kept of all lists.
pub fn of_van(van: &VanLives, fit: &VanFit, is_drawn: bool) -> VanSeries {
    let membrane = fit.membrane.as_ref().ok();
    let told = VanSeries {
        has_membrane: van.membranes > 0,
        has_resin: van.resin_litres > 0.0,
        fitted: fitted(van),
        last_reading_on: van.last_reading_on,
        weeks: van.weeks.clone(),
        litres_per_week: membrane
            .map(|m| m.litres_per_week)
            .or_else(|| fit.resin.as_ref().ok().map(|r| r.litres_per_week)),
        ..VanSeries::default()
    };
    if !is_drawn {
        return told;
    }
    let passage = van.elements.iter().flat_map(|e| &e.points);
    let products = van.charges.iter().flat_map(|c| &c.points);
    let resin = fit.resin.as_ref().ok();
    VanSeries {
        salt_passage: fit.readings_at_25.clone(),
        salt_passage_path: membrane.map_or_else(Vec::new, |m| m.path.clone()),
        product_ppm: products.map(|p| (p.date, p.product_ppm)).collect(),
        product_path: resin.map_or_else(Vec::new, |r| r.path.clone()),
        feed_ppm: passage.map(|p| (p.date, p.feed_ppm)).collect(),
        membrane_tests: van.membrane_tests.clone(),
        services: van.services.clone(),
        remarks: van.remarks.clone(),
        usual_passage: membrane.map_or_else(Vec::new, |m| m.compared.path.clone()),
        ..told
    }
}

fn fitted(van: &VanLives) -> Fitted {
    let named = |item: Item| {
        let services = van.services.iter().rev().filter(|s| s.item == item);
        services
            .filter_map(|s| s.part.as_deref())
            .next()
            .map(str::to_owned)
    };
    Fitted {
        membranes: van.membranes,
        resin_litres: van.resin_litres,
        membrane: named(Item::Membrane),
        resin: named(Item::Resin),
        prefilter: named(Item::Prefilter),
    }
}

pub fn of_fleet(fit: &FleetFindings, missing: &[Gap], settings: &Settings) -> FleetSeries {
    FleetSeries {
        currency: settings.prices.currency.clone(),
        membrane_dots: fit.membrane_dots.clone(),
        resin_dots: fit.resin_dots.clone(),
        membrane_life_by_hardness: fit.membrane_life_by_hardness.clone(),
        resin_life_by_hardness: fit.resin_life_by_hardness.clone(),
        shared: fit.shared.clone(),
        remarks: fit.remarks.clone(),
        missing: missing.iter().map(Gap::to_string).collect(),
        rule_membrane_months: settings.usual_interval.membrane_months,
        rule_prefilter_weeks: settings.usual_interval.prefilter_weeks,
    }
}
