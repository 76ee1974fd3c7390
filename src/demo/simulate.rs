//! Day by day through the life of each van.

use jiff::ToSpan;
use jiff::civil::{Date, DateTime, Weekday, date};

use super::cast::{Fault, Part, ResinHabit, part};
use super::fleet::*;
use super::plant::{Charge, Element, Operation, Plant, Prefilter};
use super::random::Random;
use super::tap::{DISTRICTS, TapWater, TapYear};

/// What to invent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    pub vans: usize,
    pub months: u32,
    pub seed: u64,
    /// First day.
    pub start: Date,
}

/// The day after the last day of an invented fleet.
const END: Date = date(2026, 11, 1);

impl Plan {
    /// First day of so many months that end on 2026-10-31.
    pub fn start_for(months: u32) -> Date {
        END.checked_sub(i64::from(months).months())
            .unwrap_or(Date::MIN)
    }
}

impl Default for Plan {
    fn default() -> Plan {
        Plan {
            vans: 12,
            months: 24,
            seed: 7,
            start: Plan::start_for(24),
        }
    }
}

const TAP: u64 = 1;
const CAST: u64 = 2;
const PARTS: u64 = 3;
const USE: u64 = 4;
const METERS: u64 = 5;
const CREW: u64 = 6;

const SALT_PASSAGE_LIMIT: f64 = 0.10;
const PRODUCT_LIMIT_PPM: f64 = 10.0;

/// Invents a fleet: the same plan gives the same fleet.
pub fn simulate(plan: &Plan) -> SimulatedFleet {
    let end = plan
        .start
        .checked_add(i64::from(plan.months).months())
        .unwrap_or(Date::MAX);
    let days = (end - plan.start).get_days().max(1) as i64;
    let taps: Vec<TapYear> = DISTRICTS
        .iter()
        .enumerate()
        .map(|(number, district)| {
            let mut random = Random::stream(plan.seed, TAP, number as u64);
            TapYear::simulate(
                district,
                days as usize,
                plan.start.day_of_year(),
                &mut random,
            )
        })
        .collect();
    let mut fleet = SimulatedFleet {
        first_day: plan.start,
        last_day: day_after(plan.start, days - 1),
        readings: Vec::new(),
        fills: Vec::new(),
        services: Vec::new(),
        vans: Vec::new(),
        hardness: published_hardness(plan.start),
        truth: Vec::new(),
    };
    let digits = plan.vans.to_string().len().max(3);
    for index in 0..plan.vans {
        let name = format!("QV-{:0digits$}", index + 1);
        let part = part(index, &mut Random::stream(plan.seed, CAST, index as u64));
        VanSimulation::new(plan, days, index as u64, name, part, &taps).run(&mut fleet);
    }
    fleet
}

fn day_after(start: Date, days: i64) -> Date {
    start.checked_add(days.days()).unwrap_or(Date::MAX)
}

/// Suppliers publish in whatever unit they like.
fn published_hardness(start: Date) -> Vec<SimulatedHardness> {
    let older = start.checked_sub(10.months()).ok();
    let newer = start.checked_add(8.months()).ok();
    let row = |postcode, hardness, unit, as_of| SimulatedHardness {
        postcode,
        hardness,
        unit,
        source: "water quality report",
        as_of,
    };
    vec![
        row("QA1", 25.0, "mg_l_caco3", older),
        row("QA3", 20.0, "clark", older),
        row("QA3", 287.0, "mg_l_caco3", newer),
        row("QB1", 330.0, "mg_l_caco3", older),
        row("QB6", 60.0, "mg_l_caco3", older),
        row("QC2", 1.1, "mmol_l", older),
        row("QD4", 19.0, "french", older),
    ]
}

struct VanSimulation<'a> {
    name: String,
    part: Part,
    taps: &'a [TapYear],
    start: Date,
    days: i64,
    /// Streams of their own: use of the van, meters, crew, parts.
    usage: Random,
    meters: Random,
    crew: Random,
    parts: Random,
    plant: Plant,
    truth: TrueVan,
    prefilter_changed: i64,
    charge_changed: i64,
    next_reading: i64,
    due: Vec<(i64, &'static str)>,
    forgets: Option<&'static str>,
    /// Last shares of the feed that the crew saw after the membrane.
    seen: Vec<f64>,
    counter: f64,
    usual_recovery: f64,
    holiday: i64,
    reading: Option<SimulatedReading>,
}

