//! The filter of [`super`] for several beliefs side by side, a lane for each.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use super::DriftSummary;
use crate::stats::wide;

/// Beliefs side by side.
pub const LANES: usize = 8;
/// A number for each of them.
pub type Lanes = [f64; LANES];

/// A number for each lane, worked out into memory of its own: only so can the
/// compiler tell that no lane hangs on another.
macro_rules! lanes {
    ($lane:ident => $value:expr) => {{
        let mut out = [0.0; $crate::stats::drift::abreast::LANES];
        for $lane in 0..$crate::stats::drift::abreast::LANES {
            out[$lane] = $value;
        }
        out
    }};
}
pub(crate) use lanes;

/// As [`super::Look`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Looks {
    pub advance: Lanes,
    pub y: Lanes,
    pub variance: Lanes,
    pub jump: Lanes,
}

impl Looks {
    /// Nothing seen.
    pub const NONE: Looks = Looks {
        advance: [0.0; LANES],
        y: [0.0; LANES],
        variance: [1.0; LANES],
        jump: [0.0; LANES],
    };

    /// Under one of the beliefs.
    pub fn lane(&self, lane: usize) -> super::Look {
        let at = |of: &Lanes| of.get(lane).copied().unwrap_or(f64::NAN);
        super::Look {
            advance: at(&self.advance),
            y: at(&self.y),
            variance: at(&self.variance),
            jump: at(&self.jump),
        }
    }
}

/// Who takes looks as they are worked out.
pub trait Taking {
    /// Has to be marked `#[inline(always)]`.
    fn take(&mut self, look: &Looks);
}

/// Nobody does.
impl Taking for () {
    #[inline(always)]
    fn take(&mut self, _: &Looks) {}
}

/// Sums up looks from the first one on: the same as [`Summaries::look`] one by one,
/// but quicker.
#[derive(Debug)]
pub struct SummingUp<'a> {
    // By turns into one of two: only so do the lanes stay side by side from one
    // look to the next.
    was: &'a mut Summaries,
    now: &'a mut Summaries,
    wander: &'a Lanes,
}

impl<'a> SummingUp<'a> {
    /// `room` for two: what is there before any look, and whatever else.
    #[inline(always)]
    pub fn new(room: &'a mut [Summaries; 2], wander: &'a Lanes) -> SummingUp<'a> {
        let [was, now] = room;
        SummingUp { was, now, wander }
    }

    #[inline(always)]
    pub fn sum(&self) -> Summaries {
        *self.was
    }
}

impl Taking for &mut SummingUp<'_> {
    #[inline(always)]
    fn take(&mut self, look: &Looks) {
        self.was.with(look, self.wander, self.now);
        if self.now.looks.is_multiple_of(Summaries::TOGETHER) {
            self.now.add_ln_spreads();
        }
        std::mem::swap(&mut self.was, &mut self.now);
    }
}

/// As [`DriftSummary`], but for the constant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summaries {
    pub information: Lanes,
    pub linear: Lanes,
    pub level_0: Lanes,
    pub level_rate: Lanes,
    pub level_variance: Lanes,
    /// Sum of the squares of what looks missed by, over their variance, at rate 0.
    squares: Lanes,
    /// Product of the latest of those variances, and `ln` of the earlier ones'.
    spreads: Lanes,
    ln_spreads: Lanes,
    looks: usize,
}

impl Summaries {
    /// Before any look.
    pub fn start(mean: Lanes, variance: Lanes) -> Summaries {
        let zero = [0.0; LANES];
        Summaries {
            information: zero,
            linear: zero,
            level_0: mean,
            level_rate: zero,
            level_variance: variance,
            squares: zero,
            spreads: [1.0; LANES],
            ln_spreads: zero,
            looks: 0,
        }
    }

    /// Looks after which the logarithm of the product of their variances is taken.
    const TOGETHER: usize = 8;

    /// Takes in one more look; see [`DriftSummary::look`].
    #[inline(always)]
    pub fn look(&mut self, look: &Looks, wander: &Lanes) {
        let was = *self;
        was.with(look, wander, self);
        if self.looks.is_multiple_of(Self::TOGETHER) {
            self.add_ln_spreads();
        }
    }

    /// Makes `now` what this is with one more look.
    #[inline(always)]
    fn with(&self, look: &Looks, wander: &Lanes, now: &mut Summaries) {
        // One loop for all: only so are the lanes worked out together.
        for l in 0..LANES {
            let level_rate = self.level_rate[l] + look.advance[l];
            let variance = self.level_variance[l] + wander[l] * look.advance[l] + look.jump[l];
            let spread = variance + look.variance[l];
            let weight = 1.0 / spread;
            let miss = look.y[l] - self.level_0[l];
            let gain = variance * weight;
            now.information[l] = self.information[l] + level_rate * level_rate * weight;
            now.linear[l] = self.linear[l] + level_rate * miss * weight;
            now.squares[l] = self.squares[l] + miss * miss * weight;
            now.spreads[l] = self.spreads[l] * spread;
            now.level_0[l] = self.level_0[l] + gain * miss;
            now.level_rate[l] = level_rate - gain * level_rate;
            now.level_variance[l] = variance * (1.0 - gain);
        }
        now.ln_spreads = self.ln_spreads;
        now.looks = self.looks + 1;
    }

    /// One logarithm for several looks, before their product leaves all bounds.
    #[inline(always)]
    fn add_ln_spreads(&mut self) {
        let (so_far, spreads) = (self.ln_spreads, self.spreads);
        self.ln_spreads = lanes!(l => so_far[l] + wide::ln(spreads[l]));
        self.spreads = [1.0; LANES];
    }

    /// `ln p(looks | rate)` at rate 0.
    #[inline(always)]
    pub fn ln_at_rest(&self) -> Lanes {
        const LN_2_PI: f64 = 1.837_877_066_409_345_3;
        let looks = LN_2_PI * self.looks as f64;
        let ln_spreads = lanes!(l => self.ln_spreads[l] + wide::ln(self.spreads[l]));
        lanes!(l => -0.5 * (self.squares[l] + ln_spreads[l] + looks))
    }

    /// Under one of the beliefs.
    pub fn lane(&self, lane: usize) -> DriftSummary {
        let at = |of: &Lanes| of.get(lane).copied().unwrap_or(f64::NAN);
        DriftSummary {
            information: at(&self.information),
            linear: at(&self.linear),
            constant: -2.0 * at(&self.ln_at_rest()),
            level_0: at(&self.level_0),
            level_rate: at(&self.level_rate),
            level_variance: at(&self.level_variance),
        }
    }
}
