//! Watching an element reading by reading: what was known when, so that an
//! alarm has a moment, and repetition does not raise one.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use crate::calendar::Date;

use super::abreast::{SharedAbreast, lanes_of};
use super::course::Scale;
use super::fleet::Kin;
use super::forecast::InUse;
use super::looks::ElementLooks;
use super::shared::{SharedDraw, SharedFit};
use super::typical::TypicalLife;
use crate::fit::{Band, Step, Watched, WatchedLook};
use crate::stats::drift::abreast::{LANES, Lanes, Looks, Summaries, lanes};
use crate::stats::drift::{Drifting, Look};
use crate::stats::robust::median;
use crate::stats::special::normal_quantile;
use crate::stats::vigil::abreast::{RatesAbreast, Weights};
use crate::stats::vigil::{StepSize, Vigil};
use crate::stats::wide;

/// A life below this share of what is typical for its water is failing early,
/// one above that share is healthy.
const FAILING_BELOW: f64 = 0.6;
const HEALTHY_ABOVE: f64 = 0.8;
/// Elements that are weak from the start, and how much faster they age (judgement).
const WEAK_SHARE: f64 = 0.05;
const WEAK_FACTOR: f64 = 2.2;
/// Size of a step, ln salt passage: a seal doubles it more often than not (judgement).
const STEP_SIZE: f64 = 0.5;
/// Readings among which a step is looked for.
const MOST_STEPS: usize = 40;
/// Variance of the jump of `ln` salt passage where the base moves (another
/// pressure) or a probe is exchanged.
const REGIME_VARIANCE: f64 = 0.09;
/// Readings that say where an element of unknown age was at first.
const FIRST: usize = 3;
/// Days after which the evidence is weighed anew: readings that come closer
/// together are all taken in, but tell no more one by one.
const WEIGHED_EVERY_DAYS: f64 = 6.0;
/// Standard deviations beyond which a reading that nothing confirms counts no more.
const WINSOR: f64 = 2.8;

/// Draws of the shared numbers side by side, with what they make of the element.
struct UnderDraws<'a> {
    shared: &'a SharedAbreast,
    start_known: bool,
    rates: RatesAbreast,
    limit: Lanes,
    /// Exposure over which a typical element of this water lives.
    typical: Lanes,
    typical_rate: Lanes,
    looks: Vec<Looks>,
    /// Exposure up to the look before each.
    exposures: Vec<Lanes>,
    /// After the readings that are settled, and how many.
    settled: Summaries,
    looks_settled: usize,
}

/// One draw, and where in the spread of the district's typical life it lies.
type Drawn<'a> = (&'a SharedDraw, f64);

