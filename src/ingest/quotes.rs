//! One record with quote marks in it: RFC 4180, blanks around quoted cells, and
//! marks escaped by a backslash, as programs write them.

/// Unquoted cells, one behind the other.
#[derive(Debug, Default)]
pub(super) struct Unquoted {
    pub bytes: Vec<u8>,
    /// Where each cell ends in `bytes`.
    pub ends: Vec<usize>,
}

/// How a record was found to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ended {
    /// Behind so many bytes, its line end not counted.
    At(usize),
    /// Nothing closes the last quote mark.
    Never,
    /// A mark stands where none may.
    Misquoted,
}

/// What separates the cells and what quotes them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Marks {
    pub delimiter: u8,
    pub quote: u8,
}

/// How far to look for a mark escaped by a backslash: a whole window for every
/// row of a file full of stray marks would take for ever.
const ESCAPES_WITHIN: usize = 4096;

/// Reads the record at the start of `input` into `cells`.
pub(super) fn record(input: &[u8], marks: Marks, cells: &mut Unquoted) -> Ended {
    let doubled = attempt(input, marks, false, cells);
    let start = input.get(..ESCAPES_WITHIN).unwrap_or(input);
    let escapes = || memchr::memmem::find(start, &[b'\\', marks.quote]).is_some();
    if matches!(doubled, Ended::At(_)) || !escapes() {
        return doubled;
    }
    match attempt(input, marks, true, cells) {
        Ended::At(end) => Ended::At(end),
        _ => doubled,
    }
}

fn attempt(input: &[u8], marks: Marks, backslash: bool, cells: &mut Unquoted) -> Ended {
    cells.bytes.clear();
    cells.ends.clear();
    let mut at = 0;
    // plain cells with a mark too many: two are a text cut by its own separator
    let mut odd = 0;
    loop {
        let opens = at + blanks(input, at);
        at = if input.get(opens) == Some(&marks.quote) {
            match quoted(input, opens + 1, marks.quote, backslash, &mut cells.bytes) {
                Some(behind) => behind + blanks(input, behind),
                None => return Ended::Never,
            }
        } else {
            let end = end_of_plain(input, at, marks.delimiter);
            let cell = input.get(at..end).unwrap_or_default();
            odd += memchr::memchr_iter(marks.quote, cell).count() % 2;
            cells.bytes.extend_from_slice(cell);
            end
        };
        cells.ends.push(cells.bytes.len());
        match input.get(at) {
            None | Some(b'\r' | b'\n') if odd > 1 => return Ended::Misquoted,
            None | Some(b'\r' | b'\n') => return Ended::At(at),
            Some(byte) if *byte == marks.delimiter => at += 1,
            Some(_) => return Ended::Misquoted,
        }
    }
}

/// Spaces from a place on: a tab may be the delimiter.
fn blanks(input: &[u8], at: usize) -> usize {
    let rest = input.get(at..).unwrap_or_default();
    rest.iter().take_while(|b| **b == b' ').count()
}

fn end_of_plain(input: &[u8], at: usize, delimiter: u8) -> usize {
    let rest = input.get(at..).unwrap_or_default();
    memchr::memchr3(delimiter, b'\r', b'\n', rest).map_or(input.len(), |end| at + end)
}

/// The inside of a quoted cell; gives the place behind its closing mark.
fn quoted(
    input: &[u8],
    mut at: usize,
    quote: u8,
    backslash: bool,
    into: &mut Vec<u8>,
) -> Option<usize> {
    loop {
        let byte = *input.get(at)?;
        let next = input.get(at + 1);
        if byte == quote {
            if next != Some(&quote) {
                return Some(at + 1);
            }
            at += 1;
        } else if backslash
            && byte == b'\\'
            && matches!(next, Some(b) if *b == quote || *b == b'\\')
        {
            at += 1;
        }
        into.push(*input.get(at)?);
        at += 1;
    }
}

/// The mark that quotes cells in a text: an apostrophe where no cell begins with
/// a double mark and as many apostrophes open a cell as close one.
pub(super) fn quote_of(text: &str, delimiter: u8) -> u8 {
    let bytes = text.as_bytes();
    let ends =
        |byte: Option<&u8>| byte.is_none_or(|b| *b == delimiter || matches!(b, b'\r' | b'\n'));
    let before = |at: usize| at.checked_sub(1).and_then(|i| bytes.get(i));
    let opens_double = memchr::memchr_iter(b'"', bytes).any(|at| ends(before(at)));
    if opens_double {
        return b'"';
    }
    let (mut opening, mut closing) = (0_u64, 0_u64);
    for at in memchr::memchr_iter(b'\'', bytes) {
        let next = bytes.get(at + 1);
        // a mark that keeps a spreadsheet from taking the cell for a formula
        let guards = matches!(next, Some(b'=' | b'+' | b'-' | b'@' | b'\''));
        opening += u64::from(ends(before(at)) && !guards);
        closing += u64::from(ends(next) && !ends(before(at)));
    }
    if opening > 0 && opening == closing {
        b'\''
    } else {
        b'"'
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: Marks = Marks {
        delimiter: b',',
        quote: b'"',
    };

    fn cells(input: &str) -> Result<Vec<String>, Ended> {
        let mut found = Unquoted::default();
        match record(input.as_bytes(), COMMA, &mut found) {
            Ended::At(_) => {
                let starts = std::iter::once(&0).chain(&found.ends);
                let ranges = starts.zip(&found.ends);
                let bytes = |(from, to): (&usize, &usize)| found.bytes.get(*from..*to);
                Ok(ranges
                    .filter_map(bytes)
                    .map(|b| String::from_utf8_lossy(b).into_owned())
                    .collect())
            }
            other => Err(other),
        }
    }

    fn is(input: &str, expected: &[&str]) {
        let expected: Vec<String> = expected.iter().map(|c| (*c).to_owned()).collect();
        assert_eq!(cells(input), Ok(expected), "{input}");
    }

    #[test]
    fn marks_are_undone_as_rfc_4180_says() {
        is("\"1,5\",\"say \"\"hi\"\"\"\nx", &["1,5", "say \"hi\""]);
        is("1,\"two\r\nlines\"\r\n", &["1", "two\r\nlines"]);
        is("a,4\" housing,\"\"", &["a", "4\" housing", ""]);
    }

    #[test]
    fn blanks_around_a_quoted_cell_are_no_part_of_it() {
        is("a, \"b, c\" , d", &["a", "b, c", " d"]);
    }

    #[test]
    fn a_backslash_escapes_where_doubling_makes_no_sense() {
        is("\"said \\\"no\\\"\",1", &["said \"no\"", "1"]);
        // a path that ends in a backslash is none
        is("\"C:\\\",1", &["C:\\", "1"]);
    }

    #[test]
    fn marks_that_do_not_match_are_told() {
        assert_eq!(cells("a,\"oops"), Err(Ended::Never));
        assert_eq!(cells("a,\"\"oops\""), Err(Ended::Misquoted));
        assert_eq!(cells("a,b\"c, d\""), Err(Ended::Misquoted));
    }

    #[test]
    fn apostrophes_quote_where_they_come_in_pairs() {
        assert_eq!(quote_of("a,'b, c',d\n", b','), b'\'');
        assert_eq!(quote_of("'a';'b'\n'1';'2'\n", b';'), b'\'');
        assert_eq!(quote_of("a,'tis fine,d\n", b','), b'"');
        assert_eq!(quote_of("a,\"b\",'c'\n", b','), b'"');
        assert_eq!(quote_of("a,'=1+1,'-x\nthe boys',\n", b','), b'"');
    }
}
