//! What the readings of one element tell beside the fleet, worked out once for all who ask.

use std::sync::Arc;

use super::fleet::VanEffect;
use super::law::PACE;
use super::observations::ElementObservations;
use super::shared::SharedFit;

/// What an element's readings tell; nothing where the fleet may not learn from them.
#[derive(Debug, Clone, PartialEq)]
pub struct ElementLikelihood {
    /// District of the base.
    pub district: Option<Arc<str>>,
    /// `ln` of its life over the usual one in its water, and the variance with which its
    /// readings alone tell it; `None` where they tell next to nothing.
    pub life: Option<(f64, f64)>,
    /// Share of its litres made behind late pre-filters.
    pub late_share: f64,
}

pub fn element_likelihood(
    fit: &SharedFit,
    observations: &ElementObservations,
) -> Option<ElementLikelihood> {
    if !observations.is_usable_for_fit() {
        return None;
    }
    let numbers = fit.likeliest();
    let mut design = numbers.design_of(observations);
    let n = design.len();
    let both = numbers.both(
        &observations.whose(),
        VanEffect::NONE,
        &mut design,
        n,
        false,
    );
    let (prior, posterior) = &both.usual;
    let own = posterior.own_of(prior, PACE);
    // The quicker, the shorter: the pace is one over a life.
    let life = own.map(|own| (-own.shift, numbers.variance[PACE] + own.variance));
    Some(ElementLikelihood {
        district: observations.district.clone(),
        life: life.filter(|_| observations.start_known),
        late_share: observations.late_share(),
    })
}
