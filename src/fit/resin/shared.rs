//! What all charges of a fleet share: how resin ends, what counts as its load, and
//! how much charges, vans and districts differ.
//!
//! Every combination of a share of carbon dioxide and of three spreads is weighed by
//! how well it foretells each charge from the others (the evidence of all, in which
//! each charge is foretold by those before it). For one combination all is exact: a
//! tree of fleet, districts, vans and charges, with messages on a grid.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use rayon::prelude::*;

use super::charge::{ByCurve, ChargeObservations, Shares};
use super::curve::{ALL, CURVES, PLATEAU_PPM};
use super::follow::Chance;
use super::forecast::DRAWS_EACH;
use super::grid::{Beyond, Grid, POINTS, STEP, Values, add, less, logs, spread, unlogged};
use super::past;
use crate::fit::SharedNumber;
use crate::fit::horizon::middle_of;

/// Prior of the logarithm of the capacity: 0.45 eq/L in practice (sizing rules of
/// suppliers: 0.41-0.46 eq/L), wide, since what counts as spent differs.
const LN_CAPACITY: f64 = 6.11;
const LN_CAPACITY_SD: f64 = 0.45;

/// Shares of the prior carbon dioxide that may count, with their probabilities where
/// the limit lies above the plateau of carbonic acid, and within it (judgement). 0:
/// mineral anions push it out again; 1: the bed dies in one step; the last: litres
/// count, whatever is in them.
const SHARES: [(f64, f64, f64); 6] = [
    (0.0, 0.20, 0.02),
    (0.25, 0.20, 0.08),
    (0.5, 0.20, 0.20),
    (1.0, 0.25, 0.45),
    (2.0, 0.10, 0.20),
    (4.0, 0.05, 0.05),
];

/// Spreads of the logarithm of the capacity, with their probabilities (judgement):
/// between charges of a van, between vans, between districts (unseen carbon dioxide
/// differs from place to place).
const CHARGES_SD: [(f64, f64); 4] = [(0.08, 0.20), (0.15, 0.35), (0.25, 0.30), (0.45, 0.15)];
const VANS_SD: [(f64, f64); 3] = [(0.06, 0.4), (0.20, 0.4), (0.45, 0.2)];
const DISTRICTS_SD: [(f64, f64); 3] = [(0.06, 0.3), (0.20, 0.5), (0.45, 0.2)];

/// What the prior probabilities of the ways of ending weigh against charges.
const CURVES_WEIGHT: f64 = 4.0;
const CURVES_ROUNDS: usize = 6;

const DRAWS: usize = 12;
/// Most charges of a van, newest first, and most vans in all that are looked at.
const MOST_CHARGES: usize = 8;
const MOST_VANS: usize = 120;
/// So many of each district at least.
const FEWEST_OF_DISTRICT: usize = 6;

/// What counts as a charge's load, and how charges end when that counts.
#[derive(Debug)]
pub struct Reading {
    pub co2_share: f64,
    pub grid: Grid,
    /// Probability of each way of ending.
    pub curves: [f64; CURVES],
    /// Share of the changes made because the charge was spent.
    pub spent: f64,
}

/// Changes are made when product water reads about the limit (the trade's rule of thumb),
/// or for other reasons, by the calendar or with other work. The share of the former
/// before a fleet tells, worth so many changes (judgement).
const SPENT: f64 = 0.5;
const SPENT_WORTH: f64 = 10.0;
const SPENT_ROUNDS: usize = 4;
/// How far from its capacity a spent charge is changed, `ln`: crews differ in the ppm
/// they bear, and wait some days (judgement).
const SPENT_SD: f64 = 0.2;
/// Density of the `ln` load at which a charge is changed for other reasons: anywhere from
/// a quarter of a capacity to two (judgement).
const OTHERWISE: f64 = 0.5;

/// Density of the change of a charge at each capacity where it was made because the
/// charge was spent, over that for other reasons.
fn spent_over_otherwise(ln_load: f64, grid: Grid) -> Values {
    let top = 1.0 / (SPENT_SD * (2.0 * std::f64::consts::PI).sqrt() * OTHERWISE);
    std::array::from_fn(|i| {
        let z = (ln_load - grid.at(i)) / SPENT_SD;
        top * (-0.5 * z * z).exp()
    })
}

