//! What the fleet's elements share: the laws that forecast, and the one law that watches.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::abreast::SharedAbreast;
use super::course::Scale;
use super::fleet::{self, Laws, Numbers};
use super::forecast::DRAWS_EACH;
use super::law::{Law, PACE, START};
use super::looks::ElementLooks;
use super::typical::TypicalLife;
use crate::fit::SharedNumber;
use crate::stats::drift::Drifting;
use crate::stats::drift::abreast::LANES;
use crate::stats::random::{Rng, mirrored_normals};
use crate::stats::special::normal_quantile;

/// The shared numbers by which elements are watched: steady growth of `ln` salt passage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Mean and standard deviation of a new element's `ln` salt passage.
    pub ln_start: f64,
    pub start_sd: f64,
    /// Mean and standard deviation of the `ln` rate, per 1000 L at 200 mg/L.
    pub ln_rate: f64,
    pub rate_sd: f64,
    /// Standard deviation of the districts' own additions to the `ln` rate.
    pub district_sd: f64,
    /// Power of hardness in the exposure, and the wear that even the softest water
    /// brings, as a share of that at 200 mg/L.
    pub hardness_power: f64,
    pub floor: f64,
    /// Variance of the path's wander per 1000 L at 200 mg/L.
    pub wander: f64,
    /// Factor on the readings' own standard deviation.
    pub noise: f64,
    /// Temperature coefficient beyond the one already applied, per °C.
    pub theta: f64,
    /// Extra exposure of a litre made behind overdue pre-filters, ≥ 0.
    pub late: f64,
    /// How growth quickens with what has built up.
    pub curvature: f64,
}

/// Next to none: watching takes growth as steady.
const CURVATURE: f64 = 0.01;

impl Shared {
    /// From the law of steady growth; `z`: how far its means lie from the most probable.
    fn of(numbers: &Numbers, z: [f64; 3]) -> Shared {
        let [start, pace, power] = z;
        let sd = |k: usize| numbers.mean_variance.get(k).copied().unwrap_or(0.0).sqrt();
        let mean = |k: usize| numbers.mean.get(k).copied().unwrap_or(f64::NAN);
        let spread = |k: usize| numbers.variance.get(k).copied().unwrap_or(0.0).sqrt();
        Shared {
            ln_start: mean(START) + start * sd(START),
            start_sd: spread(START),
            ln_rate: mean(PACE) + pace * sd(PACE) + Law::ln_growth(),
            rate_sd: spread(PACE),
            district_sd: fleet::DISTRICT_SD,
            hardness_power: (numbers.power + power * numbers.power_sd).max(0.0),
            floor: fleet::FLOOR,
            wander: numbers.wander,
            noise: numbers.noise.sqrt(),
            theta: numbers.theta,
            late: numbers.late,
            curvature: CURVATURE,
        }
    }

    /// How an element's path starts and wanders under these numbers. An
    /// element of unknown age has already climbed by an unknown amount.
    pub fn drifting(&self, start_known: bool) -> Drifting {
        const CLIMBED: f64 = 0.5;
        const CLIMBED_SD: f64 = 0.6;
        let variance = self.start_sd * self.start_sd;
        let (ln_start, variance) = if start_known {
            (self.ln_start, variance)
        } else {
            (self.ln_start + CLIMBED, variance + CLIMBED_SD * CLIMBED_SD)
        };
        let (start_mean, stretch) = self.bend(ln_start);
        Drifting {
            start_mean,
            start_variance: variance * stretch * stretch,
            wander: self.wander,
        }
    }

    /// Spread of the `ln` rate over elements of all districts.
    pub fn total_rate_sd(&self) -> f64 {
        self.rate_sd.hypot(self.district_sd)
    }

    /// The same by which elements are judged: litres behind late pre-filters
    /// ought to wear as others do.
    pub fn without_lateness(&self) -> Shared {
        Shared { late: 0.0, ..*self }
    }

    /// The scale on which salt passage grows evenly.
    pub fn scale(&self) -> Scale {
        Scale {
            curvature: self.curvature,
        }
    }

    /// As [`Scale::bend`].
    pub fn bend(&self, ln_passage: f64) -> (f64, f64) {
        self.scale().bend(ln_passage)
    }

    /// Exposure of one litre of water of that hardness, in 1000 L at 200 mg/L.
    pub fn exposure_per_litre(&self, hardness_mg_l_caco3: f64) -> f64 {
        let scaling = (hardness_mg_l_caco3.max(1.0) / 200.0).powf(self.hardness_power);
        (self.floor + scaling) / (self.floor + 1.0) / 1000.0
    }
}

