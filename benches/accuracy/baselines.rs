//! What simpler methods would forecast from the same cleaned readings.

use litrewise::inside::calendar::{Date, DateExt};
use litrewise::inside::lives::{ChargeLife, ElementLife, End, FleetLives, VanLives};
use litrewise::inside::settings::Settings;
use statrs::distribution::{ContinuousCDF, Normal};

use crate::cases::{CAP_DAYS, Three};
use crate::censored::CensoredLogNormal;

/// 90 % quantile of the standard normal distribution.
const Z90: f64 = 1.281_551_565_544_600_4;

/// Mean litres a day of the van's last 26 full weeks; a usual van's without fills.
fn litres_per_day(van: &VanLives) -> f64 {
    let full = van.weeks.len().saturating_sub(1);
    let recent = van.weeks.get(full.saturating_sub(26)..full).unwrap_or(&[]);
    let sum: f64 = recent.iter().map(|w| w.litres).sum();
    if sum > 0.0 {
        sum / recent.len() as f64 / 7.0
    } else {
        1000.0 / 7.0
    }
}

/// Litres × hardness in 1000 L at 200 mg/L, one value per reading, then at the end.
fn exposures(life: &ElementLife, van: &VanLives, as_of: Date) -> Vec<f64> {
    let hardness = van.hardness.map_or(150.0, |h| h.mg_l_caco3);
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let counted = life.litres_made.is_some();
    let sum = |litres: &[f64], date: Date| {
        if counted {
            litres
                .iter()
                .zip(&life.hardness_levels)
                .map(|(l, h)| l * h / 200.0 / 1000.0)
                .sum()
        } else {
            f64::from(date.days_since(begin)) * litres_per_day(van) * hardness / 200.0 / 1000.0
        }
    };
    life.points
        .iter()
        .map(|p| sum(&p.litres_by_level, p.date))
        .chain([sum(&life.litres_by_level, as_of)])
        .collect()
}

struct Line {
    intercept: f64,
    slope: f64,
    var_intercept: f64,
    var_slope: f64,
    covariance: f64,
}

/// One element's readings: exposure and ln salt passage.
struct Points {
    x: Vec<f64>,
    y: Vec<f64>,
}

impl Points {
    fn of(life: &ElementLife, van: &VanLives, as_of: Date) -> (Points, f64) {
        let mut x = exposures(life, van, as_of);
        let now = x.pop().unwrap_or(0.0);
        let y = life
            .points
            .iter()
            .map(|p| p.salt_passage.max(1e-6).ln())
            .collect();
        (Points { x, y }, now)
    }

    fn means(&self) -> (f64, f64) {
        let n = self.x.len().max(1) as f64;
        (
            self.x.iter().sum::<f64>() / n,
            self.y.iter().sum::<f64>() / n,
        )
    }

    /// Σ(x−x̄)², Σ(x−x̄)(y−ȳ).
    fn moments(&self) -> (f64, f64) {
        let (mx, my) = self.means();
        self.x
            .iter()
            .zip(&self.y)
            .fold((0.0, 0.0), |(a, b), (x, y)| {
                (a + (x - mx) * (x - mx), b + (x - mx) * (y - my))
            })
    }

    fn residual(&self, slope: f64) -> f64 {
        let (mx, my) = self.means();
        self.x
            .iter()
            .zip(&self.y)
            .map(|(x, y)| (y - my - slope * (x - mx)).powi(2))
            .sum()
    }
}

pub struct MembraneBaselines {
    pooled_slope: f64,
    pooled_slope_variance: f64,
    pooled_variance: f64,
    ln_limit: f64,
    rule_days: f64,
}

impl MembraneBaselines {
    pub fn of(lives: &FleetLives, settings: &Settings) -> MembraneBaselines {
        let (mut sxx, mut sxy, mut rss, mut freedom) = (0.0, 0.0, 0.0, -1.0);
        let mut groups = Vec::new();
        for van in lives.vans.iter().chain(&lives.retired) {
            for life in &van.elements {
                let (points, _) = Points::of(life, van, lives.as_of);
                let (a, b) = points.moments();
                sxx += a;
                sxy += b;
                if !points.x.is_empty() {
                    freedom += points.x.len() as f64 - 1.0;
                }
                groups.push(points);
            }
        }
        let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        for g in &groups {
            rss += g.residual(slope);
        }
        // Without anything to learn from: 3 to 10 % over 80 000 L.
        let slope = if slope > 0.0 { slope } else { 0.015 };
        let variance = if freedom > 0.0 { rss / freedom } else { 0.01 };
        MembraneBaselines {
            pooled_slope: slope,
            pooled_slope_variance: if sxx > 0.0 { variance / sxx } else { 1e-5 },
            pooled_variance: variance,
            ln_limit: settings.limits.salt_passage.ln(),
            rule_days: settings.usual_interval.membrane_months * 30.4375,
        }
    }

    fn pooled_line(&self, points: &Points) -> Line {
        let (mx, my) = points.means();
        let n = points.x.len().max(1) as f64;
        Line {
            intercept: my - self.pooled_slope * mx,
            slope: self.pooled_slope,
            var_intercept: self.pooled_variance / n + mx * mx * self.pooled_slope_variance,
            var_slope: self.pooled_slope_variance,
            covariance: -mx * self.pooled_slope_variance,
        }
    }

