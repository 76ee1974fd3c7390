//! One element under one law: what its readings make of the law's parameters.
//!
//! `ln s = law(exposure; parameters) + wander + meter + noise`, all but the law normal:
//! wander is a Wiener process along the exposure (deviations of a thing that ages pile
//! up; Ye & Chen 2014), the meter is off by a factor that stays and drifts between two
//! works on a probe, noise is each cell's own. The law is made linear about the most
//! probable parameters, so that one small covariance tells everything (Lindstrom &
//! Bates 1990 for mixed models that are not linear).

use super::law::{Law, PARAMETERS, Parameters};
use crate::stats::dense::{Factor, dot};
use crate::stats::special::normal_cdf;

/// Two probes, each good to some 2.5 % when set, drifting by some 2 % a year, and set two
/// years or more before an element is fitted (common practice, no source).
pub const METER_SD: f64 = 0.07;
const METER_DRIFT_SD_PER_YEAR: f64 = 0.028;
/// Degrees of freedom of a cell's own noise.
const NU: f64 = 4.0;

/// An element's cells laid out for a law.
#[derive(Debug, Clone, Default)]
pub struct Design {
    /// Exposure up to each, and from the last one to the end of the record.
    pub exposure: Vec<f64>,
    pub end: f64,
    /// `ln` salt passage at 25 °C.
    pub y: Vec<f64>,
    /// Degrees by which another temperature coefficient moves each, about the middle
    /// of the year.
    pub lever: Vec<f64>,
    /// Each cell's own variance.
    pub own: Vec<f64>,
    /// Covariance of wander and meters, row by row, and of the wander at the end with
    /// each cell; its variance there.
    pub shared: Vec<f64>,
    pub process_variance: Vec<f64>,
    pub wander_end: f64,
    /// The same variances without jumps, and the cells before which it may have jumped.
    steady: Vec<f64>,
    steady_end: f64,
    pub jumps: Vec<usize>,
}

/// Variance of a jump of the path: a seal doubles salt passage more often than not
/// (judgement).
const JUMP_VARIANCE: f64 = 0.25;
/// Cells among which a jump can be told.
const FEWEST_FOR_JUMP: usize = 5;
/// Smaller jumps are told from wander only where readings are many, ln.
const COUNTS: f64 = 0.3;

/// One cell as it is laid out.
#[derive(Debug, Clone, Copy)]
pub struct Mark {
    pub exposure: f64,
    pub y: f64,
    pub lever: f64,
    pub variance: f64,
    pub days: f64,
    pub regime: u32,
    pub jump: f64,
}

/// A jump that is tried.
struct Tried {
    before: usize,
    ln_odds: f64,
    /// What it would be, ln, and how unsure that is.
    size: f64,
    sd: f64,
}

impl Design {
    /// `wander`: variance per unit of exposure.
    pub fn of(marks: &[Mark], end: f64, process_variance: f64) -> Design {
        let n = marks.len();
        let (mut path, mut steady) = (Vec::with_capacity(n), Vec::with_capacity(n));
        let (mut total, mut jumped, mut before) = (0.0, 0.0, 0.0);
        for mark in marks {
            total += process_variance * (mark.exposure - before).max(0.0);
            jumped += mark.jump;
            before = mark.exposure;
            steady.push(total);
            path.push(total + jumped);
        }
        let first_day = |regime: u32| {
            let first = marks.iter().find(|m| m.regime == regime);
            first.map_or(0.0, |m| m.days)
        };
        let years: Vec<f64> = marks
            .iter()
            .map(|m| (m.days - first_day(m.regime)) / 365.25)
            .collect();
        let mut shared = vec![0.0; n * n];
        for (i, row) in shared.chunks_mut(n.max(1)).enumerate() {
            let Some((a, year_a, path_a)) = at3(marks, &years, &path, i) else {
                continue;
            };
            for (j, value) in row.iter_mut().enumerate() {
                let Some((b, year_b, path_b)) = at3(marks, &years, &path, j) else {
                    continue;
                };
                *value = path_a.min(path_b);
                if a.regime == b.regime {
                    let drift = METER_DRIFT_SD_PER_YEAR * METER_DRIFT_SD_PER_YEAR;
                    *value += METER_SD * METER_SD + drift * year_a * year_b;
                }
            }
        }
        Design {
            exposure: marks.iter().map(|m| m.exposure).collect(),
            end,
            y: marks.iter().map(|m| m.y).collect(),
            lever: marks.iter().map(|m| m.lever).collect(),
            own: marks.iter().map(|m| m.variance).collect(),
            shared,
            wander_end: total + jumped + process_variance * (end - before).max(0.0),
            process_variance: path,
            steady_end: total + process_variance * (end - before).max(0.0),
            steady,
            jumps: (0..n)
                .filter(|&i| marks.get(i).is_some_and(|m| m.jump > 0.0))
                .collect(),
        }
    }

