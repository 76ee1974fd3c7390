//! Text into rows and cells, with the physical line on which each row starts.
//! Only a window of the text is in memory: a row and what decides where it ends.

use std::borrow::Cow;

use super::encoding::TextBlocks;
use super::layout::Layout;
use super::quotes::{self, Ended, Marks, Unquoted};
use super::text::plain;

/// Bytes of the longest row that is read. A quote mark not closed within as
/// many was never meant to be one.
pub(super) const LONGEST_ROW: usize = 1 << 20;
/// Text held at least, unless the file ends: a row, and a look beyond it.
const AHEAD: usize = LONGEST_ROW + 16;
/// Text held once more has been read: several rows' worth, so that what is
/// left over is not moved for every block.
pub(super) const WINDOW: usize = 4 * AHEAD;
/// How far to look at least for a quote mark that closes another. Each time
/// that one was not found, half as far is looked for the next, or a file full
/// of stray marks would take for ever.
const LEAST_PATIENCE: usize = 1 << 11;
/// Bytes kept of the text of a row that is too long.
const KEPT_OF_TOO_LONG: usize = 4096;

/// Rows below a quote mark never closed in which its fellow is looked for.
const LEFT_OPEN: u8 = 3;

/// Walks over the rows of a text; blank lines are no rows.
pub(super) struct Rows<'t> {
    text: Cow<'t, str>,
    /// The text behind the window; `None` where the window is all of it.
    more: Option<TextBlocks<'t>>,
    failure: Option<std::io::Error>,
    delimiter: u8,
    at: usize,
    line: u64,
    /// Cells of a row with quote marks.
    unquoted: Unquoted,
    /// Where each cell ends in the text, unless `in_buffer`.
    ends: Vec<usize>,
    in_buffer: bool,
    row_start: usize,
    cells: usize,
    /// The start of the present row, where it is too long.
    too_long: String,
    /// How far to look for the end of a cell that runs over several lines.
    patience: usize,
    /// Fewest and most cells of a whole row; 0 while unknown. Tells a stray
    /// quote mark from a cell that really runs over several lines.
    pub widths: (usize, usize),
    /// What quotes cells: a double mark, or an apostrophe.
    pub quote: u8,
    is_misquoted: bool,
    /// For so many rows more, an odd mark may close the one left open above.
    left_open: u8,
}

/// Where a row stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RowAt {
    /// Physical line, from 1.
    pub line: u64,
    /// Longer than [`LONGEST_ROW`]: not split into cells.
    pub is_too_long: bool,
    /// In the window; for rows of the first window, in the text.
    start: usize,
    end: usize,
}

impl RowAt {
    /// The same row, so many lines further up in the file that its table was
    /// made of.
    pub fn above(self, lines: u64) -> RowAt {
        RowAt {
            line: self.line.saturating_sub(lines),
            ..self
        }
    }
}

impl<'t> Rows<'t> {
    pub fn new(text: &'t str, delimiter: u8) -> Self {
        Rows::of(Cow::Borrowed(text), None, delimiter)
    }

    /// Rows of a text that is read as it is needed.
    pub fn of_blocks(blocks: TextBlocks<'t>, delimiter: u8) -> Self {
        let window = String::with_capacity(WINDOW + AHEAD);
        let mut rows = Rows::of(Cow::Owned(window), Some(blocks), delimiter);
        rows.look_ahead();
        rows
    }

    fn of(text: Cow<'t, str>, more: Option<TextBlocks<'t>>, delimiter: u8) -> Self {
        Rows {
            text,
            more,
            failure: None,
            delimiter,
            at: 0,
            line: 1,
            unquoted: Unquoted::default(),
            ends: Vec::new(),
            in_buffer: false,
            row_start: 0,
            cells: 0,
            too_long: String::new(),
            patience: LONGEST_ROW,
            widths: (0, 0),
            quote: b'"',
            is_misquoted: false,
            left_open: 0,
        }
    }