impl<'a> VanSimulation<'a> {
    fn new(
        plan: &Plan,
        days: i64,
        number: u64,
        name: String,
        part: Part,
        taps: &'a [TapYear],
    ) -> Self {
        let stream = |purpose| Random::stream(plan.seed, purpose, number);
        let (mut parts, mut crew) = (stream(PARTS), stream(CREW));
        let mut plant = Plant::new(
            part.membranes,
            part.resin_litres,
            part.booster_bar,
            &mut parts,
        );
        let home = DISTRICTS.get(part.district).unwrap_or(&DISTRICTS[0]);
        plant.set_valve(home.tap_bar, part.recovery);
        let new_van = part.starts_after_days > 0;
        if !new_van {
            let litres = part.initial_scale / 0.012 * 1000.0;
            plant.element = plant
                .element
                .take()
                .map(|e| e.aged(part.initial_scale, litres));
            plant.charge = plant.charge.take().map(|c| c.used(parts.between(0.1, 0.8)));
        }
        let first = part.starts_after_days;
        let truth = TrueVan {
            van: name.clone(),
            district: home.postcode,
            elements: Vec::new(),
            charges: Vec::new(),
            plant: plant.clone(),
        };
        let prefilter_age = crew.between(0.0, 0.7 * part.prefilter_days) as i64;
        VanSimulation {
            name,
            part,
            taps,
            start: plan.start,
            days,
            usage: stream(USE),
            meters: stream(METERS),
            prefilter_changed: if new_van { first } else { -prefilter_age },
            charge_changed: if new_van { first } else { -30 },
            next_reading: first + crew.whole(1, 7),
            holiday: crew.whole(210, 300),
            counter: crew.between(20_000.0, 90_000.0).round(),
            forgets: part.forgets,
            crew,
            parts,
            plant,
            truth,
            due: Vec::new(),
            seen: Vec::new(),
            usual_recovery: part.recovery,
            reading: None,
        }
    }

    fn run(mut self, fleet: &mut SimulatedFleet) {
        self.list(fleet);
        let first = self.part.starts_after_days;
        if first > 0 {
            for item in ["prefilter", "membrane", "resin"] {
                self.note_service(first, item, fleet);
            }
        }
        let known = (first > 0).then(|| self.date(first));
        if self.plant.element.is_some() {
            self.truth.elements.push(new_element(known));
        }
        if self.plant.charge.is_some() {
            self.truth.charges.push(new_charge(known));
        }
        if let Fault::SealLeak {
            fitted_days_before_end,
            ..
        } = self.part.fault
        {
            self.due
                .push((self.days - fitted_days_before_end, "membrane"));
        }
        for day in first..self.days {
            self.plant.next_day(&mut self.parts);
            self.fault_strikes(day);
            self.work_on_van(day, fleet);
            if self.works(day) {
                self.fill(day, fleet);
            }
            self.watch(day);
        }
        self.truth.plant = self.plant;
        fleet.truth.push(self.truth);
    }

    fn date(&self, day: i64) -> Date {
        day_after(self.start, day)
    }

    fn list(&self, fleet: &mut SimulatedFleet) {
        let base = |district: usize| {
            let postcode = DISTRICTS.get(district).unwrap_or(&DISTRICTS[0]).postcode;
            format!("{postcode} 4XX")
        };
        let row = |district, from| SimulatedVan {
            van: self.name.clone(),
            base_postcode: base(district),
            tank_litres: self.part.tank_litres,
            membranes: self.part.membranes,
            resin_litres: self.part.resin_litres,
            in_service_on: (self.part.starts_after_days > 0)
                .then(|| self.date(self.part.starts_after_days)),
            from,
        };
        fleet.vans.push(row(self.part.district, None));
        if let Fault::Moves {
            to,
            days_before_end,
        } = self.part.fault
        {
            let day = self.days - days_before_end;
            if day > 0 {
                fleet.vans.push(row(to, Some(self.date(day))));
            }
        }
    }

