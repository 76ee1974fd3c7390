//! What the fleet's elements share under each law, and what its own past makes of the
//! laws themselves.

use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::element::{Design, Mark, Own, Posterior, Prior};
use super::law::{Law, NOTHING_BEFORE, PACE, START, TOP};
use super::observations::{ElementObservations, USUAL_C};
use crate::stats::dense::{Factor, dot};
use crate::stats::special::{normal_cdf, normal_quantile};

/// Elements that are weak from the first day: how many there are and how much faster
/// they wear before a fleet tells (judgement), and how far they differ from each other.
const WEAK_SHARE: f64 = 0.06;
const WEAK_SHARE_WORTH: f64 = 20.0;
const WEAK_LN_FASTER: f64 = 1.25;
const WEAK_SD: f64 = 0.5;
const WEAK_WORTH: f64 = 5.0;
/// Spread of `ln` pace between districts beyond what hardness tells, and the share of
/// the elements' variance that is their van's, worth so many pairs (judgement).
pub const DISTRICT_SD: f64 = 0.15;
const VAN_SHARE: f64 = 0.25;
const VAN_SHARE_WORTH: f64 = 8.0;
/// Wear that even the softest water brings, as a share of that at 200 mg/L (judgement).
pub const FLOOR: f64 = 0.15;

/// A number that is believed before, and how firmly.
#[derive(Debug, Clone, Copy)]
pub struct Belief {
    pub mean: f64,
    pub sd: f64,
}

/// New elements pass 1-4 %, and four fleets in five see theirs at 10 % after
/// 40,000-120,000 L in hard water (common practice, no source): as a standard deviation
/// of `ln` 0.43. The rest is judgement.
const NEW: Belief = Belief {
    mean: -3.69,
    sd: 0.35,
};
const PACE_BEFORE: Belief = Belief {
    mean: -4.6,
    sd: 0.43,
};
const PACE_LEVELLING: Belief = Belief {
    mean: -4.1,
    sd: 0.6,
};
const TOP_BEFORE: Belief = Belief {
    mean: -2.2,
    sd: 0.4,
};
pub const POWER: Belief = Belief { mean: 0.7, sd: 0.3 };
pub const LATE: Belief = Belief { mean: 0.3, sd: 0.3 };
/// Beyond the one already applied, through recovery included.
pub const THETA: Belief = Belief {
    mean: 0.0,
    sd: 0.01,
};
/// At recovery held, per °C, in all (derived: salt transport has a little the higher
/// activation energy).
const THETA_HELD: Belief = Belief {
    mean: 0.007,
    sd: 0.007,
};
/// Spreads between elements, worth so many of them.
const SPREADS: [f64; 3] = [0.25, 0.3, 0.35];
const SPREAD_WORTH: f64 = 6.0;
/// Variance of the wander per unit of exposure, and the factor on the cells' own
/// variance, worth so many independent looks.
pub const WANDER: f64 = 3e-4;
const WANDER_WORTH: f64 = 6.0;
const NOISE_WORTH: f64 = 30.0;
/// Jumps per unit of exposure, worth so many of them, and their size, worth so many:
/// seals that give and meters that jump, the one as common as the other (judgement).
const JUMP_RATE: f64 = 6e-4;
const JUMP_RATE_WORTH: f64 = 1.0;
const JUMP_SIZE: f64 = 0.45;
const JUMP_SIZE_WORTH: f64 = 4.0;
const METER_JUMP_RATE: f64 = 3e-4;
/// Spread of the `ln` size of jumps.
pub const JUMP_SPREAD: f64 = 0.5;
/// An element of unknown age has used up so much of a usual life.
const BEFORE_LIFE: f64 = 0.35;
const BEFORE_SD: f64 = 0.8;

