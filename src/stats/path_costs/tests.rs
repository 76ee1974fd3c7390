#![allow(clippy::unwrap_used)]

use super::*;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{what}: {got} against {expected}"
    );
}

/// Planned cost, failure cost, scale, shape of Weibull lives; cheapest age, its
/// cost rate: Barlow & Proschan's first-order condition in 40 digits, agreed with
/// quadrature and minimisation by a numerical library.
#[rustfmt::skip]
const WEIBULL: [([f64; 4], [f64; 2]); 6] = [
    ([1.0, 5.0, 1000.0, 2.5], [493.0469575966341, 0.0034620427387892687]),
    ([50.0, 400.0, 380.0, 3.0], [158.13686374377502, 0.47852513227972604]),
    ([120.0, 160.0, 365.0, 6.0], [337.5068031645889, 0.44449482784848565]),
    ([10.0, 300.0, 9000.0, 1.4], [1583.200698203149, 0.02251131729983417]),
    ([35.0, 90.0, 62000.0, 4.2], [42397.658269441206, 0.001104233372038032]),
    ([1.0, 1.5, 100.0, 2.0], [168.85801985642823, 0.016885801985642823]),
];

const LIVES: usize = 40_000;

/// Evenly spread Weibull lives, and for each of 200 ages what `cycle` makes of them.
fn costs(
    [_, _, scale, shape]: [f64; 4],
    longest: f64,
    cycle: impl Fn(f64, f64) -> (f64, f64),
) -> PathCosts {
    let lives: Vec<f64> = (0..LIVES)
        .map(|i| (i as f64 + 0.5) / LIVES as f64)
        .map(|p| scale * (-(1.0 - p).ln()).powf(1.0 / shape))
        .collect();
    let ages: Vec<f64> = (1..=200).map(|k| longest * f64::from(k) / 200.0).collect();
    let sums = ages.iter().map(|age| {
        lives.iter().fold((0.0, 0.0), |(cost, length), life| {
            let (c, l) = cycle(*life, *age);
            (cost + c, length + l)
        })
    });
    PathCosts::of_sums(&ages, LIVES, sums).unwrap()
}

#[test]
fn age_replacement_of_weibull_lives() {
    for (of, [interval, rate]) in WEIBULL {
        let [planned, failure, ..] = of;
        let best = costs(of, 2.5 * interval, |life, age| {
            if life < age {
                (failure, life)
            } else {
                (planned, age)
            }
        })
        .cheapest()
        .unwrap();
        close(best.age, interval, 0.02, "age");
        close(best.cost_rate, rate, 1e-3, "cost rate");
    }
}

#[test]
fn the_parabola_finds_the_lowest_point_between_uneven_ages() {
    let ages = [1.0, 2.0, 2.8, 4.0_f64];
    let sums = ages.iter().map(|age| ((age - 2.3).powi(2) + 1.0, 1.0));
    let costs = PathCosts::of_sums(&ages, 1, sums).unwrap();
    close(costs.cheapest().unwrap().age, 2.3, 1e-12, "lowest point");
}

#[test]
fn an_item_as_good_as_new_waits_as_long_as_a_new_one() {
    let (of, [interval, rate]) = WEIBULL[0];
    let [planned, failure, ..] = of;
    let going_on = costs(of, 1200.0, |life, age| {
        if life <= age {
            (failure - planned, life)
        } else {
            (0.0, age)
        }
    });
    close(going_on.cheapest_wait(rate), interval, 0.02, "wait");
    // At the optimum the excess just pays the price of the replacement.
    let excess = going_on.excess_over(rate);
    let least = excess.iter().copied().fold(0.0, f64::min);
    close(-least, planned, 1e-3, "price");
    // A new one that costs next to nothing is taken at once.
    assert_eq!(going_on.cheapest_wait(0.0), 0.0);
}

#[test]
fn ages_out_of_order_and_no_paths_are_refused() {
    let sums = || [(1.0, 1.0), (1.0, 1.0)].into_iter();
    assert!(PathCosts::of_sums(&[2.0, 1.0], 1, sums()).is_err());
    assert!(PathCosts::of_sums(&[1.0], 1, sums()).is_err());
    let none = PathCosts::of_sums(&[1.0, 2.0], 0, sums()).unwrap();
    assert!(none.cheapest().is_err());
}