impl Reading {
    /// Likelihood of a charge at each capacity, by its readings and its change.
    pub fn of_charge(&self, charge: &ChargeObservations, shares: &Shares) -> Values {
        let by_curve = charge.likelihoods(shares, self.grid, self.co2_share);
        let mut all = however_it_ends(&by_curve, &self.curves);
        if let Some(ln_load) = charge.ln_load_when_changed(self.co2_share) {
            let over = spent_over_otherwise(ln_load, self.grid);
            for (value, over) in all.iter_mut().zip(over) {
                *value *= 1.0 - self.spent + self.spent * over;
            }
        }
        all
    }

    /// Learns the share of changes made because charges were spent (expectation and
    /// maximisation), by where capacities lie.
    fn learn_spent<'t>(
        &mut self,
        charges: impl Iterator<Item = (&'t ChargeObservations, &'t ByCurve)>,
        lie: &Values,
    ) {
        let total: f64 = lie.iter().sum();
        // By how much likelier each change is where it was made on a spent charge.
        let surer: Vec<f64> = charges
            .filter_map(|(charge, by_curve)| {
                let ln_load = charge.ln_load_when_changed(self.co2_share)?;
                let over = spent_over_otherwise(ln_load, self.grid);
                let readings = however_it_ends(by_curve, &self.curves);
                let by_readings = readings.iter().zip(lie).map(|(r, l)| r * l);
                let (mut with, mut without) = (0.0, 0.0);
                for (by_readings, over) in by_readings.zip(over) {
                    with += by_readings * over;
                    without += by_readings;
                }
                (without > 0.0 && total > 0.0).then(|| with / without)
            })
            .collect();
        for _ in 0..SPENT_ROUNDS {
            let spent = self.spent;
            let each = surer.iter().map(|s| spent * s / (spent * s + 1.0 - spent));
            self.spent =
                (SPENT * SPENT_WORTH + each.sum::<f64>()) / (SPENT_WORTH + surer.len() as f64);
        }
    }
}

/// How much capacities differ, as standard deviations of their logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spreads {
    pub charges: f64,
    pub vans: f64,
    pub districts: f64,
}

/// One draw of what is shared.
#[derive(Debug, Clone)]
pub struct ResinDraw {
    pub reading: Arc<Reading>,
    pub spreads: Spreads,
    /// Logarithm of the belief in the middle of each district, its own vans
    /// included, and of any other.
    districts: BTreeMap<Arc<str>, Values>,
    elsewhere: Values,
}

impl ResinDraw {
    /// Logarithm of the belief in a district's middle.
    pub fn district(&self, name: Option<&Arc<str>>) -> &Values {
        name.and_then(|n| self.districts.get(n))
            .unwrap_or(&self.elsewhere)
    }

    /// Middle of the belief in the logarithm of a district's capacity.
    pub fn ln_capacity(&self, name: Option<&Arc<str>>) -> f64 {
        mean(self.reading.grid, self.district(name))
    }
}

fn mean(grid: Grid, logs: &Values) -> f64 {
    let (weights, _) = unlogged(logs);
    let total: f64 = weights.iter().sum();
    let sum: f64 = weights
        .iter()
        .enumerate()
        .map(|(i, w)| w * grid.at(i))
        .sum();
    sum / total
}

/// The fitted resin model.
#[derive(Debug)]
pub struct ResinFit {
    /// Equally likely; not empty.
    pub draws: Vec<ResinDraw>,
    /// Most probable capacity, meq per litre of resin, and share of carbon dioxide.
    pub usual_capacity: f64,
    pub usual_share: f64,
    pub explained: Vec<SharedNumber>,
    /// What comes to every charge.
    pub chance: Chance,
    pub shares: Shares,
    /// How much wider charges ended than was said, from the fleet's own past.
    pub wider: f64,
    /// Vans whose charges the beliefs already hold.
    taught: BTreeSet<Arc<str>>,
}

