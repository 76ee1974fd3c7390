//! What the next new element and charge would really live in each district.

use super::cast::Part;
use super::fleet::{TrueDistrict, TrueVan};
use super::nature::Batch;
use super::plant::{Charge, Plant, Prefilter};
use super::random::{Random, Stream};
use super::simulate::World;
use super::van::{PRODUCT_LIMIT_PPM, SALT_PASSAGE_LIMIT};

/// New elements and charges tried in each district.
const TRIED: usize = 60;
/// Days a week on which the median van is out.
const OUT_DAYS: i64 = 5;

/// The true lives in each district with a van based in it, in order of name.
pub(super) fn true_districts(world: &World, parts: &[Part], vans: &[TrueVan]) -> Vec<TrueDistrict> {
    let mut out: Vec<TrueDistrict> = world
        .districts
        .iter()
        .enumerate()
        .filter_map(|(number, district)| {
            let based: Vec<&Part> = parts.iter().filter(|p| p.district == number).collect();
            let membranes: Vec<&&Part> = based.iter().filter(|p| p.membranes > 0).collect();
            if based.is_empty() {
                return None;
            }
            let middle = |value: &dyn Fn(&Part) -> f64| {
                let mut values: Vec<f64> = membranes.iter().map(|p| value(p)).collect();
                values.sort_by(f64::total_cmp);
                values.get(values.len() / 2).copied()
            };
            let mut passages: Vec<f64> = parts
                .iter()
                .zip(vans)
                .filter(|(p, _)| p.district == number && p.membranes > 0)
                .filter_map(|(_, v)| {
                    let in_use = v.elements.iter().rfind(|e| e.salt_passage > 0.0);
                    in_use.map(|e| e.salt_passage)
                })
                .collect();
            passages.sort_by(f64::total_cmp);
            let typical = Typical {
                salt_passage: passages.get(passages.len() / 2).copied().unwrap_or(0.04),
                number,
                litres: middle(&|p| {
                    p.litres_per_fill * (5.0 * p.round.weekday + p.round.saturday) / 5.0
                })
                .unwrap_or(300.0),
                recovery: middle(&|p| p.recovery).unwrap_or(0.33),
                booster_bar: middle(&|p| p.booster_bar.unwrap_or(0.0)).filter(|b| *b > 0.0),
                membranes: middle(&|p| f64::from(p.membranes)).unwrap_or(1.0) as u32,
                resin_litres: middle(&|p| p.resin_litres).unwrap_or(11.0),
                prefilter_days: middle(&|p| p.prefilter_days).unwrap_or(84.0) as i64,
            };
            let mut random = Random::stream(world.plan.seed, Stream::Next, number as u64);
            let lives: Vec<(f64, f64)> = (0..TRIED)
                .map(|_| typical.element_life(world, &mut random))
                .collect();
            let charges: Vec<f64> = (0..TRIED)
                .map(|_| typical.charge_life(world, &mut random))
                .collect();
            let has_membrane = !membranes.is_empty();
            Some(TrueDistrict {
                postcode: district.postcode,
                vans: based.len(),
                hardness_mg_l_caco3: district.hardness_mg_l_caco3,
                membranes: typical.membranes,
                membrane_life_litres: median(lives.iter().map(|l| l.0)).filter(|_| has_membrane),
                membrane_life_days: median(lives.iter().map(|l| l.1)).filter(|_| has_membrane),
                resin_life_litres: median(charges.into_iter()).filter(|_| has_membrane),
            })
        })
        .collect();
    out.sort_by_key(|d| d.postcode);
    out
}

/// The median van of a district.
struct Typical {
    number: usize,
    /// Of the elements in use on the last day, the middle one's.
    salt_passage: f64,
    litres: f64,
    recovery: f64,
    booster_bar: Option<f64>,
    membranes: u32,
    resin_litres: f64,
    prefilter_days: i64,
}

impl Typical {
    fn plant(&self, world: &World, random: &mut Random) -> Plant {
        let batch = Batch {
            element: world.nature.element_batch_sd * random.normal(),
            resin: world.nature.resin_batch_sd * random.normal(),
        };
        let mut plant = Plant::new(
            self.membranes,
            self.resin_litres,
            self.booster_bar,
            &world.nature,
            &batch,
            random,
        );
        plant.set_valve(world.district(self.number).tap_bar, self.recovery);
        plant
    }

    /// Litres and days until a new element reaches the limit; infinite beyond
    /// what lies ahead.
    fn element_life(&self, world: &World, random: &mut Random) -> (f64, f64) {
        let district = world.district(self.number);
        let Some(taps) = world.taps.get(self.number) else {
            return (f64::INFINITY, f64::INFINITY);
        };
        let mut plant = self.plant(world, random).bare_of_charge();
        let bar = self.booster_bar.unwrap_or(district.tap_bar) - 0.15;
        let mut litres = 0.0;
        for day in 0..world.plan.ahead_days {
            plant.next_day(random);
            if day > 0 && day % self.prefilter_days.max(1) == 0 {
                plant.prefilter = Prefilter::new(random);
            }
            let hazard = world.nature.leak_per_day;
            if hazard > 0.0 && random.chance(hazard) {
                plant.spring_leak(random.between(0.01, 0.05));
            }
            let Some(tap) = taps.on((world.days + day) as usize) else {
                break;
            };
            if day % 7 < OUT_DAYS {
                let now = plant.run(tap);
                plant.make(self.litres, tap, &now);
                litres += self.litres;
            }
            let mut usual = *tap;
            usual.feed_ppm = district.feed_ppm;
            let passage = plant.salt_passage_at_25(&usual, bar);
            if passage.is_some_and(|p| p >= SALT_PASSAGE_LIMIT) {
                return (litres, day as f64);
            }
        }
        (f64::INFINITY, f64::INFINITY)
    }

    /// Litres until a new charge behind the middle element reaches the limit.
    fn charge_life(&self, world: &World, random: &mut Random) -> f64 {
        let Some(taps) = world.taps.get(self.number) else {
            return f64::INFINITY;
        };
        let mut plant = self.plant(world, random);
        let district = world.district(self.number);
        let bar = self.booster_bar.unwrap_or(district.tap_bar) - 0.15;
        if let (Some(new), Some(tap)) = (plant.element.clone(), taps.on(world.days as usize)) {
            // Aged until it lets through what the middle element does.
            let (mut low, mut high) = (-0.5, 3.0);
            for _ in 0..30 {
                let scale = 0.5 * (low + high);
                plant.element = Some(new.clone().aged(scale, 0.0));
                match plant.salt_passage_at_25(tap, bar) {
                    Some(now) if now < self.salt_passage => low = scale,
                    _ => high = scale,
                }
            }
        }
        for day in 0..world.plan.ahead_days {
            plant.next_day(random);
            let Some(tap) = taps.on((world.days + day) as usize) else {
                break;
            };
            if day % 7 < OUT_DAYS {
                let now = plant.run(tap);
                if now.product_ppm >= PRODUCT_LIMIT_PPM {
                    return plant
                        .charge
                        .as_ref()
                        .map_or(f64::INFINITY, |c: &Charge| c.litres);
                }
                plant.make(self.litres, tap, &now);
            }
        }
        f64::INFINITY
    }
}

/// The median; `None` where it lies beyond what was followed.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted
        .get(sorted.len() / 2)
        .copied()
        .filter(|m| m.is_finite())
}
