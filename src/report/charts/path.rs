//! A fit and its forecast: the likely range as a tint, the middle in full ink
//! up to today and dashed beyond.

use crate::calendar::Date;

use crate::advise::Band;
use crate::report::axis::day_number;
use crate::report::look::Ink;
use crate::report::panel::Panel;

/// A fit and its forecast, in order of date; values are drawn as `value` gives them.
#[derive(Debug, Clone, Copy)]
pub struct Path<'a> {
    pub bands: &'a [Band<Date>],
    pub value: fn(f64) -> f64,
    pub ink: Ink,
}

impl Path<'_> {
    /// The likely range, to lie under the readings.
    pub fn range(&self, panel: &Panel) {
        let band: Vec<(f64, f64, f64)> = self
            .bands
            .iter()
            .map(|b| (day_number(b.x), (self.value)(b.p10), (self.value)(b.p90)))
            .collect();
        panel.band(&band, self.ink);
    }

    /// The middle, to lie over the readings.
    pub fn middle(&self, panel: &Panel, as_of: Date) {
        let middle: Run = self
            .bands
            .iter()
            .map(|b| (day_number(b.x), (self.value)(b.p50)))
            .collect();
        let (past, ahead) = split_at(&middle, day_number(as_of));
        panel.line(&past, self.ink, 2.6);
        panel.dashes(&ahead, self.ink, 2.6, (8.0, 6.0));
    }
}

/// A run of points of a curve.
type Run = Vec<(f64, f64)>;

/// The curve before and after `x`; both parts meet there.
fn split_at(points: &[(f64, f64)], x: f64) -> (Run, Run) {
    let (mut before, mut after): (Run, Run) = points.iter().partition(|p| p.0 <= x);
    let Some(&(x0, y0)) = before.last() else {
        return (before, after);
    };
    if let Some(&(x1, y1)) = after.first()
        && x0 < x
    {
        before.push((x, y0 + (y1 - y0) * (x - x0) / (x1 - x0)));
    }
    if !after.is_empty() {
        after.splice(0..0, before.last().copied());
    }
    (before, after)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn past_and_forecast_meet_today() {
        let (before, after) = split_at(&[(0.0, 1.0), (10.0, 3.0)], 5.0);
        assert_eq!(before, [(0.0, 1.0), (5.0, 2.0)]);
        assert_eq!(after, [(5.0, 2.0), (10.0, 3.0)]);
        let (before, after) = split_at(&[(0.0, 1.0), (5.0, 2.0), (9.0, 3.0)], 5.0);
        assert_eq!(before.last(), after.first());
        assert_eq!(split_at(&[], 5.0), (vec![], vec![]));
        assert_eq!(split_at(&[(0.0, 1.0)], 5.0), (vec![(0.0, 1.0)], vec![]));
    }
}
