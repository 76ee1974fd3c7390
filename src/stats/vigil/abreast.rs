//! Beliefs about rates side by side, a lane for each.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use crate::stats::drift::abreast::{LANES, Lanes, Summaries, lanes};
use crate::stats::wide;

use super::{NEGLIGIBLE_LN, POINTS};

/// As [`super::Rates`], for several beliefs.
#[derive(Debug, Clone)]
pub struct RatesAbreast {
    /// Rate and `ln` of the share of belief in it, ascending in rate.
    rates: [(Lanes, Lanes); POINTS],
}

/// What the looks make of them: weights of the rates, which sum to 1.
#[derive(Debug, Clone)]
pub struct Weights([Lanes; POINTS]);

impl RatesAbreast {
    /// As [`super::Rates::log_normal`].
    #[inline(always)]
    pub fn log_normal(
        ln_mean: &Lanes,
        ln_sd: &Lanes,
        weak_share: f64,
        weak_factor: f64,
    ) -> RatesAbreast {
        let more = weak_factor.ln();
        let (mean, sd) = (*ln_mean, *ln_sd);
        let per_sd = lanes!(l => 1.0 / sd[l]);
        let low = lanes!(l => mean[l] - 4.0 * sd[l]);
        let step = lanes!(l => (8.0 * sd[l] + more) / (POINTS - 1) as f64);
        let mut rates = [([0.0; LANES], [0.0; LANES]); POINTS];
        let mut total = [0.0; LANES];
        for (i, (rate, share)) in rates.iter_mut().enumerate() {
            let u = lanes!(l => low[l] + step[l] * i as f64);
            let usual = lanes!(l => (u[l] - mean[l]) * per_sd[l]);
            let weak = lanes!(l => (u[l] - mean[l] - more) * per_sd[l]);
            let usual = lanes!(l => (1.0 - weak_share) * wide::exp(-0.5 * usual[l] * usual[l]));
            let weak = lanes!(l => weak_share * wide::exp(-0.5 * weak[l] * weak[l]));
            let (so_far, both) = (total, lanes!(l => usual[l] + weak[l]));
            *rate = lanes!(l => wide::exp(u[l]));
            *share = both;
            total = lanes!(l => so_far[l] + both[l]);
        }
        for (_, share) in &mut rates {
            let part = *share;
            *share = lanes!(l => wide::ln(part[l] / total[l] + 1e-300));
        }
        RatesAbreast { rates }
    }

    /// As [`super::Vigil::weigh`].
    #[inline(always)]
    pub fn weigh(&self, seen: &Summaries) -> Weights {
        let (linear, information) = (seen.linear, seen.information);
        let mut weights = [[0.0; LANES]; POINTS];
        let mut top = [f64::NEG_INFINITY; LANES];
        for (weight, (rate, share)) in weights.iter_mut().zip(&self.rates) {
            let (r, share, was) = (*rate, *share, top);
            let log = lanes!(l => share[l] + r[l] * (linear[l] - 0.5 * r[l] * information[l]));
            top = lanes!(l => if log[l] > was[l] { log[l] } else { was[l] });
            *weight = log;
        }
        let mut total = [0.0; LANES];
        for weight in &mut weights {
            let (log, so_far) = (*weight, total);
            let mut now = [0.0; LANES];
            for l in 0..LANES {
                let below = log[l] - top[l];
                let w = wide::exp(below);
                // What is this unlikely costs time and changes nothing.
                now[l] = if below > NEGLIGIBLE_LN { w } else { 0.0 };
                total[l] = so_far[l] + now[l];
            }
            *weight = now;
        }
        let part = lanes!(l => 1.0 / total[l]);
        for weight in &mut weights {
            let w = *weight;
            *weight = lanes!(l => w[l] * part[l]);
        }
        Weights(weights)
    }

    /// As [`super::Vigil::above`], for two exposures at once, `ahead` of the last
    /// look each.
    #[inline(always)]
    pub fn above(
        &self,
        weights: &Weights,
        seen: &Summaries,
        wander: &Lanes,
        limit: &Lanes,
        ahead: [&Lanes; 2],
    ) -> [Lanes; 2] {
        let (variance, wander) = (seen.level_variance, *wander);
        let (level_0, level_rate, limit) = (seen.level_0, seen.level_rate, *limit);
        let mut sums = [[0.0; LANES]; 2];
        let mut per_sd = [[0.0; LANES]; 2];
        for (per_sd, ahead) in per_sd.iter_mut().zip(ahead) {
            let further = lanes!(l => if ahead[l] > 0.0 { ahead[l] } else { 0.0 });
            let variance = lanes!(l => variance[l] + wander[l] * further[l]);
            let variance = lanes!(l => if variance[l] > 1e-12 { variance[l] } else { 1e-12 });
            *per_sd = lanes!(l => 1.0 / variance[l].sqrt());
        }
        for ((rate, _), weight) in self.rates.iter().zip(&weights.0) {
            if weight.iter().all(|w| *w == 0.0) {
                continue;
            }
            let (rate, weight) = (*rate, *weight);
            for ((sum, per_sd), ahead) in sums.iter_mut().zip(&per_sd).zip(ahead) {
                let (was, ahead, per_sd) = (*sum, *ahead, *per_sd);
                *sum = lanes!(l => {
                    let level = level_0[l] + rate[l] * (level_rate[l] + ahead[l]);
                    was[l] + weight[l] * wide::normal_cdf((level - limit[l]) * per_sd[l])
                });
            }
        }
        sums
    }

    /// As [`super::Rates::above`].
    #[inline(always)]
    pub fn faster(&self, weights: &Weights, than: &Lanes) -> Lanes {
        let (mut sum, than) = ([0.0; LANES], *than);
        for ((rate, _), weight) in self.rates.iter().zip(&weights.0) {
            let (was, rate, weight) = (sum, *rate, *weight);
            sum = lanes!(l => was[l] + if rate[l] > than[l] { weight[l] } else { 0.0 });
        }
        sum
    }

    /// One of the beliefs.
    pub fn lane(&self, lane: usize) -> super::Rates {
        let at = |of: &Lanes| of.get(lane).copied().unwrap_or(f64::NAN);
        let of_lane = self.rates.iter().map(|(rate, share)| super::Rate {
            rate: at(rate),
            share: at(share).exp(),
        });
        super::Rates(of_lane.collect())
    }
}

impl Weights {
    /// Those of one belief.
    pub fn lane(&self, lane: usize) -> Vec<f64> {
        let at = |of: &Lanes| of.get(lane).copied().unwrap_or(f64::NAN);
        self.0.iter().map(at).collect()
    }
}
