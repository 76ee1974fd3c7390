#![allow(clippy::unwrap_used)]

use super::*;
use crate::stats::test_data::rows;

/// Loprinzi et al. 1994, J. Clin. Oncol. 12:601: survival with lung cancer, days.
const LUNG: &str = include_str!("../../../tests/data/lung.csv");
/// Embury et al. 1977 by Miller 1981: weeks of remission, with and without maintenance.
const AML: &str = include_str!("../../../tests/data/aml.csv");

fn lives(text: &str, keep: impl Fn(&[&str]) -> bool) -> Vec<Life> {
    rows(text)
        .iter()
        .filter(|r| keep(r))
        .map(|r| Life::to(r[0].parse().unwrap(), r[1] == "1"))
        .collect()
}

/// Rows of age, at risk, ends, share that lasts longer: by the product-limit
/// formula, agreed with two public survival libraries and with the figures that
/// R's survfit prints for these data (the printed ones from memory).
fn holds(lives: &[Life], expected: &[[f64; 4]]) {
    let table = life_table(lives).unwrap();
    for row in expected {
        let point = table.points.iter().find(|p| p.age == row[0]).unwrap();
        assert_eq!((point.at_risk, point.ends), (row[1], row[2]));
        assert!((point.survival - row[3]).abs() <= 1e-9, "{point:?}");
        assert_eq!(table.survival_at(row[0]), point.survival);
    }
}

#[test]
fn survival_with_lung_cancer() {
    holds(&lives(LUNG, |_| true), LUNG_ALL);
}

#[test]
fn remission_with_and_without_maintenance() {
    holds(&lives(AML, |r| r[2] == "Maintained"), MAINTAINED);
    holds(&lives(AML, |r| r[2] == "Nonmaintained"), NOT_MAINTAINED);
}

#[test]
fn a_weight_counts_as_so_many_lives_and_nothing_gives_an_empty_table() {
    let one = [Life::to(1.0, true), Life::to(2.0, true).times(2.0)];
    let three = [
        Life::to(1.0, true),
        Life::to(2.0, true),
        Life::to(2.0, true),
    ];
    let (one, three) = (life_table(&one).unwrap(), life_table(&three).unwrap());
    assert!((one.survival_at(1.5) - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(one.survival_at(1.5), three.survival_at(1.5));
    assert_eq!(life_table(&[]).unwrap().survival_at(3.0), 1.0);
    assert!(life_table(&[Life::to(f64::NAN, true)]).is_err());
    assert!(life_table(&[Life::to(-1.0, true)]).is_err());
}

#[rustfmt::skip]
const LUNG_ALL: &[[f64; 4]] = &[
    [5.0, 228.0, 1.0, 0.9956140350877193],
    [71.0, 207.0, 1.0, 0.9035087719298246],
    [135.0, 185.0, 1.0, 0.8152536965892949],
    [179.0, 162.0, 2.0, 0.7262094625507041],
    [201.0, 144.0, 2.0, 0.6708246280254673],
    [230.0, 124.0, 1.0, 0.6172484899405073],
    [272.0, 107.0, 0.0, 0.5753102388629213],
    [305.0, 87.0, 1.0, 0.5129167375127537],
    [363.0, 69.0, 2.0, 0.4154422551337018],
    [442.0, 51.0, 1.0, 0.342560996138949],
    [550.0, 32.0, 1.0, 0.24746661672423462],
    [689.0, 17.0, 1.0, 0.14239150565481756],
    [1022.0, 1.0, 0.0, 0.0503455680708105],
];

#[rustfmt::skip]
const MAINTAINED: &[[f64; 4]] = &[
    [9.0, 11.0, 1.0, 0.9090909090909091],
    [13.0, 10.0, 1.0, 0.8181818181818181],
    [18.0, 8.0, 1.0, 0.7159090909090908],
    [23.0, 7.0, 1.0, 0.6136363636363636],
    [28.0, 6.0, 0.0, 0.6136363636363636],
    [31.0, 5.0, 1.0, 0.49090909090909096],
    [34.0, 4.0, 1.0, 0.3681818181818182],
    [45.0, 3.0, 0.0, 0.3681818181818182],
    [48.0, 2.0, 1.0, 0.1840909090909091],
    [161.0, 1.0, 0.0, 0.1840909090909091],
];

#[rustfmt::skip]
const NOT_MAINTAINED: &[[f64; 4]] = &[
    [5.0, 12.0, 2.0, 0.8333333333333334],
    [8.0, 10.0, 2.0, 0.6666666666666667],
    [12.0, 8.0, 1.0, 0.5833333333333334],
    [16.0, 7.0, 0.0, 0.5833333333333334],
    [23.0, 6.0, 1.0, 0.48611111111111116],
    [27.0, 5.0, 1.0, 0.38888888888888895],
    [30.0, 4.0, 1.0, 0.29166666666666674],
    [33.0, 3.0, 1.0, 0.1944444444444445],
    [43.0, 2.0, 1.0, 0.09722222222222225],
    [45.0, 1.0, 1.0, 0.0],
];
