//! What a van's history looks like once it is cut into lives.

use std::sync::Arc;

use crate::calendar::Date;
use smallvec::SmallVec;

use super::completeness::Gap;
use super::season::TapSeason;
use super::valve::ValveSeen;

pub use crate::store::records::{Fleet, Instant, Item, RowCounts};

/// How a hardness value came about.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum HardnessBasis {
    /// From the supplier's table.
    Table,
    /// From the feed readings.
    Estimated,
    /// The fleet's median, for want of anything else.
    Assumed,
}

/// Hardness of one place on one day.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct HardnessAt {
    pub mg_l_caco3: f64,
    pub basis: HardnessBasis,
}

/// How the start of a life is known.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub enum Start {
    /// A service row says so.
    Recorded,
    /// The readings recovered without a service row: looks replaced, not recorded.
    Inferred,
    /// In use before the first row; the true start is unknown.
    BeforeRecords,
}

/// How a life ended.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub enum End {
    /// Still in use on the as-of day.
    InUse,
    /// Taken out on that day.
    Replaced(Date),
}

/// Litres by hardness level: most vans know one water or two, and every reading
/// has them.
pub type LitresByLevel = SmallVec<[f64; 2]>;

/// One look at salt passage, already brought to 25 °C and to the van's present
/// usual pressure and recovery as far as the reading allows.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PassagePoint {
    pub at: Instant,
    #[serde(with = "super::laid::day")]
    pub date: Date,
    /// Salt passage as read, a fraction (permeate over feed).
    pub raw: f64,
    /// Salt passage at 25 °C, a fraction, at the prior mean of the temperature
    /// coefficient, `theta` = [`crate::water::THETA_MEAN_PER_C`] per °C.
    pub salt_passage: f64,
    /// Left-over standard deviation of `ln salt_passage` for this reading
    /// alone: probe, rounding, temperature and pressure not known.
    pub sd_ln: f64,
    /// Degrees below 25 °C through which `theta` acted. With another `theta`:
    /// `ln SP25 = ln salt_passage + (theta − THETA_MEAN_PER_C)·theta_lever`
    /// (exact below 10 % salt passage, on the odds above). Not 0 where flow or
    /// pressure served: they take out excursions of pressure, not `theta`.
    pub theta_lever: f64,
    /// Mains-fed litres made by this element up to here, by hardness level
    /// (see [`ElementLife::hardness_levels`]); same length as that.
    pub litres_by_level: LitresByLevel,
    /// Mains-fed litres made while the pre-filters were overdue, up to here.
    pub late_litres: f64,
    /// Whether the van stood at its base.
    pub at_base: bool,
    pub feed_ppm: f64,
    pub permeate_ppm: f64,
    /// After the resin, where read with them.
    pub product_ppm: Option<f64>,
    /// Changes where the base moves or a probe is worked on: readings from both
    /// sides do not compare.
    pub regime: u32,
    /// Litres a minute that the membrane made, as they would be at 25 °C, where
    /// a flow was read or the fill was timed.
    pub flow_lpm_25: Option<f64>,
    /// Pressure at the tap, where read.
    pub feed_bar: Option<f64>,
}

/// Standard deviation of what rounding to whole ppm leaves open.
pub const ROUNDING_PPM: f64 = 0.29;

/// Whether a meter shows whole ppm: most of these readings are (two of one time make a
/// mean of two, and of those that show tenths one in ten is whole).
pub fn in_whole_ppm<'a>(points: impl IntoIterator<Item = &'a PassagePoint>) -> bool {
    let (mut whole, mut tenths) = (0, 0);
    for point in points {
        match point.permeate_ppm.fract() == 0.0 || point.permeate_ppm < 0.5 {
            true => whole += 1,
            false => tenths += 1,
        }
    }
    whole > tenths
}

/// Tap and membrane TDS read together, with whatever else was read then: the
/// bare readings that a warranty claim needs.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct MembraneTest {
    #[serde(with = "super::laid::day")]
    pub date: Date,
    pub feed_ppm: f64,
    pub permeate_ppm: f64,
    pub water_c: Option<f64>,
    pub feed_bar: Option<f64>,
    pub permeate_lpm: Option<f64>,
    pub concentrate_lpm: Option<f64>,
}