/// What elements share under a law.
#[derive(Debug, Clone)]
pub struct Numbers {
    pub law: Law,
    /// Of [`START`], [`PACE`] in water of 200 mg/L, [`TOP`]: mean over elements, variance
    /// between them, and how surely the mean is known.
    pub mean: [f64; 3],
    pub variance: [f64; 3],
    pub mean_variance: [f64; 3],
    pub weak_share: f64,
    pub weak_ln_faster: f64,
    /// Power of hardness in the exposure, and extra exposure behind late pre-filters.
    pub power: f64,
    pub power_sd: f64,
    pub late: f64,
    pub late_sd: f64,
    /// Temperature coefficient beyond the one already applied, per °C.
    pub theta: f64,
    pub theta_sd: f64,
    pub process_variance: f64,
    pub noise: f64,
    /// Jumps per unit of exposure, and their size in the middle, `ln`.
    pub jump_rate: f64,
    pub jump_size: f64,
    /// What each district adds to the pace, and how unsure that is.
    districts: BTreeMap<Arc<str>, (f64, f64)>,
    pub van_share: f64,
}

/// What the van's other elements make of the next one's pace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VanEffect {
    /// Added to its mean.
    pub shift: f64,
    /// Its variance over that without kin.
    pub variance: f64,
}

impl VanEffect {
    pub const NONE: VanEffect = VanEffect {
        shift: 0.0,
        variance: 1.0,
    };
}

impl Numbers {
    pub fn before(law: Law) -> Numbers {
        let pace = pace_before(law);
        Numbers {
            law,
            mean: [NEW.mean, pace.mean, TOP_BEFORE.mean],
            variance: [
                SPREADS[START].powi(2),
                SPREADS[PACE].powi(2),
                if law.levels_off() {
                    SPREADS[TOP].powi(2)
                } else {
                    0.0
                },
            ],
            mean_variance: [NEW.sd.powi(2), pace.sd.powi(2), TOP_BEFORE.sd.powi(2)],
            weak_share: WEAK_SHARE,
            weak_ln_faster: WEAK_LN_FASTER,
            power: POWER.mean,
            power_sd: POWER.sd,
            late: LATE.mean,
            late_sd: LATE.sd,
            theta: THETA.mean,
            theta_sd: THETA.sd,
            process_variance: WANDER,
            noise: 1.0,
            jump_rate: JUMP_RATE,
            jump_size: JUMP_SIZE,
            districts: BTreeMap::new(),
            van_share: VAN_SHARE,
        }
    }

    /// Exposure of one litre of water of that hardness, in 1000 L at 200 mg/L.
    pub fn exposure_per_litre(&self, hardness_mg_l_caco3: f64) -> f64 {
        let scaling = (hardness_mg_l_caco3.max(1.0) / 200.0).powf(self.power);
        (FLOOR + scaling) / (FLOOR + 1.0) / 1000.0
    }

    /// What `theta` is where recovery stays as usual, beyond that already applied, given
    /// what warm water does through recovery: mean and standard deviation, per °C.
    pub fn theta_at_recovery(&self, through: (f64, f64)) -> (f64, f64) {
        let applied = crate::water::THETA_MEAN_PER_C;
        let seen = applied + self.theta - through.0;
        let (a, b) = (
            (self.theta_sd.powi(2) + through.1.powi(2)).recip(),
            THETA_HELD.sd.powi(-2),
        );
        let mean = (a * seen + b * THETA_HELD.mean) / (a + b);
        (mean - applied, (a + b).sqrt().recip())
    }

    /// Lays an element's cells out.
    pub fn design_of(&self, observations: &ElementObservations) -> Design {
        let per_litre: Vec<f64> = observations
            .levels()
            .iter()
            .map(|&h| self.exposure_per_litre(h))
            .collect();
        let exposure = |litres: &[f64], late: f64| {
            let all: f64 = litres.iter().sum();
            let share = if all > 0.0 {
                (late / all).clamp(0.0, 1.0)
            } else {
                0.0
            };
            dot(litres, &per_litre) / observations.membranes() * self.wears(share)
        };
        let held = self.theta_at_recovery(observations.through_recovery).0;
        let middle = 25.0 - USUAL_C;
        let mut before = 0.0;
        let marks: Vec<Mark> = observations
            .cells()
            .iter()
            .map(|cell| {
                let exposure = exposure(&cell.litres, cell.late).max(before);
                before = exposure;
                let lever = cell.lever - middle;
                Mark {
                    exposure,
                    y: cell.ln_passage + self.theta * lever + held * middle,
                    lever,
                    variance: cell.variance * self.noise,
                    days: cell.days,
                    regime: cell.regime,
                    jump: cell.jump,
                }
            })
            .collect();
        let (end, late) = observations.at_end();
        Design::of(
            &marks,
            exposure(end, late).max(before),
            self.process_variance,
        )
    }

