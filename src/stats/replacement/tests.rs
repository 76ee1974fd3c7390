#![allow(clippy::unwrap_used)]

use super::*;
use crate::stats::Rng;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{what}: {got} against {expected}"
    );
}

/// Planned cost, failure cost, scale, shape; cheapest age, its cost rate, that of
/// running to failure; cost rates at 0.5, 0.8, 1.25 and 2 times the cheapest age.
///
/// First-order condition in 40 digits, agreed with quadrature and minimisation.
#[rustfmt::skip]
const WEIBULL: [([f64; 4], [f64; 3], [f64; 4]); 6] = [
    ([1.0, 5.0, 1000.0, 2.5], [493.0469575966341, 0.0034620427387892687, 0.005635302489930138], [0.004577824717984199, 0.0035763395091503196, 0.0035759388056540256, 0.004480328218061108]),
    ([50.0, 400.0, 380.0, 3.0], [158.13686374377502, 0.47852513227972604, 1.1787858123391428], [0.6735747354727386, 0.5000164943399729, 0.5024231634320442, 0.733383935359556]),
    ([120.0, 160.0, 365.0, 6.0], [337.5068031645889, 0.44449482784848565, 0.4725094632536478], [0.7143947477850201, 0.47752938068056755, 0.46455205578691666, 0.4725094632536478]),
    ([10.0, 300.0, 9000.0, 1.4], [1583.200698203149, 0.02251131729983417, 0.03657283271521917], [0.024960526415206435, 0.02273585250322779, 0.022713760535098722, 0.024278167859777256]),
    ([35.0, 90.0, 62000.0, 4.2], [42397.658269441206, 0.001104233372038032, 0.001597043521813454], [0.0016830454977635727, 0.00117318004946395, 0.0011822189944156755, 0.0015766318316445687]),
    ([1.0, 1.5, 100.0, 2.0], [168.85801985642823, 0.016885801985642823, 0.01692568750643269], [0.018448541763647394, 0.01696750779909907, 0.016908082537777265, 0.01692565493297755]),
];

/// Planned cost, failure cost, mu, sigma; the same results. Own parameter sets.
#[rustfmt::skip]
const LOG_NORMAL: [([f64; 4], [f64; 3]); 3] = [
    ([50.0, 400.0, 5.9, 0.35], [183.1708218936164, 0.3205238179663777, 1.030675638711528]),
    ([35.0, 90.0, 11.0, 0.5], [46908.85220144047, 0.0012083791914988145, 0.0013265279293757837]),
    ([20.0, 45.0, 8.1, 0.25], [2469.39514942164, 0.009490996922394558, 0.013239009926565376]),
];

#[test]
fn age_replacement_of_weibull_lives() {
    for ([cost_planned, cost_failure, scale, shape], [interval, rate, to_failure], around) in
        WEIBULL
    {
        let costs = AgeReplacement {
            cost_planned,
            cost_failure,
        };
        let life = WeibullLife { scale, shape };
        let policy = costs.cheapest(&life).unwrap();
        close(policy.interval.unwrap(), interval, 1e-6, "interval");
        close(policy.cost_rate, rate, 1e-9, "cost rate");
        close(
            costs.cost_rate_run_to_failure(&life),
            to_failure,
            1e-9,
            "run to failure",
        );
        for (factor, expected) in [0.5, 0.8, 1.25, 2.0].iter().zip(around) {
            close(
                costs.cost_rate_at(&life, factor * interval),
                expected,
                1e-9,
                "elsewhere",
            );
        }
    }
}

#[test]
fn age_replacement_of_log_normal_lives() {
    for ([cost_planned, cost_failure, mu, sigma], [interval, rate, to_failure]) in LOG_NORMAL {
        let costs = AgeReplacement {
            cost_planned,
            cost_failure,
        };
        let life = LogNormalLife { mu, sigma };
        let policy = costs.cheapest(&life).unwrap();
        close(policy.interval.unwrap(), interval, 1e-6, "interval");
        close(policy.cost_rate, rate, 1e-9, "cost rate");
        close(
            costs.cost_rate_run_to_failure(&life),
            to_failure,
            1e-9,
            "run to failure",
        );
    }
}

#[test]
fn any_survival_function_will_do() {
    let ([cost_planned, cost_failure, scale, shape], [interval, rate, _], _) = WEIBULL[1];
    let life = AnyLife::new(|t: f64| (-(t / scale).powf(shape)).exp(), 4.0 * scale);
    let policy = AgeReplacement {
        cost_planned,
        cost_failure,
    }
    .cheapest(&life)
    .unwrap();
    close(policy.interval.unwrap(), interval, 1e-6, "interval");
    close(policy.cost_rate, rate, 1e-9, "cost rate");
}

#[test]
fn what_does_not_wear_out_is_never_replaced_early() {
    let costs = AgeReplacement {
        cost_planned: 1.0,
        cost_failure: 5.0,
    };
    for (shape, rate) in [(1.0, 0.005), (0.8, 0.0044130506052833494)] {
        let policy = costs
            .cheapest(&WeibullLife {
                scale: 1000.0,
                shape,
            })
            .unwrap();
        assert_eq!(policy.interval, None);
        close(policy.cost_rate, rate, 1e-9, "cost rate");
    }
    let dear = AgeReplacement {
        cost_planned: 5.0,
        cost_failure: 5.0,
    };
    assert_eq!(
        dear.cheapest(&WeibullLife {
            scale: 10.0,
            shape: 4.0
        })
        .unwrap()
        .interval,
        None
    );
    let nothing = AgeReplacement {
        cost_planned: 0.0,
        cost_failure: 5.0,
    };
    assert!(
        nothing
            .cheapest(&WeibullLife {
                scale: 10.0,
                shape: 4.0
            })
            .is_err()
    );
}

