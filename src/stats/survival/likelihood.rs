//! Log-likelihood contributions with their derivatives.

use super::Distribution;
use super::life::{Life, Outcome};
use crate::stats::special::{ln_normal_cdf, ln_normal_sf, normal_hazard};

/// A log-likelihood term with derivatives by location η and s = ln σ.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Term {
    pub value: f64,
    pub by_eta: f64,
    pub by_s: f64,
    pub by_eta2: f64,
    pub by_eta_s: f64,
    pub by_s2: f64,
}

/// g(z), g′(z), g″(z)
type Jet = [f64; 3];

impl Distribution {
    /// ln density of the standard form at z.
    fn ln_density(self, z: f64) -> Jet {
        match self {
            Distribution::Weibull => [z - z.exp(), 1.0 - z.exp(), -z.exp()],
            Distribution::LogNormal => [
                -0.5 * z * z - 0.5 * (2.0 * std::f64::consts::PI).ln(),
                -z,
                -1.0,
            ],
        }
    }

    /// ln P(Z > z).
    fn ln_upper(self, z: f64) -> Jet {
        match self {
            Distribution::Weibull => [-z.exp(); 3],
            Distribution::LogNormal => {
                let h = normal_hazard(z);
                [ln_normal_sf(z), -h, -h * (h - z)]
            }
        }
    }

    /// ln P(Z ≤ z).
    fn ln_lower(self, z: f64) -> Jet {
        match self {
            Distribution::Weibull => {
                let value = (-(-z.exp()).exp_m1()).ln();
                let slope = (z - z.exp() - value).exp();
                [value, slope, slope * (1.0 - z.exp()) - slope * slope]
            }
            Distribution::LogNormal => {
                let m = normal_hazard(-z);
                [ln_normal_cdf(z), m, -m * (m + z)]
            }
        }
    }
}

/// The chain rule from z = (ln t − η)/σ to η and s.
fn chain(g: Jet, z: f64, sigma: f64) -> Term {
    Term {
        value: g[0],
        by_eta: -g[1] / sigma,
        by_s: -z * g[1],
        by_eta2: g[2] / (sigma * sigma),
        by_eta_s: (z * g[2] + g[1]) / sigma,
        by_s2: z * z * g[2] + z * g[1],
    }
}

/// ln of the probability between two ages.
fn between(dist: Distribution, a: f64, b: f64, sigma: f64) -> Term {
    // subtract in the tail where both are small, so that digits remain
    let value = if a + b > 0.0 {
        let (low, high) = (dist.ln_upper(a)[0], dist.ln_upper(b)[0]);
        low + (-(high - low).exp_m1()).ln()
    } else {
        let (low, high) = (dist.ln_lower(a)[0], dist.ln_lower(b)[0]);
        high + (-(low - high).exp_m1()).ln()
    };
    let density = |z: f64| {
        let jet = dist.ln_density(z);
        let f = (jet[0] - value).exp();
        (f, f * jet[1])
    };
    let ((fa, da), (fb, db)) = (density(a), density(b));
    let by_eta = -(fb - fa) / sigma;
    let by_s = -(b * fb - a * fa);
    Term {
        value,
        by_eta,
        by_s,
        by_eta2: (db - da) / (sigma * sigma) - by_eta * by_eta,
        by_eta_s: ((b * db + fb) - (a * da + fa)) / sigma - by_eta * by_s,
        by_s2: (b * b * db + b * fb) - (a * a * da + a * fa) - by_s * by_s,
    }
}

/// One life's term at location `eta` and scale exp(`s`), its weight not included.
pub(super) fn term(dist: Distribution, life: &Life, eta: f64, s: f64) -> Term {
    let sigma = s.exp();
    let standard = |t: f64| (t.ln() - eta) / sigma;
    let mut out = match life.outcome {
        Outcome::Exact(t) => {
            let z = standard(t);
            let mut term = chain(dist.ln_density(z), z, sigma);
            term.value -= s + t.ln();
            term.by_s -= 1.0;
            term
        }
        Outcome::Running(t) => chain(dist.ln_upper(standard(t)), standard(t), sigma),
        Outcome::Between(a, b) if a > 0.0 => between(dist, standard(a), standard(b), sigma),
        Outcome::EndedBy(t) | Outcome::Between(_, t) => {
            chain(dist.ln_lower(standard(t)), standard(t), sigma)
        }
    };
    if life.entry > 0.0 {
        let z = standard(life.entry);
        let known = chain(dist.ln_upper(z), z, sigma);
        out.value -= known.value;
        out.by_eta -= known.by_eta;
        out.by_s -= known.by_s;
        out.by_eta2 -= known.by_eta2;
        out.by_eta_s -= known.by_eta_s;
        out.by_s2 -= known.by_s2;
    }
    out
}
