//! How warm the tap is over the year, district by district: learnt from the
//! vans that note it, for those that do not.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::calendar::{Date, DateExt};

use super::hardness_table::WaterSeen;
use super::history_as_of::HistoryAsOf;
use super::median::median_of;
use crate::water::tap_temperature_c;

/// A tap's year: mean and half the swing, °C, warmest in early August.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct TapSeason {
    pub mean_c: f64,
    pub swing_c: f64,
}

/// A British-like climate's surface water (from memory): see [`tap_temperature_c`].
const USUAL: TapSeason = TapSeason {
    mean_c: 11.5,
    swing_c: 6.5,
};

impl TapSeason {
    /// Temperature on a day of the year, °C.
    pub fn on(&self, day_of_year: f64) -> f64 {
        self.mean_c + self.swing_c * wave(day_of_year)
    }
}

impl Default for TapSeason {
    fn default() -> TapSeason {
        USUAL
    }
}

/// The year's wave, between −1 and 1.
fn wave(day_of_year: f64) -> f64 {
    (tap_temperature_c(day_of_year) - USUAL.mean_c) / USUAL.swing_c
}

/// Sums of a regression of temperature on the year's wave.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    n: f64,
    wave: f64,
    waves: f64,
    c: f64,
    wave_c: f64,
}

/// Readings of one van that count: no van decides for its district alone.
const MOST_READINGS: f64 = 60.0;
const MOST_AWAY_C: f64 = 6.0;

impl Sums {
    fn mean_c(&self) -> Option<f64> {
        (self.n > 0.0).then(|| self.c / self.n)
    }

    /// The same, counted as no more than [`MOST_READINGS`].
    fn at_most(self) -> Sums {
        let share = (MOST_READINGS / self.n.max(1.0)).min(1.0);
        Sums {
            n: share * self.n,
            wave: share * self.wave,
            waves: share * self.waves,
            c: share * self.c,
            wave_c: share * self.wave_c,
        }
    }

    fn add(&mut self, other: &Sums) {
        self.n += other.n;
        self.wave += other.wave;
        self.waves += other.waves;
        self.c += other.c;
        self.wave_c += other.wave_c;
    }

    /// Most probable season, given what was believed and how firmly (sd, °C).
    fn season(&self, believed: &TapSeason, mean_sd: f64, swing_sd: f64) -> TapSeason {
        /// Variance of a reading about the season, °C²; weather lasts, so that
        /// neighbouring readings tell little new (judgement).
        const VARIANCE: f64 = 16.0;
        let (pm, ps) = (
            VARIANCE / (mean_sd * mean_sd),
            VARIANCE / (swing_sd * swing_sd),
        );
        let (a, b, d) = (self.n + pm, self.wave, self.waves + ps);
        let (y, z) = (
            self.c + pm * believed.mean_c,
            self.wave_c + ps * believed.swing_c,
        );
        let determinant = a * d - b * b;
        TapSeason {
            mean_c: (d * y - b * z) / determinant,
            swing_c: ((a * z - b * y) / determinant).max(0.0),
        }
    }
}

/// What one van's thermometer tells of its tap.
#[derive(Debug, Clone, Copy)]
pub(crate) struct TapSeen(Sums);

impl TapSeen {
    pub(crate) fn of(van: &HistoryAsOf<'_>) -> TapSeen {
        TapSeen(of_van(van).at_most())
    }
}

/// The seasons of all districts.
#[derive(Debug, Clone, Default)]
pub(crate) struct TapSeasons {
    fleet: TapSeason,
    districts: BTreeMap<Arc<str>, TapSeason>,
}

impl TapSeasons {
    /// `vans` and `water` of the same vans in the same order.
    pub(crate) fn of(vans: &[TapSeen], water: &[WaterSeen]) -> TapSeasons {
        let vans: Vec<Sums> = vans.iter().map(|van| van.0).collect();
        let usual_c = median_of(vans.iter().filter_map(Sums::mean_c)).unwrap_or(USUAL.mean_c);
        let mut all = Sums::default();
        let mut by_district: BTreeMap<Arc<str>, Sums> = BTreeMap::new();
        for (sums, water) in vans.iter().zip(water) {
            // A thermometer far from all others measures something else.
            if sums
                .mean_c()
                .is_none_or(|c| (c - usual_c).abs() > MOST_AWAY_C)
            {
                continue;
            }
            all.add(sums);
            if let Some(name) = district(water).filter(|_| sums.n > 0.0) {
                by_district.entry(name).or_default().add(sums);
            }
        }
        let fleet = all.season(&USUAL, 1.5, 2.0);
        TapSeasons {
            districts: by_district
                .into_iter()
                .map(|(name, sums)| (name, sums.season(&fleet, 1.0, 2.0)))
                .collect(),
            fleet,
        }
    }

    /// At a van's base.
    pub(crate) fn at(&self, water: &WaterSeen) -> TapSeason {
        district(water)
            .and_then(|name| self.districts.get(&name).copied())
            .unwrap_or(self.fleet)
    }
}

fn district(water: &WaterSeen) -> Option<Arc<str>> {
    water
        .base
        .as_ref()
        .and_then(|base| base.district_or_area())
        .map(Into::into)
}

fn of_van(van: &HistoryAsOf<'_>) -> Sums {
    let days = van.days;
    let mut sums = Sums::default();
    let mut last: Option<Date> = None;
    for reading in van.readings {
        let Some(c) = reading.water_c.filter(|c| (0.5..32.0).contains(c)) else {
            continue;
        };
        let date = days.date(reading.taken_at);
        // A logger's many readings of one day are one.
        if last == Some(date) {
            continue;
        }
        last = Some(date);
        let x = wave(f64::from(date.day_of_year()));
        sums.add(&Sums {
            n: 1.0,
            wave: x,
            waves: x * x,
            c,
            wave_c: x * c,
        });
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sums(season: &TapSeason, readings: usize) -> Sums {
        let mut all = Sums::default();
        for i in 0..readings {
            let day = 365.0 * i as f64 / readings as f64;
            let (x, c) = (wave(day), season.on(day));
            all.add(&Sums {
                n: 1.0,
                wave: x,
                waves: x * x,
                c,
                wave_c: x * c,
            });
        }
        all
    }

    #[test]
    fn many_readings_tell_the_season_and_none_leave_the_usual_one() {
        let ground = TapSeason {
            mean_c: 12.0,
            swing_c: 3.0,
        };
        let learnt = sums(&ground, 400).season(&USUAL, 1.5, 2.0);
        assert!((learnt.mean_c - 12.0).abs() < 0.1, "{learnt:?}");
        assert!((learnt.swing_c - 3.0).abs() < 0.3, "{learnt:?}");
        assert_eq!(Sums::default().season(&USUAL, 1.5, 2.0), USUAL);
        let few = sums(&ground, 4).season(&USUAL, 1.5, 2.0);
        assert!(few.swing_c > 4.5, "{few:?}");
    }
}
