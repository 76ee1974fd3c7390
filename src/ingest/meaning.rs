//! What one header says: which column, in which unit.

use super::columns::Column;
use super::headers::{
    Named, RecordKind, columns_asked_for, columns_headed, is_canonical, says_little,
};
use super::text::{folded, plain};
use super::units::{Measure, Unit};

/// What a header was found to say.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Meaning {
    Column(Headed),
    /// A column of ours in a unit we do not know.
    UnknownUnit(Column),
    /// A column of ours that stands in another cell already.
    Twin,
    /// None of ours.
    Extra,
}

impl Meaning {
    /// The column, where it is one of ours in a unit we know.
    pub fn column(&self) -> Option<&Headed> {
        match self {
            Meaning::Column(headed) => Some(headed),
            Meaning::UnknownUnit(_) | Meaning::Twin | Meaning::Extra => None,
        }
    }
}

/// A column as headed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Headed {
    pub column: Column,
    /// Another column that the heading may mean, where a plainer one names this.
    pub or: Option<Column>,
    /// `None` where the header states no unit.
    pub unit: Option<Unit>,
    pub canonical: bool,
    /// It may mean other things as well: it does not tell what a file is.
    pub is_weak: bool,
}

impl Headed {
    pub fn of(column: Column) -> Headed {
        Headed {
            column,
            or: None,
            unit: None,
            canonical: false,
            is_weak: false,
        }
    }
}

/// Words in front of a meter's name that state a unit.
const PREFIXES: [&str; 7] = [
    "tds",
    "ppm",
    "ec",
    "cond",
    "conductivity",
    "reading",
    "water",
];

/// Remarks in brackets that are no unit.
const REMARKS: &[&str] = &[
    "optional",
    "required",
    "reading",
    "if known",
    "approx",
    "tap",
    "tap side",
    "before membrane",
    "after membrane",
    "after resin",
    "before resin",
    "purified",
    "pure",
    "waste",
    "drain",
    "meter",
    "counter",
    "inc vat",
    "ex vat",
    "inc",
    "ex",
    "net",
    "gross",
    "total",
    "new",
    "in",
    "out",
];

/// Words of longer ones.
const REMARK_WORDS: &[&str] = &[
    "before",
    "after",
    "anything",
    "everything",
    "the",
    "a",
    "at",
    "in",
    "out",
    "of",
    "from",
    "tap",
    "membrane",
    "resin",
    "ro",
    "di",
    "tank",
    "hose",
    "pole",
    "brush",
    "meter",
    "first",
    "second",
    "third",
    "plant",
    "filter",
    "van",
    "house",
    "customer",
    "mains",
    "incoming",
    "water",
    "side",
    "if",
    "you",
    "can",
    "know",
    "known",
    "optional",
    "required",
    "please",
    "reading",
    "last",
    "today",
    "this",
    "thi",
    "week",
    "weekly",
    "daily",
];

/// Characters of the longest question that somebody heads a column with.
const LONGEST: usize = 120;

/// What `header` says in a file of `kind`.
pub(super) fn meaning(kind: RecordKind, header: &str) -> Meaning {
    let header = without_number(plain(header).trim_matches(['*', ':', '"', ' ', '?']));
    let whole = folded(header);
    if whole.is_empty() || header.len() > LONGEST {
        return Meaning::Extra;
    }
    let mut ways = vec![whole];
    ways.extend(in_words(header).iter().map(|way| folded(way)));
    ways.dedup();
    let as_written = |way: &String| named(kind, &way.split(' ').collect::<Vec<_>>(), false);
    let as_asked = |way: &String| {
        let words: Vec<&str> = way.split(' ').collect();
        let asked: Vec<&str> = words
            .iter()
            .copied()
            .filter(|word| !is_filler(word))
            .collect();
        // a heading without such words was looked up as it stands
        let is_question = asked.len() < words.len() || words.len() > 2;
        is_question.then(|| named(kind, &asked, true)).flatten()
    };
    let found = ways
        .iter()
        .find_map(as_written)
        .or_else(|| ways.iter().find_map(as_asked));
    match found {
        Some(headed) => Meaning::Column(in_conductivity(Headed {
            canonical: is_canonical(header, headed.column),
            is_weak: headed.is_weak || says_little(kind, headed.column, header),
            ..headed
        })),
        None => in_brackets(kind, header),
    }
}

/// `3. Which van`, `Q3: Which van`: the question without its number.
fn without_number(header: &str) -> &str {
    let digits = header.trim_start_matches(['Q', 'q']);
    let behind = digits.trim_start_matches(|c: char| c.is_ascii_digit());
    match behind.strip_prefix(['.', ')', ':']) {
        Some(rest) if behind.len() < digits.len() && rest.starts_with(' ') => rest.trim_start(),
        _ => header,
    }
}

