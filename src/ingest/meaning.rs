//! What one header says: which column, in which unit.

use super::columns::Column;
use super::headers::{RecordKind, column_headed, columns_headed, is_canonical};
use super::text::{folded, plain};
use super::units::{Measure, Unit};

/// What a header was found to say.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Meaning {
    Column(Headed),
    /// A column of ours in a unit we do not know.
    UnknownUnit(Column),
    /// None of ours.
    Extra,
}

impl Meaning {
    /// The column, where it is one of ours in a unit we know.
    pub fn column(&self) -> Option<&Headed> {
        match self {
            Meaning::Column(headed) => Some(headed),
            Meaning::UnknownUnit(_) | Meaning::Extra => None,
        }
    }
}

/// A column as headed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Headed {
    pub column: Column,
    /// `None` where the header states no unit.
    pub unit: Option<Unit>,
    pub canonical: bool,
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

/// What `header` says in a file of `kind`.
pub(super) fn meaning(kind: RecordKind, header: &str) -> Meaning {
    let header = plain(header).trim_matches(['*', ':', '"', ' ']);
    let whole = folded(header);
    if whole.is_empty() || header.len() > 60 {
        return Meaning::Extra;
    }
    let words: Vec<&str> = whole.split(' ').collect();
    let found = as_listed(kind, header, &whole, &words)
        .or_else(|| with_unit_behind(kind, &words))
        .or_else(|| with_unit_before(kind, &words));
    match found {
        Some(headed) => Meaning::Column(in_conductivity(headed)),
        None => in_brackets(kind, header),
    }
}

/// A header that stands in the table as it is; its last words may be a unit.
fn as_listed(kind: RecordKind, header: &str, whole: &str, words: &[&str]) -> Option<Headed> {
    let column = column_headed(kind, whole)?;
    let unit = (0..words.len())
        .find_map(|from| Unit::of_folded(&words.get(from..)?.join(" "), column.measure()));
    Some(Headed {
        column,
        unit,
        canonical: is_canonical(header, column),
    })
}

/// `After resin µS/cm`: the longest unit behind a name in the table.
fn with_unit_behind(kind: RecordKind, words: &[&str]) -> Option<Headed> {
    (1..words.len()).find_map(|cut| {
        let (name, unit) = words.split_at_checked(cut)?;
        let unit = unit.join(" ");
        columns_headed(kind, &name.join(" ")).find_map(|column| {
            let unit = Unit::of_folded(&unit, column.measure())?;
            // the canonical conductivity names are a name with its unit behind
            Some(Headed {
                column,
                unit: Some(unit),
                canonical: false,
            })
        })
    })
}

/// `EC in`, `TDS feed`.
fn with_unit_before(kind: RecordKind, words: &[&str]) -> Option<Headed> {
    let (first, rest) = words.split_first()?;
    if !PREFIXES.contains(first) || rest.is_empty() {
        return None;
    }
    let column = column_headed(kind, &rest.join(" "))?;
    if column.measure() != Measure::Dissolved {
        return None;
    }
    Some(Headed {
        column,
        unit: Unit::of_folded(first, column.measure()),
        canonical: false,
    })
}

/// `Date (dd/mm/yyyy)`, `Feed (optional)`, `Flow (buckets)`.
fn in_brackets(kind: RecordKind, header: &str) -> Meaning {
    let Some((name, inside)) = header.split_once(['(', '[']) else {
        return Meaning::Extra;
    };
    let Some(column) = column_headed(kind, &folded(name)) else {
        return Meaning::Extra;
    };
    let inside = folded(inside);
    let any_remark = matches!(column.measure(), Measure::Text | Measure::Date);
    if any_remark || REMARKS.contains(&inside.as_str()) {
        Meaning::Column(Headed {
            column,
            unit: None,
            canonical: false,
        })
    } else {
        Meaning::UnknownUnit(column)
    }
}

/// Meters in conductivity have columns of their own.
fn in_conductivity(headed: Headed) -> Headed {
    match (headed.unit, headed.column.in_us_cm()) {
        (Some(Unit::Conductivity(..)), Some(column)) => Headed { column, ..headed },
        _ => headed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(kind: RecordKind, header: &str) -> Option<(&'static str, Option<&'static str>)> {
        match meaning(kind, header) {
            Meaning::Column(h) => Some((h.column.name(), h.unit.and_then(Unit::told))),
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
