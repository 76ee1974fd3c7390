//! How salt passage may go on, litre by litre, as decisions need it.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use crate::stats::passage::Passage;
use crate::stats::wide::{self, LANES, Lanes, lanes};

/// `ln` salt passage about which the scale is bent: a new element's.
const BENT_ABOUT: f64 = -3.69;
/// The bent scale goes on straight where growth would fall below this share.
const STRAIGHT_BELOW: f64 = 0.25;
const LN_STRAIGHT_BELOW: f64 = -2.0 * std::f64::consts::LN_2;

/// The scale on which salt passage grows evenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    pub curvature: f64,
}

impl Scale {
    /// `ln` salt passage on the scale on which it grows evenly, and by how much
    /// that stretches a small difference there.
    pub fn link(&self, ln_passage: f64) -> (f64, f64) {
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

    /// The way back from [`Scale::link`].
    pub fn inverse_link(&self, level: f64) -> f64 {
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

impl Scale {
    /// The scale on which three values of `ln` salt passage, equally far apart in
    /// litres, lie evenly, as nearly as one can.
    pub fn through(from: f64, middle: f64, to: f64) -> Scale {
        const MOST: f64 = 1.5;
        let (first, second) = ((middle - from).max(1e-6), (to - middle).max(1e-6));
        // Growth goes with `1 + c·x`: over equal litres its steps grow by a ratio.
        let ratio = second / first;
        let (a, b) = (from - BENT_ABOUT, to - BENT_ABOUT);
        // (1 + c·b)/(1 + c·a) = ratio², as twice the litres lie between the ends.
        let square = ratio * ratio;
        let least = -0.7 / b.max(0.5);
        let curvature = if b - square * a > 0.0 {
            ((square - 1.0) / (b - square * a)).clamp(least, MOST)
        } else {
            MOST
        };
        Scale {
            curvature: if curvature.abs() < 1e-3 {
                1e-3
            } else {
                curvature
            },
        }
    }

    /// As [`Scale::inverse_link`], for loops over many levels on a bent scale.
    #[inline(always)]
    pub fn unbend_wide(&self, level: f64) -> f64 {
        let ln_w = self.curvature * level;
        let straight = STRAIGHT_BELOW + (ln_w - LN_STRAIGHT_BELOW) * STRAIGHT_BELOW;
        let bent = wide::exp(ln_w);
        let w = if ln_w >= LN_STRAIGHT_BELOW {
            bent
        } else {
            straight
        };
        BENT_ABOUT + (w - 1.0) * (1.0 / self.curvature)
    }
}

/// One equally likely course of an element's salt passage, from now or from new
/// on: where it stands and how fast it goes, with its wander still open.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trajectory {
    /// Drawn; 0 or less where the limit is past, infinite where it is never reached.
    pub litres_to_limit: f64,
    pub litres_per_day: f64,
    start: f64,
    per_litre: f64,
    scale: Scale,
    /// From the start to the limit, and the variance of its wander per litre; 0
    /// where it runs without wander, or is past its limit.
    distance: f64,
    wander_per_litre: f64,
}

/// Sums over courses, by age in litres from their beginning.
#[derive(Debug, Clone)]
pub struct TrajectorySums {
    /// Courses, past ones included.
    pub trajectories: usize,
    /// Probability that the limit is reached by then.
    pub reached: Vec<f64>,
    /// Litres made since the age before, where they end with the limit.
    pub made: Vec<f64>,
    /// The same times what a litre is worth.
    pub worth: Vec<f64>,
}

/// Some ages side by side, what lies between each and the one before, and the sums.
/// Where ages run out the last one stands again, with nothing between.
struct Ages {
    at: Lanes,
    between: Lanes,
    middle: Lanes,
    reached: Lanes,
    made: Lanes,
    worth: Lanes,
}

impl TrajectorySums {
    /// `ages` ascend from above 0. Courses past their limit add nothing. `worth`
    /// tells what a litre is worth by its salt passage at 25 °C, a fraction.
    pub fn of(
        trajectories: impl Iterator<Item = Trajectory>,
        ages: &[f64],
        worth: impl Fn(f64) -> f64 + Copy,
    ) -> TrajectorySums {
        let mut before = 0.0;
        let mut some: Vec<Ages> = ages
            .chunks(LANES)
            .map(|part| {
                let last = part.last().copied().unwrap_or(before);
                let at: Lanes = std::array::from_fn(|l| part.get(l).copied().unwrap_or(last));
                let befores: Lanes = std::array::from_fn(|l| match l.checked_sub(1) {
                    Some(l) => at.get(l).copied().unwrap_or(last),
                    None => before,
                });
                before = last;
                Ages {
                    at,
                    between: lanes!(l => at[l] - befores[l]),
                    middle: lanes!(l => 0.5 * (at[l] + befores[l])),
                    reached: [0.0; LANES],
                    made: [0.0; LANES],
                    worth: [0.0; LANES],
                }
            })
            .collect();
        let mut count = 0;
        for trajectory in trajectories {
            count += 1;
            if !trajectory.is_past() {
                wide::widest(Adding {
                    ages: &mut some,
                    trajectory,
                    worth,
                });
            }
        }
        let flat = |of: fn(&Ages) -> &Lanes| {
            let all = some.iter().flat_map(of).copied();
            all.take(ages.len()).collect()
        };
        TrajectorySums {
            trajectories: count,
            reached: flat(|a| &a.reached),
            made: flat(|a| &a.made),
            worth: flat(|a| &a.worth),
        }
    }
}

/// One course that is added to sums.
struct Adding<'a, F> {
    ages: &'a mut [Ages],
    trajectory: Trajectory,
    worth: F,
}

impl<F: Fn(f64) -> f64> wide::Loops for Adding<'_, F> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        let (trajectory, worth) = (self.trajectory, self.worth);
        let (start, per_litre, ends) = (
            trajectory.start,
            trajectory.per_litre,
            trajectory.litres_to_limit,
        );
        let straight = trajectory.scale.curvature.abs() < 1e-6;
        // Any scale does where it counts for nothing.
        let scale = if straight {
            Scale { curvature: 1.0 }
        } else {
            trajectory.scale
        };
        let passage_to_limit = trajectory.passage();
        let mut before = 0.0;
        for ages in self.ages {
            let at = ages.at;
            let reached = match passage_to_limit {
                Some(passage) => lanes!(l => passage.cdf_quick(at[l])),
                None => lanes!(l => if ends <= at[l] { 1.0 } else { 0.0 }),
            };
            let mut befores = [before; LANES];
            for (to, was) in befores.iter_mut().skip(1).zip(&reached) {
                *to = *was;
            }
            before = reached[LANES - 1];
            let (between, middle) = (ages.between, ages.middle);
            let (reached_before, made_before, worth_before) = (ages.reached, ages.made, ages.worth);
            let mut sums = [[0.0; LANES]; 3];
            let [all_reached, all_made, all_worth] = &mut sums;
            for l in 0..LANES {
                // Expected over the wander: the share still within the limit goes on.
                let litres = between[l] * (1.0 - 0.5 * (befores[l] + reached[l]));
                let level = start + per_litre * middle[l];
                let bent = scale.unbend_wide(level);
                let passage = wide::exp(if straight { BENT_ABOUT + level } else { bent });
                let passage = if passage < 1.0 { passage } else { 1.0 };
                all_reached[l] = reached_before[l] + reached[l];
                all_made[l] = made_before[l] + litres;
                all_worth[l] = worth_before[l] + litres * worth(passage);
            }
            [ages.reached, ages.made, ages.worth] = sums;
        }
    }
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

