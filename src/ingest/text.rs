//! Folding of words: what people write in more than one way becomes one.

/// A header or word with case, accents, separators and plurals folded:
/// `After resin (µS/cm)` → `after resin us cm`, `Litres` → `litre`.
pub(super) fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            // UTF-8 that was once read as Windows-1252, or twice over
            'Â' | 'â' | 'Ã' | '‚'
                if matches!(
                    chars.peek(),
                    Some('µ' | 'μ' | '°' | '£' | '²' | '³' | 'º' | '‚' | 'Â')
                ) => {}
            // the same read as code page 437 or as Mac Roman
            '┬' | '¬' if matches!(chars.peek(), Some('╡' | '░' | '∞' | 'µ')) => {}
            '╡' => out.push('u'),
            '░' | '∞' => out.push('°'),
            // the micro sign of code page 850, read as Windows-1252
            'æ' | 'Æ' if matches!(chars.peek(), Some('S' | 's')) => out.push('u'),
            // what a program puts in the place of a sign that it does not have
            'ï' if starts_with(&mut chars, "¿½") => {
                out.push_str(sign_before(chars.peek().copied()));
            }
            '?' | '\u{fffd}' if !sign_before(chars.peek().copied()).is_empty() => {
                out.push_str(sign_before(chars.peek().copied()));
            }
            '℃' => out.push_str("°c"),
            '℉' => out.push_str("°f"),
            'µ' | 'μ' => out.push('u'),
            'º' | '˚' | '°' => out.push('°'),
            '³' => out.push('3'),
            '²' => out.push('2'),
            '£' | '€' | '$' | '%' => out.push(c),
            c if c.is_alphanumeric() => out.extend(c.to_lowercase().map(without_accent)),
            _ => out.push(' '),
        }
    }
    let mut words = String::with_capacity(out.len());
    for word in out.split_whitespace() {
        if !words.is_empty() {
            words.push(' ');
        }
        let singular = if word.len() > 3 {
            word.strip_suffix('s').unwrap_or(word)
        } else {
            word
        };
        words.push_str(singular);
    }
    words
}

/// Takes `rest` where it comes next.
fn starts_with(chars: &mut std::iter::Peekable<std::str::Chars<'_>>, rest: &str) -> bool {
    let mut ahead = chars.clone();
    if rest.chars().all(|c| ahead.next() == Some(c)) {
        *chars = ahead;
        return true;
    }
    false
}

/// The sign that was lost before a unit: `?S/cm`, `?C`.
fn sign_before(next: Option<char>) -> &'static str {
    match next {
        Some('S' | 's') => "u",
        Some('C' | 'F') => "°",
        _ => "",
    }
}

fn without_accent(c: char) -> char {
    match c {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => 'a',
        'ç' => 'c',
        'è' | 'é' | 'ê' | 'ë' => 'e',
        'ì' | 'í' | 'î' | 'ï' => 'i',
        'ñ' => 'n',
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => 'o',
        'ù' | 'ú' | 'û' | 'ü' => 'u',
        'ý' | 'ÿ' => 'y',
        c => c,
    }
}

/// The cell trimmed, and without the mark that keeps a spreadsheet from taking
/// it for a formula: `'=…` was `=…`. A text that really begins with `'=` is
/// exported as `''=…`, so one mark goes and the rest stays.
pub(super) fn plain(cell: &str) -> &str {
    // most cells hold nothing to take away
    let bytes = cell.as_bytes();
    if let (Some(first), Some(last)) = (bytes.first(), bytes.last())
        && first.is_ascii_alphanumeric()
        && last.is_ascii_alphanumeric()
    {
        return cell;
    }
    let cell = cell.trim_matches(is_blank);
    match cell.strip_prefix('\'') {
        Some(rest)
            if rest
                .trim_start_matches('\'')
                .starts_with(['=', '+', '-', '@', '\t', '\r']) =>
        {
            rest
        }
        _ => cell,
    }
}

