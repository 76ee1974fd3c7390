//! What the readings of one element tell beside the fleet, worked out once for all who ask.

use std::sync::Arc;

use super::fleet::Kin;
use super::law::PACE;
use super::looks::ElementLooks;
use super::shared::SharedFit;

/// What an element's readings tell; nothing where the fleet may not learn from them.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// District of the base.
    pub district: Option<Arc<str>>,
    /// `ln` of its life over the usual one in its water, and the variance with which its
    /// readings alone tell it; `None` where they tell next to nothing.
    pub life: Option<(f64, f64)>,
    /// Share of its litres made behind late pre-filters.
    pub late_share: f64,
}

pub fn told(fit: &SharedFit, looks: &ElementLooks) -> Option<Told> {
    if !looks.teaches() {
        return None;
    }
    let numbers = fit.likeliest();
    let mut laid = numbers.lay(looks);
    let n = laid.len();
    let both = numbers.both(&looks.whose(), Kin::NONE, &mut laid, n, false);
    let (prior, posterior) = &both.usual;
    let own = posterior.own_of(prior, PACE);
    // The quicker, the shorter: the pace is one over a life.
    let life = own.map(|own| (-own.shift, numbers.variance[PACE] + own.variance));
    Some(Told {
        district: looks.district.clone(),
        life: life.filter(|_| looks.start_known),
        late_share: looks.late_share(),
    })
}
