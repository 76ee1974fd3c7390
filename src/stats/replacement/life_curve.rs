//! How long things last, as replacement needs to know it.

use crate::stats::optimise::root_between;
use crate::stats::quadrature::integrate;
use crate::stats::special::{
    gamma_p, ln_gamma, normal_cdf, normal_hazard, normal_quantile, normal_sf,
};

/// A distribution of lives.
pub trait LifeCurve {
    /// Share that lasts longer than `age`.
    fn survival(&self, age: f64) -> f64;
    /// Mean of the smaller of life and `age`: the area under survival up to there.
    fn mean_until(&self, age: f64) -> f64;
    /// Mean life.
    fn mean(&self) -> f64;
    /// Failure rate of what has lasted until `age`, where there is a formula.
    fn hazard(&self, age: f64) -> Option<f64>;
    /// Ages before and after which next to nothing fails.
    fn span(&self) -> (f64, f64);
}

/// Share of lives left out at either end of a span.
const SPAN_TAIL: f64 = 1e-6;

/// Weibull lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeibullLife {
    pub scale: f64,
    pub shape: f64,
}

impl LifeCurve for WeibullLife {
    fn survival(&self, age: f64) -> f64 {
        (-(age / self.scale).powf(self.shape)).exp()
    }

    fn mean_until(&self, age: f64) -> f64 {
        self.mean() * gamma_p(1.0 / self.shape, (age / self.scale).powf(self.shape))
    }

    fn mean(&self) -> f64 {
        self.scale * ln_gamma(1.0 + 1.0 / self.shape).exp()
    }

    fn hazard(&self, age: f64) -> Option<f64> {
        Some(self.shape / self.scale * (age / self.scale).powf(self.shape - 1.0))
    }

    fn span(&self) -> (f64, f64) {
        let at = |hazard: f64| self.scale * hazard.powf(1.0 / self.shape);
        (at(SPAN_TAIL), at(-1e-12_f64.ln()))
    }
}

/// Lives whose logarithm is normal with mean `mu` and standard deviation `sigma`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogNormalLife {
    pub mu: f64,
    pub sigma: f64,
}

impl LogNormalLife {
    fn z(&self, age: f64) -> f64 {
        (age.ln() - self.mu) / self.sigma
    }
}

impl LifeCurve for LogNormalLife {
    fn survival(&self, age: f64) -> f64 {
        normal_sf(self.z(age))
    }

    fn mean_until(&self, age: f64) -> f64 {
        self.mean() * normal_cdf(self.z(age) - self.sigma) + age * self.survival(age)
    }

    fn mean(&self) -> f64 {
        (self.mu + 0.5 * self.sigma * self.sigma).exp()
    }

    fn hazard(&self, age: f64) -> Option<f64> {
        Some(normal_hazard(self.z(age)) / (self.sigma * age))
    }

    fn span(&self) -> (f64, f64) {
        let at = |p: f64| (self.mu + self.sigma * normal_quantile(p)).exp();
        (at(SPAN_TAIL), at(1.0 - 1e-12))
    }
}

/// Lives given by any survival function that falls from 1 to 0.
#[derive(Debug, Clone, Copy)]
pub struct AnyLife<F> {
    survival: F,
    mean: f64,
    span: (f64, f64),
}

impl<F: Fn(f64) -> f64> AnyLife<F> {
    /// `longest` is an age that (next to) nothing exceeds.
    pub fn new(survival: F, longest: f64) -> Self {
        let mean = integrate(&survival, 0.0, longest, 1e-12).value;
        let first = |share: f64| root_between(|age| survival(age) - share, 0.0, longest);
        let low = first(1.0 - SPAN_TAIL)
            .unwrap_or(1e-6 * longest)
            .max(1e-9 * longest);
        AnyLife {
            survival,
            mean,
            span: (low, longest),
        }
    }
}

impl<F: Fn(f64) -> f64> LifeCurve for AnyLife<F> {
    fn survival(&self, age: f64) -> f64 {
        (self.survival)(age)
    }

    fn mean_until(&self, age: f64) -> f64 {
        integrate(&self.survival, 0.0, age, 1e-12).value
    }

    fn mean(&self) -> f64 {
        self.mean
    }

    fn hazard(&self, _age: f64) -> Option<f64> {
        None
    }

    fn span(&self) -> (f64, f64) {
        self.span
    }
}
