//! The plant in a van as physics: membrane elements in their water, carbon
//! filter, resin vessel. Nothing here is the model that is fitted later.

use super::chemistry::{
    MEQ_PER_PPM, carbonic_acid_ppm, co2_mmol_l, langelier, log_mean_factor,
    salt_temperature_factor, water_temperature_factor,
};
use super::nature::{Batch, Nature};
use super::random::Random;
use super::tap::TapWater;

/// Membrane element (or several that age together), solution–diffusion.
#[derive(Debug, Clone)]
pub struct Element {
    /// Water permeability at 25 °C when new, L/h/bar.
    water_25: f64,
    /// Salt permeability at 25 °C when new, L/h.
    salt_25: f64,
    /// How fast this one scales and fouls against a usual one.
    temper: f64,
    /// Slow wandering of that pace, ln.
    pace: f64,
    /// Scale and fouling so far, in ln of salt passage.
    scale: f64,
    /// Free chlorine seen, ppm·h.
    pub chlorine_ppm_h: f64,
    /// Share of the feed-side water that slips past a seal.
    pub leak: f64,
    /// Litres made.
    pub litres: f64,
}

impl Element {
    /// A new 4040-size element: 61 L/h/bar, salt passage near 0.025 on tap
    /// pressure; makers' tolerance between elements.
    pub fn new(nature: &Nature, batch: &Batch, random: &mut Random) -> Element {
        let mut element = Element {
            water_25: 61.0 * random.spread(0.06),
            salt_25: 2.8 * random.spread(nature.salt_sd),
            temper: random.spread(nature.temper_sd) * batch.element.exp(),
            pace: nature.pace_sd * random.normal(),
            scale: 0.0,
            chlorine_ppm_h: 0.0,
            leak: 0.0,
            litres: 0.0,
        };
        if nature.weak_share > 0.0 && random.chance(nature.weak_share) {
            element.temper *= nature.weak_factor;
        }
        element
    }

    /// An element that already carries so much scale (ln of salt passage).
    pub fn aged(mut self, scale: f64, litres: f64) -> Element {
        self.scale = scale;
        self.litres = litres;
        self
    }

    /// Share of its decline so far that chlorine did.
    pub fn chlorine_share(&self) -> f64 {
        let chlorine = 0.75 * self.oxidation();
        let all = chlorine + self.scale.max(0.0);
        if all > 0.0 { chlorine / all } else { 0.0 }
    }

    /// Beyond a threshold chlorine opens the polyamide: both flows rise, salt more.
    fn oxidation(&self) -> f64 {
        ((self.chlorine_ppm_h - 120.0) / 450.0).max(0.0)
    }

    /// Moves what elements are towards their mean and spreads it again by as
    /// much, so that copies differ (Liu & West 2001, kernel width 0.15).
    pub fn shake(cloud: &mut [Element], random: &mut Random) {
        const WIDTH: f64 = 0.15;
        let keep = (1.0 - WIDTH * WIDTH).sqrt();
        let n = cloud.len().max(1) as f64;
        let fields: [fn(&mut Element) -> &mut f64; 2] = [|e| &mut e.salt_25, |e| &mut e.temper];
        for field in fields {
            let mean = cloud.iter_mut().map(|e| field(e).ln()).sum::<f64>() / n;
            let variance = cloud
                .iter_mut()
                .map(|e| (field(e).ln() - mean).powi(2))
                .sum::<f64>()
                / n;
            for element in cloud.iter_mut() {
                let value = field(element);
                let ln = keep * value.ln()
                    + (1.0 - keep) * mean
                    + WIDTH * variance.sqrt() * random.normal();
                *value = ln.exp();
            }
        }
    }

    /// How fast this one ages against a usual one.
    pub fn temper(&self) -> f64 {
        self.temper
    }

    fn water_permeability(&self) -> f64 {
        self.water_25 * (-0.35 * self.scale + 0.25 * self.oxidation()).exp()
    }

    fn salt_permeability(&self) -> f64 {
        self.salt_25 * (0.65 * self.scale + self.oxidation()).exp()
    }

    /// A night passes: the pace wanders, with a correlation time of about two months.
    pub fn next_day(&mut self, nature: &Nature, random: &mut Random) {
        self.pace =
            0.984 * self.pace + nature.pace_sd * (1.0 - 0.984f64 * 0.984).sqrt() * random.normal();
    }