/// `feedPpm`, `TDSIn` and `TDSin` with spaces between their words.
fn in_words(header: &str) -> [String; 3] {
    let chars: Vec<char> = header.chars().collect();
    let split = |breaks: &dyn Fn(Option<char>, char, char, Option<char>) -> bool| {
        let mut out = String::with_capacity(header.len() + 4);
        for (i, c) in chars.iter().enumerate() {
            if let Some(before) = i.checked_sub(1).and_then(|i| chars.get(i)) {
                let first = i.checked_sub(2).and_then(|i| chars.get(i)).copied();
                if breaks(first, *before, *c, chars.get(i + 1).copied()) {
                    out.push(' ');
                }
            }
            out.push(*c);
        }
        out
    };
    let is_hump = |a: char, b: char| (a.is_lowercase() || a.is_ascii_digit()) && b.is_uppercase();
    let is_upper = |c: Option<char>| c.is_some_and(char::is_uppercase);
    [
        split(&|_, a, b, _| is_hump(a, b)),
        // the last capital of several begins the next word
        split(&|_, a, b, next| {
            is_hump(a, b)
                || (a.is_uppercase() && b.is_uppercase() && next.is_some_and(char::is_lowercase))
        }),
        // or all of them are a word of their own
        split(&|first, a, b, _| {
            is_hump(a, b) || (is_upper(first) && a.is_uppercase() && b.is_lowercase())
        }),
    ]
}

/// Words that turn a heading into a question, or into a sentence.
pub(super) fn is_filler(word: &str) -> bool {
    const FILLERS: &[&str] = &[
        "what", "which", "is", "wa", "was", "were", "are", "the", "of", "your", "you", "did", "do",
        "doe", "how", "many", "much", "please", "enter", "give", "read", "reading", "value", "for",
        "thi", "this", "a", "an", "have", "ha", "has", "put", "today", "current", "take", "taken",
        "it", "we", "our", "my", "any", "select", "choose", "there", "driving", "using", "up",
        "measured", "carry", "carried",
    ];
    FILLERS.contains(&word)
}

/// The column that words name, and the unit before or behind it. `asked`: the
/// words in any order, without fillers on either side.
fn named(kind: RecordKind, words: &[&str], asked: bool) -> Option<Headed> {
    if words.is_empty() {
        return None;
    }
    let looked_up = |words: &[&str]| -> Vec<Named> {
        if asked {
            return columns_asked_for(kind, words);
        }
        columns_headed(kind, &words.join(" ")).collect()
    };
    // a name as listed, its last words a unit perhaps
    let found = looked_up(words);
    if let Some(first) = found.first() {
        let measure = first.column.measure();
        let unit = (0..words.len()).find_map(|from| unit_of(words.get(from..)?, measure));
        let other = found
            .get(1)
            .filter(|other| other.column.measure() == measure);
        return Some(Headed {
            or: other.map(|other| other.column),
            unit,
            is_weak: first.is_weak,
            ..Headed::of(first.column)
        });
    }
    // `After resin µS/cm`: the longest unit behind a name
    let behind = (1..words.len()).find_map(|cut| {
        let (name, unit) = words.split_at_checked(cut)?;
        let (name, first) = without_unit_before(name, &looked_up)
            .map_or((looked_up(name), None), |(named, unit)| (named, unit));
        name.into_iter().find_map(|named| {
            let unit = unit_of(unit, named.column.measure())?;
            let unit = match (unit, first) {
                (Unit::Own, Some(first)) => first,
                (unit, _) => unit,
            };
            Some(Headed {
                unit: Some(unit),
                is_weak: named.is_weak,
                ..Headed::of(named.column)
            })
        })
    });
    // `EC in`, `TDS feed`
    behind.or_else(|| {
        let (found, unit) = without_unit_before(words, &looked_up)?;
        let first = found.first()?;
        Some(Headed {
            or: found.get(1).map(|other| other.column),
            unit,
            is_weak: false,
            ..Headed::of(first.column)
        })
    })
}

fn unit_of(words: &[&str], measure: Measure) -> Option<Unit> {
    Unit::of_folded(&words.join(" "), measure)
}

/// What stands behind a leading `TDS` or `EC`, where that is a meter.
fn without_unit_before(
    words: &[&str],
    looked_up: &dyn Fn(&[&str]) -> Vec<Named>,
) -> Option<(Vec<Named>, Option<Unit>)> {
    let (first, rest) = words.split_first()?;
    if !PREFIXES.contains(first) || rest.is_empty() || !looked_up(words).is_empty() {
        return None;
    }
    let found = looked_up(rest).into_iter();
    let found: Vec<Named> = found
        .filter(|named| named.column.measure() == Measure::Dissolved)
        .collect();
    (!found.is_empty()).then(|| (found, Unit::of_folded(first, Measure::Dissolved)))
}

