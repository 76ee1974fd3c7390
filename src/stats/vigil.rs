//! Watching a drifting level look by look: does it drift faster than it
//! should, or has it stepped up?
//!
//! The level is that of [`super::drift`]. Beside the pass over all rates, every
//! look opens a possible step of unknown size just before it; given rate and
//! size all stays Gaussian, and the log-likelihood is quadratic in both, so one
//! pass keeps what each rate and each step would say of all looks so far.
//!
//! Both questions are asked again at every look, so their answers are kept to
//! measures that stand repetition:
//! - fast: the ratio of the evidence for a short life to that for a healthy
//!   one. For healthy units it is a martingale of mean 1 and passes `1/α` at any
//!   time with probability `α` at most (Ville 1939; Robbins 1970, Ann. Math.
//!   Stat. 41:1397);
//! - step: the sum over all days of the likelihood ratio of a step on that day
//!   (Shiryaev 1963, Roberts 1966, Technometrics 8:411). For units without a
//!   step it grows by one a day on average, so that a limit of `A` days is
//!   passed no sooner than after `A` days on average (Pollak 1985, Ann. Stat.
//!   13:206).

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use super::drift::abreast::{LANES, Lanes, lanes};
use super::drift::{DriftSummary, Drifting, Look, News};
use super::wide;

pub mod abreast;

/// Points of the grid of rates.
const POINTS: usize = 41;

/// `ln` of a likelihood ratio below which a rate is not looked at.
const NEGLIGIBLE_LN: f64 = -16.0;
/// Evidence beyond this says no more, `ln` of days.
const MOST_LN_DAYS: f64 = 200.0;

/// Looks before a step without which it could as well be where the level began.
const LEAST_BEFORE: usize = 3;

/// Spread of the size of a step up, on the scale of the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepSize(pub f64);

/// A possible step just before one look, and what the looks since say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    /// Number of the look.
    look: usize,
    days: f64,
    /// What is left of a step of size 1 in what is expected of the next look.
    lever: f64,
    by_miss: f64,
    by_rate: f64,
    information: f64,
}

/// The sums over all looks so far.
#[derive(Debug, Clone, PartialEq)]
pub struct Vigil {
    wander: f64,
    looks: usize,
    summary: DriftSummary,
    exposure: f64,
    steps: Vec<Step>,
    most_steps: usize,
}

/// The most telling step so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepSeen {
    /// Number of the look before which it came, from 0.
    pub look: usize,
    /// Its size on the scale of the level.
    pub size: f64,
    pub size_sd: f64,
    /// Its share in the whole evidence for a step.
    pub share: f64,
}

impl Vigil {
    /// Nothing seen yet. Steps are looked for among the newest `most_steps` looks.
    pub fn new(start: &Drifting, most_steps: usize) -> Vigil {
        Vigil {
            wander: start.wander,
            looks: 0,
            summary: DriftSummary::start(start),
            exposure: 0.0,
            steps: Vec::new(),
            most_steps,
        }
    }

    /// Takes in one more look, `days` after the one before.
    pub fn look(&mut self, look: &Look, days: f64) {
        if self.looks >= LEAST_BEFORE && self.most_steps > 0 {
            if self.steps.len() >= self.most_steps {
                self.forget_a_step();
            }
            self.steps.push(Step {
                look: self.looks,
                days,
                lever: 1.0,
                by_miss: 0.0,
                by_rate: 0.0,
                information: 0.0,
            });
        }
        self.looks += 1;
        self.exposure += look.advance;
        let News {
            miss,
            lever,
            spread,
            gain,
        } = self.summary.look(look, self.wander);
        for step in &mut self.steps {
            step.by_miss += step.lever * miss / spread;
            step.by_rate += step.lever * lever / spread;
            step.information += step.lever * step.lever / spread;
            step.lever *= 1.0 - gain;
        }
    }

    /// Forgets the oldest step, but not one that the looks speak for.
    fn forget_a_step(&mut self) {
        let telling = |s: &Step| s.by_miss * s.by_miss.abs() / (s.information + 1.0);
        let oldest = match self.steps.as_slice() {
            [first, second, ..] if telling(first) > telling(second) => 1,
            _ => 0,
        };
        if oldest < self.steps.len() {
            self.steps.remove(oldest);
        }
    }

    pub fn looks(&self) -> usize {
        self.looks
    }

    /// Makes this what `other` is, in the memory that it has.
    pub fn become_like(&mut self, other: &Vigil) {
        let mut steps = std::mem::take(&mut self.steps);
        steps.clone_from(&other.steps);
        *self = Vigil {
            steps,
            wander: other.wander,
            looks: other.looks,
            summary: other.summary,
            exposure: other.exposure,
            most_steps: other.most_steps,
        };
    }

