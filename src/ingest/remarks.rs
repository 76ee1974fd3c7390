//! What people write about work beside their figures: `new resin put in` in a
//! column of notes, a tick below `Filters changed`.

use crate::store::records::Item;

use super::meaning::is_filler;
use super::text::folded;
use super::words::{DOING, items, listed};

/// Words that say that something was done, not that it is to be done.
const DONE: &[&str] = &[
    "changed",
    "replaced",
    "fitted",
    "swapped",
    "swopped",
    "renewed",
    "refilled",
    "installed",
    "flushed",
    "cleaned",
    "descaled",
    "disinfected",
    "calibrated",
    "exchanged",
    "gewechselt",
    "getauscht",
    "ausgetauscht",
    "erneuert",
    "eingebaut",
    "changee",
    "remplace",
    "remplacee",
];

/// Words that say it of a thing that was not there before.
const NEW: &[&str] = &[
    "new", "neu", "neue", "neuer", "neues", "nouveau", "nouvelle", "neuf", "neuve",
];

/// A change by its name stands behind what was changed: `resin change`. Before
/// it, it is as well a thing to do.
const CHANGE: &[&str] = &["change", "swap", "swop", "changeover", "wechsel", "tausch"];

/// Words that name a thing more closely.
const ARTICLES: &[&str] = &[
    "the", "a", "all", "both", "set", "of", "our", "my", "brand", "fresh", "full", "complete",
    "pair", "two", "one", "bag", "die", "das", "den", "le", "la", "les",
];

/// Words that add nothing to what was done.
const BESIDE: &[&str] = &[
    "today",
    "tonight",
    "in",
    "on",
    "out",
    "put",
    "thi",
    "this",
    "morning",
    "afternoon",
    "evening",
    "again",
    "also",
    "at",
    "to",
    "it",
    "depot",
    "yard",
    "base",
    "unit",
    "home",
    "van",
    "just",
    "now",
    "job",
    "yes",
    "heute",
];

/// Words that go only with one that says that it was done: `has been changed`,
/// but not `has new resin`.
const HELPING: &[&str] = &[
    "was", "were", "have", "has", "been", "had", "got", "i", "we", "he", "ok", "okay", "good",
    "fine", "done", "wurde", "ete",
];

/// What words of a remark say.
struct Said {
    item: Option<Item>,
    is_done: bool,
    /// Nothing but the item is named.
    is_bare: bool,
}

/// The work that a remark says was done, where it says so plainly: `new resin`,
/// `resin and filters changed`. Not `needs new resin`, `resin to be changed`.
pub(super) fn work_in(remark: &str) -> Vec<Item> {
    let mut found: Vec<Item> = Vec::new();
    for sentence in sentences(remark) {
        let said: Vec<Said> = pieces(&sentence).map(|piece| said_in(&piece)).collect();
        let is_any_done = said.iter().any(|said| said.item.is_some() && said.is_done);
        let is_list = said
            .iter()
            .all(|said| said.item.is_some() && (said.is_done || said.is_bare));
        for said in said {
            if let Some(item) = said.item
                && is_any_done
                && (said.is_done || is_list)
                && !found.contains(&item)
            {
                found.push(item);
            }
        }
    }
    found
}

/// The work that a cell of a column of jobs names: by its words alone, by a
/// sentence, or with an amount beside it.
pub(super) fn work_named(cell: &str) -> Vec<Item> {
    let lower = cell.to_lowercase();
    // not the start of "yesterday"
    let yes = lower.strip_prefix("yes");
    let yes = yes.filter(|rest| !rest.starts_with(char::is_alphabetic));
    let answer = yes.map_or(&*lower, |rest| {
        rest.trim_start_matches([' ', ',', ':', '-', '.'])
    });
    let plain = items(answer);
    if !plain.is_empty() || says_no_work(cell) {
        return plain;
    }
    let told = work_in(answer);
    if !told.is_empty() {
        return told;
    }
    let mut found = Vec::new();
    for said in pieces(answer).map(|piece| said_in(&piece)) {
        match said.item.filter(|_| said.is_bare) {
            Some(item) if !found.contains(&item) => found.push(item),
            Some(_) => {}
            None => return Vec::new(),
        }
    }
    found
}

/// Whether a remark that tells plainly of no work may be meant to: it names a
/// part and says that something was done, and neither asks, denies nor plans.
pub(super) fn may_tell_of_work(remark: &str) -> bool {
    const NOT_YET: &[&str] = &[
        "no",
        "not",
        "never",
        "need",
        "needed",
        "order",
        "ordered",
        "buy",
        "bought",
        "next",
        "soon",
        "should",
        "must",
        "will",
        "due",
        "want",
        "booked",
        "if",
        "when",
        "tomorrow",
        "later",
        "cannot",
        "without",
        "before",
        "check",
        "plan",
        "planned",
        "quote",
        "price",
        "spare",
        "arrived",
        "delivered",
        "customer",
        "nicht",
        "kein",
        "keine",
        "bald",
        "pa",
    ];
    work_in(remark).is_empty()
        && sentences(remark).any(|sentence| {
            let words = folded(&sentence);
            let words: Vec<&str> = words.split(' ').collect();
            let says = |of: &[&str]| words.iter().any(|word| of.contains(word));
            let names = |word: &&str| {
                let item = listed(word);
                item.is_some_and(|item| {
                    matches!(item, Item::Resin | Item::Membrane | Item::Prefilter)
                })
            };
            !says(NOT_YET)
                && (says(DONE) || says(NEW) || says(CHANGE) || says(&["done"]))
                && words.iter().any(names)
        })
}

