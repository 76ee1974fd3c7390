//! Columns as Parquet pages, from small whole numbers that stand for their
//! values: each distinct value is looked at once. The framing is the library's.

use std::cell::RefCell;

use bytes::Bytes;
use parquet::basic::{Compression, Encoding, Type as PhysicalType, ZstdLevel};
use parquet::column::page::{CompressedPage, Page, PageWriter};
use parquet::column::writer::ColumnCloseResult;
use parquet::data_type::ByteArray;
use parquet::errors::ParquetError;
use parquet::file::metadata::ColumnChunkMetaData;
use parquet::file::statistics::Statistics;
use parquet::file::writer::{SerializedPageWriter, TrackedWrite};
use parquet::schema::types::ColumnDescPtr;
use zstd::bulk::Compressor;

/// Stands for a value that is not there.
pub(super) const NULL: u64 = u64::MAX;

/// A column of one row group: for each row a number that stands for its value,
/// the same for the same value.
pub(super) struct Column<'c> {
    pub(super) codes: Vec<u64>,
    pub(super) value: Box<dyn Fn(u64) -> Value<'c> + 'c>,
    pub(super) how: How,
}

/// How values are laid down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// Each distinct value once.
    Dictionary,
    /// As differences: whole numbers that mostly rise.
    Delta,
    /// The first bytes of all values together, then the second ones: reals that
    /// nearly all differ.
    Streams,
    /// One behind the other, nothing said about them: long texts.
    Plain,
}

/// A value of a column; all are of one kind.
#[derive(Debug, Clone, Copy)]
pub(super) enum Value<'v> {
    Real(f64),
    Whole(i64),
    Small(i32),
    Text(&'v str),
}

/// Rows and bytes of a page: small ones, so that some vans are read without
/// most of the others.
const PAGE_ROWS: usize = 1 << 14;
const PAGE_BYTES: usize = 1 << 20;

pub(super) const LEVEL: i32 = 1;

thread_local! {
    /// What compresses pages: costly to make, so each thread keeps one.
    static COMPRESSOR: RefCell<Option<Compressor<'static>>> = const { RefCell::new(None) };
}

fn compressed(bytes: &[u8]) -> Result<Bytes, ParquetError> {
    let failed = |e| ParquetError::External(Box::new(e));
    COMPRESSOR.with_borrow_mut(|kept| {
        let compressor = match kept {
            Some(compressor) => compressor,
            None => kept.insert(Compressor::new(LEVEL).map_err(failed)?),
        };
        compressor.compress(bytes).map(Bytes::from).map_err(failed)
    })
}

