//! The quick way held against the careful one: the same rows, texts, reasons
//! and notes, whatever stands in the file.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use jiff::civil::date;
use jiff::tz::TimeZone;

use super::super::{Gathered, read_bytes};
use super::*;
use crate::ingest::FileReader;
use crate::store::packed::{Shelf, unpacked};
use crate::store::records::{FileRows, RowBatch};

fn options() -> Options {
    Options {
        date_order: None,
        time_zone: TimeZone::get("Europe/London").unwrap(),
        today: date(2026, 11, 25),
    }
}

/// The file by the quick way; `None` where it is left to the careful one.
fn quickly(bytes: &[u8]) -> Option<FileRows> {
    let mut shelf = Shelf::of_all_memory();
    let file = FileReader::of_bytes(bytes, "yard.csv", &options()).unwrap();
    let Ok(Gathered::Plain(plain)) = file.gather::<Failed>(&mut shelf) else {
        return None;
    };
    let head = plain.head();
    let mut all = RowBatch::default();
    let tail = plain.read(|mut batch| {
        all.rows.append(&mut batch.rows);
        all.set_aside.append(&mut batch.set_aside);
        Ok::<(), ReadError>(())
    });
    let tail = tail.unwrap()?;
    let (rows, style) = plain.into_packed();
    all.rows.extend(unpacked(&rows, &style, &tail.dialect));
    all.rows.sort_by_key(|(line, ..)| *line);
    Some(FileRows {
        name: head.name,
        sha256: head.sha256,
        bytes: head.bytes,
        rows: all.rows,
        set_aside: all.set_aside,
        notes: tail.notes,
        recognised: tail.recognised,
        dialect: tail.dialect,
    })
}

#[derive(Debug)]
struct Failed;

impl From<ReadError> for Failed {
    fn from(_: ReadError) -> Failed {
        Failed
    }
}

impl From<StoreError> for Failed {
    fn from(_: StoreError) -> Failed {
        Failed
    }
}

/// Holds both ways against each other; says whether the quick one was taken.
fn is_same(bytes: &[u8]) -> bool {
    let Some(quick) = quickly(bytes) else {
        return false;
    };
    let careful = read_bytes(bytes, "yard.csv", &options()).unwrap();
    let shown = String::from_utf8_lossy(bytes);
    assert_eq!(quick.rows.len(), careful.rows.len(), "{shown}");
    for (a, b) in quick.rows.iter().zip(&careful.rows) {
        assert_eq!(a, b, "{shown}");
    }
    assert_eq!(quick.set_aside, careful.set_aside, "{shown}");
    assert_eq!(quick.notes, careful.notes, "{shown}");
    assert_eq!(quick.recognised, careful.recognised, "{shown}");
    assert_eq!(quick.dialect, careful.dialect, "{shown}");
    assert_eq!(
        (quick.name, quick.sha256, quick.bytes),
        (careful.name, careful.sha256, careful.bytes)
    );
    true
}

const READINGS: &str = "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar,permeate_lpm,concentrate_lpm\n";
const FILLS: &str = "van,started_at,ended_at,postcode,litres,meter_litres,reject_litres,source\n";
const SERVICES: &str = "van,done_at,item,quantity,cost,part,note\n";

fn sample() -> Vec<String> {
    let mut files = vec![String::from(READINGS), FILLS.into(), SERVICES.into()];
    for n in 0..40 {
        let (van, day, hour) = (n % 7, n % 28 + 1, n % 24);
        files[0] += &format!(
            "QV-{van:03},2026-{:02}-{day:02}T{hour:02}:{:02},QA{},3{n},{}.{},{},1{}.5,4.{},2.{n},{}\n",
            n % 10 + 1,
            n % 60,
            n % 4 + 1,
            n % 9 + 1,
            n % 10,
            n % 3,
            n % 10,
            n % 10,
            n % 8,
        );
        files[1] += &format!(
            "QV-{van:03},2026-{:02}-{day:02}T{hour:02}:05,2026-{:02}-{day:02}T{hour:02}:4{},QA3 4XX,3{n},{},{},{}\n",
            n % 10 + 1,
            n % 10 + 1,
            n % 10,
            1000 + 317 * n,
            500 + n,
            if n % 9 == 0 { "bought_in" } else { "mains" },
        );
        files[2] += &format!(
            "QV-{van:03},2026-{:02}-{day:02},{},{},{}.{}0,part {},{}\n",
            n % 10 + 1,
            ["prefilter", "membrane", "resin", "flush"][n % 4],
            n % 3 + 1,
            n % 90,
            n % 10,
            n % 5,
            ["", "changed in the rain", "crème"][n % 3],
        );
    }
    files
}

#[test]
fn plain_files_are_read_the_quick_way_to_the_same_end() {
    for text in sample() {
        assert!(is_same(text.as_bytes()));
        assert!(is_same(text.replace('\n', "\r\n").as_bytes()));
        assert!(is_same(text.replace(',', ";").as_bytes()));
        assert!(is_same(text.replace(',', "\t").as_bytes()));
        assert!(is_same(format!("\u{feff}{text}").as_bytes()));
        assert!(is_same(text.trim_end().as_bytes()));
        assert!(is_same(format!("{text}\n\n  \n,,\n").as_bytes()));
        let bare = text.replace(":05", ":05:30").replace('T', " ");
        is_same(bare.as_bytes());
    }
    // nothing but odd rows, and no row at all
    assert!(is_same(format!("{FILLS}QV-1,x,,,,,,\n").as_bytes()));
    assert!(is_same(FILLS.as_bytes()));
}

