//! Forecasts beside what came.

use litrewise::inside::calendar::{Date, DateExt};
use litrewise::inside::demo::{TrueCharge, TrueElement, TrueVan};
use litrewise::inside::fit::{self, MembraneForecast, ResinForecast, Span, VanFit};
use litrewise::inside::lives::{self, FleetLives, VanLives};

use crate::baselines::{MembraneBaselines, ResinBaselines};
use crate::bound;
use crate::fleet::ProvingFleet;
use crate::plan::Plan;

/// Truth and forecasts are capped here, days.
pub const CAP_DAYS: f64 = 3653.0;

/// Quantiles 10, 50, 90 % of what is left; finite, at most the cap.
pub type Three = [f64; 3];

/// Who forecasts, in order of [`Case::forecasts`].
pub const MEMBRANE_NAMES: [&str; 5] = [
    "litrewise",
    "rule of thumb",
    "per-van least squares",
    "pooled regression",
    "bound",
];
pub const RESIN_NAMES: [&str; 4] = [
    "litrewise",
    "fleet's mean litres",
    "censored log-normal",
    "bound",
];

/// One forecast of one part beside what came.
#[derive(Debug, Clone)]
pub struct Case {
    /// Fleet and van: cases of one van hang together.
    pub cluster: u64,
    pub readings: usize,
    /// Share of the true life that has gone by.
    pub elapsed: f64,
    /// What really was left, days.
    pub truth: f64,
    pub capped: bool,
    /// Nothing ahead or in the meters that no reading could tell: no move to
    /// another district, no seal that will leak, no drifting probe.
    pub quiet: bool,
    /// By [`MEMBRANE_NAMES`] or [`RESIN_NAMES`]; `None` where none was made.
    pub forecasts: Vec<Option<Three>>,
    /// The same in litres, for charges.
    pub litres: Option<(f64, Vec<Option<Three>>)>,
    pub tags: String,
}

/// A look at a quantity at a fixed distance, with what was forecast of it.
#[derive(Debug, Clone, Copy)]
pub struct LevelCase {
    pub days_ahead: i64,
    pub truth: f64,
    pub forecast: Three,
    /// The last raw reading, as the naive forecast.
    pub naive: f64,
}

#[derive(Debug, Default)]
pub struct Cases {
    pub membrane: Vec<Case>,
    pub resin: Vec<Case>,
    pub levels: Vec<LevelCase>,
    /// Relative errors of district lives: membrane litres, membrane days, resin litres.
    pub districts: [Vec<f64>; 3],
    /// Parts with a usable reading and no answer.
    pub unanswered: usize,
    pub answered: usize,
    /// Remarks of fits that did not go as they should.
    pub remarks: Vec<String>,
}

impl Cases {
    pub fn extend(&mut self, other: Cases) {
        self.membrane.extend(other.membrane);
        self.resin.extend(other.resin);
        self.levels.extend(other.levels);
        for (mine, more) in self.districts.iter_mut().zip(other.districts) {
            mine.extend(more);
        }
        self.unanswered += other.unanswered;
        self.answered += other.answered;
        self.remarks.extend(other.remarks);
    }
}

pub fn of_fleet(proving: &ProvingFleet, plan: &Plan) -> Cases {
    let mut cases = Cases::default();
    for (number, &as_of) in proving.as_of.iter().enumerate() {
        let lives = lives::cut(&proving.rows, as_of, &proving.settings);
        let fitted = fit::fit(&lives, &proving.settings);
        cases.remarks.extend(fitted.fleet.remarks.iter().cloned());
        if plan.shared && number + 1 == proving.as_of.len() {
            for s in &fitted.fleet.shared {
                eprintln!(
                    "  {:<45} {:>10.5} ± {:.5} (before {:.5} ± {:.5}) {}",
                    s.name, s.value, s.sd, s.prior, s.prior_sd, s.unit
                );
            }
        }
        let membrane = MembraneBaselines::of(&lives, &proving.settings);
        let resin = ResinBaselines::of(&lives, &proving.settings);
        let with_bound = plan.bound > 0 && number % 4 == 1;
        let look = Look {
            proving,
            lives: &lives,
            as_of,
            particles: if with_bound { plan.bound } else { 0 },
        };
        for (n, (van, van_fit)) in lives.vans.iter().zip(&fitted.vans).enumerate() {
            look.van(n, van, van_fit, &membrane, &resin, &mut cases);
        }
        if number + 1 == proving.as_of.len() {
            districts(proving, &fitted.fleet.areas, &mut cases);
        }
    }
    cases
}

/// The element in the van on that day, with its number.
fn element_on(truth: &TrueVan, day: Date) -> Option<(usize, &TrueElement)> {
    let mut numbered = truth.elements.iter().enumerate();
    numbered.rfind(|(_, e)| e.in_van_on(day))
}

/// The charge in the van on that day, with its number.
fn charge_on(truth: &TrueVan, day: Date) -> Option<(usize, &TrueCharge)> {
    let mut numbered = truth.charges.iter().enumerate();
    numbered.rfind(|(_, c)| c.in_van_on(day))
}