/// `Date (dd/mm/yyyy)`, `Feed (optional)`, `Flow (buckets)`.
fn in_brackets(kind: RecordKind, header: &str) -> Meaning {
    let Some((name, inside)) = header.split_once(['(', '[']) else {
        return Meaning::Extra;
    };
    let inside = folded(inside);
    let is_remark =
        REMARKS.contains(&inside.as_str()) || inside.split(' ').all(|w| REMARK_WORDS.contains(&w));
    // what is plainly no unit takes nothing away from the rest
    if is_remark && !name.trim().is_empty() {
        return meaning(kind, name);
    }
    let Some(Named { column, is_weak }) = columns_headed(kind, &folded(name)).next() else {
        return Meaning::Extra;
    };
    if matches!(column.measure(), Measure::Text | Measure::Date) {
        Meaning::Column(Headed {
            is_weak,
            ..Headed::of(column)
        })
    } else {
        Meaning::UnknownUnit(column)
    }
}

/// Meters in conductivity have columns of their own.
fn in_conductivity(headed: Headed) -> Headed {
    match (headed.unit, headed.column.in_us_cm()) {
        (Some(Unit::Conductivity(..)), Some(column)) => Headed {
            column,
            or: headed.or.and_then(Column::in_us_cm),
            ..headed
        },
        _ => headed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(kind: RecordKind, header: &str) -> Option<(&'static str, Option<&'static str>)> {
        match meaning(kind, header) {
            Meaning::Column(h) => Some((h.column.name(), h.unit.and_then(Unit::label))),
            _ => None,
        }
    }

    #[test]
    fn everyday_headers_of_readings_are_known() {
        let r = RecordKind::Readings;
        for (header, column) in [
            ("TDS in", "feed_ppm"),
            ("membrane ppm", "permeate_ppm"),
            ("Reg", "van"),
            ("Date/Time", "taken_at"),
            ("AFTER MEMBRANE", "permeate_ppm"),
            ("Post-DI", "product_ppm"),
            ("Water temp °C", "water_c"),
            ("T (C)", "water_c"),
            ("Temp", "water_c"),
            ("Pure flow (L/min)", "permeate_lpm"),
            ("Pure L/min", "permeate_lpm"),
            ("Pure ppm", "product_ppm"),
            ("Waste flow lpm", "concentrate_lpm"),
            ("Feed pressure [bar]", "feed_bar"),
            ("Feed (optional)", "feed_ppm"),
            ("TDS: tap", "feed_ppm"),
            ("taken_at*", "taken_at"),
        ] {
            assert_eq!(says(r, header).map(|s| s.0), Some(column), "{header}");
        }
    }

    #[test]
    fn units_in_headers_are_read_off() {
        let r = RecordKind::Readings;
        assert_eq!(
            says(r, "after resin (uS/cm)"),
            Some(("product_us_cm", Some("µS/cm")))
        );
        assert_eq!(says(r, "feed_us_cm"), Some(("feed_us_cm", Some("µS/cm"))));
        assert_eq!(says(r, "EC in"), Some(("feed_us_cm", Some("µS/cm"))));
        assert_eq!(says(r, "Feed mS/cm"), Some(("feed_us_cm", Some("mS/cm"))));
        assert_eq!(says(r, "Temp (°F)"), Some(("water_c", Some("°F"))));
        assert_eq!(says(r, "PSI"), Some(("feed_bar", Some("psi"))));
        assert_eq!(says(r, "Flow L/h"), Some(("permeate_lpm", Some("L/h"))));
        let f = RecordKind::Fills;
        assert_eq!(
            says(f, "Volume (gallons)"),
            Some(("litres", Some("imperial gallons")))
        );
        assert_eq!(says(f, "m3"), Some(("litres", Some("m³"))));
        assert_eq!(says(f, "Waste L"), Some(("reject_litres", None)));
    }

    #[test]
    fn hardness_headers_bring_their_unit() {
        let h = RecordKind::Hardness;
        for (header, unit) in [
            ("Hardness (mg/l)", Some("mg_l_caco3")),
            ("Total hardness mg/l as CaCO3", Some("mg_l_caco3")),
            ("Clark", Some("clark")),
            ("Hardness °dH", Some("german")),
            ("Hardness (°f)", Some("french")),
            ("hardness gpg", Some("grains_us_gal")),
            ("Ca mg/l", Some("mg_l_ca")),
            ("hardness", None),
        ] {
            let found = meaning(h, header);
            let headed = found.column().copied();
            let named = match headed.and_then(|h| h.unit) {
                Some(Unit::Hardness(unit)) => Some(unit.word()),
                _ => None,
            };
            assert_eq!(
                (headed.map(|h| h.column), named),
                (Some(Column::Hardness), unit),
                "{header}"
            );
        }
    }

    #[test]
    fn a_unit_we_do_not_know_is_not_taken_for_our_own() {
        let flow = meaning(RecordKind::Readings, "Flow (gpm)");
        assert_eq!(flow, Meaning::UnknownUnit(Column::PermeateLpm));
        assert_eq!(meaning(RecordKind::Readings, "Weather"), Meaning::Extra);
        let hard = meaning(RecordKind::Hardness, "Hardness (°H)");
        assert_eq!(hard, Meaning::UnknownUnit(Column::Hardness));
    }
}
