//! Which kinds of record a file holds, where its header stands and what
//! separates its cells. A file is of a kind when all that the kind cannot do
//! without and one column of its very own are headed plainly; nothing of that
//! is guessed.

use super::answers::shape_of;
use super::columns::Column;
use super::error::ReadError;
use super::headers::{RecordKind, nearest};
use super::layout::{DELIMITERS, Layout};
use super::meaning::{Headed, Meaning, meaning};
use super::mend_file::{self, is_ours};
use super::notes::Notes;
use super::own_output::{self, OwnOutput, is_day_done};
use super::quotes::quote_of;
use super::remarks::{job_headed, may_tell_of_work, says_no_work, work_in, work_named};
use super::settle::settle;
use super::sheet::Sheet;
use super::split::{RowAt, Rows};
use super::text::{folded, is_no_value, plain};
use super::units::Measure;
use super::words::{SourceWord, source};

/// Title lines that may stand above the header.
const TITLE_LINES: usize = 30;
/// Rows below a header that are looked at where its words alone do not tell.
const ROWS_LOOKED_AT: usize = 2_000;
/// Below so much of a likeness to a kind, nothing is said of it.
const ALIKE: usize = 5;

/// A header line tried as a kind.
pub(super) struct Tried {
    pub kind: RecordKind,
    pub meanings: Vec<Meaning>,
    score: usize,
    lacking: Option<&'static str>,
}

/// A line that may be the header, and what it is for each kind.
struct Candidate {
    delimiter: u8,
    header: RowAt,
    headers: Vec<String>,
    /// The likeliest first.
    kinds: Vec<Tried>,
    /// The van of all rows, where no column says which, and the line above that
    /// says so.
    van: Option<(String, Option<u64>)>,
}

impl Candidate {
    fn rank(&self) -> (bool, usize) {
        self.kinds.first().map_or((false, 0), Tried::rank)
    }
}

impl Tried {
    fn rank(&self) -> (bool, usize) {
        (self.lacking.is_none(), self.score)
    }

    fn has(&self, column: Column) -> bool {
        has(&self.meanings, column)
    }
}

fn has(meanings: &[Meaning], column: Column) -> bool {
    let mut headed = meanings.iter().filter_map(Meaning::column);
    headed.any(|h| h.column == column)
}