    /// The one row of a text, which stands on this line of its file.
    pub fn of_line(text: &'t str, line: u64, layout: &Layout) -> Self {
        let mut rows = Rows::new(text, layout.delimiter);
        rows.line = line;
        rows.widths = (layout.width(), layout.headers.len());
        rows.quote = layout.quote;
        rows
    }

    /// The present place in the text, and its line.
    pub fn place(&self) -> (usize, u64) {
        (self.at, self.line)
    }

    /// The text begins on this line of its file.
    pub fn begin_on(&mut self, line: u64) {
        self.line = line;
    }

    /// Starts over behind a row of the first window.
    pub fn rewind_behind(&mut self, row: RowAt) {
        self.at = row.end;
        self.line = row.line + self.count_lines(row.start, row.end);
    }

    /// The window, and whether it is the whole text; otherwise it ends with a
    /// whole line, if there is one.
    pub fn into_first_window(self) -> (String, bool) {
        let is_whole = !self.goes_on() && self.failure.is_none();
        let mut text = self.text.into_owned();
        if !is_whole && let Some(end) = text.rfind(['\n', '\r']) {
            text.truncate(end + 1);
        }
        (text, is_whole)
    }

    /// Why the text ended early, if it could not be read to its end.
    pub fn failure(self) -> Option<std::io::Error> {
        self.failure
    }

    /// The text before the present place goes, what follows comes, so that a
    /// whole row and a look beyond it are in the window.
    fn look_ahead(&mut self) {
        let Some(more) = &mut self.more else { return };
        if more.is_at_end() || self.text.len() - self.at >= AHEAD {
            return;
        }
        let window = self.text.to_mut();
        window.drain(..self.at);
        self.at = 0;
        while window.len() < WINDOW && !more.is_at_end() {
            if let Err(error) = more.read_more(window) {
                self.failure = Some(error);
                self.more = None;
                return;
            }
        }
    }

    /// Whether the text goes on behind the window.
    fn goes_on(&self) -> bool {
        self.more.as_ref().is_some_and(|more| !more.is_at_end())
    }

    /// The next row that is not blank; its cells are then in [`Rows::cell`].
    pub fn next_row(&mut self) -> Option<RowAt> {
        loop {
            self.skip_line_ends();
            if self.at >= self.text.len() {
                return None;
            }
            self.look_ahead();
            let (start, line) = (self.at, self.line);
            let Some(end) = self.read(start) else {
                return Some(self.pass_over(start));
            };
            let row = RowAt {
                line,
                is_too_long: false,
                start,
                end,
            };
            self.at = end;
            self.line += self.count_lines(start, end);
            if (0..self.cells).any(|i| !plain(self.cell(i)).is_empty()) {
                return Some(row);
            }
        }
    }

    /// Goes to the end of a line that is too long, keeping its start.
    fn pass_over(&mut self, start: usize) -> RowAt {
        let text = self.text.get(start..).unwrap_or_default();
        let kept = text.floor_char_boundary(KEPT_OF_TOO_LONG);
        self.too_long = text.get(..kept).unwrap_or_default().to_owned();
        (self.in_buffer, self.cells) = (true, 0);
        (self.is_misquoted, self.left_open) = (false, 0);
        loop {
            let rest = self.text.as_bytes().get(self.at..).unwrap_or_default();
            if let Some(end) = memchr::memchr2(b'\n', b'\r', rest) {
                self.at += end;
                break;
            }
            self.at = self.text.len();
            if !self.goes_on() {
                break;
            }
            self.look_ahead();
        }
        RowAt {
            line: self.line,
            is_too_long: true,
            start: self.at,
            end: self.at,
        }
    }

    /// The row last read as it stood in the file, without its line end; only
    /// the start of one that is too long.
    pub fn text_of(&self, row: RowAt) -> &str {
        if row.is_too_long {
            return &self.too_long;
        }
        self.text
            .get(row.start..row.end)
            .unwrap_or_default()
            .trim_end_matches(['\r', '\n'])
    }

    /// Cells of the present row.
    pub fn len(&self) -> usize {
        self.cells
    }

