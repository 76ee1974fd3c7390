//! Units as people write them, in headers and behind numbers.

use crate::water::{self, HardnessUnit};

use super::text::folded;

/// What a column measures: decides what a unit word means (`°F` is a
/// temperature, `°f` a French degree).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Measure {
    Text,
    Date,
    Dissolved,
    Temperature,
    Pressure,
    Flow,
    Volume,
    Pieces,
    Money,
    Hardness,
}

/// A unit that a header or cell may state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Unit {
    /// The column's own unit.
    Own,
    /// So many of the own unit, and how the conversion is told.
    Times(f64, &'static str),
    Fahrenheit,
    Conductivity(f64, &'static str),
    Hardness(HardnessUnit),
    /// Resin in kg: its litres follow from its bulk density.
    Kilograms,
    /// Resin in bags of unknown size.
    Bags,
}

const CONDUCTIVITY: &[(&str, f64, &str)] = &[
    ("us cm", 1.0, "µS/cm"),
    ("us", 1.0, "µS/cm"),
    ("u s cm", 1.0, "µS/cm"),
    ("microsiemen", 1.0, "µS/cm"),
    ("microsiemen cm", 1.0, "µS/cm"),
    ("micro cm", 1.0, "µS/cm"),
    ("micro", 1.0, "µS/cm"),
    ("ec", 1.0, "µS/cm"),
    ("cond", 1.0, "µS/cm"),
    ("conductivity", 1.0, "µS/cm"),
    ("ec us cm", 1.0, "µS/cm"),
    ("ms cm", 1000.0, "mS/cm"),
    ("ms", 1000.0, "mS/cm"),
    ("millisiemen", 1000.0, "mS/cm"),
    ("millisiemen cm", 1000.0, "mS/cm"),
    ("ds m", 1000.0, "dS/m"),
];

const OWN: &[(Measure, &[&str])] = &[
    (
        Measure::Dissolved,
        &[
            "ppm", "mg l", "tds", "ppm tds", "tds ppm", "mg per l", "mg litre",
        ],
    ),
    (
        Measure::Temperature,
        &[
            "c",
            "°c",
            "° c",
            "deg c",
            "celsiu",
            "degree c",
            "degree celsiu",
            "oc",
            "degc",
            "grad c",
            "centigrade",
            "degree centigrade",
        ],
    ),
    (Measure::Pressure, &["bar", "barg", "bar g"]),
    (
        Measure::Flow,
        &[
            "l min",
            "lpm",
            "l m",
            "litre min",
            "litre per minute",
            "litre a minute",
            "l per min",
            "ltr min",
            "l per minute",
            "litre minute",
            "liter per minute",
            "liter min",
        ],
    ),
    (
        Measure::Volume,
        &["l", "lt", "ltr", "litre", "liter", "lit"],
    ),
    (
        Measure::Pieces,
        &[
            "pc", "piece", "off", "x", "no", "l", "lt", "ltr", "litre", "liter", "pcs",
        ],
    ),
];

const HARDNESS: &[(HardnessUnit, &[&str])] = &[
    (
        HardnessUnit::MgLCaco3,
        &[
            "mg l caco3",
            "mg l",
            "ppm",
            "ppm caco3",
            "mg l as caco3",
            "caco3",
            "as caco3",
            "caco3 mg l",
            "mg caco3 l",
            "mg caco3 per litre",
            "mg per l",
            "mg l calcium carbonate",
            "ppm as caco3",
            "calcium carbonate",
        ],
    ),
    (
        HardnessUnit::Clark,
        &[
            "clark",
            "°e",
            "english degree",
            "degree english",
            "degree clark",
            "°clark",
            "clark degree",
            "deg clark",
            "english",
            "e",
        ],
    ),
    (
        HardnessUnit::French,
        &[
            "french",
            "°f",
            "°fh",
            "fh",
            "french degree",
            "degree french",
            "deg f",
            "f",
            "° f",
        ],
    ),
    (
        HardnessUnit::German,
        &[
            "german",
            "°dh",
            "dh",
            "german degree",
            "degree german",
            "deg dh",
            "° dh",
        ],
    ),
    (
        HardnessUnit::MmolL,
        &["mmol l", "mmol", "mmol per litre", "millimole l"],
    ),
    (
        HardnessUnit::MgLCa,
        &[
            "mg l ca",
            "ca mg l",
            "calcium",
            "mg l as ca",
            "calcium mg l",
            "mg ca l",
            "as ca",
        ],
    ),
    (
        HardnessUnit::GrainsUsGal,
        &[
            "grain us gal",
            "gpg",
            "grain gal",
            "grain per gallon",
            "grain us gallon",
            "grain per us gallon",
            "grain per gal",
        ],
    ),
];

impl Unit {
    /// The unit that `text` names for this measure; `None` where it names none.
    pub fn named(text: &str, measure: Measure) -> Option<Unit> {
        Unit::of_folded(&folded(text), measure)
    }

    pub fn of_folded(word: &str, measure: Measure) -> Option<Unit> {
        if measure == Measure::Hardness {
            return hardness_unit(word).map(Unit::Hardness);
        }
        let own = OWN
            .iter()
            .any(|(of, words)| *of == measure && words.contains(&word));
        if own {
            return Some(Unit::Own);
        }
        match measure {
            Measure::Dissolved => CONDUCTIVITY
                .iter()
                .find(|(written, _, _)| *written == word)
                .map(|(_, times, name)| Unit::Conductivity(*times, name)),
            Measure::Temperature => {
                let fahrenheit = ["f", "°f", "° f", "deg f", "degree f", "fahrenheit"];
                fahrenheit.contains(&word).then_some(Unit::Fahrenheit)
            }
            Measure::Pressure => match word {
                "psi" | "psig" | "lb in2" | "lb sq in" | "pound" => {
                    Some(Unit::Times(water::bar_from_psi(1.0), "psi"))
                }
                "kpa" => Some(Unit::Times(water::bar_from_kpa(1.0), "kPa")),
                "mbar" => Some(Unit::Times(0.001, "mbar")),
                _ => None,
            },
            Measure::Flow => match word {
                "l h" | "lph" | "l hr" | "litre per hour" | "litre hour" | "litre an hour"
                | "l hour" | "l per hour" | "litre h" | "ltr hr" => {
                    Some(Unit::Times(1.0 / 60.0, "L/h"))
                }
                "ml min" => Some(Unit::Times(0.001, "mL/min")),
                _ => None,
            },
            Measure::Volume => volume(word),
            Measure::Pieces => match word {
                "kg" | "kilo" | "kilogram" => Some(Unit::Kilograms),
                "bag" | "sack" => Some(Unit::Bags),
                _ => None,
            },
            _ => None,
        }
    }

    /// How the conversion is told, where there is one.
    pub fn label(self) -> Option<&'static str> {
        match self {
            Unit::Times(_, told) | Unit::Conductivity(_, told) => Some(told),
            Unit::Fahrenheit => Some("°F"),
            Unit::Kilograms => Some("kg"),
            Unit::Bags => Some("bags"),
            Unit::Own | Unit::Hardness(_) => None,
        }
    }

    /// `value` of this unit in the column's own; hardness stays as given.
    pub fn convert(self, value: f64) -> f64 {
        match self {
            Unit::Own | Unit::Hardness(_) | Unit::Bags => value,
            Unit::Times(times, _) => value * times,
            Unit::Fahrenheit => water::celsius_from_fahrenheit(value),
            Unit::Conductivity(times, _) => water::ppm_from_us_cm(value * times),
            Unit::Kilograms => value / RESIN_KG_PER_LITRE,
        }
    }
}