/// Shared numbers with what each district adds to the `ln` rate.
#[derive(Debug, Clone)]
pub struct SharedDraw {
    pub shared: Shared,
    numbers: Arc<Numbers>,
}

impl SharedDraw {
    /// Mean and spread of what a district adds to the `ln` rate.
    pub fn district(&self, name: Option<&Arc<str>>) -> (f64, f64) {
        self.numbers.district(name)
    }
}

/// One equally likely way to look ahead: a law, and how far its means lie from the most
/// probable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// Its place among the laws that count.
    pub law: usize,
    /// Added to the means of the `ln` pace and of the `ln` salt passage when new.
    pub pace: f64,
    pub start: f64,
}

/// Outlooks: enough that a law of weight 0.05 has one.
const OUTLOOKS: usize = 24;
/// Draws of the numbers that watch, in pairs mirrored about the best.
const DRAWS: usize = 12;

/// The fitted shared numbers.
#[derive(Debug, Clone)]
pub struct SharedFit {
    pub laws: Laws,
    /// In order of laws, each as often as it weighs.
    pub outlooks: Vec<Outlook>,
    pub best: SharedDraw,
    /// What districts add to the typical life.
    pub typical: BTreeMap<Arc<str>, TypicalLife>,
    /// Exposure that a usual element lasts under each of the laws that count.
    pub usual_exposures: Vec<f64>,
    /// Share of litres that is usually made behind late pre-filters.
    pub usual_late_share: f64,
    /// Equally likely numbers to watch by, the best one's uncertainty included.
    pub draws: Vec<SharedDraw>,
    /// The draws and then the best, without lateness, side by side.
    pub watched_abreast: Vec<SharedAbreast>,
    /// The best alone, without lateness.
    pub best_abreast: SharedAbreast,
    /// What chance does to each draw of an element on its way ahead, the same for
    /// every element: standard normal, spread evenly.
    pub sways: Vec<f64>,
    pub explained: Vec<SharedNumber>,
    /// What did not go as it should.
    pub remark: Option<String>,
}

/// Name of the extra wear among the shared numbers.
const LATE_WEAR: &str = "extra wear behind overdue pre-filters";

impl SharedFit {
    /// The extra wear of litres made behind overdue pre-filters.
    pub fn late_wear(&self) -> SharedNumber {
        let found = self.explained.iter().find(|s| s.name == LATE_WEAR);
        found.cloned().unwrap_or(SharedNumber {
            name: LATE_WEAR,
            value: 0.0,
            sd: f64::INFINITY,
            prior: 0.0,
            prior_sd: f64::INFINITY,
            unit: "",
        })
    }

    /// The law that weighs most.
    pub fn likeliest(&self) -> &Numbers {
        let weighed = self.laws.weighed.iter();
        let most = weighed.reduce(|a, b| if b.1 > a.1 { b } else { a });
        most.map_or(&self.laws.steady, |m| &m.0)
    }
}

/// Most elements that the shared numbers are learnt from: they are then known far
/// better than any element's own.
const MOST_ELEMENTS: usize = 240;

/// The elements that teach, of vans evenly spaced in the fleet's order, so that the
/// choice is the same each time and elements of one van stay together. `taught`: each
/// with the number of its van, in order of vans.
pub fn chosen<T>(taught: Vec<(usize, T)>) -> Vec<(usize, T)> {
    let every = taught.len().div_ceil(MOST_ELEMENTS).max(1);
    let (mut van, mut number) = (None, 0_usize);
    taught
        .into_iter()
        .filter(|(of, _)| {
            if van.replace(*of).is_some_and(|before| before != *of) {
                number += 1;
            }
            number.is_multiple_of(every)
        })
        .collect()
}

/// Finds the shared numbers from elements (possibly none), each with the number of its
/// van, in order of vans.
pub fn fit_shared(elements: &[(usize, &ElementLooks)]) -> SharedFit {
    let laws = fleet::learn(elements);
    let outlooks = outlooks(&laws);
    let steady = Arc::new(laws.steady.clone());
    let draw = |z: [f64; 3]| SharedDraw {
        shared: Shared::of(&steady, z),
        numbers: steady.clone(),
    };
    let best = draw([0.0; 3]);
    let mut rng = Rng::for_part(1, "membrane shared numbers");
    let draws: Vec<SharedDraw> = (0..DRAWS / 2)
        .flat_map(|_| {
            let z: [f64; 3] = std::array::from_fn(|_| rng.normal());
            [z, z.map(|z| -z)].map(draw)
        })
        .collect();
    let watched: Vec<Shared> = draws
        .iter()
        .chain([&best])
        .map(|d| d.shared.without_lateness())
        .collect();
    let explained = explain(&laws);
    SharedFit {
        sways: mirrored_normals(
            &mut Rng::for_part(3, "path ahead"),
            outlooks.len(),
            DRAWS_EACH,
        ),
        outlooks,
        typical: BTreeMap::new(),
        usual_exposures: Vec::new(),
        usual_late_share: 0.0,
        watched_abreast: watched.chunks(LANES).map(SharedAbreast::of).collect(),
        best_abreast: SharedAbreast::of(&[best.shared.without_lateness()]),
        best,
        draws,
        explained,
        remark: None,
        laws,
    }
}