    /// A cell of the present row as written; empty beyond the row's end.
    pub fn cell(&self, index: usize) -> &str {
        if index >= self.cells {
            return "";
        }
        let ends = if self.in_buffer {
            &self.unquoted.ends
        } else {
            &self.ends
        };
        let before = index.checked_sub(1).and_then(|i| ends.get(i)).copied();
        let end = ends.get(index).copied().unwrap_or(0);
        if self.in_buffer {
            let bytes = self.unquoted.bytes.get(before.unwrap_or(0)..end);
            std::str::from_utf8(bytes.unwrap_or_default()).unwrap_or_default()
        } else {
            // behind the delimiter, which is one byte
            let start = before.map_or(self.row_start, |end| end + 1);
            self.text.get(start..end).unwrap_or_default()
        }
    }

    /// Whether the quote marks of the present row do not match: its cells then
    /// hold them as they stand.
    pub fn is_misquoted(&self) -> bool {
        self.is_misquoted
    }

    /// Whether the text ends within the present row: there is no line end.
    pub fn is_cut_off(&self) -> bool {
        let is_last = self.at >= self.text.len() && !self.goes_on();
        is_last && !self.text.ends_with(['\n', '\r'])
    }

    fn skip_line_ends(&mut self) {
        loop {
            if self.at + 1 >= self.text.len() {
                self.look_ahead();
            }
            let Some(byte) = self.text.as_bytes().get(self.at) else {
                return;
            };
            match byte {
                b'\n' => self.line += 1,
                // a carriage return alone ends a line too
                b'\r' if self.text.as_bytes().get(self.at + 1) != Some(&b'\n') => self.line += 1,
                b'\r' => {}
                _ => return,
            }
            self.at += 1;
        }
    }

    /// Reads the record at `start` and says where it ends; `None` where that
    /// is too far away.
    fn read(&mut self, start: usize) -> Option<usize> {
        let was_open = self.left_open.checked_sub(1);
        self.left_open = was_open.unwrap_or(0);
        self.is_misquoted = false;
        let rest = self.text.as_bytes().get(start..).unwrap_or_default();
        let goes_on = rest.len() > LONGEST_ROW || self.goes_on();
        let rest = rest.get(..LONGEST_ROW).unwrap_or(rest);
        let mark = memchr::memchr3(b'\n', b'\r', self.quote, rest).unwrap_or(rest.len());
        let line = memchr::memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
        if line == rest.len() && goes_on {
            return None;
        }
        if rest.get(mark) != Some(&self.quote) {
            self.split_plain(start, start + mark);
            return Some(start + mark);
        }
        let marks = memchr::memchr_iter(self.quote, rest.get(..line).unwrap_or(rest)).count();
        let is_odd = marks % 2 == 1;
        let closes = was_open.is_some() && is_odd;
        let length = self.patience.max(line + 1).min(rest.len());
        let is_end = length == rest.len() && !goes_on;
        match self.read_quoted(start, length) {
            Ended::At(end) if end < length || is_end => {
                let is_row = if end > line {
                    self.is_whole() && !self.holds_a_row(start, end)
                } else {
                    !closes
                };
                if is_row {
                    return Some(start + end);
                }
            }
            Ended::Never => self.patience = (self.patience / 2).max(LEAST_PATIENCE),
            Ended::At(_) | Ended::Misquoted => {}
        }
        // a quote mark that was never closed must not swallow the rows below
        self.split_plain(start, start + line);
        self.is_misquoted = true;
        self.left_open = if is_odd && !closes { LEFT_OPEN } else { 0 };
        Some(start + line)
    }

    /// Reads a record of at most `length` bytes, with quote marks, into the buffer.
    fn read_quoted(&mut self, start: usize, length: usize) -> Ended {
        let marks = Marks {
            delimiter: self.delimiter,
            quote: self.quote,
        };
        let input = self.text.as_bytes().get(start..start + length);
        let ended = quotes::record(input.unwrap_or_default(), marks, &mut self.unquoted);
        self.in_buffer = true;
        self.cells = self.unquoted.ends.len();
        ended
    }

