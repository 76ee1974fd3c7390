//! What to put right in a van's records and probes, apart from its water.

use super::{About, RecordsRemark};
use crate::lives::VanLives;

/// A tap that reads this much off its neighbours' is the probe's doing, ln:
/// probes are good to some per cent, and one district drinks one water.
const OFF: f64 = 0.15;

/// `tap_beside_neighbours`: `ln` of its tap of late over its neighbours'.
pub fn of_van(van: &VanLives, tap_beside_neighbours: Option<f64>) -> Vec<RecordsRemark> {
    let mut out = van.remarks.clone();
    if let Some(off) = tap_beside_neighbours.filter(|x| x.abs() > OFF) {
        let place = van.district.as_deref().unwrap_or("its district");
        out.push(RecordsRemark {
            date: van.last_reading_on,
            about: About::Probe,
            text: format!(
                "its tap reads {:.0} % {} than on the other vans of {place}: put the probes \
                 into one cup and compare, or check where it fills",
                100.0 * off.exp_m1().abs(),
                if off > 0.0 { "higher" } else { "lower" }
            ),
        });
    }
    out
}
