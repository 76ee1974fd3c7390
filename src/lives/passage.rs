//! Salt passage of each look, brought to 25 °C and to usual pressure and recovery.

use super::median::median_of;
use super::observations::Observation;
use crate::water::{
    Conditions, THETA_MEAN_PER_C, UsualOperation, salt_passage_at_25, water_temperature_factor,
};

/// A salt passage at 25 °C; fields as in [`super::PassagePoint`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Passage {
    pub raw: f64,
    pub salt_passage: f64,
    pub sd_ln: f64,
    pub theta_lever: f64,
}

/// Looks to each side of one that make what is usual there.
const HALF_WINDOW: usize = 5;
/// Scatter of a flow as it is read with the thermometer's, ln, and of a gauge, bar
/// (common practice, no source): that much of what lies off is the instrument's.
const FLOW_NOISE: f64 = 0.04;
const GAUGE_NOISE_BAR: f64 = 0.12;
/// What swings of pressure and temperature leave on `ln` salt passage, whatever was
/// written down beside it (judgement): a column more makes no reading count for much more.
const LEFT_OVER: f64 = 0.05;
/// So many values make something usual.
const USUAL_FROM: usize = 3;

/// A running median over the looks that have a value, as seen from each look.
struct Running(Vec<Option<f64>>);

impl Running {
    fn of(observations: &[Observation], value: impl Fn(&Observation) -> Option<f64>) -> Running {
        let values: Vec<(usize, f64)> = observations
            .iter()
            .enumerate()
            .filter_map(|(n, observation)| Some((n, value(observation)?)))
            .collect();
        if values.len() < USUAL_FROM {
            return Running(vec![None; observations.len()]);
        }
        let width = (2 * HALF_WINDOW + 1).min(values.len());
        // Kept in order while it moves on.
        let mut window: Vec<f64> = values.iter().take(width).map(|(_, v)| *v).collect();
        window.sort_unstable_by(f64::total_cmp);
        let (mut here, mut first) = (0, 0);
        let medians = (0..observations.len()).map(|n| {
            while values
                .get(here)
                .is_some_and(|(observation, _)| *observation < n)
            {
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

/// What is usual around each look and how much of what lies off it is believed.
struct Usual {
    around: Running,
    believed: f64,
}

impl Usual {
    /// `noise`: the instrument's own, on the log scale, by the value.
    fn of(
        observations: &[Observation],
        noise: impl Fn(f64) -> f64,
        value: impl Fn(&Observation) -> Option<f64>,
    ) -> Usual {
        let around = Running::of(observations, &value);
        let off: Vec<(f64, f64)> = observations
            .iter()
            .enumerate()
            .filter_map(|(n, observation)| {
                let (seen, usual) = (value(observation)?, around.around(n)?);
                Some(((seen / usual).ln().abs(), noise(usual)))
            })
            .collect();
        // 1.48 median absolute deviations are a standard deviation of normal noise.
        let seen = 1.48 * median_of(off.iter().map(|o| o.0)).unwrap_or(0.0);
        let own = median_of(off.iter().map(|o| o.1)).unwrap_or(0.0);
        let believed = if seen > 0.0 {
            (1.0 - (own / seen).powi(2)).max(0.0)
        } else {
            0.0
        };
        Usual { around, believed }
    }

    /// A value as it is believed, the rest of what lies off it taken for the instrument's.
    fn believed(&self, n: usize, seen: f64) -> Option<f64> {
        let usual = self.around.around(n)?;
        Some(usual * (seen / usual).powf(self.believed))
    }
}

/// Salt passage of each look, same order and length; `None` where it cannot be
/// told. `looks`: of one element, oldest first. Flow and pressure take out how far a
/// look's pressure lies off what is usual around it, as far as they tell it; recovery is
/// left as it goes with the season, which the fleet's valves explain.
pub(crate) fn passages(observations: &[Observation]) -> Vec<Option<Passage>> {
    let water_c = |observation: &Observation| observation.water_c.unwrap_or(observation.seasonal_c);
    let at_25 = |observation: &Observation| {
        let lpm = observation.permeate_lpm.filter(|lpm| *lpm > 0.0)?;
        Some(lpm / water_temperature_factor(water_c(observation)))
    };
    let bar = |observation: &Observation| observation.feed_bar.filter(|bar| *bar > 0.0);
    let flow = Usual::of(observations, |_| FLOW_NOISE, at_25);
    let pressure = Usual::of(
        observations,
        |bar| GAUGE_NOISE_BAR / (bar - 0.5).max(0.5),
        bar,
    );
    let permeate = Running::of(observations, |observation| {
        Some(observation.salt_passage()? * observation.feed_ppm?)
    });
    observations
        .iter()
        .enumerate()
        .map(|(n, observation)| {
            let raw = observation.salt_passage()?;
            let believed_flow = at_25(observation)
                .and_then(|lpm| flow.believed(n, lpm))
                .map(|lpm| lpm * water_temperature_factor(water_c(observation)));
            let known = Conditions {
                feed_ppm: observation.feed_ppm?,
                // What is usual there, not what was read: a reading that errs
                // upwards must not count as the surer one.
                permeate_ppm: permeate.around(n).unwrap_or(raw * observation.feed_ppm?),
                water_c: observation.water_c,
                seasonal_c: observation.seasonal_c,
                permeate_lpm: believed_flow,
                concentrate_lpm: None,
                feed_bar: bar(observation).and_then(|bar| pressure.believed(n, bar)),
                usual: UsualOperation {
                    permeate_lpm_at_25: flow.around.around(n),
                    recovery: None,
                    feed_bar: pressure.around.around(n),
                },
            };
            let at_25 = salt_passage_at_25(raw, &known, THETA_MEAN_PER_C).ok()?;
            let meters = at_25.sd_ln.powi(2) - at_25.left_over_sd_ln.powi(2);
            Some(Passage {
                raw,
                salt_passage: at_25.salt_passage,
                sd_ln: meters.max(0.0).sqrt().hypot(LEFT_OVER),
                theta_lever: at_25.theta_lever,
            })
        })
        .collect()
}