    /// How much more a litre wears where such a share of them is made behind late
    /// pre-filters.
    pub fn wears(&self, late_share: f64) -> f64 {
        1.0 + self.late * late_share
    }

    /// Mean and spread of what a district adds to the pace.
    pub fn district(&self, name: Option<&Arc<str>>) -> (f64, f64) {
        let known = name.and_then(|n| self.districts.get(n));
        known.copied().unwrap_or((0.0, DISTRICT_SD))
    }

    /// What is believed of an element before its readings; `ahead`: how surely the
    /// shared numbers themselves are known counts too.
    pub fn prior(
        &self,
        known: &Belonging<'_>,
        van_effect: VanEffect,
        weak: bool,
        ahead: bool,
    ) -> Prior {
        let (addition, unsure) = self.district(known.district);
        let more = |k: usize| if ahead { self.mean_variance[k] } else { 0.0 };
        let mut pace = self.mean[PACE] + addition + van_effect.shift;
        let mut pace_variance =
            self.variance[PACE] * van_effect.variance + unsure * unsure + more(PACE);
        if weak {
            pace += self.weak_ln_faster;
            pace_variance += WEAK_SD * WEAK_SD;
        }
        let levels_off = self.law.levels_off();
        let (before, before_variance) = if known.start_known {
            (NOTHING_BEFORE, 0.0)
        } else {
            (BEFORE_LIFE.ln() - self.mean[PACE], BEFORE_SD * BEFORE_SD)
        };
        Prior {
            mean: [self.mean[START], pace, self.mean[TOP], before],
            variance: [
                self.variance[START] + more(START),
                pace_variance,
                if levels_off {
                    self.variance[TOP] + more(TOP)
                } else {
                    0.0
                },
                before_variance,
            ],
        }
    }

    /// An element as a usual one and as a weak one, and how likely it is weak; the path
    /// jumps where the first `n` cells tell.
    pub fn both(
        &self,
        known: &Belonging<'_>,
        van_effect: VanEffect,
        design: &mut Design,
        n: usize,
        ahead: bool,
    ) -> Both {
        loop {
            let of = |weak: bool| {
                let prior = self.prior(known, van_effect, weak, ahead);
                let posterior = Posterior::of(self.law, &prior, design, n);
                (prior, posterior)
            };
            let (usual, weak) = (of(false), of(true));
            let surer = weak.1.ln_evidence - usual.1.ln_evidence;
            let odds = surer.clamp(-30.0, 30.0).exp() * self.weak_share / (1.0 - self.weak_share);
            let both = Both {
                usual,
                weak,
                p_weak: odds / (1.0 + odds),
            };
            if !design.jump_where_likely(&both.likelier().1, n, self.jump_rate) {
                return both;
            }
        }
    }

    /// How likely a jump is the meters' and not the membrane's.
    pub fn p_meter_jumped(&self) -> f64 {
        (METER_JUMP_RATE / self.jump_rate).clamp(0.02, 0.6)
    }

    /// Jumps of the membrane itself per unit of exposure.
    pub fn jumps_ahead(&self) -> f64 {
        self.jump_rate * (1.0 - self.p_meter_jumped())
    }

