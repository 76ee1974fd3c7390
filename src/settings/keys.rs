//! Every key that can be set: its name, what is allowed, where it goes. The
//! one table that file, environment and flags share.

use jiff::tz::TimeZone;

use super::Settings;

/// A value before it is known whether it fits its key.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Raw {
    Number(f64),
    Text(String),
    /// Anything else, by its name.
    Other(&'static str),
}

/// What a key takes and where the value goes.
pub(super) enum Kind {
    /// A number from least to most, both allowed, with its unit.
    Number {
        least: f64,
        most: f64,
        unit: &'static str,
        put: fn(&mut Settings, f64),
    },
    /// A whole number from least to most.
    Whole {
        least: f64,
        most: f64,
        unit: &'static str,
        put: fn(&mut Settings, i32),
    },
    TimeZone,
    Currency,
}

pub(super) struct Key {
    /// Section and name; time zone stands at the top.
    pub name: &'static str,
    pub kind: Kind,
}

const fn number(
    name: &'static str,
    least: f64,
    most: f64,
    unit: &'static str,
    put: fn(&mut Settings, f64),
) -> Key {
    Key {
        name,
        kind: Kind::Number {
            least,
            most,
            unit,
            put,
        },
    }
}

const fn price(name: &'static str, put: fn(&mut Settings, f64)) -> Key {
    number(name, 0.0, 1_000_000.0, "in the fleet's currency", put)
}

pub(super) const KEYS: &[Key] = &[
    Key {
        name: "time_zone",
        kind: Kind::TimeZone,
    },
    number(
        "limits.salt_passage",
        0.005,
        0.9,
        "a share: 0.10 for 10 %",
        |s, x| s.limits.salt_passage = x,
    ),
    number("limits.product_ppm", 0.5, 200.0, "ppm", |s, x| {
        s.limits.product_ppm = x;
    }),
    Key {
        name: "prices.currency",
        kind: Kind::Currency,
    },
    price("prices.membrane", |s, x| s.prices.membrane = Some(x)),
    price("prices.prefilter", |s, x| s.prices.prefilter = Some(x)),
    price("prices.resin_per_litre", |s, x| {
        s.prices.resin_per_litre = Some(x);
    }),
    price("prices.labour_per_visit", |s, x| {
        s.prices.labour_per_visit = Some(x);
    }),
    price("prices.lost_round", |s, x| s.prices.lost_round = Some(x)),
    number(
        "rule_of_thumb.membrane_months",
        1.0,
        240.0,
        "months",
        |s, x| s.rule_of_thumb.membrane_months = x,
    ),
    number(
        "rule_of_thumb.prefilter_weeks",
        1.0,
        208.0,
        "weeks",
        |s, x| s.rule_of_thumb.prefilter_weeks = x,
    ),
    Key {
        name: "habits.lead_days",
        kind: Kind::Whole {
            least: 0.0,
            most: 180.0,
            unit: "days",
            put: |s, x| s.habits.lead_days = x,
        },
    },
    number("habits.prefilter_days", 7.0, 730.0, "days", |s, x| {
        s.habits.prefilter_days = x;
    }),
    number(
        "habits.prefilter_chlorine_g",
        1.0,
        1000.0,
        "g of free chlorine",
        |s, x| s.habits.prefilter_chlorine_g = x,
    ),
    number("habits.chlorine_mg_l", 0.0, 5.0, "mg/L", |s, x| {
        s.habits.chlorine_mg_l = x;
    }),
    number(
        "habits.recovery",
        0.05,
        0.90,
        "a share: 0.30 for 30 %",
        |s, x| s.habits.recovery = x,
    ),
    number(
        "habits.false_alarms_per_van_year",
        0.0005,
        0.2,
        "alarms a healthy van and year: 0.01 for one in a hundred",
        |s, x| s.habits.false_alarms_per_van_year = x,
    ),
];

/// The sections that keys live in.
pub(super) const SECTIONS: [&str; 4] = ["limits", "prices", "rule_of_thumb", "habits"];

