//! What spent resin lets through: product water over what enters, by how much
//! of its capacity a charge has taken up.

use crate::stats::wide;

/// One way in which a charge may end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Width of the logistic rise, as a share of the capacity. The same curve is
    /// known as that of Bohart and Adams, of Thomas, and of Yoon and Nelson
    /// (Chu 2010, Chem. Eng. J. 161:72).
    pub width: f64,
    /// How many times more than what enters leaves while the anion side is spent
    /// and the cation side still gives acid for salt; 1 where both end together.
    pub over: f64,
    /// Where product rests on a plateau of carbonic acid long before the rise, so
    /// that readings of a few ppm say nothing.
    pub plateau: bool,
    /// How likely a fleet's charges end this way, before it has any (judgement).
    prior: f64,
}

const fn rise(width: f64, prior: f64) -> Curve {
    Curve {
        width,
        over: 1.0,
        plateau: false,
        prior,
    }
}

const fn rest(width: f64, prior: f64) -> Curve {
    Curve {
        plateau: true,
        ..rise(width, prior)
    }
}

const fn acid(over: f64, width: f64, prior: f64) -> Curve {
    Curve {
        over,
        ..rise(width, prior)
    }
}

pub const CURVES: usize = 14;

/// From one step to a rise that begins with the first litres; with and without a
/// plateau; with more or less acid.
pub const ALL: [Curve; CURVES] = [
    rise(0.02, 0.12),
    rise(0.06, 0.18),
    rise(0.12, 0.12),
    rise(0.25, 0.06),
    rest(0.02, 0.06),
    rest(0.06, 0.12),
    rest(0.15, 0.06),
    acid(1.25, 0.05, 0.04),
    acid(1.45, 0.05, 0.04),
    acid(1.65, 0.05, 0.04),
    acid(1.9, 0.05, 0.04),
    acid(2.15, 0.05, 0.04),
    acid(2.45, 0.05, 0.04),
    acid(2.8, 0.05, 0.04),
];

/// Load over capacity at which the cation side ends too and what enters leaves
/// (judgement: two fifths more cation than anion capacity in use).
pub const ACID_ENDS: f64 = 1.4;
const ACID_END_WIDTH: f64 = 0.08;
/// Highest plateau of carbonic acid, ppm (see `water::carbonic_acid_ppm`).
pub const PLATEAU_PPM: f64 = 4.0;

impl Curve {
    /// Prior probability that charges of a fleet end this way.
    pub fn prior(&self) -> f64 {
        self.prior / ALL.iter().map(|c| c.prior).sum::<f64>()
    }

    /// Product over entering at so much of the capacity.
    pub fn share(&self, taken: f64) -> f64 {
        share(taken, 1.0 / self.width, self.over)
    }
}

/// [`Curve::share`], for loops.
#[inline(always)]
pub fn share(taken: f64, per_width: f64, over: f64) -> f64 {
    let past = 1.0 / (1.0 + wide::exp((1.0 - taken) * per_width));
    let acid = 1.0 / (1.0 + wide::exp((taken - ACID_ENDS) * (1.0 / ACID_END_WIDTH)));
    past * (1.0 + (over - 1.0) * acid)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rise_is_the_published_logistic() {
        // Worked rows of c/c0 = 1/(1 + exp((V50 - V)/s)); equivalence of Bohart-Adams,
        // Thomas and Yoon-Nelson after Chu 2010. c0 14 ppm, V50 6000 L, s 350 L.
        let curve = rise(350.0 / 6000.0, 1.0);
        let product = |litres: f64| 14.0 * curve.share(litres / 6000.0);
        assert!((product(5000.0) - 0.760_385_725_9).abs() < 1e-4);
        for (ppm, litres) in [
            (2.0, 5_372.884_186),
            (5.0, 5_794.274_667),
            (10.0, 6_320.701_756),
        ] {
            assert!((product(litres) - ppm).abs() < 1e-3, "{litres}");
        }
    }

    #[test]
    fn acid_reads_more_than_what_enters_until_the_cation_side_ends() {
        let curve = acid(2.25, 0.03, 1.0);
        assert!(curve.share(0.7) < 0.01);
        assert!((curve.share(1.15) - 2.25).abs() < 0.1);
        assert!((curve.share(2.0) - 1.0).abs() < 0.01);
    }

    #[test]
    fn priors_sum_to_one() {
        let sum: f64 = ALL.iter().map(Curve::prior).sum();
        assert!((sum - 1.0).abs() < 1e-12);
    }
}
