//! Litres of each fill: as written, or from the steps of a running counter.

use crate::calendar::Date;

use super::days::days_between;
use super::median::median;
use super::remarks::{Remarks, Repeated};
use super::types::About;
use crate::store::records::{Fill, Source};

/// What a van plausibly fills, for telling a step of the counter from a fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct UsualFill {
    /// The van's median fill, L; `None` where no fill tells.
    pub median: Option<f64>,
    /// Used for a fill of unknown size, L.
    pub stand_in: f64,
    /// More than this in one fill is not believed from a counter, L.
    pub most: f64,
    /// What one fill written in litres can be at most, L, where the tank is
    /// known and the van's usual fill fits it.
    pub by_tank: Option<f64>,
    /// Whether litres are those of a week or more each.
    pub are_of_weeks: bool,
}

/// Largest single fill believed where neither tank nor fills tell, L.
const MOST_WHERE_UNKNOWN: f64 = 2_000.0;
/// A tank takes this much more than its size, use while filling included.
const TANK_BY_AT_MOST: f64 = 1.2;
/// Fills a day believed where some were not written down.
const FILLS_PER_DAY: f64 = 2.0;

impl UsualFill {
    /// `fills`: one van's, oldest first; `fleet_median`: of the fleet's vans.
    pub(crate) fn of(fills: &[Fill], tank_litres: Option<f64>, fleet_median: Option<f64>) -> Self {
        let median = median_fill(fills);
        let stand_in = median.or(fleet_median).or(tank_litres).unwrap_or_default();
        let by_fills = median.map(|m| 3.0 * m);
        let by_tank = tank_litres
            .filter(|t| *t > 0.0)
            .map(|t| TANK_BY_AT_MOST * t);
        let most = match (by_fills, by_tank) {
            (Some(a), Some(b)) => a.max(b),
            (Some(a), None) | (None, Some(a)) => a,
            (None, None) => MOST_WHERE_UNKNOWN,
        };
        UsualFill {
            median,
            stand_in,
            most,
            by_tank: by_tank.filter(|tank| median.is_some_and(|median| median <= *tank)),
            are_of_weeks: are_of_weeks(fills),
        }
    }

    /// Whether one fill of `litres` is more than the tank takes.
    fn is_beyond(&self, litres: f64) -> bool {
        self.by_tank.is_some_and(|most| litres > most)
    }

    /// Whether a counter can have moved by `litres` in `days`.
    fn is_believable(&self, litres: f64, days: i64) -> bool {
        litres >= 0.0 && litres <= self.most * (1.0 + FILLS_PER_DAY * days.max(0) as f64)
    }
}

/// Days between two rows of a sheet that is kept by the week; single fills of a
/// van at work lie closer.
const DAYS_OF_A_WEEKLY_SHEET: f64 = 6.0;

/// Whether the litres are those of a week or more each, as in a weekly sheet:
/// these have nothing to do with the size of the tank.
fn are_of_weeks(fills: &[Fill]) -> bool {
    const DAY_MICROS: f64 = 86_400e6;
    let mains = fills.iter().filter(|fill| fill.source == Source::Mains);
    let days: Vec<f64> = mains
        .map(|fill| fill.started_at.0 as f64 / DAY_MICROS)
        .collect();
    let gaps = days.iter().zip(days.iter().skip(1));
    let mut gaps: Vec<f64> = gaps.map(|(before, after)| after - before).collect();
    gaps.len() > 1 && median(&mut gaps).is_some_and(|days| days >= DAYS_OF_A_WEEKLY_SHEET)
}

/// Median of the mains fills' litres, by counter where litres are not written.
pub(crate) fn median_fill(fills: &[Fill]) -> Option<f64> {
    let mut before: Option<f64> = None;
    let mut sizes: Vec<f64> = Vec::new();
    for fill in fills.iter().filter(|fill| fill.source == Source::Mains) {
        let step = before.zip(fill.meter_litres).map(|(a, b)| b - a);
        before = fill.meter_litres;
        if let Some(litres) = fill.litres.or(step).filter(|litres| *litres > 0.0) {
            sizes.push(litres);
        }
    }
    median(&mut sizes)
}

