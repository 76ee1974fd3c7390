//! Whether the pressure before a membrane gave way: what it makes at 25 °C, and the gauge
//! at the tap, fall together and stay down, whatever salt passage does.

use crate::calendar::Date;

use super::evidence::Explanation;
use super::explain::{DAYS_A_YEAR, date_of, days, seasons};
use crate::lives::PassagePoint;
use crate::stats::robust::{mad_sd, median_in_place};
use crate::stats::special::normal_cdf;

/// Times a year of a van that its pressure gives way (judgement).
const RATE: f64 = 0.02;
/// Standard deviation of what it falls by, ln.
const SIZE_SD: f64 = 0.45;
/// A gauge at the tap falls by less than what drives the membrane does: osmotic pressure
/// and losses stay.
const AT_THE_GAUGE: f64 = 0.75;
/// What a membrane makes falls by some per cent a year as it fouls; a gauge stays.
const FOULING_A_YEAR: f64 = 0.12;
const GAUGE_A_YEAR: f64 = 0.05;
/// Least scatter, ln, and how much less readings that hang together tell.
const LEAST_SD: f64 = 0.05;
const TOGETHER: f64 = 1.5;
/// Readings that must stand on either side.
const BESIDE: usize = 3;
/// A rise of salt passage by 30 % counts, ln. It goes with one over the pressure: as much
/// salt passes while less water dilutes it (solution-diffusion).
const COUNTS: f64 = 0.2624;

/// A lasting fall of the pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PressureLoss {
    /// The first day on which it shows.
    pub since: Date,
    /// `ln` of before over after.
    pub size: f64,
    /// That it is there, and raises salt passage by 30 % or more.
    pub probability: f64,
}

/// What one series of readings tells.
struct Series {
    day: Vec<f64>,
    ln: Vec<f64>,
    share: f64,
    trend_sd: f64,
}

impl Series {
    fn of(
        points: &[&PassagePoint],
        value: fn(&PassagePoint) -> Option<f64>,
        (share, trend_sd): (f64, f64),
    ) -> Option<Series> {
        let read = points
            .iter()
            .filter_map(|p| Some((f64::from(days(p.date)), value(p).filter(|v| *v > 0.0)?.ln())));
        let (day, ln): (Vec<f64>, Vec<f64>) = read.unzip();
        (day.len() >= 2 * BESIDE).then_some(Series {
            day,
            ln,
            share,
            trend_sd,
        })
    }

    /// Inverse variance of one reading, from how neighbours differ.
    fn weight(&self) -> f64 {
        let steps: Vec<f64> = self.ln.windows(2).map(|w| w[1] - w[0]).collect();
        let sd = mad_sd(&steps).unwrap_or(0.0) / std::f64::consts::SQRT_2;
        1.0 / (TOGETHER * sd.clamp(LEAST_SD, 0.4).powi(2))
    }
}

/// The most probable lasting fall of the pressure, if one is likelier than not. `all`: a
/// van's readings at its base, oldest first, each with the number of its membrane.
pub fn loss(all: &[(usize, &PassagePoint)]) -> Option<PressureLoss> {
    let newest = all.last()?.0;
    let points: Vec<&PassagePoint> = all.iter().map(|p| p.1).collect();
    // What a membrane makes is compared with itself.
    let own: Vec<&PassagePoint> = all.iter().filter(|p| p.0 == newest).map(|p| p.1).collect();
    let series: Vec<Series> = [
        Series::of(&points, |p| p.feed_bar, (AT_THE_GAUGE, GAUGE_A_YEAR)),
        Series::of(&own, |p| p.flow_lpm_25, (1.0, FOULING_A_YEAR)),
    ]
    .into_iter()
    .flatten()
    .collect();
    told(&series)
}

