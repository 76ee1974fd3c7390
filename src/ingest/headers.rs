//! The five kinds of file, their canonical headers, and which column a header names.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::store::TableName;

use super::columns::{ALL, Column};
use super::meaning::is_filler;
use super::text::folded;

/// The five kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RecordKind {
    Readings,
    Fills,
    Services,
    Vans,
    Hardness,
}

impl RecordKind {
    pub const ALL: [RecordKind; 5] = [
        RecordKind::Readings,
        RecordKind::Fills,
        RecordKind::Services,
        RecordKind::Vans,
        RecordKind::Hardness,
    ];

    /// `readings`, `fills`, `services`, `vans` or `hardness`.
    pub fn word(self) -> &'static str {
        match self {
            RecordKind::Readings => "readings",
            RecordKind::Fills => "fills",
            RecordKind::Services => "services",
            RecordKind::Vans => "vans",
            RecordKind::Hardness => "hardness",
        }
    }

    /// The table that holds its records.
    pub(super) fn table(self) -> TableName {
        match self {
            RecordKind::Readings => TableName::Readings,
            RecordKind::Fills => TableName::Fills,
            RecordKind::Services => TableName::Services,
            RecordKind::Vans => TableName::Vans,
            RecordKind::Hardness => TableName::Hardness,
        }
    }

    /// Its number among the parts of a line, from 1.
    pub(super) fn number(self) -> u8 {
        self as u8 + 1
    }
}

impl std::fmt::Display for RecordKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// The canonical columns of a kind, in the order in which they are exported.
pub fn canonical_header(kind: RecordKind) -> Vec<&'static str> {
    kind.table().header()
}

/// One column of one kind and how people head it.
#[derive(Debug, Clone)]
pub struct Heading {
    pub kind: RecordKind,
    pub column: Column,
    /// The headings that name it, the canonical name first; weak ones left out.
    pub spellings: Vec<String>,
    /// Headings that name it only in a file that others have told the kind of.
    weak: Vec<String>,
}

/// The table of spellings, as in `spellings.toml`.
pub static HEADINGS: LazyLock<Vec<Heading>> =
    LazyLock::new(|| read_table(include_str!("spellings.toml")).unwrap_or_default());

/// `None` where the text is no table of spellings.
fn read_table(text: &str) -> Option<Vec<Heading>> {
    let table: toml::Table = text.parse().ok()?;
    let shared = table.get("shared")?.as_table()?;
    // a word in place of a list names a list that several kinds share
    let listed = |of: Option<&toml::Value>, name: &str| -> Option<Vec<String>> {
        let list = match of {
            None => return Some(Vec::new()),
            Some(toml::Value::String(word)) if word == "shared" => shared.get(name)?,
            Some(toml::Value::String(word)) => shared.get(word)?,
            Some(list) => list,
        };
        let list = list.as_array()?.iter();
        list.map(|spelling| spelling.as_str().map(str::to_owned))
            .collect()
    };
    let mut headings = Vec::new();
    for kind in RecordKind::ALL {
        let of_kind = table.get(kind.word())?.as_table()?;
        let weak = of_kind.get("weak");
        let weak = |name: &str| listed(weak.and_then(|weak| weak.get(name)), name);
        for column in ALL {
            let name = column.name();
            let own = of_kind.get(name);
            let is_canonical = canonical_header(kind).contains(&name);
            if own.is_none() && !is_canonical {
                continue;
            }
            let mut spellings = vec![name.to_owned()];
            spellings.extend(listed(own, name)?);
            headings.push(Heading {
                kind,
                column,
                spellings,
                weak: weak(name)?,
            });
        }
    }
    Some(headings)
}

/// What a heading names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Named {
    pub column: Column,
    /// It may mean other things as well.
    pub is_weak: bool,
}

/// Every spelling, folded, with the columns it names.
static BY_SPELLING: LazyLock<HashMap<String, Vec<(RecordKind, Named)>>> = LazyLock::new(|| {
    let mut map: HashMap<String, Vec<(RecordKind, Named)>> = HashMap::new();
    let mut put = |spelling: &str, kind: RecordKind, column: Column, is_weak: bool| {
        let named = map.entry(folded(spelling)).or_default();
        let is_known = |(of, known): &(RecordKind, Named)| *of == kind && known.column == column;
        if !named.iter().any(is_known) {
            named.push((kind, Named { column, is_weak }));
        }
    };
    for weak in [false, true] {
        for heading in HEADINGS.iter() {
            let spellings = if weak {
                &heading.weak
            } else {
                &heading.spellings
            };
            for spelling in spellings {
                put(spelling, heading.kind, heading.column, weak);
            }
        }
    }
    map
});

