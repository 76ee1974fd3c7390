//! What may be asked, in a few plain words: `van QV-003 to QB1`, `limit 5 ppm`,
//! `prices +20 %`, `hardness -30 % in QA3`, `membranes 2 for QV-003`,
//! `recovery 45 %`; several with commas.

/// What is otherwise.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A van has another base.
    Moves {
        van: String,
        to: String,
    },
    ProductLimit(f64),
    SaltPassageLimit(f64),
    /// Prices of parts, water and drain.
    Prices(By),
    Price(Price, By),
    /// Hardness of the supply, mg/L CaCO3.
    Hardness(By, Scope),
    /// Membranes that share the water, from the next change on.
    Membranes(u32, Scope),
    /// Share of the tap water that becomes pure; `from` where it was given.
    Recovery {
        from: Option<f64>,
        to: f64,
        whom: Scope,
    },
}

/// A single price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Price {
    Membrane,
    Prefilter,
    Resin,
    Water,
    Drain,
    Labour,
    LostDay,
}

/// To a value, or by a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum By {
    To(f64),
    Times(f64),
}

impl By {
    pub fn of(self, value: f64) -> f64 {
        match self {
            By::To(x) => x,
            By::Times(factor) => value * factor,
        }
    }
}

/// Whom it befalls.
#[derive(Debug, Clone, PartialEq)]
pub enum Scope {
    All,
    Van(String),
    District(String),
}

impl Change {
    /// The name of the van that it is about, if it is about one.
    pub fn van_mut(&mut self) -> Option<&mut String> {
        match self {
            Change::Moves { van, .. } => Some(van),
            Change::Hardness(_, whom)
            | Change::Membranes(_, whom)
            | Change::Recovery { whom, .. } => match whom {
                Scope::Van(van) => Some(van),
                Scope::All | Scope::District(_) => None,
            },
            Change::ProductLimit(_)
            | Change::SaltPassageLimit(_)
            | Change::Prices(_)
            | Change::Price(..) => None,
        }
    }
}

const FORMS: &str = "say one of: van NAME to DISTRICT; limit 5 ppm; limit 8 %; prices +20 %; \
price membrane +20 %; hardness -30 %; hardness 120; membranes 2; recovery 45 %; the last three \
may end with for VAN or in DISTRICT";

/// Reads what was typed.
///
/// # Errors
/// What was not understood, and what may be said.
pub fn read(typed: &str) -> Result<Vec<Change>, String> {
    let changes: Result<Vec<Change>, String> = typed
        .split([',', ';'])
        .map(str::trim)
        .filter(|part| !part.is_empty())
        .map(|part| one(part).ok_or_else(|| format!("cannot read {part:?} as a change: {FORMS}")))
        .collect();
    match changes {
        Ok(list) if list.is_empty() => Err(format!("nothing to change: {FORMS}")),
        other => other,
    }
}

