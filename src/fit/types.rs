//! What fitting gives: the fleet's shared numbers and each van's forecasts.

use std::sync::Arc;

use crate::calendar::Date;

use super::horizon::nearest_of;
pub use super::membrane::{Trajectory, TrajectorySums};
pub use super::usage::UseAhead;

/// Three quantiles of one predictive distribution; a quantile beyond the
/// horizon (never, or more than ten years ahead) is `None`.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Span<T> {
    pub p10: Option<T>,
    pub p50: Option<T>,
    pub p90: Option<T>,
}

impl<T> Span<T> {
    /// Nothing can be told.
    pub const fn unknown() -> Span<T> {
        Span {
            p10: None,
            p50: None,
            p90: None,
        }
    }

    /// The same quantiles, each put through `f`.
    pub fn map<U>(self, mut f: impl FnMut(T) -> U) -> Span<U> {
        Span {
            p10: self.p10.map(&mut f),
            p50: self.p50.map(&mut f),
            p90: self.p90.map(f),
        }
    }
}

/// Why something cannot be told. `advise` turns it into a sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CannotTell {
    /// The van has no membrane, or no resin.
    NotFitted,
    /// Feed and permeate were never read together on this element.
    NoSaltPassage,
    /// No product reading and no way to know what the resin has taken.
    NoProductReading,
    /// Litres cannot be counted: no fills recorded since that day, or ever.
    NoFillsSince(Option<Date>),
    /// Nothing tells how hard the water is.
    NoHardness,
}

/// A band at one position of an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band<X> {
    pub x: X,
    pub p10: f64,
    pub p50: f64,
    pub p90: f64,
}

/// Equally likely days (as days since the as-of day, may be negative; infinite
/// means never) on which an element's salt passage reaches the limit, sorted.
#[derive(Debug, Clone, PartialEq)]
pub struct DayDraws(pub Vec<f64>);

/// What is forecast for the element in use on a van.
#[derive(Debug, Clone)]
pub struct MembraneForecast {
    /// Salt passage now, a fraction at 25 °C, noise-free.
    pub salt_passage: Span<f64>,
    /// The day the limit is reached if the element stays in.
    pub limit_on: Span<Date>,
    pub limit_draws: DayDraws,
    /// Salt passage over time, past fit and forecast, weekly to monthly steps.
    pub path: Vec<Band<Date>>,
    /// Usable readings on this element.
    pub readings: usize,
    /// Expected mains-fed litres a week from now on.
    pub litres_per_week: f64,
    /// `ln` salt passage now (median), its growth per litre from here (median),
    /// for the cost search.
    pub ln_now: f64,
    pub growth_per_litre: f64,
    /// The few numbers that drove it.
    pub explained: Vec<Explained>,
    /// How it does beside usual ones.
    pub compared: Compared,
    /// How likely it is to fall short of what is usual, as could be told after some of
    /// its readings, the newest last.
    pub short: Vec<Short>,
    /// Equally likely courses from here, and the use that turns litres into days.
    pub trajectories: Vec<Trajectory>,
    pub use_ahead: UseAhead,
}

/// How likely an element is to last less than 60 % of what is usual in its water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Short {
    /// After the readings of that day.
    pub date: Date,
    pub probability: f64,
    /// Of this, the share in which fresh pre-filters would have kept it from that.
    pub by_lateness: f64,
}

/// An element beside usual ones of its water.
#[derive(Debug, Clone, Default)]
pub struct Compared {
    /// What usual ones let through after as many litres, at each usable reading.
    pub path: Vec<Band<Date>>,
    /// Its pace of decline over the usual one.
    pub pace: f64,
    /// Probability of a pace above that of 95 % of elements in its water.
    pub p_faster_than_95: f64,
}

/// What is forecast for the resin charge in use on a van.
#[derive(Debug, Clone)]
pub struct ResinForecast {
    pub litres_left: Span<f64>,
    pub limit_on: Span<Date>,
    pub limit_draws: DayDraws,
    /// Product water over time, past fit and forecast.
    pub path: Vec<Band<Date>>,
    pub litres_per_week: f64,
    /// What enters the resin now, ppm; below the limit, spent resin cannot take
    /// product water over it.
    pub permeate_ppm: f64,
    /// The few numbers that drove it.
    pub explained: Vec<Explained>,
}

/// One of the few numbers that drove a forecast, with what it would be for a
/// usual part in the same water.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Explained {
    pub name: &'static str,
    pub unit: &'static str,
    pub p10: f64,
    pub p50: f64,
    pub p90: f64,
    pub usual: Option<f64>,
}

impl Explained {
    /// From equally likely values, in any order.
    pub fn of(
        name: &'static str,
        unit: &'static str,
        values: impl Iterator<Item = f64>,
        usual: Option<f64>,
    ) -> Option<Explained> {
        let [p10, p50, p90] = nearest_of(values.filter(|v| v.is_finite()), [0.1, 0.5, 0.9])?;
        Some(Explained {
            name,
            unit,
            p10,
            p50,
            p90,
            usual,
        })
    }

    /// A number that is simply known.
    pub fn known(name: &'static str, unit: &'static str, value: f64) -> Explained {
        Explained {
            name,
            unit,
            p10: value,
            p50: value,
            p90: value,
            usual: None,
        }
    }
}

