//! What will enter the resin: the tap's strength times what the membrane lets
//! through, with season, wander and decline ahead.

use crate::fit::membrane::Growth;
use crate::lives::TapSeason;
use crate::stats::random::Rng;

/// Days after which a tap's strength is forgotten: sources are mixed anew in
/// some weeks (judgement).
const STRENGTH_MEMORY_DAYS: f64 = 45.0;
const USUAL_C: f64 = 11.5;

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

    /// A course through draw number `index`, starting on that day of the year.
    pub fn course(&self, index: usize, day_of_year: f64) -> Course<'_> {
        // A stride coprime to the usual counts mixes the futures of membrane and resin.
        let pick = index.wrapping_mul(7919) % self.draws.len().max(1);
        let draw = self.draws.get(pick).copied().unwrap_or(PermeateDraw {
            growth: None,
            ln_scale: self.ppm_now.max(1e-3).ln(),
            per_c: 0.0,
        });
        Course {
            ahead: self,
            draw,
            level: draw.growth.map_or(0.0, |g| g.level),
            strength: self.strength_now,
            day_of_year,
        }
    }
}

/// One possible course of what enters the resin.
pub struct Course<'a> {
    ahead: &'a PermeateAhead,
    draw: PermeateDraw,
    level: f64,
    strength: f64,
    day_of_year: f64,
}

impl Course<'_> {
    /// Permeate today, ppm.
    pub fn ppm(&self) -> f64 {
        let passage = self.draw.growth.map_or(0.0, |g| g.ln_passage(self.level));
        let season = self.ahead.season.on(self.day_of_year) - USUAL_C;
        (self.draw.ln_scale + passage + self.draw.per_c * season + self.strength)
            .exp()
            .min(self.ahead.feed_ppm)
    }

    /// Days go by in which the membrane makes so many litres.
    pub fn advance(&mut self, days: f64, litres: f64, rng: &mut Rng) {
        self.day_of_year += days;
        if let Some(g) = &self.draw.growth {
            self.level +=
                g.rate_per_litre * litres + (g.wander_per_litre * litres).sqrt() * rng.normal();
        }
        if self.ahead.strength_sd > 0.0 {
            let keep = (-days / STRENGTH_MEMORY_DAYS).exp();
            self.strength = keep * self.strength
                + self.ahead.strength_sd * (1.0 - keep * keep).sqrt() * rng.normal();
        }
    }
}
