//! What somebody would forecast who knows how the invented world works, every
//! litre and every tap, past and to come, and lacks only what this one element
//! or charge is like: the bound for every forecast that knows less.
//!
//! Elements by a particle filter over the readings (Gordon, Salmond & Smith
//! 1993; static numbers kept alive after Liu & West 2001), charges by plain
//! importance sampling.

use super::nature::Batch;
use super::plant::{Charge, Element, Plant, Prefilter};
use super::random::{Random, Stream};
use super::tap::TapWater;
use super::van::{PRODUCT_LIMIT_PPM, SALT_PASSAGE_LIMIT};

/// Everything that happened to a van, day by day from the fleet's first.
#[derive(Debug, Clone, Default)]
pub struct VanHistory {
    pub(super) fills: Vec<FillSeen>,
    /// Day, base's tap, usual feed pressure.
    pub(super) days: Vec<(i64, TapWater, f64)>,
    /// The plant without parts.
    pub(super) plant: Option<Plant>,
    pub(super) elements: Vec<ElementSeen>,
    pub(super) charges: Vec<ChargeSeen>,
    pub(super) noise: f64,
    pub(super) floor_ppm: f64,
    pub(super) step_ppm: f64,
}

#[derive(Debug, Clone)]
pub(super) struct FillSeen {
    pub day: i64,
    pub litres: f64,
    pub tap: TapWater,
    /// As it stood before the fill.
    pub prefilter: Prefilter,
    pub reading: Option<[Option<f64>; 3]>,
    /// Readings over truth of the probes.
    pub gains: [f64; 3],
}

#[derive(Debug, Clone, Default)]
pub(super) struct ElementSeen {
    pub fitted: i64,
    /// Already climbed, ln, and its litres.
    pub initial: Option<(f64, f64)>,
    pub leak: Option<(i64, f64)>,
}

#[derive(Debug, Clone, Default)]
pub(super) struct ChargeSeen {
    /// Share already used at the start, if it was there before.
    pub used: Option<f64>,
    pub waters: Vec<Entering>,
}

/// One fill's water in front of the resin.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entering {
    pub day: i64,
    pub litres: f64,
    pub permeate_ppm: f64,
    pub co2_mmol_l: f64,
    pub mineral_share: f64,
    /// What the product probe showed, and its gain.
    pub product: Option<(f64, f64)>,
    pub at_home: bool,
}

/// A weighted sample of days from the as-of day to the limit; infinite: not
/// within what is known of the future.
pub type WeightedDays = Vec<(f64, f64)>;

impl VanHistory {
    fn ln_likelihood(&self, read: f64, truth: f64) -> f64 {
        let density = |mean: f64| {
            let sd = ((self.noise * mean).powi(2)
                + self.floor_ppm * self.floor_ppm
                + self.step_ppm * self.step_ppm / 12.0)
                .sqrt();
            let z = (read - mean) / sd;
            (-0.5 * z * z).exp() / sd
        };
        (0.98 * density(truth) + 0.02 * density(1.7 * truth) + 1e-9).ln()
    }

    /// Days from `as_of` until element number `number` of the van reaches the limit.
    pub fn element_limit(
        &self,
        number: usize,
        as_of: i64,
        particles: usize,
        seed: u64,
    ) -> Option<WeightedDays> {
        let seen = self.elements.get(number)?;
        let mut plant = self.plant.clone()?;
        let nature = plant.nature;
        let mut random = Random::stream(seed, Stream::Observer, number as u64);
        let mut cloud: Vec<Element> = (0..particles)
            .map(|_| {
                let batch = Batch {
                    element: nature.element_batch_sd * random.normal(),
                    resin: 0.0,
                };
                let new = Element::new(&nature, &batch, &mut random);
                match seen.initial {
                    Some((scale, litres)) => new.aged(scale, litres),
                    None => new,
                }
            })
            .collect();
        let mut weights = vec![0.0_f64; particles];
        let mut fills = self
            .fills
            .iter()
            .skip_while(|f| f.day < seen.fitted)
            .peekable();
        for day in seen.fitted..=as_of {
            for element in &mut cloud {
                element.next_day(&nature, &mut random);
                if let Some((from, size)) = seen.leak
                    && day == from
                {
                    element.leak = size;
                }
            }
            while let Some(fill) = fills.next_if(|f| f.day <= day) {
                let read = fill.reading.and_then(|r| r[1]);
                for (element, weight) in cloud.iter_mut().zip(&mut weights) {
                    let now = drink(&mut plant, element, fill);
                    if let Some(read) = read {
                        *weight += self.ln_likelihood(read, fill.gains[1] * now);
                    }
                }
                if read.is_some() {
                    resample(&mut cloud, &mut weights, &mut random);
                }
            }
        }
        // The future: the same water for all, each element in its own way.
        let mut left = vec![f64::INFINITY; particles];
        let days = self.days.partition_point(|d| d.0 <= as_of);
        let rest = self.days.get(days..).unwrap_or_default();
        let start = self.fills.partition_point(|f| f.day <= as_of);
        for (element, left) in cloud.iter_mut().zip(&mut left) {
            let mut next = start;
            for (n, (day, tap, bar)) in rest.iter().enumerate() {
                element.next_day(&nature, &mut random);
                if nature.leak_per_day > 0.0
                    && element.leak == 0.0
                    && random.chance(nature.leak_per_day)
                {
                    element.leak = random.between(0.01, 0.05);
                }
                while let Some(fill) = self.fills.get(next).filter(|f| f.day <= *day) {
                    drink(&mut plant, element, fill);
                    next += 1;
                }
                // Twice a week is near enough.
                if n.is_multiple_of(3) {
                    plant.element = Some(element.clone());
                    let passage = plant.salt_passage_at_25(tap, *bar);
                    if passage.is_some_and(|p| p >= SALT_PASSAGE_LIMIT) {
                        *left = (*day - as_of) as f64;
                        break;
                    }
                }
            }
        }
        Some(weighted(left, &weights))
    }