    /// Exposure in which [`Design::jump_where_likely`] can find a jump.
    pub fn searched_for_jumps(&self) -> f64 {
        let n = self.len();
        match (self.exposure.get(1), self.exposure.get(n.saturating_sub(2))) {
            (Some(first), Some(last)) if n >= FEWEST_FOR_JUMP => last - first,
            _ => 0.0,
        }
    }

    /// Lets the path jump before a cell.
    fn let_jump(&mut self, at: usize) {
        let n = self.len();
        for i in at..n {
            for j in at..n {
                if let Some(value) = self.shared.get_mut(i * n + j) {
                    *value += JUMP_VARIANCE;
                }
            }
        }
        self.process_variance
            .iter_mut()
            .skip(at)
            .for_each(|w| *w += JUMP_VARIANCE);
        self.wander_end += JUMP_VARIANCE;
        self.jumps.push(at);
    }

    /// Lets the path jump up where that explains the first `n` cells far better, given
    /// the rate of jumps per exposure; whether it did.
    pub fn jump_where_likely(&mut self, posterior: &Posterior, n: usize, rate: f64) -> bool {
        const MOST: usize = 4;
        const ODDS: f64 = 3.0;
        if self.jumps.len() >= MOST {
            return false;
        }
        let tried = self.jumps_tried(posterior, n, rate);
        let best = tried.iter().max_by(|a, b| a.ln_odds.total_cmp(&b.ln_odds));
        let Some(best) = best.filter(|b| b.ln_odds > ODDS.ln()) else {
            return false;
        };
        self.let_jump(best.before);
        true
    }

    /// Jumps up before each of the first `n` cells that has none yet.
    fn jumps_tried(&self, posterior: &Posterior, n: usize, rate: f64) -> Vec<Tried> {
        if n < FEWEST_FOR_JUMP {
            return Vec::new();
        }
        let sums = posterior.after_each(n);
        // One cell behind it is no proof, nor is one before it.
        let places = (2..n - 1).filter(|at| !self.jumps.contains(at));
        let tried = places.filter_map(|before| {
            let (miss, information) = *sums.get(before)?;
            let (to, from) = (self.exposure.get(before)?, self.exposure.get(before - 1)?);
            let more = 1.0 + JUMP_VARIANCE * information;
            let ln_factor = 0.5 * miss * miss * JUMP_VARIANCE / more - 0.5 * more.ln();
            (miss > 0.0).then(|| Tried {
                before,
                ln_odds: ln_factor + (2.0 * rate * (to - from).max(1.0)).ln(),
                size: JUMP_VARIANCE * miss / more,
                sd: (JUMP_VARIANCE / more).sqrt(),
            })
        });
        tried.collect()
    }

