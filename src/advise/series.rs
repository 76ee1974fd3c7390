//! The series that pages draw, taken from lives and fits without computing anew.

use super::{FleetSeries, VanSeries};
use crate::fit::{FleetFit, VanFit};
use crate::lives::VanLives;
use crate::settings::Settings;

pub fn of_van(van: &VanLives, fit: &VanFit) -> VanSeries {
    let passage = van.elements.iter().flat_map(|e| &e.points);
    let products = van.charges.iter().flat_map(|c| &c.points);
    VanSeries {
        has_membrane: van.membranes > 0,
        has_resin: van.resin_litres > 0.0,
        salt_passage: fit.readings_at_25.clone(),
        salt_passage_path: fit
            .membrane
            .as_ref()
            .map_or_else(|_| Vec::new(), |m| m.path.clone()),
        salt_passage_by_litres: fit.readings_by_litres.clone(),
        product_ppm: products.map(|p| (p.date, p.product_ppm)).collect(),
        product_path: fit
            .resin
            .as_ref()
            .map_or_else(|_| Vec::new(), |r| r.path.clone()),
        feed_ppm: passage.map(|p| (p.date, p.feed_ppm)).collect(),
        weeks: van.weeks.clone(),
        services: van.services.clone(),
        remarks: van.remarks.clone(),
        last_reading_on: van.last_reading_on,
        litres_per_week: fit
            .membrane
            .as_ref()
            .map(|m| m.litres_per_week)
            .ok()
            .or_else(|| fit.resin.as_ref().ok().map(|r| r.litres_per_week)),
        usual_passage: fit.membrane.as_ref().map_or_else(
            |_| Vec::new(),
            |m| m.watched.looks.iter().map(|l| l.usual).collect(),
        ),
    }
}

pub fn of_fleet(fit: &FleetFit, settings: &Settings) -> FleetSeries {
    FleetSeries {
        currency: settings.prices.currency.clone(),
        membrane_dots: fit.membrane_dots.clone(),
        resin_dots: fit.resin_dots.clone(),
        membrane_life_by_hardness: fit.membrane_life_by_hardness.clone(),
        resin_life_by_hardness: fit.resin_life_by_hardness.clone(),
        shared: fit.shared.clone(),
        remarks: fit.remarks.clone(),
        rule_membrane_months: settings.rule_of_thumb.membrane_months,
        rule_prefilter_weeks: settings.rule_of_thumb.prefilter_weeks,
    }
}
