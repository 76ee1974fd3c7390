//! Day by day through the life of one van.

use jiff::ToSpan;
use jiff::civil::{Date, DateTime, Weekday};

use super::cast::{Fault, Part};
use super::fleet::{
    SimulatedFill, SimulatedFleet, SimulatedReading, SimulatedVan, TrueCharge, TrueElement, TrueVan,
};
use super::plant::{Operation, Plant};
use super::random::{Random, Stream};
use super::simulate::Plan;
use super::tap::{DISTRICTS, TapWater, TapYear};

const SALT_PASSAGE_LIMIT: f64 = 0.10;
const PRODUCT_LIMIT_PPM: f64 = 10.0;

/// A van, its crew and its taps on the way through the months.
pub(super) struct VanSimulation<'a> {
    pub(super) name: String,
    pub(super) part: Part,
    pub(super) taps: &'a [TapYear],
    pub(super) start: Date,
    pub(super) days: i64,
    /// Streams of their own: use of the van, meters, crew, parts.
    pub(super) usage: Random,
    pub(super) meters: Random,
    pub(super) crew: Random,
    pub(super) parts: Random,
    pub(super) plant: Plant,
    pub(super) truth: TrueVan,
    pub(super) prefilter_changed: i64,
    pub(super) charge_changed: i64,
    pub(super) next_reading: i64,
    pub(super) due: Vec<(i64, &'static str)>,
    pub(super) forgets: Option<&'static str>,
    /// Last shares of the feed that the crew saw after the membrane.
    pub(super) seen: Vec<f64>,
    pub(super) counter: f64,
    pub(super) usual_recovery: f64,
    pub(super) holiday: i64,
    pub(super) reading: Option<SimulatedReading>,
}

impl<'a> VanSimulation<'a> {
    pub(super) fn new(
        plan: &Plan,
        days: i64,
        number: u64,
        name: String,
        part: Part,
        taps: &'a [TapYear],
    ) -> Self {
        let stream = |purpose: Stream| Random::stream(plan.seed, purpose, number);
        let (mut parts, mut crew) = (stream(Stream::Parts), stream(Stream::Crew));
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
            usage: stream(Stream::Use),
            meters: stream(Stream::Meters),
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

    pub(super) fn run(mut self, fleet: &mut SimulatedFleet) {
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

    pub(super) fn date(&self, day: i64) -> Date {
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

pub(super) fn new_element(fitted_on: Option<Date>) -> TrueElement {
    TrueElement {
        fitted_on,
        removed_on: None,
        litres: 0.0,
        salt_passage: 0.0,
        reached_limit_on: None,
    }
}

pub(super) fn new_charge(changed_on: Option<Date>) -> TrueCharge {
    TrueCharge {
        changed_on,
        removed_on: None,
        litres: 0.0,
        reached_limit_at_litres: None,
    }
}

pub(super) fn minutes_after(start: DateTime, minutes: f64) -> DateTime {
    start
        .checked_add((minutes.round() as i64).minutes())
        .unwrap_or(start)
}

pub(super) fn day_after(start: Date, days: i64) -> Date {
    start.checked_add(days.days()).unwrap_or(Date::MAX)
}
