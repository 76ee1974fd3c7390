//! How salt passage may go on, litre by litre, as decisions need it.

use crate::stats::passage::Passage;

/// `ln` salt passage about which the scale is bent: a new element's.
const BENT_ABOUT: f64 = -3.69;
/// The bent scale goes on straight where growth would fall below this share.
const STRAIGHT_BELOW: f64 = 0.25;

/// The scale on which salt passage grows evenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    pub curvature: f64,
}

impl Scale {
    /// `ln` salt passage on the scale on which it grows evenly, and by how much
    /// that stretches a small difference there.
    pub fn bend(&self, ln_passage: f64) -> (f64, f64) {
        let (x, c) = (ln_passage - BENT_ABOUT, self.curvature);
        if c.abs() < 1e-6 {
            return (x, 1.0);
        }
        let w = 1.0 + c * x;
        if w >= STRAIGHT_BELOW {
            (w.ln() / c, 1.0 / w)
        } else {
            let slope = 1.0 / STRAIGHT_BELOW;
            (
                (STRAIGHT_BELOW.ln() + (w - STRAIGHT_BELOW) * slope) / c,
                slope,
            )
        }
    }

    /// The way back from [`Scale::bend`].
    pub fn unbend(&self, level: f64) -> f64 {
        let c = self.curvature;
        if c.abs() < 1e-6 {
            return BENT_ABOUT + level;
        }
        let ln_w = c * level;
        let w = if ln_w >= STRAIGHT_BELOW.ln() {
            ln_w.min(700.0).exp()
        } else {
            STRAIGHT_BELOW + (ln_w - STRAIGHT_BELOW.ln()) * STRAIGHT_BELOW
        };
        BENT_ABOUT + (w - 1.0) / c
    }
}

/// One equally likely course of an element's salt passage, from now or from new
/// on: where it stands and how fast it goes, with its wander still open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Drawn; 0 or less where the limit is past, infinite where it is never reached.
    pub litres_to_limit: f64,
    pub litres_per_day: f64,
    /// Which draw of the fleet's shared numbers it belongs to.
    pub shared_draw: usize,
    start: f64,
    per_litre: f64,
    scale: Scale,
    /// `None` where it runs without wander, or is past its limit.
    passage: Option<Passage>,
}

/// Where a course begins and what moves it, on the even scale.
#[derive(Debug, Clone, Copy)]
pub(super) struct Motion {
    pub level: f64,
    pub limit: f64,
    pub rate_per_litre: f64,
    /// Variance of its wander per litre.
    pub wander_per_litre: f64,
}

impl Course {
    pub(super) fn new(
        scale: Scale,
        shared_draw: usize,
        motion: &Motion,
        litres_to_limit: f64,
        litres_per_day: f64,
    ) -> Course {
        let distance = motion.limit - motion.level;
        let ahead = litres_to_limit > 0.0 && distance > 0.0;
        Course {
            litres_to_limit: if ahead { litres_to_limit } else { 0.0 },
            litres_per_day,
            shared_draw,
            start: motion.level,
            per_litre: motion.rate_per_litre,
            scale,
            passage: ahead
                .then(|| {
                    let wander = motion.wander_per_litre.max(1e-18);
                    Passage::new(distance, motion.rate_per_litre, 0.0, wander).ok()
                })
                .flatten(),
        }
    }

    /// A course whose `ln` salt passage grows by the same amount with every litre,
    /// from one share of the salts to the limit.
    pub fn straight(from: f64, limit: f64, litres_to_limit: f64, litres_per_day: f64) -> Course {
        let scale = Scale { curvature: 0.0 };
        let level = |passage: f64| scale.bend(passage.ln()).0;
        Course {
            litres_to_limit,
            litres_per_day,
            shared_draw: 0,
            start: level(from),
            per_litre: (level(limit) - level(from)) / litres_to_limit,
            scale,
            passage: None,
        }
    }

    /// The same course where `times` as many elements share the water.
    pub fn shared_by(self, times: f64) -> Course {
        Course {
            litres_to_limit: self.litres_to_limit * times,
            per_litre: self.per_litre / times,
            passage: self.passage.map(|p| p.slower(times)),
            ..self
        }
    }

    /// Whether it was past its limit at the start.
    pub fn is_past(&self) -> bool {
        self.litres_to_limit <= 0.0
    }

    /// Probability that the limit is reached within so many more litres.
    pub fn reached_by(&self, litres: f64) -> f64 {
        match &self.passage {
            Some(passage) => passage.cdf_quick(litres),
            None => f64::from(u8::from(self.litres_to_limit <= litres)),
        }
    }

    /// Salt passage at 25 °C after so many more litres, a fraction; its wander
    /// left out.
    pub fn salt_passage(&self, litres: f64) -> f64 {
        self.scale
            .unbend(self.start + self.per_litre * litres)
            .exp()
            .min(1.0)
    }
}