/// Finds the header and settles what each cell is.
pub(super) fn recognise(
    text: &str,
    file: &str,
    options: &super::Options,
    notes: &mut Notes,
) -> Result<Sheet, ReadError> {
    let mut best: Option<Candidate> = None;
    let mut widest: Option<Vec<String>> = None;
    for delimiter in stated_delimiter(text).map_or_else(
        || DELIMITERS.iter().map(|(d, _)| *d).collect::<Vec<_>>(),
        |stated| vec![stated],
    ) {
        let mut rows = Rows::new(text, delimiter);
        rows.quote = quote_of(text, delimiter);
        let mut said_above: Option<(String, Option<u64>)> = None;
        for _ in 0..TITLE_LINES {
            let Some(at) = rows.next_row() else { break };
            // a header found higher up by another delimiter is the likelier one
            let found = best.as_ref().filter(|best| best.rank().0);
            if found.is_some_and(|best| best.header.line < at.line) {
                break;
            }
            if rows.len() == 1 && delimiter != b',' {
                continue;
            }
            let headers: Vec<String> = (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect();
            if let Some(output) = own_output::of(&headers) {
                let found = (delimiter, at, headers);
                return work_list(output, found, (text, file), options, notes);
            }
            let mut named = renamed(&headers, options);
            leave_kinds_out(&mut named, delimiter, at, text);
            let given = options.van.clone().or_else(|| options.kept.van_of(file));
            let given = given.or_else(|| mend_file::find(&headers).and_then(|(_, h)| h.van));
            let van = given.map(|van| (van, None)).or_else(|| said_above.clone());
            let mut kinds: Vec<Tried> = RecordKind::ALL
                .into_iter()
                .map(|kind| try_kind(kind, &named, van.is_some()))
                .collect();
            said_above = van_named(&headers)
                .map(|van| (van, Some(at.line)))
                .or(said_above);
            confirm_by_rows(&mut kinds, delimiter, at, text);
            // stable: of equals the first kind
            kinds.sort_by_key(|tried| std::cmp::Reverse(tried.rank()));
            take_ticks_for_jobs(&mut kinds, &headers);
            let candidate = Candidate {
                delimiter,
                header: at,
                headers,
                kinds,
                van,
            };
            let is_better = best
                .as_ref()
                .is_none_or(|best| candidate.rank() > best.rank());
            if heads(&candidate.headers) > widest.as_deref().map_or(1, heads) {
                widest = Some(candidate.headers.clone());
            }
            if is_better {
                best = Some(candidate);
            }
        }
    }
    match best {
        Some(candidate) if candidate.rank().0 => {
            let Candidate {
                delimiter,
                header,
                headers,
                kinds,
                van,
            } = candidate;
            let kinds = parts_of(kinds, &headers, (delimiter, header, text), notes);
            let main = kinds
                .first()
                .map_or(RecordKind::Readings, |tried| tried.kind);
            let mut layout = Layout::new(main, delimiter, header, headers);
            layout.quote = quote_of(text, delimiter);
            let names_none = kinds.first().is_some_and(|tried| !tried.has(Column::Van));
            if let Some((van, line)) = van.filter(|_| names_none && main != RecordKind::Hardness) {
                let above = line.map_or("", |_| ", as this line above the headings says");
                notes.file(line, format!("all rows are of van {van}{above}"));
                layout.van = Some(van);
            }
            settle(layout, kinds, text, file, notes)
        }
        Some(candidate) if candidate.rank().1 >= ALIKE => {
            let headings = headings(&candidate.headers);
            match candidate.kinds.first() {
                Some(Tried {
                    kind,
                    lacking: Some(lacking),
                    ..
                }) => Err(ReadError::LacksColumn {
                    file: file.to_owned(),
                    line: candidate.header.line,
                    kind: *kind,
                    lacking,
                    headings,
                }),
                _ => Err(ReadError::NotOurs {
                    file: file.to_owned(),
                    headings,
                }),
            }
        }
        _ => Err(ReadError::NotOurs {
            file: file.to_owned(),
            headings: widest.map(|headers| headings(&headers)).unwrap_or_default(),
        }),
    }
}

/// The van that a line above the headings names: `Van: Quill`, or `Van` and the
/// name in the next cell.
fn van_named(cells: &[String]) -> Option<String> {
    let mut filled = cells
        .iter()
        .map(|cell| plain(cell))
        .filter(|cell| !cell.is_empty());
    let (first, next, more) = (filled.next()?, filled.next(), filled.next());
    let is_van = |word: &str| {
        let headed = meaning(RecordKind::Readings, word);
        headed
            .column()
            .is_some_and(|h| h.column == Column::Van && !h.is_weak)
    };
    let (word, name) = match (first.split_once(':'), next, more) {
        (Some((word, name)), None, None) if !name.trim().is_empty() => (word, name),
        (_, Some(name), None) => (first.trim_end_matches(':'), name),
        _ => return None,
    };
    let name = plain(name);
    (is_van(word) && !is_van(name) && name.chars().count() <= 40).then(|| name.to_owned())
}

/// How many cells could be headings.
fn heads(headers: &[String]) -> usize {
    let is_heading = |header: &&String| {
        let header = plain(header);
        header.chars().any(char::is_alphabetic) && !header.starts_with(|c: char| c.is_ascii_digit())
    };
    headers.iter().filter(is_heading).count()
}

/// Headings listed in full; there is an end to what one line can hold.
const HEADINGS_LISTED: usize = 24;

/// `"Date" date, "Tap" feed_ppm, "Wasser" no column of ours (water_c?)`
fn headings(headers: &[String]) -> String {
    let told = |header: &&String| {
        let header = plain(header);
        let of = RecordKind::ALL
            .into_iter()
            .find_map(|kind| meaning(kind, header).column().map(|h| h.column));
        let shown: String = header.chars().take(40).collect();
        match of {
            Some(column) => format!("\"{shown}\" ({})", column.name()),
            None if job_headed(header).is_some() => format!("\"{shown}\" (work, ticked)"),
            None => match nearest(header) {
                Some((spelling, column)) if folded(spelling) == folded(column.name()) => {
                    format!("\"{shown}\" (not known: {}?)", column.name())
                }
                Some((spelling, column)) => {
                    format!(
                        "\"{shown}\" (not known: \"{spelling}\", {}?)",
                        column.name()
                    )
                }
                None => format!("\"{shown}\" (not known)"),
            },
        }
    };
    let filled = headers.iter().filter(|header| !plain(header).is_empty());
    let mut listed: Vec<String> = filled
        .clone()
        .take(HEADINGS_LISTED)
        .map(|h| told(&h))
        .collect();
    let more = filled.count().saturating_sub(HEADINGS_LISTED);
    if more > 0 {
        listed.push(format!("and {more} more"));
    }
    listed.join(", ")
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

/// The headers as the user said that they are meant, now or of such a file before.
fn renamed(headers: &[String], options: &super::Options) -> Vec<String> {
    let before = options.kept.of(&shape_of(headers));
    let before = before.map_or(&[][..], |answer| &answer.columns);
    let meant = |header: &String| {
        let word = folded(plain(header));
        let mut said = options.columns.iter().chain(before);
        let said = said.find(|(from, _)| folded(from) == word);
        said.map_or_else(|| header.clone(), |(_, to)| to.clone())
    };
    headers.iter().map(meant).collect()
}

/// `has_van`: it is known whose all rows are.
fn try_kind(kind: RecordKind, headers: &[String], has_van: bool) -> Tried {
    let mut meanings: Vec<Meaning> = headers.iter().map(|h| meaning(kind, h)).collect();
    part_as_item(kind, headers, &mut meanings);
    let mut tried = Tried {
        kind,
        meanings,
        score: 0,
        lacking: None,
    };
    // a list of names alone is a van list too
    let own = headers.iter().filter(|header| !is_ours(header)).count();
    let only_vans = kind == RecordKind::Vans && own == 1 && tried.has(Column::Van);
    if !only_vans {
        tried.lacking =
            lacking(kind, &tried.meanings, has_van).or_else(|| foreign(kind, headers, &tried));
    }
    // each column counts once, a canonical name a little more
    let mut seen: Vec<Column> = Vec::new();
    for headed in tried.meanings.iter().filter_map(Meaning::column) {
        if !seen.contains(&headed.column) {
            seen.push(headed.column);
            tried.score += if headed.is_weak { 1 } else { 2 };
        }
        tried.score += usize::from(headed.canonical);
    }
    tried
}

/// What shows that a table which looks like this kind is something else.
fn foreign(kind: RecordKind, headers: &[String], tried: &Tried) -> Option<&'static str> {
    let says = |words: &[&str]| {
        headers.iter().any(|header| {
            let header = folded(header);
            header.split(' ').any(|word| words.contains(&word))
        })
    };
    match kind {
        RecordKind::Fills if says(FUEL) && !holds_meters(headers) => {
            Some("its headings speak of fuel or mileage, not of purified water")
        }
        RecordKind::Vans => {
            let is_date = |(header, own): (&String, &Meaning)| {
                let is_column = |kind| {
                    let headed = meaning(kind, header);
                    headed
                        .column()
                        .is_some_and(|h| h.column.measure() == Measure::Date)
                };
                *own == Meaning::Extra
                    && [RecordKind::Readings, RecordKind::Services]
                        .into_iter()
                        .any(is_column)
            };
            headers
                .iter()
                .zip(&tried.meanings)
                .any(is_date)
                .then_some("its rows have a date each, as a log has, not a list of vans")
        }
        _ => None,
    }
}

/// Words of logs in which litres are not water.
const FUEL: &[&str] = &[
    "fuel",
    "diesel",
    "petrol",
    "unleaded",
    "adblue",
    "mileage",
    "mile",
    "miles",
    "mpg",
    "odometer",
    "odo",
    "ppl",
    "pence",
    "gearbox",
    "oil",
    "screenwash",
];

fn holds_meters(headers: &[String]) -> bool {
    let mut meanings = headers.iter().map(|h| meaning(RecordKind::Readings, h));
    meanings.any(|m| {
        m.column()
            .is_some_and(|h| !h.is_weak && METERS.contains(&h.column))
    })
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
        let meanings: Vec<Meaning> = cells.iter().map(|cell| meaning(kind, cell)).collect();
        let columns = meanings.iter().filter_map(Meaning::column).count();
        2 * columns >= cells.len() && lacking(kind, &meanings, false).is_none()
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
            *meaning = Meaning::Column(Headed::of(Column::Item));
        }
    }
}

