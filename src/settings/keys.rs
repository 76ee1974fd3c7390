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

/// From least to most, both allowed, with the unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    least: f64,
    most: f64,
    unit: &'static str,
}

impl Range {
    const fn of(least: f64, most: f64, unit: &'static str) -> Range {
        Range { least, most, unit }
    }

    fn holds(&self, x: f64) -> bool {
        (self.least..=self.most).contains(&x)
    }
}

/// What a key takes and where the value goes.
pub(super) enum Kind {
    Number(Range, fn(&mut Settings, f64)),
    Whole(Range, fn(&mut Settings, i32)),
    TimeZone,
    Currency,
    WorkingDays,
    /// A number for each name in the section.
    Named {
        range: Range,
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

/// A value in force.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Value {
    Number(f64),
    Text(String),
}

/// A number with a field of its own, which its section and name are.
macro_rules! number {
    ($kind:ident $section:ident.$field:ident, $range:expr, $about:literal) => {
        Key {
            name: concat!(stringify!($section), ".", stringify!($field)),
            about: $about,
            kind: Kind::$kind($range, |s, x| s.$section.$field = x),
            get: |s| Some(Value::Number(f64::from(s.$section.$field))),
        }
    };
}

/// A price, which nobody need have said.
macro_rules! price {
    ($field:ident, $about:literal) => {
        Key {
            name: concat!("prices.", stringify!($field)),
            about: $about,
            kind: Kind::Number(PRICE, |s, x| s.prices.$field = Some(x)),
            get: |s| s.prices.$field.map(Value::Number),
        }
    };
}

const PRICE: Range = Range::of(0.0, 1_000_000.0, CURRENCY);
const CURRENCY: &str = "in the fleet's currency";
const PERCENT: &str = "a share: 0.10 for 10 %";

pub(super) const KEYS: &[Key] = &[
    Key {
        name: "time_zone",
        about: "days begin and end there",
        kind: Kind::TimeZone,
        get: |s| Some(Value::Text(s.time_zone.name().to_owned())),
    },
    number!(
        Number limits.salt_passage,
        Range::of(0.005, 0.9, PERCENT),
        "salt passage at which a membrane is changed, at 25 °C: 0.10 is a rejection of 90 % (common practice)"
    ),
    number!(
        Number limits.product_ppm,
        Range::of(0.5, 200.0, "ppm"),
        "product TDS that still dries without spots (common practice)"
    ),
    Key {
        name: "prices.currency",
        about: "sign or letters that stand with money",
        kind: Kind::Currency,
        get: |s| s.prices.currency.clone().map(Value::Text),
    },
    price!(membrane, "one RO membrane"),
    price!(prefilter, "one set of pre-filters"),
    price!(resin_per_litre, "one litre of DI resin"),
    price!(water_per_m3, "1000 L from the tap"),
    price!(drain_per_m3, "1000 L to the drain"),
    price!(
        labour_per_visit,
        "labour and travel for one visit to a base, whatever is changed"
    ),
    price!(lost_day, "a van off the road for a day, unplanned"),
    number!(
        Number usual_interval.membrane_months,
        Range::of(1.0, 240.0, "months"),
        "usual membrane interval, which the suggestion is compared with (common practice)"
    ),
    number!(
        Number usual_interval.prefilter_weeks,
        Range::of(1.0, 208.0, "weeks"),
        "usual pre-filter interval, which the suggestion is compared with (common practice)"
    ),
    number!(
        Whole running.lead_days,
        Range::of(0.0, 180.0, "days"),
        "flag a job as due this many days ahead"
    ),
    number!(
        Whole running.order_days,
        Range::of(0.0, 180.0, "days"),
        "from ordering a part to having it"
    ),
    number!(
        Number running.prefilter_days,
        Range::of(7.0, 730.0, "days"),
        "longest pre-filter interval"
    ),
    number!(
        Number running.prefilter_chlorine_g,
        Range::of(1.0, 1000.0, "g of free chlorine"),
        "chlorine capacity of a pre-filter set"
    ),
    number!(
        Number running.chlorine_mg_l,
        Range::of(0.0, 5.0, "mg/L"),
        "free chlorine in the tap water"
    ),
    number!(
        Number running.recovery,
        Range::of(0.05, 0.90, PERCENT),
        "recovery assumed when no flow is recorded: 0.30 is a waste ratio of 2.3 : 1"
    ),
    number!(
        Number running.false_alarms_per_van_year,
        Range::of(0.0005, 0.2, "alarms per healthy van per year: 0.01 for one in a hundred"),
        "false alarms of a failing membrane that are allowed"
    ),
    number!(
        Number running.resin_bag_litres,
        Range::of(0.5, 1000.0, "L"),
        "size of the bags you buy resin in"
    ),
    Key {
        name: "work.days",
        about: "days on which vans are worked on",
        kind: Kind::WorkingDays,
        get: |s| Some(Value::Text(s.work.days.to_string())),
    },
    number!(
        Whole work.jobs_per_day,
        Range::of(1.0, 500.0, "jobs"),
        "jobs that one crew does in a day"
    ),
    Key {
        name: "crews.*",
        about: "crews at a base, by its postcode district; one where none is named",
        kind: Kind::Named {
            range: Range::of(1.0, 100.0, "crews"),
            put: |s, base, x| {
                s.work.crews.insert(base.to_owned(), x.round());
            },
            list: |s| &s.work.crews,
        },
        get: |_| None,
    },
    Key {
        name: "stock.*",
        about: "on the shelf: membrane, prefilter, resin, or a make as your services name it",
        kind: Kind::Named {
            range: Range::of(0.0, 100_000.0, "pieces, or litres of resin"),
            put: |s, part, x| {
                s.stock.insert(part.to_owned(), x);
            },
            list: |s| &s.stock,
        },
        get: |_| None,
    },
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
            (Kind::Number(range, put), Raw::Number(x)) if range.holds(*x) => put(settings, *x),
            (Kind::Whole(range, put), Raw::Number(x)) if x.fract() == 0.0 && range.holds(*x) => {
                put(settings, *x as i32);
            }
            (Kind::Named { range, put, .. }, Raw::Number(x)) if range.holds(*x) => {
                let (_, own) = name.split_once('.').unwrap_or(("", name));
                put(settings, own.trim(), *x);
            }
            (Kind::TimeZone, Raw::Text(name)) => {
                settings.time_zone = TimeZone::named(name).ok_or_else(|| self.allowed())?;
            }
            (Kind::WorkingDays, Raw::Text(days)) => {
                let days = days.parse::<WorkingDays>();
                settings.work.days = days.map_err(|_| self.allowed())?;
            }
            (Kind::Currency, Raw::Text(word)) if is_currency(word) => {
                settings.prices.currency = Some(word.trim().to_owned());
            }
            _ => return Err(self.allowed()),
        }
        Ok(())
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

