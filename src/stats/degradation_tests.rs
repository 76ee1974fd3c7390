//! The whole way from paths to lives on two published degradation data sets:
//! mixed model, first passage, pseudo-lives and nonlinear paths together.
#![allow(clippy::unwrap_used)]

use super::curve::{CurveOptions, fit_curve};
use super::mixed::{GroupSummary, MixedModel};
use super::passage::{Passage, UncertainLine};
use super::survival::{Distribution, Life, SurvivalModel};
use super::test_data::columns;

/// GaAs lasers (Meeker & Escobar 1998): unit, hours, increase of current in %; a
/// laser has failed at 10 %.
const LASERS: &str = include_str!("../../tests/data/gaaslaser.csv");
/// Alloy-A fatigue cracks (Hudak et al. 1978; Lu & Meeker 1993, Technometrics
/// 35:161): specimen, million cycles, inches; failed at 1.6.
const CRACKS: &str = include_str!("../../tests/data/alloya.csv");

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{what}: {got} against {expected}"
    );
}

/// The path of each unit: times and values.
fn paths(text: &str) -> Vec<(Vec<f64>, Vec<f64>)> {
    let table = columns(text, &[0, 1, 2]);
    let mut out: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    let mut unit = f64::NAN;
    for i in 0..table[0].len() {
        if table[0][i] != unit {
            unit = table[0][i];
            out.push((Vec::new(), Vec::new()));
        }
        let path = out.last_mut().unwrap();
        path.0.push(table[1][i]);
        path.1.push(table[2][i]);
    }
    out
}

/// Slopes through the origin per thousand hours, as one group a laser.
fn slopes(until: f64) -> Vec<GroupSummary> {
    let mut groups = Vec::new();
    for (hours, increase) in paths(LASERS) {
        let mut group = GroupSummary::empty(1, 1);
        for (h, y) in hours.iter().zip(&increase).filter(|(h, _)| **h <= until) {
            group
                .add_row(&[h / 1000.0], &[h / 1000.0], *y, 1.0)
                .unwrap();
        }
        groups.push(group);
    }
    groups
}

#[test]
fn random_slopes_of_the_lasers() {
    // 40-digit profiled deviance, agreed with dense algebra and statsmodels
    let fit = MixedModel::default().fit(&slopes(f64::INFINITY)).unwrap();
    close(fit.loglik(), 2.5693970865905693, 1e-8, "log-likelihood");
    close(fit.beta[0], 2.0466522638146167, 1e-7, "beta");
    close(
        fit.cov_beta[(0, 0)],
        0.0142683084158451,
        1e-5,
        "its variance",
    );
    close(fit.sigma2, 0.039565123891432706, 1e-5, "sigma2");
    close(
        fit.random_cov[(0, 0)],
        0.21360146983242054,
        1e-5,
        "variance of slopes",
    );
    let blups = [
        0.6496788679913826,
        0.34876163280566497,
        -0.267204734539118,
        -0.37438518484781774,
        -0.20576815505386767,
        0.7198406756827124,
        -0.4175187188724211,
        -0.486954691755648,
        -0.072486471564967,
        0.9747872166674485,
        -0.14795888165190438,
        -0.025704283374485354,
        0.044743588623567164,
        -0.32762781380334843,
        -0.41220304630719795,
    ];
    for (group, blup) in fit.groups.iter().zip(blups) {
        close(group.blup[0], blup, 1e-5, "blup");
        close(
            group.prediction_error_cov[(0, 0)],
            0.014634263104026268,
            1e-5,
            "its error",
        );
    }
}

/// When the lasers reached 10 %, observed or extrapolated from all 4,000 h.
#[rustfmt::skip]
const CAME_AT: [f64; 15] = [3780.7538761489186, 4173.440137692279, 5621.394003505706, 5982.559399696552, 5433.375628433813, 3522.9100430147746, 6141.35023660619, 6415.467383094831, 5065.799177904772, 3374.441964285714, 5267.593021256146, 4948.297567329592, 4781.292922970559, 5819.450158432196, 6121.327326358076];

