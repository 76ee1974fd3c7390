//! Watching an element reading by reading: what was known when, so that an
//! alarm has a moment, and repetition does not raise one.

use jiff::civil::Date;

use super::forecast::InUse;
use super::looks::ElementLooks;
use super::shared::{Shared, SharedDraw, SharedFit};
use super::typical::TypicalLife;
use crate::fit::{Band, Step, Watched, WatchedLook};
use crate::stats::drift::{Drifting, Look};
use crate::stats::robust::median;
use crate::stats::special::normal_quantile;
use crate::stats::vigil::{Rates, StepSize, Vigil};

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

/// One draw of the shared numbers with what it makes of the element.
struct UnderDraw {
    rates: Rates,
    limit: f64,
    /// Exposure over which a typical element of this water lives.
    typical: f64,
    typical_rate: f64,
    looks: Vec<Look>,
    /// Evidence before any reading.
    before: (f64, f64),
    /// After the readings that are settled, and after the newest.
    vigil: Vigil,
    newest: Vigil,
    /// At the newest reading.
    fast: (f64, f64),
}

impl UnderDraw {
    /// `z`: where in the spread of the district's typical life this draw lies.
    fn of(draw: &SharedDraw, life: TypicalLife, z: f64, element: &InUse<'_>) -> UnderDraw {
        let (looks, kin) = (element.looks, element.kin);
        let shared = draw.shared.without_lateness();
        let (addition, unsure) = draw.district(looks.district.as_ref());
        let drifting = shared.drifting(looks.start_known);
        let usual = shared.ln_rate + addition;
        let spread = (shared.rate_sd * kin.variance.sqrt()).hypot(unsure);
        let rates = Rates::log_normal(usual + kin.shift, spread, WEAK_SHARE, WEAK_FACTOR);
        let limit = shared.bend(element.ln_limit).0;
        let distance = (limit - shared.bend(shared.ln_start).0).max(0.05);
        let mut under = UnderDraw {
            typical: distance / usual.exp() * (life.addition + z * life.sd).exp(),
            typical_rate: usual.exp(),
            limit,
            looks: looks.watched(&shared),
            before: (0.5, 0.5),
            vigil: Vigil::new(&drifting, 0),
            newest: Vigil::new(&drifting, 0),
            fast: (0.5, 0.5),
            rates,
        };
        let start = under.vigil.clone();
        under.before = under.fast_after(&start, looks.start_known);
        under
    }

