//! Who decides: the program's plan, the rule of thumb, nobody before the limit,
//! and one who knows all that will come.

use crate::driven::{DrivenFleet, TrueDay};
use litrewise::inside::calendar::{Date, DateExt};
use litrewise::inside::settings::Settings;
use litrewise::inside::{advise, fit, lives};

use crate::drive::{Morning, Planner, Prices};
use crate::records::fleet_of;

/// The program, asked on the first of every month with what was known the
/// evening before.
pub struct Plan {
    settings: Settings,
    replace_on: Vec<Option<Date>>,
    /// The last month's answer, of the same membrane.
    before: Vec<Option<(Date, Date)>>,
    /// |move of the suggested day| over the days that were left a month ago.
    pub moves: Vec<f64>,
    later: f64,
}

impl Plan {
    pub fn new(prices: &Prices, later: f64) -> Plan {
        let mut settings = Settings::default();
        settings.prices.membrane = Some(prices.membrane);
        settings.prices.prefilter = Some(30.0);
        settings.prices.resin_per_litre = Some(prices.resin_per_litre);
        settings.prices.labour_per_visit = Some(prices.labour);
        settings.prices.lost_day = Some(prices.lost_day);
        Plan {
            settings,
            replace_on: Vec::new(),
            before: Vec::new(),
            moves: Vec::new(),
            later,
        }
    }
}

impl Planner for Plan {
    fn look(&mut self, fleet: &DrivenFleet, month_begins: bool) {
        let yesterday = fleet.tomorrow().plus_days(-1);
        if !month_begins || fleet.rows().readings.is_empty() {
            return;
        }
        let rows = fleet_of(fleet.rows(), &self.settings);
        let lives = lives::cut(&rows, yesterday, &self.settings);
        let fitted = fit::fit(&lives, &self.settings);
        let assessed = advise::assess(&lives, &fitted, &self.settings);
        self.before.resize(assessed.vans.len(), None);
        self.replace_on = assessed
            .vans
            .iter()
            .map(|v| v.membrane.replace_on)
            .collect();
        for (van, before) in assessed.vans.iter().zip(&mut self.before) {
            let alarm = van.membrane.alarm.as_ref();
            let stepped = alarm.is_some_and(|a| a.kind == advise::AlarmKind::Step);
            let now = van.membrane.replace_on;
            if let (Some((asked, then)), Some(now), false) = (*before, now, stepped) {
                let left = f64::from(then.days_since(asked));
                // A month or less left: the next job, no plan any more.
                if left > 30.0 {
                    self.moves
                        .push(f64::from(now.days_since(then)).abs() / left);
                }
            }
            *before = now.map(|now| (yesterday, now));
        }
    }

    fn replaces(&mut self, _fleet: &DrivenFleet, morning: &Morning) -> bool {
        if morning.fresh {
            if let Some(before) = self.before.get_mut(morning.van) {
                *before = None;
            }
            if !morning.month_begins
                && let Some(on) = self.replace_on.get_mut(morning.van)
            {
                *on = None;
            }
        }
        self.replace_on
            .get(morning.van)
            .copied()
            .flatten()
            .is_some_and(|on| {
                let age = f64::from(on.days_since(morning.fitted_on));
                let on = on.plus_days((age * self.later) as i64);
                on <= morning.today && morning.today > morning.fitted_on
            })
    }
}

/// 21 months, come what may.
pub struct RuleOfThumb;

impl Planner for RuleOfThumb {
    fn replaces(&mut self, _fleet: &DrivenFleet, morning: &Morning) -> bool {
        let months = Settings::default().usual_interval.membrane_months;
        f64::from(morning.today.days_since(morning.fitted_on)) >= 30.4375 * months
    }
}

/// Only what is past its limit.
pub struct AtTheLimit;

impl Planner for AtTheLimit {
    fn replaces(&mut self, _fleet: &DrivenFleet, _morning: &Morning) -> bool {
        false
    }
}

/// Knows every litre, every tap and every membrane to come.
pub struct Knowing {
    prices: Prices,
    /// Long-run cost per litre of new ones, by van.
    rate: Vec<Option<f64>>,
    replace_on: Vec<Option<Date>>,
}

impl Knowing {
    pub fn new(prices: &Prices) -> Knowing {
        Knowing {
            prices: *prices,
            rate: Vec::new(),
            replace_on: Vec::new(),
        }
    }