    /// The district of the base on a day.
    fn home(&self, day: i64) -> usize {
        match self.part.fault {
            Fault::Moves {
                to,
                days_before_end,
            } if day >= self.days - days_before_end => to,
            _ => self.part.district,
        }
    }

    fn tap(&self, district: usize, day: i64) -> Option<TapWater> {
        self.taps
            .get(district)
            .and_then(|t| t.on(usize::try_from(day).unwrap_or(0)))
            .copied()
    }

    fn fault_strikes(&mut self, day: i64) {
        if let Fault::SealLeak {
            days_before_end, ..
        } = self.part.fault
            && day == self.days - days_before_end
            && let Some(element) = &mut self.plant.element
        {
            element.leak = 0.03;
        }
    }

    /// Monday to Friday and some Saturdays, not at the turn of the year nor in
    /// the fortnight of the holiday.
    fn works(&mut self, day: i64) -> bool {
        let date = self.date(day);
        let turn_of_year =
            (date.month() == 12 && date.day() >= 24) || (date.month() == 1 && date.day() <= 2);
        let holiday = (0..14).contains(&(i64::from(date.day_of_year()) - self.holiday));
        let chance = match date.weekday() {
            Weekday::Sunday => 0.0,
            Weekday::Saturday => 0.12,
            _ => 0.93,
        };
        let out = self.usage.chance(chance);
        out && !turn_of_year && !holiday
    }

    fn fill(&mut self, day: i64, fleet: &mut SimulatedFleet) {
        let date = self.date(day);
        let home = self.home(day);
        let away = self.usage.chance(0.06);
        let elsewhere = self.usage.whole(0, DISTRICTS.len() as i64 - 1) as usize;
        let district = if away { elsewhere } else { home };
        let Some(mut tap) = self.tap(district, day) else {
            return;
        };
        tap.tap_bar = (tap.tap_bar + 0.12 * self.usage.normal()).max(1.5);
        let winter = matches!(date.month(), 12 | 1 | 2);
        let mean = self.part.litres_per_fill * if winter { 0.85 } else { 1.0 };
        let most = self.part.tank_litres.min(450.0);
        let litres = (mean + 55.0 * self.usage.normal())
            .clamp(200.0, most)
            .round();
        let bought_in = self.usage.chance(0.004);
        let (hour, minute) = (self.usage.whole(15, 18), self.usage.whole(0, 59));
        let started_at = date.at(hour as i8, minute as i8, 0, 0);
        let postcode = (district != home)
            .then(|| DISTRICTS.get(district).map(|d| d.postcode.to_owned()))
            .flatten();
        let now = self.plant.run(&tap);
        let minutes = if bought_in {
            12.0
        } else {
            60.0 * litres / now.permeate_l_h
        };
        let mut rejected = None;
        if !bought_in {
            if day >= self.next_reading {
                self.read(day, started_at, postcode.clone(), &tap, &now);
                self.next_reading = day + self.crew.whole(4, 9);
            }
            rejected = Some(self.plant.make(litres, &tap, &now));
            if self.plant.element.is_some() {
                self.usual_recovery += 0.02 * (now.recovery() - self.usual_recovery);
            }
            self.note_litres(litres, &now);
            self.counter += litres;
        }
        let noted = self.part.noted;
        let by_counter = noted.counter && !bought_in;
        fleet.fills.push(SimulatedFill {
            van: self.name.clone(),
            started_at,
            ended_at: noted.fill_end.then(|| minutes_after(started_at, minutes)),
            postcode,
            litres: (!by_counter).then_some(litres),
            meter_litres: by_counter.then_some(self.counter),
            reject_litres: rejected
                .filter(|_| noted.reject && self.plant.membranes > 0)
                .map(|l| (l / 5.0).round() * 5.0),
            bought_in,
        });
        if let Some(reading) = self.reading.take() {
            fleet.readings.push(reading);
        }
    }

