//! Finding the variance components.

use nalgebra::DMatrix;

use super::criterion::{Point, Problem};
use super::predict::group_effects;
use super::{GroupSummary, MixedFit, MixedModel, ScalePrior};
use crate::stats::error::{StatsError, Stop, check_length};
use crate::stats::optimise::{Minimum, nelder_mead, newton_polish};

/// Starting sizes of the random effects in units of σ, over the range met in practice.
const START_SIZES: [f64; 6] = [0.03, 0.1, 0.3, 1.0, 3.0, 10.0];
/// The simplex only has to come near; Newton's method finishes.
const SIMPLEX_TOLERANCE: f64 = 1e-7;
const SIMPLEX_LIMIT: usize = 4000;
const NEWTON_LIMIT: usize = 30;
/// A random effect below this share of σ counts as absent.
const NEGLIGIBLE: f64 = 1e-3;
/// A criterion that changes by less says nothing.
const LEVEL: f64 = 1e-6;

fn problem<'a>(
    model: &'a MixedModel,
    groups: &'a [GroupSummary],
) -> Result<Problem<'a>, StatsError> {
    let too_few = |what, needed, found| StatsError::TooFew {
        what,
        needed,
        found,
    };
    let first = groups.first().ok_or(too_few("groups", 1, 0))?;
    let (p, q) = (first.p(), first.q());
    if q == 0 || q > 3 {
        let allowed = "1 to 3";
        return Err(StatsError::OutOfRange {
            what: "random columns",
            value: q as f64,
            allowed,
        });
    }
    for g in groups {
        check_length("fixed columns of a group", p, g.p())?;
        check_length("random columns of a group", q, g.q())?;
    }
    if let Some(prior) = &model.beta_prior {
        check_length("prior on the fixed effects", p, prior.mean.len())?;
        check_length("precision of the prior", p, prior.precision.nrows())?;
    }
    let n: usize = groups.iter().map(|g| g.n).sum();
    if n == 0 {
        return Err(too_few("rows", 1, 0));
    }
    if model.beta_prior.is_none() && n <= p {
        return Err(too_few("rows", p + 1, n));
    }
    let mut unit = [1.0; 3];
    for (k, u) in unit.iter_mut().enumerate().take(q) {
        let mean_square = groups.iter().map(|g| g.ztz[(k, k)]).sum::<f64>() / n as f64;
        if mean_square > 0.0 {
            *u = 1.0 / mean_square.sqrt();
        }
    }
    let ln_weight = groups.iter().map(|g| g.ln_weight).sum();
    Ok(Problem {
        groups,
        model,
        p,
        q,
        n,
        ln_weight,
        unit,
    })
}

fn criterion(problem: &Problem, parameters: &[f64]) -> f64 {
    problem
        .point(parameters)
        .map_or(f64::INFINITY, |point| point.deviance + point.penalty)
}

/// ln σ worth trying first: shares of the spread of y, and the prior's middle.
fn starting_ln_sigmas(problem: &Problem) -> Vec<f64> {
    if problem.is_profiled() {
        return vec![0.0];
    }
    let total: f64 = problem.groups.iter().map(|g| g.yty).sum();
    let size = (total / problem.n as f64).sqrt().max(1e-12);
    let mut out: Vec<f64> = [1.0, 0.3, 0.1, 0.03, 0.01, 0.001]
        .iter()
        .map(|s| (s * size).ln())
        .collect();
    match problem.model.residual_sd {
        ScalePrior::LogNormal { median, .. } => out.push(median.ln()),
        ScalePrior::HalfNormal { sd } => out.push((0.7 * sd).ln()),
        ScalePrior::Flat => {}
    }
    out
}

/// The best of a coarse grid: a diagonal Λ of one size, with every ln σ worth trying.
fn start(problem: &Problem) -> Result<Vec<f64>, StatsError> {
    let mut best: Option<(f64, Vec<f64>)> = None;
    for ln_sigma in starting_ln_sigmas(problem) {
        for size in START_SIZES {
            let mut parameters = vec![0.0; problem.theta_len()];
            let mut at = 0;
            for j in 0..problem.q {
                parameters[at] = size;
                at += if problem.model.correlated {
                    problem.q - j
                } else {
                    1
                };
            }
            if !problem.is_profiled() {
                parameters.push(ln_sigma);
            }
            let value = criterion(problem, &parameters);
            if value.is_finite() && best.as_ref().is_none_or(|(b, _)| value < *b) {
                best = Some((value, parameters));
            }
        }
    }
    best.map(|(_, parameters)| parameters)
        .ok_or(StatsError::Singular {
            what: "fixed effects",
        })
}