/// The sentences of a remark that ask nothing.
fn sentences(remark: &str) -> impl Iterator<Item = String> {
    let lower = remark.to_lowercase();
    let lower = lower.replace(" - ", ".").replace(" \u{2013} ", ".");
    let ends = ['.', ',', ';', ':', '!', '\n', '\r', '(', ')'];
    let all: Vec<String> = lower
        .split_inclusive(['?'])
        .flat_map(|part| part.split(ends))
        .map(str::to_owned)
        .collect();
    all.into_iter().filter(|sentence| !sentence.contains('?'))
}

/// The parts of a sentence that tell of one thing each.
fn pieces(sentence: &str) -> impl Iterator<Item = String> {
    let mut joined = sentence.to_owned();
    for and in [" and ", " plus ", " then ", " und ", " et "] {
        joined = joined.replace(and, "&");
    }
    let all: Vec<String> = joined.split(['&', '+', '/']).map(folded).collect();
    all.into_iter()
}

fn said_in(piece: &str) -> Said {
    let all: Vec<&str> = piece.split(' ').collect();
    // who did it adds nothing
    let all = match all.as_slice() {
        [before @ .., "by" | "von" | "par", _] => before,
        _ => &all,
    };
    let is = |of: &[&str]| all.iter().any(|word| of.contains(word));
    let is_done = is(DONE);
    let adds_nothing = |word: &&&str| {
        ARTICLES.contains(word)
            || BESIDE.contains(word)
            || NEW.contains(word)
            || DONE.contains(word) && listed(word).is_none()
            || is_done && HELPING.contains(word)
            || is_amount(word)
    };
    let left: Vec<&str> = all
        .iter()
        .filter(|word| !adds_nothing(word))
        .copied()
        .collect();
    let (left, is_change) = match left.as_slice() {
        [before @ .., last] if CHANGE.contains(last) && !before.is_empty() => (before, true),
        left => (left, false),
    };
    let named = listed(&left.join(" ")).or_else(|| match left {
        [one, other] => listed(&format!("{other} {one}")),
        _ => None,
    });
    let item = named.filter(|item| is_of_the_plant(*item, left));
    let is_bare = item.is_some()
        && all
            .iter()
            .all(|word| left.contains(word) || ARTICLES.contains(word) || is_amount(word));
    Said {
        item,
        is_done: is_done || is_change || is(NEW) && !matches!(item, Some(Item::Flush)),
        is_bare,
    }
}

/// Windows are cleaned too: of a clean, only that of the plant's own parts counts.
fn is_of_the_plant(item: Item, words: &[&str]) -> bool {
    item != Item::Flush || !matches!(words, ["clean" | "cleaned" | "cleaning"])
}

/// `25l`, `2x`, `£85`, `0 ppm`
fn is_amount(word: &str) -> bool {
    const UNITS: &[&str] = &[
        "", "l", "ltr", "x", "litre", "liter", "ppm", "kg", "bag", "micron",
    ];
    let figure = word.trim_start_matches(['£', '€', '$', 'x']);
    let rest = figure.trim_start_matches(|c: char| c.is_ascii_digit());
    let is_figure = rest.len() < figure.len() && UNITS.contains(&rest);
    listed(word).is_none()
        && (is_figure
            || matches!(
                word,
                "litre" | "liter" | "ltr" | "l" | "ppm" | "x" | "micron"
            ))
}

/// Whether a cell of a column of jobs says that none was done.
pub(super) fn says_no_work(cell: &str) -> bool {
    tick(cell) == Tick::No
        || matches!(
            folded(cell).as_str(),
            "nothing"
                | "nope"
                | "ok"
                | "okay"
                | "all ok"
                | "all good"
                | "all fine"
                | "fine"
                | "good"
                | "no change"
                | "no work"
                | "no job"
                | "nothing changed"
                | "nothing done"
                | "nothing today"
                | "none needed"
                | "not needed"
                | "not today"
                | "nil"
                | "no nothing"
                | "keine"
                | "nicht"
                | "non"
                | "rien"
        )
}

