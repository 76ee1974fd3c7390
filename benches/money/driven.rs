//! A fleet driven day by day from outside, for plans whose decisions change what
//! comes: the same taps, rounds, meters and parts whatever is decided, so that
//! plans can be held against each other van by van.

use litrewise::inside::calendar::{Date, DateExt, Datelike};

use litrewise::inside::demo::chemistry::MEQ_PER_PPM;
use litrewise::inside::demo::fleet::{
    SimulatedFill, SimulatedFleet, SimulatedHardness, SimulatedReading, SimulatedService,
    SimulatedVan,
};
use litrewise::inside::demo::nature::{Batch, Nature};
use litrewise::inside::demo::plant::{Charge, Element, Operation, Plant, Prefilter};
use litrewise::inside::demo::random::{Random, Stream};
use litrewise::inside::demo::tap::{District, TapWater, TapYear, districts};
use litrewise::inside::demo::van::{SALT_PASSAGE_LIMIT, day_after};

/// How hard a van's water is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Water {
    Soft,
    Medium,
    Hard,
}

impl Water {
    pub const ALL: [Water; 3] = [Water::Soft, Water::Medium, Water::Hard];

    /// The map's districts of that kind.
    const fn districts(self) -> [usize; 2] {
        match self {
            Water::Soft => [0, 5],
            Water::Medium => [3, 4],
            Water::Hard => [1, 2],
        }
    }
}

/// What to drive: a world of its own for every seed, one third of the vans each
/// in soft, medium and hard water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrivenPlan {
    pub seed: u64,
    pub vans: usize,
    pub days: i64,
    pub start: Date,
}

/// A day of a van as it really was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueDay {
    pub litres: f64,
    /// At 25 °C and usual pressure and recovery, at the end of the day.
    pub salt_passage: f64,
    /// Litres of resin that the day's water used up, as its mineral ions (in
    /// worlds where beds die in one step, carbon dioxide too) fill a usual bed.
    pub resin_litres: f64,
}

impl TrueDay {
    pub fn is_past_the_limit(&self) -> bool {
        self.salt_passage >= SALT_PASSAGE_LIMIT
    }
}

/// Litres of resin in every van.
pub const VESSEL_LITRES: f64 = 11.0;
const PREFILTER_DAYS: i64 = 84;
const READ_EVERY_DAYS: i64 = 7;
const TANK_LITRES: f64 = 400.0;

#[derive(Debug, Clone)]
struct Van {
    number: u64,
    water: Water,
    district: usize,
    plant: Plant,
    /// Membranes fitted so far.
    elements: u64,
    /// Of the element in use; its nights, its leak.
    element_luck: Random,
    charges: u64,
    prefilters: u64,
    prefilter_day: i64,
    gains: [f64; 3],
    litres_per_fill: f64,
}

/// The fleet on its way through the years.
#[derive(Debug)]
pub struct DrivenFleet {
    plan: DrivenPlan,
    nature: Nature,
    places: Vec<District>,
    taps: Vec<TapYear>,
    vans: Vec<Van>,
    /// The day that comes next.
    day: i64,
    rows: SimulatedFleet,
    latest: Vec<TrueDay>,
}

impl DrivenFleet {
    /// Every van with new parts, noted down, on the first morning.
    pub fn new(plan: &DrivenPlan) -> DrivenFleet {
        let nature = Nature::proving(plan.seed);
        let places = districts(&nature, plan.seed);
        let taps = places
            .iter()
            .enumerate()
            .map(|(number, place)| {
                let mut random = Random::stream(plan.seed, Stream::Tap, number as u64);
                let first = plan.start.day_of_year();
                // Beyond the end too: a plan that knows the truth looks there.
                TapYear::simulate(
                    place,
                    (plan.days + LOOK_AHEAD_DAYS) as usize,
                    first,
                    &mut random,
                )
            })
            .collect();
        let mut fleet = DrivenFleet {
            plan: *plan,
            nature,
            places,
            taps,
            vans: Vec::new(),
            day: 0,
            rows: SimulatedFleet {
                first_day: plan.start,
                last_day: plan.start,
                readings: Vec::new(),
                fills: Vec::new(),
                services: Vec::new(),
                vans: Vec::new(),
                hardness: Vec::new(),
                truth: Vec::new(),
                districts: Vec::new(),
            },
            latest: Vec::new(),
        };
        fleet.rows.hardness = fleet.published();
        for number in 0..plan.vans {
            let van = fleet.van(number);
            fleet.rows.vans.push(SimulatedVan {
                van: name(number),
                base_postcode: fleet.place(van.district).postcode.to_owned(),
                tank_litres: TANK_LITRES,
                membranes: 1,
                resin_litres: VESSEL_LITRES,
                in_service_on: Some(plan.start),
                from: None,
            });
            fleet.vans.push(van);
            fleet.latest.push(TrueDay {
                litres: 0.0,
                salt_passage: 0.0,
                resin_litres: 0.0,
            });
            for item in ["membrane", "prefilter", "resin"] {
                fleet.note(number, item);
            }
        }
        fleet
    }

