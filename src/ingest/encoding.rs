//! Bytes into text: byte-order marks, UTF-16, Windows-1252, stray NULs, and
//! files that are no text at all.

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::error::ReadError;

/// A file's text and how it was written.
#[derive(Debug)]
pub(super) struct Decoded<'a> {
    pub text: Cow<'a, str>,
    /// `None` for UTF-8, which goes without saying.
    pub encoding: Option<&'static str>,
    /// Characters dropped or not readable.
    pub lost: usize,
}

/// First bytes of files that people send by mistake.
const MAGIC: &[(&[u8], &str, bool)] = &[
    (b"\x1f\x8b", "a gzip archive", true),
    (b"BZh", "a bzip2 archive", true),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", true),
    (b"Rar!\x1a", "a rar archive", true),
    (b"\xfd7zXZ\0", "an xz archive", true),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", true),
    (b"%PDF", "a PDF", false),
    (b"\x89PNG", "a picture", false),
    (b"\xff\xd8\xff", "a picture", false),
    (b"GIF8", "a picture", false),
    (b"SQLite format 3\0", "a database", false),
    (b"PAR1", "a Parquet file", false),
    (b"{\\rtf", "a word-processor document", false),
];

/// The text of `bytes`, or why there is none.
pub(super) fn decode<'a>(bytes: &'a [u8], file: &str) -> Result<Decoded<'a>, ReadError> {
    refuse_what_is_no_text(bytes, file)?;
    let decoded = match Encoding::for_bom(bytes) {
        Some((encoding, mark)) => {
            let body = bytes.get(mark..).unwrap_or_default();
            if encoding == UTF_8 {
                unmarked(body, file)?
            } else {
                wide(body, encoding)
            }
        }
        None => unmarked(bytes, file)?,
    };
    if decoded.text.trim().is_empty() {
        return Err(ReadError::Empty {
            file: file.to_owned(),
        });
    }
    let start = decoded.text.trim_start().get(..9).unwrap_or_default();
    if ["<!doctype", "<html", "<table", "<?xml"]
        .iter()
        .any(|tag| start.to_ascii_lowercase().starts_with(tag))
    {
        return Err(not_text(file, "a web page or XML"));
    }
    Ok(decoded)
}

fn not_text(file: &str, what: &'static str) -> ReadError {
    ReadError::NotText {
        file: file.to_owned(),
        what,
    }
}

fn refuse_what_is_no_text(bytes: &[u8], file: &str) -> Result<(), ReadError> {
    let name = || file.to_owned();
    if bytes.is_empty() {
        return Err(ReadError::Empty { file: name() });
    }
    if bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1") {
        return Err(ReadError::Workbook { file: name() });
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        let inside = |part: &[u8]| memchr::memmem::find(bytes, part).is_some();
        return Err(if inside(b"xl/") || inside(b"opendocument.spreadsheet") {
            ReadError::Workbook { file: name() }
        } else {
            ReadError::Archive {
                file: name(),
                what: "a zip archive",
            }
        });
    }
    match MAGIC.iter().find(|(magic, _, _)| bytes.starts_with(magic)) {
        Some((_, what, true)) => Err(ReadError::Archive { file: name(), what }),
        Some((_, what, false)) => Err(not_text(file, what)),
        None => Ok(()),
    }
}

fn wide<'a>(bytes: &'a [u8], encoding: &'static Encoding) -> Decoded<'a> {
    let (text, _) = encoding.decode_without_bom_handling(bytes);
    let lost = text.matches('\u{fffd}').count() + text.matches('\0').count();
    let text = if text.contains('\0') {
        Cow::Owned(text.replace('\0', ""))
    } else {
        text
    };
    Decoded {
        text,
        encoding: Some(encoding.name()),
        lost,
    }
}

/// Text without a byte-order mark, or after that of UTF-8.
fn unmarked<'a>(bytes: &'a [u8], file: &str) -> Result<Decoded<'a>, ReadError> {
    let head = bytes.get(..4096).unwrap_or(bytes);
    let zeros = |odd: usize| {
        head.iter()
            .skip(odd)
            .step_by(2)
            .filter(|b| **b == 0)
            .count()
    };
    let (even, odd) = (zeros(0), zeros(1));
    // plain Latin text in UTF-16 has a zero in nearly every second place
    if odd * 5 > head.len() && even * 20 < head.len() {
        return Ok(wide(bytes, UTF_16LE));
    }
    if even * 5 > head.len() && odd * 20 < head.len() {
        return Ok(wide(bytes, UTF_16BE));
    }
    let strange = head
        .iter()
        .filter(|b| **b < 0x20 && !matches!(**b, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a))
        .count();
    if strange * 20 > head.len() {
        return Err(not_text(file, "a binary file"));
    }
    let nuls = memchr::memchr_iter(0, bytes).count();
    if nuls == 0 {
        return Ok(narrow(bytes));
    }
    let kept: Vec<u8> = bytes.iter().copied().filter(|b| *b != 0).collect();
    let decoded = narrow(&kept);
    Ok(Decoded {
        text: Cow::Owned(decoded.text.into_owned()),
        encoding: decoded.encoding,
        lost: decoded.lost + nuls,
    })
}