    /// From the van's other elements.
    pub fn van_effect<'a>(
        &self,
        others: impl Iterator<Item = &'a ElementObservations>,
    ) -> VanEffect {
        let variance = self.variance[PACE];
        // So little in common is not worth looking for.
        const LEAST_SHARE: f64 = 0.05;
        let of_van = self.van_share * variance;
        if self.van_share < LEAST_SHARE {
            return VanEffect::NONE;
        }
        let (mut precision, mut sum) = (1.0 / of_van, 0.0);
        for other in others.filter(|o| o.is_usable_for_fit()) {
            let known = other.whose();
            let mut design = self.design_of(other);
            let n = design.len();
            let both = self.both(&known, VanEffect::NONE, &mut design, n, false);
            let (prior, posterior) = &both.usual;
            if let Some(own) = posterior.own_of(prior, PACE) {
                let weight = (1.0 - both.p_weak) / (variance - of_van + own.variance);
                precision += weight;
                sum += weight * own.shift;
            }
        }
        VanEffect {
            shift: sum / precision,
            variance: (variance - of_van + 1.0 / precision) / variance,
        }
    }
}

/// Whose element it is.
#[derive(Debug, Clone, Copy)]
pub struct Belonging<'a> {
    pub district: Option<&'a Arc<str>>,
    pub start_known: bool,
}

/// See [`Numbers::both`].
pub struct Both {
    pub usual: (Prior, Posterior),
    pub weak: (Prior, Posterior),
    pub p_weak: f64,
}

impl Both {
    fn likelier(&self) -> &(Prior, Posterior) {
        if self.p_weak > 0.5 {
            &self.weak
        } else {
            &self.usual
        }
    }

    /// `ln` of the density of the readings.
    pub fn ln_evidence(&self, weak_share: f64) -> f64 {
        // Of the usual one alone, over the share that it is of all.
        self.usual.1.ln_evidence + ((1.0 - weak_share) / (1.0 - self.p_weak).max(1e-12)).ln()
    }
}

fn pace_before(law: Law) -> Belief {
    if law.levels_off() {
        PACE_LEVELLING
    } else {
        PACE_BEFORE
    }
}

/// What one element tells of the shared numbers.
struct ElementScores {
    own: [Option<Own>; 3],
    p_weak: f64,
    weak_shift: f64,
    /// Design of the pace: `ln` hardness over 200 mg/L, share of late litres.
    ln_hardness: f64,
    late: f64,
    district: Option<Arc<str>>,
    van: usize,
    /// Sums for wander and noise (seen, expected), and for `theta` (slope, information).
    process_variance: [f64; 2],
    noise: [f64; 2],
    theta: [f64; 2],
    /// Sizes of jumps and how likely each is, and the exposure in which they could be told.
    jumps: Vec<(f64, f64)>,
    exposure: f64,
}

fn scores_of(numbers: &Numbers, van: usize, observations: &ElementObservations) -> ElementScores {
    let mut design = numbers.design_of(observations);
    let known = observations.whose();
    let n = design.len();
    let both = numbers.both(&known, VanEffect::NONE, &mut design, n, false);
    let mut own = [START, PACE, TOP].map(|k| both.usual.1.own_of(&both.usual.0, k));
    if !observations.start_known {
        own[START] = None;
    }
    let posterior = &both.likelier().1;
    let jumps = design.jumped(posterior, n, numbers.jump_rate);
    let solved = &posterior.solved;
    let at = |i: usize, j: usize| posterior.inverse.get(i * n + j).copied().unwrap_or(0.0);
    let (mut process_variance, mut noise, mut theta) = ([0.0; 2], [0.0; 2], [0.0; 2]);
    let (mut after, mut within) = (0.0, 0.0);
    for i in (0..n.min(solved.len())).rev() {
        let (Some(own), Some(x), Some(e)) =
            (posterior.own.get(i), solved.get(i), design.exposure.get(i))
        else {
            continue;
        };
        noise[0] += own * x * x;
        noise[1] += own * at(i, i);
        let before = i.checked_sub(1).and_then(|b| design.exposure.get(b));
        after += x;
        within += at(i, i) + 2.0 * (i + 1..n).map(|j| at(i, j)).sum::<f64>();
        if let Some(before) = before {
            let variance = numbers.process_variance * (e - before).max(0.0);
            process_variance[0] += variance * after * after;
            process_variance[1] += variance * within;
        }
        let lever = design.lever.get(i).copied().unwrap_or(0.0);
        theta[0] += lever * x;
        theta[1] += (0..n)
            .map(|j| lever * at(i, j) * design.lever.get(j).copied().unwrap_or(0.0))
            .sum::<f64>();
    }
    let (litres, late) = observations.at_end();
    let all: f64 = litres.iter().sum();
    let ln_hardness = if all > 0.0 {
        dot(litres, observations.ln_levels()) / all
    } else {
        0.0
    };
    let share = if all > 0.0 {
        (late / all).clamp(0.0, 1.0)
    } else {
        0.0
    };
    ElementScores {
        weak_shift: both
            .weak
            .1
            .own_of(&both.weak.0, PACE)
            .map_or(0.0, |o| o.shift),
        p_weak: both.p_weak,
        own,
        ln_hardness,
        late: share / numbers.wears(share),
        district: observations.district.clone(),
        van,
        process_variance,
        noise,
        theta,
        jumps,
        exposure: design.searched_for_jumps(),
    }
}