    fn van(&self, number: usize) -> Van {
        let seed = self.plan.seed;
        let mut random = Random::stream(seed, Stream::Cast, number as u64);
        let water = Water::ALL
            .get(number % Water::ALL.len())
            .copied()
            .unwrap_or(Water::Medium);
        let here = water.districts();
        let district = here.get(number / 3 % here.len()).copied().unwrap_or(0);
        let batch = Batch::on(&self.nature, seed, 0);
        let mut plant = Plant::new(1, VESSEL_LITRES, None, &self.nature, &batch, &mut random);
        plant.set_valve(self.place(district).tap_bar, random.between(0.28, 0.42));
        let mut van = Van {
            number: number as u64,
            water,
            district,
            plant,
            elements: 0,
            element_luck: random.clone(),
            charges: 0,
            prefilters: 0,
            prefilter_day: 0,
            gains: [0; 3].map(|_| random.spread(0.02)),
            litres_per_fill: random.between(210.0, 360.0).round(),
        };
        van.fit_element(&self.nature, seed, 0);
        van.fit_charge(&self.nature, seed, 0);
        van
    }

    fn place(&self, number: usize) -> &District {
        self.places
            .get(number)
            .unwrap_or(&litrewise::inside::demo::tap::DISTRICTS[0])
    }

    fn published(&self) -> Vec<SimulatedHardness> {
        let mut random = Random::stream(self.plan.seed, Stream::World, 100);
        self.places
            .iter()
            .map(|place| SimulatedHardness {
                postcode: place.postcode,
                hardness: (place.hardness_mg_l_caco3 * random.spread(0.08)).round(),
                unit: "mg_l_caco3",
                source: "water quality report",
                as_of: None,
            })
            .collect()
    }

    /// The day that comes next.
    pub fn tomorrow(&self) -> Date {
        day_after(self.plan.start, self.day)
    }

    pub fn is_over(&self) -> bool {
        self.day >= self.plan.days
    }

    /// What has been written down so far, unsorted.
    pub fn rows(&self) -> &SimulatedFleet {
        &self.rows
    }

    pub fn water(&self, van: usize) -> Water {
        self.vans.get(van).map_or(Water::Medium, |v| v.water)
    }

    /// How the last day really was.
    pub fn latest(&self, van: usize) -> Option<&TrueDay> {
        self.latest.get(van)
    }

    /// Whether the meters of a van are read on the day that comes next.
    pub fn reads_tomorrow(&self, van: usize) -> bool {
        (self.day + van as i64) % READ_EVERY_DAYS == 0
    }

    /// Lives through a day: every van fills; the crew looks at its meters once a
    /// week, changes resin at the limit and pre-filters every twelve weeks.
    pub fn next_day(&mut self) {
        let day = self.day;
        for number in 0..self.vans.len() {
            let Some(mut van) = self.vans.get(number).cloned() else {
                continue;
            };
            if day - van.prefilter_day >= PREFILTER_DAYS {
                van.fit_prefilter(self.plan.seed, day);
                self.note(number, "prefilter");
            }
            let reading = self.reads_tomorrow(number);
            let lived = self.live(&mut van, day);
            if let Some((operation, tap, litres)) = lived.made {
                self.fills(number, litres);
                if reading {
                    let product = self.read(&van, number, &operation, &tap);
                    if product >= 10.0 {
                        van.fit_charge(&self.nature, self.plan.seed, day);
                        self.note(number, "resin");
                    }
                }
            }
            if let Some(latest) = self.latest.get_mut(number) {
                *latest = lived.day;
            }
            if let Some(slot) = self.vans.get_mut(number) {
                *slot = van;
            }
        }
        self.day += 1;
        self.rows.last_day = day_after(self.plan.start, day);
    }

    /// A new membrane on the morning of the day that comes next.
    pub fn replace_membrane(&mut self, van: usize) {
        let (seed, day) = (self.plan.seed, self.day);
        let nature = self.nature;
        if let Some(v) = self.vans.get_mut(van) {
            v.fit_element(&nature, seed, day);
        }
        self.note(van, "membrane");
    }