fn narrow(bytes: &[u8]) -> Decoded<'_> {
    if let Ok(text) = std::str::from_utf8(bytes) {
        return Decoded {
            text: Cow::Borrowed(text),
            encoding: None,
            lost: 0,
        };
    }
    // UTF-8 with a few spoilt bytes, or Windows-1252 throughout?
    let lossy = String::from_utf8_lossy(bytes);
    let spoilt = lossy.matches('\u{fffd}').count();
    let sound = lossy.chars().filter(|c| !c.is_ascii()).count() - spoilt;
    if sound > spoilt {
        return Decoded {
            text: lossy,
            encoding: None,
            lost: spoilt,
        };
    }
    let (text, _) = WINDOWS_1252.decode_without_bom_handling(bytes);
    Decoded {
        text,
        encoding: Some("Windows-1252"),
        lost: 0,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn text(bytes: &[u8]) -> (String, Option<&'static str>) {
        let decoded = decode(bytes, "x.csv").unwrap();
        (decoded.text.into_owned(), decoded.encoding)
    }

    fn utf16(text: &str, little: bool) -> Vec<u8> {
        text.encode_utf16()
            .flat_map(|u| {
                if little {
                    u.to_le_bytes()
                } else {
                    u.to_be_bytes()
                }
            })
            .collect()
    }

    #[test]
    fn byte_order_marks_are_no_part_of_the_text() {
        assert_eq!(text(b"\xef\xbb\xbfvan;x\n").0, "van;x\n");
        let mut le = vec![0xff, 0xfe];
        le.extend(utf16("van;°C\n", true));
        assert_eq!(text(&le), ("van;°C\n".to_owned(), Some("UTF-16LE")));
    }

    #[test]
    fn utf_16_without_a_mark_is_seen_from_its_zeros() {
        let row = "van;taken_at;feed_ppm\nQV-01;2026-10-31T08:15;320\n";
        assert_eq!(text(&utf16(row, true)), (row.to_owned(), Some("UTF-16LE")));
        assert_eq!(text(&utf16(row, false)), (row.to_owned(), Some("UTF-16BE")));
    }

    #[test]
    fn windows_1252_is_read_where_utf_8_does_not_fit() {
        assert_eq!(
            text(b"feed \xb5S/cm;\xb0C"),
            ("feed µS/cm;°C".to_owned(), Some("Windows-1252"))
        );
    }

    #[test]
    fn one_spoilt_byte_does_not_turn_utf_8_into_something_else() {
        let decoded = decode("°C °C µS °C \u{a3}".as_bytes(), "x").unwrap();
        assert_eq!(decoded.encoding, None);
        let mut bytes = "°C °C µS °C ".as_bytes().to_vec();
        bytes.push(0xb0);
        let decoded = decode(&bytes, "x").unwrap();
        assert_eq!((decoded.encoding, decoded.lost), (None, 1));
    }

    #[test]
    fn stray_nuls_are_dropped_and_counted() {
        let decoded = decode(b"van;taken_at;feed_ppm;note and more\nQV\0-01;2026", "x").unwrap();
        assert!(decoded.text.contains("QV-01"));
        assert_eq!(decoded.lost, 1);
    }

    #[test]
    fn a_workbook_says_how_to_save_it_as_csv() {
        let error = decode(b"PK\x03\x04....xl/workbook.xml", "fleet.xlsx").unwrap_err();
        assert!(matches!(error, ReadError::Workbook { .. }));
        assert!(
            error.to_string().contains("CSV (comma separated)"),
            "{error}"
        );
        assert!(matches!(
            decode(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0\0", "old.xls"),
            Err(ReadError::Workbook { .. })
        ));
    }

    #[test]
    fn archives_pictures_and_web_pages_are_named() {
        assert!(matches!(
            decode(b"PK\x03\x04abc", "a"),
            Err(ReadError::Archive { .. })
        ));
        assert!(matches!(
            decode(b"\x1f\x8b\x08", "a"),
            Err(ReadError::Archive { .. })
        ));
        assert!(matches!(
            decode(b"%PDF-1.7", "a"),
            Err(ReadError::NotText { .. })
        ));
        assert!(matches!(
            decode(b"\n<html><table>", "a"),
            Err(ReadError::NotText { .. })
        ));
        let noise: Vec<u8> = (0..2000u32).map(|i| (i * 7919 % 251) as u8).collect();
        assert!(matches!(
            decode(&noise, "a"),
            Err(ReadError::NotText { .. })
        ));
    }

    #[test]
    fn nothing_but_blanks_is_empty() {
        assert!(matches!(decode(b"", "a"), Err(ReadError::Empty { .. })));
        assert!(matches!(
            decode(b" \r\n\r\n", "a"),
            Err(ReadError::Empty { .. })
        ));
    }
}
