//! Which kind of file it is, where its header stands, what separates its cells
//! and which cell is which column.

use super::columns::Column;
use super::dates::DateOrder;
use super::error::ReadError;
use super::headers::RecordKind;
use super::meaning::{Headed, Meaning, meaning};
use super::notes::Notes;
use super::split::{RowAt, Rows};
use super::text::{folded, plain};
use super::units::{Measure, Unit};

/// Title lines that may stand above the header.
const TITLE_LINES: usize = 30;
/// Separators that spreadsheets write, the likeliest first.
const DELIMITERS: [(u8, &str); 4] = [
    (b',', "comma"),
    (b';', "semicolon"),
    (b'\t', "tab"),
    (b'|', "bar"),
];

/// Where a file keeps what.
#[derive(Debug)]
pub(super) struct Layout {
    pub kind: RecordKind,
    pub delimiter: u8,
    pub header: RowAt,
    pub headers: Vec<String>,
    cells: [Option<usize>; Column::COUNT],
    units: [Option<Unit>; Column::COUNT],
    /// What the header itself says about the order of day and month.
    pub date_order: Option<DateOrder>,
}

impl Layout {
    /// Which cell holds a column.
    pub fn cell_of(&self, column: Column) -> Option<usize> {
        self.cells.get(column as usize).copied().flatten()
    }

    /// The unit that the column's header states.
    pub fn unit_of(&self, column: Column) -> Option<Unit> {
        self.units.get(column as usize).copied().flatten()
    }

    pub fn has(&self, column: Column) -> bool {
        self.cell_of(column).is_some()
    }

