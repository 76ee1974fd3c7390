//! What the readings of one element tell under the best shared numbers, worked
//! out once for all who ask.

use std::sync::Arc;

use super::abreast::Summarising;
use super::looks::ElementLooks;
use super::shared::SharedFit;
use crate::stats::drift::DriftSummary;
use crate::stats::wide;

/// What an element's readings tell; nothing where the fleet may not learn from them.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    pub start_known: bool,
    /// District of the base.
    pub district: Option<Arc<str>>,
    /// As it went.
    pub as_made: DriftSummary,
    /// As if litres behind late pre-filters wore like others, and its exposure then.
    pub without_lateness: DriftSummary,
    pub exposure: f64,
}

pub fn told(fit: &SharedFit, looks: &ElementLooks) -> Option<Told> {
    /// Lanes of [`SharedFit::best_abreast`].
    const AS_MADE: usize = 0;
    const WITHOUT_LATENESS: usize = 1;
    if !looks.teaches() {
        return None;
    }
    let mut room = Vec::new();
    let summaries = wide::widest(Summarising {
        element: looks,
        shared: &fit.best_abreast,
        room: &mut room,
    });
    let advances = room.iter().map(|look| look.lane(WITHOUT_LATENESS).advance);
    Some(Told {
        start_known: looks.start_known,
        district: looks.district.clone(),
        as_made: summaries.lane(AS_MADE),
        without_lateness: summaries.lane(WITHOUT_LATENESS),
        exposure: advances.sum(),
    })
}