impl Column<'_> {
    /// The column's pages, and what is to be said of them.
    pub(super) fn encode(
        &self,
        of: &ColumnDescPtr,
    ) -> Result<(Bytes, ColumnCloseResult), ParquetError> {
        let mut pages = Pages::new();
        let statistics = match self.how {
            How::Dictionary => self.by_dictionary(&mut pages)?,
            How::Delta | How::Streams | How::Plain => self.by_value(&mut pages)?,
        };
        pages.finish(of, self.codes.len(), statistics)
    }

    fn by_dictionary(&self, pages: &mut Pages) -> Result<Option<Range>, ParquetError> {
        let mut distinct = Distinct::new();
        let mut places = Vec::with_capacity(self.codes.len());
        let mut last = (NULL, 0);
        for code in self.codes.iter().filter(|code| **code != NULL) {
            if last.0 != *code {
                last = (*code, distinct.place(*code));
            }
            places.push(last.1);
        }
        let (mut bytes, mut range) = (Vec::new(), Range::default());
        for code in &distinct.codes {
            let value = (self.value)(*code);
            value.plain(&mut bytes);
            range.add(value);
        }
        pages.dictionary(&bytes, distinct.codes.len())?;
        let width = width_of(distinct.codes.len().saturating_sub(1) as u64).max(1);
        let mut places = places.as_slice();
        for rows in self.codes.chunks(PAGE_ROWS) {
            let count = rows.iter().filter(|code| **code != NULL).count();
            let (own, rest) = places.split_at_checked(count).unwrap_or((places, &[]));
            places = rest;
            pages.page(Encoding::RLE_DICTIONARY, rows, |bytes| {
                bytes.push(u8::try_from(width).unwrap_or(u8::MAX));
                hybrid(own, width, bytes);
            })?;
        }
        Ok(Some(range))
    }

    fn by_value(&self, pages: &mut Pages) -> Result<Option<Range>, ParquetError> {
        let mut range = Range::default();
        let mut rest = self.codes.as_slice();
        while !rest.is_empty() {
            let (rows, behind) = rest.split_at(self.rows_of_page(rest));
            rest = behind;
            let own = rows.iter().filter(|code| **code != NULL);
            let values: Vec<Value<'_>> = own.map(|code| (self.value)(*code)).collect();
            let encoding = match self.how {
                How::Delta => Encoding::DELTA_BINARY_PACKED,
                How::Streams => Encoding::BYTE_STREAM_SPLIT,
                How::Plain | How::Dictionary => Encoding::PLAIN,
            };
            pages.page(encoding, rows, |bytes| match self.how {
                How::Delta => delta(values.iter().filter_map(|v| v.whole()), bytes),
                How::Streams => streams(&values, bytes),
                How::Plain | How::Dictionary => values.iter().for_each(|v| v.plain(bytes)),
            })?;
            if self.how != How::Plain {
                values.iter().for_each(|value| range.add(*value));
            }
        }
        Ok((self.how != How::Plain).then_some(range))
    }

    /// How many rows go on the next page; at least one.
    fn rows_of_page(&self, rows: &[u64]) -> usize {
        let most = rows.len().min(PAGE_ROWS);
        if self.how != How::Plain {
            return most;
        }
        let mut bytes = 0;
        for (n, code) in rows.iter().take(most).enumerate() {
            if *code != NULL
                && let Value::Text(text) = (self.value)(*code)
            {
                bytes += text.len();
                if bytes > PAGE_BYTES && n > 0 {
                    return n;
                }
            }
        }
        most
    }
}

impl Value<'_> {
    fn plain(self, bytes: &mut Vec<u8>) {
        match self {
            Value::Real(value) => bytes.extend_from_slice(&value.to_le_bytes()),
            Value::Whole(value) => bytes.extend_from_slice(&value.to_le_bytes()),
            Value::Small(value) => bytes.extend_from_slice(&value.to_le_bytes()),
            Value::Text(text) => {
                let length = u32::try_from(text.len()).unwrap_or(u32::MAX);
                bytes.extend_from_slice(&length.to_le_bytes());
                bytes.extend_from_slice(text.as_bytes());
            }
        }
    }

    fn whole(self) -> Option<i64> {
        match self {
            Value::Whole(value) => Some(value),
            Value::Small(value) => Some(i64::from(value)),
            Value::Real(_) | Value::Text(_) => None,
        }
    }
}

/// The least and the greatest value.
#[derive(Debug, Default)]
struct Range {
    real: Option<(f64, f64)>,
    whole: Option<(i64, i64)>,
    is_small: bool,
    text: Option<(Vec<u8>, Vec<u8>)>,
}

impl Range {
    fn add(&mut self, value: Value<'_>) {
        match value {
            Value::Real(value) => {
                let (least, most) = self.real.unwrap_or((value, value));
                self.real = Some((least.min(value), most.max(value)));
            }
            Value::Whole(_) | Value::Small(_) => {
                self.is_small = matches!(value, Value::Small(_));
                let value = value.whole().unwrap_or_default();
                let (least, most) = self.whole.unwrap_or((value, value));
                self.whole = Some((least.min(value), most.max(value)));
            }
            Value::Text(text) => {
                let text = text.as_bytes();
                match &mut self.text {
                    None => self.text = Some((text.to_vec(), text.to_vec())),
                    Some((least, _)) if text < least.as_slice() => *least = text.to_vec(),
                    Some((_, most)) if text > most.as_slice() => *most = text.to_vec(),
                    Some(_) => {}
                }
            }
        }
    }