#[test]
fn odd_rows_amid_plain_ones_go_the_careful_way() {
    let rows = [
        "QV-001,2026-03-29T01:30,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2025-10-26T01:30,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2025-10-26T02:30,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2026-03-01,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2026-03-01,QA3,301,9,0,12,4,2,3\n",
        "QV-001,2026-12-01T08:00,QA3,300,9,0,12,4,2,3\n",
        "QV-001,1999-12-01T08:00,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00Z,QA3,300,9,0,12,4,2,3\n",
        "QV-001,01/03/2026 08:00,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,300,900,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,999,9,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,0,9,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,qa3 4xy,300,9.50,0,0,0,2,3\n",
        "QV-001,2026-03-01T08:00,Quarrytown,300,9,0,50,90,200,3\n",
        "QV-O01,2026-03-01T08:00,QA3,300,9,0,12,4,2,3\n",
        "test,2026-03-01T08:00,QA3,300,9,0,12,4,2,3\n",
        "total,2026-03-01T08:00,QA3,300,9,0,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,300 uS,~9,<1,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,300,9,0,12,4,2\n",
        "QV-001,2026-03-01T08:00,QA3,300,9,0,12,4,2,3,,\n",
        "QV-001,2026-03-01T08:00,,,,,,,,\n",
        "QV-001,2026-03-01T08:00,QA3,123,12,1,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,1.250,1.5,1,12,4,2,3\n",
        "QV-001,2026-03-01T08:00,QA3,1234567890123,1.5,1,12,4,2,3\n",
        "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar,permeate_lpm,concentrate_lpm\n",
        "Total,,,12000,,,,,,\n",
        "notes below\n",
    ];
    let sample = sample().swap_remove(0);
    for row in rows {
        assert!(is_same(format!("{sample}{row}").as_bytes()), "{row}");
        let (start, end) = sample.split_at(sample.len() / 2);
        let cut = end.find('\n').unwrap() + 1;
        let amid = format!("{start}{}{row}{}", &end[..cut], &end[cut..]);
        assert!(is_same(amid.as_bytes()), "{row}");
    }
    let all = format!("{sample}{}", rows.concat());
    assert!(is_same(all.as_bytes()));
    // another table below, quote marks, a mended file: wholly the careful way
    let below = format!("{sample}{FILLS}QV-001,2026-03-01T08:00,,,300,,,mains\n");
    assert!(!is_same(below.as_bytes()));
    assert!(!is_same(format!("{sample}\"QV-001\",x\n").as_bytes()));
    assert!(!is_same(format!("set_aside_row,{sample}").as_bytes()));
}

/// The same numbers every time.
struct Chance(u64);

impl Chance {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % most.max(1) as u64) as usize
    }
}

const PIECES: [&str; 48] = [
    "0",
    "9",
    ".",
    ",",
    "-",
    " ",
    "T",
    "\"",
    "'",
    "\r",
    "\n",
    ";",
    "O",
    "é",
    "\0",
    "~",
    "x",
    "n/a",
    "12,5",
    "<1",
    "1e3",
    "2025-10-26T01:30",
    "2026-02-30T08:00",
    "QA3 4XY",
    "qa3",
    "same",
    "Total",
    "1.234",
    "00",
    ".5",
    "5.",
    "12.50",
    "-3",
    "tap",
    "depot",
    "RO + DI",
    "resin",
    "20000",
    "0.0",
    "2026-10-31 08:15",
    "2026-10-31T08:15:20",
    "31/10/2026",
    "QV-O1",
    "\t",
    "+",
    "999",
    "\u{a0}",
    "",
];

#[test]
fn files_changed_at_random_come_to_the_same_end_by_both_ways() {
    let samples = sample();
    let mut chance = Chance(0x5eed);
    let (mut quick, mut all) = (0, 0);
    let rounds = if cfg!(debug_assertions) { 700 } else { 3_000 };
    for _ in 0..rounds {
        let text = &samples[chance.below(3)];
        let mut lines: Vec<&str> = text.split_inclusive('\n').collect();
        let from = 1 + chance.below(30);
        lines.drain(from..from + chance.below(9));
        let mut bytes = lines.concat().into_bytes();
        if chance.below(6) == 0 {
            let delimiter = [b';', b'\t', b'|'][chance.below(3)];
            bytes
                .iter_mut()
                .for_each(|b| *b = if *b == b',' { delimiter } else { *b });
        }
        for _ in 0..1 + chance.below(3) {
            let header = lines[0].len();
            let at = match chance.below(12) {
                0 => chance.below(bytes.len()),
                _ => header + chance.below(bytes.len().saturating_sub(header)),
            };
            let end = (at + chance.below(6)).min(bytes.len());
            let piece = PIECES[chance.below(PIECES.len())];
            bytes.splice(at.min(end)..end, piece.bytes());
        }
        all += 1;
        quick += u32::from(is_same(&bytes));
    }
    assert!(quick * 2 > all, "{quick} of {all} were read the quick way");
}

#[test]
fn rows_of_several_blocks_are_those_of_the_whole_file() {
    let mut text = String::from(FILLS);
    let mut n = 0;
    while text.len() < 3 * BLOCK + 1234 {
        let van = n % 997;
        text += &format!(
            "QV-{van},2026-0{}-1{}T0{}:{:02},,QA3,{},{},,mains\n",
            n % 9 + 1,
            n % 10,
            n % 10,
            n % 60,
            100 + n % 300,
            n
        );
        if n % 5_000 == 7 {
            text += "QV-7,odd,,QA3,1,2,,mains\n\r\n";
        }
        n += 1;
    }
    assert!(is_same(text.as_bytes()));
}