/// Each law as often as it weighs, its means spread over what is unsure.
fn outlooks(laws: &Laws) -> Vec<Outlook> {
    let mut rng = Rng::for_part(5, "outlooks");
    let mut normals = || -> Vec<f64> {
        let order: Vec<usize> = rng.shuffled((0..OUTLOOKS).collect());
        let p = |i: usize| (i as f64 + 0.5) / OUTLOOKS as f64;
        order.into_iter().map(|i| normal_quantile(p(i))).collect()
    };
    let (paces, starts) = (normals(), normals());
    let mut below = 0.0;
    let mut out = Vec::with_capacity(OUTLOOKS);
    for (law, (numbers, weight)) in laws.weighed.iter().enumerate() {
        below += weight;
        let sd = |k: usize| numbers.mean_variance.get(k).copied().unwrap_or(0.0).sqrt();
        while (out.len() as f64 + 0.5) / (OUTLOOKS as f64) < below + 1e-9 && out.len() < OUTLOOKS {
            let z = |of: &[f64]| of.get(out.len()).copied().unwrap_or(0.0);
            out.push(Outlook {
                law,
                pace: z(&paces) * sd(PACE),
                start: z(&starts) * sd(START),
            });
        }
    }
    out
}

/// The numbers that all laws share, as the likeliest has them, and what each law weighs.
fn explain(laws: &Laws) -> Vec<SharedNumber> {
    let weighed = laws.weighed.iter();
    let most = weighed.reduce(|a, b| if b.1 > a.1 { b } else { a });
    let n = most.map_or(&laws.steady, |m| &m.0);
    let before = Numbers::before(n.law);
    let at = |of: &[f64; 3], k: usize| of.get(k).copied().unwrap_or(f64::NAN);
    let exp = |name, k: usize| {
        let (value, prior) = (at(&n.mean, k).exp(), at(&before.mean, k).exp());
        SharedNumber {
            name,
            value,
            sd: value * at(&n.mean_variance, k).sqrt(),
            prior,
            prior_sd: prior * at(&before.mean_variance, k).sqrt(),
            unit: "",
        }
    };
    let mut all = vec![
        SharedNumber {
            unit: "fraction",
            ..exp("salt passage of a new membrane", START)
        },
        {
            let life = |pace: f64| 1000.0 * (-pace).exp();
            let sd = |of: &Numbers| at(&of.mean_variance, PACE).sqrt();
            SharedNumber {
                name: "usual life in water of 200 mg/L",
                value: life(at(&n.mean, PACE)),
                sd: life(at(&n.mean, PACE)) * sd(n),
                prior: life(at(&before.mean, PACE)),
                prior_sd: life(at(&before.mean, PACE)) * sd(&before),
                unit: "L",
            }
        },
        SharedNumber {
            name: "power of hardness",
            value: n.power,
            sd: n.power_sd,
            prior: fleet::POWER.mean,
            prior_sd: fleet::POWER.sd,
            unit: "",
        },
        SharedNumber {
            name: LATE_WEAR,
            value: n.late,
            sd: n.late_sd,
            prior: fleet::LATE.mean,
            prior_sd: fleet::LATE.sd,
            unit: "",
        },
        SharedNumber {
            name: "temperature coefficient beyond 1 %",
            value: n.theta,
            sd: n.theta_sd,
            prior: fleet::THETA.mean,
            prior_sd: fleet::THETA.sd,
            unit: "per °C",
        },
        SharedNumber {
            name: "share of weak membranes",
            value: n.weak_share,
            sd: 0.0,
            prior: before.weak_share,
            prior_sd: 0.0,
            unit: "",
        },
        SharedNumber {
            name: "widths over what the law says",
            value: laws.wider,
            sd: 0.0,
            prior: 1.0,
            prior_sd: 0.0,
            unit: "",
        },
    ];
    for (law, believed) in Law::ALL {
        let weight = laws
            .weighed
            .iter()
            .find(|(numbers, _)| numbers.law == law)
            .map_or(0.0, |w| w.1);
        all.push(SharedNumber {
            name: law.name(),
            value: weight,
            sd: 0.0,
            prior: believed,
            prior_sd: 0.0,
            unit: "weight",
        });
    }
    all
}