    /// How far it jumped, and how likely it did: at each place where it may have, and at
    /// those where the readings leave it open, as far as it would count there.
    pub fn jumped(&self, posterior: &Posterior, n: usize, rate: f64) -> Vec<(f64, f64)> {
        let sums = posterior.after_each(n);
        // How likely it is that it counts, and how large it is if so: the mean of what is
        // left of a normal distribution above that.
        let counts = |size: f64, sd: f64| normal_cdf((size - COUNTS) / sd.max(0.02));
        let large = |size: f64, sd: f64| {
            let sd = sd.max(0.02);
            let z = (size - COUNTS) / sd;
            let density = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            (size + sd * density / counts(size, sd).max(1e-3)).clamp(COUNTS, 1.5)
        };
        let at = |i: &usize| {
            let (miss, information) = *sums.get(*i)?;
            let size = JUMP_VARIANCE * miss;
            let variance = JUMP_VARIANCE * (1.0 - JUMP_VARIANCE * information);
            let sd = variance.max(0.0).sqrt();
            Some((large(size, sd), counts(size, sd)))
        };
        let tried = self.jumps_tried(posterior, n, rate);
        // Odds of jumps that count, instead of jumps of any size.
        let of_all = 2.0 * normal_cdf(-COUNTS / JUMP_VARIANCE.sqrt());
        let odds = |t: &Tried| t.ln_odds.exp() * counts(t.size, t.sd) / of_all;
        let all: f64 = tried.iter().map(odds).sum();
        let open = tried
            .iter()
            .map(|t| (large(t.size, t.sd), odds(t) / (1.0 + all)));
        self.jumps.iter().filter_map(at).chain(open).collect()
    }

    pub fn len(&self) -> usize {
        self.y.len()
    }

    /// What the path is likely to have wandered, given what the law leaves over at each
    /// cell; `jumps`: those included, or taken for the meters'.
    pub fn smoother(&self, own: &[f64], jumps: bool) -> Smoother {
        let (path, end) = if jumps {
            (&self.process_variance, self.wander_end)
        } else {
            (&self.steady, self.steady_end)
        };
        let n = self.len();
        let unread = Smoother {
            end: Vec::new(),
            end_sd: end.max(0.0).sqrt(),
            cells: Vec::new(),
        };
        if n == 0 {
            return unread;
        }
        let Some(factor) = Factor::of(&self.covariance(own, n), n) else {
            return unread;
        };
        let mut weights = path.clone();
        factor.solve(&mut weights);
        let variance = end - dot(&weights, path);
        let cells = path
            .iter()
            .map(|here| {
                let mut weights: Vec<f64> = path.iter().map(|w| w.min(*here)).collect();
                factor.solve(&mut weights);
                weights
            })
            .collect();
        Smoother {
            end: weights,
            end_sd: variance.max(0.0).sqrt(),
            cells,
        }
    }

    fn shared(&self, i: usize, j: usize) -> f64 {
        self.shared.get(i * self.len() + j).copied().unwrap_or(0.0)
    }

    /// The first few cells alone.
    fn covariance(&self, own: &[f64], n: usize) -> Vec<f64> {
        let mut all = vec![0.0; n * n];
        for (i, row) in all.chunks_mut(n.max(1)).enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                *value = self.shared(i, j);
            }
            if let (Some(value), Some(own)) = (row.get_mut(i), own.get(i)) {
                *value += own;
            }
        }
        all
    }
}

/// See [`Design::smoother`].
#[derive(Debug, Clone)]
pub struct Smoother {
    /// Weights of what is left over, for the end and for each cell.
    pub end: Vec<f64>,
    pub end_sd: f64,
    pub cells: Vec<Vec<f64>>,
}

fn at3<'a>(
    marks: &'a [Mark],
    years: &[f64],
    path: &[f64],
    i: usize,
) -> Option<(&'a Mark, f64, f64)> {
    Some((marks.get(i)?, *years.get(i)?, *path.get(i)?))
}

