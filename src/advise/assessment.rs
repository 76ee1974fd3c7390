//! The finished assessment: the contract's JSON, and beside it every series
//! that a page draws.

use std::collections::BTreeMap;

use crate::calendar::Date;
use serde::Serialize;

// The finished assessment is all that a page reads, so what it is made of is named here too.
pub use super::alarm::{AlarmKind, AlarmLevel};
#[cfg(test)]
pub use super::money::Spent;
pub use super::money::{Expected, Money, MonthSpent, PartYears, SpentIn, VanExpected};
pub use super::plan::bottle::Bottle;
pub use super::plan::membrane::MembraneMoney;
pub use super::plan::parts::MonthOfParts;
pub use super::plan::{CostPer1000Litres, Early};
pub use super::prices::{KnownPrices, LOST_DAY_PER_MEMBRANE};
pub use crate::fit::{Band, Explained, LifeDot, Probe, SharedNumber, Span};
pub use crate::lives::{
    About, DistrictMonth, HardnessBasis, Item, MembraneTest, RecordsRemark, RowCounts, ServiceMark,
    WeekLitres,
};
pub use crate::settings::Limits;

/// What to think of a component today. First that holds, in the contract's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    Unknown,
    FailingEarly,
    Overdue,
    Due,
    Watch,
    OnCourse,
}

/// What to check first when a membrane alarms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Suspect {
    Membrane,
    Prefilter,
    Probe,
    Feed,
}

#[derive(Debug, Clone, Serialize)]
pub struct Assessment {
    pub schema: &'static str,
    pub as_of: Date,
    /// Day of the newest row that counts; forecasts begin there.
    pub records_end_on: Date,
    pub limits: Limits,
    pub vans: Vec<VanAssessment>,
    pub areas: Vec<AreaAssessment>,
    pub rows: RowCounts,
    /// Makes and batches of membranes compared, where services name them.
    pub parts: Vec<PartAssessment>,
    #[serde(skip)]
    pub fleet: FleetSeries,
    pub parts_to_order: Vec<MonthOfParts>,
    pub money: Money,
    /// Working days and crews.
    #[serde(skip)]
    pub work: crate::settings::Work,
    #[serde(skip)]
    pub ordering: Ordering,
    /// What a visit less is worth, in the prices that decide (typical ones where
    /// nobody gave any, so never to be shown).
    #[serde(skip)]
    pub saved_visit: f64,
    /// Days that a job is moved forward by at most to save a visit.
    #[serde(skip)]
    pub most_days_early: i32,
}

#[derive(Debug, Clone, Serialize)]
pub struct VanAssessment {
    pub van: String,
    pub postcode: Option<String>,
    pub hardness_mg_l_caco3: Option<f64>,
    pub hardness_basis: Option<HardnessBasis>,
    /// RO membranes that share the water; 0 = resin only.
    pub membranes: u32,
    /// DI resin in the vessel, L; 0 = none.
    pub resin_litres: f64,
    /// Product over tap water, from flows or reject litres; `None` where neither
    /// is on record.
    pub recovery: Option<f64>,
    pub membrane: MembraneAssessment,
    pub resin: ResinAssessment,
    pub prefilter: PrefilterAssessment,
    /// The meters that are read: tap, after the membrane, after the resin.
    pub meters: Vec<MeterAssessment>,
    #[serde(skip)]
    pub series: VanSeries,
    #[serde(skip)]
    pub explained: VanExplained,
    /// What to put right in this van's records.
    pub records: Vec<RecordsRemark>,
    /// Habits that shorten lives or cost water.
    pub habits: Vec<HabitRemark>,
}

