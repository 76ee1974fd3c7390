#![allow(clippy::unwrap_used)]

use super::*;

/// A problem of the NIST Statistical Reference Datasets (nonlinear regression).
struct Problem {
    name: &'static str,
    model: fn(f64, &[f64]) -> f64,
    /// The certified starts: far, near.
    starts: [&'static [f64]; 2],
    /// Agree with the certified values to all printed digits.
    parameters: &'static [f64],
    se: &'static [f64],
    rss: f64,
    /// x, y
    rows: &'static [[f64; 2]],
}

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{what}: {got} against {expected}"
    );
}

fn fit(problem: &Problem, start: &[f64]) -> Result<CurveFit, StatsError> {
    let y: Vec<f64> = problem.rows.iter().map(|r| r[1]).collect();
    fit_curve(
        |i, b| (problem.model)(problem.rows[i][0], b),
        &y,
        start,
        &CurveOptions::default(),
    )
}

fn check(problem: &Problem, fit: &CurveFit) {
    for (j, (b, se)) in problem.parameters.iter().zip(problem.se).enumerate() {
        close(fit.parameters[j], *b, 1e-6, problem.name);
        close(fit.se()[j], *se, 1e-5, problem.name);
    }
    close(fit.rss, problem.rss, 1e-9, problem.name);
}

#[test]
fn nist_problems_from_the_near_start() {
    for problem in &NIST {
        check(problem, &fit(problem, problem.starts[1]).unwrap());
    }
}

#[test]
fn nist_problems_from_the_far_start() {
    for problem in NIST.iter().filter(|p| !HARD.contains(&p.name)) {
        check(problem, &fit(problem, problem.starts[0]).unwrap());
    }
}

/// Whose far start lies outside the valley; NIST calls them of higher difficulty.
const HARD: [&str; 3] = ["MGH09", "MGH10", "BoxBOD"];

#[test]
fn hard_starts_end_at_the_certified_values_or_say_why_not() {
    for problem in NIST.iter().filter(|p| HARD.contains(&p.name)) {
        match fit(problem, problem.starts[0]) {
            Ok(found) if found.rss < 1.001 * problem.rss => check(problem, &found),
            // a flat far side is a stationary point too, with a worse fit
            Ok(found) => assert!(found.rss > problem.rss),
            Err(error) => assert!(matches!(
                error,
                StatsError::NotConverged { .. }
                    | StatsError::Singular { .. }
                    | StatsError::NotFinite { .. }
            )),
        }
    }
}

/// Yoon & Nelson 1984: the share that breaks through after so many litres, from
/// rate and midpoint.
fn breakthrough(litres: f64, b: &[f64]) -> f64 {
    1.0 / (1.0 + (b[0] * (b[1] - litres)).exp())
}

#[test]
fn breakthrough_curves_whole_and_their_first_tenth() {
    for case in &BREAKTHROUGH {
        let y: Vec<f64> = case.rows.iter().map(|r| r[1]).collect();
        let model = |i: usize, b: &[f64]| breakthrough(case.rows[i][0], b);
        let fit = fit_curve(model, &y, &[0.001, 7000.0], &CurveOptions::default()).unwrap();
        for j in 0..2 {
            close(fit.parameters[j], case.parameters[j], 1e-6, "parameter");
            close(fit.se()[j], case.se[j], 1e-5, "standard error");
        }
        for [ratio, litres, se] in case.litres_at {
            let odds = (1.0 / ratio - 1.0_f64).ln();
            let (k, tau) = (fit.parameters[0], fit.parameters[1]);
            close(tau - odds / k, *litres, 1e-6, "litres");
            close(
                fit.delta_se(&[odds / (k * k), 1.0]).unwrap(),
                *se,
                1e-5,
                "their error",
            );
        }
    }
}

/// Rows of known variance and a belief, in a model that happens to be linear:
/// the conjugate normal posterior.
#[test]
fn a_prior_and_known_variances_give_the_conjugate_posterior() {
    let (y, weights) = ([3.0, 5.0, 4.0], [4.0, 1.0, 1.0]);
    let prior = GaussianPrior::independent(&[2.0], &[0.5]).unwrap();
    let options = CurveOptions {
        weights: Some(&weights),
        known_variance: true,
        prior: Some(&prior),
        ..CurveOptions::default()
    };
    let fit = fit_curve(|_, b| b[0], &y, &[0.1], &options).unwrap();
    close(
        fit.parameters[0],
        (12.0 + 5.0 + 4.0 + 2.0 * 4.0) / 10.0,
        1e-9,
        "mean",
    );
    close(fit.se()[0], 0.1_f64.sqrt(), 1e-9, "sd");
}