/// Huber's weight.
fn huber(z: f64) -> f64 {
    const KINK: f64 = 1.7;
    if z.abs() <= KINK { 1.0 } else { KINK / z.abs() }
}

impl Numbers {
    /// One step towards the most probable numbers.
    fn learn(&mut self, scores_of: &[ElementScores]) {
        self.learn_spread(scores_of, START, NEW);
        if self.law.levels_off() {
            self.learn_spread(scores_of, TOP, TOP_BEFORE);
        }
        self.learn_pace(scores_of);
        self.learn_districts(scores_of);
        self.learn_kin(scores_of);
        let sum = |of: fn(&ElementScores) -> &[f64; 2], i: usize| -> f64 {
            scores_of.iter().map(|t| of(t)[i]).sum()
        };
        let prior = WANDER / self.process_variance;
        self.process_variance *= (WANDER_WORTH * prior + sum(|t| &t.process_variance, 0))
            / (WANDER_WORTH + sum(|t| &t.process_variance, 1));
        self.process_variance = self.process_variance.clamp(1e-6, 1e-2);
        self.noise *= (NOISE_WORTH / self.noise + sum(|t| &t.noise, 0))
            / (NOISE_WORTH + sum(|t| &t.noise, 1));
        self.noise = self.noise.clamp(0.05, 20.0);
        let information = sum(|t| &t.theta, 1) + THETA.sd.powi(-2);
        let slope = sum(|t| &t.theta, 0) + (self.theta - THETA.mean) / THETA.sd.powi(2);
        self.theta -= slope / information;
        // Vans of one season err alike.
        self.theta_sd = (2.0 / information).sqrt().min(THETA.sd);
        let jumps: f64 = scores_of.iter().flat_map(|t| &t.jumps).map(|j| j.1).sum();
        let exposure: f64 = scores_of.iter().map(|t| t.exposure).sum();
        self.jump_rate = (JUMP_RATE_WORTH + jumps) / (JUMP_RATE_WORTH / JUMP_RATE + exposure);
        let sizes: f64 = scores_of
            .iter()
            .flat_map(|t| &t.jumps)
            .map(|(size, p)| p * size)
            .sum();
        self.jump_size = (JUMP_SIZE * JUMP_SIZE_WORTH + sizes) / (JUMP_SIZE_WORTH + jumps);
        if self.law.levels_off() {
            // A quick rise that ends is what such a law is about: no element is weak for it.
            return;
        }
        let weak: f64 = scores_of.iter().map(|t| t.p_weak).sum();
        self.weak_share =
            (WEAK_SHARE * WEAK_SHARE_WORTH + weak) / (WEAK_SHARE_WORTH + scores_of.len() as f64);
        let shift: f64 = scores_of.iter().map(|t| t.p_weak * t.weak_shift).sum();
        let moved = shift + (WEAK_LN_FASTER - self.weak_ln_faster) * WEAK_WORTH;
        self.weak_ln_faster = (self.weak_ln_faster + moved / (WEAK_WORTH + weak)).clamp(0.7, 2.5);
    }

