//! Day by day through the life of one van.

use crate::calendar::{Date, DateExt, DateTime, Datelike, TimeDelta, Weekday};

use super::cast::{Fault, Part};
use super::fleet::{
    EarlierLimit, SimulatedFill, SimulatedFleet, SimulatedReading, SimulatedVan, TrueCharge,
    TrueElement, TrueVan,
};
use super::nature::Batch;
use super::observer::{ChargeSeen, DaySeen, ElementSeen, Entering, FillSeen, VanHistory};
use super::plant::{Charge, Element, Operation, Plant};
use super::random::{Random, Stream};
use super::simulate::World;
use super::tap::{District, TapWater};

pub const SALT_PASSAGE_LIMIT: f64 = 0.10;
pub(super) const PRODUCT_LIMIT_PPM: f64 = 10.0;

/// A charge that goes on beside the van's own, with the element before it.
pub(super) struct ChargeOut {
    /// Its number in the truth, and which of its earlier limits it is, if one.
    number: usize,
    earlier: Option<usize>,
    charge: Charge,
    element: Option<Element>,
}

/// A van, its crew and its taps on the way through the months.
pub(super) struct VanSimulation<'a> {
    pub(super) name: String,
    pub(super) part: Part,
    pub(super) world: &'a World,
    pub(super) seed: u64,
    pub(super) number: u64,
    pub(super) start: Date,
    /// Days of the records, and with what lies ahead of them.
    pub(super) days: i64,
    pub(super) all_days: i64,
    /// Streams of their own: use of the van, meters, crew, parts.
    pub(super) usage: Random,
    pub(super) meters: Random,
    pub(super) crew: Random,
    pub(super) parts: Random,
    pub(super) plant: Plant,
    pub(super) truth: TrueVan,
    pub(super) prefilter_changed: i64,
    pub(super) charge_changed: i64,
    pub(super) element_changed: i64,
    pub(super) next_reading: i64,
    pub(super) due: Vec<(i64, &'static str)>,
    pub(super) forgets: Option<&'static str>,
    /// Last shares of the feed that the crew saw after the membrane.
    pub(super) seen: Vec<f64>,
    pub(super) counter: f64,
    pub(super) holiday: i64,
    pub(super) reading: Option<SimulatedReading>,
    /// Factor on litres of the present round, and when it changes next.
    pub(super) round: f64,
    pub(super) round_ends: i64,
    /// Parts that were taken out and go on beside the plant until their limit:
    /// number in the truth, and the part; a charge with the element before it.
    pub(super) elements_out: Vec<(usize, Element, Random)>,
    pub(super) charges_out: Vec<ChargeOut>,
    pub(super) history: Option<VanHistory>,
    /// Share of the first charge that was used before the simulation.
    used_at_start: Option<f64>,
}

impl<'a> VanSimulation<'a> {
    pub(super) fn new(world: &'a World, number: u64, name: String, part: Part) -> Self {
        let plan = &world.plan;
        let stream = |purpose: Stream| Random::stream(plan.seed, purpose, number);
        let (mut parts, mut crew) = (stream(Stream::Parts), stream(Stream::Crew));
        let mut plant = Plant::new(
            part.membranes,
            part.resin_litres,
            part.booster_bar,
            &world.nature,
            &Batch::on(&world.nature, plan.seed, part.starts_after_days),
            &mut parts,
        );
        let home = world.district(part.district);
        plant.set_valve(home.tap_bar, part.recovery);
        let new_van = part.starts_after_days > 0;
        let mut used_at_start = None;
        if !new_van {
            let litres = part.initial_scale / 0.012 * 1000.0;
            plant.element = plant
                .element
                .take()
                .map(|e| e.aged(part.initial_scale, litres));
            if let Some(charge) = plant.charge.take() {
                let share = parts.between(0.1, 0.8);
                used_at_start = Some(share);
                plant.charge = Some(charge.used(share));
            }
        }
        let bare = plant.bare();
        let first = part.starts_after_days;
        let truth = TrueVan {
            van: name.clone(),
            district: home.postcode,
            elements: Vec::new(),
            charges: Vec::new(),
            moves_on: None,
            probe_drifts_from: None,
            passage_drift_per_day: 0.0,
            litres_by_day: Vec::new(),
            plant: plant.clone(),
        };
        let prefilter_age = crew.between(0.0, 0.7 * part.prefilter_days) as i64;
        VanSimulation {
            name,
            part,
            world,
            seed: plan.seed,
            number,
            start: plan.start,
            days: world.days,
            all_days: world.days + plan.ahead_days,
            usage: stream(Stream::Use),
            meters: stream(Stream::Meters),
            prefilter_changed: if new_van { first } else { -prefilter_age },
            charge_changed: if new_van { first } else { -30 },
            element_changed: if new_van { first } else { -180 },
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
            reading: None,
            round: 1.0,
            round_ends: first + part.round.change_every_days,
            elements_out: Vec::new(),
            charges_out: Vec::new(),
            history: plan.keep_history.then(|| VanHistory {
                plant: Some(bare),
                noise: part.meters.noise,
                floor_ppm: part.meters.floor_ppm,
                step_ppm: part.meters.step_ppm,
                ..VanHistory::default()
            }),
            used_at_start,
        }
    }