impl<'a> UnderDraws<'a> {
    /// `draws`: those of `shared`, in their order.
    fn of(
        shared: &'a SharedAbreast,
        draws: &[Drawn<'_>],
        (life, kin): (TypicalLife, Kin),
        element: &InUse<'_>,
    ) -> UnderDraws<'a> {
        let looks = element.looks;
        let of = |number: &dyn Fn(&Drawn<'_>) -> f64| lanes_of(draws, number);
        let district = |d: &Drawn<'_>| d.0.district(looks.district.as_ref());
        let usual = of(&|d| d.0.shared.ln_rate + district(d).0);
        let mean = of(&|d| d.0.shared.ln_rate + district(d).0 + kin.shift);
        let spread = of(&|d| (d.0.shared.rate_sd * kin.variance.sqrt()).hypot(district(d).1));
        let distance = of(&|d| {
            let shared = &d.0.shared;
            (shared.bend(element.ln_limit).0 - shared.bend(shared.ln_start).0).max(0.05)
        });
        let longer = of(&|d| (life.addition + d.1 * life.sd).exp());
        let typical_rate = usual.map(f64::exp);
        let mut seen = Vec::new();
        wide::widest(Watching {
            element: looks,
            shared,
            room: &mut seen,
        });
        let mut exposure = [0.0; LANES];
        let exposures = seen
            .iter()
            .map(|look| {
                let before = exposure;
                exposure = std::array::from_fn(|l| before[l] + look.advance[l]);
                before
            })
            .collect();
        UnderDraws {
            rates: wide::widest(LogNormal {
                mean: &mean,
                spread: &spread,
            }),
            limit: of(&|d| d.0.shared.bend(element.ln_limit).0),
            typical: std::array::from_fn(|l| distance[l] / typical_rate[l] * longer[l]),
            typical_rate,
            exposures,
            looks: seen,
            settled: shared.start(looks.start_known),
            looks_settled: 0,
            start_known: looks.start_known,
            shared,
        }
    }

    /// Probability of a failing and of a healthy life once the looks up to
    /// `newest` are in, those from `settled` on only for now.
    fn at(&mut self, newest: usize, settled: usize) -> Fast {
        wide::widest(Looking {
            under: self,
            newest: Some(newest),
            settled,
        })
    }

    /// The same before any look.
    fn before(&mut self) -> Fast {
        wide::widest(Looking {
            under: self,
            newest: None,
            settled: 0,
        })
    }
}

/// What is known at a look.
struct Fast {
    failing: Lanes,
    healthy: Lanes,
    weights: Weights,
}

struct LogNormal<'a> {
    mean: &'a Lanes,
    spread: &'a Lanes,
}

impl wide::Loops for LogNormal<'_> {
    type Output = RatesAbreast;

    #[inline(always)]
    fn run(self) -> RatesAbreast {
        RatesAbreast::log_normal(self.mean, self.spread, WEAK_SHARE, WEAK_FACTOR)
    }
}

/// The looks for watching: noise as it is, jumps where readings from both sides
/// do not compare.
struct Watching<'a> {
    element: &'a ElementLooks,
    shared: &'a SharedAbreast,
    room: &'a mut Vec<Looks>,
}

impl wide::Loops for Watching<'_> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        self.element.looks_abreast(self.shared, self.room, ());
        for (i, look) in self.room.iter_mut().enumerate() {
            let (share, breaks) = self.element.bare(i);
            for variance in &mut look.variance {
                *variance *= share;
            }
            look.jump = [if breaks { REGIME_VARIANCE } else { 0.0 }; LANES];
        }
    }
}

struct Looking<'a, 'b> {
    under: &'a mut UnderDraws<'b>,
    newest: Option<usize>,
    settled: usize,
}

impl wide::Loops for Looking<'_, '_> {
    type Output = Fast;

    #[inline(always)]
    fn run(self) -> Fast {
        let under = self.under;
        let wander = &under.shared.wander;
        let mut exposure = [0.0; LANES];
        let mut now = under.settled;
        if let Some(newest) = self.newest {
            while under.looks_settled < self.settled {
                let look = believed(&under.looks, under.looks_settled, newest);
                under.settled.look(&look, wander);
                under.looks_settled += 1;
            }
            now = under.settled;
            for i in self.settled..=newest {
                now.look(&believed(&under.looks, i, newest), wander);
            }
            if let (Some(before), Some(look)) =
                (under.exposures.get(newest), under.looks.get(newest))
            {
                for l in 0..LANES {
                    exposure[l] = before[l] + look.advance[l];
                }
            }
        }
        let weights = under.rates.weigh(&now);
        let (mut failing, mut healthy) = ([0.0; LANES], [0.0; LANES]);
        if under.start_known {
            let mut ahead = [[0.0; LANES]; 2];
            for (ahead, share) in ahead.iter_mut().zip([FAILING_BELOW, HEALTHY_ABOVE]) {
                for l in 0..LANES {
                    ahead[l] = share * under.typical[l] - exposure[l];
                }
            }
            let [short, long] = &ahead;
            let [below, not_above] =
                under
                    .rates
                    .above(&weights, &now, wander, &under.limit, [short, long]);
            for l in 0..LANES {
                failing[l] = below[l];
                healthy[l] = 1.0 - not_above[l];
            }
        } else {
            // Of unknown age: its pace alone can tell.
            let mut paces = [[0.0; LANES]; 2];
            for (pace, share) in paces.iter_mut().zip([FAILING_BELOW, HEALTHY_ABOVE]) {
                for l in 0..LANES {
                    pace[l] = under.typical_rate[l] / share;
                }
            }
            let [fast, slow] = &paces;
            failing = under.rates.faster(&weights, fast);
            let not_slow = under.rates.faster(&weights, slow);
            for l in 0..LANES {
                healthy[l] = 1.0 - not_slow[l];
            }
        }
        for l in 0..LANES {
            failing[l] = if failing[l] > 1e-12 {
                failing[l]
            } else {
                1e-12
            };
            healthy[l] = if healthy[l] > 1e-12 {
                healthy[l]
            } else {
                1e-12
            };
        }
        Fast {
            failing,
            healthy,
            weights,
        }
    }
}

