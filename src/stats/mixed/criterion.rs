//! The deviance at given variance components, the fixed effects solved for.

use nalgebra::{DMatrix, DVector};

use super::{Method, MixedModel, ScalePrior};
use crate::stats::mixed::summary::GroupSummary;

pub(super) const LN_2PI: f64 = 1.837_877_066_409_345_3;

/// A lower-triangular matrix up to 3 × 3: the relative covariance factor Λ,
/// with Cov(b) = σ²ΛΛᵀ.
pub(super) type Factor = [[f64; 3]; 3];

/// Generalised least squares at a given Λ, in units of σ².
pub(super) struct Normal {
    /// Σ ln |ΛᵀZᵀZΛ + I|
    ln_det: f64,
    /// XᵀV⁻¹X
    pub xvx: DMatrix<f64>,
    /// XᵀV⁻¹y
    xvy: DVector<f64>,
    /// yᵀV⁻¹y
    yvy: f64,
}

/// One point of the criterion.
pub(super) struct Point {
    pub beta: DVector<f64>,
    pub cov_beta: DMatrix<f64>,
    pub sigma2: f64,
    /// −2 log-likelihood (or its REML counterpart), without the scale priors.
    pub deviance: f64,
    /// −2 log density of the scale priors.
    pub penalty: f64,
}

/// The groups with everything that does not change from point to point.
pub(super) struct Problem<'a> {
    pub groups: &'a [GroupSummary],
    pub model: &'a MixedModel,
    pub p: usize,
    pub q: usize,
    pub n: usize,
    pub ln_weight: f64,
    /// What a random column is multiplied with to have mean square 1.
    pub unit: [f64; 3],
}

/// Cholesky factor L of ΛᵀZᵀZΛ + I; `None` only for input that is not finite.
pub(super) fn inner_factor(ztz: &DMatrix<f64>, lambda: &Factor, q: usize) -> Option<Factor> {
    let mut m = [[0.0; 3]; 3];
    for a in 0..q {
        for b in 0..=a {
            let mut sum = if a == b { 1.0 } else { 0.0 };
            for i in a..q {
                for j in b..q {
                    sum += lambda[i][a] * ztz[(i, j)] * lambda[j][b];
                }
            }
            m[a][b] = sum;
        }
    }
    for a in 0..q {
        for b in 0..=a {
            let inner: f64 = (0..b).map(|k| m[a][k] * m[b][k]).sum();
            let rest = m[a][b] - inner;
            if a == b {
                if rest.is_nan() || rest <= 0.0 || rest.is_infinite() {
                    return None;
                }
                m[a][a] = rest.sqrt();
            } else {
                m[a][b] = rest / m[b][b];
            }
        }
    }
    Some(m)
}

/// L⁻¹Λᵀv for one column v of length q.
pub(super) fn whiten(l: &Factor, lambda: &Factor, v: [f64; 3], q: usize) -> [f64; 3] {
    let mut out = [0.0; 3];
    for a in 0..q {
        let rotated: f64 = (a..q).map(|i| lambda[i][a] * v[i]).sum();
        let inner: f64 = (0..a).map(|k| l[a][k] * out[k]).sum();
        out[a] = (rotated - inner) / l[a][a];
    }
    out
}

pub(super) fn column(matrix: &DMatrix<f64>, j: usize) -> [f64; 3] {
    let mut out = [0.0; 3];
    for (o, v) in out.iter_mut().zip(matrix.column(j).iter()) {
        *o = *v;
    }
    out
}

