//! Climbing to the mode with analytic derivatives.

use nalgebra::{DMatrix, DVector};

use super::likelihood::term;
use super::{Life, LnSigma, SurvivalFit, SurvivalModel};
use crate::stats::error::{StatsError, Stop, check_finite, check_length};
use crate::stats::linear::least_squares;
use crate::stats::optimise::solve_damped;

const LIMIT: usize = 200;
/// Newton's decrement, in units of log-likelihood, at which nothing is left to gain.
const DECREMENT: f64 = 1e-16;
/// Largest step of ln σ: beyond it the quadratic model is not to be trusted.
const STEP_LN_SIGMA: f64 = 1.0;

/// Log posterior at a point, with gradient and curvature in (β, ln σ).
struct Hill {
    loglik: f64,
    log_posterior: f64,
    gradient: DVector<f64>,
    /// Second derivatives with the sign turned: positive definite at the mode.
    information: DMatrix<f64>,
}

struct Climb<'a> {
    model: &'a SurvivalModel,
    lives: &'a [Life],
    design: &'a DMatrix<f64>,
}

impl Climb<'_> {
    fn at(&self, point: &DVector<f64>) -> Hill {
        let p = self.design.ncols();
        let s = point[p];
        let eta = self.design * point.rows(0, p);
        let mut loglik = 0.0;
        let mut gradient = DVector::zeros(p + 1);
        let mut information = DMatrix::zeros(p + 1, p + 1);
        for (i, life) in self.lives.iter().enumerate() {
            let t = term(self.model.distribution, life, eta[i], s);
            let w = life.weight;
            loglik += w * t.value;
            for j in 0..p {
                let x = w * self.design[(i, j)];
                gradient[j] += x * t.by_eta;
                information[(p, j)] -= x * t.by_eta_s;
                for k in 0..=j {
                    information[(j, k)] -= x * self.design[(i, k)] * t.by_eta2;
                }
            }
            gradient[p] += w * t.by_s;
            information[(p, p)] -= w * t.by_s2;
        }
        for j in 0..=p {
            for k in 0..j {
                information[(k, j)] = information[(j, k)];
            }
        }
        let mut hill = Hill {
            loglik,
            log_posterior: loglik,
            gradient,
            information,
        };
        self.add_priors(point, &mut hill);
        hill
    }

    fn add_priors(&self, point: &DVector<f64>, hill: &mut Hill) {
        let p = self.design.ncols();
        if let Some(prior) = &self.model.coef_prior {
            let off = point.rows(0, p) - &prior.mean;
            let pull = &prior.precision * &off;
            hill.log_posterior -= 0.5 * off.dot(&pull);
            for j in 0..p {
                hill.gradient[j] -= pull[j];
                for k in 0..p {
                    hill.information[(j, k)] += prior.precision[(j, k)];
                }
            }
        }
        match self.model.ln_sigma {
            LnSigma::Free => {}
            LnSigma::Prior { mean, sd } => {
                let off = (point[p] - mean) / sd;
                hill.log_posterior -= 0.5 * off * off;
                hill.gradient[p] -= off / sd;
                hill.information[(p, p)] += 1.0 / (sd * sd);
            }
            LnSigma::Fixed(_) => {
                hill.gradient[p] = 0.0;
                hill.information.row_mut(p).fill(0.0);
                hill.information.column_mut(p).fill(0.0);
                hill.information[(p, p)] = 1.0;
            }
        }
    }

    /// Least squares on the logarithms, running lives taken a little further.
    fn start(&self) -> Result<DVector<f64>, StatsError> {
        let p = self.design.ncols();
        let ln_ages: Vec<f64> = self
            .lives
            .iter()
            .map(|l| l.middle().ln() + if l.end_seen() { 0.0 } else { 0.5 })
            .collect();
        let mut point = DVector::zeros(p + 1);
        let weights: Vec<f64> = self.lives.iter().map(|l| l.weight).collect();
        let ols = least_squares(self.design, &ln_ages, Some(&weights));
        let spread = match (&self.model.coef_prior, ols) {
            (Some(prior), Err(_)) => {
                point.rows_mut(0, p).copy_from(&prior.mean);
                0.5
            }
            (_, Ok(fit)) => {
                point.rows_mut(0, p).copy_from(&fit.coef);
                fit.sigma2.sqrt()
            }
            (None, Err(error)) => return Err(error),
        };
        point[p] = match self.model.ln_sigma {
            LnSigma::Fixed(value) => value,
            LnSigma::Prior { mean, .. } => mean,
            LnSigma::Free => spread.clamp(0.05, 3.0).ln(),
        };
        Ok(point)
    }
}

