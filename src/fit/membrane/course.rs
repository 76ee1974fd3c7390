//! How salt passage may go on, litre by litre, as decisions need it.

use crate::stats::passage::Passage;
use crate::stats::wide;

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

impl Scale {
    /// As [`Scale::bend`], for loops over a bent scale, with `ln` of the stretch
    /// between the level and the stretch.
    #[inline(always)]
    pub fn bend_wide(&self, ln_passage: f64) -> (f64, f64, f64) {
        let c = self.curvature;
        let w = 1.0 + c * (ln_passage - BENT_ABOUT);
        let bent = if w > STRAIGHT_BELOW { w } else { STRAIGHT_BELOW };
        let ln_w = wide::ln(bent);
        let stretch = 1.0 / bent;
        ((ln_w + (w - bent) * stretch) / c, -ln_w, stretch)
    }

    /// As [`Scale::unbend`], for loops over many levels on a bent scale.
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
        BENT_ABOUT + (w - 1.0) / self.curvature
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

/// Sums over courses, by age in litres from their beginning.
#[derive(Debug, Clone)]
pub struct CourseSums {
    /// Courses, past ones included.
    pub courses: usize,
    /// Probability that the limit is reached by then.
    pub reached: Vec<f64>,
    /// Litres made since the age before, where they end with the limit.
    pub made: Vec<f64>,
    /// The same times what a litre is worth.
    pub worth: Vec<f64>,
}

/// Ages with what lies between them, and room for one course.
struct Ages<'a> {
    at: &'a [f64],
    between: Vec<f64>,
    middle: Vec<f64>,
    /// Probability that the limit is reached, from age 0 on.
    reached: Vec<f64>,
}

impl CourseSums {
    /// `ages` ascend from above 0. Courses past their limit add nothing. `worth`
    /// tells what a litre is worth by its salt passage at 25 °C, a fraction.
    pub fn of(
        courses: impl Iterator<Item = Course>,
        ages: &[f64],
        worth: impl Fn(f64) -> f64,
    ) -> CourseSums {
        let zeros = || vec![0.0; ages.len()];
        let mut sums = CourseSums {
            courses: 0,
            reached: zeros(),
            made: zeros(),
            worth: zeros(),
        };
        let befores = std::iter::once(&0.0).chain(ages);
        let (between, middle) = ages
            .iter()
            .zip(befores)
            .map(|(age, before)| (age - before, 0.5 * (age + before)))
            .unzip();
        let mut room = Ages {
            at: ages,
            between,
            middle,
            reached: vec![0.0; ages.len() + 1],
        };
        for course in courses {
            sums.courses += 1;
            if !course.is_past() {
                wide::widest(Adding {
                    sums: &mut sums,
                    ages: &mut room,
                    course: &course,
                    worth: &worth,
                });
            }
        }
        sums
    }
}

/// One course that is added to sums.
struct Adding<'a, 'b, F> {
    sums: &'a mut CourseSums,
    ages: &'a mut Ages<'b>,
    course: &'a Course,
    worth: &'a F,
}

impl<F: Fn(f64) -> f64> wide::Loops for Adding<'_, '_, F> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        let Adding {
            sums,
            ages,
            course,
            worth,
        } = self;
        let by_now = ages.reached.get_mut(1..).unwrap_or_default();
        if let Some(passage) = course.passage {
            for (reached, age) in by_now.iter_mut().zip(ages.at) {
                *reached = passage.cdf_quick(*age);
            }
        } else {
            for (reached, age) in by_now.iter_mut().zip(ages.at) {
                *reached = f64::from(u8::from(course.litres_to_limit <= *age));
            }
        }
        let by_now = ages.reached.get(1..).unwrap_or_default();
        for (sum, reached) in sums.reached.iter_mut().zip(by_now) {
            *sum += reached;
        }
        let bent = course.scale.curvature.abs() >= 1e-6;
        let into = sums.made.iter_mut().zip(&mut sums.worth);
        let each = ages.between.iter().zip(&ages.middle);
        let share = ages.reached.iter().zip(by_now);
        for (((made, spent), (between, middle)), (before, now)) in into.zip(each).zip(share) {
            // Expected over the wander: the share still within the limit goes on.
            let litres = between * (1.0 - 0.5 * (before + now));
            let level = course.start + course.per_litre * middle;
            let passage = wide::exp(if bent {
                course.scale.unbend_wide(level)
            } else {
                BENT_ABOUT + level
            });
            *made += litres;
            *spent += litres * worth(if passage < 1.0 { passage } else { 1.0 });
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