#[derive(Debug, Clone, Serialize)]
pub struct MembraneAssessment {
    pub fitted_on: Option<Date>,
    pub litres_made: Option<f64>,
    pub salt_passage: Span<f64>,
    pub limit_on: Span<Date>,
    pub replace_on: Option<Date>,
    pub state: State,
    pub reason: String,
    pub suspect: Option<Suspect>,
    /// Whether a meter has to be looked at before this membrane is changed: then no job and
    /// no order to change it is made.
    pub check_meter_first: bool,
    /// What the rule of thumb would say.
    pub rule_of_thumb_on: Option<Date>,
    /// Usable readings on this element.
    pub readings: usize,
    /// The alarm of a membrane that fails early, raised or pending.
    pub alarm: Option<AlarmAssessment>,
    /// What is weighed; `None` unless prices are the fleet's own.
    pub costs: Option<MembraneMoney>,
    /// How long the next one is best kept on this van; `None` beyond ten years.
    pub next_one_days: Option<f64>,
    /// What doing it before the suggested day costs, as for all parts in the
    /// prices that decide: never to be shown.
    #[serde(skip)]
    pub early: Vec<Early>,
}

/// What is thought of one meter.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeterAssessment {
    pub probe: Probe,
    /// What it reads over what is true: 1 is right.
    pub off_by: Span<f64>,
    /// Probability that it is off by more than a tenth.
    pub doubt: f64,
    /// Since when, where something began.
    pub since: Option<Date>,
    pub why: String,
}

/// An alarm with what is behind it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlarmAssessment {
    pub level: AlarmLevel,
    pub kind: AlarmKind,
    /// The reading at which it was first raised, or became pending.
    pub since: Date,
    /// That it is failing early, whatever the cause but a meter.
    pub probability: f64,
    /// The step, where it is one: its day and salt passage after over before.
    pub step_on: Option<Date>,
    pub step_ratio: Option<f64>,
    /// How fast it declines against what is usual in its water.
    pub pace: f64,
    /// Probability of a decline faster than that of 95 % of membranes in its water.
    pub p_faster_than_95: f64,
    /// All four, the likeliest first; probabilities sum to 1.
    pub causes: Vec<CauseAssessment>,
}

/// A possible cause, what speaks for it and what to look at first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CauseAssessment {
    pub suspect: Suspect,
    pub probability: f64,
    pub facts: Vec<String>,
    pub check_first: &'static str,
}

/// A habit that shortens lives or costs water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Habit {
    FlushForgotten,
    PrefiltersLate,
    ValveTooTight,
    ValveTooOpen,
    StandStill,
}

/// What a habit does to this van.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HabitRemark {
    pub habit: Habit,
    pub text: String,
}

/// How long membranes of one make or batch last on these vans.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartAssessment {
    pub part: String,
    /// Membranes of it with readings that tell.
    pub membranes: usize,
    /// Life over what is typical in the same water.
    pub life_over_typical: Span<f64>,
}

#[derive(Debug, Clone, Serialize)]
pub struct ResinAssessment {
    pub changed_on: Option<Date>,
    pub litres_treated: Option<f64>,
    pub litres_left: Span<f64>,
    pub limit_on: Span<Date>,
    pub replace_on: Option<Date>,
    pub state: State,
    pub reason: String,
    /// The bottle that suits this van's round; `None` where it cannot be told.
    pub best_bottle: Option<Bottle>,
    #[serde(skip)]
    pub early: Vec<Early>,
}

#[derive(Debug, Clone, Serialize)]
pub struct PrefilterAssessment {
    pub changed_on: Option<Date>,
    pub replace_on: Option<Date>,
    pub state: State,
    pub reason: String,
    /// The two days of which the first counts.
    pub by_chlorine_on: Option<Date>,
    pub by_days_on: Option<Date>,
    /// What a week beyond its chlorine capacity does to the membrane.
    pub week_late: Option<WeekLate>,
    #[serde(skip)]
    pub early: Vec<Early>,
}

/// A week behind spent pre-filters.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WeekLate {
    /// Days of the membrane's life that it costs on top of the week itself.
    pub membrane_days: f64,
    /// The same in money; `None` unless prices are the fleet's own.
    pub cost: Option<f64>,
}