    /// Ageing by making `litres` in `hours`, per element.
    fn age(
        &mut self,
        nature: &Nature,
        litres: f64,
        hours: f64,
        tap: &TapWater,
        recovery: f64,
        chlorine_mg_l: f64,
    ) {
        let cf = 1.0 / (1.0 - recovery);
        let index = langelier(
            tap.ph + cf.log10(),
            0.9 * tap.hardness_mg_l_caco3 * cf,
            tap.alkalinity_mg_l_caco3 * cf,
            1.08 * tap.feed_ppm * cf,
            tap.water_c,
        );
        let supersaturated = (index / 0.35).exp().ln_1p();
        // Per 1000 L: fouling that every water brings, scaling where it is saturated.
        let rate = nature.fouling + nature.scaling * supersaturated;
        // What has settled offers a surface for more.
        let growth = rate * self.temper * self.pace.exp() * (1.0 + nature.convexity * self.scale);
        self.scale += growth * litres / 1000.0;
        self.chlorine_ppm_h += chlorine_mg_l * hours;
        self.litres += litres;
    }
}

/// Sediment and carbon filter, changed together.
#[derive(Debug, Clone)]
pub struct Prefilter {
    capacity_mg: f64,
    chlorine_mg: f64,
    feed_litres: f64,
}

impl Prefilter {
    pub fn new(random: &mut Random) -> Prefilter {
        Prefilter {
            capacity_mg: 30_000.0 * random.spread(0.12),
            chlorine_mg: 0.0,
            feed_litres: 0.0,
        }
    }

    /// Share of the tap's chlorine that comes through.
    fn breakthrough(&self) -> f64 {
        logistic((self.chlorine_mg / self.capacity_mg - 1.0) / 0.12)
    }

    fn pressure_drop_bar(&self) -> f64 {
        0.1 + (0.35 * (self.feed_litres / 80_000.0).powi(2)).min(1.0)
    }

    fn pass(&mut self, feed_litres: f64, chlorine_mg_l: f64) {
        self.feed_litres += feed_litres;
        self.chlorine_mg += feed_litres * chlorine_mg_l * (1.0 - self.breakthrough());
    }
}

/// A mixed-bed charge: what it has taken against what it can take.
#[derive(Debug, Clone)]
pub struct Charge {
    /// First event: anion side full, carbon dioxide leaks.
    anion_meq: f64,
    anion_capacity_meq: f64,
    /// Second event: mineral anions or cations reach the end.
    mineral_meq: f64,
    mineral_capacity_meq: f64,
    cation_meq: f64,
    cation_capacity_meq: f64,
    /// Width of the front over capacity.
    width: f64,
    /// Everything breaks through with the first event.
    one_step: bool,
    pub litres: f64,
}

impl Charge {
    /// Capacities per litre of mixed bed: 0.46 eq to the first leak (trade
    /// sizing rule of 10 000 grains per cubic foot), and 0.6 of the ideal
    /// 0.55 (mineral anions) and 0.76 (cations) to the second.
    pub fn new(nature: &Nature, batch: &Batch, resin_litres: f64, random: &mut Random) -> Charge {
        let quality = random.spread(nature.quality_sd) * batch.resin.exp();
        let meq = 1000.0 * resin_litres * quality;
        Charge {
            anion_meq: 0.0,
            anion_capacity_meq: nature.anion_eq_l * meq * random.spread(0.08),
            mineral_meq: 0.0,
            mineral_capacity_meq: nature.second_share * 0.55 * meq * random.spread(0.15),
            cation_meq: 0.0,
            cation_capacity_meq: nature.second_share * 0.76 * meq * random.spread(0.15),
            width: random.between(0.04, 0.09),
            one_step: nature.one_step,
            litres: 0.0,
        }
    }

    /// A charge that has already taken such a share of its first capacity.
    pub fn used(mut self, share: f64) -> Charge {
        self.anion_meq = share * self.anion_capacity_meq;
        self.mineral_meq = 0.25 * share * self.mineral_capacity_meq;
        self.cation_meq = 0.25 * share * self.cation_capacity_meq;
        self
    }

