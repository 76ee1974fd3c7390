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

use super::random::Rng;

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
    pub fn log_likelihood(&self, rate: f64) -> f64 {
        -0.5 * (self.constant - 2.0 * rate * self.linear + rate * rate * self.information)
    }

    /// Mean and variance of the level after `advance` more exposure.
    pub fn level_after(&self, rate: f64, advance: f64, wander: f64) -> (f64, f64) {
        (
            self.level_0 + rate * (self.level_rate + advance),
            self.level_variance + wander * advance,
        )
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

/// Sums up the looks of one unit, oldest first; may be empty.
pub fn summarise(looks: &[Look], drifting: &Drifting) -> DriftSummary {
    let mut summary = DriftSummary::start(drifting);
    for look in looks {
        summary.look(look, drifting.wander);
    }
    summary
}

/// Draws the level at every look and then at the end (after `advance` more
/// exposure), given the rate and all looks: forward filter, backward sample.
/// `out` has one more entry than `looks`.
pub fn draw_path(
    looks: &[Look],
    drifting: &Drifting,
    rate: f64,
    advance: f64,
    end_level: f64,
    rng: &mut Rng,
    out: &mut Vec<f64>,
) {
    out.clear();
    // Forward: filtered mean and variance at each look.
    let mut filtered = Vec::with_capacity(looks.len());
    let (mut mean, mut variance) = (drifting.start_mean, drifting.start_variance);
    for look in looks {
        mean += rate * look.advance;
        variance += drifting.wander * look.advance + look.jump;
        let gain = variance / (variance + look.variance);
        mean += gain * (look.y - mean);
        variance *= 1.0 - gain;
        filtered.push((mean, variance));
    }
    // Backward from the drawn end level.
    let (mut next, mut step, mut jump) = (end_level, advance, 0.0);
    out.resize(looks.len() + 1, end_level);
    for (i, look) in looks.iter().enumerate().rev() {
        let (Some(&(m, v)), Some(slot)) = (filtered.get(i), out.get_mut(i)) else {
            continue;
        };
        let ahead = v + drifting.wander * step + jump;
        let gain = if ahead > 0.0 { v / ahead } else { 0.0 };
        let centre = m + gain * (next - (m + rate * step));
        let left = (v * (1.0 - gain)).max(0.0);
        *slot = centre + left.sqrt() * rng.normal();
        next = *slot;
        (step, jump) = (look.advance, look.jump);
    }
}

/// Posterior of a positive rate on a grid of its logarithm.
#[derive(Debug, Clone, PartialEq)]
pub struct RatePosterior {
    /// Logarithm of the rate, ascending.
    pub ln_rate: Vec<f64>,
    /// Weights that sum to 1.
    pub weight: Vec<f64>,
    /// `ln ∫ p(looks | rate) p(rate) d ln rate`.
    pub ln_evidence: f64,
}

/// Grid points of the posterior of the rate.
const GRID: usize = 33;

/// Combines a summary with a log-normal prior of the rate.
pub fn rate_posterior(summary: &DriftSummary, ln_mean: f64, ln_sd: f64) -> RatePosterior {
    let log_density = |u: f64| {
        let z = (u - ln_mean) / ln_sd;
        summary.log_likelihood(u.exp())
            - 0.5 * z * z
            - (ln_sd * (2.0 * std::f64::consts::PI).sqrt()).ln()
    };
    let (mode, sd) = mode_of(summary, ln_mean, ln_sd);
    let low = mode - 5.5 * sd;
    let step = 11.0 * sd / (GRID - 1) as f64;
    let ln_rate: Vec<f64> = (0..GRID).map(|i| low + step * i as f64).collect();
    let logs: Vec<f64> = ln_rate.iter().map(|&u| log_density(u)).collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weight: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let total: f64 = weight.iter().sum();
    weight.iter_mut().for_each(|w| *w /= total);
    RatePosterior {
        ln_rate,
        weight,
        ln_evidence: top + (total * step).ln(),
    }
}

/// The likelihood of the rate on a grid of its logarithm, for priors of any mean.
#[derive(Debug, Clone, PartialEq)]
pub struct RateLikelihood {
    low: f64,
    step: f64,
    /// Likelihood over its highest value, and the logarithm of that.
    relative: Vec<f64>,
    top: f64,
}

/// Points of the grid of [`rate_likelihood`].
const FINE_GRID: usize = 97;

/// Tabulates a summary's likelihood over log rates that a prior with about
/// that mean and spread reaches.
pub fn rate_likelihood(summary: &DriftSummary, ln_mean: f64, ln_sd: f64) -> RateLikelihood {
    let low = ln_mean - 4.5 * ln_sd;
    let step = 9.0 * ln_sd / (FINE_GRID - 1) as f64;
    let logs: Vec<f64> = (0..FINE_GRID)
        .map(|i| summary.log_likelihood((low + step * i as f64).exp()))
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    RateLikelihood {
        low,
        step,
        relative: logs.iter().map(|l| (l - top).exp()).collect(),
        top,
    }
}

impl RateLikelihood {
    /// `ln ∫ p(looks | rate) p(rate) d ln rate` for a log-normal prior.
    pub fn ln_evidence(&self, ln_mean: f64, ln_sd: f64) -> f64 {
        // Neighbouring values of the normal density by recurrence: two
        // exponentials instead of one a point.
        let z = (self.low - ln_mean) / ln_sd;
        let h = self.step / ln_sd;
        let mut density = (-0.5 * z * z).exp();
        let mut ratio = (-z * h - 0.5 * h * h).exp();
        let shrink = (-h * h).exp();
        let mut sum = 0.0;
        for l in &self.relative {
            sum += l * density;
            density *= ratio;
            ratio *= shrink;
        }
        let scale = self.step / (ln_sd * (2.0 * std::f64::consts::PI).sqrt());
        self.top + (sum * scale).max(1e-300).ln()
    }
}

/// Mode and local spread of the log rate's posterior, by safeguarded Newton steps.
fn mode_of(s: &DriftSummary, ln_mean: f64, ln_sd: f64) -> (f64, f64) {
    let precision = 1.0 / (ln_sd * ln_sd);
    let slope = |u: f64| {
        let r = u.exp();
        s.linear * r - s.information * r * r - (u - ln_mean) * precision
    };
    // The slope falls through 0 inside this bracket: the prior dominates far out.
    let (mut low, mut high) = (ln_mean - 12.0 * ln_sd, ln_mean + 12.0 * ln_sd);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mode = 0.5 * (low + high);
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

    /// Probability that the log rate is above `u`.
    pub fn probability_above(&self, u: f64) -> f64 {
        let step = match self.ln_rate.as_slice() {
            [a, b, ..] => b - a,
            _ => return f64::NAN,
        };
        self.ln_rate
            .iter()
            .zip(&self.weight)
            .map(|(&g, &w)| w * ((g + 0.5 * step - u) / step).clamp(0.0, 1.0))
            .sum()
    }
}

#[cfg(test)]
mod tests;