/// A membrane element (or the set that shares the water) from fitting on.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ElementLife {
    /// Recorded or inferred day of fitting; `None` if before the records.
    pub fitted_on: Option<Date>,
    pub start: Start,
    pub end: End,
    pub part: Option<Arc<str>>,
    /// First day with any row of this life, for elements fitted before the records.
    pub seen_from: Date,
    /// Distinct hardness values of the water drunk (rounded to 5 % steps), mg/L CaCO3.
    pub hardness_levels: Vec<f64>,
    /// Mains-fed litres of the whole life up to its end or the as-of day, by level.
    pub litres_by_level: Vec<f64>,
    pub late_litres: f64,
    /// Total of `litres_by_level`: since fitting, or since the first row for one
    /// fitted before the records. `None` where fills are not recorded, begin
    /// long after fitting, or stop long before the last reading.
    pub litres_made: Option<f64>,
    /// Oldest first; may be empty.
    pub points: Vec<PassagePoint>,
}

/// One look at product water.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ProductPoint {
    pub at: Instant,
    #[serde(with = "super::laid::day")]
    pub date: Date,
    pub product_ppm: f64,
    /// What entered the resin then, ppm: read, or interpolated from its
    /// neighbours; `None` where unknown.
    pub permeate_ppm: Option<f64>,
    /// Mains-fed litres this charge has treated up to here.
    pub litres: f64,
    /// `∫ permeate ppm dV` up to here, ppm·L.
    pub ppm_litres: f64,
}

/// A resin charge from its change on.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ChargeLife {
    pub changed_on: Option<Date>,
    pub start: Start,
    pub end: End,
    pub part: Option<Arc<str>>,
    pub seen_from: Date,
    /// Resin in the charge, L: the service's quantity where it is about what the
    /// vessel takes, else the vessel; top-ups added.
    pub resin_litres: f64,
    /// Whether `resin_litres` is known for this van rather than assumed.
    pub resin_litres_known: bool,
    /// Mains-fed litres treated up to its end or the as-of day; `None` as for
    /// [`ElementLife::litres_made`].
    pub litres_treated: Option<f64>,
    /// `∫ permeate ppm dV` over the life, ppm·L; 0 where what entered the resin
    /// was never read (then the points' `permeate_ppm` are `None` too).
    pub ppm_litres: f64,
    /// Litre-weighted hardness of the water over this life, mg/L CaCO3.
    pub hardness_mg_l_caco3: f64,
    /// District in which most of the litres were filled.
    pub district: Option<Arc<str>>,
    /// Oldest first; may be empty.
    pub points: Vec<ProductPoint>,
}

/// A set of pre-filters from its change on.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PrefilterLife {
    pub changed_on: Option<Date>,
    pub end: End,
    /// Mains-fed product litres made through it so far; `None` where fills are not recorded.
    pub litres_made: Option<f64>,
}

/// A service event, for the page and for the reasons.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct ServiceMark {
    pub date: Date,
    pub item: Item,
    pub quantity: Option<f64>,
    pub cost: Option<f64>,
    pub part: Option<Arc<str>>,
    pub note: Option<Arc<str>>,
    /// Inserted because the readings recovered without a row.
    pub inferred: bool,
}

/// Mains-fed litres of one week.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct WeekLitres {
    /// The Monday it begins.
    #[serde(with = "super::laid::day")]
    pub monday: Date,
    pub litres: f64,
}

/// What a remark on records is about.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// Meters and probes that show what cannot be.
    Probe,
    /// Changes that look done and are not written down, or the reverse.
    Services,
    /// Litres that are missing or do not add up.
    Litres,
    /// Nothing was written down for weeks.
    Silence,
    /// How hard the water is.
    Hardness,
    /// The list of vans.
    Van,
    /// What was written beside a reading: nothing to put right.
    Note,
}