#[test]
fn what_cannot_be_told_apart_is_refused() {
    let y = [1.0, 2.0, 2.9];
    let sum = |i: usize, b: &[f64]| (b[0] + b[1]) * i as f64;
    let refused = fit_curve(sum, &y, &[1.0, 1.0], &CurveOptions::default()).unwrap_err();
    assert_eq!(refused, StatsError::Singular { what: "curve" });
    let nan = fit_curve(|_, b| b[0].ln(), &y, &[-1.0], &CurveOptions::default());
    assert!(nan.is_err());
    assert!(fit_curve(sum, &y[..1], &[1.0, 1.0], &CurveOptions::default()).is_err());
}

struct Breakthrough {
    rows: &'static [[f64; 2]],
    parameters: [f64; 2],
    se: [f64; 2],
    /// Ratio, litres until then, their standard error.
    litres_at: &'static [[f64; 3]],
}

/// Synthetic curves with noise; expected by MINPACK and 40-digit iterations.
#[rustfmt::skip]
const BREAKTHROUGH: [Breakthrough; 2] = [
    Breakthrough {
        rows: &[
            [1000.0, 0.00583], [1500.0, 0.0], [2000.0, 0.01199], [2500.0, 0.02229], [3000.0, 0.00523],
            [3500.0, 0.02058], [4000.0, 0.05289], [4500.0, 0.05786], [5000.0, 0.13416], [5500.0, 0.2323],
            [6000.0, 0.33785], [6500.0, 0.5036], [7000.0, 0.66455], [7500.0, 0.7689], [8000.0, 0.87304],
            [8500.0, 0.92054], [9000.0, 0.94351], [9500.0, 0.98422], [10000.0, 1.00437], [10500.0, 0.98851],
            [11000.0, 0.99881], [11500.0, 0.98847], [12000.0, 1.01097], [12500.0, 0.99825],
        ],
        parameters: [0.0012542391540319607, 6496.53165306582],
        se: [2.1200947723837125e-05, 15.305473187869753],
        litres_at: &[[0.02, 3393.5984639688904, 54.63785573587308], [0.05, 4148.941905368141, 42.53179353911272], [0.1, 4744.693042165439, 33.333764525401726]],
    },
    Breakthrough {
        rows: &[
            [1000.0, 0.00141], [1250.0, 0.00056], [1500.0, 0.00245], [1750.0, 0.00352], [2000.0, 0.00279],
            [2250.0, 0.00414], [2500.0, 0.00637], [2750.0, 0.00623], [3000.0, 0.00984], [3250.0, 0.01345],
            [3500.0, 0.01607], [3750.0, 0.02223], [4000.0, 0.02963], [4250.0, 0.03695], [4500.0, 0.0492],
            [4750.0, 0.06303], [5000.0, 0.0807],
        ],
        parameters: [0.0010887286080285277, 7230.85348356885],
        se: [1.1894481380097853e-05, 29.03869098950034],
        litres_at: &[[0.02, 3656.2066253789612, 11.717273048718772], [0.05, 4526.378780274116, 5.315169809909905], [0.1, 5212.697111876772, 8.351692061492875]],
    },
];

