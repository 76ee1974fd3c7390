//! Bytes into text, block by block: byte-order marks, UTF-16, Windows-1252,
//! stray NULs, and files that are no text at all.

use std::io::{self, Read};

use encoding_rs::{Decoder, Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::error::ReadError;

/// Bytes read at a time.
const BLOCK: usize = 1 << 18;
/// Bytes at the start from which the encoding is told.
const HEAD: usize = 4096;

/// How a file's bytes are written, found in one pass over all of them.
#[derive(Debug, Clone)]
pub(super) struct Script {
    encoding: &'static Encoding,
    /// `None` for UTF-8, which goes without saying.
    pub told: Option<&'static str>,
    /// Characters dropped or not readable.
    pub lost: u64,
    /// Length of the byte-order mark.
    mark: usize,
}

impl Script {
    /// That of plain UTF-8.
    pub fn plain() -> Script {
        Script {
            encoding: UTF_8,
            told: None,
            lost: 0,
            mark: 0,
        }
    }

    /// The length of the byte-order mark of plain UTF-8; `None` where the bytes
    /// are written in any other way.
    pub fn plain_behind(&self) -> Option<usize> {
        (self.encoding == UTF_8 && self.lost == 0).then_some(self.mark)
    }
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

/// Reads through all of `bytes` to tell how they are written, or that they
/// are no text.
pub(super) fn script(mut bytes: impl Read, file: &str) -> Result<Script, ReadError> {
    let mut block = Vec::with_capacity(BLOCK);
    let unreadable = |source| ReadError::Unreadable {
        file: file.to_owned(),
        source,
    };
    next_block(&mut bytes, &mut block).map_err(unreadable)?;
    refuse_what_is_no_text(&block, &mut bytes, file)?;
    let (encoding, mark) = Encoding::for_bom(&block).unwrap_or((UTF_8, 0));
    let encoding = if encoding == UTF_8 {
        let body = block.get(mark..).unwrap_or_default();
        unmarked(body.get(..HEAD).unwrap_or(body), file)?
    } else {
        encoding
    };
    let mut tally = Tally::new(encoding);
    block.drain(..mark);
    loop {
        let is_last = block.is_empty();
        tally.add(&mut block, is_last);
        if is_last {
            break;
        }
        next_block(&mut bytes, &mut block).map_err(unreadable)?;
    }
    Ok(tally.script(mark))
}

/// Fills the block as far as there is anything to read.
fn next_block(bytes: &mut impl Read, block: &mut Vec<u8>) -> io::Result<()> {
    block.clear();
    bytes.take(BLOCK as u64).read_to_end(block)?;
    Ok(())
}

/// Counts what a first way of reading makes of the bytes.
struct Tally {
    encoding: &'static Encoding,
    decoder: Decoder,
    text: String,
    malformed: bool,
    spoilt: u64,
    beyond_ascii: u64,
    nuls: u64,
}

impl Tally {
    fn new(encoding: &'static Encoding) -> Tally {
        Tally {
            encoding,
            decoder: encoding.new_decoder_without_bom_handling(),
            text: String::new(),
            malformed: false,
            spoilt: 0,
            beyond_ascii: 0,
            nuls: 0,
        }
    }

    fn add(&mut self, block: &mut Vec<u8>, is_last: bool) {
        if self.encoding == UTF_8 {
            self.nuls += drop_nuls(block);
        }
        self.text.clear();
        self.malformed |= decode(&mut self.decoder, block, &mut self.text, is_last);
        if !self.text.is_ascii() {
            self.spoilt += self.text.matches('\u{fffd}').count() as u64;
            self.beyond_ascii += self.text.chars().filter(|c| !c.is_ascii()).count() as u64;
        }
        if self.encoding != UTF_8 {
            self.nuls += memchr::memchr_iter(0, self.text.as_bytes()).count() as u64;
        }
    }

    fn script(self, mark: usize) -> Script {
        let (encoding, told, spoilt) = if self.encoding != UTF_8 {
            (self.encoding, Some(self.encoding.name()), self.spoilt)
        } else if !self.malformed {
            (UTF_8, None, 0)
        } else if self.beyond_ascii - self.spoilt > self.spoilt {
            // UTF-8 with a few spoilt bytes
            (UTF_8, None, self.spoilt)
        } else {
            (WINDOWS_1252, Some("Windows-1252"), 0)
        };
        Script {
            encoding,
            told,
            lost: spoilt + self.nuls,
            mark,
        }
    }
}

fn drop_nuls(block: &mut Vec<u8>) -> u64 {
    let nuls = memchr::memchr_iter(0, block).count();
    if nuls > 0 {
        block.retain(|b| *b != 0);
    }
    nuls as u64
}

/// Appends the text of a block; says whether some of it was malformed.
fn decode(decoder: &mut Decoder, block: &[u8], text: &mut String, is_last: bool) -> bool {
    let most = decoder.max_utf8_buffer_length(block.len());
    text.reserve(most.unwrap_or(block.len() * 3 + 16));
    let (_, _, malformed) = decoder.decode_to_string(block, text, is_last);
    malformed
}

/// A file's text, block by block.
pub(super) struct TextBlocks<'s> {
    bytes: Box<dyn Read + 's>,
    decoder: Decoder,
    block: Vec<u8>,
    /// Bytes of the byte-order mark still to be skipped.
    mark: usize,
    is_wide: bool,
    at_end: bool,
}

impl<'s> TextBlocks<'s> {
    pub fn new(bytes: Box<dyn Read + 's>, script: &Script) -> TextBlocks<'s> {
        TextBlocks {
            bytes,
            decoder: script.encoding.new_decoder_without_bom_handling(),
            block: Vec::with_capacity(BLOCK),
            mark: script.mark,
            is_wide: script.encoding == UTF_16LE || script.encoding == UTF_16BE,
            at_end: false,
        }
    }

    /// Whether everything has been read.
    pub fn is_at_end(&self) -> bool {
        self.at_end
    }

    /// Appends the next block's text.
    pub fn read_more(&mut self, text: &mut String) -> io::Result<()> {
        if self.at_end {
            return Ok(());
        }
        next_block(&mut self.bytes, &mut self.block)?;
        self.at_end = self.block.is_empty();
        let mark = self.mark.min(self.block.len());
        self.block.drain(..mark);
        self.mark -= mark;
        if !self.is_wide {
            drop_nuls(&mut self.block);
        }
        let before = text.len();
        decode(&mut self.decoder, &self.block, text, self.at_end);
        let fresh = text.get(before..).unwrap_or_default();
        if self.is_wide && fresh.contains('\0') {
            let kept = fresh.replace('\0', "");
            text.truncate(before);
            text.push_str(&kept);
        }
        Ok(())
    }
}

/// All of a file's text; `None` where its bytes are none.
pub(super) fn text_of(bytes: &[u8], file: &str) -> Option<String> {
    let script = script(bytes, file).ok()?;
    let mut blocks = TextBlocks::new(Box::new(bytes), &script);
    let mut text = String::new();
    while !blocks.is_at_end() {
        blocks.read_more(&mut text).ok()?;
    }
    Some(text)
}

/// Refuses a text that holds nothing, or the text of something else.
/// `start`: the file's first characters, all of them where `is_whole`.
pub(super) fn refuse_what_is_no_table(
    start: &str,
    is_whole: bool,
    file: &str,
) -> Result<(), ReadError> {
    if is_whole && start.trim().is_empty() {
        return Err(ReadError::Empty {
            file: file.to_owned(),
        });
    }
    let start = start.trim_start().get(..9).unwrap_or_default();
    if ["<!doctype", "<html", "<table", "<?xml"]
        .iter()
        .any(|tag| start.to_ascii_lowercase().starts_with(tag))
    {
        return Err(not_text(file, "a web page or XML"));
    }
    Ok(())
}

fn not_text(file: &str, what: &'static str) -> ReadError {
    ReadError::NotText {
        file: file.to_owned(),
        what,
    }
}

/// `block`: the file's start; `rest`: what stands behind it.
fn refuse_what_is_no_text(block: &[u8], rest: &mut impl Read, file: &str) -> Result<(), ReadError> {
    let name = || file.to_owned();
    if block.is_empty() {
        return Err(ReadError::Empty { file: name() });
    }
    if block.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1") {
        return Err(ReadError::Workbook {
            file: name(),
            what: "an old or a locked workbook",
        });
    }
    if is_zip(block) {
        return Err(
            if holds(block, rest, &[b"Index/", b".iwa"]).unwrap_or(false) {
                ReadError::Workbook {
                    file: name(),
                    what: "a workbook of another program",
                }
            } else {
                ReadError::Archive {
                    file: name(),
                    what: "a zip archive",
                }
            },
        );
    }
    match MAGIC.iter().find(|(magic, _, _)| block.starts_with(magic)) {
        Some((_, what, true)) => Err(ReadError::Archive { file: name(), what }),
        Some((_, what, false)) => Err(not_text(file, what)),
        None => Ok(()),
    }
}

fn is_zip(block: &[u8]) -> bool {
    block.starts_with(b"PK\x03\x04") || block.starts_with(b"PK\x05\x06")
}

/// Whether a file is a zip archive with the folders of a workbook in it.
pub(super) fn is_workbook(mut bytes: impl Read) -> io::Result<bool> {
    let mut block = Vec::with_capacity(BLOCK);
    next_block(&mut bytes, &mut block)?;
    let signs: [&[u8]; 3] = [
        b"xl/workbook.xml",
        b"xl/worksheets",
        b"opendocument.spreadsheet",
    ];
    Ok(is_zip(&block) && holds(&block, &mut bytes, &signs)?)
}

/// Whether any of the signs stands in a file that begins with this block.
fn holds(block: &[u8], rest: &mut impl Read, signs: &[&[u8]]) -> io::Result<bool> {
    let mut seen = block.to_vec();
    loop {
        let has = |sign: &&[u8]| memchr::memmem::find(&seen, sign).is_some();
        if signs.iter().any(has) {
            return Ok(true);
        }
        // a sign may lie across two blocks
        let tail = seen.split_off(seen.len().saturating_sub(32));
        let mut next = Vec::with_capacity(BLOCK);
        next_block(rest, &mut next)?;
        if next.is_empty() {
            return Ok(false);
        }
        seen = tail;
        seen.append(&mut next);
    }
}

/// How text without a byte-order mark, or after that of UTF-8, is first read.
fn unmarked(head: &[u8], file: &str) -> Result<&'static Encoding, ReadError> {
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
        return Ok(UTF_16LE);
    }
    if even * 5 > head.len() && odd * 20 < head.len() {
        return Ok(UTF_16BE);
    }
    let strange = head
        .iter()
        .filter(|b| **b < 0x20 && !matches!(**b, b'\t' | b'\n' | b'\r' | 0x0b | 0x0c | 0x1a))
        .count();
    if strange * 20 > head.len() {
        return Err(not_text(file, "a binary file"));
    }
    Ok(UTF_8)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[derive(Debug)]
    struct Decoded {
        text: String,
        encoding: Option<&'static str>,
        lost: u64,
    }

    fn decode(bytes: &[u8], file: &str) -> Result<Decoded, ReadError> {
        let script = script(bytes, file)?;
        let mut blocks = TextBlocks::new(Box::new(bytes), &script);
        let mut text = String::new();
        while !blocks.is_at_end() {
            blocks.read_more(&mut text).unwrap();
        }
        refuse_what_is_no_table(&text, true, file)?;
        Ok(Decoded {
            text,
            encoding: script.told,
            lost: script.lost,
        })
    }

    fn text(bytes: &[u8]) -> (String, Option<&'static str>) {
        let decoded = decode(bytes, "x.csv").unwrap();
        (decoded.text, decoded.encoding)
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
    fn a_workbook_that_is_not_read_says_how_to_save_it() {
        let error = decode(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0\0", "old.xls").unwrap_err();
        assert!(matches!(error, ReadError::Workbook { .. }));
        assert!(error.to_string().contains(".xlsx"), "{error}");
        assert!(matches!(
            decode(b"PK\x03\x04....Index/Document.iwa", "log.zip"),
            Err(ReadError::Workbook { .. })
        ));
        assert!(is_workbook(&b"PK\x03\x04....xl/workbook.xml"[..]).unwrap());
        assert!(!is_workbook(&b"PK\x03\x04....a.csv"[..]).unwrap());
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

    #[test]
    fn a_character_across_two_blocks_stays_whole() {
        let row = "van;°C µS/cm\n";
        let long = row.repeat(BLOCK / row.len() + 9);
        for before in ["", "x", "xy"] {
            let whole = format!("{before}{long}");
            assert!(text(whole.as_bytes()) == (whole.clone(), None));
            for little in [true, false] {
                let (read, told) = text(&utf16(&whole, little));
                assert!(read == whole && told.is_some());
            }
        }
    }
}