    /// Product water while `permeate_ppm` enters, ppm.
    pub fn product_ppm(&self, permeate_ppm: f64, co2_mmol_l: f64) -> f64 {
        let first = logistic((self.anion_meq / self.anion_capacity_meq - 1.0) / self.width);
        if self.one_step {
            return 0.2 + (permeate_ppm - 0.2).max(0.0) * first;
        }
        let spent = (self.mineral_meq / self.mineral_capacity_meq)
            .max(self.cation_meq / self.cation_capacity_meq);
        let second = logistic((spent - 1.0) / self.width);
        let plateau = carbonic_acid_ppm(co2_mmol_l).min(permeate_ppm.max(0.3));
        0.2 + plateau * first * (1.0 - second) + (permeate_ppm - 0.2).max(0.0) * second
    }

    pub fn treat(&mut self, litres: f64, permeate_ppm: f64, co2_mmol_l: f64, mineral_share: f64) {
        let ions = MEQ_PER_PPM * permeate_ppm * litres;
        self.anion_meq += ions + co2_mmol_l * litres;
        self.mineral_meq += ions * mineral_share;
        self.cation_meq += ions;
        self.litres += litres;
    }
}

/// What a plant does at a tap at one moment.
#[derive(Debug, Clone, Copy)]
pub struct Operation {
    pub feed_bar: f64,
    /// All elements together, L/h.
    pub permeate_l_h: f64,
    pub concentrate_l_h: f64,
    /// Permeate over feed, a fraction.
    pub salt_passage: f64,
    pub permeate_ppm: f64,
    pub product_ppm: f64,
}

impl Operation {
    pub fn recovery(&self) -> f64 {
        self.permeate_l_h / (self.permeate_l_h + self.concentrate_l_h)
    }
}

/// Everything on board that the water passes.
#[derive(Debug, Clone)]
pub struct Plant {
    /// `None` on a resin-only van.
    pub element: Option<Element>,
    pub membranes: u32,
    /// `None` where the van carries no resin.
    pub charge: Option<Charge>,
    pub resin_litres: f64,
    pub prefilter: Prefilter,
    /// Booster pump's pressure; `None` for tap pressure.
    pub booster_bar: Option<f64>,
    /// Reject valve: L/h at 1 bar.
    valve: f64,
    pub nature: Nature,
}

impl Plant {
    /// Sets the reject valve so that a usual day at `tap_bar` recovers the wished share.
    pub fn set_valve(&mut self, tap_bar: f64, recovery: f64) {
        let bar = self.booster_bar.unwrap_or(tap_bar) - 0.1;
        let made = 61.0 * f64::from(self.membranes) * 0.65 * (bar - 0.5);
        self.valve = made * (1.0 / recovery - 1.0) / bar.sqrt();
    }

    pub fn new(
        membranes: u32,
        resin_litres: f64,
        booster_bar: Option<f64>,
        nature: &Nature,
        batch: &Batch,
        random: &mut Random,
    ) -> Plant {
        Plant {
            element: (membranes > 0).then(|| Element::new(nature, batch, random)),
            membranes,
            charge: (resin_litres > 0.0).then(|| Charge::new(nature, batch, resin_litres, random)),
            resin_litres,
            prefilter: Prefilter::new(random),
            booster_bar,
            valve: 100.0,
            nature: *nature,
        }
    }

    /// The same plant with neither element nor charge.
    pub fn bare(&self) -> Plant {
        Plant {
            element: None,
            membranes: self.membranes,
            charge: None,
            resin_litres: self.resin_litres,
            prefilter: self.prefilter.clone(),
            booster_bar: self.booster_bar,
            valve: self.valve,
            nature: self.nature,
        }
    }

    /// The same plant without resin.
    pub fn bare_of_charge(self) -> Plant {
        Plant {
            charge: None,
            ..self
        }
    }

    /// A seal starts to leak that share of the feed-side water.
    pub fn spring_leak(&mut self, share: f64) {
        if let Some(element) = &mut self.element {
            element.leak = element.leak.max(share);
        }
    }

    /// The plant running steadily on this water.
    pub fn run(&self, tap: &TapWater) -> Operation {
        let co2 = co2_mmol_l(tap.alkalinity_mg_l_caco3, tap.ph, tap.water_c);
        let bar = self.booster_bar.unwrap_or(tap.tap_bar) - self.prefilter.pressure_drop_bar();
        let Some(element) = &self.element else {
            let product = self.product(tap.feed_ppm, co2);
            return Operation {
                feed_bar: bar,
                permeate_l_h: 420.0,
                concentrate_l_h: 0.0,
                salt_passage: 1.0,
                permeate_ppm: tap.feed_ppm,
                product_ppm: product,
            };
        };
        let passed = self.pass(element, bar, tap, tap.water_c, None);
        let permeate_ppm = tap.feed_ppm * passed.salt_passage;
        Operation {
            feed_bar: bar,
            permeate_l_h: passed.permeate_l_h,
            concentrate_l_h: passed.concentrate_l_h,
            salt_passage: passed.salt_passage,
            permeate_ppm,
            product_ppm: self.product(permeate_ppm, co2),
        }
    }