    /// The evidence for a step, in days (see the module), and the most telling one.
    pub fn steps(&self, rates: &Rates, weights: &[f64], size: StepSize) -> (f64, Option<StepSeen>) {
        let mut believable = Vec::with_capacity(POINTS);
        believable.extend(believed(rates, weights).map(|(r, w)| (r.rate, w)));
        let found = wide::widest(StepsSought {
            steps: &self.steps,
            rates: &believable,
            size,
        });
        let top = found.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
        if top == f64::NEG_INFINITY {
            return (0.0, None);
        }
        let total: f64 = found.iter().map(|f| (f.0 - top).exp()).sum();
        let best = found.iter().find(|f| f.0 == top).map(|f| StepSeen {
            share: 1.0 / total,
            ..f.1
        });
        ((top + total.ln()).min(MOST_LN_DAYS).exp(), best)
    }
}

/// The evidence for each step, over the rates that are believed.
struct StepsSought<'a> {
    steps: &'a [Step],
    /// Ascending, with their weights.
    rates: &'a [(f64, f64)],
    size: StepSize,
}

impl wide::Loops for StepsSought<'_> {
    /// `ln` of the evidence in days.
    type Output = Vec<(f64, StepSeen)>;

    #[inline(always)]
    fn run(self) -> Vec<(f64, StepSeen)> {
        let mut found = Vec::with_capacity(self.steps.len());
        let (Some((slowest, _)), Some((fastest, _))) = (self.rates.first(), self.rates.last())
        else {
            return found;
        };
        let variance = self.size.0 * self.size.0;
        // Several steps side by side.
        for steps in self.steps.chunks(LANES) {
            let of = |number: fn(&Step) -> f64| -> Lanes {
                std::array::from_fn(|l| steps.get(l).map_or(0.0, number))
            };
            let (by_miss, by_rate) = (of(|s| s.by_miss), of(|s| s.by_rate));
            let (information, days) = (of(|s| s.information), of(|s| s.days));
            let per_spread = lanes!(l => 1.0 / (information[l] + 1.0 / variance).sqrt());
            // In logarithms, since one clear step is likelier by more than a number
            // holds. The highest is that of the slowest or of the fastest rate.
            let top = lanes!(l => {
                let slow = (by_miss[l] - slowest * by_rate[l]) * per_spread[l];
                let fast = (by_miss[l] - fastest * by_rate[l]) * per_spread[l];
                let high = if slow > fast { slow } else { fast };
                if high > 0.0 { 0.5 * high * high } else { 0.0 }
            });
            let below = lanes!(l => wide::exp(-top[l]));
            let (mut sum, mut pulls) = ([0.0; LANES], [0.0; LANES]);
            for &(rate, weight) in self.rates {
                // Half a normal distribution: steps up only.
                let (sum_before, pulls_before) = (sum, pulls);
                for l in 0..LANES {
                    let z = (by_miss[l] - rate * by_rate[l]) * per_spread[l];
                    let up = weight * wide::half_normal_over(z, top[l], below[l]);
                    sum[l] = sum_before[l] + up;
                    pulls[l] = pulls_before[l] + up * z;
                }
            }
            let log = lanes!(l => {
                let shrink = 1.0 / (1.0 + variance * information[l]).sqrt();
                let evidence = 2.0 * shrink * sum[l] * days[l];
                let ln = wide::ln(if evidence > 1e-300 { evidence } else { 1e-300 });
                if evidence > 1e-300 { top[l] + ln } else { f64::NEG_INFINITY }
            });
            let size = lanes!(l => pulls[l] * per_spread[l] / sum[l]);
            found.extend(steps.iter().enumerate().map(|(l, step)| {
                let seen = StepSeen {
                    look: step.look,
                    size: size[l],
                    size_sd: per_spread[l],
                    share: 0.0,
                };
                (log[l], seen)
            }));
        }
        found
    }
}

/// The rates that those weights leave any belief in.
fn believed<'a>(rates: &'a Rates, weights: &'a [f64]) -> impl Iterator<Item = (&'a Rate, f64)> {
    let pairs = rates.0.iter().zip(weights.iter().copied());
    pairs.filter(|(_, w)| *w > 0.0)
}

/// A rate and the share of belief in it before any look.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Rate {
    rate: f64,
    share: f64,
}

/// What is believed of a unit's rate before any look.
#[derive(Debug, Clone, PartialEq)]
pub struct Rates(Vec<Rate>);

impl Rates {
    /// The rate in the middle of those weights.
    pub fn middle(&self, weights: &[f64]) -> f64 {
        let mut below = 0.0;
        for (r, w) in self.0.iter().zip(weights) {
            below += w;
            if below >= 0.5 {
                return r.rate;
            }
        }
        self.0.last().map_or(f64::NAN, |r| r.rate)
    }
}

#[cfg(test)]
mod tests;
