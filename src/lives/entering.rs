//! What enters the resin over time.

use super::changes::Change;
use super::median::median;
use super::observations::Observation;
use crate::store::records::Instant;

/// A quantity over time, linear between its knots and flat beyond them; never
/// drawn across a change of element.
#[derive(Debug, Clone, Default)]
pub(crate) struct Track {
    /// First instants of the elements but the first, oldest first.
    starts: Vec<Instant>,
    /// Knots of each element, oldest first, possibly none.
    pieces: Vec<Vec<(Instant, f64)>>,
    /// Median of all knots, for an element that was never read.
    otherwise: Option<f64>,
}

impl Track {
    /// `knots`: oldest first. `starts`: where a new element begins.
    pub(crate) fn new(knots: &[(Instant, f64)], starts: Vec<Instant>) -> Track {
        let mut pieces = Vec::with_capacity(starts.len() + 1);
        let mut rest = knots;
        for start in &starts {
            let (piece, later) = rest.split_at(rest.partition_point(|(at, _)| at < start));
            pieces.push(piece.to_vec());
            rest = later;
        }
        pieces.push(rest.to_vec());
        let mut values: Vec<f64> = knots.iter().map(|(_, value)| *value).collect();
        Track {
            starts,
            pieces,
            otherwise: median(&mut values),
        }
    }

    /// From the beginning, to be asked for one instant after the other.
    pub(crate) fn walk(&self) -> Walk<'_> {
        Walk {
            track: self,
            element: 0,
            after: 0,
        }
    }
}

/// Where one has come to on a track.
#[derive(Debug, Clone)]
pub(crate) struct Walk<'a> {
    track: &'a Track,
    element: usize,
    /// Number of the first knot of the element that is still ahead.
    after: usize,
}

impl Walk<'_> {
    /// The value at an instant, not before the one asked for last; `None` if there is
    /// no knot at all.
    pub(crate) fn at(&mut self, at: Instant) -> Option<f64> {
        let Track {
            starts,
            pieces,
            otherwise,
        } = self.track;
        let begun = starts.get(self.element..).unwrap_or_default();
        let begun = begun.iter().take_while(|start| **start <= at).count();
        if begun > 0 {
            (self.element, self.after) = (self.element + begun, 0);
        }
        let knots = pieces.get(self.element)?;
        let passed = knots.get(self.after..).unwrap_or_default();
        self.after += passed.iter().take_while(|(knot, _)| *knot <= at).count();
        let right = knots.get(self.after);
        let left = self.after.checked_sub(1).and_then(|n| knots.get(n));
        match (left, right) {
            (Some((from, a)), Some((to, b))) => {
                let share = (at.0 - from.0) as f64 / (to.0 - from.0).max(1) as f64;
                Some(a + share * (b - a))
            }
            (Some((_, value)), None) | (None, Some((_, value))) => Some(*value),
            (None, None) => *otherwise,
        }
    }
}

/// What enters the resin, ppm: the permeate as read, else the feed times its
/// neighbours' salt passage; for a resin-only van the feed itself.
pub(crate) fn entering_ppm(
    observations: &[Observation],
    membrane_changes: &[Change],
    resin_only: bool,
) -> Track {
    if resin_only {
        let feeds: Vec<(Instant, f64)> = observations
            .iter()
            .filter_map(|observation| Some((observation.at, observation.feed_ppm?)))
            .collect();
        return Track::new(&feeds, Vec::new());
    }
    let starts: Vec<Instant> = membrane_changes.iter().map(|change| change.from).collect();
    let passages: Vec<(Instant, f64)> = observations
        .iter()
        .filter_map(|observation| Some((observation.at, observation.salt_passage()?)))
        .collect();
    let passages = Track::new(&passages, starts.clone());
    let mut passages = passages.walk();
    let permeates: Vec<(Instant, f64)> = observations
        .iter()
        .filter_map(|observation| {
            let permeate_ppm = match observation.permeate_ppm {
                Some(ppm) => ppm,
                None => observation.feed_ppm? * passages.at(observation.at)?,
            };
            Some((observation.at, permeate_ppm))
        })
        .collect();
    Track::new(&permeates, starts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_linear_between_knots_and_never_drawn_across_a_change() {
        let knots = [(Instant(0), 10.0), (Instant(10), 20.0), (Instant(30), 5.0)];
        let track = Track::new(&knots, vec![Instant(25), Instant(40)]);
        assert_eq!(track.walk().at(Instant(5)), Some(15.0));
        assert_eq!(track.walk().at(Instant(24)), Some(20.0));
        assert_eq!(track.walk().at(Instant(25)), Some(5.0));
        // An element that was never read takes the median of all.
        assert_eq!(track.walk().at(Instant(50)), Some(10.0));
        assert_eq!(Track::default().walk().at(Instant(0)), None);
        assert_eq!(Track::new(&[], vec![]).walk().at(Instant(0)), None);
    }
}
