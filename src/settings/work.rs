//! When and by how many crews vans are worked on.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use crate::calendar::{Date, DateExt, Datelike};

/// Working days, and how much is done on one.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    pub days: WorkingDays,
    /// Jobs that one crew does in a day.
    pub jobs_per_day: i32,
    /// Crews by base; one where none is named.
    pub crews: BTreeMap<String, f64>,
}

impl Default for Work {
    fn default() -> Work {
        Work {
            days: WorkingDays([true, true, true, true, true, false, false]),
            // A change takes about an hour with flushing and a test (judgement).
            jobs_per_day: 6,
            crews: BTreeMap::new(),
        }
    }
}

impl Work {
    /// Jobs that can be done in a day at a base.
    pub fn jobs_a_day(&self, base: Option<&str>) -> usize {
        let is_here =
            |crews: &(&String, &f64)| base.is_some_and(|b| crews.0.eq_ignore_ascii_case(b));
        let crews = self.crews.iter().find(is_here).map(|(_, crews)| *crews);
        let jobs = f64::from(self.jobs_per_day.max(1)) * crews.unwrap_or(1.0).max(1.0);
        jobs as usize
    }
}

/// Days of the week on which work is done, Monday first; at least one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WorkingDays([bool; 7]);

const NAMES: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

impl WorkingDays {
    pub fn includes(self, day: Date) -> bool {
        let place = day.weekday().num_days_from_monday() as usize;
        self.0.get(place).copied().unwrap_or(true)
    }

    /// The first working day from that day on.
    pub fn on_or_after(self, day: Date) -> Date {
        self.nearest(day, 1)
    }

    /// The last working day up to that day.
    pub fn on_or_before(self, day: Date) -> Date {
        self.nearest(day, -1)
    }

    fn nearest(self, from: Date, step: i64) -> Date {
        let mut days = (0..7).map(|n| from.plus_days(step * n));
        days.find(|day| self.includes(*day)).unwrap_or(from)
    }
}

/// `Mon-Fri`, `Mon-Thu, Sat`.
impl fmt::Display for WorkingDays {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for (day, _) in self.0.iter().enumerate().filter(|(_, works)| **works) {
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == day => *last = day,
                _ => runs.push((day, day)),
            }
        }
        let name = |day: usize| NAMES.get(day).copied().unwrap_or_default();
        let runs = runs.into_iter().map(|(first, last)| match last - first {
            0 => name(first).to_owned(),
            1 => format!("{}, {}", name(first), name(last)),
            _ => format!("{}-{}", name(first), name(last)),
        });
        f.write_str(&runs.collect::<Vec<_>>().join(", "))
    }
}

/// What was written is no list of days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoDays;

impl FromStr for WorkingDays {
    type Err = NoDays;

    /// Names of days, in full or their first three letters, with commas or spaces
    /// between them; a hyphen or `to` for all from one to the other.
    fn from_str(text: &str) -> Result<WorkingDays, NoDays> {
        let spaced = text
            .to_lowercase()
            .replace(['-', '–'], " to ")
            .replace(',', " ");
        let mut days = [false; 7];
        let (mut last, mut is_range) = (None, false);
        for word in spaced.split_whitespace() {
            if word == "to" {
                is_range = last.is_some() && !is_range;
                if !is_range {
                    return Err(NoDays);
                }
                continue;
            }
            let day = day_of_week(word).ok_or(NoDays)?;
            let mut from = last.filter(|_| is_range).unwrap_or(day);
            loop {
                if let Some(works) = days.get_mut(from) {
                    *works = true;
                }
                if from == day {
                    break;
                }
                from = (from + 1) % 7;
            }
            (last, is_range) = (Some(day), false);
        }
        match last.is_some() && !is_range {
            true => Ok(WorkingDays(days)),
            false => Err(NoDays),
        }
    }
}

fn day_of_week(word: &str) -> Option<usize> {
    const FULL: [&str; 7] = [
        "monday",
        "tuesday",
        "wednesday",
        "thursday",
        "friday",
        "saturday",
        "sunday",
    ];
    let is_meant = |full: &&str| word.len() >= 3 && full.starts_with(word);
    FULL.iter().position(is_meant)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::date;

    #[test]
    fn days_are_read_as_people_write_them() {
        for (typed, read) in [
            ("Mon-Fri", "Mon-Fri"),
            ("monday to friday", "Mon-Fri"),
            ("Mon, Tue, Thu", "Mon, Tue, Thu"),
            ("sat – mon", "Mon, Sat, Sun"),
            ("Mon-Sun", "Mon-Sun"),
            ("tues thurs", "Tue, Thu"),
        ] {
            assert_eq!(typed.parse::<WorkingDays>().unwrap().to_string(), read);
        }
        for typed in ["", "mo", "Mon-", "-Fri", "whenever", "Mon--Fri"] {
            assert_eq!(typed.parse::<WorkingDays>(), Err(NoDays), "{typed}");
        }
    }

    #[test]
    fn a_weekend_is_passed_over_either_way() {
        let days = Work::default().days;
        // 31 October 2026 is a Saturday.
        assert_eq!(days.on_or_after(date(2026, 10, 31)), date(2026, 11, 2));
        assert_eq!(days.on_or_before(date(2026, 11, 1)), date(2026, 10, 30));
        assert_eq!(days.on_or_after(date(2026, 11, 2)), date(2026, 11, 2));
    }
}