/// What is believed of an element's parameters before its readings: independent, each
/// normal; a variance of 0 where a law has no such parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    pub mean: Parameters,
    pub variance: Parameters,
}

/// What the readings make of it.
#[derive(Debug, Clone)]
pub struct Posterior {
    pub mean: Parameters,
    pub covariance: [Parameters; PARAMETERS],
    /// `ln` of the density of the readings, whatever the parameters.
    pub ln_evidence: f64,
    /// Each cell's own variance, wider where a cell lies off.
    pub own: Vec<f64>,
    /// The marginal covariance, factored; what it makes of the misses; and each
    /// parameter's covariance with the cells.
    pub factor: Factor,
    pub inverse: Vec<f64>,
    pub solved: Vec<f64>,
    pub slopes: Vec<Parameters>,
}

impl Posterior {
    /// `n`: of the first so many cells.
    pub fn of(law: Law, prior: &Prior, design: &Design, n: usize) -> Posterior {
        let n = n.min(design.len());
        let mut at = Posterior {
            mean: prior.mean,
            covariance: std::array::from_fn(|i| {
                std::array::from_fn(|j| {
                    if i == j {
                        value(&prior.variance, i)
                    } else {
                        0.0
                    }
                })
            }),
            ln_evidence: 0.0,
            own: design.own.iter().copied().take(n).collect(),
            factor: Factor::default(),
            inverse: Vec::new(),
            solved: Vec::new(),
            slopes: Vec::new(),
        };
        if n == 0 {
            return at;
        }
        const STEPS: usize = 5;
        for step in 0..STEPS {
            let seen: Vec<(f64, Parameters)> = design
                .exposure
                .iter()
                .take(n)
                .map(|&e| law.with_slopes(&at.mean, e))
                .collect();
            let away: Parameters = std::array::from_fn(|k| at.mean[k] - prior.mean[k]);
            let mut covariance = design.covariance(&at.own, n);
            for (i, row) in covariance.chunks_mut(n).enumerate() {
                let Some((_, a)) = seen.get(i) else { continue };
                let weighted: Parameters = std::array::from_fn(|k| a[k] * prior.variance[k]);
                for (value, (_, b)) in row.iter_mut().zip(&seen).take(i + 1) {
                    *value += dot(&weighted, b);
                }
            }
            let Some(factor) = Factor::of(&covariance, n) else {
                return at;
            };
            let misses: Vec<f64> = design
                .y
                .iter()
                .zip(&seen)
                .map(|(y, (ln, slopes))| y - ln + dot(slopes, &away))
                .collect();
            let mut solved = misses.clone();
            factor.solve(&mut solved);
            let mut mean = prior.mean;
            for (k, m) in mean.iter_mut().enumerate() {
                let along: f64 = seen.iter().zip(&solved).map(|((_, s), x)| s[k] * x).sum();
                // No step goes further than what is believed at all.
                let most = 4.0 * prior.variance[k].sqrt();
                *m += (prior.variance[k] * along).clamp(-most, most);
                *m = at.mean[k] + (*m - at.mean[k]).clamp(-1.0, 1.0);
            }
            let last = step + 1 == STEPS;
            if last {
                let quadratic = dot(&misses, &solved);
                let two_pi = (2.0 * std::f64::consts::PI).ln() * n as f64;
                at.ln_evidence = -0.5 * (quadratic + factor.ln_determinant() + two_pi);
                at.covariance = left(&factor, &seen, prior);
                at.inverse = factor.inverse();
            } else if step >= 1 && n > 3 {
                // A cell far from where all others put it counts less.
                let diagonals = factor.inverse_diagonal();
                for (i, own) in at.own.iter_mut().enumerate() {
                    let diagonal = diagonals.get(i).copied().unwrap_or(1.0);
                    let solved = solved.get(i).copied().unwrap_or(0.0);
                    let before = design.own.get(i).copied().unwrap_or(*own);
                    // How far it lies from what the others say, by its own noise as it was.
                    let (miss, variance) = (solved / diagonal, 1.0 / diagonal - *own + before);
                    let z2 = miss * miss / variance.max(0.25 * before);
                    *own = before * ((NU + z2) / (NU + 1.0)).clamp(1.0, 25.0);
                }
            }
            at.mean = mean;
            at.factor = factor;
            at.solved = solved;
            at.slopes = seen.into_iter().map(|s| s.1).collect();
        }
        at
    }