    /// True salt passage at 25 °C at a given feed pressure, at the recovery that
    /// is usual for the element as it is: that of a tap of middling temperature.
    pub fn salt_passage_at_25(&self, tap: &TapWater, feed_bar: f64) -> Option<f64> {
        const MIDDLING_C: f64 = 11.5;
        let element = self.element.as_ref()?;
        let usual = self.pass(element, feed_bar, tap, MIDDLING_C, None);
        let recovery = usual.permeate_l_h / (usual.permeate_l_h + usual.concentrate_l_h);
        Some(
            self.pass(element, feed_bar, tap, 25.0, Some(recovery))
                .salt_passage,
        )
    }

    fn product(&self, permeate_ppm: f64, co2_mmol_l: f64) -> f64 {
        self.charge
            .as_ref()
            .map_or(permeate_ppm, |c| c.product_ppm(permeate_ppm, co2_mmol_l))
    }

    fn pass(
        &self,
        element: &Element,
        feed_bar: f64,
        tap: &TapWater,
        water_c: f64,
        fixed_recovery: Option<f64>,
    ) -> Passed {
        let count = f64::from(self.membranes.max(1));
        let concentrate = self.valve * feed_bar.max(0.2).sqrt();
        // 0.75 bar osmotic pressure per 1000 mg/L; mg/L about 1.08 times ppm.
        let osmotic = 0.00075 * 1.08 * tap.feed_ppm;
        let (mut recovery, mut salt_passage, mut permeate) =
            (fixed_recovery.unwrap_or(0.3), 0.03, 1.0);
        for _ in 0..4 {
            let mean = log_mean_factor(recovery);
            let net_bar = (feed_bar - 0.2 - osmotic * (mean - salt_passage)).max(0.2);
            permeate =
                count * element.water_permeability() * water_temperature_factor(water_c) * net_bar;
            recovery =
                fixed_recovery.unwrap_or((permeate / (permeate + concentrate)).clamp(0.02, 0.8));
            let polarisation = (0.7 * recovery).exp();
            let odds = count
                * element.salt_permeability()
                * salt_temperature_factor(water_c, self.nature.salt_activation_k)
                * polarisation
                * log_mean_factor(recovery)
                / permeate;
            let through = odds / (1.0 + odds);
            salt_passage =
                (through + element.leak * (log_mean_factor(recovery) - through)).min(1.0);
        }
        Passed {
            permeate_l_h: permeate,
            concentrate_l_h: concentrate,
            salt_passage,
        }
    }

    /// Carbon dioxide that passes the membrane, mmol/L.
    pub fn co2_mmol_l(tap: &TapWater) -> f64 {
        co2_mmol_l(tap.alkalinity_mg_l_caco3, tap.ph, tap.water_c)
    }

    /// Makes `litres` and grows older by it; gives the litres to drain.
    pub fn make(&mut self, litres: f64, tap: &TapWater, now: &Operation) -> f64 {
        let recovery = now.recovery();
        let hours = litres / now.permeate_l_h;
        let feed = litres / recovery;
        let chlorine = tap.chlorine_mg_l * self.prefilter.breakthrough();
        let count = f64::from(self.membranes.max(1));
        if let Some(element) = &mut self.element {
            element.age(&self.nature, litres / count, hours, tap, recovery, chlorine);
        }
        self.prefilter.pass(feed, tap.chlorine_mg_l);
        let co2 = co2_mmol_l(tap.alkalinity_mg_l_caco3, tap.ph, tap.water_c);
        if let Some(charge) = &mut self.charge {
            charge.treat(litres, now.permeate_ppm, co2, tap.mineral_share);
        }
        feed - litres
    }

    /// A night passes.
    pub fn next_day(&mut self, random: &mut Random) {
        if let Some(element) = &mut self.element {
            element.next_day(&self.nature, random);
        }
    }
}

struct Passed {
    permeate_l_h: f64,
    concentrate_l_h: f64,
    salt_passage: f64,
}

fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}
