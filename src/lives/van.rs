//! One van's history, cut into lives.

use crate::calendar::Date;

use super::changes::{self, Change};
use super::charges::{self, Resin};
use super::cut::FleetAids;
use super::elements::{self, Material};
use super::entering::{Track, entering_ppm};
use super::hardness_table::{HardnessTable, WaterSeen};
use super::health::{self, Health};
use super::history_as_of::{Dated, HistoryAsOf};
use super::levels::{passage_levels, product_levels};
use super::litres::{self, UsualFill};
use super::observations::{Observation, observations};
use super::prefilters;
use super::recovery;
use super::remarks::{Remarks, Repeated};
use super::season::TapSeasons;
use super::sizes::Standing;
use super::types::{
    About, ChargeLife, ElementLife, HardnessAt, MembraneTest, ServiceMark, VanLives,
};
use super::usage::{self, Districts, NewTap, PermeateVolume};
use super::valve;
use super::vessel::Vessels;
use crate::settings::Settings;
use crate::store::records::Item;

/// What the fleet, the day and the settings lend to every van.
#[derive(Debug, Clone, Copy)]
pub(crate) struct FleetContext<'a> {
    pub table: &'a HardnessTable,
    pub aids: &'a FleetAids,
    pub seasons: &'a TapSeasons,
    /// The day of the assessment.
    pub as_of: Date,
    /// Day of the fleet's newest row, where records end.
    pub until: Date,
    pub settings: &'a Settings,
}

/// Cuts one van's history up to the as-of day. Depends on nothing but the
/// arguments, so vans can be cut side by side, or elsewhere.
pub(crate) fn cut_van(
    seen: &HistoryAsOf<'_>,
    water: &WaterSeen,
    context: &FleetContext<'_>,
) -> VanLives {
    let mut remarks = Remarks::default();
    let van = Settled::new(seen, water, context, &mut remarks);
    let vessels = Vessels::new(seen, context.aids.resin_litres);
    let membrane_changes = van.membrane_changes();
    let entering = entering_ppm(&van.observations, &membrane_changes, van.membranes == 0);
    let resin_changes = van.resin_changes(&vessels, &entering);
    van.remark_changes(&membrane_changes, &mut remarks);
    let mut services: Vec<ServiceMark> = seen.services.iter().map(mark).collect();
    for (changes, item) in [
        (&membrane_changes, Item::Membrane),
        (&resin_changes, Item::Resin),
    ] {
        services.extend(changes::inferred_marks(changes, item, &mut remarks));
    }
    services.sort_by_key(|service| (service.date, service.item, service.inferred));
    health::remark(&van.health(), &mut remarks);
    VanLives {
        van: seen.van.clone(),
        district: water
            .base
            .as_ref()
            .and_then(|base| base.district_or_area())
            .map(Into::into),
        hardness: van.hardness,
        membranes: van.membranes,
        resin_litres: vessels.on(context.until).litres,
        tank_litres: van.tank_litres,
        in_service_on: van.material().in_service_on,
        recovery: usage::recovery(&van.observations, seen.fills, &seen.fill_dates, &van.litres),
        valve: valve::seen(
            &van.observations,
            seen.fills,
            &seen.fill_dates,
            &van.litres,
            &context.seasons.at(water),
        ),
        feed_ppm: usage::feed_ppm(&van.observations, van.new_tap()),
        based_since: seen.base.since(context.until),
        tap_season: context.seasons.at(water),
        elements: van.elements(&membrane_changes),
        charges: van.charges(&vessels, &entering, &resin_changes),
        prefilters: prefilters::lives(
            &van.prefilter_changes,
            &van.made,
            seen.fills_between().is_some(),
            seen.standing,
        ),
        weeks: usage::weeks(&van.made, seen.fill_dates.first().copied(), van.last_day()),
        fills_between: seen.fills_between(),
        last_reading_on: van.last_reading_on,
        membrane_tests: van.membrane_tests(&membrane_changes),
        services,
        remarks: remarks.finish(),
    }
}

