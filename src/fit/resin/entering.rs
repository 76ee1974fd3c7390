//! What will enter the resin: the tap's strength times what the membrane lets
//! through, with season, wander and decline ahead.

use crate::fit::horizon::middle_of;
use crate::lives::TapSeason;
use crate::stats::wide;

/// Middle of the year at a tap, °C.
pub(super) const USUAL_C: f64 = 11.5;

/// Litres ahead at which a course of permeate is told: none, and ever further apart,
/// beyond what any van makes in ten years.
pub const KNOTS: usize = 33;
const FIRST_LITRES: f64 = 500.0;
const KNOTS_A_DOUBLING: f64 = 2.5;

/// Litres ahead of a knot.
pub fn knot_litres(knot: usize) -> f64 {
    FIRST_LITRES * ((knot as f64 / KNOTS_A_DOUBLING).exp2() - 1.0)
}

/// The place among the knots of so many litres ahead.
#[inline(always)]
pub(super) fn knot_at(litres: f64) -> f64 {
    const PER_LN: f64 = KNOTS_A_DOUBLING * std::f64::consts::LOG2_E;
    let at = PER_LN * wide::ln(1.0 + litres * (1.0 / FIRST_LITRES));
    let most = (KNOTS - 1) as f64;
    if at < most { at } else { most }
}

/// One draw of what lets salts through.
#[derive(Debug, Clone, Copy)]
pub struct PermeateDraw {
    /// `ln` permeate, ppm, at the usual tap in the middle of the year, at each knot.
    pub ln_ppm: [f64; KNOTS],
    /// What a degree does to `ln` permeate.
    pub per_c: f64,
    /// `ln` of salt passage at the usual tap in the middle of the year over that at
    /// 25 °C.
    pub ln_cold: f64,
}

impl PermeateDraw {
    /// `ln` permeate in a place among the knots.
    #[inline(always)]
    pub(super) fn ln_ppm_at(&self, knot: f64) -> f64 {
        let below = (knot as usize).min(KNOTS - 2);
        let (a, b) = (self.ln_ppm[below], self.ln_ppm[below + 1]);
        a + (b - a) * (knot - below as f64)
    }
}

/// What will enter the resin, as equally likely draws; not empty.
#[derive(Debug, Clone)]
pub struct PermeateAhead {
    /// Middle estimate today, ppm.
    pub ppm_now: f64,
    /// The membrane lets through no more than what is fed.
    pub feed_ppm: f64,
    /// How the tap's strength differs from usual now, ln, and how it wanders.
    pub strength_now: f64,
    pub strength_sd: f64,
    pub season: TapSeason,
    pub draws: Vec<PermeateDraw>,
}

impl PermeateAhead {
    /// The same water for ever.
    pub fn steady(ppm: f64, feed_ppm: f64) -> PermeateAhead {
        PermeateAhead {
            ppm_now: ppm,
            feed_ppm: feed_ppm.max(ppm),
            strength_now: 0.0,
            strength_sd: 0.0,
            season: TapSeason::default(),
            draws: vec![steady_draw(ppm)],
        }
    }

    /// What lets salts through in draw number `index`.
    pub fn draw(&self, index: usize) -> PermeateDraw {
        let draw = self.draws.get(index).copied();
        draw.unwrap_or_else(|| steady_draw(self.ppm_now))
    }

    /// Permeate today, middle of the draws, ppm.
    pub fn middle_ppm(&self, day_of_year: f64) -> Option<f64> {
        let warmer_c = self.season.on(day_of_year) - USUAL_C;
        middle_of(self.draws.iter().map(|draw| {
            (draw.ln_ppm[0] + draw.per_c * warmer_c + self.strength_now)
                .exp()
                .min(self.feed_ppm)
        }))
    }
}

fn steady_draw(ppm: f64) -> PermeateDraw {
    PermeateDraw {
        ln_ppm: [ppm.max(1e-3).ln(); KNOTS],
        per_c: 0.0,
        ln_cold: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_course_is_found_between_its_knots() {
        let draw = PermeateDraw {
            ln_ppm: std::array::from_fn(|n| 1e-5 * knot_litres(n)),
            per_c: 0.0,
            ln_cold: 0.0,
        };
        for litres in [0.0, 90.0, 700.0, 12_000.0, 300_000.0] {
            let found = 1e5 * draw.ln_ppm_at(knot_at(litres));
            assert!(
                (found - litres).abs() < 0.07 * litres + 1e-6,
                "{litres} {found}"
            );
        }
        assert!(draw.ln_ppm_at(knot_at(1e9)).is_finite());
    }
}
