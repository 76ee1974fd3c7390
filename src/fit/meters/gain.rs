//! The gain of each meter: what its readings have to be divided by, how sure that is, and
//! why it is thought so.

use crate::calendar::Date;

use super::explain::{Break, BreakKind, VanEvidence};
use super::pressure::PressureLoss;
use super::{
    METER_AT_ONCE, METER_BREAKS, METER_SIZE_SD, PRESSURE_BREAKS, Rates, SEAL_SIZE_SD, STEP_AT_ONCE,
};
use crate::fit::Span;
use crate::stats::special::normal_cdf;

/// A meter that is off by less is right enough, as a share.
const RIGHT_WITHIN: f64 = 0.10;
/// Standard deviation of the gain of a meter that is well, ln (handheld meters: 2 to 5 %).
const USUAL_SD: f64 = 0.04;
/// The 0.7 scale in place of the 0.5 scale, or the other way round.
const SCALE: f64 = 0.336;
const SCALE_SD: f64 = 0.05;
/// Share of vans whose meter is set to another scale, and of those with a meter that is
/// off for another reason (judgement).
const SCALE_SHARE: f64 = 0.03;
const BROKEN_SHARE: f64 = 0.04;
const BROKEN_SD: f64 = 0.35;
/// A meter that was on another scale from the first reading mostly shows all three waters;
/// one that jumped there on its own, less often (judgement).
const SCALE_TOGETHER: f64 = 0.9;
const JUMPED_TOGETHER: f64 = 0.5;
/// Product water that reads more than this on fresh resin, ppm, while more enters.
const FRESH_PPM: f64 = 3.0;

/// Which meter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Probe {
    /// At the tap.
    Feed,
    /// After the membrane.
    Permeate,
    /// After the resin.
    Product,
}

/// What speaks most for what is thought of a meter; figures are `ln`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// Nothing speaks against it.
    Nothing,
    /// It reads so far from the other vans at its base, that many of them.
    Beside { off: f64, others: usize },
    /// The tap jumped by so much, and its own water after the membrane did not follow.
    Jumped { by: f64, others: usize },
    /// What comes through jumped by so much while nothing else did.
    Passage { by: f64 },
    /// Fresh resin does not bring it down to 1 ppm; it reads so many.
    Fresh { ppm: f64 },
}

/// A meter as the readings have it.
#[derive(Debug, Clone, PartialEq)]
pub struct Meter {
    pub probe: Probe,
    /// What it reads over what is true.
    pub off_by: Span<f64>,
    /// Probability that it is off by more than a tenth.
    pub doubt: f64,
    /// Since when, where something began.
    pub since: Option<Date>,
    pub why: Why,
}

/// A mixture of normal distributions: weight, mean, standard deviation.
#[derive(Debug, Clone, Default)]
struct Mixture(Vec<(f64, f64, f64)>);

impl Mixture {
    fn below(&self, x: f64) -> f64 {
        let total: f64 = self.0.iter().map(|c| c.0).sum();
        let below = self
            .0
            .iter()
            .map(|c| c.0 * normal_cdf((x - c.1) / c.2.max(1e-6)));
        below.sum::<f64>() / total.max(1e-300)
    }

    fn quantile(&self, p: f64) -> f64 {
        let (mut low, mut high) = (-4.0, 4.0);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if self.below(middle) < p {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    fn doubt(&self) -> f64 {
        let within = self.below(RIGHT_WITHIN.ln_1p()) - self.below((-RIGHT_WITHIN).ln_1p());
        (1.0 - within).clamp(0.0, 1.0)
    }

    fn span(&self) -> Span<f64> {
        let at = |p: f64| Some(self.quantile(p).exp());
        Span {
            p10: at(0.1),
            p50: at(0.5),
            p90: at(0.9),
        }
    }

    fn mean_and_variance(&self) -> (f64, f64) {
        let total: f64 = self.0.iter().map(|c| c.0).sum();
        let of = |f: &dyn Fn(&(f64, f64, f64)) -> f64| {
            self.0.iter().map(|c| c.0 * f(c)).sum::<f64>() / total.max(1e-300)
        };
        let mean = of(&|c| c.1);
        (mean, of(&|c| c.2 * c.2 + (c.1 - mean) * (c.1 - mean)))
    }
}

/// By what salt passage as read is too high on a day, `ln`: subtract the mean, add the variance.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Ratio {
    pub mean: f64,
    pub variance: f64,
}

/// What lies behind a break in what comes through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Behind {
    pub seal: f64,
    pub permeate_probe: f64,
    pub pressure: f64,
    pub prefilter: f64,
    /// It only bends.
    pub ageing: f64,
}