    fn range(&self) -> Option<Range> {
        match self.kind {
            Kind::Number(range, _) | Kind::Whole(range, _) | Kind::Named { range, .. } => {
                Some(range)
            }
            Kind::TimeZone | Kind::Currency | Kind::WorkingDays => None,
        }
    }

    /// Unit of the value in words; empty for words.
    pub(super) fn unit(&self) -> &'static str {
        self.range().map_or("", |range| range.unit)
    }

    /// What was probably meant by a value that does not fit: a share given in
    /// per cent, a number with its unit, another unit of time.
    pub(super) fn meant(&self, value: &Raw) -> Option<String> {
        let whole = match self.kind {
            Kind::Number(..) => false,
            Kind::Whole(..) => true,
            _ => return None,
        };
        let range = self.range()?;
        let (x, written) = match value {
            Raw::Number(x) => (*x, ""),
            Raw::Text(text) => number_and_unit(text)?,
            Raw::Other(_) => return None,
        };
        let factor = factor_to(range.unit, written)?;
        let per_cent = range.unit == PERCENT && written.is_empty() && x > 1.0;
        let meant = if per_cent { x / 100.0 } else { x * factor };
        let meant = if whole || range.unit == "days" {
            meant.round()
        } else {
            (meant * 1e6).round() / 1e6
        };
        range.holds(meant).then(|| meant.to_string())
    }

    /// What the key takes, in words.
    fn allowed(&self) -> String {
        let of = |range: &Range| format!("from {} to {} ({})", range.least, range.most, range.unit);
        match &self.kind {
            Kind::Number(range, _) | Kind::Named { range, .. } => format!("a number {}", of(range)),
            Kind::Whole(range, _) => format!("a whole number {}", of(range)),
            Kind::TimeZone => "the name of a time zone, such as \"Europe/London\"".to_owned(),
            Kind::WorkingDays => {
                "days in quotes, such as \"Mon-Fri\" or \"Mon, Tue, Thu\"".to_owned()
            }
            Kind::Currency => "1 to 8 letters or signs in quotes, such as \"£\"".to_owned(),
        }
    }

    /// How the value is written where there are only words: environment, flags.
    pub(super) fn raw(&self, typed: &str) -> Raw {
        match (self.range(), typed.trim().parse::<f64>()) {
            (Some(_), Ok(x)) if x.is_finite() => Raw::Number(x),
            _ => Raw::Text(typed.to_owned()),
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
        let mut checked = 0;
        for key in KEYS {
            if let Some(Value::Number(value)) = key.value(&defaults) {
                let mut settings = Settings::default();
                key.put(key.name, &Raw::Number(value), &mut settings)
                    .unwrap();
                assert_eq!(
                    key.value(&settings),
                    Some(Value::Number(value)),
                    "{}",
                    key.name
                );
                checked += 1;
            }
        }
        assert!(checked >= 12, "{checked}");
    }
}
