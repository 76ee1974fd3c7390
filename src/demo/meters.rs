//! Looking at the meters: what is noted, rounded, and what is wrong with it.

use crate::calendar::DateTime;

use super::cast::Fault;
use super::fleet::SimulatedReading;
use super::plant::Operation;
use super::tap::TapWater;
use super::van::{VanSimulation, minutes_after};

impl VanSimulation<'_> {
    /// A look at the meters, some minutes into the fill.
    pub(super) fn read(
        &mut self,
        day: i64,
        started_at: DateTime,
        postcode: Option<String>,
        tap: &TapWater,
        now: &Operation,
    ) {
        let minutes = self.meters.between(5.0, 25.0);
        let noted = self.part.noted;
        let [tap_gain, permeate_gain, product_gain] = self.gains(day);
        // Impatient readings in the first minute show what crept through at standstill.
        let creep = if self.meters.chance(0.02) { 1.7 } else { 1.0 };
        let feed = self.ppm(tap.feed_ppm * tap_gain);
        let permeate = self.ppm(now.permeate_ppm * creep * permeate_gain);
        let product = self.ppm(now.product_ppm * product_gain);
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

    /// Readings over truth of the three probes on a day.
    pub(super) fn gains(&self, day: i64) -> [f64; 3] {
        let [mut tap, mut permeate, product] = self.part.meters.gains;
        let since = |days_before_end: i64| (day - (self.days - days_before_end)).max(0) as f64;
        match self.part.fault {
            Fault::TapProbeDrifts {
                days_before_end,
                per_day,
            } => tap *= (per_day * since(days_before_end)).exp(),
            Fault::PermeateProbeDrifts {
                days_before_end,
                per_day,
            } => permeate *= (per_day * since(days_before_end)).exp(),
            _ => {}
        }
        [tap, permeate, product]
    }

    /// What a handheld meter shows: some per cent, a share of a ppm, its steps.
    fn ppm(&mut self, truth: f64) -> f64 {
        let meters = self.part.meters;
        let noisy = truth * (1.0 + meters.noise * self.meters.normal())
            + meters.floor_ppm * self.meters.normal();
        (noisy.max(0.0) / meters.step_ppm).round() / (1.0 / meters.step_ppm).round()
    }
}