    /// Mean and variance of cell `i` before it is read, as its own noise has it.
    pub fn expects(
        &self,
        law: Law,
        prior: &Prior,
        design: &Design,
        i: usize,
    ) -> Option<(f64, f64)> {
        let (ln, slopes) = law.with_slopes(&self.mean, *design.exposure.get(i)?);
        let weighted: Parameters = std::array::from_fn(|k| slopes[k] * prior.variance[k]);
        let with: Vec<f64> = self
            .slopes
            .iter()
            .enumerate()
            .map(|(j, s)| design.shared(i, j) + dot(&weighted, s))
            .collect();
        let cross: Vec<f64> = (0..with.len()).map(|j| design.shared(i, j)).collect();
        let mut white = with;
        self.factor.whiten(&mut white);
        let variance = design.shared(i, i) + design.own.get(i)? + dot(&weighted, &slopes);
        Some((
            ln + dot(&cross, &self.solved),
            (variance - dot(&white, &white)).max(1e-6),
        ))
    }

    /// For each of the first `n` cells, how the cells from it on lie off together, and
    /// how much they know of that.
    fn after_each(&self, n: usize) -> Vec<(f64, f64)> {
        let at = |i: usize, j: usize| self.inverse.get(i * n + j).copied().unwrap_or(0.0);
        let (mut after, mut within) = (0.0, 0.0);
        let mut sums: Vec<(f64, f64)> = (0..n)
            .rev()
            .map(|i| {
                after += self.solved.get(i).copied().unwrap_or(0.0);
                within += at(i, i) + 2.0 * (i + 1..n).map(|j| at(i, j)).sum::<f64>();
                (after, within)
            })
            .collect();
        sums.reverse();
        sums
    }

    /// What the readings alone say of a parameter, beyond its mean before, and the
    /// variance of that; `None` where they say next to nothing.
    pub fn own_of(&self, prior: &Prior, k: usize) -> Option<Own> {
        let before = *prior.variance.get(k)?;
        let after = *self.covariance.get(k)?.get(k)?;
        let shown = 1.0 - after / before;
        (before > 0.0 && shown > 0.02).then(|| Own {
            shift: (value(&self.mean, k) - value(&prior.mean, k)) / shown,
            variance: after / shown,
            shown,
        })
    }
}

/// See [`Posterior::own_of`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Own {
    pub shift: f64,
    pub variance: f64,
    /// How much of what was unsure the readings settle, from 0 to 1.
    pub shown: f64,
}

fn value(of: &Parameters, k: usize) -> f64 {
    of.get(k).copied().unwrap_or(f64::NAN)
}

/// Covariance of the parameters once the cells are read.
fn left(factor: &Factor, seen: &[(f64, Parameters)], prior: &Prior) -> [Parameters; PARAMETERS] {
    let white: [Vec<f64>; PARAMETERS] = std::array::from_fn(|k| {
        let mut column: Vec<f64> = seen
            .iter()
            .map(|(_, s)| value(s, k) * value(&prior.variance, k))
            .collect();
        factor.whiten(&mut column);
        column
    });
    std::array::from_fn(|a| {
        std::array::from_fn(|b| {
            let before = if a == b {
                value(&prior.variance, a)
            } else {
                0.0
            };
            let told = match (white.get(a), white.get(b)) {
                (Some(a), Some(b)) => dot(a, b),
                _ => 0.0,
            };
            before - told
        })
    })
}

