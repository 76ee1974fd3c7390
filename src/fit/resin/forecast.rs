//! How many litres the charge in use can still polish, with the membrane's own
//! decline ahead of it.

use crate::calendar::{Date, DateExt};

use super::capacity::draw_capacities;
use super::charge::ChargeObservations;
use super::entering::PermeateAhead;
use super::follow::{ChargeAhead, Future, Left, PATH_DAYS, PATH_STEPS};
use super::shared::{ResinFit, VanCharges};
use crate::fit::horizon::{HORIZON_DAYS, Spreading, day_span, sort, span_of, span_of_sorted};
use crate::fit::usage::{Season, Usage};
use crate::fit::{Band, DayDraws, Explained, ResinForecast};
use crate::stats::random::{Rng, even_normals};

/// Draws for each draw of the shared numbers. They are spread evenly over what
/// is unsure, so that few serve.
pub const DRAWS_EACH: usize = 20;
/// How far ahead a van's rate is taken, years.
const RATE_YEARS: f64 = 0.3;

/// The charge in use, and what its future hangs on.
pub struct Running<'a> {
    pub charge: &'a ChargeObservations,
    pub permeate: &'a PermeateAhead,
    pub usage: &'a Usage,
    pub limit_ppm: f64,
    /// Where the records end and the future begins.
    pub as_of: Date,
    pub changed_on: Option<Date>,
    /// Hardness of the water from now on, mg/L CaCO3.
    pub hardness_ahead: f64,
    /// The van's charges, this one last. Its name seeds the draws: keeps vans
    /// independent of each other's presence.
    pub van: VanCharges<'a>,
}

/// No charge is foretold more than so many times the longest of the van's earlier
/// ones, unless its own readings show why.
const MOST_TIMES_LONGEST: f64 = 4.0;

/// What the litres left of a charge have to keep to.
struct Bounds {
    most: f64,
    /// It was read below the limit, and nothing since bears out that it is reached.
    is_not_reached: bool,
    litres_per_day: f64,
}

impl Bounds {
    fn of(
        charge: &ChargeObservations,
        van: VanCharges<'_>,
        litres_per_day: f64,
        limit_ppm: f64,
    ) -> Bounds {
        let earlier = || van.charges.iter().filter(|c| !std::ptr::eq(*c, charge));
        let below = |c: &ChargeObservations| c.permeate_ppm.is_some_and(|ppm| ppm < limit_ppm);
        // What enters reads below the limit, and never before did more leave than entered.
        let shows_why = charge.readings > 0
            && below(charge)
            && !earlier().any(|c| c.crossing.is_some() && below(c));
        let lasted = earlier()
            .filter(|c| c.counted())
            .map(|c| c.litres / c.resin_litres * charge.resin_litres)
            .fold(0.0, f64::max);
        let most = MOST_TIMES_LONGEST * lasted - charge.litres;
        let read_below = charge.product_ppm.is_some_and(|ppm| ppm < limit_ppm);
        let made_since = charge.litres_since_reading > litres_per_day;
        let as_earlier_ones = earlier().any(|c| c.counted() && c.litres <= charge.litres);
        Bounds {
            is_not_reached: read_below && !(made_since && as_earlier_ones),
            most: if lasted > 0.0 && !shows_why {
                most.max(0.5 * lasted)
            } else {
                f64::INFINITY
            },
            litres_per_day,
        }
    }

    fn within(&self, left: Left) -> Left {
        let bound = |litres: f64| Left {
            litres,
            days: litres / self.litres_per_day.max(1e-9),
        };
        if left.litres > self.most {
            bound(self.most)
        } else {
            left
        }
    }
}

