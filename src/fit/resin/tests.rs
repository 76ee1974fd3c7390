//! The fit that forecasts, held against published values.

use std::sync::Arc;

use crate::calendar::{Date, DateExt, date};

use super::charge::{ChargeObservations, Shares, looks_of};
use super::curve::{ALL, CURVES};
use super::grid::{Grid, POINTS, Values};
use super::shared::{VanCharges, fit_shared, however_it_ends, of_van};
use super::{PermeateAhead, Running, forecast};
use crate::fit::usage::{Season, Usage};
use crate::lives::{ChargeLife, End, Instant, ProductPoint, Start};
use crate::water::KAPPA_MEQ_PER_PPM;

const CHANGED: Date = date(2026, 3, 2);
const LIMIT: f64 = 10.0;

/// A charge read at these litres: product, and what entered throughout. 11 L of resin
/// in water without carbon dioxide.
fn life(entering_ppm: f64, readings: &[(f64, f64)], litres: f64, end: End) -> ChargeLife {
    let points = readings
        .iter()
        .enumerate()
        .map(|(i, &(at, product_ppm))| ProductPoint {
            at: Instant(i as i64),
            date: CHANGED.checked_plus_days(i as i64 + 1).unwrap(),
            product_ppm,
            permeate_ppm: Some(entering_ppm),
            litres: at,
            ppm_litres: at * entering_ppm,
        });
    ChargeLife {
        changed_on: Some(CHANGED),
        start: Start::Recorded,
        end,
        part: None,
        seen_from: CHANGED,
        resin_litres: 11.0,
        resin_litres_known: true,
        litres_treated: Some(litres),
        ppm_litres: litres * entering_ppm,
        hardness_mg_l_caco3: 0.0,
        district: Some(Arc::from("QA3")),
        points: points.collect(),
    }
}

fn load(entering_ppm: f64, litres: f64) -> f64 {
    KAPPA_MEQ_PER_PPM * entering_ppm * litres / 11.0
}

fn highest(grid: Grid, values: &Values) -> f64 {
    let (best, _) = values
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .unwrap();
    // The top of the parabola through three points.
    let [a, b, c] = [best - 1, best, best + 1].map(|i| values[i]);
    grid.at(best) + 0.5 * super::grid::STEP * (a - c) / (a - 2.0 * b + c)
}

#[test]
fn two_readings_on_the_rise_tell_where_it_ends() {
    // 0.5 ppm at 4800 L and 1.8 ppm at 5300 L of 14 ppm: V50 5992.25 L, s 361.75 L
    // (inverse logistic; equivalence Bohart-Adams/Thomas/Yoon-Nelson, Chu 2010).
    let charge = looks_of(
        &life(14.0, &[(4800.0, 0.5), (5300.0, 1.8)], 5300.0, End::InUse),
        LIMIT,
    );
    let grid = Grid::about(load(14.0, 6000.0).ln());
    let all = charge.likelihoods(&Shares::new(), grid, 0.0);
    let like = ALL
        .iter()
        .position(|c| c.over == 1.0 && !c.plateau && (c.width - 361.75 / 5992.25).abs() < 0.005)
        .unwrap();
    let found = highest(grid, &all[like].map(f64::ln)).exp() / load(14.0, 1.0);
    assert!((found / 5992.25 - 1.0).abs() < 0.02, "{found}");
}