    /// How the membrane in use would go on from the day that comes next, day by
    /// day until its limit: what only somebody who knows the truth can see.
    pub fn course(&self, van: usize) -> Vec<TrueDay> {
        match self.vans.get(van) {
            Some(v) => self.follow(v.clone(), LOOK_AHEAD_DAYS),
            None => Vec::new(),
        }
    }

    /// How it might go on for so many days with other luck: its pace wanders and
    /// its seal leaks as they may, everything else is as it will be.
    pub fn possible(&self, van: usize, number: u64, days: i64) -> Vec<TrueDay> {
        let Some(mut v) = self.vans.get(van).cloned() else {
            return Vec::new();
        };
        let stream = (v.number * 100_000 + self.day as u64) * 100 + number;
        v.element_luck = Random::stream(self.plan.seed, Stream::Observer, stream);
        self.follow(v, days)
    }

    /// The same for a membrane that is not among those that will be fitted: what
    /// new ones are like here.
    pub fn example(&self, van: usize, number: u64) -> Vec<TrueDay> {
        let Some(mut v) = self.vans.get(van).cloned() else {
            return Vec::new();
        };
        v.elements = 500 + number;
        v.fit_element(&self.nature, self.plan.seed, self.day);
        self.follow(v, LOOK_AHEAD_DAYS)
    }

    fn follow(&self, mut van: Van, most: i64) -> Vec<TrueDay> {
        let mut days = Vec::new();
        for day in self.day..self.day + most {
            if day - van.prefilter_day >= PREFILTER_DAYS {
                van.fit_prefilter(self.plan.seed, day);
            }
            let lived = self.live(&mut van, day).day;
            days.push(lived);
            if lived.is_past_the_limit() {
                break;
            }
        }
        days
    }

    fn live(&self, van: &mut Van, day: i64) -> Lived {
        van.night(&self.nature);
        let mut lived = Lived {
            day: TrueDay {
                litres: 0.0,
                salt_passage: 0.0,
                resin_litres: 0.0,
            },
            made: None,
        };
        let place = self.place(van.district);
        let tap = self
            .taps
            .get(van.district)
            .and_then(|t| t.on(usize::try_from(day).unwrap_or(0)))
            .copied();
        let Some(mut tap) = tap else { return lived };
        // A stream for each van and day: no decision shifts it.
        let number = van.number * 1_000_000 + day as u64;
        let mut luck = Random::stream(self.plan.seed, Stream::Use, number);
        let weekday = day_after(self.plan.start, day).weekday();
        let out = weekday != litrewise::inside::calendar::Weekday::Sun && luck.chance(0.75);
        tap.tap_bar = (tap.tap_bar + 0.12 * luck.normal()).max(1.5);
        let litres = (van.litres_per_fill + 50.0 * luck.normal())
            .clamp(60.0, TANK_LITRES)
            .round();
        if out {
            let now = van.plant.run(&tap);
            lived.day.litres = litres;
            lived.day.resin_litres = litres * self.resin_per_litre(&tap, now.permeate_ppm);
            van.plant.make(litres, &tap, &now);
            lived.made = Some((now, tap, litres));
        }
        let usual = TapWater {
            feed_ppm: place.feed_ppm,
            ..tap
        };
        lived.day.salt_passage = van
            .plant
            .salt_passage_at_25(&usual, place.tap_bar - 0.15)
            .unwrap_or(0.0);
        lived
    }

    /// Litres of a usual bed that a litre of water uses up until the limit.
    fn resin_per_litre(&self, tap: &TapWater, permeate_ppm: f64) -> f64 {
        let ions = MEQ_PER_PPM * permeate_ppm;
        let n = &self.nature;
        if n.one_step {
            (ions + Plant::co2_mmol_l(tap)) / (1000.0 * n.anion_eq_l)
        } else {
            let mineral = ions * tap.mineral_share / (1000.0 * n.second_share * 0.55);
            let cation = ions / (1000.0 * n.second_share * 0.76);
            mineral.max(cation)
        }
    }

    fn fills(&mut self, number: usize, litres: f64) {
        self.rows.fills.push(SimulatedFill {
            van: name(number),
            started_at: self.tomorrow().at(16, 0, 0),
            ended_at: None,
            postcode: None,
            litres: Some(litres),
            meter_litres: None,
            reject_litres: None,
            bought_in: false,
        });
    }