    /// Without ends where there is no value at all: that too is worth knowing.
    fn statistics(self, nulls: u64, of: PhysicalType) -> Option<Statistics> {
        let nulls = Some(nulls);
        if let Some((least, most)) = self.real {
            // either zero may be meant by a zero
            let least = if least == 0.0 { -0.0 } else { least };
            let most = if most == 0.0 { 0.0 } else { most };
            return Some(Statistics::double(
                Some(least),
                Some(most),
                None,
                nulls,
                false,
            ));
        }
        if let Some((least, most)) = self.whole {
            let small = |value| i32::try_from(value).ok();
            return Some(match self.is_small {
                true => Statistics::int32(small(least), small(most), None, nulls, false),
                false => Statistics::int64(Some(least), Some(most), None, nulls, false),
            });
        }
        if let Some((least, most)) = self.text {
            let (least, most) = (ByteArray::from(least), ByteArray::from(most));
            let (least, most) = (Some(least), Some(most));
            return Some(Statistics::byte_array(least, most, None, nulls, false));
        }
        match of {
            PhysicalType::DOUBLE => Some(Statistics::double(None, None, None, nulls, false)),
            PhysicalType::INT32 => Some(Statistics::int32(None, None, None, nulls, false)),
            PhysicalType::INT64 => Some(Statistics::int64(None, None, None, nulls, false)),
            PhysicalType::BYTE_ARRAY => {
                Some(Statistics::byte_array(None, None, None, nulls, false))
            }
            _ => None,
        }
    }
}

/// Distinct numbers in the order in which they came.
struct Distinct {
    codes: Vec<u64>,
    /// Their places, at the hash of each or behind it; [`FREE`] where none is.
    slots: Vec<u32>,
}

const FREE: u32 = u32::MAX;

impl Distinct {
    fn new() -> Distinct {
        Distinct {
            codes: Vec::new(),
            slots: vec![FREE; 1 << 8],
        }
    }

    fn place(&mut self, code: u64) -> u32 {
        if self.codes.len() * 2 >= self.slots.len() {
            self.grow();
        }
        let next = u32::try_from(self.codes.len()).unwrap_or(FREE);
        match find(&mut self.slots, &self.codes, code) {
            Some(slot) if *slot == FREE => {
                *slot = next;
                self.codes.push(code);
                next
            }
            Some(slot) => *slot,
            None => FREE,
        }
    }

    fn grow(&mut self) {
        let mut slots = vec![FREE; self.slots.len() * 4];
        for (code, place) in self.codes.iter().zip(0..) {
            if let Some(slot) = find(&mut slots, &self.codes, *code) {
                *slot = place;
            }
        }
        self.slots = slots;
    }
}

/// The slot that holds the code's place, or the free one for it; there always is one.
fn find<'s>(slots: &'s mut [u32], codes: &[u64], code: u64) -> Option<&'s mut u32> {
    let mask = slots.len() - 1;
    let hash = code.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mut at = (hash >> 32) as usize & mask;
    loop {
        let place = *slots.get(at)?;
        if place == FREE || codes.get(place as usize) == Some(&code) {
            return slots.get_mut(at);
        }
        at = (at + 1) & mask;
    }
}

/// The pages of one column.
struct Pages {
    sink: TrackedWrite<Vec<u8>>,
    encodings: Vec<Encoding>,
    dictionary_at: Option<u64>,
    data_at: Option<u64>,
    uncompressed: u64,
    nulls: u64,
}

impl Pages {
    fn new() -> Self {
        Pages {
            sink: TrackedWrite::new(Vec::new()),
            encodings: vec![Encoding::PLAIN, Encoding::RLE],
            dictionary_at: None,
            data_at: None,
            uncompressed: 0,
            nulls: 0,
        }
    }