fn check(model: &SurvivalModel, lives: &[Life], design: &DMatrix<f64>) -> Result<(), StatsError> {
    check_length("rows of the design matrix", lives.len(), design.nrows())?;
    check_finite("design matrix", design.as_slice())?;
    lives.iter().try_for_each(Life::check)?;
    if let Some(prior) = &model.coef_prior {
        check_length(
            "prior on the coefficients",
            design.ncols(),
            prior.mean.len(),
        )?;
    } else if !lives.iter().any(|l| l.end_seen() && l.weight > 0.0) {
        return Err(StatsError::TooFew {
            what: "lives whose end was seen",
            needed: 1,
            found: 0,
        });
    }
    match model.ln_sigma {
        LnSigma::Prior { sd, .. } if sd.is_nan() || sd <= 0.0 => Err(StatsError::OutOfRange {
            what: "prior sd of ln sigma",
            value: sd,
            allowed: "above 0",
        }),
        LnSigma::Prior { mean: value, .. } | LnSigma::Fixed(value) => {
            check_finite("ln sigma", &[value])
        }
        LnSigma::Free => Ok(()),
    }
}

pub(super) fn fit(
    model: &SurvivalModel,
    lives: &[Life],
    design: &DMatrix<f64>,
) -> Result<SurvivalFit, StatsError> {
    check(model, lives, design)?;
    let what = "survival regression";
    let climb = Climb {
        model,
        lives,
        design,
    };
    let p = design.ncols();
    let mut point = climb.start()?;
    let mut hill = climb.at(&point);
    let mut stop = Stop::IterationLimit;
    let mut iterations = 0;
    while iterations < LIMIT {
        iterations += 1;
        let Some(mut step) = solve_damped(&hill.information, &hill.gradient) else {
            return Err(StatsError::NotConverged {
                what,
                stop: Stop::NoDescent,
            });
        };
        let decrement = step.dot(&hill.gradient);
        if step[p].abs() > STEP_LN_SIGMA {
            step *= STEP_LN_SIGMA / step[p].abs();
        }
        let mut next = climb.at(&(&point + &step));
        let floor = hill.log_posterior - 1e-13 * hill.log_posterior.abs();
        let mut halvings = 0;
        while (next.log_posterior.is_nan() || next.log_posterior < floor) && halvings < 40 {
            step *= 0.5;
            halvings += 1;
            next = climb.at(&(&point + &step));
        }
        if halvings == 40 {
            stop = Stop::NoDescent;
            break;
        }
        point += &step;
        hill = next;
        if decrement <= DECREMENT * (1.0 + hill.log_posterior.abs()) {
            stop = Stop::GradientSmall;
            break;
        }
    }
    if !stop.is_converged() {
        return Err(StatsError::NotConverged { what, stop });
    }
    let factor = hill
        .information
        .cholesky()
        .ok_or(StatsError::Singular { what })?;
    let mut cov = factor.inverse();
    if matches!(model.ln_sigma, LnSigma::Fixed(_)) {
        cov[(p, p)] = 0.0;
    }
    Ok(SurvivalFit {
        distribution: model.distribution,
        coef: point.rows(0, p).into_owned(),
        ln_sigma: point[p],
        cov,
        loglik: hill.loglik,
        log_posterior: hill.log_posterior,
        iterations,
        stop,
    })
}
