//! From lives and fits to the finished assessment: what the fleet lends to each
//! van, the districts, then van by van.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::alarm::Peers;
use super::money::{CostsAhead, VanCosts, money};
use super::plan::ahead::{VanAhead, Year};
use super::plan::membrane::NextOnes;
use super::plan::parts::{MonthOf, PartsByMonth, parts_to_order};
use super::prices::{DecisionPrices, KnownPrices, Paid};
use super::{
    AreaAssessment, Assessment, Ordering, PartAssessment, State, VanAssessment, VanExplained,
    areas, habits, membrane, meters, prefilter, records, resin, round_to, series,
};
use crate::fit::{
    self, AreaFit, Assumptions, Based, Charted, FittedFleet, FleetFindings, FleetFit, FleetWide,
    PartLife, Plant, VanFit, VanForecast,
};
use crate::lives::{Cut, FleetLives, Frame, Gap, InTurnError, LaidLives, VanLives};
use crate::settings::Settings;

/// What the assessment of the others asks of a van, and all that is kept at hand
/// of one whose lives are laid down.
#[derive(Debug, Clone)]
pub struct Glance {
    fit: fit::Glance,
    of_van: VanRecords,
}

impl Glance {
    pub fn of(van: &VanLives, settings: &Settings) -> Glance {
        Glance {
            fit: fit::Glance::of(van, settings),
            of_van: VanRecords::of(van),
        }
    }
}

/// Of it, what advice asks for.
#[derive(Debug, Clone)]
struct VanRecords {
    van: Arc<str>,
    district: Option<Arc<str>>,
    paid: Vec<Paid>,
}

impl VanRecords {
    fn of(van: &VanLives) -> VanRecords {
        VanRecords {
            van: van.van.clone(),
            district: van.district.clone(),
            paid: Paid::of_van(van).collect(),
        }
    }
}

/// What the fleet lends to every van.
pub struct AssessmentContext<'a> {
    /// The days that dates are held against, and the rows.
    pub frame: Frame,
    pub wide: &'a FleetWide,
    pub prices: &'a DecisionPrices,
    pub settings: &'a Settings,
}

/// What the other vans of a district tell.
#[derive(Debug, Clone, Copy, Default)]
pub struct DistrictPeers {
    /// `ln` rise of their salt passage of late beyond the usual.
    pub neighbours_rise: Option<f64>,
}

/// A district with what is advised there.
struct DistrictAdvice {
    fit: AreaFit,
    assessed: AreaAssessment,
    next: NextOnes,
    /// `ln` rises of salt passage of late beyond the usual.
    rises: Peers,
}

/// An assessment being made, district by district.
struct Assessing<'a> {
    context: AssessmentContext<'a>,
    /// Of every van, by its number; the first so many are in service.
    vans: Vec<&'a VanRecords>,
    in_service: usize,
    is_drawn: bool,
    month_of: MonthOf,
    assessed: Vec<(usize, VanAssessment)>,
    areas: Vec<AreaAssessment>,
    parts: PartsByMonth,
    /// The same by the month of the job, for what it costs.
    month_of_job: MonthOf,
    jobs: PartsByMonth,
    costs: CostsAhead,
}

/// Vans of whole districts.
struct Batch<'a> {
    numbers: &'a [usize],
    /// By number: the plant, what was fitted, and the rise of salt passage of late.
    plant: &'a (dyn Fn(usize) -> Option<&'a Plant> + Sync),
    fit: &'a (dyn Fn(usize) -> Option<&'a VanFit> + Sync),
    rise: &'a (dyn Fn(usize) -> Option<f64> + Sync),
}

impl<'a> Assessing<'a> {
    fn begin<C: Cut>(
        fleet: &C,
        vans: Vec<&'a VanRecords>,
        (wide, prices, settings): (&'a FleetWide, &'a DecisionPrices, &'a Settings),
        is_drawn: bool,
    ) -> Assessing<'a> {
        let frame = fleet.frame();
        Assessing {
            context: AssessmentContext {
                frame,
                wide,
                prices,
                settings,
            },
            in_service: fleet.in_service(),
            is_drawn,
            month_of: MonthOf::new(frame.as_of, settings.running.order_days),
            assessed: Vec::with_capacity(fleet.in_service()),
            areas: Vec::new(),
            parts: PartsByMonth::none(),
            month_of_job: MonthOf::of_jobs(frame.as_of),
            jobs: PartsByMonth::none(),
            costs: CostsAhead::default(),
            vans,
        }
    }