impl Problem<'_> {
    /// Λ from the free parameters: the lower triangle column by column, or the
    /// diagonal alone; one unit of a parameter moves y by one σ.
    pub fn factor(&self, theta: &[f64]) -> Factor {
        let mut lambda = [[0.0; 3]; 3];
        let mut free = theta.iter();
        for j in 0..self.q {
            let last = if self.model.correlated { self.q } else { j + 1 };
            for i in j..last {
                lambda[i][j] = free.next().copied().unwrap_or(0.0) * self.unit[i];
            }
        }
        lambda
    }

    /// Which of the parameters make up row `k` of Λ.
    pub fn row_of(&self, k: usize) -> Vec<bool> {
        let mut out = Vec::with_capacity(self.theta_len());
        for j in 0..self.q {
            let last = if self.model.correlated { self.q } else { j + 1 };
            out.extend((j..last).map(|i| i == k));
        }
        out
    }

    /// How many parameters [`Problem::factor`] takes.
    pub fn theta_len(&self) -> usize {
        if self.model.correlated {
            self.q * (self.q + 1) / 2
        } else {
            self.q
        }
    }

    pub fn normal(&self, lambda: &Factor) -> Option<Normal> {
        let p = self.p;
        let mut out = Normal {
            ln_det: 0.0,
            xvx: DMatrix::zeros(p, p),
            xvy: DVector::zeros(p),
            yvy: 0.0,
        };
        let mut u = vec![[0.0; 3]; p];
        for g in self.groups {
            let l = inner_factor(&g.ztz, lambda, self.q)?;
            let mut zty = [0.0; 3];
            for (o, v) in zty.iter_mut().zip(g.zty.iter()) {
                *o = *v;
            }
            let uy = whiten(&l, lambda, zty, self.q);
            for (j, u) in u.iter_mut().enumerate() {
                *u = whiten(&l, lambda, column(&g.ztx, j), self.q);
            }
            let dot = |a: &[f64; 3], b: &[f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
            for j in 0..p {
                out.xvy[j] += g.xty[j] - dot(&u[j], &uy);
                for k in 0..=j {
                    out.xvx[(j, k)] += g.xtx[(j, k)] - dot(&u[j], &u[k]);
                }
            }
            out.yvy += g.yty - dot(&uy, &uy);
            out.ln_det += 2.0 * (0..self.q).map(|a| l[a][a].ln()).sum::<f64>();
        }
        for j in 0..p {
            for k in 0..j {
                out.xvx[(k, j)] = out.xvx[(j, k)];
            }
        }
        Some(out)
    }

    /// σ² is solved for as well, where no prior speaks of absolute sizes.
    pub fn is_profiled(&self) -> bool {
        self.model.beta_prior.is_none()
            && self.model.residual_sd == ScalePrior::Flat
            && self
                .model
                .random_sd
                .iter()
                .all(|prior| *prior == ScalePrior::Flat)
            && self.model.correlation_shape == 1.0
    }

    pub fn point(&self, parameters: &[f64]) -> Option<Point> {
        let lambda = self.factor(parameters);
        let normal = self.normal(&lambda)?;
        if self.is_profiled() {
            self.profiled(&normal)
        } else {
            let ln_sigma = parameters.get(self.theta_len()).copied()?;
            self.at_sigma(&normal, &lambda, ln_sigma)
        }
    }

    fn profiled(&self, normal: &Normal) -> Option<Point> {
        let factor = normal.xvx.clone().cholesky()?;
        let beta = factor.solve(&normal.xvy);
        let rss = normal.yvy - normal.xvy.dot(&beta);
        let (nu, extra) = match self.model.method {
            Method::Ml => (self.n as f64, 0.0),
            Method::Reml => ((self.n - self.p) as f64, factor.ln_determinant()),
        };
        if rss.is_nan() || rss <= 0.0 {
            return None;
        }
        let sigma2 = rss / nu;
        let deviance = normal.ln_det + extra + nu * (1.0 + LN_2PI + sigma2.ln()) - self.ln_weight;
        Some(Point {
            beta,
            cov_beta: factor.inverse() * sigma2,
            sigma2,
            deviance,
            penalty: 0.0,
        })
    }

    fn at_sigma(&self, normal: &Normal, lambda: &Factor, ln_sigma: f64) -> Option<Point> {
        let sigma2 = (2.0 * ln_sigma).exp();
        let (n, p) = (self.n as f64, self.p as f64);
        let mut a = &normal.xvx / sigma2;
        let mut rhs = &normal.xvy / sigma2;
        let mut quad = normal.yvy / sigma2;
        let mut deviance = normal.ln_det + n * (LN_2PI + 2.0 * ln_sigma) - self.ln_weight;
        if let Some(prior) = &self.model.beta_prior {
            let pull = &prior.precision * &prior.mean;
            a += &prior.precision;
            quad += prior.mean.dot(&pull);
            rhs += pull;
            if let Some(factor) = prior.precision.clone().cholesky() {
                deviance += p * LN_2PI - factor.ln_determinant();
            }
        }
        let factor = a.cholesky()?;
        let beta = factor.solve(&rhs);
        deviance += quad - beta.dot(&rhs);
        if self.model.method == Method::Reml {
            deviance += factor.ln_determinant() - p * LN_2PI;
        }
        let penalty = self.penalty(lambda, sigma2.sqrt());
        Some(Point {
            beta,
            cov_beta: factor.inverse(),
            sigma2,
            deviance,
            penalty,
        })
    }

    fn penalty(&self, lambda: &Factor, sigma: f64) -> f64 {
        let mut total = self.model.residual_sd.penalty(sigma);
        let sd = |k: usize| sigma * lambda[k].iter().map(|v| v * v).sum::<f64>().sqrt();
        for (k, prior) in self.model.random_sd.iter().enumerate().take(self.q) {
            total += prior.penalty(sd(k));
        }
        if self.model.correlation_shape != 1.0 {
            // |R| of the correlation matrix is the product of the squared
            // diagonals of its Cholesky factor
            let ln_det: f64 = (0..self.q)
                .map(|k| 2.0 * (sigma * lambda[k][k].abs() / sd(k)).ln())
                .sum();
            total -= 2.0 * (self.model.correlation_shape - 1.0) * ln_det;
        }
        total
    }
}