/// A van's rows once judged by the van's own past.
struct Settled<'a> {
    seen: &'a HistoryAsOf<'a>,
    context: &'a FleetContext<'a>,
    observations: Vec<Observation>,
    /// Of each look, see [`changes::regimes`].
    regimes: Vec<u32>,
    last_reading_on: Option<Date>,
    /// Of every fill.
    litres: Vec<f64>,
    made: Vec<PermeateVolume>,
    districts: Districts,
    prefilter_changes: Vec<Date>,
    hardness: Option<HardnessAt>,
    membranes: u32,
    tank_litres: Option<f64>,
}

impl<'a> Settled<'a> {
    fn new(
        seen: &'a HistoryAsOf<'a>,
        water: &WaterSeen,
        context: &'a FleetContext<'a>,
        remarks: &mut Remarks,
    ) -> Settled<'a> {
        let (until, running) = (context.until, &context.settings.running);
        let days = seen.days;
        let mut observations = observations(seen, &context.seasons.at(water), &days, remarks);
        let regimes = changes::regimes(seen, &observations);
        for (observation, regime) in observations.iter_mut().zip(&regimes) {
            observation.regime = *regime;
        }
        let tank_litres = seen.sizes.on(until, |row| row.tank_litres);
        let usual = UsualFill::of(seen.fills, tank_litres, context.aids.fill_litres);
        let litres = litres::counted(seen.fills, &seen.fill_dates, usual, tank_litres, remarks);
        let (mut made, districts) = usage::made(seen, &litres, context.table, water.own_feed_ppm);
        let prefilter_changes = prefilters::changes(&seen.services);
        prefilters::mark_late(&mut made, &prefilter_changes, running.prefilter_days);
        let hardness = context.table.at(water.base.as_ref(), water.own_feed_ppm);
        let settled = Settled {
            seen,
            context,
            regimes,
            observations,
            last_reading_on: seen.readings.last().map(|r| days.date(r.taken_at)),
            litres,
            made,
            districts,
            prefilter_changes,
            hardness: hardness.on(until),
            membranes: seen.sizes.on(until, |row| row.membranes).unwrap_or(1),
            tank_litres,
        };
        for _ in 0..seen.rows_after_out {
            remarks.count(Repeated::RowsAfterOutOfService, settled.last_day());
        }
        settled
    }

    fn new_tap(&self) -> Option<NewTap> {
        let (base, until) = (&self.seen.base, self.context.until);
        Some(NewTap {
            since: base.since(until)?,
            expected_ppm: base
                .on(until)
                .and_then(|place| self.context.table.feed_ppm(place, until)),
        })
    }

    fn last_day(&self) -> Date {
        match self.seen.standing {
            Standing::Retired(out) => out.min(self.context.until),
            _ => self.context.until,
        }
    }

    fn material(&self) -> Material<'_> {
        Material {
            observations: &self.observations,
            made: &self.made,
            fill_dates: &self.seen.fill_dates,
            in_service_on: self
                .seen
                .sizes
                .on(self.context.until, |row| row.in_service_on),
            standing: self.seen.standing,
            until: self.context.until,
            base_hardness_mg_l: self
                .hardness
                .map_or(usage::NEUTRAL_HARDNESS_MG_L, |at| at.mg_l_caco3),
        }
    }

    fn membrane_changes(&self) -> Vec<Change> {
        if self.membranes == 0 {
            return Vec::new();
        }
        let recorded = changes::recorded(
            self.seen
                .services
                .iter()
                .filter(|dated| dated.service.item == Item::Membrane),
        );
        let falls = recovery::falls(&passage_levels(
            &self.observations,
            &self.regimes,
            &recorded,
        ));
        changes::with_inferred(
            recorded,
            &falls,
            &self.observations,
            &self.context.settings.time_zone,
        )
    }

    fn resin_changes(&self, vessels: &Vessels<'_>, entering: &Track) -> Vec<Change> {
        if vessels.on(self.context.until).litres == 0.0 {
            return Vec::new();
        }
        let (full, _) = vessels.changes_and_top_ups(&self.seen.services);
        let fresh = recovery::fresh_again(
            &product_levels(&self.observations, &self.made, entering, &self.regimes),
            self.context.settings.limits.product_ppm,
            self.seen.fills_between().is_some(),
            self.membranes == 0,
        );
        let recorded = changes::recorded(full.into_iter());
        changes::with_inferred(
            recorded,
            &fresh,
            &self.observations,
            &self.context.settings.time_zone,
        )
    }

    fn elements(&self, changes: &[Change]) -> Vec<ElementLife> {
        if self.membranes == 0 {
            return Vec::new();
        }
        elements::lives(&self.material(), changes)
    }

    /// Tests of the membrane in use, those in the middle left out.
    fn membrane_tests(&self, changes: &[Change]) -> Vec<MembraneTest> {
        const FIRST: usize = 3;
        const NEWEST: usize = 15;
        let fitted = changes.last().map(|change| change.date);
        let since = self
            .observations
            .iter()
            .filter(|observation| fitted.is_none_or(|d| observation.date >= d));
        let mut tests: Vec<MembraneTest> = since
            .filter(|_| self.membranes > 0)
            .filter_map(|observation| {
                Some(MembraneTest {
                    date: observation.date,
                    feed_ppm: observation.feed_ppm?,
                    permeate_ppm: observation.permeate_ppm?,
                    water_c: observation.water_c,
                    feed_bar: observation.feed_bar,
                    permeate_lpm: observation.permeate_lpm,
                    concentrate_lpm: observation.concentrate_lpm,
                })
            })
            .collect();
        if tests.len() > FIRST + NEWEST {
            tests.drain(FIRST..tests.len() - NEWEST);
        }
        tests
    }

    fn charges(
        &self,
        vessels: &Vessels<'_>,
        entering: &Track,
        changes: &[Change],
    ) -> Vec<ChargeLife> {
        if vessels.on(self.context.until).litres == 0.0 {
            return Vec::new();
        }
        let (_, top_ups) = vessels.changes_and_top_ups(&self.seen.services);
        let resin = Resin {
            vessels,
            top_ups: &top_ups,
            entering,
            districts: &self.districts,
        };
        charges::lives(&self.material(), &resin, changes)
    }

    /// Says so where fewer membranes were changed than share the water.
    fn remark_changes(&self, changes: &[Change], remarks: &mut Remarks) {
        for change in changes {
            let listed = self.seen.sizes.on(change.date, |row| row.membranes);
            let membranes = listed.unwrap_or(1);
            if let Some(changed) = change.quantity
                && changed >= 1.0
                && changed < f64::from(membranes)
            {
                remarks.note(
                    About::Services,
                    Some(change.date),
                    format!(
                        "{changed:.0} of {membranes} membranes changed: counted as a new start, \
                         though the other goes on ageing"
                    ),
                );
            }
        }
    }

    fn health(&self) -> Health<'_> {
        Health {
            seen: self.seen,
            as_of: self.context.as_of,
            last_reading_on: self.last_reading_on,
            hardness: self.hardness,
            observations: &self.observations,
            ratio: self.context.table.ratio(),
            membranes: self.membranes,
            last_prefilter_on: self.prefilter_changes.last().copied(),
            prefilter_days: self.context.settings.running.prefilter_days,
        }
    }
}

fn mark(dated: &Dated<'_>) -> ServiceMark {
    let service = dated.service;
    ServiceMark {
        date: dated.date,
        item: service.item,
        quantity: service.quantity,
        cost: service.cost,
        part: service.part.clone(),
        note: service.note.clone(),
        inferred: false,
    }
}