    pub(super) fn run(mut self, fleet: &mut SimulatedFleet) -> Option<VanHistory> {
        self.list(fleet);
        let first = self.part.starts_after_days;
        if first > 0 {
            for item in ["prefilter", "membrane", "resin"] {
                self.note_service(first, item, fleet);
            }
        }
        let known = (first > 0).then_some(first);
        if let Some(temper) = self.plant.element.as_ref().map(Element::temper) {
            self.element_in(known, temper, true);
        }
        if self.plant.charge.is_some() {
            self.charge_in(known, true);
        }
        if let Fault::SealLeak {
            fitted_days_before_end,
            ..
        } = self.part.fault
        {
            self.due
                .push((self.days - fitted_days_before_end, "membrane"));
        }
        let before_end = |days: i64| Some(self.date(self.days - days));
        match self.part.fault {
            Fault::Moves {
                days_before_end, ..
            } => {
                self.truth.moves_on = before_end(days_before_end);
            }
            Fault::TapProbeDrifts {
                days_before_end, ..
            }
            | Fault::PermeateProbeDrifts {
                days_before_end, ..
            } => {
                self.truth.probe_drifts_from = before_end(days_before_end);
            }
            Fault::None | Fault::SealLeak { .. } => {}
        }
        self.truth.passage_drift_per_day = match self.part.fault {
            Fault::TapProbeDrifts { per_day, .. } => -per_day,
            Fault::PermeateProbeDrifts { per_day, .. } => per_day,
            _ => 0.0,
        };
        self.truth.litres_by_day = vec![0.0; self.all_days.max(0) as usize];
        for day in first..self.all_days {
            self.night();
            self.fault_strikes(day);
            self.work_on_van(day, fleet);
            if self.works(day) {
                self.fill(day, fleet);
            }
            self.watch(day);
            if day >= self.days && self.history.is_none() && self.nothing_left_to_learn() {
                break;
            }
        }
        self.truth.plant = self.plant;
        fleet.truth.push(self.truth);
        self.history
    }

    /// Whether every part that was in the van within the records has met its limit.
    fn nothing_left_to_learn(&self) -> bool {
        let of_records = |fitted_on: Option<Date>| {
            fitted_on.is_none_or(|d| d <= day_after(self.start, self.days - 1))
        };
        self.truth
            .elements
            .iter()
            .all(|e| e.limit_on.is_some() || !of_records(e.fitted_on))
            && self.truth.charges.iter().all(|c| {
                c.limit_on.is_some() && c.earlier.iter().all(|e| e.limit_on.is_some())
                    || !of_records(c.changed_on)
            })
    }

    /// The night before a day: the pace of ageing wanders.
    fn night(&mut self) {
        self.plant.next_day(&mut self.parts);
        let nature = self.plant.nature;
        for (_, element, random) in &mut self.elements_out {
            element.next_day(&nature, random);
        }
    }