/// Spans for numerical derivatives: the criterion bends on the scale of a
/// parameter itself, and near 0 on the scale a group's rows can resolve.
fn difference_steps(problem: &Problem, parameters: &[f64]) -> Vec<f64> {
    let resolved = 0.3 * (problem.groups.len() as f64 / problem.n as f64).sqrt();
    parameters
        .iter()
        .enumerate()
        .map(|(k, v)| {
            if k < problem.theta_len() {
                2e-3 * (v.abs() + resolved.min(1.0))
            } else {
                1e-3
            }
        })
        .collect()
}

pub(super) fn fit(model: &MixedModel, groups: &[GroupSummary]) -> Result<MixedFit, StatsError> {
    let problem = problem(model, groups)?;
    let found = minimum(&problem, &start(&problem)?)?;
    if problem.is_profiled() && leaves_a_variance_open(&problem, &found) {
        return Err(StatsError::Singular {
            what: "variances of the random effects",
        });
    }
    let point = problem.point(&found.point).ok_or(StatsError::Singular {
        what: "fixed effects",
    })?;
    finished(&problem, &found, point)
}

/// Whether some random effect may as well be twice or half as large: then its size
/// is whatever the search started from.
fn leaves_a_variance_open(problem: &Problem, found: &Minimum) -> bool {
    (0..problem.q).any(|k| {
        let row = problem.row_of(k);
        let scaled = |factor: f64| {
            let mut theta = found.point.clone();
            for (t, in_row) in theta.iter_mut().zip(&row) {
                *t *= if *in_row { factor } else { 1.0 };
            }
            (criterion(problem, &theta) - found.value).abs()
        };
        let size = found
            .point
            .iter()
            .zip(&row)
            .filter(|(_, r)| **r)
            .map(|(t, _)| t.abs())
            .sum::<f64>();
        size > NEGLIGIBLE && scaled(2.0) < LEVEL && scaled(0.5) < LEVEL
    })
}

/// Simplex, then Newton; where the criterion has a kink at the optimum (a prior on
/// the correlation where a standard deviation goes to 0), simplex again until it
/// stands still.
fn minimum(problem: &Problem, first: &[f64]) -> Result<Minimum, StatsError> {
    let f = |x: &[f64]| criterion(problem, x);
    let spans = |x: &[f64], share: f64| -> Vec<f64> {
        x.iter().map(|v| share * v.abs().max(0.3)).collect()
    };
    let mut best = nelder_mead(
        f,
        first,
        &spans(first, 0.5),
        SIMPLEX_TOLERANCE,
        SIMPLEX_LIMIT,
    );
    match newton_polish(
        f,
        &best.point,
        &difference_steps(problem, &best.point),
        NEWTON_LIMIT,
    ) {
        Ok(polished) if polished.minimum.stop.is_converged() => {
            let evaluations = best.evaluations + polished.minimum.evaluations;
            return Ok(Minimum {
                evaluations,
                ..polished.minimum
            });
        }
        // without beliefs, a criterion without curvature is level: any variance would do
        Err(_) if problem.is_profiled() => {
            return Err(StatsError::Singular {
                what: "variances of the random effects",
            });
        }
        Ok(_) | Err(_) => {}
    }
    for share in [0.3, 0.1, 0.3, 0.1, 0.03] {
        let before = best.value;
        let spans = spans(&best.point, share);
        let next = nelder_mead(f, &best.point, &spans, SIMPLEX_TOLERANCE, SIMPLEX_LIMIT);
        let evaluations = best.evaluations + next.evaluations;
        best = Minimum {
            evaluations,
            ..next
        };
        if best.stop.is_converged() && before - best.value <= 10.0 * SIMPLEX_TOLERANCE {
            return Ok(best);
        }
    }
    Err(StatsError::NotConverged {
        what: "mixed model",
        stop: Stop::IterationLimit,
    })
}

fn finished(problem: &Problem, found: &Minimum, point: Point) -> Result<MixedFit, StatsError> {
    let mut factor = problem.factor(&found.point);
    let q = problem.q;
    // the sign of a column of Λ means nothing: make the diagonal positive
    for j in 0..q {
        if factor[j][j] < 0.0 {
            factor.iter_mut().for_each(|row| row[j] = -row[j]);
        }
    }
    let random_cov = DMatrix::from_fn(q, q, |i, j| {
        point.sigma2 * (0..q).map(|k| factor[i][k] * factor[j][k]).sum::<f64>()
    });
    let mut fit = MixedFit {
        beta: point.beta,
        cov_beta: point.cov_beta,
        sigma2: point.sigma2,
        random_cov,
        deviance: point.deviance,
        penalty: point.penalty,
        groups: Vec::with_capacity(problem.groups.len()),
        n: problem.n,
        evaluations: found.evaluations,
        stop: found.stop,
        factor,
    };
    for g in problem.groups {
        let effects = group_effects(&fit, g).ok_or(StatsError::Singular {
            what: "random effects",
        })?;
        fit.groups.push(effects);
    }
    Ok(fit)
}
