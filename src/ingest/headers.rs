//! The five kinds of file, their canonical headers, and which column a header names.

use std::collections::HashMap;
use std::sync::LazyLock;

use super::columns::Column;
use super::mapping::MAPPING;
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
}

impl std::fmt::Display for RecordKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// The canonical columns of a kind, in the order in which they are exported.
pub fn canonical_header(kind: RecordKind) -> &'static [&'static str] {
    match kind {
        RecordKind::Readings => &[
            "van",
            "taken_at",
            "postcode",
            "feed_ppm",
            "permeate_ppm",
            "product_ppm",
            "water_c",
            "feed_bar",
            "permeate_lpm",
            "concentrate_lpm",
        ],
        RecordKind::Fills => &[
            "van",
            "started_at",
            "ended_at",
            "postcode",
            "litres",
            "meter_litres",
            "reject_litres",
            "source",
        ],
        RecordKind::Services => &["van", "done_at", "item", "quantity", "cost", "part", "note"],
        RecordKind::Vans => &[
            "van",
            "base_postcode",
            "tank_litres",
            "membranes",
            "resin_litres",
            "in_service_on",
            "out_of_service_on",
            "from",
        ],
        RecordKind::Hardness => &["postcode", "hardness", "unit", "source", "as_of"],
    }
}

/// Every spelling, folded, with the columns it names.
static BY_SPELLING: LazyLock<HashMap<String, Vec<(RecordKind, Column)>>> = LazyLock::new(|| {
    let mut map: HashMap<String, Vec<(RecordKind, Column)>> = HashMap::new();
    for heading in MAPPING {
        for spelling in heading.spellings() {
            let named = map.entry(folded(spelling)).or_default();
            if !named.contains(&(heading.kind, heading.column)) {
                named.push((heading.kind, heading.column));
            }
        }
    }
    map
});

/// The columns of a kind that a folded header names: nearly always one; where
/// there are several, its unit tells them apart.
pub(super) fn columns_headed(
    kind: RecordKind,
    folded: &str,
) -> impl Iterator<Item = Column> + use<> {
    let named = BY_SPELLING.get(folded).map_or(&[][..], Vec::as_slice);
    named
        .iter()
        .filter(move |(of, _)| *of == kind)
        .map(|(_, column)| *column)
}

/// The first of [`columns_headed`].
pub(super) fn column_headed(kind: RecordKind, folded: &str) -> Option<Column> {
    columns_headed(kind, folded).next()
}

/// Whether the header is the canonical name itself.
pub(super) fn is_canonical(header: &str, column: Column) -> bool {
    header == column.name()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_canonical_column_heads_its_own_line() {
        for kind in RecordKind::ALL {
            for name in canonical_header(kind) {
                let column = column_headed(kind, &folded(name)).map(Column::name);
                assert_eq!(column, Some(*name), "{kind}");
            }
        }
        for heading in MAPPING {
            assert_eq!(heading.spellings().next(), Some(heading.column.name()));
        }
    }

    #[test]
    fn no_spelling_names_two_columns_unless_a_unit_tells_them_apart() {
        let told_by_unit = ["pure", "permeate"];
        for kind in RecordKind::ALL {
            for heading in MAPPING.iter().filter(|h| h.kind == kind) {
                for spelling in heading.spellings() {
                    let word = folded(spelling);
                    let columns = columns_headed(kind, &word).count();
                    assert!(
                        columns == 1 || told_by_unit.contains(&word.as_str()),
                        "{kind}: {spelling} heads {columns} columns"
                    );
                }
            }
        }
    }
}