/// All three meters of a van, and the breaks that its readings show.
#[derive(Debug, Clone, Default)]
pub struct VanMeters {
    /// Tap, after the membrane, after the resin, where they are read.
    pub meters: Vec<Meter>,
    /// With what lies behind those in what comes through.
    pub breaks: Vec<(Break, Option<Behind>)>,
    /// What flow and gauge tell of the pressure, whatever salt passage does.
    pub pressure: Option<PressureLoss>,
    /// Probability that their ratio is off by more than a tenth now.
    passage_doubt: f64,
    /// Days since 1970 of the newest reading that was weighed.
    newest: f64,
    /// Now, and what each break of a meter adds to it once it has come about.
    now: Ratio,
    steps: Vec<(Break, Ratio)>,
}

/// How likely an observed rise is under an expectation: heavy tails, as one odd fact alone
/// must not settle a cause. 1 where nothing was seen.
fn told(seen: Option<f64>, mean: f64, sd: f64) -> f64 {
    seen.map_or(1.0, |x| {
        let z = (x - mean) / sd;
        (1.0 + z * z / 4.0).powf(-2.5) / sd
    })
}

impl Behind {
    fn of(found: &Break, rates: &Rates) -> Behind {
        let (up, at_once) = (found.size > 0.0, found.ramp_days == 0.0);
        let s = found.size.abs();
        let pick = |step: f64, ramp: f64| if at_once { step } else { ramp };
        let beside = &found.beside;
        // What flow, pressure and resin do beside it.
        let flow = |mean: f64, sd: f64| told(beside.flow, mean, sd);
        let bar = |mean: f64, sd: f64| told(beside.bar, mean, sd);
        let resin = |mean: f64, sd: f64| told(beside.resin, mean, sd);
        let sign = if up { 1.0 } else { -1.0 };
        // What outlasts the membrane is not its own, what ends with it is nothing else's.
        let followed = found.is_over || found.kind == BreakKind::Standing;
        let (own, others) = match followed {
            true => (1.0 - found.lasts, found.lasts),
            false => (1.0, 1.0),
        };
        let seal = if up {
            own * rates.seal * pick(STEP_AT_ONCE, 1.0 - STEP_AT_ONCE)
        } else {
            0.0
        };
        let pressed = others
            * PRESSURE_BREAKS
            * pick(STEP_AT_ONCE, 1.0 - STEP_AT_ONCE)
            * if up { 1.0 } else { 0.5 };
        let late = own
            * if up {
                0.08 * found.beside.late * pick(0.02, 0.98)
            } else {
                0.0
            };
        // A fall that large is a new membrane that nobody wrote down.
        let renewed = if found.size < -0.35 { 0.1 } else { 0.0 };
        let bent = if up {
            pick(0.0005, 0.006)
        } else {
            pick(0.0005, 0.004)
        };
        let ageing = own * (renewed + bent) + 1e-6;
        let probe = others
            * METER_BREAKS
            * pick(METER_AT_ONCE, 1.0 - METER_AT_ONCE)
            * if up { 1.0 } else { 0.5 };
        // A seal may let through many times as much, a meter seldom shows so much more.
        let sized = |sd: f64| {
            let sd = sd.hypot(found.sd);
            (-0.5 * (s / sd).powi(2)).exp() / sd
        };
        let weights = [
            seal * sized(SEAL_SIZE_SD) * flow(0.02, 0.08) * bar(0.0, 0.08) * resin(0.3 * s, 0.35),
            probe
                * sized(METER_SIZE_SD)
                * flow(0.0, 0.07)
                * bar(0.0, 0.08)
                * resin(sign * 0.95 * s, 0.3),
            pressed
                * sized(METER_SIZE_SD)
                * flow(-sign * s, 0.1 + 0.2 * s)
                * bar(-sign * 0.8 * s, 0.08 + 0.2 * s)
                * resin(0.3 * sign * s, 0.35),
            late * sized(METER_SIZE_SD) * flow(0.1, 0.15) * bar(0.0, 0.08) * resin(0.3 * s, 0.35),
            ageing
                * sized(METER_SIZE_SD)
                * flow(-0.1, 0.15)
                * bar(0.0, 0.08)
                * resin(0.3 * s, 0.35),
        ];
        let total = weights.iter().sum::<f64>().max(1e-300);
        let [seal, permeate_probe, pressure, prefilter, ageing] = weights.map(|w| w / total);
        Behind {
            seal,
            permeate_probe,
            pressure,
            prefilter,
            ageing,
        }
    }
}

