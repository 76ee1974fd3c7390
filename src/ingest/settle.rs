//! Gives each column of a recognised header its cell, and says what was kept out.

use crate::store::names::van_key;

use super::columns::{ALL, Column};
use super::dates::{DateOrder, WrittenDate, written};
use super::error::ReadError;
use super::headers::RecordKind;
use super::kind::{Tried, when_of};
use super::layout::{JobColumn, Layout};
use super::meaning::{Headed, Meaning, meaning};
use super::mend_file::is_ours;
use super::notes::Notes;
use super::numbers::{DecimalMark, Spelled, number};
use super::postcode::{Postcode, postcode};
use super::remarks::job_headed;
use super::sheet::{Sheet, is_own_column};
use super::split::Rows;
use super::text::{collapsed, folded, is_no_value, plain};
use super::units::{Measure, Unit};

/// Cells of the columns that the meanings of each kind name.
pub(super) fn settle(
    base: Layout,
    kinds: Vec<Tried>,
    text: &str,
    file: &str,
    notes: &mut Notes,
) -> Result<Sheet, ReadError> {
    let mut kinds = kinds;
    let mut parts = Vec::with_capacity(kinds.len());
    for tried in &mut kinds {
        let mut layout = base.clone();
        layout.kind = tried.kind;
        clear_up(&mut tried.meanings, &mut layout, text, notes);
        for column in ALL {
            choose(&mut layout, column, &tried.meanings, file, notes)?;
        }
        date_and_clock(&mut layout);
        parts.push(layout);
    }
    let is_ticked_only =
        |part: &Layout| part.kind == RecordKind::Services && !part.has(Column::Item);
    if parts.len() > 1 || parts.iter().any(is_ticked_only) {
        let services = parts
            .iter_mut()
            .filter(|part| part.kind == RecordKind::Services);
        services.for_each(|part| part.jobs = jobs_headed(&part.headers, &kinds));
    }
    borrow_dates(&mut parts);
    tell_what_is_kept_out(&parts, &kinds, notes);
    let mut parts = parts.into_iter();
    let mut sheet = match parts.next() {
        Some(main) => Sheet::new(main, parts.collect()),
        None => Sheet::new(base, Vec::new()),
    };
    units_below_header(&mut sheet, text, notes);
    let order = sheet.parts().find_map(order_in_headers);
    let mut in_utc = Vec::new();
    for layout in sheet.parts_mut() {
        layout.date_order = order;
        for (column, _) in layout.columns().collect::<Vec<_>>() {
            if column.measure() == Measure::Date && says_utc(layout, column) {
                layout.mark_utc(column);
                in_utc.push(layout.label(column));
            }
        }
    }
    let line = Some(sheet.main().header.line);
    for told in in_utc {
        notes.file_once(line, format!("{told}: times are read as UTC"));
    }
    for layout in sheet.parts() {
        remark_on_meters(layout, notes);
    }
    Ok(sheet)
}

/// The columns that are ticked where something was changed, and that are no
/// column of any kind.
fn jobs_headed(headers: &[String], kinds: &[Tried]) -> Vec<JobColumn> {
    let is_free = |cell: usize| {
        let meanings = kinds.iter().map(|tried| tried.meanings.get(cell));
        meanings.flatten().all(|meaning| meaning.column().is_none())
    };
    let jobs = headers.iter().enumerate().filter_map(|(cell, header)| {
        let item = job_headed(header).filter(|_| is_free(cell))?;
        Some(JobColumn { cell, item })
    });
    jobs.collect()
}