/// Bulk density of moist mixed-bed resin, kg/L (0.72–0.75, from memory).
const RESIN_KG_PER_LITRE: f64 = 0.735;

fn volume(word: &str) -> Option<Unit> {
    match word {
        "m3" | "cubic metre" | "cubic meter" | "cbm" | "m 3" => Some(Unit::Times(1000.0, "m³")),
        "gal" | "gallon" | "imp gal" | "imperial gallon" | "uk gallon" | "gallon imperial"
        | "gallon uk" | "imp gallon" | "imperial" => Some(Unit::Times(
            water::litres_from_imperial_gallons(1.0),
            "imperial gallons",
        )),
        "us gal" | "us gallon" | "gallon us" | "gal us" => Some(Unit::Times(
            water::litres_from_us_gallons(1.0),
            "US gallons",
        )),
        _ => None,
    }
}

/// The hardness unit that folded text names. Degrees without a country
/// (`°H`, `dGH`, `°d`, "degrees") name none.
pub(super) fn hardness_unit(word: &str) -> Option<HardnessUnit> {
    HARDNESS
        .iter()
        .find(|(_, words)| words.contains(&word))
        .map(|(unit, _)| *unit)
        .or_else(|| {
            HardnessUnit::ALL
                .into_iter()
                .find(|unit| folded(unit.word()) == word)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn convert(text: &str, measure: Measure, value: f64) -> Option<f64> {
        Unit::named(text, measure).map(|unit| unit.convert(value))
    }

    fn near(value: Option<f64>, expected: f64) {
        assert!(
            value.is_some_and(|v| (v - expected).abs() < 1e-6),
            "{value:?} not {expected}"
        );
    }

    #[test]
    fn everyday_units_become_those_of_the_columns() {
        near(convert("µS/cm", Measure::Dissolved, 640.0), 320.0);
        near(convert("Âµs/cm", Measure::Dissolved, 640.0), 320.0);
        near(convert("mS", Measure::Dissolved, 0.4), 200.0);
        near(convert("mg/L", Measure::Dissolved, 320.0), 320.0);
        near(convert("°F", Measure::Temperature, 50.0), 10.0);
        near(convert("deg C", Measure::Temperature, 10.0), 10.0);
        near(convert("PSI", Measure::Pressure, 60.0), 4.136_854);
        near(convert("kPa", Measure::Pressure, 310.0), 3.1);
        near(convert("L/h", Measure::Flow, 90.0), 1.5);
        near(convert("m³", Measure::Volume, 0.45), 450.0);
        near(convert("gallons", Measure::Volume, 100.0), 454.609);
        near(convert("US gal", Measure::Volume, 100.0), 378.541_178);
        near(convert("ltrs", Measure::Volume, 300.0), 300.0);
    }

    #[test]
    fn a_unit_means_what_its_column_measures() {
        assert_eq!(
            Unit::named("°f", Measure::Hardness),
            Some(Unit::Hardness(HardnessUnit::French))
        );
        assert_eq!(
            Unit::named("°F", Measure::Temperature),
            Some(Unit::Fahrenheit)
        );
        assert_eq!(Unit::named("bar", Measure::Dissolved), None);
        assert_eq!(Unit::named("gpm", Measure::Flow), None);
    }

    #[test]
    fn degrees_without_a_country_are_not_guessed() {
        for word in ["°H", "dGH", "°d", "degrees", "deg"] {
            assert_eq!(Unit::named(word, Measure::Hardness), None, "{word}");
        }
        assert_eq!(
            hardness_unit(&folded("mg_l_caco3")),
            Some(HardnessUnit::MgLCaco3)
        );
        assert_eq!(
            hardness_unit(&folded("grains_us_gal")),
            Some(HardnessUnit::GrainsUsGal)
        );
        assert_eq!(
            hardness_unit(&folded("English degrees")),
            Some(HardnessUnit::Clark)
        );
    }
}