/// The columns of a kind that a folded header names, the likeliest first:
/// nearly always one; where there are several, its unit or the other columns
/// tell them apart.
pub(super) fn columns_headed(
    kind: RecordKind,
    folded: &str,
) -> impl Iterator<Item = Named> + use<> {
    let named = BY_SPELLING.get(folded).map_or(&[][..], Vec::as_slice);
    named
        .iter()
        .filter(move |(of, _)| *of == kind)
        .map(|(_, named)| *named)
}

/// The same for the words of a question, in any order and without those that
/// only ask; empty where several columns could be meant.
pub(super) fn columns_asked_for(kind: RecordKind, words: &[&str]) -> Vec<Named> {
    let asked = BY_QUESTION.get(&question_of(words.iter().copied()));
    let of_kind = asked.into_iter().flatten().filter(|(of, _)| *of == kind);
    let found: Vec<Named> = of_kind.map(|(_, named)| *named).collect();
    if found.len() == 1 { found } else { Vec::new() }
}

fn question_of<'w>(words: impl Iterator<Item = &'w str>) -> String {
    let mut words: Vec<&str> = words.filter(|word| !is_filler(word)).collect();
    words.sort_unstable();
    words.join(" ")
}

/// The spellings by their words in order of the alphabet.
static BY_QUESTION: LazyLock<HashMap<String, Vec<(RecordKind, Named)>>> = LazyLock::new(|| {
    let mut map: HashMap<String, Vec<(RecordKind, Named)>> = HashMap::new();
    for (spelling, named) in BY_SPELLING.iter() {
        let known = map.entry(question_of(spelling.split(' '))).or_default();
        for (kind, named) in named.iter().filter(|(_, named)| !named.is_weak) {
            let is_known =
                |(of, known): &(RecordKind, Named)| of == kind && known.column == named.column;
            if !known.iter().any(is_known) {
                known.push((*kind, *named));
            }
        }
    }
    map
});

/// The heading of any kind that comes nearest to a header, and its column.
pub(super) fn nearest(header: &str) -> Option<(&'static str, Column)> {
    let header = folded(header);
    let all = HEADINGS.iter().flat_map(|heading| {
        let own = heading.spellings.iter().chain(&heading.weak);
        own.map(|spelling| (spelling.as_str(), heading.column))
    });
    let likeness = |spelling: &str| strsim::jaro_winkler(&folded(spelling), &header);
    all.map(|(spelling, column)| (likeness(spelling), spelling, column))
        .filter(|(likeness, ..)| *likeness > LEAST_LIKENESS)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, spelling, column)| (spelling, column))
}

/// Below this two headings have nothing to do with one another.
const LEAST_LIKENESS: f64 = 0.82;

/// Whether a heading that folds to a plain one is listed as one of many meanings
/// itself: "Membrane" is no count of membranes.
pub(super) fn says_little(kind: RecordKind, column: Column, header: &str) -> bool {
    let mut headings = HEADINGS.iter();
    let of_column = headings.find(|h| h.kind == kind && h.column == column);
    of_column.is_some_and(|h| h.weak.iter().any(|weak| weak.eq_ignore_ascii_case(header)))
}

/// Whether this is the name of a column that a heading can be meant for.
pub fn is_column(name: &str) -> bool {
    HEADINGS.iter().any(|heading| heading.column.name() == name)
}

/// Whether the header is the canonical name itself.
pub(super) fn is_canonical(header: &str, column: Column) -> bool {
    header == column.name()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn every_canonical_column_heads_its_own_line() {
        assert!(read_table(include_str!("spellings.toml")).is_some());
        for kind in RecordKind::ALL {
            for name in canonical_header(kind) {
                let column = columns_headed(kind, &folded(name)).next();
                assert_eq!(column.map(|n| n.column.name()), Some(name), "{kind}");
            }
        }
    }

    #[test]
    fn every_line_of_the_table_is_a_column_of_its_kind() {
        let table: toml::Table = include_str!("spellings.toml").parse().unwrap();
        for kind in RecordKind::ALL {
            let of_kind = table[kind.word()].as_table().unwrap();
            let weak = of_kind.get("weak").and_then(|weak| weak.as_table());
            let names = of_kind.keys().filter(|name| *name != "weak");
            for name in names.chain(weak.into_iter().flat_map(|weak| weak.keys())) {
                let is_there = HEADINGS
                    .iter()
                    .any(|h| h.kind == kind && h.column.name() == name);
                assert!(is_there, "{kind}: {name}");
            }
        }
    }

    #[test]
    fn no_spelling_names_two_columns_unless_a_unit_tells_them_apart() {
        let told_by_unit = ["pure", "permeate"];
        for heading in HEADINGS.iter() {
            for spelling in &heading.spellings {
                let word = folded(spelling);
                let strong = columns_headed(heading.kind, &word).filter(|n| !n.is_weak);
                let columns = strong.count();
                assert!(
                    columns == 1 || told_by_unit.contains(&word.as_str()),
                    "{}: {spelling} heads {columns} columns",
                    heading.kind
                );
            }
        }
    }
}
