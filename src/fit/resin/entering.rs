//! What will enter the resin: the tap's strength times what the membrane lets
//! through, with season, wander and decline ahead.

use crate::fit::horizon::middle_of;
use crate::fit::membrane::{Growth, Scale};
use crate::lives::TapSeason;

/// Middle of the year at a tap, °C.
pub(super) const USUAL_C: f64 = 11.5;

/// One draw of what lets salts through.
#[derive(Debug, Clone, Copy)]
pub struct PermeateDraw {
    /// How salt passage goes on; `None` where it stays or nobody can tell.
    pub growth: Option<Growth>,
    /// `ln` of permeate over salt passage at 25 °C at the usual tap in the middle
    /// of the year; without growth the `ln` permeate itself, ppm.
    pub ln_scale: f64,
    /// What a degree does to `ln` permeate.
    pub per_c: f64,
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
            draws: vec![PermeateDraw {
                growth: None,
                ln_scale: ppm.max(1e-3).ln(),
                per_c: 0.0,
            }],
        }
    }

    /// What lets salts through in draw number `index`.
    pub fn draw(&self, index: usize) -> PermeateDraw {
        let draw = self.draws.get(index).copied();
        draw.unwrap_or(PermeateDraw {
            growth: None,
            ln_scale: self.ppm_now.max(1e-3).ln(),
            per_c: 0.0,
        })
    }

    /// The scale on which salt passage grows; `None` where it stays.
    pub fn scale(&self) -> Option<Scale> {
        self.draws.first().and_then(|d| Some(d.growth?.scale()))
    }

    /// Permeate today, middle of the draws, ppm.
    pub fn middle_ppm(&self, day_of_year: f64) -> Option<f64> {
        let warmer_c = self.season.on(day_of_year) - USUAL_C;
        middle_of(self.draws.iter().map(|draw| {
            let passage = draw.growth.map_or(0.0, |g| g.ln_passage(g.level));
            (draw.ln_scale + passage + draw.per_c * warmer_c + self.strength_now)
                .exp()
                .min(self.feed_ppm)
        }))
    }
}
