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
    pub(super) days: Vec<DaySeen>,
    /// The plant without parts.
    pub(super) plant: Option<Plant>,
    pub(super) elements: Vec<ElementSeen>,
    pub(super) charges: Vec<ChargeSeen>,
    pub(super) noise: f64,
    pub(super) floor_ppm: f64,
    pub(super) step_ppm: f64,
}

/// A day at the base.
#[derive(Debug, Clone, Copy)]
pub(super) struct DaySeen {
    pub day: i64,
    pub tap: TapWater,
    /// Strength of the tap over the years, and usual feed pressure.
    pub usual_feed_ppm: f64,
    pub bar: f64,
}

impl DaySeen {
    fn usual_tap(&self) -> TapWater {
        TapWater {
            feed_ppm: self.usual_feed_ppm,
            ..self.tap
        }
    }
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
}

impl VanHistory {
    /// Has the observer trust a reading no more than somebody who does not know
    /// the pressure at the tap and what the probes are off: `share` of it.
    pub fn doubt_readings(&mut self, share: f64) {
        self.noise = self.noise.max(share);
    }

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

    /// Equally likely elements in the van on `as_of`, given all readings up to then.
    fn elements_on(
        &self,
        number: usize,
        as_of: i64,
        particles: usize,
        random: &mut Random,
    ) -> Option<Vec<Element>> {
        let seen = self.elements.get(number)?;
        let mut plant = self.plant.clone()?;
        let nature = plant.nature;
        let mut cloud: Vec<Element> = (0..particles)
            .map(|_| {
                let batch = Batch {
                    element: nature.element_batch_sd * random.normal(),
                    resin: 0.0,
                };
                let new = Element::new(&nature, &batch, random);
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
                element.next_day(&nature, random);
                if let Some((from, size)) = seen.leak
                    && day == from
                {
                    element.leak = size;
                }
            }
            while let Some(fill) = fills.next_if(|f| f.day <= day) {
                let read = fill.reading.and_then(|r| r[1]);
                for (element, weight) in cloud.iter_mut().zip(&mut weights) {
                    let now = drink(&mut plant, Some(element), None, fill);
                    if let Some(read) = read {
                        *weight += self.ln_likelihood(read, fill.gains[1] * now);
                    }
                }
                if read.is_some() {
                    resample(&mut cloud, &mut weights, 0.5, random);
                }
            }
        }
        resample(&mut cloud, &mut weights, 1.0, random);
        Some(cloud)
    }

    /// Days from `as_of` until element number `number` of the van reaches the
    /// limit, equally likely; infinite: not within what is known of the future.
    pub fn element_limit(
        &self,
        number: usize,
        as_of: i64,
        particles: usize,
        seed: u64,
    ) -> Option<Vec<f64>> {
        let mut random = Random::stream(seed, Stream::Observer, number as u64);
        let cloud = self.elements_on(number, as_of, particles, &mut random)?;
        let mut plant = self.plant.clone()?;
        let left = cloud.into_iter().map(|mut element| {
            let mut days = f64::INFINITY;
            self.go_on(
                as_of,
                &mut plant,
                Some(&mut element),
                None,
                &mut random,
                |plant, n, seen| {
                    // Twice a week is near enough.
                    let over = n.is_multiple_of(3)
                        && plant
                            .salt_passage_at_25(&seen.usual_tap(), seen.bar)
                            .is_some_and(|p| p >= SALT_PASSAGE_LIMIT);
                    if over {
                        days = (seen.day - as_of) as f64;
                    }
                    over
                },
            );
            days
        });
        Some(left.collect())
    }

    /// The days after `as_of`, with the water that came, until `stop` says so.
    fn go_on(
        &self,
        as_of: i64,
        plant: &mut Plant,
        mut element: Option<&mut Element>,
        mut charge: Option<&mut Charge>,
        random: &mut Random,
        mut stop: impl FnMut(&Plant, usize, &DaySeen) -> bool,
    ) {
        let nature = plant.nature;
        let days = self.days.partition_point(|d| d.day <= as_of);
        let mut next = self.fills.partition_point(|f| f.day <= as_of);
        for (n, seen) in self.days.iter().skip(days).enumerate() {
            if let Some(element) = element.as_deref_mut() {
                element.next_day(&nature, random);
                if nature.leak_per_day > 0.0
                    && element.leak == 0.0
                    && random.chance(nature.leak_per_day)
                {
                    element.leak = random.between(0.01, 0.05);
                }
            }
            while let Some(fill) = self.fills.get(next).filter(|f| f.day <= seen.day) {
                drink(plant, element.as_deref_mut(), charge.as_deref_mut(), fill);
                next += 1;
            }
            plant.element = element.as_deref().cloned();
            plant.charge = charge.as_deref().cloned();
            if stop(plant, n, seen) {
                return;
            }
        }
    }

