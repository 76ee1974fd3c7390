#![allow(clippy::unwrap_used)]

use super::*;

fn close(got: f64, expected: f64, relative: f64) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{got} against {expected}"
    );
}

/// NIST Statistical Reference Datasets: Norris, calibration of ozone monitors.
#[rustfmt::skip]
const NORRIS: [[f64; 2]; 36] = [
    [0.2, 0.1], [337.4, 338.8], [118.2, 118.1], [884.6, 888.0], [10.1, 9.2], [226.5, 228.1],
    [666.3, 668.5], [996.3, 998.5], [448.6, 449.1], [777.0, 778.9], [558.2, 559.2], [0.4, 0.3],
    [0.6, 0.1], [775.5, 778.1], [666.9, 668.8], [338.0, 339.3], [447.5, 448.9], [11.6, 10.8],
    [556.0, 557.7], [228.1, 228.3], [995.8, 998.0], [887.6, 888.8], [120.2, 119.6], [0.3, 0.3],
    [0.3, 0.6], [556.8, 557.6], [339.1, 339.3], [887.2, 888.0], [999.0, 998.5], [779.0, 778.9],
    [11.1, 10.2], [118.3, 117.6], [229.2, 228.9], [669.1, 668.4], [448.9, 449.2], [0.5, 0.2],
];

/// Longley 1967, JASA 62:819 (NIST StRD): employment, then gnpdefl, gnp, unemp, armed, pop, year.
#[rustfmt::skip]
const LONGLEY: [[f64; 7]; 16] = [
    [60323.0, 83.0, 234289.0, 2356.0, 1590.0, 107608.0, 1947.0],
    [61122.0, 88.5, 259426.0, 2325.0, 1456.0, 108632.0, 1948.0],
    [60171.0, 88.2, 258054.0, 3682.0, 1616.0, 109773.0, 1949.0],
    [61187.0, 89.5, 284599.0, 3351.0, 1650.0, 110929.0, 1950.0],
    [63221.0, 96.2, 328975.0, 2099.0, 3099.0, 112075.0, 1951.0],
    [63639.0, 98.1, 346999.0, 1932.0, 3594.0, 113270.0, 1952.0],
    [64989.0, 99.0, 365385.0, 1870.0, 3547.0, 115094.0, 1953.0],
    [63761.0, 100.0, 363112.0, 3578.0, 3350.0, 116219.0, 1954.0],
    [66019.0, 101.2, 397469.0, 2904.0, 3048.0, 117388.0, 1955.0],
    [67857.0, 104.6, 419180.0, 2822.0, 2857.0, 118734.0, 1956.0],
    [68169.0, 108.4, 442769.0, 2936.0, 2798.0, 120445.0, 1957.0],
    [66513.0, 110.8, 444546.0, 4681.0, 2637.0, 121950.0, 1958.0],
    [68655.0, 112.6, 482704.0, 3813.0, 2552.0, 123366.0, 1959.0],
    [69564.0, 114.2, 502601.0, 3931.0, 2514.0, 125368.0, 1960.0],
    [69331.0, 115.7, 518173.0, 4806.0, 2572.0, 127852.0, 1961.0],
    [70551.0, 116.9, 554894.0, 4007.0, 2827.0, 130081.0, 1962.0],
];

/// Expected: 40-digit normal equations, equal to NIST's certified values.
fn check(fit: &LinearFit, coef: &[f64], se: &[f64], rss: f64, relative: f64) {
    for (j, (b, s)) in coef.iter().zip(se).enumerate() {
        close(fit.coef[j], *b, relative);
        close(fit.se()[j], *s, relative);
    }
    close(fit.rss, rss, relative);
}

#[test]
fn norris_to_nine_digits() {
    let design = DMatrix::from_fn(36, 2, |i, j| if j == 0 { 1.0 } else { NORRIS[i][0] });
    let y: Vec<f64> = NORRIS.iter().map(|r| r[1]).collect();
    let fit = least_squares(&design, &y, None).unwrap();
    let (coef, se) = (
        [-0.26232307377402947, 1.0021168180204545],
        [0.2328182343011525, 0.0004297968481999369],
    );
    check(&fit, &coef, &se, 26.61739852942236, 1e-9);
    assert_eq!(fit.degrees_of_freedom, 34);
    // the line and its standard error at x = 500
    let x = DVector::from_column_slice(&[1.0, 500.0]);
    close(x.dot(&fit.coef), 500.79608593645315, 1e-9);
    close(x.dot(&(&fit.cov * &x)).sqrt(), 0.15150217580019068, 1e-9);
}

#[test]
fn longley_in_spite_of_near_collinearity() {
    let design = DMatrix::from_fn(16, 7, |i, j| if j == 0 { 1.0 } else { LONGLEY[i][j] });
    let y: Vec<f64> = LONGLEY.iter().map(|r| r[0]).collect();
    let coef = [
        -3482258.6345958184,
        15.061872271373295,
        -0.035819179292591014,
        -2.020229803816825,
        -1.033226867173592,
        -0.051104105653580714,
        1829.1514646135518,
    ];
    let se = [
        890420.3836073725,
        84.91492577476694,
        0.03349100777224319,
        0.48839968165169945,
        0.21427416316167527,
        0.22607320006937037,
        455.478499142212,
    ];
    check(
        &least_squares(&design, &y, None).unwrap(),
        &coef,
        &se,
        836424.0555059146,
        1e-6,
    );
}

#[test]
fn weights_count_rows_and_a_row_of_weight_zero_is_absent() {
    let design = DMatrix::from_row_slice(4, 2, &[1.0, 0.0, 1.0, 1.0, 1.0, 3.0, 1.0, 9.0]);
    let weighted =
        least_squares(&design, &[1.0, 2.0, 2.5, 70.0], Some(&[1.0, 2.0, 1.0, 0.0])).unwrap();
    let repeated = DMatrix::from_row_slice(4, 2, &[1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0, 3.0]);
    let plain = least_squares(&repeated, &[1.0, 2.0, 2.0, 2.5], None).unwrap();
    close(weighted.coef[1], plain.coef[1], 1e-12);
    close(weighted.rss, plain.rss, 1e-12);
}

#[test]
fn columns_that_depend_on_each_other_are_refused() {
    let design = DMatrix::from_fn(5, 3, |i, j| [1.0, i as f64, 2.0 + 3.0 * i as f64][j]);
    let refused = least_squares(&design, &[1.0, 2.0, 3.0, 4.0, 6.0], None);
    assert_eq!(
        refused.unwrap_err(),
        StatsError::Singular {
            what: "design matrix"
        }
    );
    assert!(least_squares(&design, &[1.0; 4], None).is_err());
}
