//! When a path first reaches a limit.

use super::error::StatsError;
use super::root::root_between;
use super::special::{ln_normal_cdf, normal_cdf};
use super::wide;

/// First passage of a Wiener process with drift over a distance.
///
/// X(t) = M·t + σB(t), with M ~ N(`drift_mean`, `drift_var`) fixed for the path;
/// the passage is the first t with X(t) ≥ `distance`. Without drift variance it
/// is inverse Gaussian.
///
/// # Source
/// Folks & Chhikara 1978, J. R. Stat. Soc. B 40:263; random drift: Peng & Tseng
/// 2009, IEEE Trans. Reliab. 58:444.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    distance: f64,
    drift_mean: f64,
    drift_var: f64,
    sigma2: f64,
}

fn check(
    what: &'static str,
    value: f64,
    ok: bool,
    allowed: &'static str,
) -> Result<(), StatsError> {
    if ok && value.is_finite() {
        Ok(())
    } else {
        Err(StatsError::OutOfRange {
            what,
            value,
            allowed,
        })
    }
}

impl Passage {
    /// # Errors
    /// A distance that is not positive, a negative variance, or no variance and no drift at all.
    pub fn new(
        distance: f64,
        drift_mean: f64,
        drift_var: f64,
        sigma2: f64,
    ) -> Result<Self, StatsError> {
        check(
            "distance to the limit",
            distance,
            distance > 0.0,
            "finite and above 0",
        )?;
        check("mean drift", drift_mean, true, "finite")?;
        check(
            "variance of the drift",
            drift_var,
            drift_var >= 0.0,
            "finite, 0 or more",
        )?;
        check(
            "variance of the path",
            sigma2,
            sigma2 >= 0.0,
            "finite, 0 or more",
        )?;
        let moves = drift_var > 0.0 || sigma2 > 0.0;
        check(
            "variance of the path",
            sigma2,
            moves,
            "above 0 where the drift is certain",
        )?;
        Ok(Passage {
            distance,
            drift_mean,
            drift_var,
            sigma2,
        })
    }

    /// The same passage where everything takes `times` as long.
    pub fn slower(self, times: f64) -> Passage {
        Passage {
            distance: self.distance,
            drift_mean: self.drift_mean / times,
            drift_var: self.drift_var / (times * times),
            sigma2: self.sigma2 / times,
        }
    }

    /// P(passage by time `t`).
    pub fn cdf(&self, t: f64) -> f64 {
        if t.is_nan() || t <= 0.0 {
            return 0.0;
        }
        let (d, m, v, s2) = (self.distance, self.drift_mean, self.drift_var, self.sigma2);
        let spread = (s2 * t + v * t * t).sqrt();
        let straight = normal_cdf((m * t - d) / spread);
        if s2 == 0.0 {
            return straight;
        }
        let rise = 2.0 * d * (m + v * d / s2) / s2;
        let tail = -(2.0 * v * d * t / s2 + m * t + d) / spread;
        (straight + (rise + ln_normal_cdf(tail)).exp()).min(1.0)
    }

    /// The same to 1e-9, for loops over many times.
    #[inline(always)]
    pub fn cdf_quick(&self, t: f64) -> f64 {
        let (d, m, v, s2) = (self.distance, self.drift_mean, self.drift_var, self.sigma2);
        // Nothing is reached at once; so far below, nothing is reached either.
        let t = if t > 0.0 { t } else { 1e-300 };
        let per_spread = 1.0 / (s2 * t + v * t * t).sqrt();
        let straight = (m * t - d) * per_spread;
        // A path that does not wander cannot have turned back.
        let turned = if s2 > 0.0 { 2.0 * v * d / s2 + m } else { 1e12 };
        let tail = (turned * t + d) * per_spread;
        // What the second term of `cdf` is multiplied by takes its density to
        // that of the first.
        wide::normal_cdf_and_tail(straight, tail)
    }

    /// Density of the time of passage.
    pub fn pdf(&self, t: f64) -> f64 {
        if t.is_nan() || t <= 0.0 {
            return 0.0;
        }
        let per_time = self.sigma2 + self.drift_var * t;
        let miss = self.distance - self.drift_mean * t;
        self.distance / (2.0 * std::f64::consts::PI * t.powi(3) * per_time).sqrt()
            * (-miss * miss / (2.0 * t * per_time)).exp()
    }

    /// P(passage ever).
    pub fn ever(&self) -> f64 {
        let (d, m, v, s2) = (self.distance, self.drift_mean, self.drift_var, self.sigma2);
        if v == 0.0 {
            return if m >= 0.0 {
                1.0
            } else {
                (2.0 * m * d / s2).exp()
            };
        }
        let straight = normal_cdf(m / v.sqrt());
        if s2 == 0.0 {
            return straight;
        }
        let rise = 2.0 * d * (m + v * d / s2) / s2;
        (straight + (rise + ln_normal_cdf(-(2.0 * v * d / s2 + m) / v.sqrt())).exp()).min(1.0)
    }

    /// The time by which passage has happened with probability `p`; `None` if it
    /// never comes to that.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        if p.is_nan() || p <= 0.0 || p >= self.ever() {
            return None;
        }
        // a time scale to start from: the drift's, or the diffusion's
        let by_drift = self.distance / self.drift_mean.abs().max(self.drift_var.sqrt());
        let by_diffusion = self.distance * self.distance / self.sigma2;
        let start = by_drift.min(by_diffusion).ln();
        let excess = |ln_t: f64| self.cdf(ln_t.exp()) - p;
        let (mut low, mut high) = (start - 1.0, start + 1.0);
        while excess(low) > 0.0 && low > -700.0 {
            low -= 2.0;
        }
        while excess(high) < 0.0 && high < 700.0 {
            high += 2.0;
        }
        root_between(excess, low, high).ok().map(f64::exp)
    }
}

#[cfg(test)]
mod tests;