const METERS: [Column; 6] = [
    Column::FeedPpm,
    Column::PermeatePpm,
    Column::ProductPpm,
    Column::FeedUsCm,
    Column::PermeateUsCm,
    Column::ProductUsCm,
];

/// The columns any of which shows that a file is of a kind.
fn evidence(kind: RecordKind) -> &'static [Column] {
    match kind {
        RecordKind::Readings => &METERS,
        RecordKind::Fills => &[Column::Litres, Column::MeterLitres],
        RecordKind::Services => &[Column::Item],
        RecordKind::Vans => &[
            Column::BasePostcode,
            Column::TankLitres,
            Column::Membranes,
            Column::ResinLitres,
            Column::InServiceOn,
            Column::OutOfServiceOn,
            Column::From,
        ],
        RecordKind::Hardness => &[Column::Hardness],
    }
}

/// The column of a kind that says when.
pub(super) fn when_of(kind: RecordKind) -> Option<Column> {
    match kind {
        RecordKind::Readings => Some(Column::TakenAt),
        RecordKind::Fills => Some(Column::StartedAt),
        RecordKind::Services => Some(Column::DoneAt),
        RecordKind::Vans | RecordKind::Hardness => None,
    }
}

const NO_DATE: [&str; 3] = [
    "no column says when (taken_at)",
    "no column says when (started_at)",
    "no column says when (done_at)",
];

