//! What needs doing first: the one order that lists, pages, calendar and terminal share.

use super::{Item, State, VanAssessment};
use crate::settings::Limits;

/// What comes first: water that spots the customer's glass, then what will soon
/// let it, then what merely costs money.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rank {
    /// Product TDS at its limit or over it.
    ProductOver,
    /// Rejection under its limit: the resin does the membrane's work.
    MembraneOver,
    FailingEarly,
    Late,
    Due,
    Watch,
    NoForecast,
    OnCourse,
}

impl Rank {
    /// Where a part of the van stands. A doubted meter has a check due, which presses
    /// as much as what it may have misread.
    pub fn of(van: &VanAssessment, item: Item, limits: &Limits) -> Rank {
        let (membrane, resin) = (&van.membrane, &van.resin);
        match item {
            Item::Resin if resin.litres_left.p50.is_some_and(|left| left <= 0.0) => {
                Rank::ProductOver
            }
            Item::Resin => Rank::from(resin.state),
            Item::Membrane | Item::Probe => {
                let passage = membrane.salt_passage.p50;
                let is_over = passage.is_some_and(|p| p >= limits.salt_passage);
                let rank = match membrane.state {
                    state if state != State::Unknown && is_over => Rank::MembraneOver,
                    state => Rank::from(state),
                };
                match membrane.check_meter_first {
                    true => rank.min(Rank::Due),
                    false => rank,
                }
            }
            Item::Prefilter | Item::Flush | Item::Tank => Rank::from(van.prefilter.state),
        }
    }
}

impl From<State> for Rank {
    fn from(state: State) -> Rank {
        match state {
            State::FailingEarly => Rank::FailingEarly,
            State::Overdue => Rank::Late,
            State::Due => Rank::Due,
            State::Watch => Rank::Watch,
            State::Unknown => Rank::NoForecast,
            State::OnCourse => Rank::OnCourse,
        }
    }
}
