//! What to fix in a van's records and TDS meters, apart from its water.

use super::meters::{DOUBTED, HOW, sentence};
use super::{About, RecordsRemark};
use crate::fit::VanMeters;
use crate::lives::VanLives;

pub fn of_van(van: &VanLives, meters: &VanMeters) -> Vec<RecordsRemark> {
    let to_put_right = van.remarks.iter().filter(|r| r.about != About::Note);
    let mut out: Vec<RecordsRemark> = to_put_right.cloned().collect();
    let doubted = meters.meters.iter().filter(|m| m.doubt >= DOUBTED);
    out.extend(doubted.map(|meter| RecordsRemark {
        date: van.last_reading_on,
        about: About::Probe,
        text: format!("{}. {HOW}", sentence(meter, "its")),
    }));
    out
}
