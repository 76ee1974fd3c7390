//! What a whole file tells about its own habits: the decimal mark, the order of
//! day and month, day numbers, midnights.

use std::collections::BTreeMap;

use crate::calendar::Date;

use super::TankFills;
use super::columns::Column;
use super::dates::{DateOrder, WrittenDate, Zone, written};
use super::instants::DateHabits;
use super::layout::Layout;
use super::numbers::{DecimalMark, decimal_evidence};
use super::row::SmallLitres;
use super::sheet::Sheet;
use super::split::Rows;
use super::text::{is_no_value, plain};
use super::units::{Measure, Unit};

/// More tanks than anybody fills between two rows; fewer litres than any fill.
pub(super) const MOST_TANKS: f64 = 12.0;
/// So many short rows are a habit, fewer a slip.
const ENDS_EARLY_FROM: u64 = 3;

/// What rows read in bulk tell: days as numbers with the year first, decimal points.
#[derive(Debug, Default)]
pub(super) struct BulkEvidence {
    pub rows: u64,
    /// Rows whose last cell is empty.
    pub empty_ends: u64,
    pub has_points: bool,
    pub has_times: bool,
    /// Rows with litres that can be no count of tanks.
    pub fills: u64,
}

impl BulkEvidence {
    pub fn add(&mut self, more: &BulkEvidence) {
        self.rows += more.rows;
        self.empty_ends += more.empty_ends;
        self.has_points |= more.has_points;
        self.has_times |= more.has_times;
        self.fills += more.fills;
    }
}

/// Counts over all rows of a file.
#[derive(Debug, Default)]
pub(super) struct Evidence {
    points: u64,
    commas: u64,
    iso: u64,
    day_first: u64,
    month_first: u64,
    year_first: u64,
    /// Dates that fit several orders.
    open: u64,
    serials: u64,
    other_dates: u64,
    midnights: u64,
    other_times: u64,
    /// Dates with the month in letters.
    named_months: u64,
    /// Rows by their number of cells.
    lengths: BTreeMap<usize, u64>,
    /// Rows whose last cell is empty.
    empty_ends: u64,
    /// Rows with too few cells, and those of them without a date in its place.
    short: u64,
    short_undated: u64,
    /// Litres that are too few for a fill, and others.
    small: u64,
    fills: u64,
}

/// A figure without a unit and with no more than two decimals.
pub(super) fn bare_number(cell: &str) -> Option<f64> {
    let (whole, decimals) = cell.split_once(['.', ',']).unwrap_or((cell, ""));
    let are_digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let is_bare = !whole.is_empty() && are_digits(whole) && are_digits(decimals);
    (is_bare && decimals.len() <= 2)
        .then(|| format!("{whole}.{decimals}").parse().ok())
        .flatten()
}

/// Whether a bare figure of litres may be one of tanks: too few litres for a
/// fill, and no fraction of a tank that nobody tells from another.
pub(super) fn may_count_tanks(litres: f64) -> bool {
    litres <= MOST_TANKS && (litres >= 1.0 || (4.0 * litres).fract() == 0.0)
}