/// The same by what gauge and flow read.
fn told(series: &[Series]) -> Option<PressureLoss> {
    let y = series.iter().flat_map(|s| {
        let level = median_in_place(&mut s.ln.clone()).unwrap_or(0.0);
        s.ln.iter().map(move |ln| (ln - level).clamp(-1.5, 1.5))
    });
    let weight = series.iter().flat_map(|s| vec![s.weight(); s.ln.len()]);
    let mut explained = Explanation::of(y.collect(), weight.collect());
    let rows: Vec<(usize, f64)> = series
        .iter()
        .enumerate()
        .flat_map(|(n, s)| s.day.iter().map(move |d| (n, *d)))
        .collect();
    let column = |of: &dyn Fn(usize, f64) -> f64| -> Vec<f64> {
        rows.iter().map(|(n, day)| of(*n, *day)).collect()
    };
    let first = rows.iter().map(|r| r.1).reduce(f64::min)?;
    for (n, s) in series.iter().enumerate() {
        let only = |m: usize, value: f64| if m == n { value } else { 0.0 };
        explained.add_column(column(&|m, _| only(m, 1.0)), 1.0);
        explained.add_column(
            column(&|m, d| only(m, (d - first) / DAYS_A_YEAR)),
            s.trend_sd * s.trend_sd,
        );
        for season in 0..2 {
            explained.add_column(column(&|m, d| only(m, seasons(d)[season])), 0.0025);
        }
    }
    let solved = explained.solve()?;
    let share = |n: usize| -series.get(n).map_or(0.0, |s| s.share);
    let mut newest_first: Vec<usize> = (0..rows.len()).collect();
    newest_first.sort_by(|a, b| rows[*b].1.total_cmp(&rows[*a].1));
    let mut all = 0.0;
    let mut best: Option<(f64, f64)> = None;
    // What all readings from a place on gather.
    let mut gathered = solved.nothing();
    for (after, row) in newest_first.iter().enumerate() {
        let (n, day) = rows[*row];
        solved.add(&mut gathered, &explained.weight, *row, share(n));
        let Some(before) = newest_first.get(after + 1).map(|row| rows[*row].1) else {
            break;
        };
        let few = after + 1 < BESIDE || rows.len() - (after + 1) < BESIDE;
        if few || before == day {
            continue;
        }
        let years = (day - before) / DAYS_A_YEAR;
        let ln = solved.ln_likelier(&gathered, SIZE_SD * SIZE_SD) + (RATE * years).ln();
        all += ln.min(60.0).exp();
        if best.is_none_or(|b| ln > b.0) {
            best = Some((ln, day));
        }
    }
    let (_, begins) = best?;
    let place = explained.wide();
    let fall = column(&|n, day| if day >= begins { share(n) } else { 0.0 });
    explained.add_column(fall, SIZE_SD * SIZE_SD);
    let solved = explained.solve()?;
    let mut shares = nalgebra::DVector::zeros(place + 1);
    shares[place] = 1.0;
    let (size, variance) = solved.sum(&shares);
    let counts = normal_cdf((size - COUNTS) / variance.sqrt().max(0.02));
    let probability = all / (1.0 + all) * counts;
    (probability > 0.5).then(|| PressureLoss {
        since: date_of(begins as i32),
        size,
        probability,
    })
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::stats::random::Rng;

    /// A gauge at the tap read every ten days for two years, with 3 % of scatter.
    fn gauge(bar: impl Fn(f64) -> f64) -> Series {
        let mut rng = Rng::for_part(1, "gauge");
        let day: Vec<f64> = (0..73).map(|i| 20_000.0 + 10.0 * f64::from(i)).collect();
        let ln = day
            .iter()
            .map(|d| bar(*d - 20_000.0).ln() + 0.03 * rng.normal())
            .collect();
        Series {
            day,
            ln,
            share: AT_THE_GAUGE,
            trend_sd: GAUGE_A_YEAR,
        }
    }

    #[test]
    fn a_pressure_that_gave_way_is_told_with_its_day_and_size() {
        let found = told(&[gauge(|day| if day < 500.0 { 3.2 } else { 2.2 })]).unwrap();
        let day = f64::from(days(found.since)) - 20_000.0;
        assert!((490.0..=520.0).contains(&day), "{found:?}");
        let size = (3.2_f64 / 2.2).ln() / AT_THE_GAUGE;
        assert!((found.size - size).abs() < 0.08, "{found:?} {size}");
        assert!(found.probability > 0.95, "{found:?}");
    }

    #[test]
    fn seasons_slow_decline_and_a_week_of_low_pressure_are_no_loss() {
        let season = |day: f64| 3.0 * (0.08 * (TAU * day / DAYS_A_YEAR).sin()).exp();
        assert_eq!(told(&[gauge(season)]), None);
        assert_eq!(
            told(&[gauge(|day| 3.2 * (-0.08 * day / DAYS_A_YEAR).exp())]),
            None
        );
        let week = |day: f64| {
            if (300.0..320.0).contains(&day) {
                2.0
            } else {
                3.2
            }
        };
        assert_eq!(told(&[gauge(week)]), None);
        assert_eq!(
            told(&[gauge(|day| if day < 500.0 { 2.2 } else { 3.2 })]),
            None
        );
    }
}
