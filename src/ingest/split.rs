//! Text into rows and cells, with the physical line on which each row starts.

use super::quotes::{self, Ended, Marks, Unquoted};
use super::text::plain;

/// Rows below a quote mark never closed in which its fellow is looked for.
const LEFT_OPEN: u8 = 3;

/// Walks over the rows of a text; blank lines are no rows.
pub(super) struct Rows<'t> {
    text: &'t str,
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
    start: usize,
    end: usize,
}

impl<'t> Rows<'t> {
    pub fn new(text: &'t str, delimiter: u8) -> Self {
        Rows {
            text,
            delimiter,
            at: 0,
            line: 1,
            unquoted: Unquoted::default(),
            ends: Vec::new(),
            in_buffer: false,
            row_start: 0,
            cells: 0,
            widths: (0, 0),
            quote: b'"',
            is_misquoted: false,
            left_open: 0,
        }
    }

    /// Starts over behind a row.
    pub fn rewind_behind(&mut self, row: RowAt) {
        self.at = row.end;
        self.line = row.line + self.count_lines(row.start, row.end);
    }

    /// The next row that is not blank; its cells are then in [`Rows::cell`].
    pub fn next_row(&mut self) -> Option<RowAt> {
        loop {
            self.skip_line_ends();
            if self.at >= self.text.len() {
                return None;
            }
            let (start, line) = (self.at, self.line);
            let end = self.read(start);
            let row = RowAt { line, start, end };
            self.at = end;
            self.line += self.count_lines(start, end);
            if (0..self.cells).any(|i| !plain(self.cell(i)).is_empty()) {
                return Some(row);
            }
        }
    }

    /// The row as it stood in the file, without its line end.
    pub fn text_of(&self, row: RowAt) -> &'t str {
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
        let is_last = self.at >= self.text.len();
        is_last && !self.text.ends_with(['\n', '\r'])
    }

    fn skip_line_ends(&mut self) {
        while let Some(byte) = self.text.as_bytes().get(self.at) {
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

    /// Reads the record at `start` and says where it ends.
    fn read(&mut self, start: usize) -> usize {
        let was_open = self.left_open.checked_sub(1);
        self.left_open = was_open.unwrap_or(0);
        self.is_misquoted = false;
        let rest = self.text.as_bytes().get(start..).unwrap_or_default();
        let mark = memchr::memchr3(b'\n', b'\r', self.quote, rest).unwrap_or(rest.len());
        if rest.get(mark) != Some(&self.quote) {
            self.split_plain(start, start + mark);
            return start + mark;
        }
        let line = memchr::memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
        let marks = memchr::memchr_iter(self.quote, rest.get(..line).unwrap_or(rest)).count();
        let closes = was_open.is_some() && marks % 2 == 1;
        if let Ended::At(end) = self.read_quoted(rest) {
            let raw = rest.get(..end).unwrap_or_default();
            let is_row = if end > line {
                self.is_whole() && !self.holds_a_row(raw)
            } else {
                !closes
            };
            if is_row {
                return start + end;
            }
        }
        // a quote mark that was never closed must not swallow the rows below
        self.split_plain(start, start + line);
        self.is_misquoted = true;
        self.left_open = if closes || marks % 2 == 0 {
            0
        } else {
            LEFT_OPEN
        };
        start + line
    }

    /// Reads a record with quote marks into the buffer.
    fn read_quoted(&mut self, input: &[u8]) -> Ended {
        let marks = Marks {
            delimiter: self.delimiter,
            quote: self.quote,
        };
        self.in_buffer = true;
        let ended = quotes::record(input, marks, &mut self.unquoted);
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
    fn holds_a_row(&self, raw: &[u8]) -> bool {
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
}
