//! Gives each column of a recognised header its cell, and says what was kept out.

use super::columns::{ALL, Column};
use super::dates::DateOrder;
use super::error::ReadError;
use super::headers::RecordKind;
use super::layout::Layout;
use super::meaning::{Headed, Meaning, meaning};
use super::mend_file::is_ours;
use super::notes::Notes;
use super::split::Rows;
use super::text::{folded, is_no_value, plain};
use super::units::{Measure, Unit};

/// Cells of the columns that `meanings` names, one for each header.
pub(super) fn settle(
    mut layout: Layout,
    meanings: &[Meaning],
    text: &str,
    file: &str,
    notes: &mut Notes,
) -> Result<Layout, ReadError> {
    for column in ALL {
        choose(&mut layout, column, meanings, file, notes)?;
    }
    tell_what_is_kept_out(&layout, meanings, notes);
    date_and_clock(&mut layout);
    units_below_header(&mut layout, text, notes);
    layout.date_order = order_in_headers(&layout);
    for (column, _) in layout.columns().collect::<Vec<_>>() {
        if column.measure() == Measure::Date && says_utc(&layout, column) {
            layout.mark_utc(column);
            notes.file(
                Some(layout.header.line),
                format!("{}: times are read as UTC", layout.told(column)),
            );
        }
    }
    remark_on_meters(&layout, notes);
    Ok(layout)
}

