//! How good forecasts were: proper scores, coverage, and widths that keep it.

use super::error::{StatsError, check_finite};
use super::quantiles::sorted;
use super::special::{beta_quantile, ln_gamma, normal_cdf, normal_pdf, normal_quantile};

/// Continuous ranked probability score of N(`mean`, `sd`²) when `y` came.
///
/// # Source
/// Gneiting & Raftery 2007, JASA 102:359, section 4.2.
pub fn crps_normal(mean: f64, sd: f64, y: f64) -> f64 {
    if sd == 0.0 {
        return (y - mean).abs();
    }
    let z = (y - mean) / sd;
    sd * (z * (2.0 * normal_cdf(z) - 1.0) + 2.0 * normal_pdf(z) - 1.0 / std::f64::consts::PI.sqrt())
}

/// Logarithmic score (−ln density) of N(`mean`, `sd`²) when `y` came.
pub fn log_score_normal(mean: f64, sd: f64, y: f64) -> f64 {
    let z = (y - mean) / sd;
    0.5 * z * z + sd.ln() + 0.5 * (2.0 * std::f64::consts::PI).ln()
}

/// CRPS of a log-normal (ln X ~ N(`mu`, `sigma`²), `sigma` > 0) when `y` > 0 came.
///
/// # Source
/// Baran & Lerch 2015, Q. J. R. Meteorol. Soc. 141:2289.
pub fn crps_log_normal(mu: f64, sigma: f64, y: f64) -> f64 {
    let z = (y.ln() - mu) / sigma;
    let mean = (mu + 0.5 * sigma * sigma).exp();
    let inner = normal_cdf(z - sigma) + normal_cdf(sigma * std::f64::consts::FRAC_1_SQRT_2) - 1.0;
    y * (2.0 * normal_cdf(z) - 1.0) - 2.0 * mean * inner
}

/// Mean distance to `y`, and Σ|xᵢ − xⱼ| over all ordered pairs.
fn distances(sample: &[f64], y: f64) -> Result<(f64, f64), StatsError> {
    if sample.is_empty() {
        return Err(StatsError::TooFew {
            what: "sample",
            needed: 1,
            found: 0,
        });
    }
    check_finite("outcome", &[y])?;
    let ascending = sorted(sample)?;
    let n = ascending.len() as f64;
    let to_outcome = ascending.iter().map(|x| (x - y).abs()).sum::<f64>() / n;
    // in order, xᵢ is subtracted n−1−i times and added i times
    let among = ascending
        .iter()
        .enumerate()
        .map(|(i, x)| 2.0 * x * (2.0 * i as f64 - n + 1.0))
        .sum();
    Ok((to_outcome, among))
}

/// CRPS of the empirical distribution of a sample when `y` came.
///
/// # Errors
/// An empty sample, or a value that is not finite.
pub fn crps_sample(sample: &[f64], y: f64) -> Result<f64, StatsError> {
    let (to_outcome, among) = distances(sample, y)?;
    let n = sample.len() as f64;
    Ok(to_outcome - among / (2.0 * n * n))
}

/// CRPS that does not reward the sample's size (Ferro 2014, Q. J. R. Meteorol. Soc. 140:1917).
///
/// # Errors
/// Fewer than two values, or one that is not finite.
pub fn crps_sample_fair(sample: &[f64], y: f64) -> Result<f64, StatsError> {
    if sample.len() < 2 {
        return Err(StatsError::TooFew {
            what: "sample",
            needed: 2,
            found: sample.len(),
        });
    }
    let (to_outcome, among) = distances(sample, y)?;
    let n = sample.len() as f64;
    Ok(to_outcome - among / (2.0 * n * (n - 1.0)))
}

/// Pinball loss of the quantile forecast `q` at `level` when `y` came.
pub fn pinball(q: f64, level: f64, y: f64) -> f64 {
    if y >= q {
        level * (y - q)
    } else {
        (1.0 - level) * (q - y)
    }
}

/// Interval score of a central interval that misses with probability `alpha`:
/// its width plus 2/`alpha` times the miss.
///
/// # Source
/// Gneiting & Raftery 2007, JASA 102:359, equation 43.
pub fn interval_score(low: f64, high: f64, alpha: f64, y: f64) -> f64 {
    (high - low) + 2.0 / alpha * ((low - y).max(0.0) + (y - high).max(0.0))
}

