//! The crew: when parts are changed, and what is written down about it.

use crate::calendar::{Datelike, Weekday};

use super::cast::{MembraneHabit, ResinHabit};
use super::fleet::{SimulatedFleet, SimulatedService};
use super::nature::Batch;
use super::plant::{Charge, Element, Prefilter};
use super::van::VanSimulation;

impl VanSimulation<'_> {
    /// After a look at the meters the crew may plan a change.
    pub(super) fn decide(&mut self, day: i64, product_ppm: f64) {
        if let ResinHabit::AtPpm(ppm) = self.part.resin
            && product_ppm >= ppm
        {
            let wait = self.crew.whole(1, 6);
            self.plan(day + wait, "resin");
        }
        let recent = self.seen.len().saturating_sub(3);
        let mut last: Vec<f64> = self.seen.get(recent..).unwrap_or(&[]).to_vec();
        last.sort_by(f64::total_cmp);
        if let MembraneHabit::AtShare(share) = self.part.membrane
            && last.len() == 3
            && last.get(1).is_some_and(|&m| m >= share)
        {
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
    pub(super) fn work_on_van(&mut self, day: i64, fleet: &mut SimulatedFleet) {
        let jitter = self.crew.whole(-6, 12);
        if (day - self.prefilter_changed + jitter) as f64 >= self.part.prefilter_days {
            self.plan(day, "prefilter");
        }
        if let ResinHabit::EveryDays(days) = self.part.resin
            && (day - self.charge_changed) as f64 >= days
        {
            self.plan(day, "resin");
        }
        if let MembraneHabit::EveryDays(days) = self.part.membrane
            && (day - self.element_changed) as f64 >= days
        {
            self.plan(day, "membrane");
        }
        let weekday = self.date(day).weekday();
        if matches!(weekday, Weekday::Sat | Weekday::Sun) {
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
        let batch = Batch::on(&self.plant.nature, self.seed, day);
        let forgotten = self.forgets == Some(item)
            || self.part.forgetful > 0.0 && self.crew.chance(self.part.forgetful);
        match item {
            "prefilter" => {
                self.plant.prefilter = Prefilter::new(&mut self.parts);
                self.prefilter_changed = day;
            }
            "membrane" if self.plant.element.is_some() => {
                let new = Element::new(&self.plant.nature, &batch, &mut self.parts);
                let temper = new.temper();
                let old = self.plant.element.replace(new);
                self.seen.clear();
                self.element_changed = day;
                self.charge_keeps_old_element(day, old.clone());
                self.element_out(day, old);
                self.element_in(Some(day), temper, !forgotten);
            }
            "resin" if self.plant.charge.is_some() => {
                let new = Charge::new(
                    &self.plant.nature,
                    &batch,
                    self.plant.resin_litres,
                    &mut self.parts,
                );
                let old = self.plant.charge.replace(new);
                self.charge_changed = day;
                self.charge_out(day, old);
                self.charge_in(Some(day), !forgotten);
            }
            _ => return,
        }
        if self.forgets == Some(item) {
            self.forgets = None;
        } else if !forgotten {
            self.note_service(day, item, fleet);
        }
    }

    pub(super) fn note_service(
        &mut self,
        day: i64,
        item: &'static str,
        fleet: &mut SimulatedFleet,
    ) {
        if day >= self.days {
            return;
        }
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
}