    /// Mean and variance between elements of a parameter that nothing else moves.
    fn learn_spread(&mut self, scores_of: &[ElementScores], k: usize, before: Belief) {
        let variance = self.variance[k];
        let (mut weight, mut sum) = (
            before.sd.powi(-2),
            before.sd.powi(-2) * (before.mean - self.mean[k]),
        );
        let each = || {
            scores_of
                .iter()
                .filter_map(|t| Some((t.own[k]?, 1.0 - t.p_weak)))
        };
        for (own, usual) in each() {
            let all = variance + own.variance;
            let w = usual * huber(own.shift / all.sqrt()) / all;
            weight += w;
            sum += w * own.shift;
        }
        let moved = sum / weight;
        self.mean[k] += moved;
        self.mean_variance[k] = 1.0 / weight;
        self.variance[k] = spread(
            variance,
            SPREADS[k],
            each().map(|(own, usual)| (own.shift - moved, own, usual)),
        );
    }

    /// The pace goes with hardness and lateness.
    fn learn_pace(&mut self, scores_of: &[ElementScores]) {
        let variance = self.variance[PACE];
        let believed = pace_before(self.law);
        let beliefs = [
            (believed, self.mean[PACE]),
            (POWER, self.power),
            (LATE, self.late),
        ];
        let mut matrix = [0.0; 9];
        let mut right = [0.0; 3];
        for (i, (belief, now)) in beliefs.iter().enumerate() {
            matrix[i * 4] = belief.sd.powi(-2);
            right[i] = (belief.mean - now) * belief.sd.powi(-2);
        }
        let each: Vec<(Own, f64, [f64; 3])> = scores_of
            .iter()
            .filter_map(|t| {
                let own = t.own[PACE]?;
                Some((own, 1.0 - t.p_weak, [1.0, t.ln_hardness, t.late]))
            })
            .collect();
        for (own, usual, design) in &each {
            let all = variance + own.variance;
            let w = usual * huber(own.shift / all.sqrt()) / all;
            for i in 0..3 {
                right[i] += w * design[i] * own.shift;
                for j in 0..3 {
                    matrix[i * 3 + j] += w * design[i] * design[j];
                }
            }
        }
        let Some(factor) = Factor::of(&matrix, 3) else {
            return;
        };
        let mut moved = right;
        factor.solve(&mut moved);
        let inverse = factor.inverse();
        let own_sd = |i: usize| inverse.get(i * 4).copied().unwrap_or(0.0).max(0.0);
        self.mean[PACE] += moved[0];
        self.mean_variance[PACE] = own_sd(0);
        self.power = (self.power + moved[1]).clamp(0.0, 2.0);
        self.power_sd = own_sd(1).sqrt();
        self.late = (self.late + moved[2]).clamp(0.0, 3.0);
        self.late_sd = own_sd(2).sqrt();
        let rest = each
            .iter()
            .map(|(own, usual, design)| (own.shift - dot(design, &moved), *own, *usual));
        self.variance[PACE] = spread(variance, SPREADS[PACE], rest);
    }

    fn learn_districts(&mut self, scores_of: &[ElementScores]) {
        let variance = self.variance[PACE];
        let mut sums: BTreeMap<Arc<str>, (f64, f64)> = BTreeMap::new();
        for t in scores_of {
            let (Some(name), Some(own)) = (&t.district, t.own[PACE]) else {
                continue;
            };
            let added = self.district(Some(name)).0;
            let all = variance + own.variance;
            let w = (1.0 - t.p_weak) * huber(own.shift / all.sqrt()) / all;
            let entry = sums.entry(name.clone()).or_default();
            entry.0 += w;
            entry.1 += w * (own.shift + added);
        }
        self.districts = sums
            .into_iter()
            .map(|(name, (weight, sum))| {
                let precision = weight + DISTRICT_SD.powi(-2);
                (name, (sum / precision, precision.sqrt().recip()))
            })
            .collect();
    }