impl Trajectory {
    pub(super) fn new(
        scale: Scale,
        motion: &Motion,
        litres_to_limit: f64,
        litres_per_day: f64,
    ) -> Trajectory {
        let distance = motion.limit - motion.level;
        let ahead = litres_to_limit > 0.0 && distance > 0.0;
        Trajectory {
            litres_to_limit: if ahead { litres_to_limit } else { 0.0 },
            litres_per_day,
            start: motion.level,
            per_litre: motion.rate_per_litre,
            scale,
            distance,
            wander_per_litre: if ahead {
                motion.wander_per_litre.max(1e-18)
            } else {
                0.0
            },
        }
    }

    /// When it reaches the limit, with its wander still open.
    #[inline(always)]
    fn passage(&self) -> Option<Passage> {
        if self.wander_per_litre > 0.0 {
            Passage::new(self.distance, self.per_litre, 0.0, self.wander_per_litre).ok()
        } else {
            None
        }
    }

    /// A course whose `ln` salt passage grows by the same amount with every litre,
    /// from one share of the salts to the limit.
    pub fn straight(
        from: f64,
        limit: f64,
        litres_to_limit: f64,
        litres_per_day: f64,
    ) -> Trajectory {
        let scale = Scale { curvature: 0.0 };
        let level = |passage: f64| scale.link(passage.ln()).0;
        Trajectory {
            litres_to_limit,
            litres_per_day,
            start: level(from),
            per_litre: (level(limit) - level(from)) / litres_to_limit,
            scale,
            distance: level(limit) - level(from),
            wander_per_litre: 0.0,
        }
    }

    /// The same course where `times` as many elements share the water.
    pub fn shared_by(self, times: f64) -> Trajectory {
        Trajectory {
            litres_to_limit: self.litres_to_limit * times,
            per_litre: self.per_litre / times,
            wander_per_litre: self.wander_per_litre / times,
            ..self
        }
    }

    /// Whether it was past its limit at the start.
    pub fn is_past(&self) -> bool {
        self.litres_to_limit <= 0.0
    }

    /// Probability that the limit is reached within so many more litres.
    pub fn reached_by(&self, litres: f64) -> f64 {
        match self.passage() {
            Some(passage) => passage.cdf_quick(litres),
            None => f64::from(u8::from(self.litres_to_limit <= litres)),
        }
    }

    /// Salt passage at 25 °C after so many more litres, a fraction; its wander
    /// left out.
    pub fn salt_passage(&self, litres: f64) -> f64 {
        self.scale
            .inverse_link(self.start + self.per_litre * litres)
            .exp()
            .min(1.0)
    }
}
