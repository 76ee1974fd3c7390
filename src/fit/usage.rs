//! How much water a van will make: litres a week from now on, and how surely.

use crate::lives::VanLives;

/// Weeks that count towards the present rate.
const RECENT_WEEKS: usize = 26;
/// How much a rate wanders in a year, on the log scale (judgement).
const YEARLY_WANDER: f64 = 0.15;
/// A busy van's week where nothing at all is known (common practice, no source).
const ASSUMED_LITRES_PER_WEEK: f64 = 1000.0;
const ASSUMED_SD: f64 = 0.5;

/// A van's future use of mains-fed water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    pub litres_per_week: f64,
    /// Spread of the logarithm of the present rate.
    pub sd_ln: f64,
    /// Whether the van's own fills told it.
    pub counted: bool,
}

impl Usage {
    pub fn litres_per_day(&self) -> f64 {
        self.litres_per_week / 7.0
    }

    /// A draw of the factor on the rate over the coming `years`, given two
    /// standard normal draws.
    pub fn factor(&self, z_now: f64, z_later: f64, years: f64) -> f64 {
        (self.sd_ln * z_now + YEARLY_WANDER * years.clamp(0.0, 10.0).sqrt() * z_later).exp()
    }
}

/// The fleet's median week, from vans with at least four counted weeks.
pub fn fleet_litres_per_week<'a>(vans: impl Iterator<Item = &'a VanLives>) -> Option<f64> {
    let mut weeks: Vec<f64> = vans
        .filter_map(|v| own_mean(v).filter(|m| m.1 >= 4.0))
        .map(|m| m.0)
        .collect();
    weeks.sort_by(f64::total_cmp);
    weeks.get(weeks.len() / 2).copied()
}

/// Mean litres of the recent full weeks, how many there are, and their spread.
fn own_mean(van: &VanLives) -> Option<(f64, f64, f64)> {
    // The week that holds the as-of day is not over.
    let full = van.weeks.len().saturating_sub(1);
    let recent = van.weeks.get(full.saturating_sub(RECENT_WEEKS)..full)?;
    if recent.is_empty() {
        return None;
    }
    let n = recent.len() as f64;
    let mean = recent.iter().map(|w| w.litres).sum::<f64>() / n;
    let spread = recent
        .iter()
        .map(|w| (w.litres - mean).powi(2))
        .sum::<f64>()
        / n;
    Some((mean, n, spread))
}

/// The van's rate: its own recent weeks, drawn towards the fleet's median
/// while they are few.
pub fn usage_of(van: &VanLives, fleet_week: Option<f64>) -> Usage {
    const FLEET_WEIGHT: f64 = 2.0;
    let fleet = fleet_week.unwrap_or(ASSUMED_LITRES_PER_WEEK);
    match own_mean(van) {
        Some((mean, n, spread)) if mean > 0.0 => {
            let rate = (mean * n + fleet * FLEET_WEIGHT) / (n + FLEET_WEIGHT);
            let relative = (spread / (mean * mean)).max(0.05);
            let own = relative / n;
            let few = (ASSUMED_SD * FLEET_WEIGHT / (n + FLEET_WEIGHT)).powi(2);
            // Rounds change: never surer than 6 %.
            Usage {
                litres_per_week: rate,
                sd_ln: (own + few + 0.06 * 0.06).sqrt(),
                counted: true,
            }
        }
        Some((_, n, _)) if n >= 8.0 => {
            // Standing still for weeks on end: it may start again.
            Usage {
                litres_per_week: 0.1 * fleet,
                sd_ln: 1.0,
                counted: true,
            }
        }
        _ => Usage {
            litres_per_week: fleet,
            sd_ln: ASSUMED_SD,
            counted: van.fills_between.is_some(),
        },
    }
}