fn one(part: &str) -> Option<Change> {
    // `30%`, `30 %` and `=30%` are the same; signs stay with their number.
    let spaced = part.replace('%', " % ").replace('=', " ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let (first, rest) = words.split_first()?;
    match first.to_lowercase().as_str() {
        "van" => {
            let place = rest.iter().rposition(|w| w.eq_ignore_ascii_case("to"))?;
            let (van, to) = (
                rest.get(..place)?.join(" "),
                rest.get(place + 1..)?.join(" "),
            );
            (!van.is_empty() && !to.is_empty()).then(|| Change::Moves {
                van,
                to: to.to_uppercase(),
            })
        }
        "limit" => match rest {
            [x] => within(number(x)?, 0.5, 200.0).map(Change::ProductLimit),
            [x, "ppm"] => within(number(x)?, 0.5, 200.0).map(Change::ProductLimit),
            [x, "%"] => within(number(x)? / 100.0, 0.005, 0.9).map(Change::SaltPassageLimit),
            _ => None,
        },
        "prices" => match by(rest)? {
            By::Times(x) => Some(Change::Prices(By::Times(x))),
            By::To(_) => None,
        },
        "price" => {
            let (which, rest) = rest.split_first()?;
            let price = match which.to_lowercase().as_str() {
                "membrane" => Price::Membrane,
                "prefilter" | "pre-filter" | "prefilters" | "pre-filters" => Price::Prefilter,
                "resin" => Price::Resin,
                "water" => Price::Water,
                "drain" => Price::Drain,
                "labour" => Price::Labour,
                "lost-day" | "round" => Price::LostDay,
                _ => return None,
            };
            Some(Change::Price(price, by(rest)?))
        }
        "hardness" => {
            let (rest, whom) = whom(rest)?;
            Some(Change::Hardness(by(rest)?, whom))
        }
        "membranes" | "membrane" => {
            let (rest, whom) = whom(rest)?;
            let [n] = rest else { return None };
            let n = number(n).filter(|n| (1.0..=8.0).contains(n) && n.fract() == 0.0)?;
            Some(Change::Membranes(n as u32, whom))
        }
        "recovery" => {
            let (rest, whom) = whom(rest)?;
            let share = |x: &str| {
                let x = number(x)?;
                within(if x > 1.0 { x / 100.0 } else { x }, 0.05, 0.9)
            };
            let bare: Vec<&str> = rest.iter().copied().filter(|w| *w != "%").collect();
            let (from, to) = match bare.as_slice() {
                [to] => (None, share(to)?),
                [from, "to", to] => (Some(share(from)?), share(to)?),
                _ => return None,
            };
            Some(Change::Recovery { from, to, whom })
        }
        _ => None,
    }
}

fn within(x: f64, least: f64, most: f64) -> Option<f64> {
    (least..=most).contains(&x).then_some(x)
}

fn number(word: &str) -> Option<f64> {
    word.parse::<f64>().ok().filter(|x| x.is_finite())
}

/// `+20 %`, `-30 %`, `120`.
fn by(words: &[&str]) -> Option<By> {
    match words {
        [x, "%"] if x.starts_with(['+', '-']) => {
            within(1.0 + number(x)? / 100.0, 0.01, 100.0).map(By::Times)
        }
        [x] | [x, "mg/L" | "mg/l"] if !x.starts_with(['+', '-']) => {
            number(x).filter(|x| *x >= 0.0).map(By::To)
        }
        _ => None,
    }
}

/// Splits `… for VAN` or `… in DISTRICT` off.
fn whom<'a, 'b>(words: &'a [&'b str]) -> Option<(&'a [&'b str], Scope)> {
    let place = words
        .iter()
        .position(|w| w.eq_ignore_ascii_case("for") || w.eq_ignore_ascii_case("in"));
    let Some(place) = place else {
        return Some((words, Scope::All));
    };
    let (before, after) = words.split_at_checked(place)?;
    let (word, name) = after.split_first()?;
    let name = name.join(" ");
    if name.is_empty() {
        return None;
    }
    let whom = if word.eq_ignore_ascii_case("for") {
        Scope::Van(name)
    } else {
        Scope::District(name.to_uppercase())
    };
    Some((before, whom))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_may_be_said_is_understood() {
        assert_eq!(
            read("van Big Bertha to qb1").unwrap(),
            [Change::Moves {
                van: "Big Bertha".into(),
                to: "QB1".into()
            }]
        );
        assert_eq!(
            read("limit 5 ppm, prices +20%").unwrap(),
            [Change::ProductLimit(5.0), Change::Prices(By::Times(1.2))]
        );
        assert_eq!(read("limit=8%").unwrap(), [Change::SaltPassageLimit(0.08)]);
        assert_eq!(
            read("hardness -30 % in qa3; membranes 2 for QV-003").unwrap(),
            [
                Change::Hardness(By::Times(0.7), Scope::District("QA3".into())),
                Change::Membranes(2, Scope::Van("QV-003".into()))
            ]
        );
        assert_eq!(
            read("recovery 30 % to 45 %").unwrap(),
            [Change::Recovery {
                from: Some(0.3),
                to: 0.45,
                whom: Scope::All
            }]
        );
        assert_eq!(
            read("price membrane 210").unwrap(),
            [Change::Price(Price::Membrane, By::To(210.0))]
        );
    }

    #[test]
    fn what_cannot_be_meant_is_refused_with_what_may_be_said() {
        for typed in [
            "",
            "van QV-003",
            "limit 5 bar",
            "prices 20",
            "hardness",
            "recovery 120 %",
            "membranes 0",
            "membranes 1.5",
            "softer water",
            "hardness 20 in",
        ] {
            let refused = read(typed).unwrap_err();
            assert!(
                refused.contains("van NAME to DISTRICT"),
                "{typed}: {refused}"
            );
        }
    }
}