    /// Days and litres from `as_of` until charge number `number` reaches the limit.
    pub fn charge_limit(
        &self,
        number: usize,
        as_of: i64,
        particles: usize,
        seed: u64,
    ) -> Option<(WeightedDays, WeightedDays)> {
        let seen = self.charges.get(number)?;
        let plant = self.plant.as_ref()?;
        let nature = plant.nature;
        let mut random = Random::stream(seed, Stream::Observer, 1000 + number as u64);
        let mut weights = Vec::with_capacity(particles);
        let mut days = Vec::with_capacity(particles);
        let mut litres = Vec::with_capacity(particles);
        for _ in 0..particles {
            let batch = Batch {
                element: 0.0,
                resin: nature.resin_batch_sd * random.normal(),
            };
            let mut charge = Charge::new(&nature, &batch, plant.resin_litres, &mut random);
            if let Some(share) = seen.used {
                charge = charge.used(share);
            }
            let mut weight = 0.0;
            let mut left = (f64::INFINITY, f64::INFINITY);
            let mut treated = 0.0;
            for water in &seen.waters {
                let product = charge.product_ppm(water.permeate_ppm, water.co2_mmol_l);
                if water.day <= as_of {
                    if let Some((read, gain)) = water.product {
                        weight += self.ln_likelihood(read, gain * product);
                    }
                } else {
                    if water.at_home && product >= PRODUCT_LIMIT_PPM {
                        left = ((water.day - as_of) as f64, treated);
                        break;
                    }
                    treated += water.litres;
                }
                charge.treat(
                    water.litres,
                    water.permeate_ppm,
                    water.co2_mmol_l,
                    water.mineral_share,
                );
            }
            weights.push(weight);
            days.push(left.0);
            litres.push(left.1);
        }
        Some((weighted(days, &weights), weighted(litres, &weights)))
    }
}

/// An element drinks a fill; what it let through, ppm.
fn drink(plant: &mut Plant, element: &mut Element, fill: &FillSeen) -> f64 {
    plant.prefilter = fill.prefilter.clone();
    plant.element = Some(element.clone());
    let now = plant.run(&fill.tap);
    plant.make(fill.litres, &fill.tap, &now);
    if let Some(aged) = plant.element.take() {
        *element = aged;
    }
    now.permeate_ppm
}

fn weighted(values: Vec<f64>, ln_weights: &[f64]) -> WeightedDays {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    values
        .into_iter()
        .zip(ln_weights.iter().map(|w| (w - top).exp()))
        .collect()
}

/// Systematic resampling once the weights are uneven; what an element is gets
/// a small shake so that the cloud stays alive.
fn resample(cloud: &mut Vec<Element>, ln_weights: &mut [f64], random: &mut Random) {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = ln_weights.iter().map(|w| (w - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let n = weights.len() as f64;
    if total * total / squares > 0.5 * n {
        return;
    }
    let step = total / n;
    let mut target = random.unit() * step;
    let mut below = 0.0;
    let mut next = Vec::with_capacity(cloud.len());
    for (element, weight) in cloud.iter().zip(&weights) {
        below += weight;
        while target < below && next.len() < cloud.len() {
            next.push(element.clone());
            target += step;
        }
    }
    while next.len() < cloud.len() {
        match cloud.last() {
            Some(last) => next.push(last.clone()),
            None => break,
        }
    }
    Element::shake(&mut next, random);
    *cloud = next;
    ln_weights.fill(0.0);
}