    /// How much of the variance of the pace elements of one van have in common.
    fn learn_kin(&mut self, scores_of: &[ElementScores]) {
        let variance = self.variance[PACE];
        let mut together = VAN_SHARE * variance * VAN_SHARE_WORTH;
        let mut weight = VAN_SHARE_WORTH;
        for of_van in scores_of.chunk_by(|a, b| a.van == b.van) {
            let own: Vec<(Own, f64)> = of_van
                .iter()
                .filter_map(|t| Some((t.own[PACE]?, 1.0 - t.p_weak)))
                .collect();
            for (i, (a, usual_a)) in own.iter().enumerate() {
                for (b, usual_b) in own.iter().skip(i + 1) {
                    // One van with many elements must not decide alone.
                    let worth = 2.0 / own.len() as f64 * usual_a * usual_b;
                    let w = worth * a.shown * b.shown;
                    let bound = 3.0 * variance;
                    together += w * (a.shift * b.shift).clamp(-bound, bound);
                    weight += w;
                }
            }
        }
        self.van_share = (together / weight / variance).clamp(0.0, 0.8);
    }
}

/// Variance between elements from what each is beyond the mean, no one of them counting
/// for more than three standard deviations.
fn spread(now: f64, before: f64, each: impl Iterator<Item = (f64, Own, f64)>) -> f64 {
    let (mut weight, mut sum) = (SPREAD_WORTH, SPREAD_WORTH * before * before);
    for (beyond, own, usual) in each {
        let w = usual * own.shown * own.shown;
        let square = (beyond * beyond).min(9.0 * (now + own.variance));
        weight += w;
        sum += w * (square - own.variance);
    }
    (sum / weight).clamp(0.05 * 0.05, 1.0)
}

/// The laws with what the fleet makes of them.
#[derive(Debug, Clone)]
pub struct Laws {
    /// Each with its weight, which sum to 1; those that weigh next to nothing are out.
    pub weighed: Vec<(Numbers, f64)>,
    /// Those of the law that weighs most.
    pub likeliest: Numbers,
    /// How much wider outcomes lay than was said, from the fleet's own past, drawn
    /// towards 1 while that is short.
    pub wider: f64,
}

/// Steps towards the most probable numbers.
const STEPS: usize = 8;
/// Elements whose pasts are worth believing that widths are right.
const WIDTH_WORTH: f64 = 25.0;
/// A law that weighs less counts for nothing.
const LEAST_WEIGHT: f64 = 0.04;
/// Elements of a fleet have water, crews and meters in common: what they say together of
/// the laws counts for so much of what as many strangers would (judgement).
const STRANGERS: f64 = 0.35;

/// Learns from elements of which each has the number of its van, in order of vans.
pub fn learn(elements: &[(usize, &ElementObservations)]) -> Laws {
    let each: Vec<(Numbers, f64, Past)> = Law::ALL
        .par_iter()
        .map(|&(law, believed)| {
            let mut numbers = Numbers::before(law);
            for _ in 0..if elements.is_empty() { 0 } else { STEPS } {
                let scores_of: Vec<ElementScores> = elements
                    .par_iter()
                    .map(|(van, observations)| scores_of(&numbers, *van, observations))
                    .collect();
                numbers.learn(&scores_of);
            }
            let past = past(&numbers, elements);
            (numbers, believed, past)
        })
        .collect();
    let logs: Vec<f64> = each
        .iter()
        .map(|(_, believed, past)| believed.ln() + STRANGERS * past.score)
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weights: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= total);
    let wider = wider(each.iter().map(|e| &e.2).zip(&weights));
    let mut weighed: Vec<(Numbers, f64)> = each
        .into_iter()
        .zip(&weights)
        .filter(|(_, w)| **w >= LEAST_WEIGHT)
        .map(|((numbers, ..), w)| (numbers, *w))
        .collect();
    let total: f64 = weighed.iter().map(|w| w.1).sum();
    weighed.iter_mut().for_each(|w| w.1 /= total);
    let most = weighed.iter().reduce(|a, b| if b.1 > a.1 { b } else { a });
    let likeliest = most.map_or_else(|| Numbers::before(Law::Exponential), |m| m.0.clone());
    Laws {
        weighed,
        likeliest,
        wider,
    }
}

/// How a law would have done in the fleet's past with the future left out.
struct Past {
    /// Sum over elements of the mean `ln` density of what came later.
    score: f64,
    /// Of each element, for the last outcome after each cut, the probability that was
    /// given to less than it; empty where too little is on record.
    below: Vec<Vec<f64>>,
}

