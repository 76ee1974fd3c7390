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
const DOING: &[&str] = &[
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

fn listed(word: &str) -> Option<Item> {
    ITEMS
        .iter()
        .find(|(_, words)| words.contains(&word))
        .map(|(item, _)| *item)
}

/// Words that say that something was done, not that it is to be done.
const DONE: &[&str] = &[
    "changed",
    "replaced",
    "new",
    "fitted",
    "swapped",
    "renewed",
    "refilled",
    "installed",
    "flushed",
    "cleaned",
    "descaled",
    "disinfected",
    "calibrated",
    "exchanged",
];

/// Words that add nothing to what was done.
const BESIDE: &[&str] = &[
    "today",
    "all",
    "both",
    "set",
    "of",
    "the",
    "a",
    "in",
    "on",
    "thi",
    "morning",
    "again",
    "done",
    "ok",
    "good",
    "brand",
    "also",
    "yesterday",
    "round",
    "pair",
    "two",
    "one",
    "was",
    "were",
    "have",
    "been",
    "had",
    "i",
    "we",
];

/// The work that a remark says was done, where it says so plainly: `new resin`,
/// `resin and filters changed`. Not `needs new resin`, `resin to be changed`.
pub(super) fn work_in(remark: &str) -> Vec<Item> {
    let mut found: Vec<Item> = Vec::new();
    for sentence in remark.split(['.', ',', ';', '!', '\n', '\r', '(', ')']) {
        let words = folded(sentence)
            .replace(" and ", "&")
            .replace(" plus ", "&");
        if sentence.contains('?') || !words.split([' ', '&']).any(|word| DONE.contains(&word)) {
            continue;
        }
        let raw = sentence.to_lowercase();
        let raw = raw.replace(" and ", "&").replace(" plus ", "&");
        let pieces: Vec<(Option<Item>, bool)> = raw
            .split(['&', '+', '/'])
            .map(|piece| done_in(&folded(piece)))
            .collect();
        let is_list = pieces.iter().all(|(item, _)| item.is_some());
        for (item, is_done) in pieces {
            if let Some(item) = item.filter(|_| is_done || is_list)
                && !found.contains(&item)
            {
                found.push(item);
            }
        }
    }
    found
}

/// The item that a few words name and nothing else, and whether they say that
/// it was done.
fn done_in(folded: &str) -> (Option<Item>, bool) {
    let is_amount = |word: &str| {
        let rest = word.trim_start_matches(|c: char| c.is_ascii_digit());
        rest.len() < word.len()
            && listed(word).is_none()
            && matches!(rest, "" | "l" | "ltr" | "x" | "litre")
    };
    let words: Vec<&str> = folded
        .split(' ')
        .filter(|word| !BESIDE.contains(word) && !is_amount(word) && *word != "litre")
        .collect();
    let is_done = words.iter().any(|word| DONE.contains(word));
    (one_item(&words.join(" ")), is_done)
}

/// What was changed where a column headed so is ticked: `Resin changed`,
/// `Did you change the filters?`
pub(super) fn job_headed(header: &str) -> Option<Item> {
    let words = folded(header);
    let asks = words.starts_with("did you ")
        || words.starts_with("have you ")
        || words.starts_with("wa the ");
    let words: Vec<&str> = words
        .split(' ')
        .filter(|word| !super::meaning::is_filler(word))
        .collect();
    let is_done = words.iter().any(|word| DONE.contains(word));
    let item = one_item(&words.join(" "))?;
    (is_done || asks).then_some(item)
}

/// What a cell says in a column that is ticked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tick {
    Yes,
    No,
    /// Neither.
    Other,
}

pub(super) fn tick(cell: &str) -> Tick {
    match cell.to_lowercase().as_str() {
        "x" | "xx" | "y" | "yes" | "true" | "1" | "✓" | "✔" | "☑" | "✅" | "done" | "ja" | "j"
        | "checked" | "ticked" | "ok" | "tick" => Tick::Yes,
        "" | "n" | "no" | "false" | "0" | "-" | "nein" | "☐" | "n/a" | "none" | "not done" => {
            Tick::No
        }
        _ => Tick::Other,
    }
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
    fn remarks_tell_of_work_only_where_they_say_so_plainly() {
        for (remark, expected) in [
            ("new resin", &[Item::Resin][..]),
            ("Filters changed", &[Item::Prefilter]),
            ("membrane swapped", &[Item::Membrane]),
            ("New resin 25L", &[Item::Resin]),
            (
                "resin and filters changed today",
                &[Item::Resin, Item::Prefilter],
            ),
            (
                "All good. Changed the membrane, new filters",
                &[Item::Membrane, Item::Prefilter],
            ),
            ("new resin and washed the van", &[Item::Resin]),
            ("tank cleaned", &[Item::Tank]),
            ("needs new resin", &[]),
            ("resin to be changed", &[]),
            ("new resin?", &[]),
            ("ordered new membrane", &[]),
            ("resin not changed", &[]),
            ("membrane looks tired", &[]),
            ("changed van", &[]),
            ("new customer", &[]),
            ("", &[]),
        ] {
            assert_eq!(work_in(remark), expected, "{remark}");
        }
        assert_eq!(job_headed("Resin changed"), Some(Item::Resin));
        assert_eq!(
            job_headed("Did you change the filters?"),
            Some(Item::Prefilter)
        );
        assert_eq!(job_headed("Resin"), None);
        assert_eq!(job_headed("Resin changed on"), None);
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
