//! Salt passage of each look, brought to 25 °C and to usual pressure and recovery.

use super::looks::Look;
use crate::water::{
    Conditions, THETA_MEAN_PER_C, UsualOperation, polarisation_factor, recovery_from_flows,
    salt_passage_at_25, water_temperature_factor,
};

/// A salt passage at 25 °C; fields as in [`super::PassagePoint`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Passage {
    pub raw: f64,
    pub salt_passage: f64,
    pub sd_ln: f64,
    pub theta_lever: f64,
    pub recovery_known: bool,
}

/// Looks to each side of one that make what is usual there.
const HALF_WINDOW: usize = 5;
/// Middle of the year at a tap, °C.
const MIDDLING_C: f64 = 11.5;
/// So many values make something usual.
const USUAL_FROM: usize = 3;

/// A running median over the looks that have a value, as seen from each look.
struct Running(Vec<Option<f64>>);

impl Running {
    fn of(looks: &[Look], value: impl Fn(&Look) -> Option<f64>) -> Running {
        let values: Vec<(usize, f64)> = looks
            .iter()
            .enumerate()
            .filter_map(|(n, look)| Some((n, value(look)?)))
            .collect();
        if values.len() < USUAL_FROM {
            return Running(vec![None; looks.len()]);
        }
        let width = (2 * HALF_WINDOW + 1).min(values.len());
        // Kept in order while it moves on.
        let mut window: Vec<f64> = values.iter().take(width).map(|(_, v)| *v).collect();
        window.sort_unstable_by(f64::total_cmp);
        let (mut here, mut first) = (0, 0);
        let medians = (0..looks.len()).map(|n| {
            while values.get(here).is_some_and(|(look, _)| *look < n) {
                here += 1;
            }
            let begins = here.saturating_sub(HALF_WINDOW).min(values.len() - width);
            while first < begins {
                if let (Some((_, left)), Some((_, joined))) =
                    (values.get(first), values.get(first + width))
                {
                    move_on(&mut window, *left, *joined);
                }
                first += 1;
            }
            let middle = window.get(width / 2).copied()?;
            let below = window.get((width - 1) / 2).copied()?;
            Some(if width % 2 == 1 {
                middle
            } else {
                (below + middle) / 2.0
            })
        });
        Running(medians.collect())
    }

    /// Median of the values around look `n`.
    fn around(&self, n: usize) -> Option<f64> {
        self.0.get(n).copied().flatten()
    }
}

/// Takes one value out of a window in order, and another one in: those between
/// the two places move up.
fn move_on(window: &mut [f64], left: f64, joined: f64) {
    if left.to_bits() == joined.to_bits() {
        return;
    }
    let Some(at) = window.iter().position(|v| v.to_bits() == left.to_bits()) else {
        return;
    };
    let (below, above) = window.split_at_mut(at);
    let Some((slot, above)) = above.split_first_mut() else {
        return;
    };
    let mut slot = slot;
    if left.total_cmp(&joined).is_lt() {
        for next in above {
            if next.total_cmp(&joined).is_ge() {
                break;
            }
            *slot = *next;
            slot = next;
        }
    } else {
        for next in below.iter_mut().rev() {
            if next.total_cmp(&joined).is_lt() {
                break;
            }
            *slot = *next;
            slot = next;
        }
    }
    *slot = joined;
}

/// Salt passage of each look, same order and length; `None` where it cannot be
/// told. `looks`: of one element, oldest first.
pub(crate) fn passages(looks: &[Look]) -> Vec<Option<Passage>> {
    let flow = Running::of(looks, |look| {
        let lpm = look.permeate_lpm.filter(|lpm| *lpm > 0.0)?;
        Some(lpm / water_temperature_factor(look.water_c.unwrap_or(look.seasonal_c)))
    });
    let drained = Running::of(looks, |look| {
        look.permeate_lpm.filter(|lpm| *lpm > 0.0)?;
        look.concentrate_lpm.filter(|lpm| *lpm > 0.0)
    });
    let middling = water_temperature_factor(MIDDLING_C);
    let permeate = Running::of(looks, |look| Some(look.salt_passage()? * look.feed_ppm?));
    let pressure = Running::of(looks, |look| look.feed_bar.filter(|bar| *bar > 0.0));
    looks
        .iter()
        .enumerate()
        .map(|(n, look)| {
            let raw = look.salt_passage()?;
            let usual_flow = flow.around(n);
            let usual_drained = drained.around(n);
            // Usual over the year: a median of recoveries would follow the season.
            let usual_recovery = usual_flow
                .zip(usual_drained)
                .map(|(lpm, drained)| recovery_from_flows(lpm * middling, drained));
            let known = Conditions {
                feed_ppm: look.feed_ppm?,
                // What is usual there, not what was read: a reading that errs
                // upwards must not count as the surer one.
                permeate_ppm: permeate.around(n).unwrap_or(raw * look.feed_ppm?),
                water_c: look.water_c,
                seasonal_c: look.seasonal_c,
                permeate_lpm: look.permeate_lpm,
                concentrate_lpm: look.concentrate_lpm,
                feed_bar: look.feed_bar,
                usual: UsualOperation {
                    permeate_lpm_at_25: usual_flow,
                    recovery: usual_recovery,
                    feed_bar: pressure.around(n),
                },
            };
            let at_25 = salt_passage_at_25(raw, &known, THETA_MEAN_PER_C).ok()?;
            // The layer at the membrane grows with recovery as the feed side does.
            let read = look
                .permeate_lpm
                .zip(look.concentrate_lpm)
                .filter(|(made, drained)| *made > 0.0 && *drained > 0.0)
                .map(|(made, drained)| recovery_from_flows(made, drained));
            let layer = match (usual_recovery, read) {
                (Some(usual), Some(read)) => polarisation_factor(usual) / polarisation_factor(read),
                _ => 1.0,
            };
            Some(Passage {
                raw,
                salt_passage: at_25.salt_passage * layer,
                sd_ln: at_25.sd_ln,
                theta_lever: at_25.theta_lever,
                recovery_known: usual_recovery.is_some() && read.is_some(),
            })
        })
        .collect()
}
