//! The whole fleet, cut into lives.

use crate::calendar::Date;
use rayon::prelude::*;

use super::completeness::{Coverage, Gap, missing_of};
use super::hardness_table::{HardnessTable, WaterSeen};
use super::history_as_of::HistoryAsOf;
use super::laid::{InTurnError, LaidLives, Laying, pack};
use super::litres::median_fill;
use super::median::median_of;
use super::season::{TapSeasons, TapSeen};
use super::sizes::Standing;
use super::types::{FleetLives, Frame, VanLives};
use super::van::{FleetContext, cut_van};
use super::vessel::known_litres;
use crate::settings::Settings;
use crate::store::VanChunks;
use crate::store::records::{Fleet, Hardness};

/// What the fleet lends to a van that does not tell.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct FleetAids {
    /// Median vessel, L.
    pub resin_litres: Option<f64>,
    /// Median of the vans' median fills, L.
    pub fill_litres: Option<f64>,
}

/// What one van tells the fleet.
struct Survey {
    water: WaterSeen,
    tap: TapSeen,
    resin_litres: Option<f64>,
    fill_litres: Option<f64>,
    last_row: Option<Date>,
    coverage: Coverage,
}

impl Survey {
    /// Nothing is dated between the fleet's newest row and the as-of day, so that
    /// what holds on the one holds on the other.
    fn of(seen: &HistoryAsOf<'_>, as_of: Date) -> Survey {
        Survey {
            water: seen.water(as_of),
            tap: TapSeen::of(seen),
            resin_litres: known_litres(seen, as_of),
            fill_litres: median_fill(seen.fills),
            last_row: seen.last_row,
            coverage: Coverage::of(
                seen.van,
                seen.readings.iter().map(|row| seen.days.date(row.taken_at)),
                seen.fill_dates.iter().copied(),
                match seen.standing {
                    Standing::Retired(out) => Some(out),
                    _ => None,
                },
            ),
        }
    }
}

/// What all vans together tell: cutting one asks no more of the others.
struct Surveyed<'a> {
    /// Of every van, in order of name.
    water: Vec<WaterSeen>,
    table: HardnessTable,
    seasons: TapSeasons,
    aids: FleetAids,
    missing: Vec<Gap>,
    as_of: Date,
    until: Date,
    settings: &'a Settings,
}

impl<'a> Surveyed<'a> {
    /// `surveys` in order of the vans' names.
    fn new(
        surveys: Vec<Survey>,
        hardness: &[Hardness],
        as_of: Date,
        settings: &'a Settings,
    ) -> Surveyed<'a> {
        // Records end here: a day without rows must not move any date.
        let until = surveys.iter().filter_map(|van| van.last_row).max();
        let until = until.unwrap_or(as_of);
        let aids = FleetAids {
            resin_litres: median_of(surveys.iter().filter_map(|survey| survey.resin_litres)),
            fill_litres: median_of(surveys.iter().filter_map(|survey| survey.fill_litres)),
        };
        let missing = missing_of(surveys.iter().map(|survey| &survey.coverage));
        let (water, taps): (Vec<WaterSeen>, Vec<TapSeen>) =
            surveys.into_iter().map(|van| (van.water, van.tap)).unzip();
        Surveyed {
            table: HardnessTable::new(hardness, &water, until),
            seasons: TapSeasons::of(&taps, &water),
            aids,
            missing,
            water,
            as_of,
            until,
            settings,
        }
    }

    fn context(&self) -> FleetContext<'_> {
        FleetContext {
            table: &self.table,
            seasons: &self.seasons,
            aids: &self.aids,
            as_of: self.as_of,
            until: self.until,
            settings: self.settings,
        }
    }
}

/// Cuts a van that was there by the as-of day, or wrote something down before it was.
fn cut_if_there(
    seen: &HistoryAsOf<'_>,
    water: &WaterSeen,
    context: &FleetContext<'_>,
) -> Option<VanLives> {
    let there = seen.standing != Standing::NotYet || seen.first_row.is_some();
    there.then(|| cut_van(seen, water, context))
}