    fn write(&mut self, page: Page, uncompressed: usize) -> Result<u64, ParquetError> {
        let page = CompressedPage::new(page, uncompressed);
        let written = SerializedPageWriter::new(&mut self.sink).write_page(page)?;
        self.uncompressed += written.uncompressed_size as u64;
        Ok(written.offset)
    }

    fn dictionary(&mut self, bytes: &[u8], values: usize) -> Result<(), ParquetError> {
        let page = Page::DictionaryPage {
            buf: compressed(bytes)?,
            num_values: u32::try_from(values).unwrap_or(u32::MAX),
            encoding: Encoding::PLAIN,
            is_sorted: false,
        };
        self.dictionary_at = Some(self.write(page, bytes.len())?);
        Ok(())
    }

    /// `rows`: of this page; `values` writes those that are there.
    fn page(
        &mut self,
        encoding: Encoding,
        rows: &[u64],
        values: impl FnOnce(&mut Vec<u8>),
    ) -> Result<(), ParquetError> {
        let nulls = rows.iter().filter(|code| **code == NULL).count();
        self.nulls += nulls as u64;
        let mut bytes = vec![0; 4];
        if nulls == 0 && rows.len() >= 8 {
            // one run, as most columns have it
            varint((rows.len() as u64) << 1, &mut bytes);
            bytes.push(1);
        } else {
            let is_there: Vec<u32> = rows.iter().map(|code| u32::from(*code != NULL)).collect();
            hybrid(&is_there, 1, &mut bytes);
        }
        let levels = u32::try_from(bytes.len() - 4).unwrap_or(u32::MAX);
        if let Some(length) = bytes.first_chunk_mut() {
            *length = levels.to_le_bytes();
        }
        values(&mut bytes);
        let page = Page::DataPage {
            buf: compressed(&bytes)?,
            num_values: u32::try_from(rows.len()).unwrap_or(u32::MAX),
            encoding,
            def_level_encoding: Encoding::RLE,
            rep_level_encoding: Encoding::RLE,
            statistics: None,
        };
        let at = self.write(page, bytes.len())?;
        self.data_at.get_or_insert(at);
        if !self.encodings.contains(&encoding) {
            self.encodings.push(encoding);
        }
        Ok(())
    }

    fn finish(
        self,
        of: &ColumnDescPtr,
        rows: usize,
        range: Option<Range>,
    ) -> Result<(Bytes, ColumnCloseResult), ParquetError> {
        let bytes = Bytes::from(self.sink.into_inner()?);
        let signed = |n: u64| i64::try_from(n).unwrap_or(i64::MAX);
        let mut metadata = ColumnChunkMetaData::builder(of.clone())
            .set_encodings(self.encodings)
            .set_compression(Compression::ZSTD(ZstdLevel::try_new(LEVEL)?))
            .set_num_values(signed(rows as u64))
            .set_total_compressed_size(signed(bytes.len() as u64))
            .set_total_uncompressed_size(signed(self.uncompressed))
            .set_dictionary_page_offset(self.dictionary_at.map(signed))
            .set_data_page_offset(signed(self.data_at.unwrap_or_default()));
        let statistics = range.and_then(|range| range.statistics(self.nulls, of.physical_type()));
        if let Some(statistics) = statistics {
            metadata = metadata.set_statistics(statistics);
        }
        let close = ColumnCloseResult {
            bytes_written: bytes.len() as u64,
            rows_written: rows as u64,
            metadata: metadata.build()?,
            bloom_filter: None,
            column_index: None,
            offset_index: None,
        };
        Ok((bytes, close))
    }
}

/// Bits that the number takes.
fn width_of(number: u64) -> u32 {
    u64::BITS - number.leading_zeros()
}

