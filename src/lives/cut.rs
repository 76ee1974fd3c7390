//! The whole fleet, cut into lives.

use jiff::civil::Date;
use rayon::prelude::*;

use super::hardness_table::{HardnessTable, WaterSeen};
use super::litres::median_fill;
use super::median::median_of;
use super::season::TapSeasons;
use super::seen::Seen;
use super::sizes::Standing;
use super::types::{FleetLives, VanLives};
use super::van::{Lent, cut_van};
use super::vessel::known_litres;
use crate::settings::Settings;
use crate::store::records::Fleet;

/// What the fleet lends to a van that does not tell.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FleetAids {
    /// Median vessel, L.
    pub resin_litres: Option<f64>,
    /// Median of the vans' median fills, L.
    pub fill_litres: Option<f64>,
}

/// What one van tells the fleet.
struct Survey {
    water: WaterSeen,
    resin_litres: Option<f64>,
    fill_litres: Option<f64>,
}

impl Survey {
    fn of(seen: &Seen<'_>, until: Date, settings: &Settings) -> Survey {
        Survey {
            water: seen.water(until, &settings.time_zone),
            resin_litres: known_litres(seen, until),
            fill_litres: median_fill(seen.fills),
        }
    }
}

impl FleetAids {
    fn of(surveys: &[Survey]) -> FleetAids {
        FleetAids {
            resin_litres: median_of(surveys.iter().filter_map(|survey| survey.resin_litres)),
            fill_litres: median_of(surveys.iter().filter_map(|survey| survey.fill_litres)),
        }
    }
}

/// Cuts every van's history into lives, as they could be seen at the end of
/// `as_of` in `settings.time_zone`: only rows up to then count.
///
/// `fleet`: vans in any order, each one's rows oldest first. What comes back
/// is in order of name and hangs on nothing but the arguments.
pub fn cut(fleet: &Fleet, as_of: Date, settings: &Settings) -> FleetLives {
    let mut seen: Vec<Seen<'_>> = fleet
        .histories
        .par_iter()
        .filter_map(|history| Seen::new(history, as_of, &settings.time_zone))
        .collect();
    seen.sort_by_key(|van| van.van);
    // Records end here: a day without rows must not move any date.
    let until = seen
        .iter()
        .filter_map(|van| van.last_row)
        .max()
        .unwrap_or(as_of);
    let surveys: Vec<Survey> = seen
        .par_iter()
        .map(|van| Survey::of(van, until, settings))
        .collect();
    let aids = FleetAids::of(&surveys);
    let water: Vec<WaterSeen> = surveys.into_iter().map(|survey| survey.water).collect();
    let table = HardnessTable::new(&fleet.hardness, &water, until);
    let seasons = TapSeasons::of(&seen, &water, &settings.time_zone);
    let lent = Lent {
        table: &table,
        seasons: &seasons,
        aids: &aids,
        as_of,
        until,
        settings,
    };
    let cut: Vec<(Standing, VanLives)> = seen
        .par_iter()
        .zip(&water)
        .filter(|(van, _)| van.standing != Standing::NotYet || van.first_row.is_some())
        .map(|(van, water)| (van.standing, cut_van(van, water, &lent)))
        .collect();
    let (in_service, retired): (Vec<_>, Vec<_>) = cut
        .into_iter()
        .partition(|(standing, _)| *standing == Standing::InService);
    FleetLives {
        as_of,
        until,
        vans: in_service.into_iter().map(|(_, lives)| lives).collect(),
        retired: retired.into_iter().map(|(_, lives)| lives).collect(),
        rows: fleet.rows,
    }
}