/// Cuts every van's history into lives, as they could be seen at the end of
/// `as_of` in `settings.time_zone`: only rows up to then count.
///
/// `fleet`: vans in any order, each one's rows oldest first. What comes back
/// is in order of name and hangs on nothing but the arguments.
pub fn cut(fleet: &Fleet, as_of: Date, settings: &Settings) -> FleetLives {
    let mut seen: Vec<HistoryAsOf<'_>> = fleet
        .histories
        .par_iter()
        .filter_map(|history| HistoryAsOf::new(history, as_of, &settings.time_zone))
        .collect();
    seen.sort_by_key(|van| van.van);
    let surveys = seen.par_iter().map(|van| Survey::of(van, as_of));
    let surveyed = Surveyed::new(surveys.collect(), &fleet.hardness, as_of, settings);
    let context = surveyed.context();
    let cut: Vec<(Standing, VanLives)> = seen
        .par_iter()
        .zip(&surveyed.water)
        .filter_map(|(van, water)| Some((van.standing, cut_if_there(van, water, &context)?)))
        .collect();
    let (in_service, retired): (Vec<_>, Vec<_>) = cut
        .into_iter()
        .partition(|(standing, _)| *standing == Standing::InService);
    FleetLives {
        as_of,
        until: surveyed.until,
        vans: in_service.into_iter().map(|(_, lives)| lives).collect(),
        retired: retired.into_iter().map(|(_, lives)| lives).collect(),
        rows: fleet.rows,
        missing: surveyed.missing,
    }
}

/// The same for a fleet that is read some vans at a time, twice: once for what the
/// vans tell of each other, once to cut them. Lives are laid down as they are made;
/// `look` takes from each what is to be kept at hand.
///
/// # Errors
/// Where the store cannot be read, or lives not be laid down.
pub fn cut_in_turn<K: Send>(
    chunks: &mut VanChunks,
    as_of: Date,
    settings: &Settings,
    observation: impl Fn(&VanLives) -> K + Sync,
) -> Result<LaidLives<K>, InTurnError> {
    let zone = &settings.time_zone;
    let mut surveys = Vec::new();
    for histories in &mut *chunks {
        let surveyed: Vec<Survey> = histories?
            .par_iter()
            .filter_map(|history| HistoryAsOf::new(history, as_of, zone))
            .map(|seen| Survey::of(&seen, as_of))
            .collect();
        surveys.extend(surveyed);
    }
    let surveyed = Surveyed::new(surveys, chunks.hardness(), as_of, settings);
    let context = surveyed.context();
    let mut laying = Laying::begin()?;
    let mut water = surveyed.water.iter();
    chunks.rewind();
    for histories in &mut *chunks {
        let histories = histories?;
        let seen: Vec<HistoryAsOf<'_>> = histories
            .par_iter()
            .filter_map(|history| HistoryAsOf::new(history, as_of, zone))
            .collect();
        let with_water: Vec<(HistoryAsOf<'_>, &WaterSeen)> =
            seen.into_iter().zip(&mut water).collect();
        let cut: Vec<(bool, K, Vec<u8>)> = with_water
            .par_iter()
            .filter_map(|(van, water)| Some((van, cut_if_there(van, water, &context)?)))
            .map(|(van, lives)| {
                let in_service = van.standing == Standing::InService;
                Ok((in_service, observation(&lives), pack(&lives)?))
            })
            .collect::<Result<_, InTurnError>>()?;
        for (in_service, kept, packed) in cut {
            laying.lay_down(in_service, kept, &packed)?;
        }
    }
    let frame = Frame {
        as_of,
        until: surveyed.until,
        rows: chunks.rows(),
    };
    laying.finish(frame, surveyed.missing)
}
