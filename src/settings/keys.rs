//! Every key that can be set: its name, what is allowed, where it goes. The
//! one table that file, environment and flags share.

use std::collections::BTreeMap;

use crate::calendar::TimeZone;

use super::{Settings, WorkingDays};

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
    WorkingDays,
    /// A number for each name in the section.
    Named {
        least: f64,
        most: f64,
        unit: &'static str,
        put: fn(&mut Settings, &str, f64),
        list: fn(&Settings) -> &BTreeMap<String, f64>,
    },
}

pub(super) struct Key {
    /// Section and name, the time zone at the top; `*` for any name.
    pub name: &'static str,
    /// What it is, one line.
    pub about: &'static str,
    pub kind: Kind,
    /// The value in force; `None` where nobody said.
    get: fn(&Settings) -> Option<Value>,
}

const fn named(
    name: &'static str,
    (least, most, unit): (f64, f64, &'static str),
    put: fn(&mut Settings, &str, f64),
    list: fn(&Settings) -> &BTreeMap<String, f64>,
    about: &'static str,
) -> Key {
    Key {
        name,
        about,
        kind: Kind::Named {
            least,
            most,
            unit,
            put,
            list,
        },
        get: |_| None,
    }
}

/// A value in force.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Value {
    Number(f64),
    Text(String),
}