impl VanMeters {
    pub(super) fn of(told: &VanEvidence, rates: &Rates) -> VanMeters {
        let Some(newest) = told.newest else {
            return VanMeters {
                meters: product(told, 0.0).into_iter().collect(),
                ..VanMeters::default()
            };
        };
        let breaks: Vec<(Break, Option<Behind>)> = told
            .breaks
            .iter()
            .map(|b| {
                let through = matches!(b.kind, BreakKind::Passage | BreakKind::Standing);
                let behind = through.then(|| Behind::of(b, rates));
                (b.clone(), behind)
            })
            .collect();
        let (feed, together) = feed(told, rates);
        let permeate = permeate(told, &breaks, together);
        let (feed_now, permeate_now) = (feed.1, permeate.1);
        let feed_alone = (feed.0.doubt - together).max(0.0);
        let permeate_alone = (permeate.0.doubt - together).max(0.0);
        let steps = breaks.iter().filter_map(|(b, behind)| {
            // Probability that it is a meter, and how far salt passage reads too high for it.
            let (p, size) = match behind {
                Some(behind) => (b.exists * b.of_kind * behind.permeate_probe, b.size),
                None if b.kind == BreakKind::TapMeter => (b.exists * b.of_kind, -b.size),
                None => return None,
            };
            let ratio = Ratio {
                mean: p * size,
                variance: p * (1.0 - p) * size * size + p * b.sd * b.sd,
            };
            Some((b.clone(), ratio))
        });
        VanMeters {
            steps: steps.collect(),
            now: Ratio {
                mean: permeate_now.mean - feed_now.mean,
                variance: permeate_now.variance + feed_now.variance,
            },
            pressure: told.pressure,
            passage_doubt: 1.0 - (1.0 - feed_alone) * (1.0 - permeate_alone),
            meters: [Some(feed.0), Some(permeate.0), product(told, together)]
                .into_iter()
                .flatten()
                .collect(),
            breaks,
            newest,
        }
    }

    pub fn meter(&self, probe: Probe) -> Option<&Meter> {
        self.meters.iter().find(|m| m.probe == probe)
    }

    /// Probability that salt passage as read now misleads: that either meter is off by more
    /// than a tenth and the other is not off with it.
    pub fn doubt_of_passage(&self) -> f64 {
        self.passage_doubt
    }

    /// Probability that the pressure gave way, and has not come back, before the membrane
    /// fitted, or first seen, on `from`, or under it.
    pub fn pressure_lost(&self, from: Date) -> f64 {
        let lost = self.breaks.iter().filter_map(|(b, behind)| {
            let here = b.kind == BreakKind::Standing || b.began() >= from;
            let lost = here && b.size > 0.0 && !b.is_over;
            lost.then_some(b.exists * b.of_kind * behind.as_ref()?.pressure)
        });
        let told = self.pressure.map_or(0.0, |p| p.probability);
        lost.fold(told, f64::max)
    }

    /// By how much more than it was corrected salt passage reads too high, should the meter
    /// that is suspected most be as wrong as it looks, ln.
    pub fn still_suspected(&self) -> f64 {
        let most = self.breaks.iter().filter_map(|(b, behind)| {
            let (p, size) = match behind {
                Some(behind) => (b.exists * b.of_kind * behind.permeate_probe, b.size),
                None if b.kind == BreakKind::TapMeter => (b.exists * b.of_kind, -b.size),
                None => return None,
            };
            Some((p, (1.0 - p) * size))
        });
        most.max_by(|a, b| a.0.total_cmp(&b.0)).map_or(0.0, |m| m.1)
    }

    /// By what salt passage is read too high on a day.
    pub fn ratio_on(&self, date: Date) -> Ratio {
        let day = f64::from(super::explain::days(date));
        let mut out = self.now;
        for (found, ratio) in &self.steps {
            // What has come about since then was not there yet.
            let later = found.share_on(self.newest) - found.share_on(day);
            out.mean -= later * ratio.mean;
            let spare = (1.0 - later.abs()).max(0.0);
            out.variance = (out.variance - ratio.variance * later.abs()).max(0.0)
                + ratio.variance * later.abs() * spare;
        }
        out
    }
}