    pub(super) fn element_in(&mut self, day: Option<i64>, temper: f64, recorded: bool) {
        if let Some(history) = &mut self.history {
            let scale = self.part.initial_scale;
            history.elements.push(ElementSeen {
                fitted: day.unwrap_or(0),
                initial: day.is_none().then_some((scale, scale / 0.012 * 1000.0)),
                leak: None,
            });
        }
        self.truth.elements.push(TrueElement {
            fitted_on: day.map(|d| self.date(d)),
            removed_on: None,
            recorded,
            litres: 0.0,
            salt_passage: 0.0,
            limit_on: None,
            leaks_from: None,
            temper,
            chlorine_share: 0.0,
            passages: Vec::new(),
        });
    }

    pub(super) fn element_out(&mut self, day: i64, old: Option<Element>) {
        let on = self.date(day);
        let number = self.truth.elements.len().saturating_sub(1);
        if let Some(truth) = self.truth.elements.last_mut() {
            if day < self.days {
                truth.removed_on = Some(on);
            }
            if let (Some(old), None) = (&old, truth.limit_on) {
                // Outside the van it wanders on a stream of its own.
                let stream = 1000 * self.number + number as u64;
                let random = Random::stream(self.seed, Stream::Outside, stream);
                self.elements_out.push((number, old.clone(), random));
            }
        }
    }

    /// The charge that stays behind a new membrane goes on behind the old one too.
    pub(super) fn charge_keeps_old_element(&mut self, day: i64, old: Option<Element>) {
        let before = self.date(day);
        let number = self.truth.charges.len().saturating_sub(1);
        let (Some(truth), Some(charge)) = (self.truth.charges.last_mut(), &self.plant.charge)
        else {
            return;
        };
        truth.earlier.push(EarlierLimit {
            before,
            limit_at_litres: truth.limit_at_litres,
            limit_on: truth.limit_on,
        });
        if truth.limit_on.is_none() {
            self.charges_out.push(ChargeOut {
                number,
                earlier: Some(truth.earlier.len() - 1),
                charge: charge.clone(),
                element: old,
            });
        }
    }

    pub(super) fn charge_in(&mut self, day: Option<i64>, recorded: bool) {
        if let Some(history) = &mut self.history {
            history.charges.push(ChargeSeen {
                used: self.used_at_start.take().filter(|_| day.is_none()),
                waters: Vec::new(),
            });
        }
        self.truth.charges.push(TrueCharge {
            changed_on: day.map(|d| self.date(d)),
            removed_on: None,
            recorded,
            litres: 0.0,
            limit_at_litres: None,
            limit_on: None,
            earlier: Vec::new(),
        });
    }

    pub(super) fn charge_out(&mut self, day: i64, old: Option<Charge>) {
        let on = self.date(day);
        let number = self.truth.charges.len().saturating_sub(1);
        if let Some(truth) = self.truth.charges.last_mut() {
            if day < self.days {
                truth.removed_on = Some(on);
            }
            if let (Some(old), None) = (old, truth.limit_on) {
                let before = self.plant.element.clone();
                self.charges_out.push(ChargeOut {
                    number,
                    earlier: None,
                    charge: old,
                    element: before,
                });
            }
        }
    }

    pub(super) fn date(&self, day: i64) -> Date {
        day_after(self.start, day)
    }