const fn number(
    name: &'static str,
    (least, most, unit): (f64, f64, &'static str),
    put: fn(&mut Settings, f64),
    get: fn(&Settings) -> Option<Value>,
    about: &'static str,
) -> Key {
    Key {
        name,
        about,
        kind: Kind::Number {
            least,
            most,
            unit,
            put,
        },
        get,
    }
}

const fn whole(
    name: &'static str,
    (least, most, unit): (f64, f64, &'static str),
    put: fn(&mut Settings, i32),
    get: fn(&Settings) -> Option<Value>,
    about: &'static str,
) -> Key {
    Key {
        name,
        about,
        kind: Kind::Whole {
            least,
            most,
            unit,
            put,
        },
        get,
    }
}

const PRICE: (f64, f64, &str) = (0.0, 1_000_000.0, CURRENCY);
const CURRENCY: &str = "in the fleet's currency";
const PERCENT: &str = "a share: 0.10 for 10 %";

fn some(x: f64) -> Option<Value> {
    Some(Value::Number(x))
}

pub(super) const KEYS: &[Key] = &[
    Key {
        name: "time_zone",
        about: "days begin and end there",
        kind: Kind::TimeZone,
        get: |s| Some(Value::Text(s.time_zone.name().to_owned())),
    },
    number(
        "limits.salt_passage",
        (0.005, 0.9, PERCENT),
        |s, x| s.limits.salt_passage = x,
        |s| some(s.limits.salt_passage),
        "salt passage at which a membrane is changed, at 25 °C: 0.10 is a rejection of 90 % (common practice)",
    ),
    number(
        "limits.product_ppm",
        (0.5, 200.0, "ppm"),
        |s, x| s.limits.product_ppm = x,
        |s| some(s.limits.product_ppm),
        "product TDS that still dries without spots (common practice)",
    ),
    Key {
        name: "prices.currency",
        about: "sign or letters that stand with money",
        kind: Kind::Currency,
        get: |s| s.prices.currency.clone().map(Value::Text),
    },
    number(
        "prices.membrane",
        PRICE,
        |s, x| s.prices.membrane = Some(x),
        |s| s.prices.membrane.map(Value::Number),
        "one RO membrane",
    ),
    number(
        "prices.prefilter",
        PRICE,
        |s, x| s.prices.prefilter = Some(x),
        |s| s.prices.prefilter.map(Value::Number),
        "one set of pre-filters",
    ),
    number(
        "prices.resin_per_litre",
        PRICE,
        |s, x| s.prices.resin_per_litre = Some(x),
        |s| s.prices.resin_per_litre.map(Value::Number),
        "one litre of DI resin",
    ),
    number(
        "prices.water_per_m3",
        PRICE,
        |s, x| s.prices.water_per_m3 = Some(x),
        |s| s.prices.water_per_m3.map(Value::Number),
        "1000 L from the tap",
    ),
    number(
        "prices.drain_per_m3",
        PRICE,
        |s, x| s.prices.drain_per_m3 = Some(x),
        |s| s.prices.drain_per_m3.map(Value::Number),
        "1000 L to the drain",
    ),
    number(
        "prices.labour_per_visit",
        PRICE,
        |s, x| s.prices.labour_per_visit = Some(x),
        |s| s.prices.labour_per_visit.map(Value::Number),
        "labour and travel for one visit to a base, whatever is changed",
    ),
    number(
        "prices.lost_day",
        PRICE,
        |s, x| s.prices.lost_day = Some(x),
        |s| s.prices.lost_day.map(Value::Number),
        "a van off the road for a day, unplanned",
    ),
    number(
        "usual_interval.membrane_months",
        (1.0, 240.0, "months"),
        |s, x| s.usual_interval.membrane_months = x,
        |s| some(s.usual_interval.membrane_months),
        "usual membrane interval, which the suggestion is compared with (common practice)",
    ),
    number(
        "usual_interval.prefilter_weeks",
        (1.0, 208.0, "weeks"),
        |s, x| s.usual_interval.prefilter_weeks = x,
        |s| some(s.usual_interval.prefilter_weeks),
        "usual pre-filter interval, which the suggestion is compared with (common practice)",
    ),
    whole(
        "running.lead_days",
        (0.0, 180.0, "days"),
        |s, x| s.running.lead_days = x,
        |s| some(f64::from(s.running.lead_days)),
        "flag a job as due this many days ahead",
    ),
    whole(
        "running.order_days",
        (0.0, 180.0, "days"),
        |s, x| s.running.order_days = x,
        |s| some(f64::from(s.running.order_days)),
        "from ordering a part to having it",
    ),
    number(
        "running.prefilter_days",
        (7.0, 730.0, "days"),
        |s, x| s.running.prefilter_days = x,
        |s| some(s.running.prefilter_days),
        "longest pre-filter interval",
    ),
    number(
        "running.prefilter_chlorine_g",
        (1.0, 1000.0, "g of free chlorine"),
        |s, x| s.running.prefilter_chlorine_g = x,
        |s| some(s.running.prefilter_chlorine_g),
        "chlorine capacity of a pre-filter set",
    ),
    number(
        "running.chlorine_mg_l",
        (0.0, 5.0, "mg/L"),
        |s, x| s.running.chlorine_mg_l = x,
        |s| some(s.running.chlorine_mg_l),
        "free chlorine in the tap water",
    ),
    number(
        "running.recovery",
        (0.05, 0.90, PERCENT),
        |s, x| s.running.recovery = x,
        |s| some(s.running.recovery),
        "recovery assumed when no flow is recorded: 0.30 is a waste ratio of 2.3 : 1",
    ),
    number(
        "running.false_alarms_per_van_year",
        (
            0.0005,
            0.2,
            "alarms per healthy van per year: 0.01 for one in a hundred",
        ),
        |s, x| s.running.false_alarms_per_van_year = x,
        |s| some(s.running.false_alarms_per_van_year),
        "false alarms of a failing membrane that are allowed",
    ),
    number(
        "running.resin_bag_litres",
        (0.5, 1000.0, "L"),
        |s, x| s.running.resin_bag_litres = x,
        |s| some(s.running.resin_bag_litres),
        "size of the bags you buy resin in",
    ),
    Key {
        name: "work.days",
        about: "days on which vans are worked on",
        kind: Kind::WorkingDays,
        get: |s| Some(Value::Text(s.work.days.to_string())),
    },
    whole(
        "work.jobs_per_day",
        (1.0, 500.0, "jobs"),
        |s, x| s.work.jobs_per_day = x,
        |s| some(f64::from(s.work.jobs_per_day)),
        "jobs that one crew does in a day",
    ),
    named(
        "crews.*",
        (1.0, 100.0, "crews"),
        |s, base, x| {
            s.work.crews.insert(base.to_owned(), x.round());
        },
        |s| &s.work.crews,
        "crews at a base, by its postcode district; one where none is named",
    ),
    named(
        "stock.*",
        (0.0, 100_000.0, "pieces, or litres of resin"),
        |s, part, x| {
            s.stock.insert(part.to_owned(), x);
        },
        |s| &s.stock,
        "on the shelf: membrane, prefilter, resin, or a make as your services name it",
    ),
];

/// The sections that keys live in.
pub const SECTIONS: [&str; 7] = [
    "limits",
    "prices",
    "usual_interval",
    "running",
    "work",
    "crews",
    "stock",
];

/// Sections and keys by the names they had, with those they have.
const RENAMED: [(&str, &str); 3] = [
    ("habits", "running"),
    ("rule_of_thumb", "usual_interval"),
    ("prices.lost_round", "prices.lost_day"),
];

/// Sections that are called otherwise now.
pub(super) const OLD_SECTIONS: [&str; 2] = ["habits", "rule_of_thumb"];

/// What to write instead of a name of old.
pub(super) fn renamed(name: &str) -> Option<String> {
    RENAMED.iter().find_map(|(old, new)| {
        let rest = name.strip_prefix(old)?;
        (rest.is_empty() || rest.starts_with('.')).then(|| format!("{new}{rest}"))
    })
}

pub(super) fn find(name: &str) -> Option<&'static Key> {
    let (section, own) = name.split_once('.').unwrap_or(("", name));
    KEYS.iter().find(|key| {
        let any = key.name.strip_suffix(".*");
        key.name == name || (any == Some(section) && !own.trim().is_empty())
    })
}

/// The known key that looks most like `name`, if any is near; of a section's
/// name the section.
pub(super) fn suggestion(name: &str) -> Option<String> {
    let last = |s: &str| s.rsplit('.').next().unwrap_or_default().to_owned();
    let keys = KEYS.iter().map(|key| {
        let whole = strsim::jaro_winkler(name, key.name);
        let ending = strsim::jaro_winkler(&last(name), &last(key.name));
        (whole.max(ending), key.name.to_owned())
    });
    let sections = SECTIONS
        .iter()
        .filter(|_| !name.contains('.'))
        .map(|section| (strsim::jaro_winkler(name, section), format!("[{section}]")));
    keys.chain(sections)
        .filter(|(likeness, _)| *likeness > 0.80)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

impl Key {
    /// Puts the value into the settings.
    ///
    /// # Errors
    /// What would have been allowed, in words.
    pub(super) fn put(
        &self,
        name: &str,
        value: &Raw,
        settings: &mut Settings,
    ) -> Result<(), String> {
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
            (Kind::TimeZone, Raw::Text(name)) => match TimeZone::named(name) {
                Some(zone) => {
                    settings.time_zone = zone;
                    Ok(())
                }
                None => Err(self.allowed()),
            },
            (Kind::WorkingDays, Raw::Text(days)) => match days.parse::<WorkingDays>() {
                Ok(days) => {
                    settings.work.days = days;
                    Ok(())
                }
                Err(_) => Err(self.allowed()),
            },
            (
                Kind::Named {
                    least, most, put, ..
                },
                Raw::Number(x),
            ) if (*least..=*most).contains(x) => {
                let (_, own) = name.split_once('.').unwrap_or(("", name));
                put(settings, own.trim(), *x);
                Ok(())
            }
            (Kind::Currency, Raw::Text(word)) if is_currency(word) => {
                settings.prices.currency = Some(word.trim().to_owned());
                Ok(())
            }
            _ => Err(self.allowed()),
        }
    }

    /// The value in force; `None` where nobody said.
    pub(super) fn value(&self, settings: &Settings) -> Option<Value> {
        (self.get)(settings)
    }

    /// The names that have a value in force, for a key of any name.
    pub(super) fn named<'a>(&self, settings: &'a Settings) -> Option<&'a BTreeMap<String, f64>> {
        match self.kind {
            Kind::Named { list, .. } => Some(list(settings)),
            _ => None,
        }
    }

    /// Unit of the value in words; empty for words.
    pub(super) fn unit(&self) -> &'static str {
        match self.kind {
            Kind::Number { unit, .. } | Kind::Whole { unit, .. } | Kind::Named { unit, .. } => unit,
            Kind::TimeZone | Kind::Currency | Kind::WorkingDays => "",
        }
    }

    /// What was probably meant by a value that does not fit: a share given in
    /// per cent, a number with its unit, another unit of time.
    pub(super) fn meant(&self, value: &Raw) -> Option<String> {
        let (least, most, unit, whole) = match self.kind {
            Kind::Number {
                least, most, unit, ..
            } => (least, most, unit, false),
            Kind::Whole {
                least, most, unit, ..
            } => (least, most, unit, true),
            Kind::TimeZone | Kind::Currency | Kind::WorkingDays | Kind::Named { .. } => {
                return None;
            }
        };
        let (x, written) = match value {
            Raw::Number(x) => (*x, ""),
            Raw::Text(text) => number_and_unit(text)?,
            Raw::Other(_) => return None,
        };
        let factor = factor_to(unit, written)?;
        let per_cent = unit == PERCENT && written.is_empty() && x > 1.0;
        let meant = if per_cent { x / 100.0 } else { x * factor };
        let meant = if whole || unit == "days" {
            meant.round()
        } else {
            (meant * 1e6).round() / 1e6
        };
        (least..=most).contains(&meant).then(|| meant.to_string())
    }

    /// What the key takes, in words.
    fn allowed(&self) -> String {
        match self.kind {
            Kind::Number {
                least, most, unit, ..
            }
            | Kind::Named {
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
            Kind::WorkingDays => {
                "days in quotes, such as \"Mon-Fri\" or \"Mon, Tue, Thu\"".to_owned()
            }
            Kind::Currency => "1 to 8 letters or signs in quotes, such as \"£\"".to_owned(),
        }
    }

    /// How the value is written where there are only words: environment, flags.
    pub(super) fn raw(&self, typed: &str) -> Raw {
        match self.kind {
            Kind::Number { .. } | Kind::Whole { .. } | Kind::Named { .. } => {
                match typed.trim().parse::<f64>() {
                    Ok(x) if x.is_finite() => Raw::Number(x),
                    _ => Raw::Text(typed.to_owned()),
                }
            }
            Kind::TimeZone | Kind::Currency | Kind::WorkingDays => Raw::Text(typed.to_owned()),
        }
    }
}