/// Watches an element from its first reading to its last.
pub fn watch(fit: &SharedFit, element: &InUse<'_>) -> Watched {
    let looks = element.looks;
    let days = looks.days_between();
    let life = looks
        .district
        .as_ref()
        .and_then(|d| fit.typical.get(d))
        .copied()
        .unwrap_or(TypicalLife::UNKNOWN);
    let kin = fit.laws.steady.kin(element.others.iter());
    let n = fit.draws.len();
    let drawn: Vec<Drawn<'_>> = fit
        .draws
        .iter()
        .enumerate()
        .map(|(i, draw)| {
            // Evenly over the spread, and not in step with the mirrored draws.
            let p = ((5 * i) % n) as f64 + 0.5;
            (draw, normal_quantile(p / n as f64))
        })
        .chain([(&fit.best, 0.0)])
        .collect();
    let mut sides: Vec<UnderDraws<'_>> = fit
        .watched_abreast
        .iter()
        .zip(drawn.chunks(LANES))
        .map(|(shared, draws)| UnderDraws::of(shared, draws, (life, kin), element))
        .collect();
    // The best stands behind all draws.
    let best_lane = n % LANES;
    let shared = fit.best.shared.without_lateness();
    let mut out = Watched::default();
    let mean = |of_sides: &[Fast], number: fn(&Fast) -> &Lanes| {
        let lanes = of_sides.iter().flat_map(number);
        lanes.take(n).sum::<f64>() / n.max(1) as f64
    };
    let at_first: Vec<Fast> = sides.iter_mut().map(UnderDraws::before).collect();
    let before = mean(&at_first, |f| &f.failing) / mean(&at_first, |f| &f.healthy);
    // Of the newest readings nothing later tells yet whether they are to be
    // believed: they are taken in anew each time.
    const UNSETTLED: usize = 3;
    let (Some(last_side), Some(last)) = (sides.len().checked_sub(1), sides.last()) else {
        return out;
    };
    let best_rates = last.rates.lane(best_lane);
    let best_looks: Vec<Look> = last.looks.iter().map(|l| l.lane(best_lane)).collect();
    let usual = Usual::of(&fit.best, &best_looks, element);
    let lane = |of: &Lanes| of.get(best_lane).copied().unwrap_or(f64::NAN);
    let (best_typical, best_typical_rate) = (lane(&last.typical), lane(&last.typical_rate));
    let mut vigil = Vigil::new(&shared.drifting(looks.start_known), MOST_STEPS);
    let mut newest = vigil.clone();
    let mut exposure = 0.0;
    let mut step = None;
    let mut known = at_first;
    let (mut weighed, mut days_since) = (None::<Weighed>, 0.0);
    for (i, &date) in looks.dates().iter().enumerate() {
        exposure += best_looks.get(i).map_or(0.0, |l| l.advance);
        days_since += days.get(i).copied().unwrap_or(0.0);
        let is_newest = i + 1 == looks.len();
        if let Some(last) = weighed.filter(|_| days_since < WEIGHED_EVERY_DAYS && !is_newest) {
            out.looks.push(last.at(date, usual.after(exposure, date)));
            continue;
        }
        days_since = 0.0;
        let settled = (i + 1).saturating_sub(UNSETTLED);
        known.clear();
        known.extend(sides.iter_mut().map(|side| side.at(i, settled)));
        if let Some(side) = sides.get(last_side) {
            advance(
                (&mut vigil, &mut newest),
                (&side.looks, best_lane),
                &days,
                settled,
                i,
            );
        }
        let weights = known.last().map(|k| k.weights.lane(best_lane));
        let weights = weights.unwrap_or_default();
        let (step_days, seen) = newest.steps(&best_rates, &weights, StepSize(STEP_SIZE));
        step = seen;
        let (failing, healthy) = (mean(&known, |f| &f.failing), mean(&known, |f| &f.healthy));
        let now = Weighed {
            fast_evidence: failing / healthy / before,
            p_healthy: healthy,
            step_evidence_days: step_days,
        };
        weighed = Some(now);
        out.looks.push(now.at(date, usual.after(exposure, date)));
    }
    let faster = sides.iter().zip(&known).flat_map(|(side, known)| {
        let more = (1.645 * shared.total_rate_sd()).exp();
        let than = side.typical_rate.map(|rate| rate * more);
        side.rates.faster(&known.weights, &than)
    });
    out.p_faster_than_95 = faster.take(n).sum::<f64>() / n.max(1) as f64;
    let weights = known.last().map(|k| k.weights.lane(best_lane));
    out.pace = best_rates.middle(&weights.unwrap_or_default()) / best_typical_rate;
    let typical_litres = best_typical
        / looks
            .exposure_per_future_litre(
                shared.late,
                |hardness| shared.exposure_per_litre(hardness),
                element.base_hardness,
            )
            .max(1e-12);
    out.typical_days = typical_litres / element.usage.litres_per_day().max(1e-3);
    out.step = step.and_then(|s| {
        Some(Step {
            date: *looks.dates().get(s.look)?,
            ratio: s.size.exp(),
            probability: s.share,
        })
    });
    out
}