impl Evidence {
    /// Adds what some rows tell.
    pub fn add(&mut self, rows: &mut Rows<'_>, sheet: &Sheet, today: Date) {
        let evidence = self;
        let layout = sheet.main();
        let all = sheet.parts().flat_map(Layout::columns);
        let mut columns: Vec<(usize, Measure)> =
            all.map(|(column, cell)| (cell, column.measure())).collect();
        // what several kinds have in common counts once
        columns.sort_unstable_by_key(|(cell, _)| *cell);
        columns.dedup_by_key(|(cell, _)| *cell);
        let when = [Column::TakenAt, Column::StartedAt, Column::DoneAt];
        let cells = |part: &Layout| when.map(|column| part.cell_of(column));
        let when: Vec<usize> = sheet.parts().flat_map(cells).flatten().collect();
        let litres = sheet.parts().find_map(|part| {
            let is_own = part
                .unit_of(Column::Litres)
                .is_none_or(|unit| unit == Unit::Own);
            part.cell_of(Column::Litres).filter(|_| is_own)
        });
        while let Some(at) = rows.next_row() {
            if at.is_too_long {
                continue;
            }
            *evidence.lengths.entry(rows.len()).or_insert(0) += 1;
            let last = rows.len().saturating_sub(1);
            evidence.empty_ends += u64::from(plain(rows.cell(last)).is_empty());
            if (2..layout.width()).contains(&rows.len()) {
                let is_dated = when.iter().any(|cell| written(rows.cell(*cell)).is_ok());
                evidence.short += 1;
                evidence.short_undated += u64::from(!is_dated);
            }
            for (cell, measure) in &columns {
                match measure {
                    Measure::Text => {}
                    Measure::Date => evidence.date(rows.cell(*cell), today, when.contains(cell)),
                    _ => evidence.number(rows.cell(*cell)),
                }
            }
            if let Some(litres) = litres
                && let Some(litres) = bare_number(plain(rows.cell(litres)))
            {
                let is_small = may_count_tanks(litres);
                evidence.small += u64::from(is_small && litres > 0.0);
                evidence.fills += u64::from(!is_small && litres > 0.0);
            }
        }
    }

    /// Adds what rows of so many cells told that were read in bulk.
    pub fn add_bulk(&mut self, bulk: &BulkEvidence, cells: usize) {
        if bulk.rows == 0 {
            return;
        }
        *self.lengths.entry(cells).or_insert(0) += bulk.rows;
        self.empty_ends += bulk.empty_ends;
        self.points += u64::from(bulk.has_points);
        self.iso += bulk.rows;
        self.other_dates += bulk.rows;
        self.other_times += u64::from(bulk.has_times);
        self.fills += bulk.fills;
    }

    /// How many cells most rows have; as many as the header in case of doubt.
    pub fn usual_cells(&self, header: usize) -> usize {
        let lengths = self.lengths.iter();
        let most = lengths.max_by_key(|(cells, rows)| (**rows, **cells == header));
        most.map_or(0, |(cells, _)| *cells)
    }

    /// Whether the program that wrote the file leaves out empty cells at the end
    /// of a row: some rows are short, each has its date in its place, and none
    /// ends in an empty cell.
    pub fn ends_early(&self) -> bool {
        self.empty_ends == 0 && self.short >= ENDS_EARLY_FROM && self.short_undated == 0
    }

    fn number(&mut self, cell: &str) {
        let mut points = 0;
        let plain = cell.bytes().all(|b| {
            points += u8::from(b == b'.');
            b.is_ascii_digit() || b == b'.'
        });
        if plain && points == 0 {
            return;
        }
        // one digit or two behind the only point: decimals, without a closer look
        let bytes = cell.as_bytes();
        let from_end = |n: usize| bytes.len().checked_sub(n).and_then(|i| bytes.get(i));
        if plain
            && points == 1
            && bytes.len() > 3
            && [from_end(2), from_end(3)].contains(&Some(&b'.'))
        {
            self.points += 1;
            return;
        }
        match decimal_evidence(cell) {
            Some('.') => self.points += 1,
            Some(_) => self.commas += 1,
            None => {}
        }
    }

    fn date(&mut self, cell: &str, today: Date, is_when: bool) {
        if is_no_value(plain(cell)) {
            return;
        }
        let Ok(written) = written(cell) else { return };
        match written.date {
            WrittenDate::Serial(_) => self.serials += 1,
            WrittenDate::Missing => return,
            WrittenDate::Sure(_) => {
                let numeric = plain(cell)
                    .get(..4)
                    .is_some_and(|y| y.bytes().all(|b| b.is_ascii_digit()));
                self.iso += u64::from(numeric);
                self.named_months += u64::from(!numeric);
                self.other_dates += 1;
            }
            WrittenDate::Numbers(candidates) => {
                self.other_dates += 1;
                match candidates.plausible(today).settled().1 {
                    Some(DateOrder::DayFirst) => self.day_first += 1,
                    Some(DateOrder::MonthFirst) => self.month_first += 1,
                    Some(DateOrder::YearFirst) => self.year_first += 1,
                    None => self.open += 1,
                }
            }
        }
        let Some(time) = written.time.filter(|_| is_when) else {
            return;
        };
        let midnight = time.time == crate::calendar::Time::MIN;
        if midnight && !written.machine && written.zone == Zone::Local {
            self.midnights += 1;
        } else {
            self.other_times += 1;
        }
    }

