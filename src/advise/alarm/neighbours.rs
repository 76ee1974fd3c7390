//! What the readings of late make of what is usual, on this van and on those around it.

use crate::calendar::{Date, DateExt};

use crate::fit::Compared;
use crate::lives::ElementLife;
use crate::stats::robust::median;

/// Readings at either end of a stretch that are compared.
const AT_EACH_END: usize = 8;
/// Fewer say nothing.
const AT_LEAST: usize = 3;
/// Vans of a district that are compared.
const PEERS: usize = 3;

/// One value of each of some vans, in order.
#[derive(Debug, Default)]
pub struct Peers(Vec<f64>);

impl Peers {
    pub fn of(values: impl Iterator<Item = f64>) -> Peers {
        let mut values: Vec<f64> = values.collect();
        values.sort_by(f64::total_cmp);
        Peers(values)
    }

    /// The middle of the others'; `None` where they are too few. `own`: a van's
    /// value, if it is one of these.
    pub fn middle_beside(&self, own: Option<f64>) -> Option<f64> {
        let place = own.map_or(self.0.len(), |own| self.0.partition_point(|x| *x < own));
        let others = self.0.len() - usize::from(own.is_some());
        let other = |i: usize| self.0.get(if i < place { i } else { i + 1 }).copied();
        if others < PEERS {
            return None;
        }
        let low = other((others - 1) / 2)?;
        match others % 2 {
            1 => Some(low),
            _ => Some(low + 0.5 * (other(others / 2)? - low)),
        }
    }
}

/// Middle of the first and of the last values; `None` unless both are there and apart.
fn ends(values: &[f64]) -> Option<(f64, f64)> {
    let n = (values.len() / 2).min(AT_EACH_END);
    if n < AT_LEAST {
        return None;
    }
    let first = median(values.get(..n)?).ok()?;
    let last = median(values.get(values.len() - n..)?).ok()?;
    Some((first, last))
}

/// `ln` of each reading over the usual salt passage then.
fn residuals(life: &ElementLife, compared: &Compared) -> Vec<(Date, f64)> {
    life.points
        .iter()
        .zip(&compared.path)
        .map(|(p, usual)| {
            (
                p.date,
                (p.salt_passage.max(1e-6) / usual.p50.max(1e-6)).ln(),
            )
        })
        .collect()
}

/// How far a van's salt passage rose over the last half year beyond the usual, ln.
pub fn rise_of_late(life: &ElementLife, compared: &Compared, until: Date) -> Option<f64> {
    let from = until.plus_days(-183);
    let recent: Vec<f64> = residuals(life, compared)
        .into_iter()
        .filter(|(date, _)| *date >= from)
        .map(|(_, r)| r)
        .collect();
    let (first, last) = ends(&recent)?;
    Some(last - first)
}