    /// Numbers of the vans in service by district, those without one first.
    fn by_district(&self) -> BTreeMap<Option<Arc<str>>, Vec<usize>> {
        let mut by_district: BTreeMap<Option<Arc<str>>, Vec<usize>> = BTreeMap::new();
        for (number, van) in self.vans.iter().enumerate().take(self.in_service) {
            let here = by_district.entry(van.district.clone()).or_default();
            here.push(number);
        }
        by_district
    }

    /// Assesses vans of whole districts.
    fn add<C: Cut>(
        &mut self,
        fleet: &C,
        areas: &[AreaFit],
        batch: &Batch<'_>,
    ) -> Result<(), C::Error> {
        /// Vans whose years are held at once: what they are summed up from is long.
        const TOGETHER: usize = 256;
        let mut by_district: BTreeMap<&Arc<str>, (Vec<&Plant>, Vec<f64>)> = BTreeMap::new();
        for plant in batch.numbers.iter().map(|n| (*n, (batch.plant)(*n))) {
            if let (number, Some(plant)) = plant
                && let Some(district) = &plant.district
            {
                let (plants, rises) = by_district.entry(district).or_default();
                plants.push(plant);
                rises.extend((batch.rise)(number));
            }
        }
        let here = areas.par_iter().map(|area| {
            let vans = by_district.get(&area.district);
            let (plants, rises) = vans.map_or((&[][..], &[][..]), |(p, r)| (p, r));
            let (prices, settings) = (self.context.prices, self.context.settings);
            let here = DistrictAdvice {
                assessed: areas::assess(area, plants, prices, settings),
                next: NextOnes::of(area, plants.iter().map(|plant| plant.membranes)),
                rises: Peers::of(rises.iter().copied()),
                fit: area.clone(),
            };
            (area.district.clone(), here)
        });
        let here: BTreeMap<Arc<str>, DistrictAdvice> = here.collect();
        for numbers in batch.numbers.chunks(TOGETHER) {
            let assessed = fleet.each(numbers, |number, van| {
                let district = van.district.as_ref().and_then(|d| here.get(d));
                let fit = (batch.fit)(number)?;
                let rise = (batch.rise)(number);
                let beside = DistrictPeers {
                    neighbours_rise: district.and_then(|here| here.rises.middle_beside(rise)),
                };
                let (assessed, ahead) =
                    assess_van(van, fit, district, &beside, &self.context, self.is_drawn);
                let (prices, settings) = (self.context.prices, self.context.settings);
                let costs = VanCosts::of(van, &ahead, prices, settings);
                Some((number, assessed, ahead, costs))
            })?;
            for (number, assessed, ahead, costs) in assessed.into_iter().flatten() {
                ahead.add_parts(&self.month_of, &mut self.parts);
                ahead.add_parts(&self.month_of_job, &mut self.jobs);
                costs.into_iter().for_each(|costs| self.costs.add(costs));
                self.assessed.push((number, assessed));
            }
        }
        self.areas
            .extend(here.into_values().map(|here| here.assessed));
        Ok(())
    }

    fn finish(mut self, told: &FleetFindings, missing: &[Gap]) -> Assessment {
        self.assessed.sort_by_key(|(number, _)| *number);
        let (settings, prices) = (self.context.settings, self.context.prices);
        let Frame { as_of, until, rows } = self.context.frame;
        let services = self.vans.iter().map(|van| (&van.van, &van.paid[..]));
        Assessment {
            schema: "litrewise/assessment/1",
            as_of,
            records_end_on: until,
            limits: settings.limits,
            vans: self.assessed.into_iter().map(|(_, van)| van).collect(),
            areas: self.areas,
            rows,
            parts: told.parts.iter().map(part).collect(),
            fleet: series::of_fleet(told, missing, settings),
            parts_to_order: match self.in_service {
                0 => Vec::new(),
                _ => parts_to_order(&self.parts, as_of),
            },
            money: money(as_of, services, (self.costs, &self.jobs), prices, settings),
            work: settings.work.clone(),
            ordering: Ordering {
                order_days: settings.running.order_days,
                resin_bag_litres: settings.running.resin_bag_litres,
                stock: settings.stock.clone(),
            },
            saved_visit: prices.saved_visit(),
            most_days_early: super::visits::most_days_early(&prices.known, settings),
        }
    }
}