    /// The cells that hold a measure, with their columns.
    pub fn columns(&self) -> impl Iterator<Item = (Column, usize)> + '_ {
        super::columns::ALL
            .into_iter()
            .filter_map(|column| Some((column, self.cell_of(column)?)))
    }

    /// `feed_ppm`, or `feed_ppm (column "TDS in")` where it is headed otherwise.
    pub fn told(&self, column: Column) -> String {
        let header = self
            .cell_of(column)
            .and_then(|i| self.headers.get(i))
            .map(|h| plain(h));
        match header {
            Some(header) if header != column.name() => {
                format!("{} (column \"{header}\")", column.name())
            }
            _ => column.name().to_owned(),
        }
    }

    pub fn delimiter_word(&self) -> &'static str {
        DELIMITERS
            .iter()
            .find(|(d, _)| *d == self.delimiter)
            .map_or("comma", |(_, word)| word)
    }
}

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
        for _ in 0..TITLE_LINES {
            let Some(at) = rows.next_row() else { break };
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
        Some(tried) if tried.lacking.is_none() => settle(tried, file, notes),
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
    let lacking = lacking(kind, &has);
    // each column counts once, a canonical name a little more
    let mut seen: Vec<Column> = Vec::new();
    let mut score = 0;
    for headed in meanings.iter().filter_map(headed) {
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

fn headed(meaning: &Meaning) -> Option<&Headed> {
    match meaning {
        Meaning::Column(headed) => Some(headed),
        _ => None,
    }
}

/// "Part" is what was worked on, where no other column says it.
fn part_as_item(kind: RecordKind, headers: &[String], meanings: &mut [Meaning]) {
    let is = |meaning: &Meaning, column| headed(meaning).is_some_and(|h| h.column == column);
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

/// Gives each column its cell; what cannot be given is told.
fn settle(tried: Tried, file: &str, notes: &mut Notes) -> Result<Layout, ReadError> {
    let mut layout = Layout {
        kind: tried.kind,
        delimiter: tried.delimiter,
        header: tried.header,
        headers: tried.headers,
        cells: [None; Column::COUNT],
        units: [None; Column::COUNT],
        date_order: None,
    };
    let line = Some(tried.header.line);
    let mut extra = Vec::new();
    for column in super::columns::ALL {
        let named: Vec<(usize, &Headed)> = tried
            .meanings
            .iter()
            .enumerate()
            .filter_map(|(i, m)| headed(m).filter(|h| h.column == column).map(|h| (i, h)))
            .collect();
        let canonical: Vec<&(usize, &Headed)> = named.iter().filter(|(_, h)| h.canonical).collect();
        let chosen = match (named.as_slice(), canonical.as_slice()) {
            ([], _) => continue,
            ([only], _) => Some(only),
            (_, [only]) => Some(*only),
            _ => None,
        };
        let names = |skip: Option<usize>| {
            let others = named.iter().filter(|(i, _)| Some(*i) != skip);
            let quoted =
                others.filter_map(|(i, _)| Some(format!("\"{}\"", layout.headers.get(*i)?)));
            quoted.collect::<Vec<_>>().join(", ")
        };
        match chosen {
            Some((cell, headed)) => {
                if named.len() > 1 {
                    notes.file(
                        line,
                        format!(
                            "{} is {}; kept out: {}",
                            column.name(),
                            layout.headers.get(*cell).map_or("", |h| plain(h)),
                            names(Some(*cell))
                        ),
                    );
                }
                let (cell, unit) = (*cell, headed.unit);
                if let Some(slot) = layout.cells.get_mut(column as usize) {
                    *slot = Some(cell);
                }
                if let Some(slot) = layout.units.get_mut(column as usize) {
                    *slot = unit;
                }
            }
            None if is_required(tried.kind, column) => {
                return Err(ReadError::TwoForOne {
                    file: file.to_owned(),
                    line: tried.header.line,
                    kind: tried.kind,
                    column: column.name(),
                    headers: names(None),
                });
            }
            None => notes.file(
                line,
                format!(
                    "several columns could be {} ({}): none of them used; name one of them {}",
                    column.name(),
                    names(None),
                    column.name()
                ),
            ),
        }
    }
    for (i, meaning) in tried.meanings.iter().enumerate() {
        let header = layout.headers.get(i).map_or("", |h| plain(h)).to_owned();
        match meaning {
            Meaning::UnknownUnit(column) => notes.file(
                line,
                format!(
                    "column \"{header}\" kept out: it looks like {}, but its unit is not known",
                    column.name()
                ),
            ),
            Meaning::Extra if !header.is_empty() => extra.push(format!("\"{header}\"")),
            _ => {}
        }
    }
    if !extra.is_empty() {
        let word = if extra.len() == 1 {
            "column"
        } else {
            "columns"
        };
        notes.file(line, format!("{word} {} kept out", extra.join(", ")));
    }
    date_and_clock(&mut layout);
    layout.date_order = order_in_headers(&layout);
    meter_remarks(&layout, notes);
    Ok(layout)
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
    let cell = layout.cell_of(stand_in);
    if let Some(slot) = layout.cells.get_mut(when as usize) {
        *slot = cell;
    }
    if let Some(slot) = layout.cells.get_mut(stand_in as usize) {
        *slot = None;
    }
}

/// `Date (dd/mm/yyyy)` settles the order of day and month.
fn order_in_headers(layout: &Layout) -> Option<DateOrder> {
    layout
        .columns()
        .filter(|(column, _)| column.measure() == Measure::Date)
        .filter_map(|(_, cell)| layout.headers.get(cell))
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

/// Headers whose meaning deserves a word.
fn meter_remarks(layout: &Layout, notes: &mut Notes) {
    let line = Some(layout.header.line);
    for column in [Column::ProductPpm, Column::ProductUsCm] {
        let header = layout.cell_of(column).and_then(|i| layout.headers.get(i));
        if header.is_some_and(|h| folded(h).contains("tank")) {
            notes.file(line, format!(
                "{} is read in the tank: water behind the resin's outlet tells the resin better",
                layout.told(column)
            ));
        }
    }
    for (column, _) in layout.columns() {
        if let Some(Unit::Times(_, told)) = layout.unit_of(column) {
            let gallons = told == "imperial gallons";
            let said = layout.told(column);
            if gallons {
                notes.file(
                    line,
                    format!(
                        "{said}: imperial gallons of 4.546 L (US gallons: say so in the header)"
                    ),
                );
            } else {
                notes.file(line, format!("{said}: converted from {told}"));
            }
        } else if let Some(Unit::Fahrenheit) = layout.unit_of(column) {
            notes.file(line, format!("{}: converted from °F", layout.told(column)));
        } else if let Some(Unit::Conductivity(_, told)) = layout.unit_of(column)
            && (told != "µS/cm" || layout.told(column) != column.name())
        {
            notes.file(
                line,
                format!("{}: ppm = 0.5 × µS/cm, read in {told}", layout.told(column)),
            );
        }
    }
}