/// Straight lines with independent errors, a Wiener process of one drift, and one
/// of a drift per unit, fitted to the first half: of 15 outcomes their 80 % spans
/// hold 1, 6 and 13. Errors along a path pile up.
#[test]
fn half_test_spans_hold_what_a_path_that_drifts_allows() {
    let fit = MixedModel::default().fit(&slopes(2000.0)).unwrap();
    let mut held = [0, 0, 0];
    for (i, (hours, increase)) in paths(LASERS).iter().enumerate() {
        let prediction = fit.predict_known(&fit.groups[i], &[1.0], &[1.0]).unwrap();
        let line = UncertainLine {
            intercept: 0.0,
            slope: prediction.mean,
            var_intercept: 0.0,
            var_slope: prediction.variance,
            cov: 0.0,
        };
        let at = hours.iter().position(|h| *h == 2000.0).unwrap();
        let left = 10.0 - increase[at];
        let sigma: f64 = 0.012757739680941396;
        let common = Passage::new(left, 0.00208074, 0.0, sigma * sigma).unwrap();
        let drift = [
            0.002566070339596508,
            0.0023859033564909327,
            0.0019974090844097616,
            0.0019424522571163058,
            0.0017914039148972697,
            0.0025203282720772735,
            0.0016304036321220748,
            0.001659522273008614,
            0.002063534200549574,
            0.002852759945692082,
            0.0020238001564031314,
            0.002183141782418967,
            0.0019919908056625197,
            0.0017966747574881244,
            0.001805705222066861,
        ][i];
        let own = Passage::new(left, drift, 4.656714607875122e-08, 0.00012340537638095238).unwrap();
        let spans = [
            [0.1, 0.9].map(|p| 1000.0 * line.crossing(10.0, p).unwrap()),
            [0.1, 0.9].map(|p| 2000.0 + common.quantile(p).unwrap()),
            [0.1, 0.9].map(|p| 2000.0 + own.quantile(p).unwrap()),
        ];
        if i == 0 {
            close(prediction.mean, 2.76573894242512, 1e-6, "slope");
            close(
                prediction.variance,
                0.001647062092239255,
                1e-5,
                "its variance",
            );
        }
        for (count, [low, high]) in held.iter_mut().zip(spans) {
            *count += u32::from(low <= CAME_AT[i] && CAME_AT[i] <= high);
        }
    }
    assert_eq!(held, [1, 6, 13]);
}

#[test]
fn pseudo_lives_of_the_lasers() {
    // scipy's fits
    let lives: Vec<Life> = paths(LASERS)
        .iter()
        .map(|(t, y)| {
            let (ty, tt) = t
                .iter()
                .zip(y)
                .fold((0.0, 0.0), |(a, b), (t, y)| (a + t * y, b + t * t));
            Life::to(10.0 * tt / ty, true)
        })
        .collect();
    let weibull = SurvivalModel::new(Distribution::Weibull)
        .fit_sample(&lives)
        .unwrap();
    close(weibull.coef[0], 8.609361773359883, 1e-6, "ln scale");
    close(weibull.ln_sigma, -1.8870669315096924, 1e-6, "ln sigma");
    close(weibull.loglik, -123.68486260529401, 1e-9, "log-likelihood");
    let log_normal = SurvivalModel::new(Distribution::LogNormal)
        .fit_sample(&lives)
        .unwrap();
    close(log_normal.coef[0], 8.515903855253521, 1e-6, "mu");
    close(log_normal.ln_sigma, -1.589257935960069, 1e-6, "ln sigma");
}