/// Runs of eight and more equal numbers as one, all others bit behind bit.
fn hybrid(numbers: &[u32], width: u32, bytes: &mut Vec<u8>) {
    let (mut start, mut at) = (0, 0);
    while let Some(number) = numbers.get(at) {
        let rest = numbers.get(at..).unwrap_or_default();
        let run = rest.iter().take_while(|n| *n == number).count();
        // what stands bit behind bit comes in eights
        let fill = (8 - (at - start) % 8) % 8;
        if run >= fill + 8 {
            let end = at + fill;
            literal(numbers.get(start..end).unwrap_or_default(), width, bytes);
            varint(((run - fill) as u64) << 1, bytes);
            let number = number.to_le_bytes();
            let length = width.div_ceil(8) as usize;
            bytes.extend_from_slice(number.get(..length).unwrap_or(&number));
            start = at + run;
        }
        at += run;
    }
    literal(numbers.get(start..).unwrap_or_default(), width, bytes);
}

fn literal(numbers: &[u32], width: u32, bytes: &mut Vec<u8>) {
    if numbers.is_empty() {
        return;
    }
    let eights = numbers.len().div_ceil(8);
    varint((eights as u64) << 1 | 1, bytes);
    let end = bytes.len() + eights * width as usize;
    pack(numbers.iter().map(|n| u64::from(*n)), width, bytes);
    bytes.resize(end, 0);
}

/// Bit behind bit, the lowest first.
fn pack(numbers: impl Iterator<Item = u64>, width: u32, bytes: &mut Vec<u8>) {
    let (mut held, mut bits) = (0_u64, 0);
    for number in numbers {
        held |= number << bits;
        bits += width;
        if bits >= u64::BITS {
            bytes.extend_from_slice(&held.to_le_bytes());
            bits -= u64::BITS;
            // what of the number had no room any more
            held = number.unbounded_shr(width - bits);
        }
    }
    let last = held.to_le_bytes();
    let length = bits.div_ceil(8) as usize;
    bytes.extend_from_slice(last.get(..length).unwrap_or(&last));
}

fn varint(mut number: u64, bytes: &mut Vec<u8>) {
    while number > 0x7f {
        bytes.push(number as u8 | 0x80);
        number >>= 7;
    }
    bytes.push(number as u8);
}

fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)).cast_unsigned()
}

/// Differences in blocks of 128, each of four times 32 in as few bits as these
/// need.
fn delta(numbers: impl Iterator<Item = i64>, bytes: &mut Vec<u8>) {
    let numbers: Vec<i64> = numbers.collect();
    varint(128, bytes);
    varint(4, bytes);
    varint(numbers.len() as u64, bytes);
    varint(zigzag(numbers.first().copied().unwrap_or_default()), bytes);
    let steps: Vec<i64> = numbers
        .windows(2)
        .map(|pair| match pair {
            [a, b] => b.wrapping_sub(*a),
            _ => 0,
        })
        .collect();
    for block in steps.chunks(128) {
        let least = block.iter().min().copied().unwrap_or_default();
        varint(zigzag(least), bytes);
        let above = |step: &i64| step.wrapping_sub(least).cast_unsigned();
        let mut widths = [0; 4];
        for (width, part) in widths.iter_mut().zip(block.chunks(32)) {
            let most = part.iter().map(above).max().unwrap_or_default();
            *width = width_of(most);
        }
        bytes.extend(widths.iter().map(|width| *width as u8));
        for (width, part) in widths.iter().zip(block.chunks(32)) {
            let end = bytes.len() + 4 * *width as usize;
            pack(part.iter().map(above), *width, bytes);
            bytes.resize(end, 0);
        }
    }
}