/// A counter's last trusted value and what has been counted since.
#[derive(Debug, Clone, Copy)]
struct Baseline {
    value: f64,
    date: Date,
    /// Litres counted for fills after it, L.
    since: f64,
}

/// What a counter reading says about the litres since the baseline.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Step {
    Moved(f64),
    Stood,
    RolledOver(f64),
    WentBack,
    Broken,
}

fn step(baseline: &Baseline, meter: f64, date: Date, usual: &UsualFill) -> Step {
    let moved = meter - baseline.value;
    let days = days_between(baseline.date, date);
    if moved == 0.0 {
        return Step::Stood;
    }
    if moved > 0.0 {
        return if usual.is_believable(moved, days) {
            Step::Moved(moved)
        } else {
            Step::Broken
        };
    }
    // A counter of n digits starts again after the next power of ten.
    let digits = baseline.value.max(1.0).log10().floor() as i32 + 1;
    let modulus = 10f64.powi(digits.max(3));
    let wrapped = modulus - baseline.value + meter;
    if usual.is_believable(wrapped, days) && wrapped < modulus / 2.0 {
        return Step::RolledOver(wrapped);
    }
    if -moved <= usual.most && meter > baseline.value / 2.0 {
        return Step::WentBack;
    }
    Step::Broken
}

/// Walks one van's mains fills and settles their litres.
struct Counter<'a> {
    usual: UsualFill,
    baseline: Option<Baseline>,
    /// A value that did not fit: a new meter, if the next one fits it.
    pending: Option<Baseline>,
    /// Day of the mains fill before.
    last: Option<Date>,
    remarks: &'a mut Remarks,
}

impl Counter<'_> {
    fn litres(&mut self, fill: &Fill, date: Date) -> f64 {
        let merged = self.last.is_none_or(|last| days_between(last, date) > 1);
        self.last = Some(date);
        let written = fill
            .litres
            .filter(|litres| litres.is_finite() && *litres >= 0.0);
        // gallons, a slip, or two numbers in one cell: unless a counter saw it too
        let beyond = written.filter(|litres| !merged && self.usual.is_beyond(*litres));
        let written = written.filter(|_| beyond.is_none());
        let begins = self.baseline.is_none() && fill.meter_litres.is_some();
        let by_meter = fill
            .meter_litres
            .and_then(|meter| self.by_meter(meter, date, written));
        if beyond.is_some() {
            self.remarks.count(Repeated::BeyondTheTank, date);
        }
        let litres = match (written, by_meter) {
            (None, None) if beyond.is_some() => self.usual.stand_in,
            (Some(written), Some(by_meter)) => {
                if (written - by_meter).abs() > 0.1 * written.max(by_meter) {
                    self.remarks.count(Repeated::CounterAndLitresDisagree, date);
                }
                written
            }
            (Some(litres), None) | (None, Some(litres)) => litres,
            (None, None) => {
                let why = if begins {
                    Repeated::CounterBegins
                } else {
                    Repeated::LitresUnknown
                };
                self.remarks.count(why, date);
                self.usual.stand_in
            }
        };
        self.attribute(litres, fill.meter_litres.is_none());
        litres
    }

    /// Adds litres to what has been counted since the last counter reading.
    fn attribute(&mut self, litres: f64, without_meter: bool) {
        if let Some(baseline) = &mut self.baseline
            && (without_meter || self.pending.is_some())
        {
            baseline.since += litres;
        }
        if let Some(pending) = &mut self.pending
            && without_meter
        {
            pending.since += litres;
        }
    }

    /// Litres of this fill by its counter reading; `None` where that cannot tell.
    fn by_meter(&mut self, meter: f64, date: Date, written: Option<f64>) -> Option<f64> {
        let here = Baseline {
            value: meter,
            date,
            since: 0.0,
        };
        let Some(baseline) = self.baseline else {
            self.baseline = Some(here);
            return None;
        };
        let mut seen = step(&baseline, meter, date, &self.usual);
        let mut since = baseline.since;
        if let Some(pending) = self.pending.take() {
            if matches!(seen, Step::Moved(_) | Step::RolledOver(_)) {
                self.remarks.count(Repeated::CounterMisread, pending.date);
            } else {
                self.replaced(pending.date);
                since = pending.since;
                seen = step(&pending, meter, date, &self.usual);
            }
        }
        match seen {
            Step::Moved(litres) | Step::RolledOver(litres) => {
                self.baseline = Some(here);
                Some((litres - since).max(0.0))
            }
            Step::Stood => {
                if written.is_none() {
                    self.remarks.count(Repeated::CounterStoodStill, date);
                }
                written.is_none().then_some(0.0)
            }
            Step::WentBack => {
                self.remarks.count(Repeated::CounterWentBack, date);
                if let (Some(litres), Some(baseline)) = (written, &mut self.baseline) {
                    baseline.since += litres;
                }
                written.is_none().then_some(0.0)
            }
            Step::Broken => {
                self.pending = Some(here);
                None
            }
        }
    }

    fn replaced(&mut self, date: Date) {
        self.remarks.note(
            About::Litres,
            Some(date),
            "the counter was replaced or set back here; the litres of this one fill are not known from it",
        );
    }
}

