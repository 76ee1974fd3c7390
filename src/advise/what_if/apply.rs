//! A change carried into lives, settings and what is otherwise from now on.

use super::WhatIfError;
use super::change::{By, Change, Price, Scope};
use crate::advise::prices::{KnownPrice, KnownPrices};
use crate::fit::Assumptions;
use crate::lives::{Fleet, FleetLives, HardnessAt, VanLives, water_in};
use crate::settings::Settings;
use crate::water;

/// A fleet and its settings as they would be.
pub struct Otherwise {
    pub lives: FleetLives,
    pub settings: Settings,
    /// As `lives.vans`.
    pub ahead: Vec<Assumptions>,
    /// What has to be known to read the answer.
    pub notes: Vec<String>,
}

impl Otherwise {
    pub fn unchanged(lives: &FleetLives, settings: &Settings) -> Otherwise {
        Otherwise {
            lives: lives.clone(),
            settings: settings.clone(),
            ahead: vec![Assumptions::default(); lives.vans.len()],
            notes: Vec::new(),
        }
    }

    /// # Errors
    /// A van or district that nothing is known of; prices that nobody gave.
    pub fn apply(&mut self, change: &Change, fleet: &Fleet) -> Result<(), WhatIfError> {
        match change {
            Change::ProductLimit(ppm) => self.settings.limits.product_ppm = *ppm,
            Change::SaltPassageLimit(share) => self.settings.limits.salt_passage = *share,
            Change::Prices(by) => self.prices(*by)?,
            Change::Price(price, by) => self.price(*price, *by)?,
            Change::Moves { van, to } => self.moves(van, to, fleet)?,
            Change::Hardness(by, whom) => self.hardness(*by, whom)?,
            Change::Membranes(n, whom) => {
                self.each(whom, |van, _| {
                    if van.membranes > 0 {
                        van.membranes = *n;
                    }
                })?;
                self.notes.push(format!(
                    "From the next change on, {n} new membranes share the water; those in use stay as they are."
                ));
            }
            Change::Recovery { from, to, whom } => self.recovery(*from, *to, whom)?,
        }
        Ok(())
    }

    /// Does something to every van that is meant.
    fn each(
        &mut self,
        whom: &Scope,
        mut change: impl FnMut(&mut VanLives, &mut Assumptions),
    ) -> Result<usize, WhatIfError> {
        let meant = |van: &VanLives| match whom {
            Scope::All => true,
            Scope::Van(name) => *van.van == **name,
            Scope::District(district) => van.district.as_deref() == Some(district),
        };
        let mut n = 0;
        for (van, ahead) in self.lives.vans.iter_mut().zip(&mut self.ahead) {
            if meant(van) {
                n += 1;
                change(van, ahead);
            }
        }
        match (n, whom) {
            (0, Scope::Van(name)) => Err(WhatIfError::NoVan(name.clone())),
            (0, Scope::District(district)) => Err(WhatIfError::NoVanThere(district.clone())),
            _ => Ok(n),
        }
    }

    fn moves(&mut self, name: &str, to: &str, fleet: &Fleet) -> Result<(), WhatIfError> {
        let there =
            water_in(fleet, &self.lives, to).ok_or_else(|| WhatIfError::NoWater(to.to_owned()))?;
        self.each(&Scope::Van(name.to_owned()), |van, ahead| {
            other_water(van, ahead, there.hardness, there.feed_ppm);
            van.district = Some(to.into());
        })?;
        self.notes.push(format!(
            "The water in {to} has {:.0} mg/L hardness; pressure at the tap there may differ, which nothing tells.",
            there.hardness.mg_l_caco3
        ));
        Ok(())
    }

    fn hardness(&mut self, by: By, whom: &Scope) -> Result<(), WhatIfError> {
        self.each(whom, |van, ahead| {
            if let Some(now) = van.hardness {
                let then = HardnessAt {
                    mg_l_caco3: by.of(now.mg_l_caco3),
                    ..now
                };
                other_water(van, ahead, then, None);
            }
        })?;
        self.notes.push(
            "All that is dissolved in the tap water is taken to change with its hardness."
                .to_owned(),
        );
        Ok(())
    }