/// What was changed where a column headed so is ticked: `Resin changed`,
/// `Did you change the filters?`
pub(super) fn job_headed(header: &str) -> Option<Item> {
    let words = folded(header);
    let asks = ["did you ", "have you ", "was the ", "were the "]
        .iter()
        .any(|start| words.starts_with(start));
    let words: Vec<&str> = words.split(' ').filter(|word| !is_filler(word)).collect();
    let is_done = words
        .iter()
        .any(|word| DONE.contains(word) || NEW.contains(word));
    let words: Vec<&str> = words
        .into_iter()
        .filter(|word| !DOING.contains(word) && !NEW.contains(word))
        .collect();
    let item = listed(&words.join(" "))?;
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
        | "checked" | "ticked" | "ok" | "tick" | "oui" => Tick::Yes,
        "" | "n" | "no" | "false" | "0" | "-" | "nein" | "☐" | "n/a" | "none" | "not done"
        | "non" => Tick::No,
        _ => Tick::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_tell_of_work_only_where_they_say_so_plainly() {
        const RESIN: &[Item] = &[Item::Resin];
        const FILTER: &[Item] = &[Item::Prefilter];
        const MEMBRANE: &[Item] = &[Item::Membrane];
        for (remark, expected) in [
            ("new resin", RESIN),
            ("New resin 25L", RESIN),
            ("new resin put in", RESIN),
            ("Put new resin in the van", RESIN),
            ("put in a new bag of resin", RESIN),
            ("DI swapped", RESIN),
            ("DI bottle swapped over", &[]),
            ("resin refilled by Dan", RESIN),
            ("resin change", RESIN),
            ("fresh resin fitted £85", RESIN),
            ("new resin - 0 ppm", RESIN),
            ("Harz gewechselt", RESIN),
            ("Filters changed", FILTER),
            ("changed the filters", FILTER),
            ("We have changed both filters today, all good", FILTER),
            ("Filters have been changed ok", FILTER),
            ("carbon and sediment changed", FILTER),
            ("membrane swapped", MEMBRANE),
            ("new membrane", MEMBRANE),
            ("Had the membrane replaced", MEMBRANE),
            ("fitted new RO membrane", MEMBRANE),
            ("tank cleaned", &[Item::Tank]),
            ("flushed the membrane", &[Item::Flush]),
            (
                "resin and filters changed today",
                &[Item::Resin, Item::Prefilter],
            ),
            ("new membrane & resin", &[Item::Membrane, Item::Resin]),
            (
                "All good. Changed the membrane, new filters",
                &[Item::Membrane, Item::Prefilter],
            ),
            ("new resin and washed the van", RESIN),
            ("membrane ok and new resin", RESIN),
            ("needs new resin", &[]),
            ("no new resin", &[]),
            ("ordered resin", &[]),
            ("ordered new membrane", &[]),
            ("resin next month?", &[]),
            ("new resin next month", &[]),
            ("resin to be changed", &[]),
            ("change resin", &[]),
            ("change the filters", &[]),
            ("resin change due", &[]),
            ("new resin?", &[]),
            ("have new resin", &[]),
            ("got new filters", &[]),
            ("resin not changed", &[]),
            ("membrane looks tired", &[]),
            ("membrane ok", &[]),
            ("resin done", &[]),
            ("changed van", &[]),
            ("new customer", &[]),
            ("new clean", &[]),
            ("cleaned", &[]),
            ("windows cleaned and resin ok", &[]),
            ("filters changed on Monday", &[]),
            ("new filter housing", &[]),
            ("", &[]),
        ] {
            assert_eq!(work_in(remark), expected, "{remark}");
        }
    }

    #[test]
    fn a_column_of_jobs_may_hold_sentences() {
        for (cell, expected) in [
            ("Resin 25L", &[Item::Resin][..]),
            ("5 micron filter", &[Item::Prefilter]),
            ("2 x filters", &[Item::Prefilter]),
            ("Yes - resin", &[Item::Resin]),
            ("yesterday", &[]),
            (
                "yes, new filters and resin",
                &[Item::Prefilter, Item::Resin],
            ),
            ("new resin put in", &[Item::Resin]),
            ("change resin", &[Item::Resin]),
            ("membrane ok", &[]),
            ("needs resin", &[]),
            ("yes", &[]),
            ("No", &[]),
            ("tyres", &[]),
            ("resin + tyres", &[]),
        ] {
            assert_eq!(work_named(cell), expected, "{cell}");
        }
    }

    #[test]
    fn remarks_that_may_tell_of_work_are_told_from_those_that_do_not() {
        for remark in [
            "filters changed on Monday",
            "old resin out, new resin from shelf",
            "got new filters",
            "DI bottle swapped over, resin fine",
        ] {
            assert!(may_tell_of_work(remark), "{remark}");
        }
        for remark in [
            "needs new resin",
            "new resin",
            "membrane ok",
            "busy",
            "new resin?",
            "new customer",
        ] {
            assert!(!may_tell_of_work(remark), "{remark}");
        }
    }

    #[test]
    fn headings_that_are_ticked_name_what_was_changed() {
        assert_eq!(job_headed("Resin changed"), Some(Item::Resin));
        assert_eq!(job_headed("New filters"), Some(Item::Prefilter));
        assert_eq!(
            job_headed("Did you change the filters?"),
            Some(Item::Prefilter)
        );
        assert_eq!(
            job_headed("Was the membrane swapped?"),
            Some(Item::Membrane)
        );
        for header in ["Resin", "Resin changed on", "Did you change anything?"] {
            assert_eq!(job_headed(header), None, "{header}");
        }
    }
}