/// How far 38 shock absorbers had gone and whether each failed then (Meeker & Escobar
/// 1998, as in the public R package SMRD).
const ABSORBERS: [(f64, bool); 38] = [
    (6_700.0, true),
    (6_950.0, false),
    (7_820.0, false),
    (8_790.0, false),
    (9_120.0, true),
    (9_660.0, false),
    (9_820.0, false),
    (11_310.0, false),
    (11_690.0, false),
    (11_850.0, false),
    (11_880.0, false),
    (12_140.0, false),
    (12_200.0, true),
    (12_870.0, false),
    (13_150.0, true),
    (13_330.0, false),
    (13_470.0, false),
    (14_040.0, false),
    (14_300.0, true),
    (17_520.0, true),
    (17_540.0, false),
    (17_890.0, false),
    (18_450.0, false),
    (18_960.0, false),
    (18_980.0, false),
    (19_410.0, false),
    (20_100.0, true),
    (20_100.0, false),
    (20_150.0, false),
    (20_320.0, false),
    (20_900.0, true),
    (22_700.0, true),
    (23_490.0, false),
    (26_510.0, true),
    (27_410.0, false),
    (27_490.0, true),
    (27_890.0, false),
    (28_100.0, false),
];

#[test]
fn lives_cut_short_count_as_the_censored_log_normal_has_it() {
    // Maximum likelihood of the log-normal on these data: median 25457.63, s.e. of its
    // logarithm 3670.36/25457.63, sigma 0.530068 (own fit in Python, agreed with lifelines).
    const MEDIAN: f64 = 25_457.627_701_351_53;
    const SIGMA: f64 = 0.530_068_030_372_531;
    const SE: f64 = 3_670.357_854_351_414_5 / MEDIAN;
    let grid = Grid::about(load(14.0, MEDIAN).ln());
    let sharp: [f64; CURVES] = std::array::from_fn(|k| f64::from(u8::from(k == 0)));
    let shares = Shares::new();
    let tables: Vec<Values> = ABSORBERS
        .iter()
        .map(|&(litres, failed)| {
            // Half of what enters at the end of its life; or nothing yet where the foot of
            // the rise would read 1 ppm, so that more than all of it is left to come.
            let foot = 1.0 + ALL[0].width * (1.0_f64 / 13.0).ln();
            let (at, product) = if failed {
                (litres, 7.0)
            } else {
                (foot * litres, 0.0)
            };
            let life = life(14.0, &[(at, product)], litres, End::Replaced(CHANGED));
            let by_curve = looks_of(&life, LIMIT).likelihoods(&shares, grid, 0.0);
            however_it_ends(&by_curve, &sharp)
        })
        .collect();
    let logs = of_van(tables.iter(), SIGMA);
    let found = highest(grid, &logs) - load(14.0, 1.0).ln();
    assert!((found - MEDIAN.ln()).abs() < 0.03, "{}", found.exp());
    let at = ((found + load(14.0, 1.0).ln() - grid.low) / super::grid::STEP).round() as usize;
    let step = 2;
    let width = step as f64 * super::grid::STEP;
    let curvature = (2.0 * logs[at] - logs[at - step] - logs[at + step]) / (width * width);
    // The profile over the median at the most probable sigma is somewhat narrower than
    // the standard error of both together.
    let sd = 1.0 / curvature.sqrt();
    assert!(sd < 1.05 * SE && sd > 0.7 * SE, "{sd} against {SE}");
}

fn usage() -> Usage {
    Usage {
        litres_per_week: 1_400.0,
        sd_ln: 0.05,
        counted: true,
        season: Season::EVEN,
    }
}

/// Litres left of the last of these charges of one van, behind what enters for ever.
fn left(entering_ppm: f64, charges: &[ChargeObservations]) -> [Option<f64>; 3] {
    let van: Arc<str> = Arc::from("QV-1");
    let of_van = VanCharges { van: &van, charges };
    let fit = fit_shared([of_van], LIMIT);
    let span = forecast(
        &fit,
        &Running {
            charge: charges.last().unwrap(),
            permeate: &PermeateAhead::steady(entering_ppm, 20.0 * entering_ppm),
            usage: &usage(),
            limit_ppm: LIMIT,
            as_of: date(2026, 10, 1),
            changed_on: Some(CHANGED),
            hardness_ahead: 0.0,
            van: of_van,
        },
    )
    .litres_left;
    [span.p10, span.p50, span.p90]
}