    /// How litres are meant that fill no tank: where nearly all are so small,
    /// tanks may have been counted.
    pub fn small_litres(&self, said: Option<TankFills>) -> SmallLitres {
        match said {
            Some(TankFills::Litres) => SmallLitres::Litres,
            Some(TankFills::Tanks(litres)) => SmallLitres::Tanks(litres),
            None if self.small > 4 * self.fills => SmallLitres::Open,
            None => SmallLitres::Litres,
        }
    }

    /// Whether any number tells the decimal mark.
    pub fn tells_decimals(&self) -> bool {
        self.points + self.commas > 0
    }

    /// Whether midnights are times like others here.
    pub fn has_midnights(&self) -> bool {
        self.midnights > 0 && self.other_times > 0
    }

    pub fn decimal_mark(&self, delimiter: u8) -> DecimalMark {
        match (self.points > 0, self.commas > 0) {
            (true, false) => DecimalMark::Point,
            (false, true) => DecimalMark::Comma,
            (true, true) => DecimalMark::Unknown,
            (false, false) if delimiter == b',' => DecimalMark::PointByDelimiter,
            (false, false) => DecimalMark::Unknown,
        }
    }

    /// The order that the rows themselves settle; `None` where none do or they
    /// contradict one another.
    fn order(&self) -> Option<DateOrder> {
        match (
            self.day_first > 0,
            self.month_first > 0,
            self.year_first > 0,
        ) {
            (true, false, false) => Some(DateOrder::DayFirst),
            (false, true, false) => Some(DateOrder::MonthFirst),
            (false, false, true) => Some(DateOrder::YearFirst),
            _ => None,
        }
    }

    /// The order is what the rows settle, else what the header says, else what
    /// the user states.
    pub fn date_habits(
        &self,
        header: Option<DateOrder>,
        stated: Option<DateOrder>,
        today: Date,
    ) -> DateHabits {
        DateHabits {
            order: self.order().or(header).or(stated),
            serials: self.serials > 0 && self.other_dates == 0,
            midnight_is_none: self.midnights > 0 && self.other_times == 0,
            today,
        }
    }

    /// How many dates stay open between day first and month first, and whether
    /// the file contradicts itself.
    pub fn open_dates(&self, habits: &DateHabits) -> Option<(u64, bool)> {
        let contradicts = [self.day_first, self.month_first, self.year_first]
            .into_iter()
            .filter(|n| *n > 0)
            .count()
            > 1;
        (habits.order.is_none() && self.open > 0).then_some((self.open, contradicts))
    }

    /// The habits in words: `decimal comma, day first`.
    pub fn label(&self, habits: &DateHabits) -> Vec<&'static str> {
        let mut words = Vec::new();
        match (self.points > 0, self.commas > 0) {
            (true, false) => words.push("decimal point"),
            (false, true) => words.push("decimal comma"),
            (true, true) => words.push("decimal point and comma mixed"),
            (false, false) => {}
        }
        let numbers = self.day_first + self.month_first + self.year_first + self.open;
        if numbers > 0 {
            words.push(
                habits
                    .order
                    .map_or("day and month not settled", DateOrder::label),
            );
        } else if self.serials > 0 && habits.serials {
            words.push("spreadsheet day numbers");
        } else if self.iso > 0 {
            words.push("year-month-day dates");
        } else if self.named_months > 0 {
            words.push("months by name");
        }
        words
    }
}
