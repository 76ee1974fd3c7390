//! The words people use for items and sources.

use crate::store::records::{Item, Source};

use super::text::folded;

/// What was worked on; the first word of each is the contract's.
const ITEMS: &[(Item, &[&str])] = &[
    (
        Item::Prefilter,
        &[
            "prefilter",
            "pre filter",
            "filter",
            "carbon",
            "sediment",
            "carbon block",
            "sediment filter",
            "carbon filter",
            "cartridge",
            "carbon and sediment",
            "sediment and carbon",
            "carbon sediment",
            "sediment carbon",
            "pre filter set",
            "filter set",
            "5 micron",
            "water filter",
            "cto",
            "vorfilter",
            "filtre",
            "prefiltre",
        ],
    ),
    (
        Item::Membrane,
        &[
            "membrane",
            "ro",
            "ro membrane",
            "4040",
            "2540",
            "4021",
            "element",
            "ro element",
            "membrane ro",
            "r o",
            "4040 membrane",
            "reverse osmosis",
            "reverse osmosis membrane",
            "membran",
        ],
    ),
    (
        Item::Resin,
        &[
            "resin",
            "di",
            "di resin",
            "mixed bed",
            "mixed bed resin",
            "mb resin",
            "di vessel",
            "resin refill",
            "di refill",
            "resin di",
            "d i",
            "di bottle",
            "resin bottle",
            "mbr",
            "deionising resin",
            "harz",
            "mischbettharz",
            "resine",
        ],
    ),
    (
        Item::Flush,
        &[
            "flush",
            "flushed",
            "clean",
            "cleaned",
            "membrane flush",
            "flush membrane",
            "ro flush",
            "membrane clean",
            "cleaning",
            "flushing",
            "descale",
            "descaled",
            "backwash",
            "membrane flushed",
            "membrane cleaned",
        ],
    ),
    (
        Item::Probe,
        &[
            "probe",
            "meter",
            "calibration",
            "tds meter",
            "calibrated",
            "meter calibration",
            "tds probe",
            "sensor",
            "probe calibration",
            "calibrate meter",
            "tds sensor",
            "ppm meter",
        ],
    ),
    (
        Item::Tank,
        &[
            "tank",
            "tank clean",
            "tank cleaned",
            "tank cleaning",
            "clean tank",
            "water tank",
            "tank flush",
            "tank disinfection",
            "tank disinfected",
        ],
    ),
];

/// Words that say what was done, not with what.
pub(super) const DOING: &[&str] = &[
    "change",
    "changed",
    "replace",
    "replaced",
    "replacement",
    "new",
    "fitted",
    "fit",
    "swap",
    "swapped",
    "renewed",
    "renew",
    "refill",
    "refilled",
    "the",
    "a",
    "full",
    "complete",
    "x1",
    "x2",
    "1x",
    "2x",
    "changed out",
    "install",
    "installed",
    "service",
    "serviced",
    "exchanged",
    "swopped",
    "swop",
    "fresh",
    "today",
    "both",
    "set",
    "of",
    "wechsel",
    "gewechselt",
    "neu",
    "neue",
    "neues",
];

/// The items that a cell names: none if it names none we know.
pub(super) fn items(cell: &str) -> Vec<Item> {
    let whole = folded(cell);
    if matches!(whole.as_str(), "both" | "both changed" | "changed both") {
        return vec![Item::Membrane, Item::Resin];
    }
    if let Some(item) = one_item(&whole) {
        return vec![item];
    }
    let lower = cell
        .to_lowercase()
        .replace(" and ", "&")
        .replace(" und ", "&")
        .replace(" plus ", "&");
    let mut found = Vec::new();
    for piece in lower.split(['&', '+', '/', ',', ';']) {
        match one_item(&folded(piece)) {
            Some(item) if !found.contains(&item) => found.push(item),
            Some(_) => {}
            None => return Vec::new(),
        }
    }
    found
}

fn one_item(folded: &str) -> Option<Item> {
    listed(folded).or_else(|| {
        let named: Vec<&str> = folded
            .split(' ')
            .filter(|word| !DOING.contains(word))
            .collect();
        if named.is_empty() {
            None
        } else {
            listed(&named.join(" "))
        }
    })
}

pub(super) fn listed(word: &str) -> Option<Item> {
    ITEMS
        .iter()
        .find(|(_, words)| words.contains(&word))
        .map(|(item, _)| *item)
}

/// What a source cell says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SourceWord {
    Known(Source),
    /// A static plant at the depot, or bought: the word does not tell.
    EitherWay,
    Unknown,
}

pub(super) fn source(cell: &str) -> SourceWord {
    match folded(cell).as_str() {
        "main" | "tap" | "own" | "ro" | "van" | "own water" | "tap water" | "main water"
        | "customer tap" | "customer" | "hose" | "m" | "own plant" | "made" | "standpipe" => {
            SourceWord::Known(Source::Mains)
        }
        "bought in" | "bought" | "shop" | "pure bought" | "station" | "filling station"
        | "purchased" | "buy" | "pure" | "bought water" | "pure station" | "pure water" | "b"
        | "water station" | "bought pure" | "paid" => SourceWord::Known(Source::BoughtIn),
        "depot" | "yard" | "unit" | "static" | "base" | "workshop" => SourceWord::EitherWay,
        _ => SourceWord::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everyday_words_name_items() {
        for (word, item) in [
            ("RO", Item::Membrane),
            ("Membrane change", Item::Membrane),
            ("new 4040", Item::Membrane),
            ("DI", Item::Resin),
            ("resin refilled", Item::Resin),
            ("Carbon", Item::Prefilter),
            ("Pre-filters", Item::Prefilter),
            ("carbon + sediment", Item::Prefilter),
            ("Sediment/carbon", Item::Prefilter),
            ("flush", Item::Flush),
            ("Meter calibration", Item::Probe),
            ("tank clean", Item::Tank),
        ] {
            assert_eq!(items(word), [item], "{word}");
        }
        for item in Item::ALL {
            assert_eq!(items(item.word()), [item]);
        }
    }

    #[test]
    fn two_items_in_one_cell_are_two() {
        for cell in [
            "both",
            "RO + DI",
            "membrane and resin",
            "RO/DI",
            "Membrane & resin changed",
        ] {
            assert_eq!(items(cell), [Item::Membrane, Item::Resin], "{cell}");
        }
        assert_eq!(items("filters+resin"), [Item::Prefilter, Item::Resin]);
    }

    #[test]
    fn work_that_is_no_item_names_none() {
        for cell in ["service", "tyres", "resin + tyres", "MOT", ""] {
            assert!(items(cell).is_empty(), "{cell}");
        }
    }

    #[test]
    fn sources_are_mains_or_bought_in_and_depots_do_not_tell() {
        assert_eq!(source("Mains"), SourceWord::Known(Source::Mains));
        assert_eq!(source("tap"), SourceWord::Known(Source::Mains));
        assert_eq!(source("bought_in"), SourceWord::Known(Source::BoughtIn));
        assert_eq!(source("Shop"), SourceWord::Known(Source::BoughtIn));
        assert_eq!(source("depot"), SourceWord::EitherWay);
        assert_eq!(source("river"), SourceWord::Unknown);
    }
}
