//! Log-normal lives by covariates, censored where the end was not seen.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

pub struct CensoredLogNormal {
    coefficients: DVector<f64>,
    pub sigma: f64,
}

impl CensoredLogNormal {
    /// `ends`: age and whether it ended there; `design`: a row of covariates each.
    /// `None` where the covariates do not tell the lives apart.
    ///
    /// By expectation and maximisation: a life still running stands for the mean
    /// of what is left of the distribution (Aitkin 1981, Technometrics 23:161).
    pub fn fit(ends: &[(f64, bool)], design: &DMatrix<f64>) -> Option<CensoredLogNormal> {
        let standard = Normal::standard();
        let transposed = design.transpose();
        let inverse = (&transposed * design).try_inverse()?;
        let logs = DVector::from_iterator(ends.len(), ends.iter().map(|e| e.0.ln()));
        let (mut coefficients, mut sigma) = (&inverse * &transposed * &logs, 0.5_f64);
        for _ in 0..500 {
            let middles = design * &coefficients;
            let (mut filled, mut spare) = (logs.clone(), 0.0);
            for (i, (_, ended)) in ends.iter().enumerate() {
                if *ended {
                    continue;
                }
                let z = (logs[i] - middles[i]) / sigma;
                let hazard = standard.pdf(z) / standard.sf(z).max(1e-300);
                filled[i] = middles[i] + sigma * hazard;
                spare += sigma * sigma * (1.0 + z * hazard - hazard * hazard);
            }
            coefficients = &inverse * &transposed * &filled;
            let misses = &filled - design * &coefficients;
            sigma = ((misses.norm_squared() + spare) / ends.len() as f64)
                .sqrt()
                .max(0.01);
        }
        (sigma.is_finite() && coefficients.iter().all(|c| c.is_finite())).then_some(
            CensoredLogNormal {
                coefficients,
                sigma,
            },
        )
    }

    pub fn location(&self, covariates: &[f64]) -> f64 {
        covariates
            .iter()
            .zip(self.coefficients.iter())
            .map(|(x, c)| x * c)
            .sum()
    }
}
