//! Tests that the inks can be told apart: with all colours, with fewer, in grey.
#![allow(clippy::unwrap_used)]

use super::look::{self, Ink, badge};
use super::night::{DARK_PAPER, by_night, contrast, oklab};
use crate::advise::State;

const STATES: [State; 6] = [
    State::FailingEarly,
    State::Overdue,
    State::Due,
    State::Watch,
    State::Unknown,
    State::OnCourse,
];
const SERIES: [Ink; 5] = [
    look::MEMBRANE,
    look::RESIN,
    look::WATER,
    look::PREFILTER,
    look::LIMIT,
];

/// G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, *A physiologically-based
/// model for simulation of color vision deficiency*, 2009: severity 1.0, on
/// linear light.
const SIGHTS: [(&str, [[f64; 3]; 3]); 3] = [
    (
        "without red cones",
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
    ),
    (
        "without green cones",
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
    ),
    (
        "without blue cones",
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ),
];

fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.040_45 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

fn stored(c: f64) -> u8 {
    let c = c.clamp(0.0, 1.0);
    let c = if c <= 0.003_130_8 {
        c * 12.92
    } else {
        1.055 * c.powf(1.0 / 2.4) - 0.055
    };
    (c * 255.0).round() as u8
}

fn seen_by(Ink(r, g, b): Ink, sight: &[[f64; 3]; 3]) -> Ink {
    let light = [linear(r), linear(g), linear(b)];
    let [r, g, b] = sight.map(|row| stored(row.iter().zip(light).map(|(m, c)| m * c).sum()));
    Ink(r, g, b)
}

fn in_grey(Ink(r, g, b): Ink) -> Ink {
    let grey = stored(0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b));
    Ink(grey, grey, grey)
}

/// The smallest distance (Oklab; 0.02 is a difference just seen) of any two.
fn nearest(inks: &[Ink]) -> f64 {
    let mut least = f64::INFINITY;
    for (i, a) in inks.iter().enumerate() {
        for b in inks.iter().skip(i + 1) {
            let pairs = oklab(*a).into_iter().zip(oklab(*b));
            least = least.min(pairs.map(|(x, y)| (x - y).powi(2)).sum::<f64>().sqrt());
        }
    }
    least
}

fn assert_apart(what: &str, inks: &[Ink]) {
    assert!(nearest(inks) > 0.08, "{what}: {}", nearest(inks));
    for (who, sight) in &SIGHTS {
        let seen: Vec<Ink> = inks.iter().map(|ink| seen_by(*ink, sight)).collect();
        assert!(nearest(&seen) > 0.08, "{what}, {who}: {}", nearest(&seen));
    }
    let grey: Vec<Ink> = inks.iter().map(|ink| in_grey(*ink)).collect();
    assert!(
        nearest(&grey) > 0.055,
        "{what}, in grey: {}",
        nearest(&grey)
    );
}

#[test]
fn states_stay_apart_for_every_eye_and_in_grey() {
    let inks = STATES.map(|state| badge(state).1);
    assert_apart("states", &inks);
    let shapes: Vec<_> = STATES.iter().map(|s| badge(*s).0).collect();
    for (i, shape) in shapes.iter().enumerate() {
        assert!(!shapes.iter().skip(i + 1).any(|s| s == shape), "{shape:?}");
    }
}

#[test]
fn series_stay_apart_for_every_eye_and_in_grey() {
    assert_apart("series", &SERIES);
}

#[test]
fn everything_stands_out_from_its_paper() {
    // WCAG 2.2: 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of graphics
    for ink in [look::TEXT, look::MUTED, look::LIMIT] {
        for paper in [look::PAPER, look::SHADE] {
            assert!(contrast(ink, paper) >= 4.5, "{ink:?} on {paper:?}");
        }
        assert!(contrast(by_night(ink), DARK_PAPER) >= 4.5, "{ink:?}, dark");
    }
    let states = STATES.map(|state| badge(state).1);
    let readings = [look::MEMBRANE_READING, look::RESIN_READING, look::EARLIER];
    for ink in states.into_iter().chain(SERIES).chain(readings) {
        assert!(contrast(ink, look::PAPER) >= 3.0, "{ink:?}");
        assert!(contrast(by_night(ink), DARK_PAPER) >= 3.0, "{ink:?}, dark");
    }
}

#[test]
fn the_sight_of_who_sees_all_is_not_changed_by_grey_or_white() {
    for (who, sight) in &SIGHTS {
        // rows add up to one: white stays white
        assert_eq!(seen_by(look::PAPER, sight), look::PAPER, "{who}");
    }
    assert_eq!(in_grey(Ink(90, 90, 90)), Ink(90, 90, 90));
}
