//! What the fleet's elements share: laws that compete, and ways to look ahead under them.

use super::fleet::{self, Laws, Numbers};
use super::forecast::DRAWS_EACH;
use super::law::{Law, PACE, START};
use super::observations::ElementObservations;
use crate::fit::SharedNumber;
use crate::stats::random::{Rng, mirrored_normals};
use crate::stats::special::normal_quantile;

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
/// Draws of an element in all.
pub const DRAWS: usize = OUTLOOKS * DRAWS_EACH;

/// The fitted shared numbers.
#[derive(Debug, Clone)]
pub struct SharedFit {
    pub laws: Laws,
    /// In order of laws, each as often as it weighs.
    pub outlooks: Vec<Outlook>,
    /// Exposure that a usual element lasts under each of the laws that count.
    pub usual_exposures: Vec<f64>,
    /// Share of litres that is usually made behind late pre-filters.
    pub usual_late_share: f64,
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
        &self.laws.likeliest
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
pub fn fit_shared(elements: &[(usize, &ElementObservations)]) -> SharedFit {
    let laws = fleet::learn(elements);
    let outlooks = outlooks(&laws);
    let explained = explain(&laws);
    SharedFit {
        sways: mirrored_normals(
            &mut Rng::for_part(3, "path ahead"),
            outlooks.len(),
            DRAWS_EACH,
        ),
        outlooks,
        usual_exposures: Vec::new(),
        usual_late_share: 0.0,
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
    let n = &laws.likeliest;
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
