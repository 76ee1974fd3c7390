//! A level that drifts at its own steady rate with random wander along the
//! way, seen through noise: the path of a thing that wears out.
//!
//! `level(e) = start + rate·e + W(e)`, with `W` a Wiener process of variance
//! `wander` per unit of exposure, and looks `y = level + noise`. Given the
//! rate all is Gaussian, and the log-likelihood is quadratic in the rate, so a
//! single pass of the Kalman filter sums up a unit for every rate at once.
//!
//! Sources: Ye & Chen 2014 (Wiener processes with random drift), Durbin &
//! Koopman 2001 (filter and simulation smoother).

use super::wide;

pub mod abreast;

/// One noisy look at the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Exposure since the look before, or since the start for the first; ≥ 0.
    pub advance: f64,
    pub y: f64,
    /// Variance of the noise of this look; > 0.
    pub variance: f64,
    /// Variance of a jump of the level just before this look; usually 0.
    pub jump: f64,
}

/// Where the level starts, and how it wanders.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drifting {
    pub start_mean: f64,
    pub start_variance: f64,
    /// Variance of the path per unit of exposure; ≥ 0.
    pub wander: f64,
}

/// Everything the looks say, as a function of the rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftSummary {
    /// `-2 ln p(y | rate) = constant - 2·rate·linear + rate²·information`.
    pub information: f64,
    pub linear: f64,
    pub constant: f64,
    /// Level at the last look, given the rate: mean `level_0 + level_rate·rate`.
    pub level_0: f64,
    pub level_rate: f64,
    pub level_variance: f64,
}

impl DriftSummary {
    /// `ln p(looks | rate)`.
    #[inline(always)]
    pub fn log_likelihood(&self, rate: f64) -> f64 {
        -0.5 * (self.constant - 2.0 * rate * self.linear + rate * rate * self.information)
    }
}

/// What one look brought: how far it was from what was expected, what a rate of
/// 1 would have added to that, the variance of both, and how much of it is believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct News {
    pub miss: f64,
    pub lever: f64,
    pub spread: f64,
    pub gain: f64,
}

impl DriftSummary {
    /// Before any look.
    pub(super) fn start(drifting: &Drifting) -> DriftSummary {
        DriftSummary {
            information: 0.0,
            linear: 0.0,
            constant: 0.0,
            level_0: drifting.start_mean,
            level_rate: 0.0,
            level_variance: drifting.start_variance,
        }
    }

    /// Takes in one more look.
    pub(super) fn look(&mut self, look: &Look, wander: f64) -> News {
        self.level_rate += look.advance;
        self.level_variance += wander * look.advance + look.jump;
        let spread = self.level_variance + look.variance;
        let (miss, lever) = (look.y - self.level_0, self.level_rate);
        self.information += lever * lever / spread;
        self.linear += lever * miss / spread;
        self.constant += miss * miss / spread + (2.0 * std::f64::consts::PI * spread).ln();
        let gain = self.level_variance / spread;
        self.level_0 += gain * miss;
        self.level_rate -= gain * lever;
        self.level_variance *= 1.0 - gain;
        News {
            miss,
            lever,
            spread,
            gain,
        }
    }
}

/// Posterior of a positive rate on a grid of its logarithm.
#[derive(Debug, Clone, PartialEq)]
pub struct RatePosterior {
    /// Logarithm of the rate, ascending.
    pub ln_rate: [f64; GRID],
    /// Weights that sum to 1.
    pub weight: [f64; GRID],
    /// `ln ∫ p(looks | rate) p(rate) d ln rate`.
    pub ln_evidence: f64,
}

/// Grid points of the posterior of the rate.
const GRID: usize = 40;