/// Picks the cell of a column where several headers could be it: the canonical
/// name wins, anything else is left open.
fn choose(
    layout: &mut Layout,
    column: Column,
    meanings: &[Meaning],
    file: &str,
    notes: &mut Notes,
) -> Result<(), ReadError> {
    let named: Vec<(usize, Headed)> = meanings
        .iter()
        .enumerate()
        .filter_map(|(i, m)| Some((i, *m.column().filter(|h| h.column == column)?)))
        .collect();
    let canonical: Vec<(usize, Headed)> =
        named.iter().filter(|(_, h)| h.canonical).copied().collect();
    let chosen = match (named.as_slice(), canonical.as_slice()) {
        ([], _) => return Ok(()),
        ([only], _) | (_, [only]) => Some(*only),
        _ => None,
    };
    let line = layout.header.line;
    let quoted = |skip: Option<usize>| {
        let others = named.iter().filter(|(i, _)| Some(*i) != skip);
        let headers = others.filter_map(|(i, _)| layout.headers.get(*i));
        headers
            .map(|h| format!("\"{}\"", plain(h)))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let Some((cell, headed)) = chosen else {
        if is_required(layout.kind, column) {
            return Err(ReadError::TwoForOne {
                file: file.to_owned(),
                line,
                kind: layout.kind,
                column: column.name(),
                headers: quoted(None),
            });
        }
        let (name, headers) = (column.name(), quoted(None));
        notes.file(
            Some(line),
            format!(
                "several columns could be {name} ({headers}): none of them used; name one of them {name}"
            ),
        );
        return Ok(());
    };
    if named.len() > 1 {
        let out = quoted(Some(cell));
        notes.file(
            Some(line),
            format!(
                "{} is the column of that name; kept out: {out}",
                column.name()
            ),
        );
    }
    layout.put(column, Some(cell), headed.unit);
    Ok(())
}

fn is_required(kind: RecordKind, column: Column) -> bool {
    match column {
        Column::Van => kind != RecordKind::Hardness,
        Column::TakenAt | Column::StartedAt | Column::DoneAt | Column::Item => true,
        Column::Postcode => kind == RecordKind::Hardness,
        Column::Hardness => true,
        _ => false,
    }
}

fn tell_what_is_kept_out(layout: &Layout, meanings: &[Meaning], notes: &mut Notes) {
    let line = Some(layout.header.line);
    let mut extra = Vec::new();
    for (header, meaning) in layout.headers.iter().zip(meanings) {
        let header = plain(header);
        match meaning {
            Meaning::UnknownUnit(column) => notes.file(
                line,
                format!(
                    "column \"{header}\" kept out: it looks like {}, but its unit is not known",
                    column.name()
                ),
            ),
            Meaning::Extra if is_ours(header) => {}
            Meaning::Extra if !header.is_empty() => match of_another_kind(layout.kind, header) {
                Some(kind) => notes.file(
                    line,
                    format!(
                        "column \"{header}\" kept out: it belongs to {kind}; \
                         give van, date and {header} as a file of their own"
                    ),
                ),
                None => extra.push(format!("\"{header}\"")),
            },
            _ => {}
        }
    }
    if !extra.is_empty() {
        let columns = if extra.len() == 1 {
            "column"
        } else {
            "columns"
        };
        notes.file(line, format!("{columns} {} kept out", extra.join(", ")));
    }
}

/// The kind whose very matter a column holds, if it is not this one.
fn of_another_kind(kind: RecordKind, header: &str) -> Option<RecordKind> {
    let holds = |other: RecordKind, columns: &[Column]| {
        let found = meaning(other, header);
        other != kind && found.column().is_some_and(|h| columns.contains(&h.column))
    };
    let fills = [Column::Litres, Column::MeterLitres, Column::RejectLitres];
    let meters = [
        Column::FeedPpm,
        Column::PermeatePpm,
        Column::ProductPpm,
        Column::FeedUsCm,
        Column::PermeateUsCm,
        Column::ProductUsCm,
    ];
    if matches!(kind, RecordKind::Readings) && holds(RecordKind::Fills, &fills) {
        Some(RecordKind::Fills)
    } else if matches!(kind, RecordKind::Fills) && holds(RecordKind::Readings, &meters) {
        Some(RecordKind::Readings)
    } else {
        None
    }
}

/// A date and a time of day in columns of their own make one date-time.
fn date_and_clock(layout: &mut Layout) {
    let when = match layout.kind {
        RecordKind::Readings => Column::TakenAt,
        RecordKind::Fills => Column::StartedAt,
        _ => return,
    };
    if layout.has(when) {
        return;
    }
    // the day stands for the instant, else a column headed just "time" does
    let stand_in = if layout.has(Column::Day) {
        Column::Day
    } else {
        Column::Clock
    };
    layout.put(when, layout.cell_of(stand_in), None);
    layout.put(stand_in, None, None);
}

/// A second line of headers that holds nothing but units.
fn units_below_header(layout: &mut Layout, text: &str, notes: &mut Notes) {
    let mut rows = Rows::new(text, layout.delimiter);
    rows.quote = layout.quote;
    rows.rewind_behind(layout.header);
    let Some(at) = rows.next_row() else { return };
    let mut units = Vec::new();
    for (index, cell) in (0..rows.len()).map(|i| (i, plain(rows.cell(i)))) {
        if is_no_value(cell) {
            continue;
        }
        let column = layout.columns().find(|(_, cell)| *cell == index);
        let unit = column.and_then(|(column, _)| {
            let bare = cell.trim_matches(['(', ')', '[', ']']);
            Some((column, Unit::named(bare, column.measure())?))
        });
        match unit {
            Some((column, unit)) => units.push((column, index, unit)),
            // anything else makes it a row like others
            None => return,
        }
    }
    for (column, index, unit) in units {
        match (unit, column.in_us_cm()) {
            (Unit::Conductivity(..), Some(us_cm)) if !layout.has(us_cm) => {
                layout.put(column, None, None);
                layout.put(us_cm, Some(index), Some(unit));
            }
            _ => layout.put(column, Some(index), Some(unit)),
        }
    }
    notes.file(
        Some(at.line),
        "the line below the header holds the units".into(),
    );
    layout.header = at;
}

/// `Date (dd/mm/yyyy)` settles the order of day and month.
fn order_in_headers(layout: &Layout) -> Option<DateOrder> {
    let dates = layout
        .columns()
        .filter(|(column, _)| column.measure() == Measure::Date);
    dates
        .filter_map(|(column, _)| layout.header_of(column))
        .find_map(|header| {
            let header = folded(header);
            if header.contains("dd mm") || header.contains("d m y") {
                Some(DateOrder::DayFirst)
            } else if header.contains("mm dd") || header.contains("m d y") {
                Some(DateOrder::MonthFirst)
            } else {
                None
            }
        })
}

fn says_utc(layout: &Layout, column: Column) -> bool {
    let header = layout.header_of(column).map(folded).unwrap_or_default();
    header.split(' ').any(|word| matches!(word, "utc" | "gmt"))
}

/// Headers whose meaning deserves a word.
fn remark_on_meters(layout: &Layout, notes: &mut Notes) {
    let line = Some(layout.header.line);
    for (column, _) in layout.columns() {
        let said = layout.told(column);
        let in_tank = matches!(column, Column::ProductPpm | Column::ProductUsCm)
            && folded(&said).contains("tank");
        if in_tank {
            notes.file(
                line,
                format!(
                    "{said} is read in the tank: water behind the resin's outlet tells the resin better"
                ),
            );
        }
        let text = match layout.unit_of(column) {
            Some(Unit::Times(_, "imperial gallons")) => {
                format!("{said}: imperial gallons of 4.546 L (US gallons: say so in the header)")
            }
            Some(Unit::Conductivity(_, told)) if told != "µS/cm" || said != column.name() => {
                format!("{said}: ppm = 0.5 × µS/cm, read in {told}")
            }
            Some(unit @ (Unit::Times(..) | Unit::Fahrenheit)) => {
                format!("{said}: converted from {}", unit.told().unwrap_or_default())
            }
            _ => continue,
        };
        notes.file(line, text);
    }
}
