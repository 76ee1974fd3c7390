use super::*;
use crate::advise::Suspect;

/// One false alarm in 100 healthy van-years, and one failing element in 20 van-years: of
/// alarms between 2/3 and 1 a sixth is wrong.
#[test]
fn the_threshold_follows_from_the_stated_rate() {
    assert!((threshold(0.01) - 2.0 / 3.0).abs() < 1e-12);
    assert!(threshold(0.001) > 0.95 && threshold(0.2) >= 0.5);
}

fn raised(kind: AlarmKind) -> Alarm {
    Alarm {
        level: AlarmLevel::Raised,
        kind,
        since: crate::calendar::date(2026, 6, 1),
        probability: 0.9,
    }
}

const SEAL: Behind = Behind {
    seal: 0.7,
    permeate_probe: 0.1,
    pressure: 0.1,
    prefilter: 0.05,
    ageing: 0.05,
};

fn likeliest(causes: &[Cause]) -> Suspect {
    let sum: f64 = causes.iter().map(|c| c.probability).sum();
    assert!((sum - 1.0).abs() < 1e-9, "{sum}");
    causes[0].suspect
}

#[test]
fn a_step_is_blamed_on_what_lies_behind_it_and_a_doubted_meter_comes_first() {
    let (step, late) = (raised(AlarmKind::Step), Late::default());
    let of = |behind: &Behind, doubt: f64| {
        likeliest(&causes(&step, Some(behind), &late, (doubt, 0.0), None))
    };
    assert_eq!(of(&SEAL, 0.05), Suspect::Membrane);
    assert_eq!(of(&SEAL, 0.7), Suspect::Probe);
    let pressed = Behind {
        seal: 0.1,
        pressure: 0.8,
        ..SEAL
    };
    assert_eq!(of(&pressed, 0.05), Suspect::Feed);
}

#[test]
fn late_pre_filters_that_explain_a_short_life_come_first() {
    let fast = raised(AlarmKind::Fast);
    let late = Late {
        share: 0.6,
        explains: 0.8,
    };
    assert_eq!(
        likeliest(&causes(&fast, None, &late, (0.05, 0.0), None)),
        Suspect::Prefilter
    );
    let in_time = Late::default();
    assert_eq!(
        likeliest(&causes(&fast, None, &in_time, (0.05, 0.0), None)),
        Suspect::Membrane
    );
    assert_eq!(
        likeliest(&causes(&fast, None, &in_time, (0.05, 0.0), Some(0.5))),
        Suspect::Feed
    );
}