/// Byte 0 of all reals, then byte 1, up to byte 7.
fn streams(values: &[Value<'_>], bytes: &mut Vec<u8>) {
    let real = |value: &Value<'_>| match value {
        Value::Real(value) => value.to_le_bytes(),
        _ => [0; 8],
    };
    let reals: Vec<[u8; 8]> = values.iter().map(real).collect();
    for at in 0..8 {
        bytes.extend(
            reals
                .iter()
                .map(|real| real.get(at).copied().unwrap_or_default()),
        );
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::indexing_slicing)]
    use arrow_array::Array;
    use arrow_array::cast::AsArray;
    use arrow_array::types::{Float64Type, Int32Type, Int64Type, TimestampMicrosecondType};

    use super::super::part::{self, ColumnsWriter};
    use super::super::schema::TableName;
    use super::*;

    /// What stands in a column of fills, row by row: some runs, some all
    /// different, some missing.
    fn code(column: usize, row: usize) -> u64 {
        let mixed = (row as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
        match column {
            0 => row as u64 / 1000 % 7,
            1 | 3 | 10 => 1_700_000_000_000_000 + mixed * 60,
            2 => NULL,
            4 if mixed.is_multiple_of(3) => NULL,
            4 => mixed % 300,
            5 => mixed,
            6 if row % 5000 < 200 => NULL,
            6 => mixed * 1_000,
            7 => u64::from(row % 70_000 > 69_000),
            8 => 3,
            9 => 77,
            11 => 5,
            _ if row.is_multiple_of(97) => row as u64,
            _ => NULL,
        }
    }

    fn column<'c>(at: usize, rows: usize, texts: &'c [String]) -> Column<'c> {
        let value: Box<dyn Fn(u64) -> Value<'c> + 'c> = match at {
            0 | 4 | 8 | 12 => Box::new(|code| Value::Text(&texts[code as usize])),
            1 | 3 | 9 | 10 | 11 => Box::new(|code| Value::Whole(code.cast_signed())),
            2 => Box::new(|_| Value::Small(0)),
            _ => Box::new(|code| Value::Real(code as f64 / 8.0)),
        };
        Column {
            codes: (0..rows).map(|row| code(at, row)).collect(),
            value,
            how: match at {
                10 => How::Delta,
                6 => How::Streams,
                12 => How::Plain,
                _ => How::Dictionary,
            },
        }
    }

    #[test]
    fn every_way_of_laying_down_is_read_back_by_the_library() {
        let folder = tempfile::tempdir().unwrap();
        let texts: Vec<String> = (0..200_000).map(|code| format!("text {code}")).collect();
        for rows in [1, 7, 8, 9, 127, 128, 129, 1000, 150_000] {
            let mut writer =
                ColumnsWriter::create(folder.path(), TableName::Fills, 1, None).unwrap();
            let column = |at: usize| column(at, rows, &texts);
            writer.write(rows, column).unwrap();
            writer.write(rows, column).unwrap();
            let part = writer.finish().unwrap();
            assert_eq!(part.rows, 2 * rows as u64);
            let mut row = 0;
            for batch in part::batches(&part.path, TableName::Fills, None).unwrap() {
                let batch = batch.unwrap();
                for i in 0..batch.num_rows() {
                    for at in 0..13 {
                        let array = batch.column(at);
                        let expected = code(at, row % rows);
                        if expected == NULL {
                            assert!(array.is_null(i), "{at} {row}");
                            continue;
                        }
                        assert!(array.is_valid(i), "{at} {row}");
                        match at {
                            0 | 4 | 8 => {
                                let names = array.as_dictionary::<Int32Type>();
                                let name = names.keys().value(i) as usize;
                                let name = names.values().as_string::<i32>().value(name);
                                assert_eq!(name, texts[expected as usize]);
                            }
                            12 => {
                                let found = array.as_string::<i32>().value(i);
                                assert_eq!(found, texts[expected as usize]);
                            }
                            1 | 3 | 11 => {
                                let times = array.as_primitive::<TimestampMicrosecondType>();
                                assert_eq!(times.value(i), expected.cast_signed());
                            }
                            9 | 10 => {
                                let wholes = array.as_primitive::<Int64Type>();
                                assert_eq!(wholes.value(i), expected.cast_signed());
                            }
                            _ => {
                                let reals = array.as_primitive::<Float64Type>();
                                assert_eq!(reals.value(i), expected as f64 / 8.0, "{at} {row}");
                            }
                        }
                    }
                    row += 1;
                }
            }
            assert_eq!(row, 2 * rows);
        }
    }
}