    /// Cells of a line without any quote mark: slices of the text.
    fn split_plain(&mut self, start: usize, end: usize) {
        (self.in_buffer, self.row_start, self.cells) = (false, start, 0);
        let line = self.text.as_bytes().get(start..end).unwrap_or_default();
        self.ends.clear();
        for (i, byte) in line.iter().enumerate() {
            if *byte == self.delimiter {
                self.ends.push(start + i);
            }
        }
        self.ends.push(end);
        self.cells = self.ends.len();
    }

    fn is_whole(&self) -> bool {
        let (fewest, most) = self.widths;
        // empty cells beyond the header's are what spreadsheets leave behind
        let beyond = |i: usize| !plain(self.cell(i)).is_empty();
        most == 0 || (self.cells >= fewest && !(most..self.cells).any(beyond))
    }

    /// Whether a line in the middle has as many separators as a whole row.
    fn holds_a_row(&self, start: usize, length: usize) -> bool {
        let raw = self.text.as_bytes().get(start..start + length);
        let raw = raw.unwrap_or_default();
        let lines: Vec<&[u8]> = raw.split(|b| matches!(b, b'\n' | b'\r')).collect();
        let inner = lines
            .get(1..lines.len().saturating_sub(1))
            .unwrap_or_default();
        let separators = |line: &&[u8]| memchr::memchr_iter(self.delimiter, line).count();
        let (fewest, most) = self.widths;
        fewest > 1
            && inner
                .iter()
                .any(|line| (fewest..=most).contains(&(separators(line) + 1)))
    }

