//! The crew: when parts are changed, and what is written down about it.

use jiff::civil::Weekday;

use super::cast::ResinHabit;
use super::fleet::{SimulatedFleet, SimulatedService};
use super::plant::{Charge, Element, Prefilter};
use super::van::{VanSimulation, new_charge, new_element};

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

    pub(super) fn note_service(
        &mut self,
        day: i64,
        item: &'static str,
        fleet: &mut SimulatedFleet,
    ) {
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