/// The tap's meter, what it does to salt passage now, and the probability that all meters
/// are on another scale together.
fn feed(told: &VanEvidence, rates: &Rates) -> ((Meter, Ratio), f64) {
    let broke = told
        .breaks
        .iter()
        .filter(|b| b.kind == BreakKind::TapMeter)
        .filter(|b| told.probe_day.is_none_or(|worked_on| b.day >= worked_on));
    let broke: Vec<&Break> = broke.collect();
    let strongest = broke
        .iter()
        .copied()
        .max_by(|a, b| (a.exists * a.of_kind).total_cmp(&(b.exists * b.of_kind)));
    let p_broke = strongest.map_or(told.pending, |b| b.exists * b.of_kind);
    let usual = USUAL_SD * USUAL_SD;
    let mut on_scale = 2.0 * SCALE_SHARE;
    let mut parts = Vec::new();
    match told.offset {
        Some(offset) => {
            let zone = rates.tap_spread * rates.tap_spread;
            // With few others it may be one of theirs that is off.
            let theirs = match offset.others {
                1 => 1.0,
                2 => 0.5,
                _ => 0.0,
            };
            let broken = BROKEN_SHARE.max(0.9 * p_broke);
            let wrong = [
                (SCALE_SHARE, SCALE, SCALE_SD),
                (SCALE_SHARE, -SCALE, SCALE_SD),
                (broken, 0.0, BROKEN_SD),
            ];
            let mut weigh = |share: f64, mean: f64, sd: f64, is_ours: bool| {
                let prior = sd * sd;
                let seen = prior + zone + usual + offset.variance;
                let apart = offset.mean - mean;
                let weight = share * (-0.5 * apart * apart / seen).exp() / seen.sqrt();
                let own = if is_ours { prior + usual } else { usual };
                let towards = own / seen;
                let centre = if is_ours { mean } else { 0.0 };
                let gain = (
                    weight,
                    centre + towards * apart * f64::from(u8::from(is_ours)),
                    (own * (1.0 - towards)).sqrt(),
                );
                parts.push(gain);
                weight
            };
            let right = (1.0 - 2.0 * SCALE_SHARE - broken).max(0.02);
            weigh(right, 0.0, 0.0, true);
            let mut scaled = 0.0;
            for (n, (share, mean, sd)) in wrong.into_iter().enumerate() {
                let weight = weigh(share, mean, sd, true);
                if n < 2 {
                    scaled += weight;
                }
                if theirs > 0.0 {
                    let share = theirs * if n < 2 { share } else { BROKEN_SHARE };
                    weigh(share, mean, sd, false);
                }
            }
            let total: f64 = parts.iter().map(|p| p.0).sum();
            on_scale = scaled / total.max(1e-300);
        }
        None => {
            let (size, variance) = broke
                .iter()
                .fold((0.0, 0.0), |(m, v), b| (m + b.size, v + b.sd * b.sd));
            let right = 1.0 - 2.0 * SCALE_SHARE - BROKEN_SHARE;
            for (p, mean, extra) in [(p_broke, size, variance), (1.0 - p_broke, 0.0, 0.0)] {
                // A break that is only suspected has no size yet.
                let extra = match strongest {
                    None if p == p_broke => 0.09,
                    _ => extra,
                };
                parts.extend([
                    (p * right, mean, (usual + extra).sqrt()),
                    (p * SCALE_SHARE, mean + SCALE, SCALE_SD.hypot(extra.sqrt())),
                    (p * SCALE_SHARE, mean - SCALE, SCALE_SD.hypot(extra.sqrt())),
                    (p * BROKEN_SHARE, mean, BROKEN_SD.hypot(extra.sqrt())),
                ]);
            }
        }
    }
    let mixture = Mixture(parts);
    let doubt = mixture.doubt();
    let why = match (strongest, told.offset) {
        (Some(b), offset) if p_broke > 0.5 => Why::Jumped {
            by: b.size,
            others: offset.map_or(0, |o| o.others),
        },
        (_, Some(offset)) if doubt > 0.2 => Why::Beside {
            off: offset.mean,
            others: offset.others,
        },
        _ => Why::Nothing,
    };
    let (mean, variance) = mixture.mean_and_variance();
    // Another scale of all meters leaves the ratio as it is.
    let together = on_scale * scaled_together(told);
    let alone = 1.0 - together;
    let ratio = Ratio {
        mean: alone * mean,
        variance: (alone * variance).max(usual),
    };
    let since = strongest
        .filter(|_| p_broke > 0.5 && doubt > 0.2)
        .map(Break::began);
    let meter = Meter {
        probe: Probe::Feed,
        off_by: mixture.span(),
        doubt,
        since,
        why,
    };
    ((meter, ratio), together)
}

