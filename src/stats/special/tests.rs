//! Expected values: roots of the distribution functions and `erfc` to 40 digits,
//! agreed with a second library to 14 or more.

#![allow(clippy::panic, clippy::approx_constant)]

use super::*;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let error = (got - expected).abs();
    assert!(
        error <= relative * expected.abs() + 1e-300,
        "{what}: {got} against {expected}"
    );
}

#[test]
fn quantiles_match_to_full_precision() {
    for &(dist, parameters, p, expected) in QUANTILES {
        let got = match (dist, parameters) {
            ("normal", []) => normal_quantile(p),
            ("t", [nu]) => student_t_quantile(*nu, p),
            ("chi2", [df]) => chi_squared_quantile(*df, p),
            ("F", [d1, d2]) => f_quantile(*d1, *d2, p),
            ("beta", [a, b]) => beta_quantile(*a, *b, p),
            ("gamma", [shape]) => gamma_quantile(*shape, p),
            _ => panic!("{dist}"),
        };
        close(got, expected, 1e-12, &format!("{dist} {parameters:?} {p}"));
    }
}

#[test]
fn far_normal_tails_keep_their_digits() {
    for &(z, ln_upper_tail, hazard) in NORMAL_TAILS {
        close(
            ln_normal_sf(z),
            ln_upper_tail,
            1e-12,
            &format!("ln tail at {z}"),
        );
        close(
            ln_normal_cdf(-z),
            ln_upper_tail,
            1e-12,
            &format!("mirrored ln tail at {z}"),
        );
        close(normal_hazard(z), hazard, 1e-12, &format!("hazard at {z}"));
    }
}

#[test]
fn quantile_and_distribution_function_undo_each_other() {
    close(
        normal_cdf(normal_quantile(1e-250)),
        1e-250,
        1e-12,
        "far normal",
    );
    for p in [1e-30, 1e-12, 1e-6, 0.001, 0.07, 0.3, 0.5, 0.6, 0.93, 0.999] {
        close(normal_cdf(normal_quantile(p)), p, 1e-12, "normal");
        close(gamma_p(0.7, gamma_quantile(0.7, p)), p, 1e-11, "gamma");
        close(
            gamma_p(400.0, gamma_quantile(400.0, p)),
            p,
            1e-10,
            "gamma 400",
        );
        close(
            student_t_cdf(3.0, student_t_quantile(3.0, p)),
            p,
            1e-11,
            "t",
        );
        close(
            incomplete_beta(3.0, 0.6, beta_quantile(3.0, 0.6, p)),
            p,
            1e-11,
            "beta",
        );
        close(f_cdf(3.0, 8.0, f_quantile(3.0, 8.0, p)), p, 1e-11, "F");
    }
}

#[test]
fn closed_forms_agree() {
    close(
        ln_gamma(0.5),
        0.5 * std::f64::consts::PI.ln(),
        1e-15,
        "ln gamma 1/2",
    );
    close(ln_gamma(11.0), 3_628_800_f64.ln(), 1e-15, "ln 10!");
    close(
        gamma_q(1.0, 40.0),
        (-40.0_f64).exp(),
        1e-14,
        "exponential tail",
    );
    close(incomplete_beta(2.0, 3.0, 0.2), 0.1808, 1e-14, "beta 2, 3"); // 6x²−8x³+3x⁴
    close(student_t_cdf(1.0, 1.0), 0.75, 1e-15, "Cauchy");
}

#[test]
fn outside_the_domain_is_nan_and_the_ends_are_the_ends() {
    assert!(normal_quantile(-0.1).is_nan());
    assert!(gamma_quantile(-1.0, 0.5).is_nan());
    assert!(beta_quantile(1.0, 1.0, 1.5).is_nan());
    assert_eq!(normal_quantile(1.0), f64::INFINITY);
    assert_eq!(gamma_quantile(2.0, 0.0), 0.0);
    assert_eq!(student_t_quantile(4.0, 0.0), f64::NEG_INFINITY);
}