/// Litres of every fill, same order and length as `fills`; 0 for water bought in.
///
/// `dates`: local days of the fills.
pub(crate) fn counted(
    fills: &[Fill],
    dates: &[Date],
    usual: UsualFill,
    tank_litres: Option<f64>,
    remarks: &mut Remarks,
) -> Vec<f64> {
    let mut counter = Counter {
        usual,
        baseline: None,
        pending: None,
        last: None,
        remarks,
    };
    let litres: Vec<f64> = fills
        .iter()
        .zip(dates)
        .map(|(fill, date)| match fill.source {
            Source::Mains => counter.litres(fill, *date),
            Source::BoughtIn => 0.0,
        })
        .collect();
    if let Some(pending) = counter.pending.take() {
        counter.replaced(pending.date);
    }
    let tank = tank_litres.filter(|tank| *tank > 0.0 && !usual.are_of_weeks);
    if let Some(tank) = tank {
        for ((litres, fill), date) in litres.iter().zip(fills).zip(dates) {
            if fill.litres.is_some() && *litres > TANK_BY_AT_MOST * tank {
                remarks.count(Repeated::MoreThanTheTank, *date);
            }
        }
    }
    litres
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;
    use crate::lives::days::days_after;
    use crate::store::records::Instant;

    const FIRST: Date = date(2026, 3, 2);

    fn fill(litres: Option<f64>, meter_litres: Option<f64>) -> Fill {
        Fill {
            van: "QV-1".into(),
            started_at: Instant(0),
            day_position: None,
            ended_at: None,
            postcode: None,
            litres,
            meter_litres,
            reject_litres: None,
            source: Source::Mains,
        }
    }

    fn count(fills: &[Fill]) -> (Vec<f64>, Vec<String>) {
        let dates: Vec<Date> = (0..fills.len() as i64)
            .map(|n| days_after(FIRST, n))
            .collect();
        let mut remarks = Remarks::default();
        let usual = UsualFill::of(fills, Some(400.0), None);
        let litres = counted(fills, &dates, usual, Some(400.0), &mut remarks);
        let texts = remarks.finish().into_iter().map(|r| r.text).collect();
        (litres, texts)
    }

    fn meters(values: &[f64]) -> Vec<Fill> {
        values.iter().map(|m| fill(None, Some(*m))).collect()
    }

    #[test]
    fn a_counter_that_rolls_over_at_a_power_of_ten_goes_on_counting() {
        let (litres, remarks) = count(&meters(&[9_300.0, 9_600.0, 9_870.0, 140.0, 420.0]));
        assert_eq!(litres, [280.0, 300.0, 270.0, 270.0, 280.0]);
        assert_eq!(
            remarks.len(),
            1,
            "only the first fill is unknown: {remarks:?}"
        );
    }

    #[test]
    fn a_replaced_meter_never_gives_negative_litres() {
        let (litres, remarks) = count(&meters(&[
            45_000.0, 45_300.0, 45_600.0, 200.0, 500.0, 800.0,
        ]));
        assert_eq!(litres, [300.0; 6]);
        assert!(remarks.iter().any(|text| text.contains("replaced")));
    }

    #[test]
    fn a_meter_replaced_by_one_that_stands_higher_adds_no_phantom_litres() {
        let (litres, _) = count(&meters(&[1_000.0, 1_300.0, 52_000.0, 52_300.0, 52_600.0]));
        assert_eq!(litres, [300.0; 5]);
    }

    #[test]
    fn a_misread_counter_is_made_good_by_the_next_reading() {
        let (litres, remarks) = count(&meters(&[10_000.0, 10_300.0, 16_600.0, 10_900.0, 11_200.0]));
        // First fill unknown; the misread one is estimated, the next takes the rest.
        assert_eq!(litres, [300.0, 300.0, 300.0, 300.0, 300.0]);
        assert!(remarks.iter().any(|text| text.contains("misread")));
        let (litres, _) = count(&meters(&[10_000.0, 10_300.0, 10_250.0, 10_900.0]));
        assert_eq!(litres.iter().skip(1).sum::<f64>(), 900.0);
    }

    #[test]
    fn a_counter_that_stands_still_counts_nothing_and_is_remarked() {
        let (litres, remarks) = count(&meters(&[1_000.0, 1_300.0, 1_300.0, 1_600.0]));
        assert_eq!(litres, [300.0, 300.0, 0.0, 300.0]);
        assert!(remarks.iter().any(|text| text.contains("did not move")));
    }

    #[test]
    fn litres_written_between_two_counter_readings_are_not_counted_twice() {
        let (litres, _) = count(&[
            fill(Some(250.0), Some(1_000.0)),
            fill(Some(200.0), None),
            fill(None, Some(1_500.0)),
        ]);
        assert_eq!(litres, [250.0, 200.0, 300.0]);
    }

    #[test]
    fn bought_in_water_counts_for_nothing() {
        let mut bought = fill(Some(400.0), None);
        bought.source = Source::BoughtIn;
        let (litres, _) = count(&[fill(Some(300.0), None), bought]);
        assert_eq!(litres, [300.0, 0.0]);
    }

    #[test]
    fn litres_of_a_weekly_sheet_are_not_held_against_the_tank() {
        let mut weeks: Vec<Fill> = (0..8)
            .map(|n| fill(Some([380.0, 900.0][n % 2]), None))
            .collect();
        let (_, remarks) = count(&weeks);
        assert!(
            remarks.iter().any(|text| text.contains("tank holds")),
            "{remarks:?}"
        );
        for (week, fill) in (0..).zip(&mut weeks) {
            fill.started_at = Instant(week * 7 * 86_400_000_000);
        }
        let (litres, remarks) = count(&weeks);
        assert_eq!(litres.iter().sum::<f64>(), 4.0 * 1_280.0);
        assert!(remarks.is_empty(), "{remarks:?}");
    }

    #[test]
    fn more_than_the_tank_holds_is_kept_and_remarked() {
        let (litres, remarks) = count(&[fill(Some(300.0), None), fill(Some(900.0), None)]);
        assert_eq!(litres, [300.0, 900.0]);
        assert!(remarks.iter().any(|text| text.contains("tank holds")));
    }
}
