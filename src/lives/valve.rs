//! How what goes to drain moves with what is made as the tap warms: that tells a fixed
//! reject valve from recovery held.

use crate::calendar::{Date, DateExt};

use super::observations::Observation;
use super::season::TapSeason;
use crate::store::records::{Fill, Source};

/// `ln` of drained over made, per °C of the tap.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ValveSeen {
    pub per_c: f64,
    pub sd: f64,
}

/// One look at both flows.
struct Pair {
    days: f64,
    c: f64,
    ln_drained: f64,
}

/// Pairs from which on they tell anything, over so many degrees.
const PAIRS_FROM: usize = 8;
const LEAST_SD_C: f64 = 1.0;
/// Flows are read to some 3 %, and a valve is touched now and then: neighbouring looks
/// tell little new (judgement).
const LEAST_NOISE: f64 = 0.03;
const ALIKE: f64 = 2.0;
const LEAST_SD: f64 = 0.003;

/// From flows as read and from litres to drain.
pub(crate) fn seen(
    observations: &[Observation],
    fills: &[Fill],
    fill_dates: &[Date],
    litres: &[f64],
    season: &TapSeason,
) -> Option<ValveSeen> {
    let first = observations
        .first()
        .map(|l| l.date)
        .or(fill_dates.first().copied())?;
    let days = |date: Date| f64::from(date.days_since(first));
    let by_flow = observations.iter().filter_map(|observation| {
        let (made, drained) = (observation.permeate_lpm?, observation.concentrate_lpm?);
        Some(Pair {
            days: days(observation.date),
            c: observation.water_c.unwrap_or(observation.seasonal_c),
            ln_drained: share(made, drained)?,
        })
    });
    let by_litres = fills
        .iter()
        .zip(fill_dates)
        .zip(litres)
        .filter(|((fill, _), _)| fill.source == Source::Mains)
        .filter_map(|((fill, date), made)| {
            Some(Pair {
                days: days(*date),
                c: season.on(f64::from(date.day_of_year())),
                ln_drained: share(*made, fill.reject_litres?)?,
            })
        });
    let told = [slope(by_flow.collect()), slope(by_litres.collect())];
    let told: Vec<ValveSeen> = told.into_iter().flatten().collect();
    let weight: f64 = told.iter().map(|t| t.sd.powi(-2)).sum();
    (weight > 0.0).then(|| ValveSeen {
        per_c: told.iter().map(|t| t.per_c * t.sd.powi(-2)).sum::<f64>() / weight,
        sd: weight.sqrt().recip(),
    })
}

/// Ten times as much to drain, or the same figure twice, is a slip.
fn share(made: f64, drained: f64) -> Option<f64> {
    (made > 0.0 && drained > 0.0 && drained < 10.0 * made && made != drained)
        .then(|| (drained / made).ln())
}

/// Slope on temperature beside a trend, twice: the second time without what lies off.
fn slope(mut pairs: Vec<Pair>) -> Option<ValveSeen> {
    let mut found = None;
    for _ in 0..2 {
        let n = pairs.len() as f64;
        if pairs.len() < PAIRS_FROM {
            return found;
        }
        let mean = |of: fn(&Pair) -> f64| pairs.iter().map(of).sum::<f64>() / n;
        let (day, c, y) = (mean(|p| p.days), mean(|p| p.c), mean(|p| p.ln_drained));
        let sum = |of: &dyn Fn(&Pair) -> f64| pairs.iter().map(of).sum::<f64>();
        let (dd, cc, dc) = (
            sum(&|p| (p.days - day).powi(2)),
            sum(&|p| (p.c - c).powi(2)),
            sum(&|p| (p.days - day) * (p.c - c)),
        );
        let (dy, cy) = (
            sum(&|p| (p.days - day) * (p.ln_drained - y)),
            sum(&|p| (p.c - c) * (p.ln_drained - y)),
        );
        let determinant = dd * cc - dc * dc;
        // What of the warmth is no trend.
        let own = if dd > 0.0 { determinant / dd } else { cc };
        if own <= n * LEAST_SD_C * LEAST_SD_C || determinant <= 0.0 {
            return found;
        }
        let per_c = (dd * cy - dc * dy) / determinant;
        let per_day = (cc * dy - dc * cy) / determinant;
        let off = |p: &Pair| p.ln_drained - y - per_c * (p.c - c) - per_day * (p.days - day);
        let noise = (sum(&|p| off(p).powi(2)) / (n - 3.0).max(1.0)).max(LEAST_NOISE * LEAST_NOISE);
        let sd = (ALIKE * ALIKE * noise / own).sqrt();
        found = Some(ValveSeen {
            per_c,
            sd: sd.hypot(LEAST_SD),
        });
        let far: Vec<bool> = pairs
            .iter()
            .map(|p| off(p).powi(2) > 6.25 * noise)
            .collect();
        let mut far = far.into_iter();
        pairs.retain(|_| !far.next().unwrap_or(false));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn year(drained: impl Fn(f64) -> f64) -> Vec<Pair> {
        (0..60)
            .map(|i| {
                let days = 6.0 * f64::from(i);
                let c = TapSeason::default().on(days);
                let off = 0.03 * (2.39 * f64::from(i)).sin();
                Pair {
                    days,
                    c,
                    ln_drained: drained(c).ln() + off,
                }
            })
            .collect()
    }

    #[test]
    fn a_fixed_valve_and_recovery_held_are_told_apart() {
        let fixed = slope(year(|c| 2.0 * (-0.034 * c).exp())).unwrap();
        assert!((fixed.per_c + 0.034).abs() < 0.004, "{fixed:?}");
        let held = slope(year(|_| 2.0)).unwrap();
        assert!(held.per_c.abs() < 0.004, "{held:?}");
        assert!(held.sd < 0.01 && fixed.sd < 0.01);
    }

    #[test]
    fn a_few_looks_of_one_season_tell_nothing() {
        let mut few = year(|_| 2.0);
        few.truncate(6);
        assert!(slope(few).is_none());
        let mut summer = year(|_| 2.0);
        summer.retain(|p| p.c > 17.5);
        assert!(slope(summer).is_none());
    }
}