fn ended_at(entering_ppm: f64, litres: f64, high: f64) -> ChargeObservations {
    let readings = [
        (0.5 * litres, 0.0),
        (0.85 * litres, 1.0),
        (litres, high),
        (1.02 * litres, high * 1.1),
    ];
    let end = End::Replaced(date(2026, 9, 1));
    looks_of(&life(entering_ppm, &readings, 1.03 * litres, end), LIMIT)
}

fn running(entering_ppm: f64, readings: &[(f64, f64)], litres: f64) -> ChargeObservations {
    looks_of(&life(entering_ppm, readings, litres, End::InUse), LIMIT)
}

#[test]
fn a_fresh_charge_is_foretold_from_the_ones_before_it() {
    let mut charges: Vec<ChargeObservations> = [0.97, 1.0, 1.02, 1.01]
        .map(|x| ended_at(16.0, 9_000.0 * x, 10.5))
        .into();
    charges.push(running(16.0, &[], 0.0));
    let [low, middle, high] = left(16.0, &charges).map(Option::unwrap);
    assert!((middle / 9_000.0 - 1.0).abs() < 0.15, "{middle}");
    assert!(low > 6_000.0 && high < 13_000.0, "{low} {high}");
}

#[test]
fn acid_seen_before_is_expected_again_and_none_where_none_was_seen() {
    // 7 ppm enter: with acid earlier charges read twice that, without they rest at 7.
    let mut acid: Vec<ChargeObservations> = (0..5).map(|_| ended_at(7.0, 9_000.0, 14.0)).collect();
    acid.push(running(7.0, &[(2_000.0, 0.0)], 2_000.0));
    let [_, middle, _] = left(7.0, &acid).map(Option::unwrap);
    assert!((middle / 7_000.0 - 1.0).abs() < 0.2, "{middle}");
    let mut plain: Vec<ChargeObservations> = (0..5).map(|_| ended_at(7.0, 9_000.0, 6.6)).collect();
    plain.push(running(7.0, &[(2_000.0, 0.0)], 2_000.0));
    assert_eq!(left(7.0, &plain)[1], None);
}

#[test]
fn a_reading_below_the_limit_is_not_called_the_limit() {
    let mut charges: Vec<ChargeObservations> =
        (0..3).map(|_| ended_at(16.0, 9_000.0, 11.0)).collect();
    let readings = [(7_000.0, 0.0), (8_600.0, 7.0), (8_900.0, 9.0)];
    charges.push(running(16.0, &readings, 8_900.0));
    let [_, middle, _] = left(16.0, &charges);
    assert!(middle.unwrap() > 0.0, "{middle:?}");
    // Two readings at the limit bear it out.
    charges.pop();
    charges.push(running(16.0, &[(8_600.0, 10.5), (8_900.0, 11.0)], 8_900.0));
    assert_eq!(left(16.0, &charges), [Some(0.0); 3]);
}

#[test]
fn no_charge_is_foretold_more_than_four_times_the_longest_without_a_reason() {
    // Changed early every time, so that nothing tells how long one lasts.
    let early = |litres: f64| {
        let end = End::Replaced(date(2026, 9, 1));
        looks_of(&life(1.2 * LIMIT, &[(litres, 0.0)], litres, end), LIMIT)
    };
    let mut charges: Vec<ChargeObservations> = (0..4).map(|_| early(700.0)).collect();
    charges.push(running(1.2 * LIMIT, &[(100.0, 0.0)], 100.0));
    let [_, middle, high] = left(1.2 * LIMIT, &charges).map(Option::unwrap);
    assert!(middle <= 2_700.0 && high <= 2_700.0, "{middle} {high}");
}

#[test]
fn grids_hold_what_is_asked_of_them() {
    assert_eq!(POINTS, 96);
    let fit = fit_shared([], LIMIT);
    assert_eq!(fit.draws.len(), 12);
    // Without any charge the capacity is that of common practice.
    assert!(
        (fit.usual_capacity / 450.0 - 1.0).abs() < 0.1,
        "{}",
        fit.usual_capacity
    );
}