/// Where several headers name a column, one of them may as well mean another
/// that no header names: `out` beside `pure` is what comes out of the membrane.
/// Headers that say the same over cells that never differ are one column twice.
fn clear_up(meanings: &mut [Meaning], layout: &mut Layout, text: &str, notes: &mut Notes) {
    for column in ALL {
        let named = |meanings: &[Meaning], strong: bool| -> Vec<usize> {
            let of_column = |m: &Meaning| {
                let headed = m.column().filter(|h| h.column == column);
                headed.is_some_and(|h| !strong || !h.is_weak)
            };
            let found = meanings.iter().enumerate().filter(|(_, m)| of_column(m));
            found.map(|(cell, _)| cell).collect()
        };
        let line = Some(layout.header.line);
        let header = |cell: usize| layout.headers.get(cell).map_or("", |h| plain(h)).to_owned();
        // a date is where dates are
        if column.measure() == Measure::Date && named(meanings, false).len() > 1 {
            let cells = named(meanings, false);
            let dated: Vec<usize> = cells
                .iter()
                .copied()
                .filter(|cell| holds_dates(*cell, layout, text))
                .collect();
            for cell in cells
                .iter()
                .filter(|cell| !dated.is_empty() && !dated.contains(cell))
            {
                if let Some(meaning) = meanings.get_mut(*cell) {
                    *meaning = Meaning::Extra;
                }
            }
        }
        // by another meaning that is free
        if named(meanings, false).len() > 1 {
            let free = |meanings: &[Meaning], cell: usize| -> Option<Column> {
                let other = meanings.get(cell)?.column()?.or?;
                let is_taken = |m: &Meaning| m.column().is_some_and(|h| h.column == other);
                (!meanings.iter().any(is_taken)).then_some(other)
            };
            let movable: Vec<(usize, Column)> = named(meanings, false)
                .into_iter()
                .filter_map(|cell| Some((cell, free(meanings, cell)?)))
                .collect();
            if let [(cell, other)] = movable.as_slice()
                && let Some(Meaning::Column(headed)) = meanings.get_mut(*cell)
            {
                headed.column = *other;
                headed.is_weak = false;
                let told = header(*cell);
                notes.file_once(
                    line,
                    format!(
                        "column \"{told}\" is read as {}, as another column is {}",
                        other.name(),
                        column.name()
                    ),
                );
            }
        }
        // what is headed plainly comes before what may mean other things
        let strong = named(meanings, true);
        if !strong.is_empty() {
            for cell in named(meanings, false) {
                if !strong.contains(&cell)
                    && let Some(meaning) = meanings.get_mut(cell)
                {
                    *meaning = Meaning::Extra;
                }
            }
        }
        let cells = named(meanings, false);
        let [first, others @ ..] = cells.as_slice() else {
            continue;
        };
        let units = |cell: &usize| {
            let headed = meanings.get(*cell).and_then(Meaning::column);
            headed.map(|headed| headed.unit.unwrap_or(Unit::Own))
        };
        let canonical = |cell: &usize| {
            meanings
                .get(*cell)
                .and_then(Meaning::column)
                .is_some_and(|h| h.canonical)
        };
        let same_unit = others.iter().all(|cell| units(cell) == units(first));
        if others.is_empty() || !same_unit || !never_differ(column, &cells, layout, text) {
            continue;
        }
        let first = *cells.iter().find(|cell| canonical(cell)).unwrap_or(first);
        let others: Vec<usize> = cells
            .iter()
            .copied()
            .filter(|cell| *cell != first)
            .collect();
        let told: Vec<String> = cells
            .iter()
            .map(|cell| format!("\"{}\"", header(*cell)))
            .collect();
        notes.file_once(
            line,
            format!(
                "{}: columns {} hold the same",
                column.name(),
                told.join(" and ")
            ),
        );
        for cell in &others {
            if let Some(meaning) = meanings.get_mut(*cell) {
                *meaning = Meaning::Twin;
            }
        }
        layout.put_twins(column, others);
    }
}

/// Whether most of a column's cells that say anything are dates.
fn holds_dates(cell: usize, layout: &Layout, text: &str) -> bool {
    let mut rows = Rows::new(text, layout.delimiter);
    rows.quote = layout.quote;
    rows.rewind_behind(layout.header);
    let (mut dates, mut others) = (0, 0);
    while rows.next_row().is_some() {
        let cell = plain(rows.cell(cell));
        if !is_no_value(cell) {
            match written(cell) {
                Ok(_) => dates += 1,
                Err(_) => others += 1,
            }
        }
    }
    dates > others
}

/// Whether in no row two of these cells say different things, and in some they
/// say the same.
fn never_differ(column: Column, cells: &[usize], layout: &Layout, text: &str) -> bool {
    let mut rows = Rows::new(text, layout.delimiter);
    rows.quote = layout.quote;
    rows.rewind_behind(layout.header);
    let (mut alike, mut apart) = (0, 0);
    while rows.next_row().is_some() {
        // the cells of a row too long or too short may stand under other headers
        if rows.len() != layout.headers.len() {
            continue;
        }
        let given = cells.iter().map(|cell| plain(rows.cell(*cell)));
        let mut given = given.filter(|cell| !is_no_value(cell));
        let Some(first) = given.next() else { continue };
        let mut others = given.peekable();
        if others.peek().is_none() {
            continue;
        }
        match others.all(|other| says_the_same(column, first, other)) {
            true => alike += 1,
            false => apart += 1,
        }
    }
    // a slip in one of them is told row by row
    alike > 0 && apart * 20 <= alike
}