    /// Day on which a course is best left, its running cost and litres by then:
    /// the last before the limit, or where going on costs more than `rate`.
    fn best(&self, course: &[TrueDay], rate: f64) -> (usize, f64, f64) {
        let (mut spent, mut litres, mut lowest) = (0.0, 0.0, 0.0);
        let mut best = (0, 0.0, 0.0);
        for (day, lived) in course.iter().enumerate() {
            if lived.is_past_the_limit() {
                break;
            }
            spent += lived.resin_litres * self.prices.resin();
            litres += lived.litres;
            let excess = spent - rate * litres;
            if excess < lowest {
                lowest = excess;
                best = (day + 1, spent, litres);
            }
        }
        best
    }

    fn rate_of(&self, fleet: &DrivenFleet, van: usize) -> f64 {
        let examples: Vec<Vec<TrueDay>> = (0..16).map(|n| fleet.example(van, n)).collect();
        let mut rate = 0.005;
        // Dinkelbach's steps towards the lowest ratio of cost to litres.
        for _ in 0..8 {
            let (mut cost, mut litres) = (0.0, 0.0);
            for course in &examples {
                let (_, spent, made) = self.best(course, rate);
                cost += self.prices.planned() + spent;
                litres += made;
            }
            if litres > 0.0 {
                rate = cost / litres;
            } else {
                rate *= 2.0;
            }
        }
        rate
    }
}

impl Planner for Knowing {
    fn replaces(&mut self, fleet: &DrivenFleet, morning: &Morning) -> bool {
        let van = morning.van;
        if self.rate.len() <= van {
            self.rate.resize(van + 1, None);
            self.replace_on.resize(van + 1, None);
        }
        if morning.fresh {
            let rate = match self.rate[van] {
                Some(rate) => rate,
                None => self.rate_of(fleet, van),
            };
            self.rate[van] = Some(rate);
            let (days, ..) = self.best(&fleet.course(van), rate);
            self.replace_on[van] = morning.today.checked_plus_days(days.max(1) as i64);
        }
        self.replace_on[van].is_some_and(|on| on <= morning.today)
    }
}

/// Knows at the first of every month how each membrane is to a hair, the litres
/// and the taps to come, and what membranes are like; not how its pace will
/// wander nor whether its seal will leak.
pub struct KnowingButForLuck {
    knowing: Knowing,
    replace_on: Vec<Option<Date>>,
}

impl KnowingButForLuck {
    const FUTURES: u64 = 32;
    const DAYS: i64 = 120;
    /// Below such a salt passage nothing is decided within a month.
    const FAR: f64 = 0.055;

    pub fn new(prices: &Prices) -> KnowingButForLuck {
        KnowingButForLuck {
            knowing: Knowing::new(prices),
            replace_on: Vec::new(),
        }
    }

    /// Days that going on still pays, by the mean over its possible futures.
    fn wait(&self, fleet: &DrivenFleet, van: usize, rate: f64) -> usize {
        let prices = &self.knowing.prices;
        let days = Self::DAYS as usize;
        let mut excess = vec![0.0; days + 1];
        for number in 0..Self::FUTURES {
            let course = fleet.possible(van, number, Self::DAYS);
            let mut sum = 0.0;
            for (day, slot) in excess.iter_mut().enumerate().skip(1) {
                match course.get(day - 1) {
                    Some(lived) if !lived.is_past_the_limit() => {
                        sum += lived.resin_litres * prices.resin() - rate * lived.litres;
                    }
                    Some(_) => sum += prices.lost_day,
                    None => {}
                }
                *slot += sum;
            }
        }
        (0..excess.len())
            .min_by(|a, b| excess[*a].total_cmp(&excess[*b]))
            .unwrap_or(0)
    }
}

impl Planner for KnowingButForLuck {
    fn replaces(&mut self, fleet: &DrivenFleet, morning: &Morning) -> bool {
        let van = morning.van;
        if self.replace_on.len() <= van {
            self.replace_on.resize(van + 1, None);
            self.knowing.rate.resize(van + 1, None);
        }
        if morning.fresh {
            self.replace_on[van] = None;
        }
        let near = fleet
            .latest(van)
            .is_some_and(|d| d.salt_passage >= Self::FAR);
        if morning.month_begins && near {
            let rate = match self.knowing.rate[van] {
                Some(rate) => rate,
                None => self.knowing.rate_of(fleet, van),
            };
            self.knowing.rate[van] = Some(rate);
            let wait = self.wait(fleet, van, rate);
            self.replace_on[van] = morning
                .today
                .checked_plus_days(wait as i64)
                .filter(|_| wait < Self::DAYS as usize);
        }
        self.replace_on[van]
            .is_some_and(|on| on <= morning.today && morning.today > morning.fitted_on)
    }
}