/// (distribution, parameters, p, quantile)
const QUANTILES: &[(&str, &[f64], f64, f64)] = &[
    ("normal", &[], 0.005, -2.575829303548901),
    ("normal", &[], 0.025, -1.9599639845400545),
    ("normal", &[], 0.1, -1.2815515655446004),
    ("normal", &[], 0.5, 0.0),
    ("normal", &[], 0.9, 1.2815515655446004),
    ("normal", &[], 0.975, 1.959963984540054),
    ("normal", &[], 0.999, 3.090232306167813),
    ("t", &[1.0], 0.6, 0.32491969623290634),
    ("t", &[1.0], 0.9, 3.0776835371752544),
    ("t", &[1.0], 0.975, 12.706204736174694),
    ("t", &[1.0], 0.995, 63.656741162871526),
    ("t", &[2.5], 0.6, 0.2814595127485477),
    ("t", &[2.5], 0.9, 1.7302509288071766),
    ("t", &[2.5], 0.975, 3.5746548420036817),
    ("t", &[2.5], 0.995, 7.163728138948783),
    ("t", &[7.0], 0.6, 0.2631668613520229),
    ("t", &[7.0], 0.9, 1.4149239276505086),
    ("t", &[7.0], 0.975, 2.364624251592784),
    ("t", &[7.0], 0.995, 3.4994832973504924),
    ("t", &[30.0], 0.6, 0.2556053649519128),
    ("t", &[30.0], 0.9, 1.3104150253913955),
    ("t", &[30.0], 0.975, 2.0422724563012378),
    ("t", &[30.0], 0.995, 2.7499956535672254),
    ("chi2", &[1.0], 0.05, 0.003932140000019522),
    ("chi2", &[1.0], 0.5, 0.454936423119572),
    ("chi2", &[1.0], 0.95, 3.841458820694124),
    ("chi2", &[2.0], 0.05, 0.10258658877510106),
    ("chi2", &[2.0], 0.5, 1.386294361119891),
    ("chi2", &[2.0], 0.95, 5.991464547107979),
    ("chi2", &[10.0], 0.05, 3.9402991361190605),
    ("chi2", &[10.0], 0.5, 9.34181776559197),
    ("chi2", &[10.0], 0.95, 18.307038053275146),
    ("chi2", &[26.0], 0.05, 15.379156583261723),
    ("chi2", &[26.0], 0.5, 25.336458117477264),
    ("chi2", &[26.0], 0.95, 38.885138659830055),
    ("F", &[1.0, 34.0], 0.95, 4.130017745652016),
    ("F", &[1.0, 34.0], 0.99, 7.4441358222632354),
    ("F", &[3.0, 12.0], 0.95, 3.490294819497605),
    ("F", &[3.0, 12.0], 0.99, 5.952544681545868),
    ("F", &[6.0, 9.0], 0.95, 3.3737536470392118),
    ("F", &[6.0, 9.0], 0.99, 5.801770306535125),
    ("F", &[2.0, 97.0], 0.95, 3.0901866751548597),
    ("F", &[2.0, 97.0], 0.99, 4.830892534541941),
    ("beta", &[2.5, 7.0], 0.1, 0.09909891366857027),
    ("beta", &[2.5, 7.0], 0.9, 0.4517268017641158),
    ("beta", &[0.5, 0.5], 0.1, 0.024471741852423214),
    ("beta", &[0.5, 0.5], 0.9, 0.9755282581475768),
    ("beta", &[20.0, 3.0], 0.1, 0.7757760609265911),
    ("beta", &[20.0, 3.0], 0.9, 0.948825870112923),
    ("gamma", &[0.3], 0.1, 0.0003237246218234327),
    ("gamma", &[0.3], 0.9, 0.8848107733602443),
    ("gamma", &[2.0], 0.1, 0.531811608389612),
    ("gamma", &[2.0], 0.9, 3.889720169867429),
    ("gamma", &[15.0], 0.1, 10.299617307292673),
    ("gamma", &[15.0], 0.9, 20.1280118693559),
];

/// (z, ln of the upper tail, hazard)
const NORMAL_TAILS: &[(f64, f64, f64)] = &[
    (-8.0, -6.220960574271786e-16, 5.052271083536895e-15),
    (-3.0, -0.0013508099647481938, 0.004437839042125664),
    (0.0, -0.6931471805599453, 0.7978845608028654),
    (1.0, -1.8410216450092636, 1.525135276160981),
    (3.0, -6.607726221510349, 3.2830986549304364),
    (6.0, -20.736768949974707, 6.158482604544599),
    (10.0, -53.23128515051247, 10.098093233962512),
    (20.0, -203.91715537109727, 20.04975306852785),
    (38.0, -726.5572160188201, 38.02627946657587),
    (60.0, -1805.0135606805673, 60.016657420241124),
];