/// θ₁, θ₂, their standard errors, residual sum of squares, fitted crossing of 1.6 in;
/// 40-digit iterations agreed with MINPACK.
#[rustfmt::skip]
const PARIS: [[f64; 6]; 21] = [
    [1.293818207732719, 5.285317310376484, 0.0956924943179956, 0.06466457168486496, 0.0006047865995954259, 0.08798476422488895],
    [1.2695599222557408, 4.657127324742441, 0.02878475860604448, 0.01601452972094822, 5.566509668372528e-05, 0.10021023002639254],
    [1.586899815971231, 4.43796414014626, 0.05928899844646786, 0.038166294157296096, 0.0006058801528532624, 0.10048200581605644],
    [1.5782762250575617, 4.352532117515411, 0.07328219872250966, 0.04382170935172366, 0.0007744016689032484, 0.10257738712820756],
    [1.5157158608501378, 4.36272773669098, 0.06691580361552808, 0.03966533888807289, 0.0006039285024259097, 0.10323919980832037],
    [1.4932368013493265, 4.285045730187446, 0.10534381859869556, 0.05816765862467467, 0.0012589260309612664, 0.10544524188537385],
    [1.5125608590891348, 4.250196962024053, 0.05684573393312063, 0.030622400226559945, 0.0003521563511165533, 0.10601979943354385],
    [1.4804800792077024, 4.164643698927298, 0.05043959538665386, 0.025035330641571957, 0.0002280782775771423, 0.10869014490178273],
    [1.61031088949761, 3.947196738906648, 0.07053811612033058, 0.03722809542238895, 0.0008039148891659194, 0.11260865741618688],
    [1.709380749103006, 3.7985060873567122, 0.05152254820595035, 0.02417669868925338, 0.0003537479938173303, 0.11543674150943856],
    [1.8455683561689225, 3.667148835163821, 0.07748392877420428, 0.03285507098434446, 0.0007021519231702495, 0.1174074508932145],
    [2.1941052526981233, 3.4894189118585297, 0.08480068721965961, 0.032066701173042805, 0.0008229387340331552, 0.11801104857818508],
    [1.8668533911203844, 3.361523644514103, 0.13206888884054105, 0.03965744300225713, 0.0010176193738225575, 0.1277224518278548],
    [0.8862438947049482, 3.52333916294423, 0.1042809022593207, 0.0316668702800343, 0.000401427627998128, 0.14044599347141595],
    [1.4118305265689777, 3.4848075824455007, 0.07032682992973203, 0.02235104848881793, 0.0002534981567978226, 0.13117438801917408],
    [1.9421086526627434, 3.0454159750040604, 0.11142107439686147, 0.02228122731439683, 0.000363799505865391, 0.13959880319763948],
    [1.59979433937344, 3.048466769188656, 0.16877397203610667, 0.032443872616392345, 0.0006820477313317462, 0.14602001443334656],
    [1.6375999140940063, 2.9185350838822783, 0.15485701711380825, 0.02481686884264423, 0.0004418847480734253, 0.15172538009865877],
    [1.9620466972019712, 2.7161774638118277, 0.060523922114138685, 0.007184878776477985, 4.899799481071271e-05, 0.15611629657288822],
    [1.6068257069263727, 2.6976968811890183, 0.09842473780963065, 0.011099108354179281, 0.00010781291949505935, 0.16484551599330158],
    [1.6103974056121506, 2.6015928767422545, 0.10627848205139293, 0.010176758275273992, 0.00010120841136722027, 0.17085040572659332],
];

#[test]
fn crack_growth_by_the_law_of_paris() {
    for ((cycles, inches), expected) in paths(CRACKS).iter().zip(PARIS) {
        let growth = |i: usize, b: &[f64]| {
            0.9 / (1.0 - 0.9_f64.powf(b[0]) * b[0] * b[1] * cycles[i]).powf(1.0 / b[0])
        };
        let fit = fit_curve(growth, inches, &[1.5, 4.0], &CurveOptions::default()).unwrap();
        let (a, b) = (fit.parameters[0], fit.parameters[1]);
        let crossing = (1.0 - (1.6_f64 / 0.9).powf(-a)) / (0.9_f64.powf(a) * a * b);
        let got = [a, b, fit.se()[0], fit.se()[1], fit.rss, crossing];
        for (g, e) in got.iter().zip(expected) {
            close(*g, e, 1e-5, "crack growth");
        }
    }
}