fn part(part: &PartLife) -> PartAssessment {
    PartAssessment {
        part: part.part.to_string(),
        membranes: part.membranes,
        life_over_typical: part.life_over_typical.map(|x| round_to(x, 0.01)),
    }
}

fn prices_of(vans: &[&VanRecords], settings: &Settings) -> DecisionPrices {
    let services = || vans.iter().flat_map(|van| &van.paid);
    DecisionPrices::of_known(KnownPrices::of_paid(settings, &services))
}

/// Builds the assessment from the fleet's lives and what was fitted to them.
pub fn assess(lives: &FleetLives, fit: &FleetFit, settings: &Settings) -> Assessment {
    assess_held(lives, fit, settings, true)
}

/// The same without the series of its vans, where no page will be drawn.
pub fn assess_undrawn(lives: &FleetLives, fit: &FleetFit, settings: &Settings) -> Assessment {
    assess_held(lives, fit, settings, false)
}

fn assess_held(
    lives: &FleetLives,
    fit: &FleetFit,
    settings: &Settings,
    is_drawn: bool,
) -> Assessment {
    let all = lives.vans.par_iter().chain(&lives.retired);
    let vans: Vec<VanRecords> = all.map(VanRecords::of).collect();
    let vans: Vec<&VanRecords> = vans.iter().collect();
    let prices = prices_of(&vans, settings);
    let lent = (&fit.fleet.wide, &prices, settings);
    let mut assessing = Assessing::begin(lives, vans, lent, is_drawn);
    let plants: Vec<Plant> = lives.vans.iter().map(Plant::of).collect();
    let until = lives.until;
    let rises = lives.vans.par_iter().zip(&fit.vans);
    let rises: Vec<Option<f64>> = rises
        .map(|(van, fit)| membrane::rise_of_late(van, fit, until))
        .collect();
    let numbers = assessing.by_district().into_values().flatten();
    let batch = Batch {
        numbers: &numbers.collect::<Vec<_>>(),
        plant: &|number| plants.get(number),
        fit: &|number| fit.vans.get(number),
        rise: &|number| rises.get(number).copied().flatten(),
    };
    let Ok(()) = assessing.add(lives, &fit.fleet.areas, &batch);
    assessing.finish(&fit.fleet, lives.missing())
}

/// Fits and assesses a fleet whose lives are laid down, some districts at a time:
/// the same as [`assess_undrawn`].
///
/// # Errors
/// Where lives cannot be read back.
pub fn assess_in_turn(
    fleet: &LaidLives<Glance>,
    settings: &Settings,
) -> Result<Assessment, InTurnError> {
    let glances = fleet.kept();
    let until = fleet.frame().until;
    let fitted = FittedFleet::of(fleet, glances.iter().map(|g| &g.fit).collect(), settings)?;
    let wide = fitted.fleet_wide();
    let vans: Vec<&VanRecords> = glances.iter().map(|g| &g.of_van).collect();
    let prices = prices_of(&vans, settings);
    let lent = (&wide, &prices, settings);
    let mut assessing = Assessing::begin(fleet, vans, lent, false);
    let mut charted: Vec<Charted> = vec![Charted::default(); fleet.vans()];
    let mut areas = Vec::new();
    for numbers in in_batches(assessing.by_district()) {
        let forecasts = fleet.each(&numbers, |number, van| {
            let forecast = fitted.forecast(number, van, Assumptions::default());
            let charted = fitted.charted(number, van, Some(&forecast));
            let rise = membrane::rise_of_late(van, &forecast.fit, until);
            (
                number,
                Forecast {
                    forecast,
                    rise,
                    charted,
                },
            )
        })?;
        let mut forecasts: BTreeMap<usize, Forecast> = forecasts.into_iter().collect();
        for (number, forecast) in &mut forecasts {
            if let Some(place) = charted.get_mut(*number) {
                *place = std::mem::take(&mut forecast.charted);
            }
        }
        let based = forecasts.iter().map(|(number, f)| Based {
            forecast: &f.forecast,
            ahead: Assumptions::default(),
            number: *number,
        });
        let here = fitted.areas(fleet, Based::by_district(based))?;
        let batch = Batch {
            numbers: &numbers,
            plant: &|number| Some(&forecasts.get(&number)?.forecast.plant),
            fit: &|number| Some(&forecasts.get(&number)?.forecast.fit),
            rise: &|number| forecasts.get(&number)?.rise,
        };
        assessing.add(fleet, &here, &batch)?;
        areas.extend(here);
    }
    let retired: Vec<usize> = (fleet.in_service()..fleet.vans()).collect();
    let of_retired = fleet.each(&retired, |number, van| fitted.charted(number, van, None))?;
    for (number, of_van) in retired.into_iter().zip(of_retired) {
        if let Some(place) = charted.get_mut(number) {
            *place = of_van;
        }
    }
    Ok(assessing.finish(&fitted.told(areas, &charted), fleet.missing()))
}