    /// The crew reads its meters; gives what the one after the resin shows.
    fn read(&mut self, van: &Van, number: usize, now: &Operation, tap: &TapWater) -> f64 {
        let stream = van.number * 1_000_000 + self.day as u64;
        let mut luck = Random::stream(self.plan.seed, Stream::Meters, stream);
        let mut shown = [tap.feed_ppm, now.permeate_ppm, now.product_ppm];
        for (ppm, gain) in shown.iter_mut().zip(van.gains) {
            *ppm = (*ppm * gain * luck.spread(0.02) + 0.3 * luck.normal())
                .max(0.0)
                .round();
        }
        let [feed, permeate, product] = shown;
        self.rows.readings.push(SimulatedReading {
            van: name(number),
            taken_at: self.tomorrow().at(16, 0, 0),
            postcode: None,
            feed_ppm: Some(feed),
            permeate_ppm: Some(permeate),
            product_ppm: Some(product),
            water_c: Some(tap.water_c.round()),
            feed_bar: None,
            permeate_lpm: None,
            concentrate_lpm: None,
        });
        product
    }

    fn note(&mut self, number: usize, item: &'static str) {
        self.rows.services.push(SimulatedService {
            van: name(number),
            done_at: self.tomorrow(),
            item,
            quantity: Some(if item == "resin" { VESSEL_LITRES } else { 1.0 }),
            cost: None,
            part: None,
            note: None,
        });
    }
}

/// How far the truth is followed.
const LOOK_AHEAD_DAYS: i64 = 3653;

struct Lived {
    day: TrueDay,
    made: Option<(Operation, TapWater, f64)>,
}

impl Van {
    /// The next membrane of this van: the same whenever it is fitted, but for
    /// its delivery.
    fn fit_element(&mut self, nature: &Nature, seed: u64, day: i64) {
        let mut luck = Random::stream(seed, Stream::Parts, 1000 * self.number + self.elements);
        let batch = Batch::on(nature, seed, day);
        self.plant.element = Some(Element::new(nature, &batch, &mut luck));
        self.element_luck = luck;
        self.elements += 1;
    }

    fn fit_charge(&mut self, nature: &Nature, seed: u64, day: i64) {
        let mut luck = Random::stream(seed, Stream::Outside, 1000 * self.number + self.charges);
        let batch = Batch::on(nature, seed, day);
        self.plant.charge = Some(Charge::new(nature, &batch, VESSEL_LITRES, &mut luck));
        self.charges += 1;
    }

    fn fit_prefilter(&mut self, seed: u64, day: i64) {
        let stream = 1000 * self.number + self.prefilters;
        let mut luck = Random::stream(seed, Stream::Next, stream);
        self.plant.prefilter = Prefilter::new(&mut luck);
        self.prefilters += 1;
        self.prefilter_day = day;
    }

    fn night(&mut self, nature: &Nature) {
        self.plant.next_day(&mut self.element_luck);
        let leaks = self.element_luck.chance(nature.leak_per_day);
        let share = self.element_luck.between(0.01, 0.05);
        if leaks {
            self.plant.spring_leak(share);
        }
    }
}

fn name(number: usize) -> String {
    format!("QV-{:03}", number + 1)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, dead_code)]
    use super::*;

    fn drive(replace_on_day: Option<i64>) -> DrivenFleet {
        let mut fleet = DrivenFleet::new(&DrivenPlan {
            seed: 3,
            vans: 3,
            days: 200,
            start: litrewise::inside::calendar::date(2020, 1, 1),
        });
        while !fleet.is_over() {
            if replace_on_day == Some(fleet.day) {
                fleet.replace_membrane(2);
            }
            fleet.next_day();
        }
        fleet
    }

    #[test]
    fn a_decision_on_one_van_changes_nothing_else() {
        let (left, replaced) = (drive(None), drive(Some(120)));
        assert_eq!(left.latest(0), replaced.latest(0));
        let litres = |f: &DrivenFleet| f.rows().fills.iter().filter_map(|f| f.litres).sum::<f64>();
        assert_eq!(litres(&left), litres(&replaced));
        // The new membrane lets less through.
        let passage = |f: &DrivenFleet| f.latest(2).unwrap().salt_passage;
        assert!(passage(&replaced) < passage(&left));
    }

    #[test]
    fn the_course_that_is_foreseen_is_the_one_that_comes() {
        let plan = DrivenPlan {
            seed: 4,
            vans: 3,
            days: 60,
            start: litrewise::inside::calendar::date(2020, 1, 1),
        };
        let mut fleet = DrivenFleet::new(&plan);
        let foreseen = fleet.course(2);
        for day in 0..50 {
            fleet.next_day();
            assert_eq!(fleet.latest(2), foreseen.get(day));
        }
    }
}