/// Combines a summary with a log-normal prior of the rate.
pub fn rate_posterior(summary: &DriftSummary, ln_mean: f64, ln_sd: f64) -> RatePosterior {
    let (mode, sd) = mode_of(summary, ln_mean, ln_sd);
    let low = mode - 5.5 * sd;
    let step = 11.0 * sd / (GRID - 1) as f64;
    let ln_rate: [f64; GRID] = std::array::from_fn(|i| low + step * i as f64);
    let mut weight = ln_rate;
    let top = wide::widest(Weighing {
        weight: &mut weight,
        summary,
        ln_mean,
        ln_sd,
    });
    let total: f64 = weight.iter().sum();
    weight.iter_mut().for_each(|w| *w /= total);
    let scale = (ln_sd * (2.0 * std::f64::consts::PI).sqrt()).ln();
    RatePosterior {
        ln_rate,
        weight,
        ln_evidence: top - scale + (total * step).ln(),
    }
}

/// Turns log rates into their weights over the highest one, and gives that.
struct Weighing<'a> {
    weight: &'a mut [f64; GRID],
    summary: &'a DriftSummary,
    ln_mean: f64,
    ln_sd: f64,
}

impl wide::Loops for Weighing<'_> {
    type Output = f64;

    #[inline(always)]
    fn run(self) -> f64 {
        let per_sd = 1.0 / self.ln_sd;
        for w in self.weight.iter_mut() {
            let z = (*w - self.ln_mean) * per_sd;
            *w = self.summary.log_likelihood(wide::exp(*w)) - 0.5 * z * z;
        }
        let top = self
            .weight
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        for w in self.weight.iter_mut() {
            *w = wide::exp(*w - top);
        }
        top
    }
}

/// Mode and local spread of the log rate's posterior, by safeguarded Newton steps.
fn mode_of(s: &DriftSummary, ln_mean: f64, ln_sd: f64) -> (f64, f64) {
    let precision = 1.0 / (ln_sd * ln_sd);
    // The slope falls through 0 inside this bracket: the prior dominates far out.
    let (mut low, mut high) = (ln_mean - 12.0 * ln_sd, ln_mean + 12.0 * ln_sd);
    let mut mode = ln_mean;
    for _ in 0..60 {
        let r = mode.exp();
        let slope = s.linear * r - s.information * r * r - (mode - ln_mean) * precision;
        if slope > 0.0 {
            low = mode;
        } else {
            high = mode;
        }
        let curvature = precision + 2.0 * s.information * r * r - s.linear * r;
        let newton = mode + slope / curvature;
        // Newton's step where the peak is near, else half of what is left.
        let next = if curvature > 0.0 && low < newton && newton < high {
            newton
        } else {
            0.5 * (low + high)
        };
        let moved = (next - mode).abs();
        mode = next;
        if moved <= 1e-14 * (1.0 + mode.abs()) {
            break;
        }
    }
    let r = mode.exp();
    let curvature = precision + 2.0 * s.information * r * r - s.linear * r;
    let sd = (1.0 / curvature.max(0.25 * precision))
        .sqrt()
        .min(2.0 * ln_sd);
    (mode, sd)
}

impl RatePosterior {
    /// The log rate below which a share `p` of the posterior lies.
    pub fn ln_quantile(&self, p: f64) -> f64 {
        let mut below = 0.0;
        let mut before = None;
        for (&u, &w) in self.ln_rate.iter().zip(&self.weight) {
            // Each grid point stands for the cell around it.
            if below + w >= p && w > 0.0 {
                let step = before.map_or(0.0, |b: f64| u - b);
                return u - 0.5 * step + step * ((p - below) / w).clamp(0.0, 1.0);
            }
            below += w;
            before = Some(u);
        }
        self.ln_rate.last().copied().unwrap_or(f64::NAN)
    }
}

/// Sums up the looks of one unit, oldest first.
#[cfg(test)]
pub(super) fn summarise(looks: &[Look], drifting: &Drifting) -> DriftSummary {
    let mut summary = DriftSummary::start(drifting);
    for look in looks {
        summary.look(look, drifting.wander);
    }
    summary
}

#[cfg(test)]
mod tests;