/// A van's forecast with what the others ask of it.
struct Forecast {
    forecast: VanForecast,
    rise: Option<f64>,
    charted: Charted,
}

/// Whole districts together until they have enough vans to keep all cores at work;
/// vans without a district can be parted anywhere.
fn in_batches(by_district: BTreeMap<Option<Arc<str>>, Vec<usize>>) -> Vec<Vec<usize>> {
    const ENOUGH: usize = 256;
    let mut batches: Vec<Vec<usize>> = Vec::new();
    let mut filling: Vec<usize> = Vec::new();
    for (district, numbers) in by_district {
        if district.is_none() {
            batches.extend(numbers.chunks(ENOUGH).map(<[usize]>::to_vec));
            continue;
        }
        filling.extend(numbers);
        if filling.len() >= ENOUGH {
            batches.push(std::mem::take(&mut filling));
        }
    }
    if !filling.is_empty() {
        batches.push(filling);
    }
    batches
}

/// One van, and its coming year.
fn assess_van(
    van: &VanLives,
    van_fit: &VanFit,
    here: Option<&DistrictAdvice>,
    beside: &DistrictPeers,
    context: &AssessmentContext<'_>,
    is_drawn: bool,
) -> (VanAssessment, VanAhead) {
    let (frame, settings, prices) = (context.frame, context.settings, context.prices);
    let area = here.map(|h| &h.fit);
    let suggested = here.map(|h| &h.assessed.suggested);
    let district = (area, here.map(|h| &h.next));
    let membrane = membrane::assess(van, van_fit, district, beside, context);
    let resin = resin::assess(van, van_fit, area, frame, prices, settings, suggested);
    let wear = prefilter::Wear {
        late: context.wide.late_wear.value,
        membrane_per_litre: here
            .and_then(|h| h.assessed.cost_per_1000_litres)
            .map(|c| c.membrane / 1000.0),
    };
    let prefilter = prefilter::assess(van, settings, frame.as_of, prices, &wear);
    let ahead = Year {
        van,
        fit: van_fit,
        area: area.zip(suggested),
        membrane_on: membrane.replace_on,
        is_held: membrane.check_meter_first || membrane.state == State::Watch,
        resin_on: resin.replace_on,
        prefilter: &prefilter,
        as_of: frame.as_of,
        until: frame.until,
    }
    .simulate();
    let explained = VanExplained {
        membrane: van_fit
            .membrane
            .as_ref()
            .map_or_else(|_| Vec::new(), |m| m.explained.clone()),
        resin: van_fit
            .resin
            .as_ref()
            .map_or_else(|_| Vec::new(), |r| r.explained.clone()),
    };
    let assessed = VanAssessment {
        van: van.van.to_string(),
        postcode: van.district.as_deref().map(str::to_owned),
        hardness_mg_l_caco3: van.hardness.map(|h| round_to(h.mg_l_caco3, 0.1)),
        hardness_basis: van.hardness.map(|h| h.basis),
        membranes: van.membranes,
        resin_litres: van.resin_litres,
        recovery: van.recovery.map(|r| round_to(r, 0.001)),
        membrane,
        resin,
        prefilter,
        meters: meters::assess(&van_fit.meters),
        series: series::of_van(van, van_fit, is_drawn),
        explained,
        records: records::of_van(van, &van_fit.meters),
        habits: habits::of_van(van, context.wide, frame.until, settings),
    };
    (assessed, ahead)
}