#[rustfmt::skip]
const NIST: [Problem; 7] = [
    Problem {
        name: "Misra1a",
        model: |x, b| b[0] * (1.0 - (-b[1] * x).exp()),
        starts: [&[500.0, 0.0001], &[250.0, 0.0005]],
        parameters: &[238.9421291788617, 0.0005501564318059136],
        se: &[2.7070075241394482, 7.266868843619039e-06],
        rss: 0.12455138894440551,
        rows: &[
            [77.6, 10.07], [114.9, 14.73], [141.1, 17.94], [190.8, 23.93], [239.9, 29.61],
            [289.0, 35.18], [332.8, 40.02], [378.4, 44.82], [434.8, 50.76], [477.3, 55.05],
            [536.8, 61.01], [593.1, 66.4], [689.1, 75.47], [760.0, 81.78],
        ],
    },
    Problem {
        name: "Rat42",
        model: |x, b| b[0] / (1.0 + (b[1] - b[2] * x).exp()),
        starts: [&[100.0, 1.0, 0.1], &[75.0, 2.5, 0.07]],
        parameters: &[72.46223757556919, 2.618076840208497, 0.06735920006610502],
        se: &[1.7340283400542318, 0.08829521753645912, 0.0034465663376822913],
        rss: 8.0565229338113,
        rows: &[
            [9.0, 8.93], [14.0, 10.8], [21.0, 18.59], [28.0, 22.33], [42.0, 39.35],
            [57.0, 56.11], [63.0, 61.73], [70.0, 64.62], [79.0, 67.08],
        ],
    },
    Problem {
        name: "Rat43",
        model: |x, b| b[0] / (1.0 + (b[1] - b[2] * x).exp()).powf(1.0 / b[3]),
        starts: [&[100.0, 10.0, 1.0, 1.0], &[700.0, 5.0, 0.75, 1.3]],
        parameters: &[699.6415126964457, 5.27712530245004, 0.7596293832941341, 1.2792483859097123],
        se: &[16.30229781669706, 2.0828735829461316, 0.19566123450887635, 0.6876193638497281],
        rss: 8786.404907963148,
        rows: &[
            [1.0, 16.08], [2.0, 33.83], [3.0, 65.8], [4.0, 97.2], [5.0, 191.55],
            [6.0, 326.2], [7.0, 386.87], [8.0, 520.53], [9.0, 590.03], [10.0, 651.92],
            [11.0, 724.93], [12.0, 699.56], [13.0, 689.96], [14.0, 637.56], [15.0, 717.41],
        ],
    },
    Problem {
        name: "MGH09",
        model: |x, b| b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3]),
        starts: [&[25.0, 39.0, 41.5, 39.0], &[0.25, 0.39, 0.415, 0.39]],
        parameters: &[0.19280693457903786, 0.19128232873436696, 0.12305650692632066, 0.13606233068379484],
        se: &[0.011435312226554256, 0.19633220911016247, 0.08084203123175195, 0.0900255423082374],
        rss: 0.00030750560384923745,
        rows: &[
            [4.0, 0.1957], [2.0, 0.1947], [1.0, 0.1735], [0.5, 0.16], [0.25, 0.0844],
            [0.167, 0.0627], [0.125, 0.0456], [0.1, 0.0342], [0.0833, 0.0323], [0.0714, 0.0235],
            [0.0625, 0.0246],
        ],
    },
    Problem {
        name: "Thurber",
        model: |x, b| (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6]))),
        starts: [&[1000.0, 1000.0, 400.0, 40.0, 0.7, 0.3, 0.03], &[1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05]],
        parameters: &[1288.1396799537592, 1491.0792535421924, 583.2383687666528, 75.41664429100803, 0.9662950286446008, 0.3979728579739003, 0.0497272973488459],
        se: &[4.6647963343558, 39.57115608579641, 28.69869610152483, 5.567537027020101, 0.03133334068702879, 0.014984928197710795, 0.006584234462309519],
        rss: 5642.708239667012,
        rows: &[
            [-3.067, 80.574], [-2.981, 84.248], [-2.921, 87.264], [-2.912, 87.195], [-2.84, 89.076],
            [-2.797, 89.608], [-2.702, 89.868], [-2.699, 90.101], [-2.633, 92.405], [-2.481, 95.854],
            [-2.363, 100.696], [-2.322, 101.06], [-1.501, 401.672], [-1.46, 390.724], [-1.274, 567.534],
            [-1.212, 635.316], [-1.1, 733.054], [-1.046, 759.087], [-0.915, 894.206], [-0.714, 990.785],
            [-0.566, 1090.109], [-0.545, 1080.914], [-0.4, 1122.643], [-0.309, 1178.351], [-0.109, 1260.531],
            [-0.103, 1273.514], [0.01, 1288.339], [0.119, 1327.543], [0.377, 1353.863], [0.79, 1414.509],
            [0.963, 1425.208], [1.006, 1421.384], [1.115, 1442.962], [1.572, 1464.35], [1.841, 1468.705],
            [2.047, 1447.894], [2.2, 1457.628],
        ],
    },
    Problem {
        name: "MGH10",
        model: |x, b| b[0] * (b[1] / (x + b[2])).exp(),
        starts: [&[2.0, 400000.0, 25000.0], &[0.02, 4000.0, 250.0]],
        parameters: &[0.005609636471028053, 6181.346346286372, 345.2236346241365],
        se: &[0.0001568789247088753, 23.309021106879285, 0.7848610350764592],
        rss: 87.94585517085112,
        rows: &[
            [50.0, 34780.0], [55.0, 28610.0], [60.0, 23650.0], [65.0, 19630.0], [70.0, 16370.0],
            [75.0, 13720.0], [80.0, 11540.0], [85.0, 9744.0], [90.0, 8261.0], [95.0, 7030.0],
            [100.0, 6005.0], [105.0, 5147.0], [110.0, 4427.0], [115.0, 3820.0], [120.0, 3307.0],
            [125.0, 2872.0],
        ],
    },
    Problem {
        name: "BoxBOD",
        model: |x, b| b[0] * (1.0 - (-b[1] * x).exp()),
        starts: [&[1.0, 1.0], &[100.0, 0.75]],
        parameters: &[213.8094088903979, 0.5472374854191994],
        se: &[12.354515176475998, 0.10455993237007305],
        rss: 1168.0088765555524,
        rows: &[
            [1.0, 109.0], [2.0, 149.0], [3.0, 149.0], [5.0, 191.0], [7.0, 213.0],
            [10.0, 224.0],
        ],
    },
];