pub(super) fn find(name: &str) -> Option<&'static Key> {
    KEYS.iter().find(|key| key.name == name)
}

/// The known key that looks most like `name`, if any is near.
pub(super) fn suggestion(name: &str) -> Option<&'static str> {
    let last = |s: &str| s.rsplit('.').next().unwrap_or_default().to_owned();
    KEYS.iter()
        .map(|key| {
            let whole = strsim::jaro_winkler(name, key.name);
            let ending = strsim::jaro_winkler(&last(name), &last(key.name));
            (whole.max(ending), key.name)
        })
        .filter(|(likeness, _)| *likeness > 0.80)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

impl Key {
    /// Puts the value into the settings.
    ///
    /// # Errors
    /// What would have been allowed, in words.
    pub(super) fn put(&self, value: &Raw, settings: &mut Settings) -> Result<(), String> {
        match (&self.kind, value) {
            (
                Kind::Number {
                    least, most, put, ..
                },
                Raw::Number(x),
            ) if (*least..=*most).contains(x) => {
                put(settings, *x);
                Ok(())
            }
            (
                Kind::Whole {
                    least, most, put, ..
                },
                Raw::Number(x),
            ) if x.fract() == 0.0 && (*least..=*most).contains(x) => {
                put(settings, *x as i32);
                Ok(())
            }
            (Kind::TimeZone, Raw::Text(name)) => match TimeZone::get(name) {
                Ok(zone) => {
                    settings.time_zone = zone;
                    Ok(())
                }
                Err(_) => Err(self.allowed()),
            },
            (Kind::Currency, Raw::Text(word)) if is_currency(word) => {
                settings.prices.currency = Some(word.trim().to_owned());
                Ok(())
            }
            _ => Err(self.allowed()),
        }
    }

    /// What the key takes, in words.
    fn allowed(&self) -> String {
        match self.kind {
            Kind::Number {
                least, most, unit, ..
            } => {
                format!("a number from {least} to {most} ({unit})")
            }
            Kind::Whole {
                least, most, unit, ..
            } => {
                format!("a whole number from {least} to {most} ({unit})")
            }
            Kind::TimeZone => "the name of a time zone, such as \"Europe/London\"".to_owned(),
            Kind::Currency => "1 to 8 letters or signs in quotes, such as \"£\"".to_owned(),
        }
    }

    /// How the value is written where there are only words: environment, flags.
    pub(super) fn raw(&self, typed: &str) -> Raw {
        match self.kind {
            Kind::Number { .. } | Kind::Whole { .. } => match typed.trim().parse::<f64>() {
                Ok(x) if x.is_finite() => Raw::Number(x),
                _ => Raw::Text(typed.to_owned()),
            },
            Kind::TimeZone | Kind::Currency => Raw::Text(typed.to_owned()),
        }
    }
}

fn is_currency(word: &str) -> bool {
    let word = word.trim();
    (1..=8).contains(&word.chars().count()) && !word.chars().any(char::is_control)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn every_default_lies_within_what_its_key_allows() {
        let defaults = Settings::default();
        let checks = [
            ("limits.salt_passage", defaults.limits.salt_passage),
            ("limits.product_ppm", defaults.limits.product_ppm),
            (
                "rule_of_thumb.membrane_months",
                defaults.rule_of_thumb.membrane_months,
            ),
            (
                "rule_of_thumb.prefilter_weeks",
                defaults.rule_of_thumb.prefilter_weeks,
            ),
            ("habits.lead_days", f64::from(defaults.habits.lead_days)),
            ("habits.prefilter_days", defaults.habits.prefilter_days),
            (
                "habits.prefilter_chlorine_g",
                defaults.habits.prefilter_chlorine_g,
            ),
            ("habits.chlorine_mg_l", defaults.habits.chlorine_mg_l),
            ("habits.recovery", defaults.habits.recovery),
        ];
        for (name, value) in checks {
            let mut settings = Settings::default();
            find(name)
                .unwrap()
                .put(&Raw::Number(value), &mut settings)
                .unwrap();
        }
    }
}