#[cfg(test)]
mod tests {
    use super::super::law::NOTHING_BEFORE;
    use super::*;

    const LAW: Law = Law::Exponential;
    const PACE: f64 = -4.5;

    fn design() -> Design {
        let exposure = [5.0, 12.0, 20.0, 31.0, 40.0];
        let y = [-3.52, -3.46, -3.30, -3.20, -3.05];
        let variance = [0.01, 0.006, 0.008, 0.02, 0.01];
        let marks: Vec<Mark> = (0..5_u32)
            .zip(exposure.iter().zip(y.iter().zip(&variance)))
            .map(|(i, (&exposure, (&y, &variance)))| Mark {
                exposure,
                y,
                lever: 0.0,
                variance,
                days: 100.0 * f64::from(i),
                regime: u32::from(i > 2),
                jump: 0.0,
            })
            .collect();
        Design::of(&marks, 46.0, 2e-3)
    }

    /// Pace known, so that all is normal.
    fn prior() -> Prior {
        Prior {
            mean: [-3.6, PACE, 0.0, NOTHING_BEFORE],
            variance: [0.0625, 0.0, 0.0, 0.0],
        }
    }

    fn close(got: f64, expected: f64) {
        assert!((got - expected).abs() < 1e-9, "{got} against {expected}");
    }

    /// Values of `scipy.stats.multivariate_normal` and `numpy.linalg.solve` (scipy 1.17.1,
    /// numpy 2.4.6) on the covariance written out: wander 0.002·min(Eᵢ, Eⱼ), meters
    /// 0.07² + 0.028²·years by regime, the cells' own, the start's 0.25².
    #[test]
    fn the_whole_covariance_says_the_same() {
        let (design, prior) = (design(), prior());
        let all = Posterior::of(LAW, &prior, &design, 5);
        close(all.ln_evidence, 3.106_564_152_619_252);
        close(all.mean[0], -3.613_042_258_019_133);
        close(all.covariance[0][0], 0.015_621_238_659_747_821);
        let three = Posterior::of(LAW, &prior, &design, 3);
        let (mean, variance) = three.expects(LAW, &prior, &design, 4).unwrap_or_default();
        close(mean, -2.998_791_859_599_305);
        close(variance, 0.065_439_108_723_246_79);
    }

    #[test]
    fn what_the_law_leaves_over_is_shared_between_path_and_meters() {
        let design = design();
        let smoother = design.smoother(&design.own, true);
        let parameters = [-3.55, PACE, 0.0, NOTHING_BEFORE];
        let rest: Vec<f64> = design
            .y
            .iter()
            .zip(&design.exposure)
            .map(|(y, e)| y - LAW.ln_passage(&parameters, *e))
            .collect();
        close(dot(&smoother.end, &rest), -0.104_623_216_758_846_73);
        close(smoother.end_sd, 0.152_098_076_982_383_34);
    }

    #[test]
    fn a_jump_is_found_and_creep_is_none() {
        let at = |step: f64| {
            let marks: Vec<Mark> = (0..12_u32)
                .map(|i| Mark {
                    exposure: 4.0 * f64::from(i + 1),
                    y: -3.6 + 0.02 * f64::from(i) + if i > 6 { step } else { 0.0 },
                    lever: 0.0,
                    variance: 0.002,
                    days: 30.0 * f64::from(i),
                    regime: 0,
                    jump: 0.0,
                })
                .collect();
            let mut design = Design::of(&marks, 48.0, 3e-4);
            let prior = Prior {
                mean: [-3.6, PACE, 0.0, NOTHING_BEFORE],
                variance: [0.04, 0.09, 0.0, 0.0],
            };
            let posterior = Posterior::of(LAW, &prior, &design, 12);
            design.jump_where_likely(&posterior, 12, 6e-4);
            design.jumps
        };
        assert_eq!(at(0.45), [7]);
        assert!(at(0.0).is_empty());
    }
}
