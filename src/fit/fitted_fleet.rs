//! What the whole fleet teaches, and each van's forecast with it.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use crate::calendar::Date;

use super::usage::{Season, fleet_litres_per_week};
use super::valves::Valves;
use super::van::{self, Charted, Glance, Known, VanForecast, VanObservations};
use super::{AreaFit, Assumptions, FleetFindings, FleetWide, ResinUse};
use super::{areas, areas::Based, membrane, meters::FleetMeters, resin};
use crate::lives::{Cut, VanLives};
use crate::settings::Settings;

/// How each van's readings are gathered.
struct Gathering {
    season: Season,
    fleet_week: Option<f64>,
    /// How the fleet's reject valves are, as far as vans tell.
    valves: Valves,
    /// Where records end.
    until: Date,
    meters: FleetMeters,
    /// Of every van whose lives are held; of others gathered when asked for.
    held: Vec<VanObservations>,
}

impl Gathering {
    fn of<C: Cut>(fleet: &C, glances: &[&Glance]) -> Result<Gathering, C::Error> {
        let weeks = || glances.iter().map(|van| &van.weeks[..]);
        let season = Season::of(weeks());
        let taps: Vec<_> = glances
            .iter()
            .map(|van| (van.taps.as_ref(), van.is_heard))
            .collect();
        let mut gathering = Gathering {
            meters: FleetMeters::learn(fleet, &taps)?,
            fleet_week: fleet_litres_per_week(weeks(), &season),
            season,
            valves: Valves::of(glances.iter().filter_map(|van| van.valve)),
            until: fleet.frame().until,
            held: Vec::new(),
        };
        if C::HELD {
            gathering.held =
                fleet.each(&all_of(fleet), |number, van| gathering.gather(number, van))?;
        }
        Ok(gathering)
    }

    fn gather(&self, number: usize, van: &VanLives) -> VanObservations {
        let meters = self.meters.van(number);
        let through = self.valves.through_recovery(van.valve, van.recovery);
        VanObservations::of(
            van,
            (self.fleet_week, &self.season),
            (meters, through),
            self.until,
        )
    }

    fn observations(&self, number: usize, van: &VanLives) -> Cow<'_, VanObservations> {
        match self.held.get(number) {
            Some(observations) => Cow::Borrowed(observations),
            None => Cow::Owned(self.gather(number, van)),
        }
    }
}

fn all_of<C: Cut>(fleet: &C) -> Vec<usize> {
    (0..fleet.vans()).collect()
}

/// What the whole fleet teaches of membranes.
pub(super) struct Membranes {
    gathering: Gathering,
    /// What each van's elements tell.
    told: Vec<Vec<Option<membrane::ElementLikelihood>>>,
    pub(super) fit: membrane::SharedFit,
}

impl Membranes {
    /// `glances`: of every van of the fleet, by its number.
    pub(super) fn learn<C: Cut>(
        fleet: &C,
        glances: &[&Glance],
        settings: &Settings,
    ) -> Result<Membranes, C::Error> {
        let gathering = Gathering::of(fleet, glances)?;
        let mut fit = shared_numbers(fleet, glances, &gathering)?;
        let told: Vec<Vec<Option<membrane::ElementLikelihood>>> =
            fleet.each(&all_of(fleet), |number, van| {
                let observations = gathering.observations(number, van);
                let each = observations.elements.iter();
                each.map(|e| membrane::element_likelihood(&fit, e))
                    .collect()
            })?;
        let ln_limit = settings.limits.salt_passage.ln();
        fit.usual_exposures = membrane::usual_exposures(&fit, ln_limit);
        let mut late: Vec<f64> = told
            .iter()
            .flatten()
            .flatten()
            .map(|t| t.late_share)
            .collect();
        fit.usual_late_share = crate::stats::robust::median_in_place(&mut late).unwrap_or(0.0);
        Ok(Membranes {
            gathering,
            told,
            fit,
        })
    }

    /// Looks at what is known of a van besides its lives.
    pub(super) fn with<T>(
        &self,
        number: usize,
        van: &VanLives,
        glances: &[&Glance],
        observation: impl FnOnce(Known<'_>) -> T,
    ) -> T {
        observation(Known {
            observations: &self.gathering.observations(number, van),
            charges: glances.get(number).map_or(&[], |van| &van.charges),
        })
    }
}

/// The membranes' shared numbers, from some elements of all that teach.
fn shared_numbers<C: Cut>(
    fleet: &C,
    glances: &[&Glance],
    gathering: &Gathering,
) -> Result<membrane::SharedFit, C::Error> {
    let teaching = glances.iter().enumerate().flat_map(|(van, glance)| {
        let elements = glance.is_usable_for_fit.iter().enumerate();
        elements.filter_map(move |(e, is_usable_for_fit)| is_usable_for_fit.then_some((van, e)))
    });
    let chosen: Vec<(usize, usize)> = membrane::chosen(teaching.collect());
    let mut vans: Vec<usize> = chosen.iter().map(|(van, _)| *van).collect();
    vans.dedup();
    let observations = fleet.each(&vans, |number, van| gathering.observations(number, van))?;
    let elements: Vec<(usize, &membrane::ElementObservations)> = chosen
        .iter()
        .filter_map(|(van, e)| {
            let observations = observations.get(vans.binary_search(van).ok()?)?;
            Some((*van, observations.elements.get(*e)?))
        })
        .collect();
    Ok(membrane::fit_shared(&elements))
}

/// What the whole fleet teaches: with it each van is forecast on its own.
pub struct FittedFleet<'a> {
    membranes: Membranes,
    resin: resin::ResinFit,
    glances: Vec<&'a Glance>,
    settings: &'a Settings,
}

