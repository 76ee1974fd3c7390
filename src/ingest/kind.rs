//! Which kind of file it is, where its header stands and what separates its cells.

use super::columns::Column;
use super::error::ReadError;
use super::headers::RecordKind;
use super::layout::{DELIMITERS, Layout};
use super::meaning::{Headed, Meaning, meaning};
use super::mend_file::is_ours;
use super::notes::Notes;
use super::quotes::quote_of;
use super::settle::settle;
use super::split::{RowAt, Rows};
use super::text::folded;

/// Title lines that may stand above the header.
const TITLE_LINES: usize = 30;
/// A header line tried as a kind.
struct Tried {
    kind: RecordKind,
    delimiter: u8,
    header: RowAt,
    headers: Vec<String>,
    meanings: Vec<Meaning>,
    score: usize,
    lacking: Option<&'static str>,
}

/// Finds the header and settles what each cell is.
pub(super) fn recognise(text: &str, file: &str, notes: &mut Notes) -> Result<Layout, ReadError> {
    let mut best: Option<Tried> = None;
    for delimiter in stated_delimiter(text).map_or_else(
        || DELIMITERS.iter().map(|(d, _)| *d).collect::<Vec<_>>(),
        |stated| vec![stated],
    ) {
        let mut rows = Rows::new(text, delimiter);
        rows.quote = quote_of(text, delimiter);
        for _ in 0..TITLE_LINES {
            let Some(at) = rows.next_row() else { break };
            // a header found higher up by another delimiter is the likelier one
            let found = best.as_ref().filter(|best| best.lacking.is_none());
            if found.is_some_and(|best| best.header.line < at.line) {
                break;
            }
            if rows.len() == 1 && delimiter != b',' {
                continue;
            }
            let headers: Vec<String> = (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect();
            for kind in RecordKind::ALL {
                let tried = try_kind(kind, delimiter, at, &headers);
                let better = best.as_ref().is_none_or(|best| {
                    (tried.lacking.is_none(), tried.score) > (best.lacking.is_none(), best.score)
                });
                if better {
                    best = Some(tried);
                }
            }
        }
    }
    match best {
        Some(tried) if tried.lacking.is_none() => {
            let mut layout = Layout::new(tried.kind, tried.delimiter, tried.header, tried.headers);
            layout.quote = quote_of(text, layout.delimiter);
            settle(layout, &tried.meanings, text, file, notes)
        }
        Some(Tried {
            lacking: Some(lacking),
            kind,
            header,
            score,
            ..
        }) if score >= 6 => Err(ReadError::LacksColumn {
            file: file.to_owned(),
            line: header.line,
            kind,
            lacking,
        }),
        _ => Err(ReadError::NotOurs {
            file: file.to_owned(),
        }),
    }
}

/// `sep=;` on the first line, as some spreadsheets write it.
fn stated_delimiter(text: &str) -> Option<u8> {
    let first = text.lines().next()?.trim().trim_matches('"');
    let rest = first
        .strip_prefix("sep=")
        .or_else(|| first.strip_prefix("SEP="))?;
    rest.bytes()
        .next()
        .filter(|d| DELIMITERS.iter().any(|(known, _)| known == d))
}

fn try_kind(kind: RecordKind, delimiter: u8, header: RowAt, headers: &[String]) -> Tried {
    let mut meanings: Vec<Meaning> = headers.iter().map(|h| meaning(kind, h)).collect();
    part_as_item(kind, headers, &mut meanings);
    let has = |column: Column| {
        meanings
            .iter()
            .any(|m| matches!(m, Meaning::Column(h) if h.column == column))
    };
    // a list of names alone is a van list too
    let own = headers.iter().filter(|header| !is_ours(header)).count();
    let only_vans = kind == RecordKind::Vans && own == 1;
    let lacking = lacking(kind, &has).filter(|_| !(only_vans && has(Column::Van)));
    // each column counts once, a canonical name a little more
    let mut seen: Vec<Column> = Vec::new();
    let mut score = 0;
    for headed in meanings.iter().filter_map(Meaning::column) {
        if !seen.contains(&headed.column) {
            seen.push(headed.column);
            score += 2;
        }
        score += usize::from(headed.canonical);
    }
    Tried {
        kind,
        delimiter,
        header,
        headers: headers.to_vec(),
        meanings,
        score,
        lacking,
    }
}

/// Whether a line below the header heads another table: it has all that a kind
/// cannot do without, most of its cells are columns, and none is a figure.
pub(super) fn heads_a_table<'c>(cells: impl Iterator<Item = &'c str>) -> bool {
    let cells: Vec<&str> = cells.map(str::trim).filter(|c| !c.is_empty()).collect();
    if cells.len() < 2
        || cells
            .iter()
            .any(|c| c.starts_with(|c: char| c.is_ascii_digit()))
    {
        return false;
    }
    RecordKind::ALL.into_iter().any(|kind| {
        let columns: Vec<Column> = cells
            .iter()
            .filter_map(|cell| meaning(kind, cell).column().map(|headed| headed.column))
            .collect();
        2 * columns.len() >= cells.len() && lacking(kind, &|c| columns.contains(&c)).is_none()
    })
}