/// The evidence after a reading.
#[derive(Clone, Copy)]
struct Weighed {
    fast_evidence: f64,
    p_healthy: f64,
    step_evidence_days: f64,
}

impl Weighed {
    fn at(self, date: Date, usual: Band<Date>) -> WatchedLook {
        WatchedLook {
            date,
            fast_evidence: self.fast_evidence,
            p_healthy: self.p_healthy,
            step_evidence_days: self.step_evidence_days,
            usual,
        }
    }
}

/// Settles the looks up to `settled` (not included), and makes `now` a copy that has
/// taken in those up to `newest`.
fn advance(
    (vigil, now): (&mut Vigil, &mut Vigil),
    (looks, lane): (&[Looks], usize),
    days: &[f64],
    settled: usize,
    newest: usize,
) {
    let day = |i: usize| days.get(i).copied().unwrap_or(0.0);
    while vigil.looks() < settled.min(looks.len()) {
        let i = vigil.looks();
        vigil.look(&believed(looks, i, newest).lane(lane), day(i));
    }
    now.become_like(vigil);
    for i in settled..=newest {
        now.look(&believed(looks, i, newest).lane(lane), day(i));
    }
}

/// The middle of two or three levels.
#[inline(always)]
fn middle(levels: &[&Lanes]) -> Option<Lanes> {
    match levels {
        [a, b] => {
            let (a, b) = (**a, **b);
            Some(lanes!(l => 0.5 * (a[l] + b[l])))
        }
        [a, b, c] => {
            let (a, b, c) = (**a, **b, **c);
            let low = lanes!(l => if a[l] < b[l] { a[l] } else { b[l] });
            let high = lanes!(l => if a[l] < b[l] { b[l] } else { a[l] });
            let low = lanes!(l => if c[l] > low[l] { c[l] } else { low[l] });
            Some(lanes!(l => if low[l] < high[l] { low[l] } else { high[l] }))
        }
        _ => None,
    }
}