    fn note_litres(&mut self, litres: f64, now: &Operation) {
        if let Some(element) = self.truth.elements.last_mut() {
            element.litres += litres;
        }
        if let Some(charge) = self.truth.charges.last_mut() {
            charge.litres += litres;
            if charge.reached_limit_at_litres.is_none() && now.product_ppm >= PRODUCT_LIMIT_PPM {
                charge.reached_limit_at_litres = Some(charge.litres);
            }
        }
    }

    /// A look at the meters, some minutes into the fill.
    fn read(
        &mut self,
        day: i64,
        started_at: DateTime,
        postcode: Option<String>,
        tap: &TapWater,
        now: &Operation,
    ) {
        let minutes = self.meters.between(5.0, 25.0);
        let noted = self.part.noted;
        let drift = match self.part.fault {
            Fault::TapProbeDrifts { days_before_end } => {
                let days = (day - (self.days - days_before_end)).max(0) as f64;
                (-0.0016 * days).exp()
            }
            _ => 1.0,
        };
        // Impatient readings in the first minute show what crept through at standstill.
        let creep = if self.meters.chance(0.02) { 1.7 } else { 1.0 };
        let feed = self.ppm(tap.feed_ppm * drift);
        let permeate = self.ppm(now.permeate_ppm * creep);
        let product = self.ppm(now.product_ppm);
        let temperature = tap.water_c + 0.5 * self.meters.normal();
        let pressure = now.feed_bar + 0.1 * self.meters.normal();
        let flows = self.meters.spread(0.03);
        let skip_product = self.meters.chance(0.05);
        let has_membrane = self.plant.membranes > 0;
        if has_membrane && feed > 0.0 {
            self.seen.push(permeate / feed);
        }
        self.decide(day, product);
        self.reading = Some(SimulatedReading {
            van: self.name.clone(),
            taken_at: minutes_after(started_at, minutes),
            postcode,
            feed_ppm: Some(feed),
            permeate_ppm: has_membrane.then_some(permeate),
            product_ppm: (!skip_product && self.plant.charge.is_some()).then_some(product),
            water_c: noted.temperature.then(|| (2.0 * temperature).round() / 2.0),
            feed_bar: noted.pressure.then(|| (10.0 * pressure).round() / 10.0),
            permeate_lpm: (noted.flow && has_membrane)
                .then(|| (now.permeate_l_h / 6.0 * flows).round() / 10.0),
            concentrate_lpm: (noted.flow && has_membrane)
                .then(|| (now.concentrate_l_h / 6.0 * flows).round() / 10.0),
        });
    }

    /// What a handheld meter shows: two per cent, a third of a ppm, whole ppm.
    fn ppm(&mut self, truth: f64) -> f64 {
        let noisy = truth * (1.0 + 0.02 * self.meters.normal()) + 0.35 * self.meters.normal();
        noisy.max(0.0).round()
    }

    /// After a look at the meters the crew may plan a change.
    fn decide(&mut self, day: i64, product_ppm: f64) {
        if let ResinHabit::AtPpm(ppm) = self.part.resin
            && product_ppm >= ppm
        {
            let wait = self.crew.whole(1, 6);
            self.plan(day + wait, "resin");
        }
        let recent = self.seen.len().saturating_sub(3);
        let mut last: Vec<f64> = self.seen.get(recent..).unwrap_or(&[]).to_vec();
        last.sort_by(f64::total_cmp);
        if last.len() == 3 && last.get(1).is_some_and(|&m| m >= self.part.membrane_at) {
            let wait = self.crew.whole(4, 20);
            self.plan(day + wait, "membrane");
        }
    }

    fn plan(&mut self, day: i64, item: &'static str) {
        if !self
            .due
            .iter()
            .any(|&(on, planned)| planned == item && on <= day + 30)
        {
            self.due.push((day, item));
        }
    }

    /// Changes that are due this morning.
    fn work_on_van(&mut self, day: i64, fleet: &mut SimulatedFleet) {
        let jitter = self.crew.whole(-6, 12);
        if (day - self.prefilter_changed + jitter) as f64 >= self.part.prefilter_days {
            self.plan(day, "prefilter");
        }
        if let ResinHabit::EveryDays(days) = self.part.resin
            && (day - self.charge_changed) as f64 >= days
        {
            self.plan(day, "resin");
        }
        let weekday = self.date(day).weekday();
        if matches!(weekday, Weekday::Saturday | Weekday::Sunday) {
            return;
        }
        let due: Vec<&'static str> = self
            .due
            .iter()
            .filter(|(on, _)| *on <= day)
            .map(|&(_, item)| item)
            .collect();
        self.due.retain(|(on, _)| *on > day);
        for item in due {
            self.change(day, item, fleet);
        }
        if self.crew.chance(0.002) {
            self.note_service(day, "flush", fleet);
        }
    }

