//! One van's history, cut into lives.

use jiff::civil::Date;

use super::changes::{self, Change};
use super::charges::{self, Resin, Vessel};
use super::cut::FleetAids;
use super::days::Days;
use super::elements::{self, Material};
use super::entering::{Track, entering_ppm};
use super::hardness_table::{HardnessTable, WaterSeen};
use super::health;
use super::litres::{self, UsualFill};
use super::looks::{Look, looks};
use super::passage::passages;
use super::prefilters;
use super::recovery::{self, Level, ProductLevel};
use super::remarks::{Remarks, Repeated};
use super::seen::{Dated, Seen, Standing};
use super::types::{ServiceMark, VanLives};
use super::usage::{self, Made};
use crate::settings::Settings;
use crate::store::records::Item;

/// Litres of resin where nothing tells (common practice, no source).
const USUAL_RESIN_LITRES: f64 = 11.0;

/// Cuts one van's history up to the as-of day. Depends on nothing but the
/// arguments, so vans can be cut side by side, or elsewhere.
pub(crate) fn cut_van(
    seen: &Seen<'_>,
    water: &WaterSeen,
    table: &HardnessTable,
    aids: &FleetAids,
    as_of: Date,
    settings: &Settings,
) -> VanLives {
    let mut remarks = Remarks::default();
    let mut days = Days::new(&settings.time_zone);
    let looks = looks(seen, &mut days, &mut remarks);
    let tank_litres = seen.sizes.on(as_of, |row| row.tank_litres);
    let usual = UsualFill::of(seen.fills, tank_litres, aids.fill_litres);
    let litres = litres::counted(
        seen.fills,
        &seen.fill_dates,
        usual,
        tank_litres,
        &mut remarks,
    );
    let (mut made, districts) = usage::made(seen, &litres, table, water.own_feed_ppm);
    let prefilter_changes = prefilters::changes(&seen.services);
    prefilters::mark_late(
        &mut made,
        &prefilter_changes,
        settings.habits.prefilter_days,
    );

    let hardness = table.at(water.base.as_ref(), water.own_feed_ppm).on(as_of);
    let membranes = seen.sizes.on(as_of, |row| row.membranes).unwrap_or(1);
    let vessel_on = |day: Date| vessel(seen, aids, day);
    let fills_between = seen
        .fill_dates
        .first()
        .copied()
        .zip(seen.fill_dates.last().copied());
    let material = Material {
        looks: &looks,
        made: &made,
        fills_between,
        in_service_on: seen.sizes.on(as_of, |row| row.in_service_on),
        standing: seen.standing,
        as_of,
        base_hardness_mg_l: hardness.map_or(usage::NEUTRAL_HARDNESS_MG_L, |at| at.mg_l_caco3),
    };

    let regimes = changes::regimes(seen, &looks);
    let membrane_changes = if membranes == 0 {
        Vec::new()
    } else {
        membrane_changes(seen, &looks, &regimes, &mut days)
    };
    let entering = entering_ppm(&looks, &membrane_changes, membranes == 0);
    let (full, top_ups) = charges::changes_and_top_ups(&seen.services, vessel_on);
    let has_resin = vessel_on(as_of).litres > 0.0;
    let resin_changes = if has_resin {
        let recorded = changes::recorded(full.into_iter());
        let series = product_levels(&material, &entering, &regimes);
        let fresh = recovery::fresh_again(
            &series,
            settings.limits.product_ppm,
            fills_between.is_some(),
            membranes == 0,
        );
        changes::with_inferred(recorded, &fresh, &looks, &mut days)
    } else {
        Vec::new()
    };

    remark_part_changes(&membrane_changes, seen, &mut remarks);
    let mut services: Vec<ServiceMark> = seen.services.iter().map(mark).collect();
    services.extend(changes::inferred_marks(
        &membrane_changes,
        Item::Membrane,
        &mut remarks,
    ));
    services.extend(changes::inferred_marks(
        &resin_changes,
        Item::Resin,
        &mut remarks,
    ));
    services.sort_by_key(|service| (service.date, service.item, service.inferred));

    let elements = if membranes == 0 {
        Vec::new()
    } else {
        elements::lives(&material, &membrane_changes)
    };
    let charges = if has_resin {
        let resin = Resin {
            vessel_on: &vessel_on,
            top_ups: &top_ups,
            entering: &entering,
            districts: &districts,
        };
        charges::lives(&material, &resin, &resin_changes)
    } else {
        Vec::new()
    };
    let last_day = match seen.standing {
        Standing::Retired(out) => out.min(as_of),
        _ => as_of,
    };
    let last_reading_on = seen.readings.last().map(|r| days.date(r.taken_at));
    for _ in 0..seen.rows_after_out {
        remarks.count(Repeated::RowsAfterOutOfService, last_day);
    }
    health::remark(
        &health::Health {
            seen,
            as_of,
            last_reading_on,
            fills_between,
            hardness,
            looks: &looks,
            ratio: table.ratio(),
            membranes,
            last_prefilter_on: prefilter_changes.last().copied(),
            prefilter_days: settings.habits.prefilter_days,
        },
        &mut remarks,
    );
    VanLives {
        van: seen.van.clone(),
        district: water
            .base
            .as_ref()
            .and_then(|base| base.district_or_area())
            .map(Into::into),
        hardness,
        membranes,
        resin_litres: vessel_on(as_of).litres,
        tank_litres,
        in_service_on: material.in_service_on,
        recovery: usage::recovery(&looks, seen.fills, &seen.fill_dates, &litres),
        feed_ppm: usage::feed_ppm(&looks),
        elements,
        charges,
        prefilters: prefilters::lives(
            &prefilter_changes,
            &made,
            fills_between.is_some(),
            seen.standing,
        ),
        weeks: usage::weeks(&made, fills_between.map(|(first, _)| first), last_day),
        fills_between,
        last_reading_on,
        services,
        remarks: remarks.finish(),
    }
}

