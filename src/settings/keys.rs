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
    /// What it is, one line.
    pub about: &'static str,
    pub kind: Kind,
    /// The value in force; `None` where nobody said.
    get: fn(&Settings) -> Option<Value>,
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
        get: |s| s.time_zone.iana_name().map(|n| Value::Text(n.to_owned())),
    },
    number(
        "limits.salt_passage",
        (0.005, 0.9, PERCENT),
        |s, x| s.limits.salt_passage = x,
        |s| some(s.limits.salt_passage),
        "share of the salts that a membrane may let through, at 25 °C",
    ),
    number(
        "limits.product_ppm",
        (0.5, 200.0, "ppm"),
        |s, x| s.limits.product_ppm = x,
        |s| some(s.limits.product_ppm),
        "water after the resin that still dries without spots",
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
        "one membrane",
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
        "one litre of resin",
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
        "work and way for one visit to a van, whatever is changed",
    ),
    number(
        "prices.lost_round",
        PRICE,
        |s, x| s.prices.lost_round = Some(x),
        |s| s.prices.lost_round.map(Value::Number),
        "a day's lost round when a van passes a limit unplanned",
    ),
    number(
        "rule_of_thumb.membrane_months",
        (1.0, 240.0, "months"),
        |s, x| s.rule_of_thumb.membrane_months = x,
        |s| some(s.rule_of_thumb.membrane_months),
        "what the suggested membrane interval is compared with",
    ),
    number(
        "rule_of_thumb.prefilter_weeks",
        (1.0, 208.0, "weeks"),
        |s, x| s.rule_of_thumb.prefilter_weeks = x,
        |s| some(s.rule_of_thumb.prefilter_weeks),
        "what the suggested pre-filter interval is compared with",
    ),
    whole(
        "habits.lead_days",
        (0.0, 180.0, "days"),
        |s, x| s.habits.lead_days = x,
        |s| some(f64::from(s.habits.lead_days)),
        "notice that a replacement needs: so long ahead it is due",
    ),
    whole(
        "habits.order_days",
        (0.0, 180.0, "days"),
        |s, x| s.habits.order_days = x,
        |s| some(f64::from(s.habits.order_days)),
        "from ordering a part to having it",
    ),
    number(
        "habits.prefilter_days",
        (7.0, 730.0, "days"),
        |s, x| s.habits.prefilter_days = x,
        |s| some(s.habits.prefilter_days),
        "longest pre-filter interval",
    ),
    number(
        "habits.prefilter_chlorine_g",
        (1.0, 1000.0, "g of free chlorine"),
        |s, x| s.habits.prefilter_chlorine_g = x,
        |s| some(s.habits.prefilter_chlorine_g),
        "what a pre-filter set takes up",
    ),
    number(
        "habits.chlorine_mg_l",
        (0.0, 5.0, "mg/L"),
        |s, x| s.habits.chlorine_mg_l = x,
        |s| some(s.habits.chlorine_mg_l),
        "free chlorine in the tap water",
    ),
    number(
        "habits.recovery",
        (0.05, 0.90, PERCENT),
        |s, x| s.habits.recovery = x,
        |s| some(s.habits.recovery),
        "share of the tap water that becomes pure, where no flow tells",
    ),
    number(
        "habits.false_alarms_per_van_year",
        (
            0.0005,
            0.2,
            "alarms a healthy van and year: 0.01 for one in a hundred",
        ),
        |s, x| s.habits.false_alarms_per_van_year = x,
        |s| some(s.habits.false_alarms_per_van_year),
        "false alarms of a failing membrane that are allowed",
    ),
];

/// The sections that keys live in.
pub(super) const SECTIONS: [&str; 4] = ["limits", "prices", "rule_of_thumb", "habits"];

pub(super) fn find(name: &str) -> Option<&'static Key> {
    KEYS.iter().find(|key| key.name == name)
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

    /// The value in force; `None` where nobody said.
    pub(super) fn value(&self, settings: &Settings) -> Option<Value> {
        (self.get)(settings)
    }

    /// Unit of the value in words; empty for words.
    pub(super) fn unit(&self) -> &'static str {
        match self.kind {
            Kind::Number { unit, .. } | Kind::Whole { unit, .. } => unit,
            Kind::TimeZone | Kind::Currency => "",
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
            Kind::TimeZone | Kind::Currency => return None,
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