/// What a kind cannot do without and this header does not plainly have.
fn lacking(kind: RecordKind, meanings: &[Meaning], has_van: bool) -> Option<&'static str> {
    let dated = |column| {
        has(meanings, column) || has(meanings, Column::Day) || has(meanings, Column::Clock)
    };
    let has_van = has_van && when_of(kind).is_some() || has(meanings, Column::Van);
    if kind != RecordKind::Hardness && !has_van {
        return Some(match when_of(kind) {
            Some(_) => {
                "no column says which van; where all rows are of one, say --van NAME (or --van-by-sheet)"
            }
            None => "no column says which van",
        });
    }
    if kind == RecordKind::Hardness && !has(meanings, Column::Postcode) {
        return Some("no column holds the postcode");
    }
    let is_plain = |column: &Column| {
        let mut headed = meanings.iter().filter_map(Meaning::column);
        headed.any(|h| h.column == *column && !h.is_weak)
    };
    let no_date = match kind {
        RecordKind::Readings => NO_DATE.first(),
        RecordKind::Fills => NO_DATE.get(1),
        _ => NO_DATE.get(2),
    };
    if let Some(when) = when_of(kind)
        && !dated(when)
    {
        return no_date.copied();
    }
    if evidence(kind).iter().any(is_plain) {
        return None;
    }
    let is_there = evidence(kind).iter().any(|column| has(meanings, *column));
    Some(match (kind, is_there) {
        (RecordKind::Readings, false) => "no column holds a meter's ppm",
        (RecordKind::Readings, true) => {
            "its headings may mean other things than meters: name them feed_ppm, permeate_ppm, product_ppm"
        }
        (RecordKind::Fills, false) => "no column holds litres or meter_litres",
        (RecordKind::Fills, true) => {
            "its headings may mean other things than litres of water: name the column litres or meter_litres"
        }
        (RecordKind::Services, false) => NO_ITEM,
        (RecordKind::Services, true) => {
            "its headings may mean other things than the work done: name the column item"
        }
        (RecordKind::Vans, false) => "no column holds a base, a size or a date of service",
        (RecordKind::Vans, true) => {
            "its headings may mean other things than a van's sizes: name them base_postcode, tank_litres, membranes, resin_litres"
        }
        (RecordKind::Hardness, false) => "no column holds the hardness",
        (RecordKind::Hardness, true) => {
            "its headings may mean other things than the hardness: name the column hardness"
        }
    })
}

