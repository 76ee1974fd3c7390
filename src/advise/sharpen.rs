//! The one reading that would tell most: which van to read next.

use jiff::civil::Date;

use super::{Assessment, Band, State, VanAssessment};

/// The van whose next reading tells most.
#[derive(Debug, Clone, PartialEq)]
pub struct BestReading {
    pub van: String,
    pub gain: Gain,
}

/// What the reading would do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gain {
    /// Tap and after the membrane were never read together on the membrane in
    /// use; so many vans are in this position.
    First { vans: usize },
    /// The likely span of the salt passage gets narrower by this share (0..1).
    Narrows(f64),
}

/// A gain below this is not worth a walk to the van.
const WORTH_IT: f64 = 0.10;
/// Scatter of readings of salt passage (of the logarithm) where too few of a
/// van's own tell it: judgement, between 0.06 and 0.15 by what is measured.
const USUAL_SCATTER: f64 = 0.12;
/// No meter is better than this.
const LEAST_SCATTER: f64 = 0.05;
/// Readings needed to tell a van's own scatter.
const FEWEST: usize = 6;
/// p10 to p90 of a normal distribution, in standard deviations.
const P10_TO_P90: f64 = 2.563_1;
/// From median distance to standard deviation, for a normal distribution.
const MEDIAN_TO_SD: f64 = 1.482_6;

/// The reading (tap and after the membrane) that narrows what is known of a
/// membrane today the most; `None` where no reading would do much.
///
/// One more reading with scatter `n` narrows a level known to within `s` to
/// `1 / sqrt(1/s² + 1/n²)` (two independent normal measurements, both of the
/// logarithm).
pub fn best_reading(assessment: &Assessment) -> Option<BestReading> {
    let with_membrane = || assessment.vans.iter().filter(|v| v.series.has_membrane);
    let unread = |v: &&VanAssessment| {
        v.membrane.state == State::Unknown && v.membrane.salt_passage.p50.is_none()
    };
    let vans = with_membrane().filter(unread).count();
    if let Some(van) = with_membrane().find(unread) {
        return Some(BestReading {
            van: van.van.clone(),
            gain: Gain::First { vans },
        });
    }
    with_membrane()
        .filter_map(|van| Some((van, narrows(van)?)))
        .filter(|(_, gain)| *gain >= WORTH_IT)
        // of equals the first by name
        .max_by(|a, b| a.1.total_cmp(&b.1).then_with(|| b.0.van.cmp(&a.0.van)))
        .map(|(van, gain)| BestReading {
            van: van.van.clone(),
            gain: Gain::Narrows(gain),
        })
}

/// By what share the next reading narrows the span of today's salt passage.
fn narrows(van: &VanAssessment) -> Option<f64> {
    let span = &van.membrane.salt_passage;
    let (low, high) = (span.p10?, span.p90?);
    if low <= 0.0 || high <= low {
        return None;
    }
    let known = (high / low).ln() / P10_TO_P90;
    let scatter = van.series.scatter_ln.unwrap_or(USUAL_SCATTER);
    Some(1.0 - scatter / scatter.hypot(known))
}

/// How far readings (day, salt passage) lie from the fit beneath them, ln; `None`
/// where they are too few.
pub fn scatter_ln(readings: &[(Date, f64)], path: &[Band<Date>]) -> Option<f64> {
    let mut far: Vec<f64> = readings
        .iter()
        .filter_map(|(day, read)| {
            let level = path.get(path.partition_point(|b| b.x < *day))?.p50;
            let off = (read / level).ln().abs();
            off.is_finite().then_some(off)
        })
        .collect();
    if far.len() < FEWEST {
        return None;
    }
    let half = far.len() / 2;
    let (_, middle, _) = far.select_nth_unstable_by(half, f64::total_cmp);
    Some((*middle * MEDIAN_TO_SD).max(LEAST_SCATTER))
}
