//! Which van to test next: the one of whose membrane least is known.

use super::{Assessment, State, VanAssessment};

/// The van to test next.
#[derive(Debug, Clone, PartialEq)]
pub struct BestReading {
    pub van: String,
    pub gain: Gain,
}

/// Why that one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gain {
    /// Tap and membrane TDS were never read together on the membrane in use; so
    /// many vans are in this position.
    First { vans: usize },
    /// Its salt passage today is the least certain of all: p10 and p90.
    Widest { low: f64, high: f64 },
}

/// p90 of salt passage over p10 below which nobody need walk to the van: two
/// meters differ by as much.
const WORTH_IT: f64 = 1.15;

/// The van to test next; `None` where all are known well enough. How much one
/// reading would narrow its range is not claimed: that depends on the meter.
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
        .filter_map(|van| {
            let span = &van.membrane.salt_passage;
            let (low, high) = (span.p10.filter(|low| *low > 0.0)?, span.p90?);
            (high / low >= WORTH_IT).then_some((van, low, high))
        })
        // of equals the first by name
        .max_by(|a, b| {
            let ratio = |x: &(_, f64, f64)| x.2 / x.1;
            ratio(a)
                .total_cmp(&ratio(b))
                .then_with(|| b.0.van.cmp(&a.0.van))
        })
        .map(|(van, low, high)| BestReading {
            van: van.van.clone(),
            gain: Gain::Widest { low, high },
        })
}