/// The rows below a header, for a look at what its words leave open.
fn rows_below(text: &str, delimiter: u8, header: RowAt, each: &mut dyn FnMut(&Rows<'_>)) {
    let mut rows = Rows::new(text, delimiter);
    rows.quote = quote_of(text, delimiter);
    rows.rewind_behind(header);
    for _ in 0..ROWS_LOOKED_AT {
        if rows.next_row().is_none() {
            break;
        }
        each(&rows);
    }
}

/// "Type" may head what was worked on or where water came from, and a heading
/// that means little may stand over cells that tell: the rows decide.
fn confirm_by_rows(kinds: &mut [Tried], delimiter: u8, header: RowAt, text: &str) {
    let services = kinds.iter_mut().find(|t| t.kind == RecordKind::Services);
    let Some(services) = services else { return };
    let item = |m: &Meaning| m.column().is_some_and(|h| h.column == Column::Item);
    let Some(cell) = services.meanings.iter().position(item) else {
        return;
    };
    if services.lacking.is_some() || services.meanings.get(cell).is_some_and(is_canonical) {
        return;
    }
    let (mut known, mut unknown) = (0, 0);
    rows_below(text, delimiter, header, &mut |rows| {
        let cell = plain(rows.cell(cell));
        if !is_no_value(cell) {
            let is_source = matches!(source(cell), SourceWord::Known(_));
            match (work_named(cell).is_empty(), is_source) {
                (false, _) => known += 1,
                (true, true) => unknown += 1,
                (true, false) => {}
            }
        }
    });
    if unknown > known {
        services.lacking = Some("its rows name no work (item) but where water came from");
    }
}

/// A column that says of what kind each row is tells neither what was worked on
/// nor where water came from.
fn leave_kinds_out(headers: &mut [String], delimiter: u8, header: RowAt, text: &str) {
    const HEADED: &[&str] = &[
        "type",
        "kind",
        "entry",
        "record",
        "entry type",
        "record type",
    ];
    const KINDS: &[&str] = &[
        "reading",
        "meter reading",
        "tds",
        "tds reading",
        "tds check",
        "test",
        "water test",
        "check",
        "fill",
        "fill up",
        "filling",
        "tank fill",
        "refill",
        "top up",
        "service",
        "maintenance",
        "change",
        "part",
        "job",
    ];
    for (cell, heading) in headers.iter_mut().enumerate() {
        if !HEADED.contains(&folded(heading).as_str()) {
            continue;
        }
        let (mut kinds, mut others) = (0, 0);
        rows_below(text, delimiter, header, &mut |rows| {
            let cell = plain(rows.cell(cell));
            if !is_no_value(cell) {
                match KINDS.contains(&folded(cell).as_str()) {
                    true => kinds += 1,
                    false => others += 1,
                }
            }
        });
        // a slip or two do not make it a column of jobs
        if kinds > 4 * others {
            heading.clear();
        }
    }
}

/// Where nothing else tells the kind of a file, columns that are ticked where a
/// part was changed make it one of services.
fn take_ticks_for_jobs(kinds: &mut [Tried], headers: &[String]) {
    if kinds.iter().any(|tried| tried.lacking.is_none()) {
        return;
    }
    let at = kinds
        .iter()
        .position(|tried| tried.lacking == Some(NO_ITEM));
    let is_ticked = headers.iter().any(|header| job_headed(header).is_some());
    if let Some(at) = at.filter(|_| is_ticked) {
        if let Some(services) = kinds.get_mut(at) {
            services.lacking = None;
        }
        kinds.swap(0, at);
    }
}

const NO_ITEM: &str = "no column says what was worked on (item)";

fn is_canonical(meaning: &Meaning) -> bool {
    meaning.column().is_some_and(|headed| headed.canonical)
}

/// The kinds that the file holds, the main one first: that which explains most
/// of the header, and those of which it has columns besides. Every cell that
/// is a kind's own is left to one of them.
fn parts_of(
    kinds: Vec<Tried>,
    headers: &[String],
    below: (u8, RowAt, &str),
    notes: &mut Notes,
) -> Vec<Tried> {
    let (delimiter, header, text) = below;
    let mut kinds = kinds.into_iter();
    let Some(main) = kinds.next() else {
        return Vec::new();
    };
    if when_of(main.kind).is_none() {
        return vec![main];
    }
    let is_ticked_only = main.kind == RecordKind::Services && !main.has(Column::Item);
    let stated = mend_file::find(headers).and_then(|(_, habits)| habits.kinds);
    let is_part = |tried: &Tried| {
        let can_be = match tried.lacking {
            None => true,
            // the date may be headed as another kind heads it
            Some(lacking) => {
                NO_DATE.contains(&lacking) && {
                    let plain = tried.meanings.iter().filter_map(Meaning::column);
                    let own = evidence(tried.kind);
                    plain
                        .filter(|h| !h.is_weak)
                        .any(|h| own.contains(&h.column))
                        && foreign(tried.kind, headers, tried).is_none()
                }
            }
        };
        when_of(tried.kind).is_some() && can_be
    };
    let mut parts = vec![main];
    let mut rest: Vec<Tried> = Vec::new();
    for tried in kinds {
        if is_part(&tried) {
            parts.push(tried);
        } else {
            rest.push(tried);
        }
    }
    rest.extend(jobs_of_other_kinds(&mut parts, headers, below, notes));
    quantity_or_litres(&mut parts, delimiter, header, text);
    share_out(&mut parts, delimiter, header, text);
    parts.retain(|tried| {
        let own = evidence(tried.kind);
        let mut headed = tried.meanings.iter().filter_map(Meaning::column);
        headed.any(|h| !h.is_weak && own.contains(&h.column))
            || is_ticked_only && tried.kind == RecordKind::Services
    });
    if let Some(stated) = stated {
        parts.retain(|tried| stated.contains(tried.kind));
    }
    // work told in a column of notes, or ticked in one of its own
    let services = rest.iter().position(|t| t.kind == RecordKind::Services);
    let is_told = |services: &Tried| match stated {
        Some(stated) => stated.contains(RecordKind::Services),
        None => tells_of_work(headers, services, below, notes),
    };
    if !parts.iter().any(|tried| tried.kind == RecordKind::Services)
        && let Some(at) = services.filter(|at| rest.get(*at).is_some_and(is_told))
    {
        let mut services = rest.swap_remove(at);
        for (cell, own) in services.meanings.iter_mut().enumerate() {
            let is_theirs = parts
                .iter()
                .any(|tried| own_column(tried.meanings.get(cell)).is_some());
            if is_theirs {
                *own = Meaning::Extra;
            }
        }
        parts.push(services);
    }
    parts
}

/// What all kinds of a log have in common.
const SHARED: [Column; 8] = [
    Column::Note,
    Column::Van,
    Column::Postcode,
    Column::Day,
    Column::Clock,
    Column::TakenAt,
    Column::StartedAt,
    Column::DoneAt,
];

fn own_column(meaning: Option<&Meaning>) -> Option<&Headed> {
    let headed = meaning.and_then(Meaning::column);
    headed.filter(|headed| !SHARED.contains(&headed.column))
}

/// Whether a column holds words where it is filled in: most cells have no digit.
fn holds_words(cell: usize, delimiter: u8, header: RowAt, text: &str) -> bool {
    let (mut words, mut numbers) = (0, 0);
    rows_below(text, delimiter, header, &mut |rows| {
        let cell = plain(rows.cell(cell));
        if !is_no_value(cell) {
            match cell.bytes().any(|b| b.is_ascii_digit()) {
                true => numbers += 1,
                false => words += 1,
            }
        }
    });
    words > numbers
}

/// Leaves each cell that several kinds claim for their own to one of them.
fn share_out(parts: &mut [Tried], delimiter: u8, header: RowAt, text: &str) {
    let width = parts.iter().map(|tried| tried.meanings.len()).max();
    for cell in 0..width.unwrap_or(0) {
        let mut claims: Vec<(usize, Headed)> = Vec::new();
        for (part, tried) in parts.iter().enumerate() {
            if let Some(headed) = own_column(tried.meanings.get(cell)) {
                claims.push((part, *headed));
            }
        }
        if claims.len() < 2 {
            continue;
        }
        let is_words = holds_words(cell, delimiter, header, text);
        // how much speaks against it: words where it wants numbers, a word of many
        // meanings, a column named more plainly elsewhere, a flow to the drain
        // where no flow is read
        let against = |(part, headed): &(usize, Headed)| {
            let Some(tried) = parts.get(*part) else {
                return (true, true, true, true, RecordKind::Hardness);
            };
            let elsewhere = tried.meanings.iter().enumerate().any(|(other, meaning)| {
                let same = meaning.column().filter(|h| h.column == headed.column);
                other != cell && same.is_some_and(|h| !h.is_weak)
            });
            let no_flow =
                headed.column == Column::ConcentrateLpm && !tried.has(Column::PermeateLpm);
            let no_numbers = is_words && headed.column.measure() != Measure::Text;
            (no_numbers, headed.is_weak, elsewhere, no_flow, tried.kind)
        };
        let winner = claims
            .iter()
            .min_by_key(|claim| against(claim))
            .map(|(part, _)| *part);
        for (part, _) in claims {
            if Some(part) != winner
                && let Some(tried) = parts.get_mut(part)
                && let Some(meaning) = tried.meanings.get_mut(cell)
            {
                *meaning = Meaning::Extra;
            }
        }
    }
}

/// Litres of resin that one van takes at most; a tank takes more (common
/// practice, no source).
const LARGEST_VESSEL: f64 = 60.0;

/// "Litres" beside a job may be those of the resin or those of a fill: the
/// resin's where only rows with a job have any, and mostly as few as a vessel
/// takes.
fn quantity_or_litres(parts: &mut Vec<Tried>, delimiter: u8, header: RowAt, text: &str) {
    let find = |kind| parts.iter().position(|tried| tried.kind == kind);
    let (Some(fills), Some(services)) = (find(RecordKind::Fills), find(RecordKind::Services))
    else {
        return;
    };
    let cells_of = |part: usize, columns: &[Column]| -> Vec<usize> {
        let meanings = parts.get(part).map_or(&[][..], |tried| &tried.meanings);
        let is_one = |m: &Meaning| m.column().is_some_and(|h| columns.contains(&h.column));
        let found = meanings.iter().enumerate();
        found
            .filter(|(_, m)| is_one(m))
            .map(|(cell, _)| cell)
            .collect()
    };
    let litres = cells_of(
        fills,
        &[Column::Litres, Column::MeterLitres, Column::RejectLitres],
    );
    let quantity = cells_of(services, &[Column::Quantity]);
    let item = cells_of(services, &[Column::Item]);
    let ([litres], [quantity], [item]) = (litres.as_slice(), quantity.as_slice(), item.as_slice())
    else {
        return;
    };
    if litres != quantity {
        return;
    }
    let (mut small, mut large, mut without) = (0, 0, 0);
    rows_below(text, delimiter, header, &mut |rows| {
        let cell = plain(rows.cell(*litres));
        if is_no_value(cell) {
        } else if is_no_value(plain(rows.cell(*item))) {
            without += 1;
        } else if cell
            .parse()
            .is_ok_and(|litres: f64| litres > LARGEST_VESSEL)
        {
            large += 1;
        } else {
            small += 1;
        }
    });
    if small > large && without == 0 {
        parts.remove(fills);
    }
}

/// The services of a sheet of several kinds, where its column of jobs is about
/// other jobs, such as those of the customers: not one of its cells names work
/// on the plant.
fn jobs_of_other_kinds(
    parts: &mut Vec<Tried>,
    headers: &[String],
    (delimiter, header, text): (u8, RowAt, &str),
    notes: &mut Notes,
) -> Option<Tried> {
    /// So many jobs of other kinds are no slips.
    const FROM: usize = 3;
    if parts.len() < 2 {
        return None;
    }
    let at = parts.iter().position(|t| t.kind == RecordKind::Services)?;
    let services = parts.get_mut(at)?;
    let is_item = |m: &Meaning| m.column().is_some_and(|h| h.column == Column::Item);
    let cell = services.meanings.iter().position(is_item)?;
    if services.meanings.get(cell).is_some_and(is_canonical) {
        return None;
    }
    let (mut work, mut others) = (0, 0);
    rows_below(text, delimiter, header, &mut |rows| {
        let cell = plain(rows.cell(cell));
        if !is_no_value(cell) && !says_no_work(cell) {
            match work_named(cell).is_empty() {
                true => others += 1,
                false => work += 1,
            }
        }
    });
    if work > 0 || others < FROM {
        return None;
    }
    *services.meanings.get_mut(cell)? = Meaning::Extra;
    let told = headers.get(cell).map_or("", |header| plain(header));
    notes.file(
        Some(header.line),
        format!(
            "column \"{told}\" kept out: none of its cells names work on resin, membrane or filters"
        ),
    );
    Some(parts.remove(at))
}

/// Whether a sheet without a column of jobs tells of work in its notes, or in
/// columns that are ticked where something was changed.
fn tells_of_work(
    headers: &[String],
    services: &Tried,
    (delimiter, header, text): (u8, RowAt, &str),
    notes: &mut Notes,
) -> bool {
    let free = |header: &&String| job_headed(header).is_some();
    let is_ticked = headers.iter().any(|header| free(&header));
    let is_note = |m: &Meaning| m.column().is_some_and(|h| h.column == Column::Note);
    let Some(cell) = services.meanings.iter().position(is_note) else {
        return is_ticked;
    };
    let mut rows = Rows::new(text, delimiter);
    rows.quote = quote_of(text, delimiter);
    rows.rewind_behind(header);
    let mut is_told = false;
    let mut unclear: Vec<(u64, String)> = Vec::new();
    while let Some(at) = rows.next_row() {
        let remark = plain(rows.cell(cell));
        if !work_in(remark).is_empty() {
            is_told = true;
        } else if may_tell_of_work(remark) {
            unclear.push((at.line, remark.chars().take(60).collect()));
        }
    }
    for (line, remark) in unclear {
        notes.file(
            Some(line),
            format!("\"{remark}\" may tell of work, but not plainly: no service taken; write \"new resin\", \"filters changed\""),
        );
    }
    is_told || is_ticked
}

/// The work that a list of planned jobs says was done.
fn work_list(
    output: OwnOutput,
    (delimiter, header, headers): (u8, RowAt, Vec<String>),
    (text, file): (&str, &str),
    options: &super::Options,
    notes: &mut Notes,
) -> Result<Sheet, ReadError> {
    if output != OwnOutput::WorkList || options.done.is_none() {
        return Err(ReadError::OwnOutput {
            file: file.to_owned(),
            output,
        });
    }
    let ticked: Vec<usize> = (0..headers.len())
        .filter(|cell| headers.get(*cell).is_some_and(|h| own_output::is_tick(h)))
        .collect();
    let says_when = |cell: &&usize| headers.get(**cell).is_some_and(|h| is_day_done(h));
    let Some(when) = ticked.iter().find(says_when).or(ticked.first()).copied() else {
        return Err(ReadError::NoTicks {
            file: file.to_owned(),
            line: header.line,
        });
    };
    let meanings: Vec<Meaning> = headers
        .iter()
        .enumerate()
        .map(|(cell, header)| {
            if cell == when {
                Meaning::Column(Headed::of(Column::DoneAt))
            } else if ticked.contains(&cell) || own_output::is_planned(header) {
                Meaning::Extra
            } else {
                meaning(RecordKind::Services, header)
            }
        })
        .collect();
    let mut layout = Layout::new(RecordKind::Services, delimiter, header, headers);
    layout.quote = quote_of(text, delimiter);
    layout.ticked = ticked;
    let tried = Tried {
        kind: RecordKind::Services,
        meanings,
        score: 0,
        lacking: None,
    };
    settle(layout, vec![tried], text, file, notes)
}
