//! How much water a van will make: litres a week from now on, how surely, and
//! how the year goes up and down.

use crate::calendar::{Date, DateExt, Datelike};

use super::horizon::middle_of;
use crate::lives::{VanLives, WeekLitres};

/// After so many weeks a week counts for a third: rounds change.
const MEMORY_WEEKS: f64 = 16.0;
/// Weeks that count at all.
const RECENT_WEEKS: usize = 78;
/// How much a rate wanders in a year, on the log scale (judgement).
const YEARLY_WANDER: f64 = 0.18;
/// A busy van's week where nothing at all is known (common practice, no source).
const ASSUMED_LITRES_PER_WEEK: f64 = 1000.0;
const ASSUMED_SD: f64 = 0.5;
const YEAR_DAYS: f64 = 365.25;
const MONTH_DAYS: f64 = YEAR_DAYS / 12.0;

/// How a usual year goes: litres in each month over the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season([f64; 12]);

impl Season {
    /// No ups and downs.
    pub const EVEN: Season = Season([1.0; 12]);

    /// The fleet's common year from each van's weeks, drawn towards an even one
    /// while they are few.
    pub fn of<'a>(vans: impl Iterator<Item = &'a [WeekLitres]>) -> Season {
        const EVEN_WEEKS: f64 = 12.0;
        let (mut sum, mut count) = ([EVEN_WEEKS; 12], [EVEN_WEEKS; 12]);
        for weeks in vans {
            let full = weeks.len().saturating_sub(1);
            // Whole years only: part of one would take its season for the mean.
            let Some(first) = full.checked_sub(full / 52 * 52).filter(|_| full >= 52) else {
                continue;
            };
            let weeks = weeks.get(first..full).unwrap_or_default();
            let mean = weeks.iter().map(|w| w.litres).sum::<f64>() / weeks.len() as f64;
            if mean <= 0.0 {
                continue;
            }
            for week in weeks {
                let month = (week.monday.month() - 1) as usize;
                if let (Some(s), Some(c)) = (sum.get_mut(month), count.get_mut(month)) {
                    // One frantic week must not make a season.
                    *s += (week.litres / mean).min(3.0);
                    *c += 1.0;
                }
            }
        }
        let mut factors = [1.0; 12];
        for (f, (s, c)) in factors.iter_mut().zip(sum.iter().zip(count)) {
            *f = (s / c).max(0.2);
        }
        let mean = factors.iter().sum::<f64>() / 12.0;
        Season(factors.map(|f| f / mean))
    }

    fn month(&self, index: usize) -> f64 {
        self.0.get(index % 12).copied().unwrap_or(1.0)
    }

    /// Litres of a week in that month over a usual week's.
    pub fn on(&self, date: Date) -> f64 {
        self.month((date.month() - 1) as usize)
    }

    /// Usual days that go by within `days` from the day of the year on.
    pub fn usual_days(&self, day_of_year: f64, days: f64) -> f64 {
        self.since_new_year(day_of_year + days) - self.since_new_year(day_of_year)
    }

    /// Usual days from the beginning of a year on.
    fn since_new_year(&self, days: f64) -> f64 {
        let years = (days / YEAR_DAYS).floor();
        let months = (days - years * YEAR_DAYS) / MONTH_DAYS;
        let whole = (months as usize).min(11);
        let before: f64 = self.0.iter().take(whole).sum();
        years * YEAR_DAYS + (before + (months - whole as f64) * self.month(whole)) * MONTH_DAYS
    }

    /// Days until so many usual days have gone by.
    pub fn days_for(&self, day_of_year: f64, usual: f64) -> f64 {
        if !usual.is_finite() {
            return usual;
        }
        let years = (usual / YEAR_DAYS).floor();
        let mut left = usual - years * YEAR_DAYS;
        let mut at = (day_of_year / MONTH_DAYS).rem_euclid(12.0);
        let mut days = years * YEAR_DAYS;
        while left > 1e-9 {
            let to_end = (at.floor() + 1.0 - at) * MONTH_DAYS;
            let factor = self.month(at as usize);
            let step = to_end.min(left / factor);
            days += step;
            left -= step * factor;
            at = (at + step / MONTH_DAYS + 1e-9).rem_euclid(12.0);
        }
        days
    }
}

/// A van's future use of mains-fed water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    /// Of a usual week, the season taken out.
    pub litres_per_week: f64,
    /// Spread of the logarithm of the present rate.
    pub sd_ln: f64,
    /// Whether the van's own fills told it.
    pub counted: bool,
    pub season: Season,
}

impl Usage {
    pub fn litres_per_day(&self) -> f64 {
        self.litres_per_week / 7.0
    }

    /// A draw of the factor on the mean rate over the coming `years`, given two
    /// standard normal draws: the mean of a wander has a third of its variance.
    pub fn factor(&self, z_now: f64, z_later: f64, years: f64) -> f64 {
        let wander = YEARLY_WANDER * (years.clamp(0.0, 10.0) / 3.0).sqrt();
        (self.sd_ln * z_now + wander * z_later).exp()
    }