/// Whether two cells of a column say the same, however it is written.
pub(super) fn says_the_same(column: Column, a: &str, b: &str) -> bool {
    if a == b || collapsed(a).to_lowercase() == collapsed(b).to_lowercase() {
        return true;
    }
    match (column, column.measure()) {
        (Column::Van, _) => van_key(a) == van_key(b),
        (Column::Postcode | Column::BasePostcode, _) => {
            let known = |cell: &str| match postcode(cell) {
                Postcode::Known(code) | Postcode::Repaired(code, _) => Some(code),
                Postcode::Foreign(_) | Postcode::None => None,
            };
            known(a).is_some_and(|a| known(b) == Some(a))
        }
        (_, Measure::Text) => folded(a) == folded(b),
        (_, Measure::Date) => is_same_moment(a, b),
        (_, measure) => {
            let marks = [DecimalMark::Point, DecimalMark::Comma];
            let own = |unit: &str| unit.is_empty() || Unit::named(unit, measure) == Some(Unit::Own);
            let value = |cell: &str, mark: &DecimalMark| {
                let found = number(cell, *mark).ok().flatten()?;
                let is_plain = found.spelled == Spelled::Exactly && own(found.unit);
                is_plain.then_some(found.value)
            };
            let of = |cell: &str| marks.map(|mark| value(cell, &mark));
            let (a, b) = (of(a), of(b));
            // each column may have a mark of its own
            a.iter().flatten().any(|a| b.contains(&Some(*a)))
        }
    }
}

/// Whether two dates are one, each under one order of day and month.
fn is_same_moment(a: &str, b: &str) -> bool {
    let (Ok(a), Ok(b)) = (written(a), written(b)) else {
        return false;
    };
    let days = |date: &WrittenDate| match date {
        WrittenDate::Sure(day) => vec![Some(*day)],
        WrittenDate::Numbers(found) => vec![found.day_first, found.month_first, found.year_first],
        WrittenDate::Serial(_) | WrittenDate::Missing => Vec::new(),
    };
    let of_b = days(&b.date);
    let is_same_day = match (a.date, b.date) {
        (WrittenDate::Missing, WrittenDate::Missing) => true,
        (date, _) => days(&date)
            .into_iter()
            .flatten()
            .any(|day| of_b.contains(&Some(day))),
    };
    is_same_day && a.time == b.time && a.zone == b.zone
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
        notes.file_once(
            Some(line),
            format!(
                "several columns could be {name} ({headers}): none of them used; name one of them {name}"
            ),
        );
        return Ok(());
    };
    if named.len() > 1 {
        let out = quoted(Some(cell));
        notes.file_once(
            Some(line),
            format!(
                "{} is the column of that name; kept out: {out}",
                column.name()
            ),
        );
    }
    // when a form was sent in says little where the day itself is given
    if headed.is_weak && column.measure() == Measure::Date && has_day(meanings) {
        return Ok(());
    }
    layout.put(column, Some(cell), headed.unit);
    Ok(())
}

fn has_day(meanings: &[Meaning]) -> bool {
    let mut headed = meanings.iter().filter_map(Meaning::column);
    headed.any(|h| h.column == Column::Day)
}

/// What cannot be left out without a word at the least: what a kind requires,
/// and what it is there for.
fn is_required(kind: RecordKind, column: Column) -> bool {
    match column {
        Column::Van => kind != RecordKind::Hardness,
        Column::TakenAt | Column::StartedAt | Column::DoneAt | Column::Item => true,
        Column::Day => when_of(kind).is_some(),
        Column::Postcode => kind == RecordKind::Hardness,
        Column::Hardness | Column::Litres | Column::MeterLitres => true,
        Column::FeedPpm
        | Column::PermeatePpm
        | Column::ProductPpm
        | Column::FeedUsCm
        | Column::PermeateUsCm
        | Column::ProductUsCm => true,
        _ => false,
    }
}

/// A part whose date is headed as that of another part has that one's.
fn borrow_dates(parts: &mut [Layout]) {
    let lender = parts.iter().find_map(|part| {
        let when = when_of(part.kind)?;
        let dates = [when, Column::Day, Column::Clock];
        part.has(when)
            .then(|| dates.map(|column| part.cell_of(column)))
    });
    let Some([when, day, clock]) = lender else {
        return;
    };
    for part in parts {
        if let Some(own) = when_of(part.kind)
            && !part.has(own)
        {
            part.put(own, when, None);
            part.put(Column::Day, day, None);
            part.put(Column::Clock, clock, None);
        }
    }
}

