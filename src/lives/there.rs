//! The water of a district in which a van might be based.

use super::median::median_of;
use super::postcode::Postcode;
use super::published::{Published, value_on};
use super::types::{Fleet, FleetLives, HardnessAt, HardnessBasis};

/// What is known of the water somewhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterThere {
    pub hardness: HardnessAt,
    /// Median tap of the vans based there, ppm.
    pub feed_ppm: Option<f64>,
}

/// The water of a district: as published, else as the vans based there have it.
/// `None` where neither tells.
pub fn water_in(fleet: &Fleet, lives: &FleetLives, district: &str) -> Option<WaterThere> {
    let based = || {
        lives
            .vans
            .iter()
            .filter(|v| v.district.as_deref() == Some(district))
    };
    let published = Postcode::read(district)
        .map(|place| Published::new(&fleet.hardness).of(&place))
        .and_then(|dated| value_on(&dated, lives.until).or(dated.first().map(|d| d.1)))
        .map(|mg_l_caco3| HardnessAt {
            mg_l_caco3,
            basis: HardnessBasis::Table,
        });
    let seen = || {
        median_of(based().filter_map(|v| v.hardness.map(|h| h.mg_l_caco3))).map(|mg_l_caco3| {
            HardnessAt {
                mg_l_caco3,
                basis: HardnessBasis::Estimated,
            }
        })
    };
    Some(WaterThere {
        hardness: published.or_else(seen)?,
        feed_ppm: median_of(based().filter_map(|v| v.feed_ppm)),
    })
}