/// The resin vessel on a day: the list, else the last full resin service, else
/// the fleet's median, else a usual size.
pub(crate) fn vessel(seen: &Seen<'_>, aids: &FleetAids, day: Date) -> Vessel {
    let listed = seen.sizes.on(day, |row| row.resin_litres);
    match listed.or_else(|| vessel_by_services(seen)) {
        Some(litres) => Vessel {
            litres,
            known: true,
        },
        None => Vessel {
            litres: aids.resin_litres.unwrap_or(USUAL_RESIN_LITRES),
            known: false,
        },
    }
}

/// The last quantity of a resin service that was no top-up by the van's own habit, L.
pub(crate) fn vessel_by_services(seen: &Seen<'_>) -> Option<f64> {
    let quantities: Vec<f64> = seen
        .services
        .iter()
        .filter(|dated| dated.service.item == Item::Resin)
        .filter_map(|dated| dated.service.quantity.filter(|litres| *litres > 0.0))
        .collect();
    let habit = super::hardness_table::median(&mut quantities.clone())?;
    let usual = Vessel {
        litres: habit,
        known: true,
    };
    quantities
        .iter()
        .rev()
        .copied()
        .find(|litres| !usual.is_topped_up_with(*litres))
}

fn membrane_changes(
    seen: &Seen<'_>,
    looks: &[Look],
    regimes: &[u32],
    days: &mut Days,
) -> Vec<Change> {
    let recorded = changes::recorded(
        seen.services
            .iter()
            .filter(|dated| dated.service.item == Item::Membrane),
    );
    let levels = passage_levels(looks, regimes);
    changes::with_inferred(recorded, &recovery::falls(&levels), looks, days)
}

/// Says so where fewer membranes were changed than share the water.
fn remark_part_changes(changes: &[Change], seen: &Seen<'_>, remarks: &mut Remarks) {
    for change in changes {
        let membranes = seen.sizes.on(change.date, |row| row.membranes).unwrap_or(1);
        if let Some(changed) = change.quantity
            && changed >= 1.0
            && changed < f64::from(membranes)
        {
            remarks.note(
                Some(change.date),
                format!(
                    "{changed:.0} of {membranes} membranes changed: counted as a new start, \
                     though the other goes on ageing"
                ),
            );
        }
    }
}

/// Salt passage for finding recoveries. At the base alone where most looks are:
/// pressure at other taps moves salt passage as much as a new membrane does.
fn passage_levels(looks: &[Look], regimes: &[u32]) -> Vec<Level> {
    let at_base = looks.iter().filter(|look| look.at_base).count();
    let base_only = at_base * 5 >= looks.len() * 3;
    looks
        .iter()
        .zip(passages(looks))
        .zip(regimes)
        .enumerate()
        .filter(|(_, ((look, _), _))| look.at_base || !base_only)
        .filter_map(|(n, ((look, passage), regime))| {
            Some(Level {
                look: n,
                ln_salt_passage: passage?.salt_passage.ln(),
                ln_permeate_ppm: look.permeate_ppm.filter(|ppm| *ppm > 0.0)?.ln(),
                regime: *regime,
            })
        })
        .collect()
}

/// Product readings with the litres up to each.
fn product_levels(material: &Material<'_>, entering: &Track, regimes: &[u32]) -> Vec<ProductLevel> {
    let mut fills = material.made.iter().peekable();
    let mut litres = 0.0;
    let mut levels = Vec::new();
    for (n, (look, regime)) in material.looks.iter().zip(regimes).enumerate() {
        while let Some(fill) = fills.next_if(|fill: &&Made| fill.at <= look.at) {
            litres += fill.litres;
        }
        if let Some(product_ppm) = look.product_ppm {
            levels.push(ProductLevel {
                look: n,
                product_ppm,
                permeate_ppm: entering.at(look.at),
                litres,
                regime: *regime,
            });
        }
    }
    levels
}

fn mark(dated: &Dated<'_>) -> ServiceMark {
    let service = dated.service;
    ServiceMark {
        date: dated.date,
        item: service.item,
        quantity: service.quantity,
        cost: service.cost,
        part: service.part.clone(),
        note: service.note.clone(),
        inferred: false,
    }
}