/// The charges of one van.
#[derive(Debug, Clone, Copy)]
pub struct VanCharges<'a> {
    pub van: &'a Arc<str>,
    pub charges: &'a [ChargeObservations],
}

impl<'a> VanCharges<'a> {
    /// Those that teach, oldest first, the newest few.
    pub fn teaching(&self) -> impl Iterator<Item = &'a ChargeObservations> + Clone {
        let teaching = || self.charges.iter().filter(|c| c.is_usable_for_fit());
        let beyond = teaching().count().saturating_sub(MOST_CHARGES);
        teaching().skip(beyond)
    }

    /// Where most of its newest charges worked: a van tells of its newest district.
    fn district(&self) -> Option<&'a Arc<str>> {
        self.charges.last().and_then(|c| c.district.as_ref())
    }
}

/// A van's likelihoods of its own middle, before it is spread; logarithms.
pub fn of_van<'t>(tables: impl Iterator<Item = &'t Values>, charges_sd: f64) -> Values {
    let mut sum = [0.0; POINTS];
    for table in tables {
        add(&mut sum, &logs(&spread(table, charges_sd, Beyond::TheSame)));
    }
    sum
}

/// What a van tells of its district's middle; logarithms.
pub fn to_district(of_van: &Values, vans_sd: f64) -> Values {
    let (values, top) = unlogged(of_van);
    logs(&spread(&values, vans_sd, Beyond::TheSame)).map(|l| l + top)
}

/// Charges that are two in truth: about one change in twelve is never written down, and
/// half of those do not show in the readings either (judgement).
const UNSEEN_CHANGES: f64 = 0.04;

/// Likelihood of a charge at each capacity, however it ends. What is two in truth took up
/// between once and twice what one can.
pub fn however_it_ends(by_curve: &[Values; CURVES], curves: &[f64; CURVES]) -> Values {
    const TWICE: usize = (std::f64::consts::LN_2 / STEP) as usize;
    let mut all = [0.0; POINTS];
    for (values, share) in by_curve.iter().zip(curves) {
        for (a, v) in all.iter_mut().zip(values) {
            *a += share * v;
        }
    }
    let of_two = |i: usize| {
        let above = (i..=i + TWICE).map(|j| all[j.min(POINTS - 1)]);
        above.sum::<f64>() / (TWICE + 1) as f64
    };
    std::array::from_fn(|i| (1.0 - UNSEEN_CHANGES) * all[i] + UNSEEN_CHANGES * of_two(i))
}

/// Vans that are learnt from: spread evenly over each district.
fn chosen<'a>(vans: Vec<VanCharges<'a>>) -> Vec<VanCharges<'a>> {
    let mut by_district: BTreeMap<Option<&Arc<str>>, Vec<VanCharges<'a>>> = BTreeMap::new();
    for van in vans {
        if van.teaching().next().is_some() {
            by_district.entry(van.district()).or_default().push(van);
        }
    }
    let each = (MOST_VANS / by_district.len().max(1)).max(FEWEST_OF_DISTRICT);
    let mut chosen = Vec::new();
    for vans in by_district.into_values() {
        let n = vans.len();
        let some = n.min(each);
        chosen.extend((0..some).filter_map(|i| vans.get(i * n / some).copied()));
    }
    chosen
}

