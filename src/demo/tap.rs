//! The invented districts and what comes out of their taps on a day.

use super::nature::Nature;
use super::random::{Random, Stream};

/// A district's water, yearly means.
#[derive(Debug, Clone, Copy)]
pub struct District {
    pub postcode: &'static str,
    pub hardness_mg_l_caco3: f64,
    /// mg/L as CaCO3.
    pub alkalinity_mg_l_caco3: f64,
    pub ph: f64,
    /// ppm on the 0.5 scale.
    pub feed_ppm: f64,
    /// Share of the ions' equivalents that are chloride, sulphate and nitrate.
    pub mineral_share: f64,
    pub chlorine_mg_l: f64,
    pub tap_bar: f64,
    /// Groundwater swings half as much in temperature.
    pub groundwater: bool,
    /// Half the yearly swing of strength, ln, and the day of the year of its peak.
    pub swing: f64,
    pub peak_day: f64,
}

/// From very soft upland water to very hard chalk. Ratios of hardness to ppm,
/// alkalinity and pH follow the published ranges for such waters; the places
/// are invented.
pub const DISTRICTS: [District; 6] = [
    District {
        postcode: "QA1",
        hardness_mg_l_caco3: 25.0,
        alkalinity_mg_l_caco3: 18.0,
        ph: 8.0,
        feed_ppm: 44.0,
        mineral_share: 0.50,
        chlorine_mg_l: 0.45,
        tap_bar: 3.8,
        groundwater: false,
        swing: 0.0,
        peak_day: 0.0,
    },
    District {
        postcode: "QA3",
        hardness_mg_l_caco3: 285.0,
        alkalinity_mg_l_caco3: 240.0,
        ph: 7.4,
        feed_ppm: 338.0,
        mineral_share: 0.30,
        chlorine_mg_l: 0.35,
        tap_bar: 3.2,
        groundwater: true,
        swing: 0.0,
        peak_day: 0.0,
    },
    District {
        postcode: "QB1",
        hardness_mg_l_caco3: 330.0,
        alkalinity_mg_l_caco3: 275.0,
        ph: 7.35,
        feed_ppm: 392.0,
        mineral_share: 0.32,
        chlorine_mg_l: 0.45,
        tap_bar: 3.5,
        groundwater: true,
        swing: 0.0,
        peak_day: 0.0,
    },
    District {
        postcode: "QC2",
        hardness_mg_l_caco3: 110.0,
        alkalinity_mg_l_caco3: 85.0,
        ph: 7.7,
        feed_ppm: 158.0,
        mineral_share: 0.45,
        chlorine_mg_l: 0.45,
        tap_bar: 3.4,
        groundwater: false,
        swing: 0.0,
        peak_day: 0.0,
    },
    District {
        postcode: "QD4",
        hardness_mg_l_caco3: 190.0,
        alkalinity_mg_l_caco3: 145.0,
        ph: 7.6,
        feed_ppm: 290.0,
        mineral_share: 0.48,
        chlorine_mg_l: 0.50,
        tap_bar: 3.0,
        groundwater: false,
        swing: 0.0,
        peak_day: 0.0,
    },
    District {
        postcode: "QB6",
        hardness_mg_l_caco3: 60.0,
        alkalinity_mg_l_caco3: 45.0,
        ph: 7.9,
        feed_ppm: 96.0,
        mineral_share: 0.48,
        chlorine_mg_l: 0.40,
        tap_bar: 3.6,
        groundwater: false,
        swing: 0.0,
        peak_day: 0.0,
    },
];

/// The districts of an invented world: the map's, each with water of its own.
pub fn districts(nature: &Nature, seed: u64) -> Vec<District> {
    DISTRICTS
        .iter()
        .enumerate()
        .map(|(number, map)| {
            if nature.district_sd == 0.0 {
                return *map;
            }
            let mut random = Random::stream(seed, Stream::World, 1 + number as u64);
            let strength = random.spread(nature.district_sd);
            let hard = random.spread(0.4 * nature.district_sd).min(1.1);
            District {
                hardness_mg_l_caco3: map.hardness_mg_l_caco3 * strength * hard,
                alkalinity_mg_l_caco3: map.alkalinity_mg_l_caco3 * strength * hard,
                feed_ppm: map.feed_ppm * strength,
                ph: map.ph + random.between(-0.15, 0.15),
                mineral_share: map.mineral_share * random.spread(0.2),
                swing: random.between(0.0, 0.12),
                peak_day: random.between(0.0, 365.0),
                ..*map
            }
        })
        .collect()
}

/// Tap water of one district on one day.
#[derive(Debug, Clone, Copy)]
pub struct TapWater {
    pub hardness_mg_l_caco3: f64,
    pub alkalinity_mg_l_caco3: f64,
    pub ph: f64,
    pub feed_ppm: f64,
    pub mineral_share: f64,
    pub chlorine_mg_l: f64,
    pub tap_bar: f64,
    pub water_c: f64,
}

/// A district's water day by day: the shares of its sources wander over the
/// weeks, temperature follows the season.
#[derive(Debug, Clone)]
pub struct TapYear {
    days: Vec<TapWater>,
}

impl TapYear {
    /// `first_day_of_year` is the 1-based day of the year of day 0.
    pub fn simulate(
        district: &District,
        days: usize,
        first_day_of_year: i16,
        random: &mut Random,
    ) -> TapYear {
        let (mut strength, mut warmth, mut bar) = (random.normal(), random.normal(), 0.0);
        let mut out = Vec::with_capacity(days);
        for day in 0..days {
            // Correlation times: six weeks for the sources, ten days for the weather.
            strength = 0.976 * strength + (1.0 - 0.976f64 * 0.976).sqrt() * random.normal();
            warmth = 0.90 * warmth + (1.0 - 0.90f64 * 0.90).sqrt() * random.normal();
            bar = 0.5 * bar + 0.15 * random.normal();
            let year = std::f64::consts::TAU
                * (f64::from(first_day_of_year) + day as f64 - district.peak_day)
                / 365.25;
            let factor = (0.06 * strength + district.swing * year.cos()).exp();
            let angle = std::f64::consts::TAU * (f64::from(first_day_of_year) + day as f64 - 215.0)
                / 365.25;
            let swing = if district.groundwater { 3.5 } else { 6.5 };
            let summer = angle.cos();
            out.push(TapWater {
                hardness_mg_l_caco3: district.hardness_mg_l_caco3 * factor,
                alkalinity_mg_l_caco3: district.alkalinity_mg_l_caco3 * factor,
                ph: district.ph,
                feed_ppm: district.feed_ppm * factor,
                mineral_share: district.mineral_share,
                chlorine_mg_l: district.chlorine_mg_l * (1.0 + 0.2 * summer),
                tap_bar: district.tap_bar + bar,
                water_c: (11.5 + swing * summer + warmth).max(3.0),
            });
        }
        TapYear { days: out }
    }

    /// The water of that day; the last day's beyond the end.
    pub fn on(&self, day: usize) -> Option<&TapWater> {
        self.days.get(day).or(self.days.last())
    }
}
