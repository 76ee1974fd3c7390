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
    /// As if litres behind late pre-filters wore like others, and its exposure then.
    pub without_lateness: DriftSummary,
    pub exposure: f64,
    /// Share of its litres made behind late pre-filters.
    pub late_share: f64,
}

pub fn told(fit: &SharedFit, looks: &ElementLooks) -> Option<Told> {
    /// Of the lanes of [`SharedFit::best_abreast`], which are all the same.
    const WITHOUT_LATENESS: usize = 0;
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
        without_lateness: summaries.lane(WITHOUT_LATENESS),
        exposure: advances.sum(),
        late_share: (looks.late_litres() / looks.litres_made().max(1.0)).clamp(0.0, 1.0),
    })
}