/// Finds what is shared from all charges of the fleet (possibly none).
pub fn fit_shared<'a>(vans: impl IntoIterator<Item = VanCharges<'a>>, limit_ppm: f64) -> ResinFit {
    let vans = chosen(vans.into_iter().collect());
    let shares = Shares::new();
    let trees: Vec<Tree<'_>> = SHARES
        .par_iter()
        .map(|&(share, above, within)| {
            let prior = if limit_ppm > PLATEAU_PPM {
                above
            } else {
                within
            };
            Tree::grow(&vans, &shares, share, prior)
        })
        .collect();
    // Every combination with the logarithm of its weight, in a fixed order.
    let weighed: Vec<(usize, Spreads, f64)> = trees
        .par_iter()
        .enumerate()
        .flat_map_iter(|(n, tree)| {
            tree.weighed()
                .into_iter()
                .map(move |(spreads, weight)| (n, spreads, weight))
        })
        .collect();
    let top = weighed
        .iter()
        .map(|w| w.2)
        .fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = weighed.iter().map(|w| (w.2 - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let mut picked = Vec::with_capacity(DRAWS);
    let (mut below, mut next) = (0.0, 0);
    for ((n, spreads, _), weight) in weighed.iter().zip(&weights) {
        below += weight / total;
        while next < DRAWS && (next as f64 + 0.5) / (DRAWS as f64) < below {
            picked.push((*n, *spreads));
            next += 1;
        }
    }
    let draws: Vec<ResinDraw> = picked
        .into_par_iter()
        .filter_map(|(n, spreads)| Some(trees.get(n)?.draw(spreads)))
        .collect();
    let n = draws.len().max(1) as f64;
    let mean_of = |f: &dyn Fn(&ResinDraw) -> f64| draws.iter().map(f).sum::<f64>() / n;
    let ln_capacity = mean_of(&|d| mean(d.reading.grid, &d.elsewhere));
    let usual_share = mean_of(&|d| d.reading.co2_share);
    let mut fit = ResinFit {
        chance: Chance::new(draws.len(), DRAWS_EACH),
        usual_capacity: ln_capacity.exp(),
        usual_share,
        explained: explained(&draws, ln_capacity, limit_ppm),
        shares,
        wider: 1.0,
        taught: vans.iter().map(|v| v.van.clone()).collect(),
        draws,
    };
    fit.wider = past::wider(&fit, &vans);
    fit.explained.push(SharedNumber {
        name: "resin: widths over what earlier charges say",
        value: fit.wider,
        sd: 0.0,
        prior: 1.0,
        prior_sd: 0.0,
        unit: "",
    });
    fit
}

impl ResinFit {
    /// Logarithm of the belief in the middle of the van's district without what the
    /// van itself told of it.
    pub fn without(&self, draw: &ResinDraw, van: VanCharges<'_>, own: &Values) -> Values {
        let held = draw.district(van.district());
        if self.taught.contains(van.van) {
            less(held, &to_district(own, draw.spreads.vans))
        } else {
            *held
        }
    }
}

/// All charges when a share of the carbon dioxide counts.
struct Tree<'a> {
    reading: Arc<Reading>,
    prior: f64,
    /// By district, what each of its vans' charges say, however they end.
    districts: BTreeMap<Option<&'a Arc<str>>, Vec<Vec<Values>>>,
}

impl<'a> Tree<'a> {
    fn grow(vans: &[VanCharges<'a>], shares: &Shares, co2_share: f64, prior: f64) -> Tree<'a> {
        let all = || vans.iter().flat_map(VanCharges::teaching);
        // About where charges are seen to end, with the prior as one of them.
        let ends = all().filter_map(|c| c.load_when_spent(co2_share));
        let ends = ends.filter(|l| *l > 0.0).map(f64::ln);
        let middle = middle_of(ends.chain([LN_CAPACITY])).unwrap_or(LN_CAPACITY);
        let grid = Grid::about(middle.clamp(LN_CAPACITY - 1.5, LN_CAPACITY + 1.5));
        let by_van: Vec<Vec<_>> = vans
            .par_iter()
            .map(|van| {
                van.teaching()
                    .map(|c| c.likelihoods(shares, grid, co2_share))
                    .collect()
            })
            .collect();
        let (curves, lie) = how_they_end(by_van.iter().flatten().map(AsRef::as_ref), grid);
        let mut reading = Reading {
            co2_share,
            grid,
            curves,
            spent: SPENT,
        };
        let by_curve = by_van.iter().flatten().map(AsRef::as_ref);
        reading.learn_spent(all().zip(by_curve), &lie);
        let mut districts: BTreeMap<_, Vec<Vec<Values>>> = BTreeMap::new();
        for van in vans {
            let tables = van.teaching().map(|c| reading.of_charge(c, shares));
            districts
                .entry(van.district())
                .or_default()
                .push(tables.collect());
        }
        Tree {
            reading: Arc::new(reading),
            prior,
            districts,
        }
    }

    /// Logarithm of the prior of the fleet's middle.
    fn prior_logs(&self) -> Values {
        std::array::from_fn(|i| {
            let z = (self.reading.grid.at(i) - LN_CAPACITY) / LN_CAPACITY_SD;
            -0.5 * z * z
        })
    }

    /// All combinations of spreads, with the logarithm of prior times evidence.
    fn weighed(&self) -> Vec<(Spreads, f64)> {
        let prior = self.prior_logs();
        let (even, _) = unlogged(&prior);
        let none = even.iter().sum::<f64>().ln();
        let mut weighed = Vec::new();
        for (charges, p_charges) in CHARGES_SD {
            let own: Vec<Vec<Values>> = self
                .districts
                .values()
                .map(|vans| vans.iter().map(|v| of_van(v.iter(), charges)).collect())
                .collect();
            for (vans, p_vans) in VANS_SD {
                let sums: Vec<Values> = own
                    .iter()
                    .map(|own| {
                        let mut sum = [0.0; POINTS];
                        own.iter()
                            .for_each(|o| add(&mut sum, &to_district(o, vans)));
                        sum
                    })
                    .collect();
                for (districts, p_districts) in DISTRICTS_SD {
                    let mut all = prior;
                    sums.iter()
                        .for_each(|s| add(&mut all, &to_district(s, districts)));
                    let (values, top) = unlogged(&all);
                    let evidence = top + values.iter().sum::<f64>().ln() - none;
                    let p = self.prior * p_charges * p_vans * p_districts;
                    let spreads = Spreads {
                        charges,
                        vans,
                        districts,
                    };
                    weighed.push((spreads, p.ln() + evidence));
                }
            }
        }
        weighed
    }

    /// Beliefs in every district under one combination.
    fn draw(&self, spreads: Spreads) -> ResinDraw {
        let sums: Vec<Values> = self
            .districts
            .values()
            .map(|vans| {
                let mut sum = [0.0; POINTS];
                for van in vans {
                    let own = of_van(van.iter(), spreads.charges);
                    add(&mut sum, &to_district(&own, spreads.vans));
                }
                sum
            })
            .collect();
        let to_fleet: Vec<Values> = sums
            .iter()
            .map(|s| to_district(s, spreads.districts))
            .collect();
        let mut fleet = self.prior_logs();
        to_fleet.iter().for_each(|m| add(&mut fleet, m));
        let down = |fleet: &Values| {
            logs(&spread(
                &unlogged(fleet).0,
                spreads.districts,
                Beyond::Nothing,
            ))
        };
        let elsewhere = down(&fleet);
        let named = self.districts.keys().zip(sums.iter().zip(&to_fleet));
        let districts = named
            .filter_map(|(name, (sum, message))| {
                let mut belief = down(&less(&fleet, message));
                add(&mut belief, sum);
                Some(((*name)?.clone(), belief))
            })
            .collect();
        ResinDraw {
            reading: self.reading.clone(),
            spreads,
            districts,
            elsewhere,
        }
    }
}

/// How a fleet's charges end: the share of each way, and, found together with it, how
/// their capacities lie (expectation and maximisation).
fn how_they_end<'t>(
    charges: impl Iterator<Item = &'t [Values; CURVES]> + Clone,
    grid: Grid,
) -> ([f64; CURVES], Values) {
    const ABOUT: f64 = 0.25;
    let priors: [f64; CURVES] = std::array::from_fn(|k| ALL[k].prior());
    let mut curves = priors;
    let mut lie: Values = std::array::from_fn(|i| {
        let z = (grid.at(i) - LN_CAPACITY) / (LN_CAPACITY_SD + ABOUT);
        (-0.5 * z * z).exp() * STEP
    });
    for _ in 0..CURVES_ROUNDS {
        let mut counts = priors.map(|p| CURVES_WEIGHT * p);
        let mut lies = lie.map(|v| v * CURVES_WEIGHT / lie.iter().sum::<f64>());
        for charge in charges.clone() {
            let by_curve: [f64; CURVES] = std::array::from_fn(|k| {
                curves[k] * charge[k].iter().zip(&lie).map(|(l, p)| l * p).sum::<f64>()
            });
            let total: f64 = by_curve.iter().sum();
            if total <= 0.0 {
                continue;
            }
            for (count, own) in counts.iter_mut().zip(by_curve) {
                *count += own / total;
            }
            for (k, values) in charge.iter().enumerate() {
                let share = curves[k] / total;
                for ((to, l), p) in lies.iter_mut().zip(values).zip(&lie) {
                    *to += share * l * p;
                }
            }
        }
        let total: f64 = counts.iter().sum();
        curves = counts.map(|c| c / total);
        lie = spread(&lies, ABOUT, Beyond::Nothing);
        let total: f64 = lie.iter().sum();
        lie.iter_mut().for_each(|v| *v /= total);
    }
    (curves, lie)
}

/// The shared numbers as they are told.
fn explained(draws: &[ResinDraw], ln_capacity: f64, limit_ppm: f64) -> Vec<SharedNumber> {
    let n = draws.len().max(1) as f64;
    let moments = |f: &dyn Fn(&ResinDraw) -> f64| {
        let mean = draws.iter().map(f).sum::<f64>() / n;
        let variance = draws.iter().map(|d| (f(d) - mean).powi(2)).sum::<f64>() / n;
        (mean, variance.sqrt())
    };
    let prior_of = |values: &[(f64, f64)]| {
        let mean: f64 = values.iter().map(|(v, p)| v * p).sum();
        let variance: f64 = values.iter().map(|(v, p)| p * (v - mean).powi(2)).sum();
        (mean, variance.sqrt())
    };
    let told = |name, unit, (value, sd), (prior, prior_sd)| SharedNumber {
        name,
        value,
        sd,
        prior,
        prior_sd,
        unit,
    };
    let shares = SHARES.map(|(share, above, within)| {
        (
            share,
            if limit_ppm > PLATEAU_PPM {
                above
            } else {
                within
            },
        )
    });
    let over = |curves: &[f64; CURVES]| -> f64 {
        let each = ALL.iter().zip(curves);
        each.filter(|(c, _)| c.over > 1.0).map(|(_, p)| p).sum()
    };
    let capacity_sd = draws
        .iter()
        .map(|d| {
            let (weights, _) = unlogged(&d.elsewhere);
            let total: f64 = weights.iter().sum();
            let square = |i: usize| (d.reading.grid.at(i) - ln_capacity).powi(2);
            weights
                .iter()
                .enumerate()
                .map(|(i, w)| w * square(i))
                .sum::<f64>()
                / total
        })
        .sum::<f64>()
        / n;
    let usual = LN_CAPACITY.exp();
    vec![
        told(
            "resin capacity",
            "meq per litre of resin",
            (ln_capacity.exp(), ln_capacity.exp() * capacity_sd.sqrt()),
            (usual, usual * LN_CAPACITY_SD),
        ),
        told(
            "spread of capacity between charges (ln)",
            "",
            moments(&|d| d.spreads.charges),
            prior_of(&CHARGES_SD),
        ),
        told(
            "spread of capacity between vans (ln)",
            "",
            moments(&|d| d.spreads.vans),
            prior_of(&VANS_SD),
        ),
        told(
            "spread of capacity between districts (ln)",
            "",
            moments(&|d| d.spreads.districts),
            prior_of(&DISTRICTS_SD),
        ),
        told(
            "share of carbon dioxide that counts",
            "",
            moments(&|d| d.reading.co2_share),
            prior_of(&shares),
        ),
        told(
            "share of changes made because the charge was spent",
            "",
            moments(&|d| d.reading.spent),
            (SPENT, (SPENT * (1.0 - SPENT) / SPENT_WORTH).sqrt()),
        ),
        told(
            "share of charges that end with acid above the permeate",
            "",
            moments(&|d| over(&d.reading.curves)),
            {
                let prior = over(&std::array::from_fn(|k| ALL[k].prior()));
                (prior, (prior * (1.0 - prior)).sqrt())
            },
        ),
    ]
}