#[derive(Debug, Clone, Serialize)]
pub struct AreaAssessment {
    pub postcode: String,
    pub hardness_mg_l_caco3: Option<f64>,
    pub vans: usize,
    /// Of its median van; `None` without fills.
    pub litres_per_week: Option<f64>,
    pub membrane_life_litres: Span<f64>,
    pub membrane_life_days: Span<f64>,
    pub resin_life_litres: Span<f64>,
    pub suggested: Suggested,
    pub saving_per_van_year: Option<f64>,
    /// The expected saving's span over what the fleet's shared numbers leave open.
    pub saving_span: Span<f64>,
    /// What 1000 L of pure water cost under the suggestion and under the rule of
    /// thumb; `None` unless prices are the fleet's own.
    pub cost_per_1000_litres: Option<CostPer1000Litres>,
    pub rule_cost_per_1000_litres: Option<CostPer1000Litres>,
    /// Litres of water that a litre of resin treats until the limit.
    pub litres_per_litre_of_resin: Span<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Suggested {
    pub membrane_days: Option<f64>,
    pub resin_litres: Option<f64>,
    pub prefilter_days: Option<f64>,
}

/// The few numbers that drove a van's forecasts; empty where nothing is told.
#[derive(Debug, Clone, Default, Serialize)]
pub struct VanExplained {
    pub membrane: Vec<Explained>,
    pub resin: Vec<Explained>,
}

/// How parts are ordered.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ordering {
    /// From ordering a part to having it, days.
    pub order_days: i32,
    pub resin_bag_litres: f64,
    /// On the shelf: pieces, or litres of resin, by kind of part or by make.
    pub stock: BTreeMap<String, f64>,
}

/// What is fitted on a van.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fitted {
    /// How many membranes share the water.
    pub membranes: u32,
    /// DI vessel, L.
    pub resin_litres: f64,
    /// Make and size as the last service that named it did.
    pub membrane: Option<String>,
    pub resin: Option<String>,
    pub prefilter: Option<String>,
}

impl Fitted {
    /// What changing it takes: membranes, litres of resin or sets; and its make.
    pub fn takes(&self, item: Item) -> (f64, Option<String>) {
        match item {
            Item::Membrane => (f64::from(self.membranes.max(1)), self.membrane.clone()),
            Item::Resin => (self.resin_litres, self.resin.clone()),
            Item::Prefilter => (1.0, self.prefilter.clone()),
            Item::Flush | Item::Probe | Item::Tank => (0.0, None),
        }
    }
}

/// What a van's page draws. Lists are oldest first and may be empty; all but the
/// weeks are where nothing will be drawn.
#[derive(Debug, Clone, Default)]
pub struct VanSeries {
    /// Whether the van has a membrane / resin at all.
    pub has_membrane: bool,
    pub has_resin: bool,
    pub fitted: Fitted,
    /// Salt passage read (at 25 °C), all elements: day and fraction.
    pub salt_passage: Vec<(Date, f64)>,
    /// Fit and forecast of the element in use.
    pub salt_passage_path: Vec<Band<Date>>,
    /// Product water read: day and ppm.
    pub product_ppm: Vec<(Date, f64)>,
    pub product_path: Vec<Band<Date>>,
    /// Feed read: day and ppm.
    pub feed_ppm: Vec<(Date, f64)>,
    pub weeks: Vec<WeekLitres>,
    pub services: Vec<ServiceMark>,
    pub remarks: Vec<RecordsRemark>,
    pub last_reading_on: Option<Date>,
    /// Tests of the membrane in use, bare: the first few and the newest.
    pub membrane_tests: Vec<MembraneTest>,
    pub litres_per_week: Option<f64>,
    /// What usual membranes of its water let through after as many litres, at
    /// each reading of the membrane in use.
    pub usual_passage: Vec<Band<Date>>,
}

/// What the fleet and district pages draw.
#[derive(Debug, Clone, Default)]
pub struct FleetSeries {
    pub currency: Option<String>,
    pub membrane_dots: Vec<LifeDot>,
    pub resin_dots: Vec<LifeDot>,
    pub membrane_life_by_hardness: Vec<Band<f64>>,
    pub resin_life_by_hardness: Vec<Band<f64>>,
    pub shared: Vec<SharedNumber>,
    pub remarks: Vec<String>,
    /// Months and vans of which the records lack something, in words.
    pub missing: Vec<String>,
    /// The rule of thumb in the settings, for the comparison columns.
    pub rule_membrane_months: f64,
    pub rule_prefilter_weeks: f64,
}