/// What is taken to be otherwise for a van from now on, beside what its lives say.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Assumptions {
    /// The hardness that wears its membranes now, and the one from now on.
    pub hardness: Option<(f64, f64)>,
    /// Added to `ln` salt passage.
    pub ln_passage: f64,
}

/// One van's forecasts.
#[derive(Debug, Clone)]
pub struct VanFit {
    pub van: Arc<str>,
    /// Salt passage at 25 °C of every usable reading, under the fleet's most
    /// probable numbers, oldest first.
    pub readings_at_25: Vec<(Date, f64)>,
    pub membrane: Result<MembraneForecast, CannotTell>,
    /// What its readings tell of its meters.
    pub meters: Arc<super::VanMeters>,
    pub resin: Result<ResinForecast, CannotTell>,
}

/// Lives of the next new element or charge in a district, on its median van.
#[derive(Debug, Clone)]
pub struct AreaFit {
    pub district: Arc<str>,
    pub vans: usize,
    pub hardness_mg_l_caco3: Option<f64>,
    pub litres_per_week: Option<f64>,
    pub membrane_life_litres: Span<f64>,
    pub membrane_life_days: Span<f64>,
    pub resin_life_litres: Span<f64>,
    /// Equally likely lives in litres, sorted, infinite where never; for costs.
    pub membrane_life_draws: Vec<f64>,
    pub resin_life_draws: Vec<f64>,
    /// Median vessel, L.
    pub resin_litres: Option<f64>,
    /// Courses of the next new membrane, in the order of the shared numbers' draws.
    pub next_membranes: Vec<Trajectory>,
    /// Lives of the next charge, litres, in the order of the resin's shared draws,
    /// the same number for each; and how many draws there are.
    pub next_charges: Vec<f64>,
    pub shared_draws: usize,
    pub resin_use: ResinUse,
    /// Membranes that share the water on the median van with any.
    pub membranes: f64,
}

/// What water takes from resin, as fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResinUse {
    /// What a litre of resin takes up to the limit, meq.
    pub capacity_meq_per_litre: f64,
    /// Share of the usual carbon dioxide that counts.
    pub co2_share: f64,
}

impl ResinUse {
    /// Litres of resin that a litre of water uses up.
    pub fn litres_per_litre(&self, entering_ppm: f64, hardness_mg_l_caco3: f64) -> f64 {
        let gas = self.co2_share * crate::water::co2_prior_median_mmol_l(hardness_mg_l_caco3);
        (crate::water::KAPPA_MEQ_PER_PPM * entering_ppm + gas) / self.capacity_meq_per_litre
    }
}

/// A life as a dot on the life-against-hardness chart.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeDot {
    pub van: Arc<str>,
    pub hardness_mg_l_caco3: f64,
    /// Litres at which the limit was or is expected to be reached (p50).
    pub litres: f64,
    /// Whether the limit was seen in the data rather than forecast.
    pub seen: bool,
}

/// The fleet's shared numbers, in the form in which they are explained.
#[derive(Debug, Clone, PartialEq)]
pub struct SharedNumber {
    pub name: &'static str,
    pub value: f64,
    pub sd: f64,
    /// What was assumed before any data.
    pub prior: f64,
    pub prior_sd: f64,
    pub unit: &'static str,
}

/// Membrane or resin.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    Membrane,
    Resin,
}

/// What became of an element or a charge, seen from the end of the records.
#[derive(Debug, Clone, PartialEq)]
pub struct PartOutcome {
    pub van: Arc<str>,
    pub part: Part,
    /// Day it was fitted; `None` if before the records.
    pub began: Option<Date>,
    /// First day on which it was there, and the day of its last reading.
    pub seen_from: Date,
    pub until: Date,
    /// The day the limit was reached; `None`: not up to `until`.
    pub reached_on: Option<Date>,
}

/// How long membranes of one make or batch last.
#[derive(Debug, Clone, PartialEq)]
pub struct PartLife {
    pub part: Arc<str>,
    /// Elements whose readings tell.
    pub membranes: usize,
    /// Life over what is typical in the same water.
    pub life_over_typical: Span<f64>,
}

/// What holds in the whole fleet where nothing nearer tells more.
#[derive(Debug, Clone)]
pub struct FleetWide {
    /// Extra wear of a litre made behind overdue pre-filters, as learnt here.
    pub late_wear: SharedNumber,
    pub resin_use: ResinUse,
}

/// What fitting tells of the fleet as a whole.
#[derive(Debug, Clone)]
pub struct FleetFindings {
    /// One per district with a van based in it, in order of name.
    pub areas: Vec<AreaFit>,
    pub wide: FleetWide,
    pub shared: Vec<SharedNumber>,
    /// Lives by what the services call the make or batch.
    pub parts: Vec<PartLife>,
    pub membrane_dots: Vec<LifeDot>,
    pub resin_dots: Vec<LifeDot>,
    /// Life of a new element / charge (litres) against hardness, with its spread.
    pub membrane_life_by_hardness: Vec<Band<f64>>,
    pub resin_life_by_hardness: Vec<Band<f64>>,
    /// What did not converge and what was done instead; empty when all is well.
    pub remarks: Vec<String>,
}

/// Everything that fitting gives.
#[derive(Debug, Clone)]
pub struct FleetFit {
    /// As in `FleetLives::vans`, same order.
    pub vans: Vec<VanFit>,
    pub fleet: FleetFindings,
}