fn past(numbers: &Numbers, elements: &[(usize, &ElementObservations)]) -> Past {
    let each: Vec<(f64, Vec<f64>)> = elements
        .par_iter()
        .map(|(_, observations)| past_of(numbers, observations).unwrap_or_default())
        .collect();
    Past {
        score: each.iter().map(|e| e.0).sum(),
        below: each.into_iter().map(|e| e.1).collect(),
    }
}

/// How much wider last outcomes lay than all laws together said, drawn towards 1 while
/// few elements have any.
fn wider<'a>(laws: impl Iterator<Item = (&'a Past, &'a f64)> + Clone) -> f64 {
    let elements = laws.clone().next().map_or(0, |(past, _)| past.below.len());
    let (mut squares, mut outcomes) = (WIDTH_WORTH, WIDTH_WORTH);
    for e in 0..elements {
        let of = |past: &'a Past| past.below.get(e).map_or(&[][..], Vec::as_slice);
        let cuts = laws
            .clone()
            .map(|(past, _)| of(past).len())
            .min()
            .unwrap_or(0);
        if cuts == 0 {
            continue;
        }
        let square = |cut: usize| {
            let under = |(past, weight): (&'a Past, &f64)| {
                weight * of(past).get(cut).copied().unwrap_or(0.5)
            };
            let below: f64 = laws.clone().map(under).sum();
            normal_quantile(below.clamp(1e-6, 1.0 - 1e-6))
                .powi(2)
                .min(9.0)
        };
        squares += (0..cuts).map(square).sum::<f64>() / cuts as f64;
        outcomes += 1.0;
    }
    (squares / outcomes).sqrt().clamp(0.75, 2.0)
}

/// Mean `ln` density of what came after cuts of an element's past, and the probability
/// given to less than the last of it.
fn past_of(numbers: &Numbers, observations: &ElementObservations) -> Option<(f64, Vec<f64>)> {
    let bare = numbers.design_of(observations);
    let n = bare.len();
    let known = observations.whose();
    let (mut score, mut count) = (0.0, 0.0);
    let mut below = Vec::new();
    let mut before = 0;
    for share in [0.3, 0.5, 0.7] {
        let cut = ((share * n as f64).round() as usize).max(2);
        if cut == before || cut >= n {
            continue;
        }
        before = cut;
        let mut design = bare.clone();
        let both = numbers.both(&known, VanEffect::NONE, &mut design, cut, false);
        let scores_of = |target: usize| {
            let y = design.y.get(target)?;
            let ahead = design.exposure.get(target)? - design.exposure.get(cut - 1)?;
            let p_jump = 1.0 - (-numbers.jump_rate * ahead.max(0.0)).exp();
            let (mut density, mut below) = (0.0, 0.0);
            for ((prior, posterior), share) in
                [(&both.usual, 1.0 - both.p_weak), (&both.weak, both.p_weak)]
            {
                let (mean, variance) = posterior.expects(numbers.law, prior, &design, target)?;
                let size = numbers.jump_size;
                let jumping = variance + (JUMP_SPREAD * size).powi(2);
                for (away, variance, share) in [
                    (0.0, variance, share * (1.0 - p_jump)),
                    (size, jumping, share * p_jump),
                ] {
                    let z = (y - mean - away) / variance.sqrt();
                    density += share * student(z).exp() / variance.sqrt();
                    below += share * normal_cdf(z);
                }
            }
            Some((f64::max(density, 1e-12).ln(), below))
        };
        for target in [(cut + n) / 2, n - 1] {
            score += scores_of(target)?.0;
            count += 1.0;
        }
        below.push(scores_of(n - 1)?.1);
    }
    (count > 0.0).then(|| (score / count, below))
}

/// `ln` density of Student's t but for a constant, so that one outcome decides nothing
/// alone.
fn student(z: f64) -> f64 {
    const DEGREES: f64 = 5.0;
    -0.5 * (DEGREES + 1.0) * (z * z / DEGREES).ln_1p()
}