    /// Less water to the drain for the same pure water: a stronger concentrate
    /// on the membrane, so more comes through and more settles.
    fn recovery(&mut self, from: Option<f64>, to: f64, whom: &Scope) -> Result<(), WhatIfError> {
        let usual = self.settings.running.recovery;
        let mut old = Vec::new();
        self.each(whom, |van, ahead| {
            if van.membranes == 0 {
                return;
            }
            let before = from.or(van.recovery).unwrap_or(usual);
            old.push(before);
            van.recovery = Some(to);
            ahead.ln_passage += through(to).ln() - through(before).ln();
            if let Some(h) = van.hardness {
                let now = ahead.hardness.map_or(h.mg_l_caco3, |a| a.0);
                let then = ahead.hardness.map_or(h.mg_l_caco3, |a| a.1);
                let stronger =
                    water::concentration_factor(to) / water::concentration_factor(before);
                ahead.hardness = Some((now, then * stronger));
            }
        })?;
        if *whom == Scope::All {
            self.settings.running.recovery = to;
        }
        let before = crate::fit::middle_of(old.into_iter()).unwrap_or(usual);
        let rise =
            water::langelier_rise_in_concentrate(to) - water::langelier_rise_in_concentrate(before);
        let risk = if rise > 0.0 {
            "scale settles sooner, above all in hard water; watch the flow and ask the maker for the highest recovery allowed"
        } else {
            "scale settles later"
        };
        self.notes.push(format!(
            "At {:.0} % instead of {:.0} % the waste is {:.1} instead of {:.1} times as strong as the tap (Langelier index {rise:+.2}): {risk}. The wear is taken as in water harder by that much (judgement).",
            100.0 * to,
            100.0 * before,
            water::concentration_factor(to),
            water::concentration_factor(before),
        ));
        Ok(())
    }

    fn prices(&mut self, by: By) -> Result<(), WhatIfError> {
        let known = KnownPrices::of(&self.settings, &self.lives);
        let parts = [known.membrane, known.prefilter, known.resin_per_litre];
        let waters = [known.water_per_m3, known.drain_per_m3];
        if parts.iter().chain(&waters).all(Option::is_none) {
            return Err(WhatIfError::NoPrices);
        }
        let of = |known: Option<KnownPrice>| known.map(|k| by.of(k.price));
        let p = &mut self.settings.prices;
        [p.membrane, p.prefilter, p.resin_per_litre] = parts.map(of);
        [p.water_per_m3, p.drain_per_m3] = waters.map(of);
        self.keep_lost_day(known);
        self.notes.push(
            "Parts, water and drain change; labour and a lost round stay as they are.".to_owned(),
        );
        Ok(())
    }

    /// A lost round that nobody priced goes by the membrane's price of today.
    fn keep_lost_day(&mut self, before: KnownPrices) {
        if before.lost_day.is_none()
            && let Some(membrane) = before.membrane
        {
            self.settings.prices.lost_day =
                Some(crate::advise::prices::LOST_DAY_PER_MEMBRANE * membrane.price);
        }
    }

    fn price(&mut self, price: Price, by: By) -> Result<(), WhatIfError> {
        let known = KnownPrices::of(&self.settings, &self.lives);
        self.keep_lost_day(known);
        let p = &mut self.settings.prices;
        let (now, put) = match price {
            Price::Membrane => (known.membrane, &mut p.membrane),
            Price::Prefilter => (known.prefilter, &mut p.prefilter),
            Price::Resin => (known.resin_per_litre, &mut p.resin_per_litre),
            Price::Water => (known.water_per_m3, &mut p.water_per_m3),
            Price::Drain => (known.drain_per_m3, &mut p.drain_per_m3),
            Price::Labour => (known.labour_per_visit, &mut p.labour_per_visit),
            Price::LostDay => (known.lost_day, &mut p.lost_day),
        };
        *put = match (by, now) {
            (By::To(x), _) => Some(x),
            (by, Some(now)) => Some(by.of(now.price)),
            (By::Times(_), None) => return Err(WhatIfError::NoPrices),
        };
        Ok(())
    }
}

/// What comes through at a recovery against none: the mean strength along the
/// feed side and what gathers at the membrane's face.
fn through(recovery: f64) -> f64 {
    water::log_mean_factor(recovery) * water::polarisation_factor(recovery)
}

/// From now on a van drinks other water; without its own tap the van's is taken
/// to change with the hardness.
fn other_water(
    van: &mut VanLives,
    ahead: &mut Assumptions,
    then: HardnessAt,
    feed_ppm: Option<f64>,
) {
    let now = van.hardness.map(|h| h.mg_l_caco3);
    if let Some(now) = now {
        let (wearing, worn) = ahead.hardness.unwrap_or((now, now));
        ahead.hardness = Some((wearing, worn * then.mg_l_caco3 / now.max(1.0)));
    }
    let scaled = van
        .feed_ppm
        .zip(now)
        .map(|(feed, now)| feed * then.mg_l_caco3 / now.max(1.0));
    van.feed_ppm = feed_ppm.or(scaled);
    van.hardness = Some(then);
}