/// Something about this van's records that a person should put right, or wrote there.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
pub struct RecordsRemark {
    pub date: Option<Date>,
    pub about: About,
    pub text: String,
}

/// One van, cut into lives, as of a day.
#[derive(Debug, Clone, serde::Serialize, serde::Deserialize)]
pub struct VanLives {
    pub van: Arc<str>,
    /// The base's postcode district on the as-of day (`QA3`), `None` if unknown.
    pub district: Option<Arc<str>>,
    /// Since when it has been based there; `None` where it always was.
    pub based_since: Option<Date>,
    /// Hardness at the base on the as-of day; `None` only if nothing in the fleet tells.
    pub hardness: Option<HardnessAt>,
    /// How many membranes share the water; 0 = resin only.
    pub membranes: u32,
    /// Vessel, L; 0 = no resin.
    pub resin_litres: f64,
    pub tank_litres: Option<f64>,
    pub in_service_on: Option<Date>,
    /// Median recovery from flows or reject litres; `None` where nothing tells.
    pub recovery: Option<f64>,
    /// What tells a fixed reject valve from recovery held; `None` where nothing does.
    pub valve: Option<ValveSeen>,
    /// How warm the tap at the base is over the year.
    pub tap_season: TapSeason,
    /// Median feed at the base, ppm, of the last half year; where it has just moved, what
    /// is known of the tap there. `None` if nothing tells.
    pub feed_ppm: Option<f64>,
    /// Oldest first; the last one is in use unless the van has no membrane. May be empty.
    pub elements: Vec<ElementLife>,
    pub charges: Vec<ChargeLife>,
    pub prefilters: Vec<PrefilterLife>,
    /// Oldest first, without gaps: weeks without fills have 0 litres. The last
    /// one, in which records end, may be incomplete.
    pub weeks: Vec<WeekLitres>,
    /// Day of the first and of the last fill; `None` without fills.
    pub fills_between: Option<(Date, Date)>,
    pub last_reading_on: Option<Date>,
    /// Of the membrane in use: the first few and the newest, oldest first.
    pub membrane_tests: Vec<MembraneTest>,
    /// All service events up to the as-of day, oldest first, inferred ones included.
    pub services: Vec<ServiceMark>,
    pub remarks: Vec<RecordsRemark>,
}

/// The whole fleet, cut into lives, as of a day.
#[derive(Debug, Clone)]
pub struct FleetLives {
    /// The day of the assessment: who is in service, what is overdue.
    pub as_of: Date,
    /// Day of the newest row that counts, at most `as_of`: where records end
    /// and forecasts begin, so that dates move with new rows only.
    pub until: Date,
    /// Vans in service on the as-of day, in order of name.
    pub vans: Vec<VanLives>,
    /// Vans no longer in service: their finished lives still teach.
    pub retired: Vec<VanLives>,
    pub rows: RowCounts,
    /// Months and vans of which the records lack something.
    pub missing: Vec<Gap>,
}

/// What holds for a whole cut fleet, as in [`FleetLives`].
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    pub as_of: Date,
    pub until: Date,
    pub rows: RowCounts,
}

/// A fleet cut into lives, wherever they lie: in memory ([`FleetLives`]) or laid
/// down ([`super::LaidLives`]). Vans have numbers: those in service in order of
/// name, then the retired ones.
pub trait Cut: Sync {
    type Error: Send;
    /// Whether looking at a van again costs nothing.
    const HELD: bool;

    fn frame(&self) -> Frame;
    /// As in [`FleetLives`].
    fn missing(&self) -> &[Gap];
    /// How many vans are in service, and how many there are with the retired ones.
    fn in_service(&self) -> usize;
    fn vans(&self) -> usize;

    /// Looks at each of these vans, several at once; what was seen comes back in
    /// the order of `which`.
    ///
    /// # Errors
    /// Where lives cannot be read back.
    fn each<T: Send>(
        &self,
        which: &[usize],
        observation: impl Fn(usize, &VanLives) -> T + Sync,
    ) -> Result<Vec<T>, Self::Error>;
}