    fn own_line(&self, points: &Points) -> Line {
        let n = points.x.len() as f64;
        let (sxx, sxy) = points.moments();
        if n < 3.0 || sxx <= 0.0 || sxy / sxx <= 0.0 {
            return self.pooled_line(points);
        }
        let slope = sxy / sxx;
        let (mx, my) = points.means();
        let variance = points.residual(slope) / (n - 2.0);
        Line {
            intercept: my - slope * mx,
            slope,
            var_intercept: variance * (1.0 / n + mx * mx / sxx),
            var_slope: variance / sxx,
            covariance: -mx * variance / sxx,
        }
    }

    /// Rule of thumb, per-van least squares, pooled regression.
    pub fn of_van(&self, van: &VanLives, as_of: Date) -> Vec<Option<Three>> {
        let Some(life) = van.elements.last() else {
            return vec![None; 3];
        };
        let begin = life.fitted_on.unwrap_or(life.seen_from);
        let age = f64::from(as_of.days_since(begin));
        // "18 to 24 months" about the middle of 21.
        let rule = [18.0 / 21.0, 1.0, 24.0 / 21.0]
            .map(|share| (share * self.rule_days - age).clamp(-age, CAP_DAYS));
        let (points, now) = Points::of(life, van, as_of);
        if points.x.is_empty() {
            return vec![Some(rule), None, None];
        }
        let hardness = van.hardness.map_or(150.0, |h| h.mg_l_caco3);
        let per_day = (litres_per_day(van) * hardness / 200.0 / 1000.0).max(1e-6);
        let crossing = |line: &Line| -> Three {
            let middle = (self.ln_limit - line.intercept) / line.slope;
            let variance = (line.var_intercept
                + middle * middle * line.var_slope
                + 2.0 * middle * line.covariance)
                / (line.slope * line.slope);
            let sd = variance.max(0.0).sqrt();
            [-Z90, 0.0, Z90].map(|z| ((middle + z * sd - now) / per_day).clamp(-age, CAP_DAYS))
        };
        vec![
            Some(rule),
            Some(crossing(&self.own_line(&points))),
            Some(crossing(&self.pooled_line(&points))),
        ]
    }
}

pub struct ResinBaselines {
    mean: f64,
    sd: f64,
    survival: Option<CensoredLogNormal>,
}

fn covariates(life: &ChargeLife) -> [f64; 3] {
    [
        1.0,
        life.hardness_mg_l_caco3.max(5.0).ln(),
        life.resin_litres.max(1.0).ln(),
    ]
}

impl ResinBaselines {
    pub fn of(lives: &FleetLives, settings: &Settings) -> ResinBaselines {
        let limit = settings.limits.product_ppm;
        let mut finished = Vec::new();
        let (mut ends, mut rows) = (Vec::new(), Vec::new());
        for van in lives.vans.iter().chain(&lives.retired) {
            for life in &van.charges {
                let Some(litres) = life.litres_treated.filter(|l| *l > 50.0) else {
                    continue;
                };
                if life.changed_on.is_none() {
                    continue;
                }
                if matches!(life.end, End::Replaced(_)) {
                    finished.push(litres);
                }
                let seen = life
                    .points
                    .iter()
                    .find(|p| p.product_ppm >= limit && p.litres > 1.0);
                ends.push(match seen {
                    Some(p) => (p.litres, true),
                    None => (litres, false),
                });
                rows.extend(covariates(life));
            }
        }
        let n = finished.len() as f64;
        let mean = if n > 0.0 {
            finished.iter().sum::<f64>() / n
        } else {
            6000.0
        };
        let sd = if n > 2.0 {
            (finished.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
        } else {
            0.5 * mean
        };
        let design = nalgebra::DMatrix::from_row_slice(ends.len(), 3, &rows);
        let survival = CensoredLogNormal::fit(&ends, &design);
        ResinBaselines { mean, sd, survival }
    }

    pub fn per_day(&self, van: &VanLives) -> f64 {
        litres_per_day(van)
    }

    /// Litres left: the fleet's mean litres, a censored log-normal by hardness and vessel.
    pub fn of_van(&self, van: &VanLives) -> Vec<Option<Three>> {
        let Some(life) = van.charges.last() else {
            return vec![None; 2];
        };
        let treated = life.litres_treated.unwrap_or(0.0);
        let by_mean = [-Z90, 0.0, Z90].map(|z| (self.mean + z * self.sd - treated).max(0.0));
        let by_survival = self.survival.as_ref().map(|fit| {
            let location = fit.location(&covariates(life));
            let sigma = fit.sigma;
            let normal = Normal::standard();
            let survived = normal.sf((treated.max(1.0).ln() - location) / sigma);
            [0.1, 0.5, 0.9].map(|p| {
                let level = (1.0 - survived * (1.0 - p)).clamp(1e-9, 1.0 - 1e-9);
                ((location + sigma * normal.inverse_cdf(level)).exp() - treated).max(0.0)
            })
        });
        vec![Some(by_mean), by_survival.or(Some(by_mean))]
    }
}