struct Look<'a> {
    proving: &'a ProvingFleet,
    lives: &'a FleetLives,
    as_of: Date,
    particles: usize,
}

impl Look<'_> {
    fn days_to(&self, date: Option<Date>) -> f64 {
        date.map_or(CAP_DAYS, |d| f64::from(d.days_since(self.as_of)))
            .min(CAP_DAYS)
    }

    fn quiet(&self, truth: &TrueVan) -> bool {
        truth.moves_on.is_none_or(|d| d <= self.as_of) && truth.probe_drifts_from.is_none()
    }

    fn three(&self, span: &Span<Date>) -> Three {
        [span.p10, span.p50, span.p90].map(|d| self.days_to(d))
    }

    fn van(
        &self,
        n: usize,
        van: &VanLives,
        fitted: &VanFit,
        membrane: &MembraneBaselines,
        resin: &ResinBaselines,
        cases: &mut Cases,
    ) {
        let Some(index) = self
            .proving
            .simulated
            .truth
            .iter()
            .position(|t| *t.van == *van.van)
        else {
            return;
        };
        let Some(truth) = self.proving.simulated.truth.get(index) else {
            return;
        };
        self.element(n, index, truth, van, fitted, membrane, cases);
        self.charge(n, index, truth, van, fitted, resin, cases);
    }

    #[allow(clippy::too_many_arguments)]
    fn element(
        &self,
        n: usize,
        index: usize,
        truth: &TrueVan,
        van: &VanLives,
        fitted: &VanFit,
        baselines: &MembraneBaselines,
        cases: &mut Cases,
    ) {
        let Some((number, element)) = element_on(truth, self.as_of) else {
            return;
        };
        if element.limit_on.is_some_and(|d| d <= self.as_of) {
            return;
        }
        let Some(life) = van.elements.last() else {
            return;
        };
        let forecast: Option<&MembraneForecast> = fitted.membrane.as_ref().ok();
        if !life.points.is_empty() {
            cases.answered += 1;
            cases.unanswered += usize::from(forecast.is_none());
        }
        let left = self.days_to(element.limit_on);
        let begin = element
            .fitted_on
            .unwrap_or(self.proving.simulated.first_day);
        let gone = f64::from(self.as_of.days_since(begin));
        let mut forecasts = vec![forecast.map(|f| self.three(&f.limit_on))];
        forecasts.extend(baselines.of_van(van, self.lives.as_of));
        forecasts.push(bound::element(
            self.proving,
            index,
            number,
            self.as_of,
            self.particles,
        ));
        cases.membrane.push(Case {
            cluster: self.proving.seed * 1000 + n as u64,
            readings: life.points.len(),
            elapsed: gone / (gone + left),
            truth: left,
            capped: left >= CAP_DAYS,
            quiet: self.quiet(truth) && element.leaks_from.is_none_or(|d| d <= self.as_of),
            forecasts,
            litres: None,
            tags: format!(
                "{},{},{},{:?},{},{},{:.3},{:.3}",
                self.proving.seed,
                van.van,
                self.as_of,
                life.start,
                element.leaks_from.is_some_and(|d| d > self.as_of),
                element.leaks_from.is_some_and(|d| d <= self.as_of),
                forecast.map_or(f64::NAN, |f| self.use_error(truth, f, left)),
                forecast.map_or(f64::NAN, |f| self.level_error(element, f)),
            ),
        });
        if let Some(forecast) = forecast {
            self.levels(element, life, forecast, cases);
        }
    }

    /// `ln` of forecast over true litres a day until the limit.
    fn use_error(&self, truth: &TrueVan, forecast: &MembraneForecast, left: f64) -> f64 {
        let days = &truth.litres_by_day;
        let from = self.as_of.days_since(self.proving.simulated.first_day) as usize + 1;
        let to = (from + left as usize).min(days.len());
        let sum: f64 = days.get(from..to).map_or(0.0, |d| d.iter().sum());
        (forecast.litres_per_week / 7.0 / (sum / (to - from).max(1) as f64)).ln()
    }

    /// `ln` of estimated over true salt passage now.
    fn level_error(&self, element: &TrueElement, forecast: &MembraneForecast) -> f64 {
        let day = i64::from(self.as_of.days_since(self.proving.simulated.first_day));
        let near = element.passages.iter().min_by_key(|p| (p.0 - day).abs());
        let estimate = forecast.salt_passage.p50.unwrap_or(f64::NAN);
        (estimate / near.map_or(f64::NAN, |p| p.1)).ln()
    }

    /// Salt passage now and at fixed distances.
    fn levels(
        &self,
        element: &TrueElement,
        life: &lives::ElementLife,
        forecast: &MembraneForecast,
        cases: &mut Cases,
    ) {
        let Some(naive) = life.points.last().map(|p| p.salt_passage) else {
            return;
        };
        for days_ahead in [0, 90, 180] {
            let date = self.as_of.plus_days(days_ahead);
            let day = i64::from(date.days_since(self.proving.simulated.first_day));
            let near = element
                .passages
                .iter()
                .min_by_key(|p| (p.0 - day).abs())
                .filter(|p| (p.0 - day).abs() <= 6);
            let band = if days_ahead == 0 {
                forecast
                    .salt_passage
                    .p10
                    .zip(forecast.salt_passage.p50)
                    .zip(forecast.salt_passage.p90)
                    .map(|((a, b), c)| [a, b, c])
            } else {
                forecast
                    .path
                    .iter()
                    .min_by_key(|b| b.x.days_since(date).abs())
                    .filter(|b| b.x.days_since(date).abs() <= 35)
                    .map(|b| [b.p10, b.p50, b.p90])
            };
            if let (Some(&(_, truth)), Some(forecast)) = (near, band) {
                cases.levels.push(LevelCase {
                    days_ahead,
                    truth,
                    forecast,
                    naive,
                });
            }
        }
    }

    #[allow(clippy::too_many_arguments)]
    fn charge(
        &self,
        n: usize,
        index: usize,
        truth: &TrueVan,
        van: &VanLives,
        fitted: &VanFit,
        baselines: &ResinBaselines,
        cases: &mut Cases,
    ) {
        let Some((number, charge)) = charge_on(truth, self.as_of) else {
            return;
        };
        let limit_on = charge.limit_as_of(self.as_of).0;
        if limit_on.is_some_and(|d| d <= self.as_of) {
            return;
        }
        let forecast: Option<&ResinForecast> = fitted.resin.as_ref().ok();
        let Some(life) = van.charges.last() else {
            return;
        };
        if !life.points.is_empty() {
            cases.answered += 1;
            cases.unanswered += usize::from(forecast.is_none());
        }
        let first = self.proving.simulated.first_day;
        let day = |d: Date| d.days_since(first).max(0) as usize;
        let begin = charge.changed_on.unwrap_or(first);
        let litres_between = |from: usize, to: usize| -> f64 {
            truth
                .litres_by_day
                .get(from..to.max(from))
                .map_or(0.0, |d| d.iter().sum())
        };
        let per_day = {
            let to = day(self.as_of) + 1;
            litres_between(to, (to + 365).min(truth.litres_by_day.len())) / 365.0
        };
        let cap_litres = (CAP_DAYS * per_day).max(1.0);
        let left_days = self.days_to(limit_on);
        let left_litres = limit_on
            .map_or(cap_litres, |d| {
                litres_between(day(self.as_of) + 1, day(d) + 1)
            })
            .min(cap_litres);
        let gone = f64::from(self.as_of.days_since(begin));
        let mut days = vec![forecast.map(|f| self.three(&f.limit_on))];
        let mut litres = vec![forecast.map(|f| {
            [f.litres_left.p10, f.litres_left.p50, f.litres_left.p90]
                .map(|l| l.unwrap_or(cap_litres).min(cap_litres))
        })];
        for baseline in baselines.of_van(van) {
            litres.push(baseline.map(|l| l.map(|l| l.clamp(0.0, cap_litres))));
            days.push(
                baseline.map(|l| l.map(|l| (l / baselines.per_day(van)).clamp(0.0, CAP_DAYS))),
            );
        }
        let (in_days, in_litres) = bound::charge(
            self.proving,
            index,
            number,
            element_on(truth, self.as_of).map(|e| e.0),
            self.as_of,
            self.particles,
            cap_litres,
        );
        days.push(in_days);
        litres.push(in_litres);
        cases.resin.push(Case {
            cluster: self.proving.seed * 1000 + n as u64,
            readings: life.points.len(),
            elapsed: gone / (gone + left_days),
            truth: left_days,
            capped: left_days >= CAP_DAYS,
            quiet: self.quiet(truth),
            forecasts: days,
            litres: Some((left_litres, litres)),
            tags: format!(
                "{},{},{},{:?},{},{:.0},{:.1},{}",
                self.proving.seed,
                van.van,
                self.as_of,
                life.start,
                charge.recorded && charge.changed_on == life.changed_on,
                life.hardness_mg_l_caco3,
                life.points
                    .last()
                    .and_then(|p| p.permeate_ppm)
                    .unwrap_or(-1.0),
                van.membranes,
            ),
        });
    }
}

fn districts(proving: &ProvingFleet, areas: &[fit::AreaFit], cases: &mut Cases) {
    for area in areas {
        let Some(truth) = proving
            .simulated
            .districts
            .iter()
            .find(|d| *d.postcode == *area.district)
        else {
            continue;
        };
        let pairs = [
            (area.membrane_life_litres.p50, truth.membrane_life_litres),
            (area.membrane_life_days.p50, truth.membrane_life_days),
            (area.resin_life_litres.p50, truth.resin_life_litres),
        ];
        for (errors, (ours, true_life)) in cases.districts.iter_mut().zip(pairs) {
            if let (Some(ours), Some(true_life)) = (ours, true_life) {
                errors.push((ours / true_life - 1.0).abs());
            }
        }
    }
}