/// `kinds`: what the headers mean for each of the parts.
fn tell_what_is_kept_out(parts: &[Layout], kinds: &[Tried], notes: &mut Notes) {
    let Some(main) = parts.first() else { return };
    let line = Some(main.header.line);
    let mut extra = Vec::new();
    for (cell, header) in main.headers.iter().enumerate() {
        let header = plain(header);
        let is_used = parts.iter().any(|part| part.uses(cell));
        let is_repeated = kinds.iter().any(|tried| {
            let named = tried.meanings.get(cell).and_then(Meaning::column);
            named.is_some_and(|h| !h.is_weak)
        });
        if is_used || is_repeated || header.is_empty() || is_ours(header) {
            continue;
        }
        let unknown_unit = kinds
            .iter()
            .find_map(|tried| match tried.meanings.get(cell) {
                Some(Meaning::UnknownUnit(column)) => Some(*column),
                _ => None,
            });
        match unknown_unit {
            Some(column) => notes.file(
                line,
                format!(
                    "column \"{header}\" kept out: it looks like {}, but its unit is not known",
                    column.name()
                ),
            ),
            None => match of_another_kind(kinds, header) {
                Some((kind, lacking)) => notes.file(
                    line,
                    format!("column \"{header}\" kept out: it belongs to {kind}, but {lacking}"),
                ),
                None => extra.push(format!("\"{header}\"")),
            },
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

/// The kind whose very matter a column holds, if it is none of these, and what
/// the sheet lacks for it.
fn of_another_kind(kinds: &[Tried], header: &str) -> Option<(RecordKind, &'static str)> {
    let others = [
        (
            RecordKind::Readings,
            "no column holds a meter's ppm or says when",
        ),
        (
            RecordKind::Fills,
            "no column plainly holds litres or says when",
        ),
        (
            RecordKind::Services,
            "no column says what was worked on (item)",
        ),
    ];
    let is_log = kinds.iter().any(|tried| when_of(tried.kind).is_some());
    let not_here = |kind: RecordKind| is_log && kinds.iter().all(|tried| tried.kind != kind);
    let is_own = |kind: RecordKind| {
        let found = meaning(kind, header);
        found
            .column()
            .is_some_and(|h| is_own_column(kind, h.column))
    };
    others
        .into_iter()
        .find(|(kind, _)| not_here(*kind) && is_own(*kind))
}

/// A date and a time of day in columns of their own make one date-time.
fn date_and_clock(layout: &mut Layout) {
    let Some(when) = when_of(layout.kind).filter(|when| !layout.has(*when)) else {
        return;
    };
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
fn units_below_header(sheet: &mut Sheet, text: &str, notes: &mut Notes) {
    let mut rows = Rows::new(text, sheet.main().delimiter);
    rows.quote = sheet.main().quote;
    rows.rewind_behind(sheet.main().header);
    let Some(at) = rows.next_row() else { return };
    let mut is_any = false;
    for (index, cell) in (0..rows.len()).map(|i| (i, plain(rows.cell(i)))) {
        if is_no_value(cell) {
            continue;
        }
        let mut columns = sheet.parts().filter_map(|part| part.column_at(index));
        // anything else makes it a row like others
        if !columns.any(|column| bare_unit(cell, column).is_some()) {
            return;
        }
        is_any = true;
    }
    if !is_any {
        return;
    }
    for layout in sheet.parts_mut() {
        for index in 0..rows.len() {
            let Some(column) = layout.column_at(index) else {
                continue;
            };
            let Some(unit) = bare_unit(plain(rows.cell(index)), column) else {
                continue;
            };
            match (unit, column.in_us_cm()) {
                (Unit::Conductivity(..), Some(us_cm)) if !layout.has(us_cm) => {
                    layout.put(column, None, None);
                    layout.put(us_cm, Some(index), Some(unit));
                }
                _ => layout.put(column, Some(index), Some(unit)),
            }
        }
        layout.header = at;
    }
    notes.file(
        Some(at.line),
        "the line below the header holds the units".into(),
    );
}

fn bare_unit(cell: &str, column: Column) -> Option<Unit> {
    Unit::named(cell.trim_matches(['(', ')', '[', ']']), column.measure())
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
        let said = layout.label(column);
        let in_tank = matches!(column, Column::ProductPpm | Column::ProductUsCm)
            && folded(&said).contains("tank");
        if in_tank {
            notes.file_once(
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
                format!(
                    "{said}: converted from {}",
                    unit.label().unwrap_or_default()
                )
            }
            _ => continue,
        };
        notes.file_once(line, text);
    }
}