/// Forecasts the charge in use.
pub fn forecast(fit: &ResinFit, running: &Running<'_>) -> ResinForecast {
    let Running {
        charge,
        permeate,
        usage,
        limit_ppm,
        as_of,
        changed_on,
        hardness_ahead,
        van,
    } = *running;
    let mut rng = Rng::for_part(6, van.van);
    let n = fit.draws.len() * DRAWS_EACH;
    let drawn = draw_capacities(fit, charge, Some(van), limit_ppm, DRAWS_EACH, &mut rng);
    let shares = || fit.draws.iter().map(|d| d.reading.co2_share);
    let each_share = || shares().flat_map(|s| std::iter::repeat_n(s, DRAWS_EACH));
    let uses = rng.shuffled(even_normals(n));
    let futures: Vec<Future> = drawn
        .iter()
        .zip(each_share())
        .zip(uses)
        .map(|((&drawn, share), z)| Future {
            drawn,
            share,
            litres_per_day: usage.litres_per_day() * usage.drawn_factor(z, RATE_YEARS),
        })
        .collect();
    let ahead = ChargeAhead {
        charge,
        hardness: hardness_ahead,
        permeate,
        season: &usage.season,
        day_of_year: f64::from(as_of.day_of_year()),
        limit_ppm,
        chance: &fit.chance,
        order: rng.shuffled((0..permeate.draws.len()).collect()),
    };
    let mut products: Vec<Vec<f64>> = (0..=PATH_STEPS).map(|_| Vec::with_capacity(n)).collect();
    let left = ahead.follow(&futures, &mut products);
    let bounds = Bounds::of(charge, van, usage.litres_per_day(), limit_ppm);
    let (mut litres, mut days): (Vec<f64>, Vec<f64>) = match &charge.crossing {
        Some(crossing) => {
            let (a, b) = crossing.between;
            let day = |d: Date| f64::from(d.days_since(as_of));
            let between = |i: usize| (i as f64 + 0.5) / n as f64 * (day(b) - day(a));
            (0..n).map(|i| (0.0, day(a) + between(i))).unzip()
        }
        None => {
            let (mut litres, mut days): (Vec<f64>, Vec<f64>) =
                left.iter().map(|l| (l.litres, l.days)).unzip();
            widen(&mut litres, fit.wider);
            widen(&mut days, fit.wider);
            let both = litres.into_iter().zip(days);
            both.map(|(litres, days)| bounds.within(Left { litres, days }))
                .map(|l| {
                    if l.days > HORIZON_DAYS {
                        (f64::INFINITY, f64::INFINITY)
                    } else {
                        (l.litres, l.days)
                    }
                })
                .unzip()
        }
    };
    let loads = shares().map(|share| charge.load_now(share));
    // Today's reading is the floor: the curve's foot lies below the plateau.
    let floor = charge.product_ppm.unwrap_or(0.0).min(limit_ppm);
    sort(&mut litres);
    sort(&mut days);
    if charge.crossing.is_none() && bounds.is_not_reached {
        // The lower part may have it so, the middle may not.
        let lower = 2 * n / 5;
        let least = bounds.litres_per_day;
        litres
            .iter_mut()
            .skip(lower)
            .for_each(|l| *l = l.max(least));
        days.iter_mut().skip(lower).for_each(|d| *d = d.max(1.0));
    }
    let path = products
        .into_iter()
        .enumerate()
        .filter_map(|(i, values)| {
            let day = PATH_DAYS * i as f64 / PATH_STEPS as f64;
            let span = span_of(values.into_iter().map(|v| v.max(floor)));
            let x = as_of.checked_plus_days(day as i64)?;
            Some(Band {
                x,
                p10: span.p10?,
                p50: span.p50?,
                p90: span.p90?,
            })
        })
        .collect();
    ResinForecast {
        litres_left: span_of_sorted(&litres),
        limit_on: day_span(&days, as_of, changed_on),
        limit_draws: DayDraws(days),
        path,
        litres_per_week: usage.litres_per_week,
        permeate_ppm: permeate.ppm_now,
        explained: [
            Some(Explained::known(
                "readings after the resin",
                "",
                charge.readings as f64,
            )),
            Some(Explained::known("resin", "L", charge.resin_litres)),
            Some(Explained::known("litres treated", "L", charge.litres)),
            Some(Explained::known(
                "water entering the resin now",
                "ppm",
                permeate.ppm_now,
            )),
            Explained::of("taken up so far", "meq per L of resin", loads, None),
            Explained::of(
                "can take up to the limit",
                "meq per L of resin",
                drawn.iter().map(|d| d.capacity),
                Some(fit.usual_capacity),
            ),
            Some(Explained::known(
                "share of carbon dioxide that counts",
                "",
                fit.usual_share,
            )),
            Some(Explained::known(
                "litres a week from now on",
                "L",
                usage.litres_per_week,
            )),
        ]
        .into_iter()
        .flatten()
        .collect(),
    }
}

/// Spreads what is ahead about its middle.
fn widen(ahead: &mut [f64], wider: f64) {
    let spreading = Spreading::about_middle(ahead.iter().copied(), wider);
    ahead.iter_mut().for_each(|a| *a = spreading.of(*a));
}

/// Lives, in litres, of the next charge (`charge` is fresh), in the order of the shared draws:
/// infinite where the limit is not reached within ten years at that use.
pub fn new_charge_lives(
    fit: &ResinFit,
    charge: &ChargeObservations,
    permeate: &PermeateAhead,
    litres_per_day: f64,
    limit_ppm: f64,
    seed_name: &str,
) -> Vec<f64> {
    let mut rng = Rng::for_part(7, seed_name);
    let drawn = draw_capacities(fit, charge, None, limit_ppm, DRAWS_EACH, &mut rng);
    let shares = fit.draws.iter().map(|d| d.reading.co2_share);
    let futures: Vec<Future> = drawn
        .into_iter()
        .zip(shares.flat_map(|s| std::iter::repeat_n(s, DRAWS_EACH)))
        .map(|(drawn, share)| Future {
            drawn,
            share,
            litres_per_day,
        })
        .collect();
    let ahead = ChargeAhead {
        charge,
        hardness: charge.hardness_mg_l_caco3,
        permeate,
        season: &Season::EVEN,
        day_of_year: 105.0,
        limit_ppm,
        chance: &fit.chance,
        order: rng.shuffled((0..permeate.draws.len()).collect()),
    };
    let left = ahead.follow(&futures, &mut []);
    let mut lives: Vec<f64> = left.into_iter().map(|l| l.litres).collect();
    widen(&mut lives, fit.wider);
    lives
}