    fn change(&mut self, day: i64, item: &'static str, fleet: &mut SimulatedFleet) {
        let on = self.date(day);
        match item {
            "prefilter" => {
                self.plant.prefilter = Prefilter::new(&mut self.parts);
                self.prefilter_changed = day;
            }
            "membrane" if self.plant.element.is_some() => {
                self.plant.element = Some(Element::new(&mut self.parts));
                self.seen.clear();
                if let Some(old) = self.truth.elements.last_mut() {
                    old.removed_on = Some(on);
                }
                self.truth.elements.push(new_element(Some(on)));
            }
            "resin" if self.plant.charge.is_some() => {
                self.plant.charge = Some(Charge::new(self.plant.resin_litres, &mut self.parts));
                self.charge_changed = day;
                if let Some(old) = self.truth.charges.last_mut() {
                    old.removed_on = Some(on);
                }
                self.truth.charges.push(new_charge(Some(on)));
            }
            _ => return,
        }
        if self.forgets == Some(item) {
            self.forgets = None;
        } else {
            self.note_service(day, item, fleet);
        }
    }

    fn note_service(&mut self, day: i64, item: &'static str, fleet: &mut SimulatedFleet) {
        let priced = self.crew.chance(0.7);
        let factor = self.crew.between(0.95, 1.08);
        let count = f64::from(self.part.membranes);
        let (quantity, price, part) = match item {
            "membrane" if count == 0.0 => return,
            "membrane" => (Some(count), Some(165.0 * count), Some("4040 low pressure")),
            "prefilter" => (Some(1.0), Some(34.0), Some("5 micron and carbon")),
            "resin" if self.part.resin_litres == 0.0 => return,
            "resin" => (
                Some(self.part.resin_litres),
                Some(6.0 * self.part.resin_litres),
                Some("mixed bed"),
            ),
            _ => (None, None, None),
        };
        fleet.services.push(SimulatedService {
            van: self.name.clone(),
            done_at: self.date(day),
            item,
            quantity,
            cost: price
                .filter(|_| priced)
                .map(|p| (p * factor * 100.0).round() / 100.0),
            part,
            note: (item == "flush").then_some("long flush after the holidays"),
        });
    }

    /// Keeps the truth that no meter shows.
    fn watch(&mut self, day: i64) {
        let home = self.home(day);
        let Some(district) = DISTRICTS.get(home) else {
            return;
        };
        let Some(mut tap) = self.tap(home, day) else {
            return;
        };
        tap.feed_ppm = district.feed_ppm;
        let bar = self.part.booster_bar.unwrap_or(district.tap_bar) - 0.15;
        let Some(passage) = self
            .plant
            .salt_passage_at_25(&tap, bar, self.usual_recovery)
        else {
            return;
        };
        let on = self.date(day);
        if let Some(element) = self.truth.elements.last_mut() {
            element.salt_passage = passage;
            if element.reached_limit_on.is_none() && passage >= SALT_PASSAGE_LIMIT {
                element.reached_limit_on = Some(on);
            }
        }
    }
}

fn new_element(fitted_on: Option<Date>) -> TrueElement {
    TrueElement {
        fitted_on,
        removed_on: None,
        litres: 0.0,
        salt_passage: 0.0,
        reached_limit_on: None,
    }
}

fn new_charge(changed_on: Option<Date>) -> TrueCharge {
    TrueCharge {
        changed_on,
        removed_on: None,
        litres: 0.0,
        reached_limit_at_litres: None,
    }
}

fn minutes_after(start: DateTime, minutes: f64) -> DateTime {
    start
        .checked_add((minutes.round() as i64).minutes())
        .unwrap_or(start)
}