/// Weighted interval score of a median and one central interval.
///
/// # Source
/// Bracher, Ray, Gneiting & Reich 2021, PLoS Comput. Biol. 17:e1008618, K = 1.
pub fn weighted_interval_score(low: f64, median: f64, high: f64, alpha: f64, y: f64) -> f64 {
    (0.5 * (y - median).abs() + 0.5 * alpha * interval_score(low, high, alpha, y)) / 1.5
}

fn check_count(hits: u64, of: u64) -> Result<(), StatsError> {
    if of == 0 || hits > of {
        let needed = (hits as usize).max(1);
        return Err(StatsError::TooFew {
            what: "trials",
            needed,
            found: of as usize,
        });
    }
    Ok(())
}

/// Exact limits of a share of which `hits` of `of` were seen.
///
/// # Errors
/// No trials, or more hits than trials.
///
/// # Source
/// Clopper & Pearson 1934, Biometrika 26:404.
pub fn clopper_pearson(hits: u64, of: u64, confidence: f64) -> Result<(f64, f64), StatsError> {
    check_count(hits, of)?;
    let (k, n) = (hits as f64, of as f64);
    let tail = 0.5 * (1.0 - confidence);
    let low = if hits == 0 {
        0.0
    } else {
        beta_quantile(k, n - k + 1.0, tail)
    };
    let high = if hits == of {
        1.0
    } else {
        beta_quantile(k + 1.0, n - k, 1.0 - tail)
    };
    Ok((low, high))
}

/// Wilson's limits of a share (1927, JASA 22:209).
///
/// # Errors
/// As [`clopper_pearson`].
pub fn wilson(hits: u64, of: u64, confidence: f64) -> Result<(f64, f64), StatsError> {
    check_count(hits, of)?;
    let (k, n) = (hits as f64, of as f64);
    let z2 = normal_quantile(0.5 + 0.5 * confidence).powi(2);
    let centre = (k + 0.5 * z2) / (n + z2);
    let reach = z2.sqrt() * (k * (n - k) / n + 0.25 * z2).sqrt() / (n + z2);
    let low = if hits == 0 { 0.0 } else { centre - reach };
    let high = if hits == of { 1.0 } else { centre + reach };
    Ok((low, high))
}

/// Probability, if the true share is `share`, of a count no likelier than the one seen.
///
/// # Errors
/// As [`clopper_pearson`]; a share outside 0..1.
pub fn binomial_p_value(hits: u64, of: u64, share: f64) -> Result<f64, StatsError> {
    check_count(hits, of)?;
    if !(share > 0.0 && share < 1.0) {
        return Err(StatsError::OutOfRange {
            what: "share",
            value: share,
            allowed: "between 0 and 1",
        });
    }
    let n = of as f64;
    let ln_probability = |k: u64| {
        let k = k as f64;
        ln_gamma(n + 1.0) - ln_gamma(k + 1.0) - ln_gamma(n - k + 1.0)
            + k * share.ln()
            + (n - k) * (-share).ln_1p()
    };
    // equal probabilities must not be told apart by rounding
    let seen = ln_probability(hits) + 1e-7;
    let total: f64 = (0..=of)
        .map(ln_probability)
        .filter(|p| *p <= seen)
        .map(f64::exp)
        .sum();
    Ok(total.min(1.0))
}

/// Which of `n` ordered scores bounds a new one with probability 1 − `alpha`,
/// counted from 1; `None` where `n` is too small to say.
///
/// # Source
/// Vovk, Gammerman & Shafer 2005; Lei et al. 2018, JASA 113:1094.
pub fn conformal_rank(n: usize, alpha: f64) -> Option<usize> {
    // a product meant to be whole may miss by rounding
    let rank = ((n as f64 + 1.0) * (1.0 - alpha) - 1e-9).ceil().max(1.0) as usize;
    (rank <= n).then_some(rank)
}

/// Half-width of a split-conformal interval from the residuals of forecasts on
/// data not used for fitting; `None` where they are too few for `alpha`.
///
/// # Errors
/// A residual that is not finite.
pub fn conformal_half_width(residuals: &[f64], alpha: f64) -> Result<Option<f64>, StatsError> {
    let sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let ascending = sorted(&sizes)?;
    Ok(conformal_rank(ascending.len(), alpha)
        .and_then(|rank| ascending.get(rank - 1))
        .copied())
}

#[cfg(test)]
mod tests;
