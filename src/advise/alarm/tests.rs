use jiff::civil::date;

use super::cause::causes;
use super::*;
use crate::advise::Suspect;
use crate::fit::Band;

fn looks(evidence: &[(f64, f64)]) -> Watched {
    let begin = date(2026, 1, 1);
    Watched {
        looks: evidence
            .iter()
            .enumerate()
            .map(|(i, &(fast_evidence, step_evidence_days))| {
                let date = begin.saturating_add(jiff::Span::new().days(14 * i as i64));
                WatchedLook {
                    date,
                    fast_evidence,
                    p_healthy: 1.0 / (1.0 + fast_evidence),
                    step_evidence_days,
                    usual: Band {
                        x: date,
                        p10: 0.02,
                        p50: 0.03,
                        p90: 0.04,
                    },
                }
            })
            .collect(),
        ..Watched::default()
    }
}

/// One false alarm in 100 healthy van-years, elements that live three years:
/// 0.7 / (0.6 · 0.03) = 38.9 times likelier, 365.25 / 0.004 = 91,312 days.
#[test]
fn thresholds_follow_from_the_stated_rate() {
    let t = Thresholds::new(0.01, 3.0, true);
    assert!((t.fast - 38.888).abs() < 0.01 && (t.step_days - 91_312.5).abs() < 1.0);
    let strict = Thresholds::new(0.001, 3.0, true);
    assert!(strict.fast > 9.9 * t.fast && strict.step_days > 9.9 * t.step_days);
}

#[test]
fn an_alarm_has_a_moment_and_does_not_flicker() {
    let t = Thresholds::new(0.01, 3.0, true);
    let quiet = (0.5, 10.0);
    let begin = date(2026, 1, 1);
    let evidence = [
        quiet,
        quiet,
        quiet,
        quiet,
        (40.0, 10.0),
        (20.0, 10.0),
        (1.5, 10.0),
    ];
    let raised = alarm(&looks(&evidence), begin, &t).unwrap();
    assert_eq!(raised.level, AlarmLevel::Raised);
    assert_eq!(raised.since, date(2026, 2, 26));
    // It falls only when the evidence has turned round.
    let turned = [&evidence[..], &[(0.9, 10.0)]].concat();
    assert_eq!(alarm(&looks(&turned), begin, &t), None);
    // A tenth of the evidence is pending; nothing alarms in the first month.
    let pending = [quiet, quiet, quiet, quiet, (4.0, 10.0)];
    assert_eq!(
        alarm(&looks(&pending), begin, &t).unwrap().level,
        AlarmLevel::Pending
    );
    assert_eq!(alarm(&looks(&[(99.0, 1.0), (99.0, 1.0)]), begin, &t), None);
    let stepped = [quiet, quiet, (0.5, 1e5)];
    assert_eq!(
        alarm(&looks(&stepped), begin, &t).unwrap().kind,
        AlarmKind::Step
    );
}

fn likeliest(facts: &Facts) -> (Suspect, f64) {
    let all = causes(facts);
    assert!((all.iter().map(|c| c.probability).sum::<f64>() - 1.0).abs() < 1e-9);
    (all[0].suspect, all[0].probability)
}

/// What the field notes say each fault leaves beside salt passage.
#[test]
fn each_cause_is_told_by_what_it_leaves() {
    let plain = Facts {
        excess: 0.6,
        rise: 0.6,
        tap_beside_neighbours: Some(0.01),
        tap_rise: Some(-0.02),
        neighbours_known: true,
        neighbours_rise: Some(0.0),
        ..Facts::default()
    };
    let (suspect, p) = likeliest(&plain);
    assert!(suspect == Suspect::Membrane && p > 0.6, "{p}");
    let scaling = Facts {
        flow_rise: Some(-0.18),
        ..plain.clone()
    };
    assert!(likeliest(&scaling).1 > p);
    let tap = Facts {
        tap_beside_neighbours: Some(-0.5),
        tap_rise: Some(-0.45),
        flow_rise: Some(0.0),
        ..plain.clone()
    };
    assert_eq!(likeliest(&tap).0, Suspect::Probe);
    let late = Facts {
        late_share: 0.5,
        late_rise: Some((0.55, 0.15)),
        flow_rise: Some(0.12),
        ..plain.clone()
    };
    assert_eq!(likeliest(&late).0, Suspect::Prefilter);
    let everywhere = Facts {
        neighbours_rise: Some(0.5),
        ..plain.clone()
    };
    assert_eq!(likeliest(&everywhere).0, Suspect::Feed);
    // Without any witness the membrane is the first guess, less surely.
    let alone = Facts {
        excess: 0.6,
        rise: 0.6,
        ..Facts::default()
    };
    let (suspect, p) = likeliest(&alone);
    assert!(suspect == Suspect::Membrane && p < 0.8, "{p}");
}
