//! The whole fleet, cut into lives.

use jiff::civil::Date;
use rayon::prelude::*;

use super::hardness_table::{HardnessTable, WaterSeen, median};
use super::litres::median_fill;
use super::seen::{Seen, Standing};
use super::types::{FleetLives, VanLives};
use super::van::{cut_van, vessel_by_services};
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
    fn of(seen: &Seen<'_>, as_of: Date, settings: &Settings) -> Survey {
        Survey {
            water: seen.water(as_of, &settings.time_zone),
            resin_litres: seen
                .sizes
                .on(as_of, |row| row.resin_litres)
                .or_else(|| vessel_by_services(seen))
                .filter(|litres| *litres > 0.0),
            fill_litres: median_fill(seen.fills),
        }
    }
}

impl FleetAids {
    fn of(surveys: &[Survey]) -> FleetAids {
        let median_of = |value: fn(&Survey) -> Option<f64>| {
            median(&mut surveys.iter().filter_map(value).collect::<Vec<f64>>())
        };
        FleetAids {
            resin_litres: median_of(|survey| survey.resin_litres),
            fill_litres: median_of(|survey| survey.fill_litres),
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
    let cut: Vec<(Standing, VanLives)> = seen
        .par_iter()
        .zip(&water)
        .filter(|(van, _)| van.standing != Standing::NotYet || van.first_row.is_some())
        .map(|(van, water)| {
            let lives = cut_van(van, water, &table, &aids, until, settings);
            (van.standing, lives)
        })
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