impl<'a> FittedFleet<'a> {
    /// Learns from all vans; `glances`: of every one, by its number.
    ///
    /// # Errors
    /// Where lives cannot be read back.
    pub fn of<C: Cut>(
        fleet: &C,
        glances: Vec<&'a Glance>,
        settings: &'a Settings,
    ) -> Result<FittedFleet<'a>, C::Error> {
        let charges = glances.iter().map(|glance| resin::VanCharges {
            van: &glance.van,
            charges: &glance.charges,
        });
        Ok(FittedFleet {
            resin: resin::fit_shared(charges, settings.limits.product_ppm),
            membranes: Membranes::learn(fleet, &glances, settings)?,
            glances,
            settings,
        })
    }

    /// Forecasts a van in service by its number.
    pub fn forecast(&self, number: usize, van: &VanLives, ahead: Assumptions) -> VanForecast {
        let fitted = (&self.membranes.fit, &self.resin);
        let until = self.membranes.gathering.until;
        self.membranes.with(number, van, &self.glances, |known| {
            van::forecast(van, known, fitted, ahead, self.settings, until)
        })
    }

    /// What the next parts will do in each district, in order of name. `fleet`
    /// holds the lives that were forecast.
    ///
    /// # Errors
    /// Where lives cannot be read back.
    pub fn areas<C: Cut>(
        &self,
        fleet: &C,
        based: BTreeMap<Arc<str>, Vec<Based<'_>>>,
    ) -> Result<Vec<AreaFit>, C::Error> {
        let until = self.membranes.gathering.until;
        let middles: Vec<Option<Based<'_>>> =
            based.values().map(|vans| areas::middle_van(vans)).collect();
        let found: Vec<Based<'_>> = middles.iter().flatten().copied().collect();
        let numbers: Vec<usize> = found.iter().map(|based| based.number).collect();
        let ahead: BTreeMap<usize, Assumptions> = found
            .iter()
            .map(|based| (based.number, based.ahead))
            .collect();
        let permeate = fleet.each(&numbers, |number, van| {
            let ahead = ahead.get(&number).copied().unwrap_or_default();
            self.membranes.with(number, van, &self.glances, |known| {
                let fit = &self.membranes.fit;
                van::permeate_again(van, known, fit, ahead, self.settings, until)
            })
        })?;
        let mut permeate = permeate.into_iter();
        let with_permeate = based
            .into_iter()
            .zip(middles)
            .map(|((name, vans), middle)| {
                let permeate = middle.and_then(|_| permeate.next()).flatten();
                (name, vans, permeate)
            });
        let fitted = (&self.membranes.fit, &self.resin);
        Ok(areas::areas(with_permeate.collect(), fitted, self.settings))
    }

    /// What the fleet's charts show of a van; `forecast`: of one in service.
    pub fn charted(
        &self,
        number: usize,
        van: &VanLives,
        forecast: Option<&VanForecast>,
    ) -> Charted {
        let glance = self.glances.get(number);
        Charted::of(van, glance.map_or(&[], |van| &van.charges), forecast)
    }

    /// Resin use where no district tells more, and what lateness does.
    pub fn fleet_wide(&self) -> FleetWide {
        FleetWide {
            late_wear: self.membranes.fit.late_wear(),
            resin_use: ResinUse {
                capacity_meq_per_litre: self.resin.usual_capacity,
                co2_share: self.resin.usual_share,
            },
        }
    }

    /// Everything told of the fleet as a whole; `charted`: every van, by its number.
    pub fn told(&self, areas: Vec<AreaFit>, charted: &[Charted]) -> FleetFindings {
        let (membrane, settings) = (&self.membranes.fit, self.settings);
        let parts = self.glances.iter().zip(&self.membranes.told);
        let named = parts.flat_map(|(van, told)| van.parts.iter().zip(told));
        let named = named.filter_map(|(part, told)| Some((part.as_ref()?, told.as_ref()?)));
        let explained = membrane.explained.iter().chain(&self.resin.explained);
        let remarks = membrane.remark.iter();
        FleetFindings {
            areas,
            wide: self.fleet_wide(),
            parts: membrane::lives_by_part(self.membranes.told.iter().flatten().flatten(), named),
            membrane_dots: Charted::membrane_dots(charted),
            resin_dots: Charted::resin_dots(charted),
            membrane_life_by_hardness: areas::membrane_by_hardness(membrane, settings),
            resin_life_by_hardness: areas::resin_by_hardness(charted, &self.resin, settings),
            shared: explained.cloned().collect(),
            remarks: remarks.cloned().collect(),
        }
    }
}