/// Running cost per unit of age.
type Rate = Box<dyn Fn(f64) -> f64>;

#[test]
fn rising_running_cost_in_three_forms() {
    // closed forms: square root, power, Lambert W
    let cases: [(Rate, f64, f64, f64); 6] = [
        (Box::new(|t: f64| 0.25 + 0.004 * t), 180.0, 300.0, 1.45),
        (
            Box::new(|t: f64| 0.0 + 0.02 * t),
            60.0,
            77.45966692414834,
            1.5491933384829668,
        ),
        (
            Box::new(|t: f64| 0.1 + 2e-06 * t.powf(3.0)),
            180.0,
            104.66351393921056,
            2.393062701290481,
        ),
        (
            Box::new(|t: f64| 0.5 + 0.01 * t.powf(0.5)),
            45.0,
            566.9644724526927,
            0.7381101577952298,
        ),
        (
            Box::new(|t: f64| 0.3 + 0.05 * (0.006 * t).exp_m1()),
            180.0,
            428.76267040440104,
            0.9049762843329903,
        ),
        (
            Box::new(|t: f64| 0.0 + 1.2 * (0.0015 * t).exp_m1()),
            95.0,
            281.545506721477,
            0.6305927415162945,
        ),
    ];
    for (rate, cost, interval, cost_rate) in cases {
        let policy = rising_running_cost(cost, rate, 4000.0).unwrap();
        close(policy.interval.unwrap(), interval, 1e-9, "interval");
        close(policy.cost_rate, cost_rate, 1e-9, "cost rate");
    }
    let flat = rising_running_cost(100.0, |_| 2.0, 50.0).unwrap();
    assert_eq!(
        flat,
        Policy {
            interval: None,
            cost_rate: 4.0
        }
    );
}

#[test]
fn minimal_repair_in_closed_form() {
    // planned cost, repair cost, scale, shape; age, cost rate
    let cases = [
        [
            1.0,
            5.0,
            1000.0,
            2.5,
            446.6583884415239,
            0.0037314124391170252,
        ],
        [5.0, 1.0, 1000.0, 2.5, 1618.644582767346, 0.0051483404213951],
        [
            180.0,
            40.0,
            200.0,
            1.8,
            522.1132716975299,
            0.7756937468439304,
        ],
        [60.0, 60.0, 365.0, 3.0, 289.7006919841964, 0.31066546435764],
    ];
    for [planned, repair, scale, shape, interval, cost_rate] in cases {
        let policy = minimal_repair(planned, repair, &WeibullLife { scale, shape }).unwrap();
        close(policy.interval.unwrap(), interval, 1e-9, "interval");
        close(policy.cost_rate, cost_rate, 1e-9, "cost rate");
    }
    assert_eq!(
        minimal_repair(
            1.0,
            1.0,
            &WeibullLife {
                scale: 9.0,
                shape: 0.9
            }
        )
        .unwrap()
        .interval,
        None
    );
}

#[test]
fn simulated_paths_find_the_same_age_and_say_how_surely() {
    let ([cost_planned, cost_failure, scale, shape], [interval, rate, _], _) = WEIBULL[1];
    let ages: Vec<f64> = (1..60).map(|k| 8.0 * f64::from(k)).collect();
    let mut costs = PathCosts::new(&ages).unwrap();
    let mut rng = Rng::seeded(5);
    for _ in 0..20_000 {
        let life = scale * rng.exponential().powf(1.0 / shape);
        costs.add_path(|age| {
            if life < age {
                (cost_failure, life)
            } else {
                (cost_planned, age)
            }
        });
    }
    let best = costs.cheapest().unwrap();
    close(best.age, interval, 0.06, "age");
    assert!((best.cost_rate - rate).abs() < 4.0 * best.se, "{best:?}");
    assert!(best.se < 0.01 * rate);
    assert!(PathCosts::new(&[2.0, 1.0]).is_err());
    assert!(PathCosts::new(&[1.0]).unwrap().cheapest().is_err());
}

#[test]
fn the_parabola_finds_the_lowest_point_between_uneven_ages() {
    let mut costs = PathCosts::new(&[1.0, 2.0, 2.8, 4.0]).unwrap();
    costs.add_path(|age| ((age - 2.3_f64).powi(2) + 1.0, 1.0));
    close(costs.cheapest().unwrap().age, 2.3, 1e-12, "lowest point");
}

#[test]
fn an_item_as_good_as_new_waits_as_long_as_a_new_one() {
    let ([cost_planned, cost_failure, scale, shape], [interval, rate, _], _) = WEIBULL[0];
    let ages: Vec<f64> = (1..200).map(|k| 6.0 * f64::from(k)).collect();
    let mut going_on = PathCosts::new(&ages).unwrap();
    for i in 0..20_000 {
        let p = (f64::from(i) + 0.5) / 20_000.0;
        let life = scale * (-(1.0_f64 - p).ln()).powf(1.0 / shape);
        going_on.add_path(|age| {
            if life <= age {
                (cost_failure - cost_planned, life)
            } else {
                (0.0, age)
            }
        });
    }
    let wait = going_on.cheapest_wait(rate);
    close(wait, interval, 0.02, "wait");
    // At the optimum the excess just pays the price of the replacement.
    let least = going_on
        .excess_over(rate)
        .iter()
        .copied()
        .fold(0.0, f64::min);
    close(-least, cost_planned, 1e-3, "price");
    // A new one that costs next to nothing is taken at once.
    assert_eq!(going_on.cheapest_wait(0.0), 0.0);
}
