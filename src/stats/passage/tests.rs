#![allow(clippy::unwrap_used)]

use super::*;

fn close(got: f64, expected: f64, relative: f64) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{got} against {expected}"
    );
}

struct Wiener {
    drift: f64,
    sigma: f64,
    distance: f64,
    /// Time, distribution function, density.
    at: &'static [[f64; 3]],
    /// 10, 50 and 90 % quantiles.
    quantiles: [f64; 3],
}

/// Closed forms in 40 digits, agreed with scipy's invgauss.
#[rustfmt::skip]
const WIENER: [Wiener; 5] = [
    Wiener {
        drift: 0.002, sigma: 0.01, distance: 10.0,
        at: &[[4000.0, 0.0008770334729189808, 1.0625458253150438e-05], [4800.0, 0.2937734891515765, 0.0010154669568892768], [5000.0, 0.5140871743705256, 0.0011283791670955124], [5500.0, 0.916904237418086, 0.00039405139218911915]],
        quantiles: [4555.856573275256, 4987.536323609531, 5460.1560087131165],
    },
    Wiener {
        drift: 1.0, sigma: 1.0, distance: 1.0,
        at: &[[0.2, 0.06375356751997625, 0.9005211168038416], [0.5, 0.3649755481729599, 0.8787825789354448], [1.0, 0.6681020012231706, 0.3989422804014327], [3.0, 0.9531879207427884, 0.03941835796981973]],
        quantiles: [0.2376247087271449, 0.6758413056952396, 2.143033912957149],
    },
    Wiener {
        drift: 0.5, sigma: 0.2, distance: 2.5,
        at: &[[3.0, 0.0024779274326018493, 0.014879140868660644], [4.5, 0.3075653982787859, 0.4391399626594912], [5.0, 0.5354036137891914, 0.44603102903819275], [6.5, 0.9412381400132955, 0.10201413228520229]],
        quantiles: [3.9192122162421, 4.921458953881101, 6.181666067907148],
    },
    Wiener {
        drift: 1e-05, sigma: 0.0003, distance: 0.9,
        at: &[[60000.0, 2.6965155988044167e-05, 1.957418832722739e-08], [90000.0, 0.519897615648327, 4.4326920044603636e-05], [120000.0, 0.9983591324667609, 4.463742260598178e-07]],
        quantiles: [78801.46166694818, 89552.60569811288, 101773.31177620086],
    },
    Wiener {
        drift: 0.3, sigma: 2.0, distance: 4.0,
        at: &[[2.0, 0.209303320544306, 0.13696742933702535], [10.0, 0.6816951349662149, 0.024917896664512496], [60.0, 0.9586646582446986, 0.001141238127345715]],
        quantiles: [1.2603630533813068, 5.2118635280123735, 32.35585947905578],
    },
];

#[test]
fn inverse_gaussian_first_passage() {
    for case in &WIENER {
        let passage =
            Passage::new(case.distance, case.drift, 0.0, case.sigma * case.sigma).unwrap();
        for [t, cdf, pdf] in case.at {
            assert!((passage.cdf(*t) - cdf).abs() <= 1e-9);
            close(passage.pdf(*t), *pdf, 1e-9);
        }
        for (p, t) in [0.1, 0.5, 0.9].iter().zip(case.quantiles) {
            close(passage.quantile(*p).unwrap(), t, 1e-7);
        }
        assert_eq!(passage.ever(), 1.0);
    }
}

/// GaAs lasers (Meeker & Escobar 1998), the first 2,000 h: distance still to go,
/// mean drift of the unit; 10, 50 and 90 % quantiles of the hours to come, first
/// with one common drift and σ, then with a drift per unit and its variance.
/// Agreed with scipy and with Gauss–Hermite quadrature over the drift.
#[rustfmt::skip]
const LASERS: [(f64, f64, [f64; 3], [f64; 3]); 5] = [
    (4.5218, 0.002566070339596508, [3821.4455132974467, 4154.559733733597, 4548.799304405555], [3486.771408330075, 3752.8335429270787, 4090.611014766844]),
    (5.0106, 0.0023859033564909327, [4036.9551912979387, 4389.458095213438, 4803.146033700774], [3766.9372492326875, 4089.306604620129, 4503.874535653511]),
    (7.0603, 0.0016304036321220748, [4949.560410370949, 5374.491596672844, 5860.76865931007], [5520.565586840529, 6307.319511705069, 7424.525152494112]),
    (3.7439999999999998, 0.002852759945692082, [3480.852662417947, 3780.7887346570833, 4141.7234250768615], [3108.0213453021406, 3304.8797748481247, 3551.1891946344967]),
    (6.5847, 0.001805705222066861, [4736.741008033148, 5145.927696815808, 5616.431804313647], [5000.151537412628, 5627.789085021519, 6491.159392790037]),
];

#[test]
fn laser_crossings_with_a_common_and_with_a_drift_per_unit() {
    for (distance, drift, common, own) in LASERS {
        let sigma: f64 = 0.012757739680941396;
        let shared = Passage::new(distance, 0.00208074, 0.0, sigma * sigma).unwrap();
        let single = Passage::new(
            distance,
            drift,
            4.656714607875122e-08,
            0.00012340537638095238,
        )
        .unwrap();
        for (k, p) in [0.1, 0.5, 0.9].into_iter().enumerate() {
            close(2000.0 + shared.quantile(p).unwrap(), common[k], 1e-7);
            close(2000.0 + single.quantile(p).unwrap(), own[k], 1e-7);
        }
    }
}

#[test]
fn what_may_never_come_has_no_late_quantile() {
    // a falling path still gets there with probability exp(2mD/σ²)
    let falling = Passage::new(1.0, -0.5, 0.0, 1.0).unwrap();
    close(falling.ever(), (-1.0_f64).exp(), 1e-12);
    close(falling.cdf(1e6), falling.ever(), 1e-9);
    assert!(falling.quantile(0.3).is_some() && falling.quantile(0.4).is_none());
    // with the drift uncertain, the distribution function tends to its limit
    let unsure = Passage::new(1.0, 0.2, 0.04, 0.3).unwrap();
    close(unsure.cdf(1e12), unsure.ever(), 1e-6);
    let line = Passage::new(2.0, 0.02, 1e-4, 0.0).unwrap();
    close(line.quantile(0.5).unwrap(), 100.0, 1e-9);
    assert!(Passage::new(0.0, 1.0, 0.0, 1.0).is_err());
    assert!(Passage::new(1.0, 1.0, 0.0, 0.0).is_err());
}

#[test]
fn the_quick_one_agrees_with_the_exact_one() {
    let mut worst: f64 = 0.0;
    for (distance, drift, drift_var, sigma2) in [
        (1.3, 0.02, 0.0, 0.0008),
        (0.4, 0.02, 1e-5, 0.002),
        (2.0, 0.001, 0.0, 0.05),
        (0.05, 0.03, 0.0, 1e-6),
        (1.0, 0.5, 0.01, 0.0),
    ] {
        let passage = Passage::new(distance, drift, drift_var, sigma2).unwrap();
        for i in 0..600 {
            let t = 0.05 * 1.02f64.powi(i);
            worst = worst.max((passage.cdf_quick(t) - passage.cdf(t)).abs());
        }
    }
    assert!(worst < 1e-6, "{worst}");
}