    /// Line ends between two places of the text; `\r\n` counts once, at its `\n`.
    fn count_lines(&self, start: usize, end: usize) -> u64 {
        let bytes = self.text.as_bytes();
        let part = bytes.get(start..end).unwrap_or_default();
        let alone = memchr::memchr_iter(b'\r', part)
            .filter(|i| bytes.get(start + i + 1) != Some(&b'\n'))
            .count();
        (memchr::memchr_iter(b'\n', part).count() + alone) as u64
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::encoding::script;
    use super::*;

    fn rows(text: &str) -> Vec<(u64, Vec<String>, String)> {
        let mut rows = Rows::new(text, b',');
        let mut seen = Vec::new();
        while let Some(row) = rows.next_row() {
            if rows.widths.1 == 0 {
                rows.widths = (rows.len(), rows.len());
            }
            let cells = (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect();
            seen.push((row.line, cells, rows.text_of(row).to_owned()));
        }
        seen
    }

    fn lines(text: &str) -> Vec<u64> {
        rows(text).into_iter().map(|row| row.0).collect()
    }

    #[test]
    fn rows_carry_their_physical_start_line() {
        assert_eq!(lines("a,b\n1,2\n3,4"), [1, 2, 3]);
        assert_eq!(lines("a,b\r\n1,2\r\n\r\n3,4\r\n"), [1, 2, 4]);
        assert_eq!(lines("a,b\r1,2\r\r3,4\r"), [1, 2, 4]);
        assert_eq!(lines("\n\na,b\n\n1,2\n"), [3, 5]);
        assert_eq!(lines("a,b\r\n1,2\n3,4\r5,6"), [1, 2, 3, 4]);
    }

    #[test]
    fn a_cell_may_run_over_several_lines() {
        let seen = rows("a,b\n1,\"two\nlines\"\n3,4\n");
        assert_eq!(
            seen.get(1).map(|r| (r.0, r.1.join("|"))),
            Some((2, "1|two\nlines".into()))
        );
        assert_eq!(seen.get(2).map(|r| r.0), Some(4));
        let seen = rows("a,b\r\n1,\"two\r\nlines\"\r\n3,4\r\n");
        assert_eq!(seen.get(2).map(|r| r.0), Some(4));
    }

    #[test]
    fn blank_lines_are_not_rows() {
        assert_eq!(lines("a,b\n\n  \n,,\n1,2\n"), [1, 5]);
    }

    #[test]
    fn quotes_are_undone_as_rfc_4180_says() {
        let seen = rows("a,b\n\"1,5\",\"say \"\"hi\"\"\"\n");
        assert_eq!(
            seen.get(1).map(|r| r.1.join("|")),
            Some("1,5|say \"hi\"".into())
        );
        assert_eq!(
            seen.get(1).map(|r| r.2.clone()),
            Some("\"1,5\",\"say \"\"hi\"\"\"".into())
        );
    }

    #[test]
    fn a_quote_mark_never_closed_swallows_no_row() {
        let seen = rows("a,b\n1,\"oops\n2,3\n4,5\n");
        assert_eq!(seen.len(), 4);
        assert_eq!(seen.get(1).map(|r| r.1.join("|")), Some("1|\"oops".into()));
        // closed by the next stray mark, three rows below
        let seen = rows("a,b\n1,\"oops\n2,3\n4,\"x\n5,6\n");
        assert_eq!(seen.len(), 5);
    }

    #[test]
    fn long_cells_and_many_cells_fit() {
        let long = "x".repeat(5000);
        let many = vec!["y"; 300].join(",");
        let seen = rows(&format!("{long},b\n{many}\n"));
        assert_eq!(
            seen.first().and_then(|r| r.1.first().map(String::len)),
            Some(5000)
        );
        assert_eq!(seen.get(1).map(|r| r.1.len()), Some(300));
    }

    /// The rows of a text that comes in blocks.
    fn in_blocks(text: &str) -> Vec<(u64, bool, Vec<String>, String)> {
        let script = script(text.as_bytes(), "x").unwrap();
        let blocks = TextBlocks::new(Box::new(text.as_bytes()), &script);
        let mut rows = Rows::of_blocks(blocks, b',');
        rows.widths = (2, 2);
        let mut seen = Vec::new();
        while let Some(row) = rows.next_row() {
            let cells = (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect();
            let text = rows.text_of(row).to_owned();
            seen.push((row.line, row.is_too_long, cells, text));
        }
        assert!(rows.failure().is_none());
        seen
    }

    #[test]
    fn rows_read_in_blocks_are_those_of_the_whole_text() {
        // Lines of many lengths and all line ends, so that every kind of row
        // comes to lie across the end of a window.
        let mut text = String::from("a,b\n");
        let kinds = [
            "1,plain\n",
            "2,\"two\nlines\"\r\n",
            "3,\"say \"\"hi\"\"\"\r",
            "\n\r\n",
            "4,°C\n",
            "5,\"oops\n",
        ];
        let mut n = 0usize;
        while text.len() < 3 * WINDOW {
            text.push_str(&"x".repeat(n * 7919 % 400));
            text.push_str(kinds[n * 31 % kinds.len()]);
            n += 1;
        }
        let mut whole = Rows::new(&text, b',');
        whole.widths = (2, 2);
        let mut seen = in_blocks(&text).into_iter();
        while let Some(row) = whole.next_row() {
            let cells: Vec<_> = (0..whole.len()).map(|i| whole.cell(i).to_owned()).collect();
            let expected = (row.line, false, cells, whole.text_of(row).to_owned());
            assert_eq!(seen.next(), Some(expected));
        }
        assert_eq!(seen.next(), None);
    }

    #[test]
    fn a_line_too_long_is_passed_over_and_the_next_is_read() {
        for filler in ["x", "x,", "\"", "x\""] {
            let long = filler.repeat(3 * WINDOW / filler.len());
            let seen = in_blocks(&format!("a,b\n{long}\n3,4\r\n5,6"));
            let lines: Vec<_> = seen.iter().map(|row| (row.0, row.1)).collect();
            assert_eq!(lines, [(1, false), (2, true), (3, false), (4, false)]);
            assert_eq!(seen[1].3, long[..KEPT_OF_TOO_LONG]);
            assert_eq!(seen[3].2, ["5", "6"]);
        }
    }

    #[test]
    fn a_file_full_of_stray_quote_marks_is_read_in_reasonable_time() {
        let row = "x\"y,\"z\n";
        let text = row.repeat(400_000);
        let seen = in_blocks(&text);
        assert_eq!(seen.len(), 400_000);
        assert_eq!(seen[7].2, ["x\"y", "\"z"]);
    }
}