/// Of a tap's meter that is on another scale, how likely the others are on it too: the
/// tap's alone would show new membranes far from what is usual.
fn scaled_together(told: &VanEvidence) -> f64 {
    let jumped = told
        .breaks
        .iter()
        .any(|b| b.kind == BreakKind::TapMeter && b.exists * b.of_kind > 0.5);
    let before = if jumped {
        JUMPED_TOGETHER
    } else {
        SCALE_TOGETHER
    };
    let Some((level, variance)) = told.new_level else {
        return before;
    };
    let side = told.offset.map_or(1.0, |o| o.mean.signum());
    let likely = |mean: f64| (-0.5 * (level - mean).powi(2) / variance).exp();
    let (both, one) = (before * likely(0.0), (1.0 - before) * likely(-side * SCALE));
    both / (both + one).max(1e-300)
}

fn permeate(
    told: &VanEvidence,
    breaks: &[(Break, Option<Behind>)],
    together: f64,
) -> (Meter, Ratio) {
    let probes = breaks.iter().filter_map(|(b, behind)| {
        let p = b.exists * b.of_kind * behind.as_ref()?.permeate_probe;
        Some((b, p))
    });
    let probes: Vec<(&Break, f64)> = probes
        .filter(|(b, _)| told.probe_day.is_none_or(|worked_on| b.day >= worked_on))
        .collect();
    let strongest = probes.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
    let p = strongest.map_or(0.0, |s| s.1);
    // Those about as likely as the likeliest one go together: away and back again.
    let with: Vec<&Break> = probes
        .iter()
        .filter(|(_, q)| *q > 0.5 * p)
        .map(|(b, _)| *b)
        .collect();
    let size: f64 = with.iter().map(|b| b.size).sum();
    let variance: f64 = with.iter().map(|b| b.sd * b.sd).sum();
    let usual = USUAL_SD * USUAL_SD;
    let right = [
        (1.0 - together - BROKEN_SHARE, 0.0, USUAL_SD),
        (BROKEN_SHARE, 0.0, BROKEN_SD / 2.0),
    ];
    let mut parts = vec![(p, size, (usual + variance).sqrt())];
    parts.extend(right.map(|(w, mean, sd)| ((1.0 - p) * w, mean, sd)));
    let alone = Mixture(parts.clone());
    for side in [SCALE, -SCALE] {
        parts.push(((1.0 - p) * 0.5 * together, side, SCALE_SD));
    }
    let mixture = Mixture(parts);
    let doubt = mixture.doubt();
    let (mean, variance) = alone.mean_and_variance();
    let meter = Meter {
        probe: Probe::Permeate,
        off_by: mixture.span(),
        doubt,
        since: strongest
            .filter(|s| s.1 > 0.3 && doubt > 0.2)
            .map(|s| s.0.began()),
        why: strongest
            .filter(|s| s.1 > 0.2)
            .map_or(Why::Nothing, |s| Why::Passage { by: s.0.size }),
    };
    (meter, Ratio { mean, variance })
}

/// The meter after the resin: fresh resin brings water down to 0 or 1 ppm.
fn product(told: &VanEvidence, together: f64) -> Option<Meter> {
    if told.fresh_ppm.is_empty() {
        return None;
    }
    let least = told
        .fresh_ppm
        .iter()
        .map(|f| f.0)
        .fold(f64::INFINITY, f64::min);
    let off = told.fresh_ppm.len() >= 2
        && told
            .fresh_ppm
            .iter()
            .all(|(ppm, entering)| *ppm > FRESH_PPM && *entering > 2.0 * FRESH_PPM);
    let broken = if off { 0.7 } else { BROKEN_SHARE };
    let mut parts = vec![
        (1.0 - broken, 0.0, USUAL_SD),
        (
            broken,
            if off { 0.4 } else { 0.0 },
            if off { 0.3 } else { BROKEN_SD },
        ),
    ];
    for side in [SCALE, -SCALE] {
        parts.push((0.5 * together, side, SCALE_SD));
    }
    let mixture = Mixture(parts);
    Some(Meter {
        probe: Probe::Product,
        off_by: mixture.span(),
        doubt: mixture.doubt(),
        since: None,
        why: if off {
            Why::Fresh { ppm: least }
        } else {
            Why::Nothing
        },
    })
}