/// A number with what stands behind it; a decimal comma and a currency sign in
/// front are understood.
fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text
        .trim()
        .trim_start_matches(|c: char| !c.is_ascii_digit() && c != '.' && c != '-')
        .trim();
    let end = text
        .find(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ',' | '-'))
        .unwrap_or(text.len());
    let (digits, unit) = text.split_at_checked(end)?;
    let x = digits.replace(',', ".").parse::<f64>().ok()?;
    x.is_finite().then(|| (x, unit.trim()))
}

/// What a value in the `written` unit is multiplied by; `None` where the two
/// have nothing to do with each other.
fn factor_to(unit: &str, written: &str) -> Option<f64> {
    let days = |word: &str| match word.trim_end_matches('s') {
        "day" | "d" => Some(1.0),
        "week" | "wk" => Some(7.0),
        "month" => Some(30.4375),
        "year" | "yr" => Some(365.25),
        _ => None,
    };
    let word = written.to_lowercase();
    if word.is_empty() {
        return Some(1.0);
    }
    match (unit, word.as_str()) {
        (PERCENT, "%") => Some(0.01),
        ("ppm", "ppm" | "mg/l") | ("mg/L", "mg/l" | "ppm") => Some(1.0),
        // The scale of most meters, as for the columns of readings.
        ("ppm", "us" | "us/cm" | "µs" | "µs/cm") => Some(0.5),
        ("g of free chlorine", "g") => Some(1.0),
        (CURRENCY, word) => (!word.contains(|c: char| c.is_ascii_digit())).then_some(1.0),
        (unit, word) => Some(days(word)? / days(unit)?),
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
                "usual_interval.membrane_months",
                defaults.usual_interval.membrane_months,
            ),
            (
                "usual_interval.prefilter_weeks",
                defaults.usual_interval.prefilter_weeks,
            ),
            ("running.lead_days", f64::from(defaults.running.lead_days)),
            ("running.prefilter_days", defaults.running.prefilter_days),
            (
                "running.prefilter_chlorine_g",
                defaults.running.prefilter_chlorine_g,
            ),
            ("running.chlorine_mg_l", defaults.running.chlorine_mg_l),
            ("running.recovery", defaults.running.recovery),
        ];
        for (name, value) in checks {
            let mut settings = Settings::default();
            find(name)
                .unwrap()
                .put(name, &Raw::Number(value), &mut settings)
                .unwrap();
        }
    }
}