    /// Probability of a failing and of a healthy life.
    fn fast_after(&self, vigil: &Vigil, start_known: bool) -> (f64, f64) {
        let weights = vigil.weigh(&self.rates);
        let (failing, fit) = if start_known {
            let above =
                |share: f64| vigil.above(&self.rates, &weights, self.limit, share * self.typical);
            (above(FAILING_BELOW), 1.0 - above(HEALTHY_ABOVE))
        } else {
            // Of unknown age: its pace alone can tell.
            let faster = |share: f64| self.rates.above(&weights, self.typical_rate / share);
            (faster(FAILING_BELOW), 1.0 - faster(HEALTHY_ABOVE))
        };
        (failing.max(1e-12), fit.max(1e-12))
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
    let mut draws: Vec<UnderDraw> = fit
        .draws
        .iter()
        .enumerate()
        .map(|(i, d)| {
            // Evenly over the spread, and not in step with the mirrored draws.
            let n = fit.draws.len();
            let p = ((5 * i) % n) as f64 + 0.5;
            UnderDraw::of(d, life, normal_quantile(p / n as f64), element)
        })
        .collect();
    let mut best = UnderDraw::of(&fit.best, life, 0.0, element);
    let shared = fit.best.shared.without_lateness();
    best.vigil = Vigil::new(&shared.drifting(looks.start_known), MOST_STEPS);
    let mut out = Watched::default();
    let mean = |f: &dyn Fn(&UnderDraw) -> f64, draws: &[UnderDraw]| {
        draws.iter().map(f).sum::<f64>() / draws.len().max(1) as f64
    };
    let before = (mean(&|d| d.before.0, &draws), mean(&|d| d.before.1, &draws));
    // Of the newest readings nothing later tells yet whether they are to be
    // believed: they are taken in anew each time.
    const UNSETTLED: usize = 3;
    let usual = Usual::of(&fit.best, element);
    let mut exposure = 0.0;
    let mut newest = best.vigil.clone();
    let mut step = None;
    let (mut weighed, mut days_since) = (None::<Weighed>, 0.0);
    for (n, &date) in looks.dates().iter().enumerate() {
        exposure += best.looks.get(n).map_or(0.0, |l| l.advance);
        days_since += days.get(n).copied().unwrap_or(0.0);
        let is_newest = n + 1 == looks.len();
        if let Some(last) = weighed.filter(|_| days_since < WEIGHED_EVERY_DAYS && !is_newest) {
            out.looks.push(last.at(date, usual.after(exposure, date)));
            continue;
        }
        days_since = 0.0;
        let settled = (n + 1).saturating_sub(UNSETTLED);
        for draw in &mut draws {
            draw.newest = advance(&mut draw.vigil, &draw.looks, &days, settled, n);
            draw.fast = draw.fast_after(&draw.newest, looks.start_known);
        }
        newest = advance(&mut best.vigil, &best.looks, &days, settled, n);
        let weights = newest.weigh(&best.rates);
        let (step_days, seen) = newest.steps(&best.rates, &weights, StepSize(STEP_SIZE));
        step = seen;
        let (failing, fit_too) = (mean(&|d| d.fast.0, &draws), mean(&|d| d.fast.1, &draws));
        let now = Weighed {
            fast_evidence: failing / fit_too / (before.0 / before.1),
            p_healthy: fit_too,
            step_evidence_days: step_days,
        };
        weighed = Some(now);
        out.looks.push(now.at(date, usual.after(exposure, date)));
    }
    let weights = newest.weigh(&best.rates);
    let faster = |d: &UnderDraw| {
        let w = d.newest.weigh(&d.rates);
        d.rates
            .above(&w, d.typical_rate * (1.645 * shared.total_rate_sd()).exp())
    };
    out.p_faster_than_95 = mean(&faster, &draws);
    out.pace = best.rates.middle(&weights) / best.typical_rate;
    let typical_litres = best.typical
        / looks
            .exposure_per_future_litre(&shared, element.base_hardness)
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

/// Settles the looks up to `settled` (not included) and gives a copy that has
/// taken in those up to `newest`.
fn advance(
    vigil: &mut Vigil,
    looks: &[Look],
    days: &[f64],
    settled: usize,
    newest: usize,
) -> Vigil {
    let day = |i: usize| days.get(i).copied().unwrap_or(0.0);
    while vigil.looks() < settled {
        let i = vigil.looks();
        let Some(look) = looks.get(i) else { break };
        vigil.look(&believed(looks, i, newest), day(i));
        debug_assert!(look.variance > 0.0);
    }
    let mut now = vigil.clone();
    for i in settled..=newest {
        now.look(&believed(looks, i, newest), day(i));
    }
    now
}

/// A look with its noise widened where neither the readings before it nor two
/// after it (up to `newest`) say the same: one splashed probe is no step.
fn believed(looks: &[Look], i: usize, newest: usize) -> Look {
    let Some(&look) = looks.get(i) else {
        return Look {
            advance: 0.0,
            y: 0.0,
            variance: 1e9,
            jump: 0.0,
        };
    };
    let away = |from: usize, to: usize, at_least: usize| {
        let around: Vec<f64> = looks
            .get(from..to)
            .unwrap_or(&[])
            .iter()
            .map(|l| l.y)
            .collect();
        if around.len() < at_least {
            return f64::INFINITY;
        }
        median(&around).map_or(f64::INFINITY, |m| (look.y - m).abs() / look.variance.sqrt())
    };
    let z = away(i.saturating_sub(3), i, 2).min(away(i + 1, (i + 4).min(newest + 1), 2));
    let z = if z.is_infinite() { 0.0 } else { z };
    Look {
        variance: look.variance * (z / WINSOR).max(1.0).powi(2),
        ..look
    }
}

/// What usual elements of this water read after so many litres.
struct Usual {
    shared: Shared,
    ln_rate: f64,
    spread: f64,
    start: Drifting,
}

impl Usual {
    fn of(draw: &SharedDraw, element: &InUse<'_>) -> Usual {
        let (addition, unsure) = draw.district(element.looks.district.as_ref());
        let shared = draw.shared.without_lateness();
        let mut start = shared.drifting(true);
        if !element.looks.start_known {
            // Of unknown age: what is usual from where its first readings were.
            let first = element.looks.watched(&shared);
            let first = first.get(..first.len().min(FIRST)).unwrap_or(&first);
            let levels: Vec<f64> = first.iter().map(|l| l.y).collect();
            start.start_mean = median(&levels).unwrap_or(start.start_mean);
            start.start_variance = first.iter().map(|l| l.variance).sum::<f64>()
                / (first.len() * first.len()).max(1) as f64;
        }
        Usual {
            ln_rate: draw.shared.ln_rate + addition,
            spread: draw.shared.rate_sd.hypot(unsure),
            shared,
            start,
        }
    }

    /// Nine elements in ten of that water lie below `p90`, one in ten below `p10`.
    fn after(&self, exposure: f64, x: Date) -> Band<Date> {
        let start = &self.start;
        let at = |z: f64| {
            // The spreads of start, wander and pace, each as it shows on the level.
            let pace = (self.ln_rate + z.signum() * self.spread).exp() - self.ln_rate.exp();
            let grown = self.ln_rate.exp() * exposure;
            let sd = (start.start_variance + start.wander * exposure).sqrt();
            let level = start.start_mean + grown + z * sd.hypot(pace * exposure);
            self.shared.unbend(level).exp().min(1.0)
        };
        const Z90: f64 = 1.2816;
        Band {
            x,
            p10: at(-Z90),
            p50: at(0.0),
            p90: at(Z90),
        }
    }
}

impl ElementLooks {
    /// The looks for watching: noise as it is, jumps where readings from both
    /// sides do not compare.
    fn watched(&self, shared: &Shared) -> Vec<Look> {
        let (mut looks, _) = self.looks(shared);
        for (i, look) in looks.iter_mut().enumerate() {
            let (share, breaks) = self.bare(i);
            look.variance *= share;
            look.jump = if breaks { REGIME_VARIANCE } else { 0.0 };
        }
        looks
    }
}