    /// The same from one standard normal draw for both.
    pub fn drawn_factor(&self, z: f64, years: f64) -> f64 {
        let wander = YEARLY_WANDER * (years.clamp(0.0, 10.0) / 3.0).sqrt();
        (self.sd_ln.hypot(wander) * z).exp()
    }
}

/// A van's expected use from a day on, for turning litres into days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UseAhead {
    pub litres_per_day: f64,
    season: Season,
    day_of_year: f64,
}

impl UseAhead {
    pub fn of(usage: &Usage, from: Date) -> UseAhead {
        UseAhead {
            litres_per_day: usage.litres_per_day(),
            season: usage.season,
            day_of_year: f64::from(from.day_of_year()),
        }
    }

    /// Days in which so many litres are made; infinite without use.
    pub fn days_for(&self, litres: f64) -> f64 {
        if self.litres_per_day > 0.0 {
            self.season
                .days_for(self.day_of_year, litres / self.litres_per_day)
        } else {
            f64::INFINITY
        }
    }

    /// Litres made in so many days.
    pub fn litres_in(&self, days: f64) -> f64 {
        self.litres_per_day * self.season.usual_days(self.day_of_year, days)
    }
}

/// The fleet's median week, from the weeks of vans with at least four counted ones.
pub fn fleet_litres_per_week<'a>(
    vans: impl Iterator<Item = &'a [WeekLitres]>,
    season: &Season,
) -> Option<f64> {
    middle_of(
        vans.filter_map(|weeks| own(weeks, season).filter(|m| m.weeks >= 4.0))
            .map(|m| m.mean),
    )
}

/// What a van's own weeks tell.
struct Own {
    mean: f64,
    /// Relative variance of a week.
    relative: f64,
    /// Weeks that count, and how many equal ones they are worth.
    weeks: f64,
    worth: f64,
}

fn own(weeks: &[WeekLitres], season: &Season) -> Option<Own> {
    // The week that holds the as-of day is not over.
    let full = weeks.len().saturating_sub(1);
    let recent = weeks.get(full.saturating_sub(RECENT_WEEKS)..full)?;
    if recent.is_empty() {
        return None;
    }
    let (mut sum, mut total, mut squares) = (0.0, 0.0, 0.0);
    let weight = |i: usize| (-((recent.len() - 1 - i) as f64) / MEMORY_WEEKS).exp();
    let usual = |i: usize| {
        recent
            .get(i)
            .map_or(0.0, |w| w.litres / season.on(w.monday))
    };
    for i in 0..recent.len() {
        sum += weight(i) * usual(i);
        total += weight(i);
        squares += weight(i) * weight(i);
    }
    let mean = sum / total;
    let spread = (0..recent.len())
        .map(|i| weight(i) * (usual(i) - mean).powi(2))
        .sum::<f64>()
        / total;
    Some(Own {
        mean,
        relative: spread / (mean * mean).max(1e-9),
        weeks: recent.len() as f64,
        worth: total * total / squares,
    })
}

/// The van's rate: its own recent weeks, drawn towards the fleet's median
/// while they are few.
pub fn usage_of(van: &VanLives, fleet_week: Option<f64>, season: &Season) -> Usage {
    const FLEET_WEIGHT: f64 = 2.0;
    let fleet = fleet_week.unwrap_or(ASSUMED_LITRES_PER_WEEK);
    let season = *season;
    match own(&van.weeks, &season) {
        Some(own) if own.mean > 0.0 => {
            let n = own.worth;
            let rate = (own.mean * n + fleet * FLEET_WEIGHT.min(n)) / (n + FLEET_WEIGHT.min(n));
            let few = (ASSUMED_SD * FLEET_WEIGHT / (n + FLEET_WEIGHT)).powi(2);
            // Rounds change: never surer than 6 %.
            Usage {
                litres_per_week: rate,
                sd_ln: (own.relative.max(0.05) / n + few + 0.06 * 0.06).sqrt(),
                counted: true,
                season,
            }
        }
        Some(own) if own.weeks >= 8.0 => {
            // Standing still for weeks on end: it may start again.
            Usage {
                litres_per_week: 0.1 * fleet,
                sd_ln: 1.0,
                counted: true,
                season,
            }
        }
        _ => Usage {
            litres_per_week: fleet,
            sd_ln: ASSUMED_SD,
            counted: van.fills_between.is_some(),
            season,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_and_usual_days_undo_each_other() {
        let season = Season([
            0.6, 0.7, 0.9, 1.0, 1.1, 1.2, 1.3, 1.25, 1.15, 1.0, 0.95, 0.85,
        ]);
        for (start, days) in [(10.0, 3.0), (200.0, 170.0), (360.0, 40.0), (90.0, 1000.0)] {
            let usual = season.usual_days(start, days);
            let back = season.days_for(start, usual);
            assert!((back - days).abs() < 1e-6, "{start} {days}: {back}");
        }
        // A year is a year, whatever its ups and downs.
        let year = season.usual_days(77.0, YEAR_DAYS);
        assert!((year - YEAR_DAYS).abs() < 1e-6, "{year}");
    }
}