/// White space, with the invisible characters that exports leave behind.
pub(super) fn is_blank(c: char) -> bool {
    c.is_whitespace()
        || matches!(
            c,
            '\u{feff}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2060}'
        )
}

/// Text as stored: trimmed, each run of white space one space.
pub(super) fn collapsed(text: &str) -> std::borrow::Cow<'_, str> {
    let tidy = !text.contains("  ") && text.chars().all(|c| c == ' ' || !is_blank(c));
    if tidy {
        text.trim().into()
    } else {
        text.split(is_blank)
            .filter(|word| !word.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
            .into()
    }
}

/// Characters that a terminal or a page obeys instead of showing them: control
/// characters, and those that turn the direction of writing.
fn is_obeyed(c: char) -> bool {
    (c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text of a file as it may be shown to people: what a terminal would obey is
/// a replacement character.
pub fn shown(text: &str) -> std::borrow::Cow<'_, str> {
    if text.contains(is_obeyed) {
        text.replace(is_obeyed, "\u{fffd}").into()
    } else {
        text.into()
    }
}

/// The text without such characters; `None` where it holds none.
pub(super) fn without_obeyed(text: &str) -> Option<String> {
    text.contains(is_obeyed)
        .then(|| text.replace(is_obeyed, ""))
}

fn starts_with_digit(cell: &str) -> bool {
    cell.as_bytes().first().is_some_and(u8::is_ascii_digit)
}

/// Whether the cell says that there is no value.
pub(super) fn is_no_value(cell: &str) -> bool {
    if starts_with_digit(cell) {
        return false;
    }
    matches!(cell, "" | "-" | "–" | "—" | "?" | ".")
        || (cell.len() <= 9
            && matches!(
                cell.to_ascii_lowercase().as_str(),
                "n/a"
                    | "na"
                    | "n.a."
                    | "nil"
                    | "none"
                    | "null"
                    | "blank"
                    | "unknown"
                    | "not read"
                    | "??"
            ))
}

/// Whether the cell points at another one instead of saying anything.
pub(super) fn is_ditto(cell: &str) -> bool {
    if starts_with_digit(cell) {
        return false;
    }
    matches!(cell, "\"" | "''" | "\"\"" | "〃" | "″" | "\u{201d}")
        || matches!(
            cell.to_ascii_lowercase().as_str(),
            "same" | "ditto" | "do." | "as above" | "same as above" | "as before"
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_fold_to_plain_words() {
        for (written, expected) in [
            ("After resin (µS/cm)", "after resin us cm"),
            ("After resin (Âµs/cm)", "after resin us cm"),
            ("after_resin ?S/cm", "after resin us cm"),
            ("Litres", "litre"),
            ("  Date/Time ", "date time"),
            ("T (°C)", "t °c"),
            ("Température", "temperature"),
            ("Temp (\u{fffd}C)", "temp °c"),
            ("Temp ?C", "temp °c"),
            ("Temp (ï¿½C)", "temp °c"),
            ("Temp (┬░C)", "temp °c"),
            ("Temp (℃)", "temp °c"),
            ("Feed Ã‚µS/cm", "feed us cm"),
            ("Feed ┬╡S/cm", "feed us cm"),
        ] {
            assert_eq!(folded(written), expected);
        }
    }

    #[test]
    fn a_cell_made_harmless_reads_back_as_it_was() {
        assert_eq!(plain("'=SUM(A1)"), "=SUM(A1)");
        assert_eq!(plain("''=x"), "'=x");
        assert_eq!(plain("'-5 bar valve"), "-5 bar valve");
        assert_eq!(plain("'tis fine"), "'tis fine");
        assert_eq!(plain(" \u{feff}QV-01 "), "QV-01");
    }

    #[test]
    fn white_space_is_collapsed() {
        assert_eq!(collapsed("QV  01"), "QV 01");
        assert_eq!(collapsed("two\nlines"), "two lines");
        assert_eq!(collapsed("QV-01"), "QV-01");
    }
}