/// "Part" is what was worked on, where no other column says it.
fn part_as_item(kind: RecordKind, headers: &[String], meanings: &mut [Meaning]) {
    let is = |meaning: &Meaning, column| meaning.column().is_some_and(|h| h.column == column);
    if kind != RecordKind::Services || meanings.iter().any(|m| is(m, Column::Item)) {
        return;
    }
    for (meaning, header) in meanings.iter_mut().zip(headers) {
        if is(meaning, Column::Part) && matches!(folded(header).as_str(), "part") {
            *meaning = Meaning::Column(Headed {
                column: Column::Item,
                unit: None,
                canonical: false,
            });
        }
    }
}

/// What a kind cannot do without and this header does not have.
fn lacking(kind: RecordKind, has: &dyn Fn(Column) -> bool) -> Option<&'static str> {
    let any = |columns: &[Column]| columns.iter().any(|c| has(*c));
    let dated = |column| has(column) || has(Column::Day) || has(Column::Clock);
    match kind {
        RecordKind::Readings if !has(Column::Van) => Some("no column says which van"),
        RecordKind::Readings if !dated(Column::TakenAt) => Some("no column says when (taken_at)"),
        RecordKind::Readings => {
            let meters = [
                Column::FeedPpm,
                Column::PermeatePpm,
                Column::ProductPpm,
                Column::FeedUsCm,
                Column::PermeateUsCm,
                Column::ProductUsCm,
            ];
            (!any(&meters)).then_some("no column holds a meter's ppm")
        }
        RecordKind::Fills if !has(Column::Van) => Some("no column says which van"),
        RecordKind::Fills if !dated(Column::StartedAt) => Some("no column says when (started_at)"),
        RecordKind::Fills => (!any(&[Column::Litres, Column::MeterLitres]))
            .then_some("no column holds litres or meter_litres"),
        RecordKind::Services if !has(Column::Van) => Some("no column says which van"),
        RecordKind::Services if !has(Column::DoneAt) => Some("no column says when (done_at)"),
        RecordKind::Services => {
            (!has(Column::Item)).then_some("no column says what was worked on (item)")
        }
        RecordKind::Vans if !has(Column::Van) => Some("no column says which van"),
        RecordKind::Vans => {
            let sizes = [
                Column::BasePostcode,
                Column::TankLitres,
                Column::Membranes,
                Column::ResinLitres,
                Column::InServiceOn,
                Column::OutOfServiceOn,
                Column::From,
            ];
            (!any(&sizes)).then_some("no column holds a base, a size or a date of service")
        }
        RecordKind::Hardness if !has(Column::Postcode) => Some("no column holds the postcode"),
        RecordKind::Hardness => (!has(Column::Hardness)).then_some("no column holds the hardness"),
    }
}