    /// The same in days and in litres until charge number `number`, behind element
    /// number `element`, reaches the limit.
    pub fn charge_limit(
        &self,
        number: usize,
        element: Option<usize>,
        as_of: i64,
        particles: usize,
        seed: u64,
    ) -> Option<(Vec<f64>, Vec<f64>)> {
        let seen = self.charges.get(number)?;
        let mut plant = self.plant.clone()?;
        let nature = plant.nature;
        let mut random = Random::stream(seed, Stream::Observer, 1000 + number as u64);
        let elements = match element {
            Some(n) => self.elements_on(n, as_of, particles, &mut random)?,
            None => Vec::new(),
        };
        // Charges by importance: many drawn, weighted by the readings so far.
        let drawn = 20 * particles;
        let mut charges = Vec::with_capacity(drawn);
        let mut weights = Vec::with_capacity(drawn);
        for _ in 0..drawn {
            let batch = Batch {
                element: 0.0,
                resin: nature.resin_batch_sd * random.normal(),
            };
            let mut charge = Charge::new(&nature, &batch, plant.resin_litres, &mut random);
            if let Some(share) = seen.used {
                charge = charge.used(share);
            }
            let mut weight = 0.0;
            for water in seen.waters.iter().take_while(|w| w.day <= as_of) {
                if let Some((read, gain)) = water.product {
                    let product = charge.product_ppm(water.permeate_ppm, water.co2_mmol_l);
                    weight += self.ln_likelihood(read, gain * product);
                }
                charge.treat(
                    water.litres,
                    water.permeate_ppm,
                    water.co2_mmol_l,
                    water.mineral_share,
                );
            }
            charges.push(charge);
            weights.push(weight);
        }
        let likely = weighted(charges, &weights);
        let total: f64 = likely.iter().map(|c| c.1).sum();
        let (mut days, mut litres) = (Vec::new(), Vec::new());
        for i in 0..particles {
            let mut target = (i as f64 + random.unit()) / particles as f64 * total;
            let picked = likely.iter().find(|c| {
                target -= c.1;
                target <= 0.0
            });
            let mut charge = picked.or(likely.last())?.0.clone();
            let mut element = elements.get(i).cloned();
            let before = charge.litres;
            let mut left = (f64::INFINITY, f64::INFINITY);
            self.go_on(
                as_of,
                &mut plant,
                element.as_mut(),
                Some(&mut charge),
                &mut random,
                |plant, _, seen| {
                    let over = plant.run(&seen.tap).product_ppm >= PRODUCT_LIMIT_PPM;
                    if over {
                        let treated = plant.charge.as_ref().map_or(0.0, |c| c.litres);
                        left = ((seen.day - as_of) as f64, treated - before);
                    }
                    over
                },
            );
            days.push(left.0);
            litres.push(left.1);
        }
        Some((days, litres))
    }
}

/// What is given drinks a fill, a charge behind an element; what came out of
/// the element, ppm.
fn drink(
    plant: &mut Plant,
    element: Option<&mut Element>,
    charge: Option<&mut Charge>,
    fill: &FillSeen,
) -> f64 {
    plant.prefilter = fill.prefilter.clone();
    plant.element = element.as_deref().cloned();
    plant.charge = charge.as_deref().cloned();
    let now = plant.run(&fill.tap);
    plant.make(fill.litres, &fill.tap, &now);
    if let (Some(element), Some(aged)) = (element, plant.element.take()) {
        *element = aged;
    }
    if let (Some(charge), Some(used)) = (charge, plant.charge.take()) {
        *charge = used;
    }
    now.permeate_ppm
}

fn weighted<T>(values: Vec<T>, ln_weights: &[f64]) -> Vec<(T, f64)> {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    values
        .into_iter()
        .zip(ln_weights.iter().map(|w| (w - top).exp()))
        .collect()
}

/// Systematic resampling once the weights are worth less than `share` of the
/// cloud; what an element is gets a small shake so that the cloud stays alive.
fn resample(cloud: &mut Vec<Element>, ln_weights: &mut [f64], share: f64, random: &mut Random) {
    let top = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = ln_weights.iter().map(|w| (w - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let n = weights.len() as f64;
    if total * total / squares > share * n {
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