    fn list(&self, fleet: &mut SimulatedFleet) {
        let base = |district: usize| {
            let postcode = self.world.district(district).postcode;
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
        self.world
            .taps
            .get(district)
            .and_then(|t| t.on(usize::try_from(day).unwrap_or(0)))
            .copied()
    }

    fn fault_strikes(&mut self, day: i64) {
        let told = matches!(self.part.fault, Fault::SealLeak { days_before_end, .. }
            if day == self.days - days_before_end);
        let hazard = self.plant.nature.leak_per_day;
        let chance = hazard > 0.0 && self.parts.chance(hazard);
        let size = if chance {
            self.parts.between(0.01, 0.05)
        } else {
            0.03
        };
        let on = self.date(day);
        if let (true, Some(element)) = (told || chance, &mut self.plant.element)
            && element.leak == 0.0
        {
            element.leak = size;
            if let Some(truth) = self.truth.elements.last_mut() {
                truth.leaks_from = Some(on);
            }
            if let Some(seen) = self.history.as_mut().and_then(|h| h.elements.last_mut()) {
                seen.leak = Some((day, size));
            }
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
            Weekday::Sun => 0.0,
            Weekday::Sat => self.part.round.saturday,
            _ => self.part.round.weekday,
        };
        let out = self.usage.chance(chance);
        out && !turn_of_year && !holiday
    }

    fn fill(&mut self, day: i64, fleet: &mut SimulatedFleet) {
        let date = self.date(day);
        let home = self.home(day);
        let away = self.usage.chance(0.06);
        let elsewhere = self.usage.whole(0, self.world.taps.len() as i64 - 1) as usize;
        let district = if away { elsewhere } else { home };
        let Some(mut tap) = self.tap(district, day) else {
            return;
        };
        tap.tap_bar = (tap.tap_bar + 0.12 * self.usage.normal()).max(1.5);
        let winter = matches!(date.month(), 12 | 1 | 2);
        let round = self.part.round;
        if round.change_every_days > 0 && day >= self.round_ends {
            self.round *= self.usage.spread(round.change_sd);
            self.round = self.round.clamp(0.5, 1.6);
            self.round_ends = day + round.change_every_days;
        }
        let growth = (round.growth_per_year * day as f64 / 365.25).clamp(-0.5, 0.3);
        let mean = self.part.litres_per_fill
            * if winter { round.winter } else { 1.0 }
            * self.round
            * growth.exp();
        let most = self.part.tank_litres.min(450.0);
        let litres = (mean + 55.0 * self.usage.normal())
            .clamp(
                if round.change_every_days > 0 {
                    60.0
                } else {
                    200.0
                },
                most,
            )
            .round();
        let bought_in = self.usage.chance(0.004);
        let (hour, minute) = (self.usage.whole(15, 18), self.usage.whole(0, 59));
        let started_at = date.at(hour as u32, minute as u32, 0);
        let postcode =
            (district != home).then(|| self.world.district(district).postcode.to_owned());
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
                let (least, most) = self.part.read_every_days;
                self.next_reading = day + self.crew.whole(least, most);
            }
            self.remember(day, litres, &tap, &now);
            self.go_on_outside(litres, &tap);
            rejected = Some(self.plant.make(litres, &tap, &now));
            self.note_litres(day, litres);
            self.counter += litres;
        }
        if day >= self.days {
            self.reading = None;
            return;
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

    fn note_litres(&mut self, day: i64, litres: f64) {
        let recorded = day < self.days;
        if let Some(sum) = self.truth.litres_by_day.get_mut(day.max(0) as usize) {
            *sum += litres;
        }
        if let (Some(element), true) = (self.truth.elements.last_mut(), recorded) {
            element.litres += litres;
        }
        if let (Some(charge), true) = (self.truth.charges.last_mut(), recorded) {
            charge.litres += litres;
        }
    }

    fn remember(&mut self, day: i64, litres: f64, tap: &TapWater, now: &Operation) {
        let gains = self.gains(day);
        let reading = self
            .reading
            .as_ref()
            .filter(|_| day < self.days)
            .map(|r| [r.feed_ppm, r.permeate_ppm, r.product_ppm]);
        let Some(history) = &mut self.history else {
            return;
        };
        history.fills.push(FillSeen {
            day,
            litres,
            tap: *tap,
            prefilter: self.plant.prefilter.clone(),
            reading,
            gains,
        });
        if let Some(seen) = history.charges.last_mut() {
            let product = reading.and_then(|r| Some((r[2]?, gains[2])));
            seen.waters
                .push(entering(day, litres, tap, now.permeate_ppm, product));
        }
    }

    /// Parts that were taken out drink the same water, until their limit.
    fn go_on_outside(&mut self, litres: f64, tap: &TapWater) {
        for (_, element, _) in &mut self.elements_out {
            let mut plant = self.plant.bare();
            plant.element = Some(element.clone());
            let now = plant.run(tap);
            plant.make(litres, tap, &now);
            if let Some(aged) = plant.element {
                *element = aged;
            }
        }
        for out in &mut self.charges_out {
            let (charge, element) = (&mut out.charge, &mut out.element);
            let mut plant = self.plant.bare();
            plant.element = element.clone();
            plant.charge = Some(charge.clone());
            let now = plant.run(tap);
            plant.make(litres, tap, &now);
            if let Some(used) = plant.charge {
                *charge = used;
            }
            *element = plant.element;
        }
    }

    /// Keeps the truth that no meter shows.
    fn watch(&mut self, day: i64) {
        let home = self.home(day);
        let district: &District = self.world.district(home);
        let Some(mut tap) = self.tap(home, day) else {
            return;
        };
        self.watch_charges(day, &tap);
        let at_home = tap;
        tap.feed_ppm = district.feed_ppm;
        let bar = self.part.booster_bar.unwrap_or(district.tap_bar) - 0.15;
        if let Some(history) = &mut self.history {
            history.days.push(DaySeen {
                day,
                tap: at_home,
                usual_feed_ppm: tap.feed_ppm,
                bar,
            });
        }
        let on = self.date(day);
        let passage = |plant: &Plant| plant.salt_passage_at_25(&tap, bar);
        if let (Some(now), Some(element)) = (passage(&self.plant), self.truth.elements.last_mut()) {
            if day < self.days {
                element.salt_passage = now;
            }
            if day % 10 == 0 {
                element.passages.push((day, now));
            }
            if element.limit_on.is_none() {
                let share = self.plant.element.as_ref().map(Element::chlorine_share);
                element.chlorine_share = share.unwrap_or(0.0);
            }
            if element.limit_on.is_none() && now >= SALT_PASSAGE_LIMIT {
                element.limit_on = Some(on);
            }
        }
        let mut plant = self.plant.bare();
        let truth = &mut self.truth.elements;
        self.elements_out.retain(|(number, element, _)| {
            plant.element = Some(element.clone());
            let now = plant.salt_passage_at_25(&tap, bar);
            let over = now.is_some_and(|now| now >= SALT_PASSAGE_LIMIT);
            if let (Some(now), Some(truth)) = (now, truth.get_mut(*number)) {
                if over {
                    truth.limit_on = Some(on);
                }
                if day % 10 == 0 {
                    truth.passages.push((day, now));
                }
            }
            !over
        });
    }
}

impl VanSimulation<'_> {
    /// Whether product water at the base is at the limit today, for the charge
    /// in the van and for those that were taken out.
    fn watch_charges(&mut self, day: i64, tap: &TapWater) {
        let on = self.date(day);
        if let (Some(truth), Some(charge)) = (self.truth.charges.last_mut(), &self.plant.charge)
            && truth.limit_on.is_none()
            && self.plant.run(tap).product_ppm >= PRODUCT_LIMIT_PPM
        {
            truth.limit_on = Some(on);
            truth.limit_at_litres = Some(charge.litres);
        }
        let mut plant = self.plant.bare();
        let truths = &mut self.truth.charges;
        self.charges_out.retain(|out| {
            let Some(truth) = truths.get_mut(out.number) else {
                return false;
            };
            let (limit_on, limit_at_litres) = match out.earlier {
                Some(i) => match truth.earlier.get_mut(i) {
                    Some(e) => (&mut e.limit_on, &mut e.limit_at_litres),
                    None => return false,
                },
                None => (&mut truth.limit_on, &mut truth.limit_at_litres),
            };
            if limit_on.is_none() {
                plant.element = out.element.clone();
                plant.charge = Some(out.charge.clone());
                if plant.run(tap).product_ppm >= PRODUCT_LIMIT_PPM {
                    *limit_on = Some(on);
                    *limit_at_litres = Some(out.charge.litres);
                }
            }
            limit_at_litres.is_none()
        });
    }
}

fn entering(
    day: i64,
    litres: f64,
    tap: &TapWater,
    permeate_ppm: f64,
    product: Option<(f64, f64)>,
) -> Entering {
    Entering {
        day,
        litres,
        permeate_ppm,
        co2_mmol_l: Plant::co2_mmol_l(tap),
        mineral_share: tap.mineral_share,
        product,
    }
}

pub(super) fn minutes_after(start: DateTime, minutes: f64) -> DateTime {
    start
        .checked_add_signed(TimeDelta::minutes(minutes.round() as i64))
        .unwrap_or(start)
}

pub fn day_after(start: Date, days: i64) -> Date {
    start.plus_days(days)
}