/// A look with its noise widened where neither the readings before it nor two
/// after it (up to `newest`) say the same: one splashed probe is no step.
#[inline(always)]
fn believed(looks: &[Looks], i: usize, newest: usize) -> Looks {
    let Some(look) = looks.get(i) else {
        return Looks {
            variance: [1e9; LANES],
            ..Looks::NONE
        };
    };
    const NOTHING: Lanes = [0.0; LANES];
    let mut levels = [&NOTHING; 3];
    let mut around = |from: usize, to: usize| -> Option<Lanes> {
        let part = looks.get(from..to)?;
        for (to, look) in levels.iter_mut().zip(part) {
            *to = &look.y;
        }
        middle(levels.get(..part.len())?)
    };
    let before = around(i.saturating_sub(3), i);
    let after = around(i + 1, (i + 4).min(newest + 1).max(i + 1));
    let look = *look;
    let mut away = [f64::INFINITY; LANES];
    for middle in [before, after].into_iter().flatten() {
        let was = away;
        let distance = lanes!(l => (look.y[l] - middle[l]).abs());
        away = lanes!(l => if distance[l] < was[l] { distance[l] } else { was[l] });
    }
    Looks {
        variance: lanes!(l => {
            let z = away[l] * (1.0 / WINSOR) / look.variance[l].sqrt();
            let wider = if z > 1.0 && z < f64::INFINITY { z } else { 1.0 };
            look.variance[l] * (wider * wider)
        }),
        ..look
    }
}

/// What usual elements of this water read after so many litres.
struct Usual {
    scale: Scale,
    rate: f64,
    start: Drifting,
    /// One in ten lies below, half, and nine in ten.
    shares: [Share; 3],
}

/// Standard deviations from the middle, and how much the pace is off there.
#[derive(Clone, Copy)]
struct Share {
    z: f64,
    pace: f64,
}

impl Usual {
    /// `looks`: under that draw.
    fn of(draw: &SharedDraw, looks: &[Look], element: &InUse<'_>) -> Usual {
        let (addition, unsure) = draw.district(element.looks.district.as_ref());
        let shared = draw.shared.without_lateness();
        let mut start = shared.drifting(true);
        if !element.looks.start_known {
            // Of unknown age: what is usual from where its first readings were.
            let first = looks.get(..looks.len().min(FIRST)).unwrap_or(looks);
            let levels: Vec<f64> = first.iter().map(|l| l.y).collect();
            start.start_mean = median(&levels).unwrap_or(start.start_mean);
            start.start_variance = first.iter().map(|l| l.variance).sum::<f64>()
                / (first.len() * first.len()).max(1) as f64;
        }
        const Z90: f64 = 1.2816;
        let ln_rate = draw.shared.ln_rate + addition;
        let spread = draw.shared.rate_sd.hypot(unsure);
        let rate = ln_rate.exp();
        Usual {
            scale: shared.scale(),
            rate,
            start,
            shares: [-Z90, 0.0, Z90].map(|z: f64| Share {
                z,
                pace: (ln_rate + z.signum() * spread).exp() - rate,
            }),
        }
    }

    /// Nine elements in ten of that water lie below `p90`, one in ten below `p10`.
    fn after(&self, exposure: f64, x: Date) -> Band<Date> {
        let start = &self.start;
        let grown = self.rate * exposure;
        let sd = (start.start_variance + start.wander * exposure).sqrt();
        let [p10, p50, p90] = self.shares.map(|Share { z, pace }| {
            // The spreads of start, wander and pace, each as it shows on the level.
            let level = start.start_mean + grown + z * sd.hypot(pace * exposure);
            self.scale.unbend(level).exp().min(1.0)
        });
        Band { x, p10, p50, p90 }
    }
}
