//! Finding the variance components.

use nalgebra::DMatrix;

use super::criterion::{Point, Problem};
use super::predict::group_effects;
use super::{GroupSummary, MixedFit, MixedModel, ScalePrior};
use crate::stats::error::{StatsError, Stop, check_length};
use crate::stats::optimise::{nelder_mead, newton_polish};

/// Starting sizes of the random effects in units of σ, over the range met in practice.
const START_SIZES: [f64; 6] = [0.03, 0.1, 0.3, 1.0, 3.0, 10.0];
/// The simplex only has to come near; Newton's method finishes.
const SIMPLEX_TOLERANCE: f64 = 1e-7;
const SIMPLEX_LIMIT: usize = 4000;
const NEWTON_LIMIT: usize = 30;

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
    let first = start(&problem)?;
    let spans: Vec<f64> = first.iter().map(|v| 0.5 * v.abs().max(0.3)).collect();
    let f = |x: &[f64]| criterion(&problem, x);
    let coarse = nelder_mead(f, &first, &spans, SIMPLEX_TOLERANCE, SIMPLEX_LIMIT);
    let steps = difference_steps(&problem, &coarse.point);
    let polished = newton_polish(f, &coarse.point, &steps, NEWTON_LIMIT)?.minimum;
    let stop = if coarse.stop.is_converged() {
        polished.stop
    } else {
        Stop::IterationLimit
    };
    if !stop.is_converged() {
        return Err(StatsError::NotConverged {
            what: "mixed model",
            stop,
        });
    }
    let point = problem.point(&polished.point).ok_or(StatsError::Singular {
        what: "fixed effects",
    })?;
    finished(
        &problem,
        &polished.point,
        point,
        coarse.evaluations + polished.evaluations,
        stop,
    )
}

fn finished(
    problem: &Problem,
    parameters: &[f64],
    point: Point,
    evaluations: usize,
    stop: Stop,
) -> Result<MixedFit, StatsError> {
    let mut factor = problem.factor(parameters);
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
        evaluations,
        stop,
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
