//! Vans summed up: each one's rows with their versions settled, oldest first.
//!
//! The step from rows to a summary looks at one van alone, so that any engine
//! can spread it over machines; the fleet is put together from summaries only.
//! On the way between processes a summary is one row of Arrow's own stream
//! format: the van's name and a list of its readings, fills and services.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::io::{BufReader, Read, Write};
use std::path::PathBuf;
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::types::Int64Type;
use arrow_array::{
    Array, ArrayRef, DictionaryArray, Int32Array, Int64Array, ListArray, RecordBatch, StringArray,
    StructArray, new_null_array,
};
use arrow_buffer::OffsetBuffer;
use arrow_ipc::reader::{FileReader, StreamReader};
use arrow_ipc::writer::{IpcWriteOptions, StreamWriter};
use arrow_ipc::{CompressionType, MetadataVersion};
use arrow_schema::{ArrowError, DataType, Field, Fields, Schema, SchemaRef};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use super::error::StoreError;
use super::field::Cells;
use super::in_force::Row;
use super::lineage::Place;
use super::names::VanNames;
use super::partition::RowBuilder;
use super::records::{History, RowCounts};
use super::schema::{FILE_ID, Fill, Kind, LINE, Moment, Reading, Service, TableName};
use super::snapshot::Snapshot;
use super::vans::{Gathered, VanChunks, name_of_van};

/// Says of a stream that it holds summaries, and of which layout.
const LAYOUT: (&str, &str) = ("litrewise.summaries", "1");
const VAN: &str = "van";
const STORED: &str = "rows_stored";
const ALREADY_STORED: &str = "rows_already_stored";
const OF_NO_VAN: &str = "rows_of_no_van";
/// Tells the kinds of rows apart where they come in one table.
const KIND: &str = "kind";
/// Vans in one batch of a stream.
const BATCH_VANS: usize = 64;
/// Rows of the store that are read at a time.
const ROWS_AT_ONCE: u64 = 500_000;

/// All vans that rows speak of, summed up.
#[derive(Debug, Clone, Default)]
pub(super) struct FleetSummary {
    /// Without their rows of the van list.
    pub(super) vans: Vec<History>,
    /// Set aside: rows of vans that the list does not know.
    pub(super) rows: RowCounts,
}

/// Where summaries or rows come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Input {
    StandardInput,
    File(PathBuf),
}

impl std::fmt::Display for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Input::StandardInput => f.write_str("standard input"),
            Input::File(path) => path.display().fmt(f),
        }
    }
}

impl Input {
    fn open(&self) -> Result<Box<dyn Read>, StoreError> {
        Ok(match self {
            Input::StandardInput => Box::new(BufReader::new(std::io::stdin())),
            Input::File(path) => Box::new(BufReader::new(
                File::open(path).map_err(|e| StoreError::io("read", path, e))?,
            )),
        })
    }

    fn wrong(&self, what: impl Into<String>) -> StoreError {
        StoreError::NoSummaries {
            from: self.to_string(),
            what: what.into(),
        }
    }
}

/// A kind's own columns but the van, as one struct.
fn fields_of(table: TableName) -> Fields {
    let written = table.written();
    let own = written.fields().iter().skip(1);
    own.take_while(|field| field.name() != FILE_ID)
        .cloned()
        .collect()
}

fn list_field(table: TableName) -> Field {
    let item = Field::new("item", DataType::Struct(fields_of(table)), true);
    Field::new(table.folder(), DataType::List(Arc::new(item)), true)
}

fn schema() -> SchemaRef {
    let fields = vec![
        Field::new(VAN, DataType::Utf8, true),
        list_field(TableName::Readings),
        list_field(TableName::Fills),
        list_field(TableName::Services),
        Field::new(STORED, DataType::Int64, true),
        Field::new(ALREADY_STORED, DataType::Int64, true),
        Field::new(OF_NO_VAN, DataType::Int64, true),
    ];
    let layout = HashMap::from([(LAYOUT.0.to_owned(), LAYOUT.1.to_owned())]);
    Arc::new(Schema::new_with_metadata(fields, layout))
}

/// Writes summaries as a stream, some vans at a time. The counts stand in a row
/// without a van.
struct Out<'o> {
    stream: StreamWriter<&'o mut dyn Write>,
    waiting: Vec<History>,
}

fn not_written(source: ArrowError) -> StoreError {
    StoreError::SummariesOut { source }
}

impl<'o> Out<'o> {
    fn new(out: &'o mut dyn Write) -> Result<Out<'o>, StoreError> {
        let options = IpcWriteOptions::try_new(64, false, MetadataVersion::V5)
            .and_then(|options| options.try_with_compression(Some(CompressionType::ZSTD)))
            .map_err(not_written)?;
        let stream = StreamWriter::try_new_with_options(out, &schema(), options);
        Ok(Out {
            stream: stream.map_err(not_written)?,
            waiting: Vec::new(),
        })
    }

    fn push(&mut self, van: History) -> Result<(), StoreError> {
        // A van of the list of which nothing was ever noted is in the list.
        if van.readings.is_empty() && van.fills.is_empty() && van.services.is_empty() {
            return Ok(());
        }
        self.waiting.push(van);
        if self.waiting.len() < BATCH_VANS {
            return Ok(());
        }
        self.write_waiting()
    }

    fn write_waiting(&mut self) -> Result<(), StoreError> {
        let vans = std::mem::take(&mut self.waiting);
        if vans.is_empty() {
            return Ok(());
        }
        let names: StringArray = vans.iter().map(|history| Some(&*history.van)).collect();
        let none = || Arc::new(Int64Array::from(vec![0; vans.len()])) as ArrayRef;
        self.write(vec![
            Arc::new(names),
            lists(&vans, |history| &history.readings).map_err(not_written)?,
            lists(&vans, |history| &history.fills).map_err(not_written)?,
            lists(&vans, |history| &history.services).map_err(not_written)?,
            none(),
            none(),
            none(),
        ])
    }

    fn write(&mut self, columns: Vec<ArrayRef>) -> Result<(), StoreError> {
        let batch = RecordBatch::try_new(schema(), columns).map_err(not_written)?;
        self.stream.write(&batch).map_err(not_written)
    }

    fn finish(mut self, counts: RowCounts) -> Result<(), StoreError> {
        self.write_waiting()?;
        let counts = [counts.stored, counts.already_stored, counts.set_aside];
        let [stored, already_stored, of_no_van] =
            counts.map(|n| Arc::new(Int64Array::from(vec![n.cast_signed()])) as ArrayRef);
        let none = |at: usize| new_null_array(schema().field(at).data_type(), 1);
        self.write(vec![
            none(0),
            none(1),
            none(2),
            none(3),
            stored,
            already_stored,
            of_no_van,
        ])?;
        self.stream.finish().map_err(not_written)
    }
}

/// Sums up the store's own vans.
pub(super) fn write_own(snapshot: &Snapshot, out: &mut dyn Write) -> Result<(), StoreError> {
    let mut chunks = VanChunks::new(snapshot, ROWS_AT_ONCE)?;
    let mut summaries = Out::new(out)?;
    for chunk in &mut chunks {
        for van in chunk? {
            summaries.push(van)?;
        }
    }
    summaries.finish(chunks.rows_of_vans())
}

/// Writes summaries of rows that were handed over.
pub(super) fn write(summary: FleetSummary, out: &mut dyn Write) -> Result<(), StoreError> {
    let mut summaries = Out::new(out)?;
    let counts = summary.rows;
    for van in summary.vans {
        summaries.push(van)?;
    }
    summaries.finish(counts)
}

fn lists<T: Kind>(
    vans: &[History],
    rows_of: impl Fn(&History) -> &Vec<T>,
) -> Result<ArrayRef, ArrowError> {
    let rows: Vec<&T> = vans.iter().flat_map(&rows_of).collect();
    let mut builder = RowBuilder::new(T::TABLE);
    let mut cells = Vec::new();
    for row in &rows {
        cells.clear();
        row.cells(&mut cells);
        builder.push(&cells, 0, None);
    }
    let batch = builder.take()?.batch;
    let fields = fields_of(T::TABLE);
    let arrays = batch.columns().iter().skip(1).take(fields.len()).cloned();
    let arrays = arrays.collect();
    let item = Field::new("item", DataType::Struct(fields.clone()), true);
    let lengths = OffsetBuffer::from_lengths(vans.iter().map(|van| rows_of(van).len()));
    let rows = StructArray::try_new_with_length(fields, arrays, None, rows.len())?;
    Ok(Arc::new(ListArray::try_new(
        Arc::new(item),
        lengths,
        Arc::new(rows),
        None,
    )?))
}

/// Reads summaries from streams; which van comes first makes no difference.
pub(super) fn read(sources: &[Input]) -> Result<FleetSummary, StoreError> {
    let mut all = FleetSummary::default();
    for source in sources {
        let wrong = |e: ArrowError| source.wrong(e.to_string());
        let stream = StreamReader::try_new(source.open()?, None).map_err(|_| {
            source.wrong("is no Arrow stream: write one with `litrewise summarise`")
        })?;
        let layout = stream.schema().metadata().get(LAYOUT.0).cloned();
        if layout.as_deref() != Some(LAYOUT.1) || stream.schema().fields() != schema().fields() {
            return Err(source.wrong(
                "holds no summaries of this litrewise: write them anew with `litrewise summarise`",
            ));
        }
        for batch in stream {
            read_batch(&batch.map_err(wrong)?, source, &mut all)?;
        }
    }
    let mut seen: Vec<&Arc<str>> = all.vans.iter().map(|history| &history.van).collect();
    seen.sort_unstable();
    if let Some(twice) = seen.windows(2).find(|pair| pair[0] == pair[1]) {
        let from = sources.iter().map(Input::to_string).collect::<Vec<_>>();
        return Err(StoreError::NoSummaries {
            from: from.join(", "),
            what: format!(
                "speaks of van \"{}\" twice: all rows of a van have to be summed up together",
                twice[0]
            ),
        });
    }
    Ok(all)
}

fn read_batch(batch: &RecordBatch, from: &Input, all: &mut FleetSummary) -> Result<(), StoreError> {
    let damaged = || from.wrong("is damaged: write it anew with `litrewise summarise`");
    let names = batch.column(0).as_string_opt::<i32>().ok_or_else(damaged)?;
    let first = all.vans.len();
    for name in names.iter().flatten() {
        all.vans.push(History {
            van: name.into(),
            ..History::default()
        });
    }
    let vans = all.vans.get_mut(first..).unwrap_or_default();
    // The row of the counts comes last, in a batch of its own.
    if vans.len() == batch.num_rows() {
        fill_in(batch, 1, from, vans, |history| &mut history.readings)?;
        fill_in(batch, 2, from, vans, |history| &mut history.fills)?;
        fill_in(batch, 3, from, vans, |history| &mut history.services)?;
    } else if !vans.is_empty() {
        return Err(damaged());
    }
    for (at, sum) in [
        (4, &mut all.rows.stored),
        (5, &mut all.rows.already_stored),
        (6, &mut all.rows.set_aside),
    ] {
        let counts = batch
            .column(at)
            .as_primitive_opt::<Int64Type>()
            .ok_or_else(damaged)?;
        *sum += counts.iter().flatten().map(i64::cast_unsigned).sum::<u64>();
    }
    Ok(())
}

fn fill_in<T: Kind>(
    batch: &RecordBatch,
    at: usize,
    from: &Input,
    vans: &mut [History],
    rows_of: impl Fn(&mut History) -> &mut Vec<T>,
) -> Result<(), StoreError> {
    let damaged = || from.wrong("is damaged: write it anew with `litrewise summarise`");
    let lists = batch.column(at).as_list_opt::<i32>().ok_or_else(damaged)?;
    let rows = lists.values().as_struct_opt().ok_or_else(damaged)?;
    let offsets = lists.value_offsets();
    let whose: Vec<i32> = (0i32..)
        .zip(offsets.windows(2))
        .flat_map(|(van, ends)| {
            let count = usize::try_from(ends[1] - ends[0]).unwrap_or(0);
            std::iter::repeat_n(van, count)
        })
        .collect();
    let begin = offsets.first().copied().unwrap_or(0);
    let begin = usize::try_from(begin).unwrap_or(0);
    let names: StringArray = vans.iter().map(|history| Some(&*history.van)).collect();
    let van = DictionaryArray::try_new(Int32Array::from(whose), Arc::new(names))
        .map_err(|e| from.wrong(e.to_string()))?;
    let mut columns: Vec<(String, ArrayRef)> = vec![(VAN.to_owned(), Arc::new(van))];
    let count = columns.first().map_or(0, |(_, van)| van.len());
    for (field, values) in rows.fields().iter().zip(rows.columns()) {
        let values = values.slice(begin, count.min(values.len() - begin));
        columns.push((field.name().clone(), values));
    }
    let opened = open::<T>(&columns, from)?;
    let mut row = 0;
    for (history, ends) in vans.iter_mut().zip(offsets.windows(2)) {
        let count = usize::try_from(ends[1] - ends[0]).unwrap_or(0);
        let into = rows_of(history);
        into.reserve_exact(count);
        for _ in 0..count {
            into.push(T::get(&opened, row).ok_or_else(damaged)?);
            row += 1;
        }
    }
    Ok(())
}

/// Columns of any width and encoding as the kind reads them; what is missing
/// is empty.
fn open<T: Kind>(columns: &[(String, ArrayRef)], from: &Input) -> Result<Vec<Cells>, StoreError> {
    let wanted = T::TABLE.written();
    let own = wanted.fields().iter().take(T::COLUMNS.len());
    let cells = own.map(|field| {
        let found = columns.iter().find(|(name, _)| name == field.name());
        let Some((name, column)) = found else {
            return Ok(Cells::Missing);
        };
        let unreadable = |why: String| {
            from.wrong(format!(
                "has a column \"{name}\" that cannot be read: {why}"
            ))
        };
        let is_cast = column.data_type() != field.data_type();
        let cast = match is_cast {
            true => arrow_cast::cast(column, field.data_type()),
            false => Ok(column.clone()),
        };
        let cast = cast.map_err(|e| unreadable(e.to_string()))?;
        Cells::of_array(&cast).ok_or_else(|| unreadable("of another type".to_owned()))
    });
    cells.collect()
}

/// A van, and how often which name of it is written.
type Spelt = (Arc<str>, BTreeMap<Arc<str>, u64>);

/// Rows of whole vans, from tables of the store put below one another, those
/// that are not in force included.
struct Gathering<'s> {
    snapshot: &'s Snapshot,
    names: &'s VanNames,
    /// The numbers of the vans, and how often which name of each is written.
    numbers: HashMap<Arc<str>, u32>,
    spellings: Vec<Spelt>,
    of_no_van: u64,
}

/// Sums up rows that another engine hands over: readings, fills and services
/// in one table, told apart by the column `kind`, all rows of a van together.
pub(super) fn of_rows(
    sources: &[Input],
    snapshot: &Snapshot,
    names: &VanNames,
) -> Result<FleetSummary, StoreError> {
    let mut gathering = Gathering {
        snapshot,
        names,
        numbers: HashMap::new(),
        spellings: Vec::new(),
        of_no_van: 0,
    };
    let [mut readings, mut fills, mut services] = [(); 3].map(|()| Gathered::default());
    for source in sources {
        for_each_batch(source, |batch| {
            gathering.take::<Reading>(batch, source, &mut readings)?;
            gathering.take::<Fill>(batch, source, &mut fills)?;
            gathering.take::<Service>(batch, source, &mut services)
        })?;
    }
    let vans = gathering.spellings.into_iter();
    let mut vans: Vec<History> = vans
        .map(|(identity, spelt)| History {
            van: name_of_van(identity, spelt, names),
            ..History::default()
        })
        .collect();
    let mut summary = FleetSummary::default();
    settle(readings, &mut vans, &mut summary.rows, |van| {
        &mut van.readings
    })?;
    settle(fills, &mut vans, &mut summary.rows, |van| &mut van.fills)?;
    settle(services, &mut vans, &mut summary.rows, |van| {
        &mut van.services
    })?;
    summary.rows.set_aside = gathering.of_no_van;
    summary.vans = vans;
    summary.vans.sort_by(|a, b| a.van.cmp(&b.van));
    Ok(summary)
}

/// Settles the versions of every van's records of one kind.
fn settle<T: Kind>(
    rows: Gathered,
    vans: &mut [History],
    counts: &mut RowCounts,
    of_van: impl Fn(&mut History) -> &mut Vec<T>,
) -> Result<(), StoreError> {
    let names: Vec<Arc<str>> = vans.iter().map(|van| van.van.clone()).collect();
    let name = |van: u32| {
        names
            .get(van as usize)
            .cloned()
            .unwrap_or_else(|| "".into())
    };
    for (van, records) in rows.current::<T>(name, counts)? {
        if let Some(van) = vans.get_mut(van as usize) {
            *of_van(van) = records;
        }
    }
    Ok(())
}

impl Gathering<'_> {
    fn take<T: Kind>(
        &mut self,
        batch: &RecordBatch,
        from: &Input,
        into: &mut Gathered,
    ) -> Result<(), StoreError> {
        let missing = |column: &str| from.wrong(format!("has no column \"{column}\""));
        let column = |name: &str| batch.column_by_name(name).ok_or_else(|| missing(name));
        let kinds = arrow_cast::cast(column(KIND)?, &DataType::Utf8)
            .map_err(|e| from.wrong(e.to_string()))?;
        let kinds = kinds.as_string_opt::<i32>().ok_or_else(|| missing(KIND))?;
        let is_ours = |row: usize| kinds.is_valid(row) && kinds.value(row) == T::TABLE.folder();
        if !(0..batch.num_rows()).any(is_ours) {
            return Ok(());
        }
        for name in [VAN, FILE_ID, LINE] {
            column(name)?;
        }
        let columns: Vec<(String, ArrayRef)> = batch
            .schema()
            .fields()
            .iter()
            .zip(batch.columns())
            .map(|(field, column)| (field.name().clone(), column.clone()))
            .collect();
        let opened = open::<T>(&columns, from)?;
        let whole = |name: &str| {
            let cast = arrow_cast::cast(column(name)?, &DataType::Int64);
            let cast = cast.map_err(|e| from.wrong(e.to_string()))?;
            Cells::of_array(&cast).ok_or_else(|| missing(name))
        };
        let (file_ids, lines) = (whole(FILE_ID)?, whole(LINE)?);
        let lacks = || from.wrong("holds a row that lacks a value that every row has");
        let at = u32::try_from(into.tables.len()).unwrap_or(u32::MAX);
        for row in (0..batch.num_rows()).filter(|row| is_ours(*row)) {
            let stored = Place {
                file_id: file_ids.count(row).ok_or_else(lacks)?,
                line: lines.count(row).ok_or_else(lacks)?,
            };
            if !self.snapshot.files.is_finished(stored.file_id) {
                continue;
            }
            let van = opened
                .first()
                .and_then(|vans| vans.name(row))
                .ok_or_else(lacks)?;
            let moment = Moment::of(T::TABLE, &opened, row).ok_or_else(lacks)?;
            self.snapshot
                .view
                .owners(stored, moment.mark(T::TABLE), |owner| {
                    let Some(who) =
                        number_of(self.names, van, &mut self.numbers, &mut self.spellings)
                    else {
                        self.of_no_van += 1;
                        return;
                    };
                    into.rows.push(Row {
                        who,
                        moment,
                        owner,
                        table: at,
                        row: u32::try_from(row).unwrap_or(u32::MAX),
                    });
                });
        }
        into.tables.push(opened);
        Ok(())
    }
}

/// The number of the van of that name, which is written once more.
fn number_of(
    names: &VanNames,
    name: &Arc<str>,
    numbers: &mut HashMap<Arc<str>, u32>,
    spellings: &mut Vec<Spelt>,
) -> Option<u32> {
    let identity = names.identity(name).ok()?;
    let next = u32::try_from(spellings.len()).unwrap_or(u32::MAX);
    let number = *numbers.entry(identity.clone()).or_insert_with(|| {
        spellings.push((identity, BTreeMap::new()));
        next
    });
    let (_, spelt) = spellings.get_mut(number as usize)?;
    *spelt.entry(name.clone()).or_default() += 1;
    Some(number)
}

/// Walks over the batches of an Arrow stream, an Arrow file or a Parquet file,
/// whichever it is.
fn for_each_batch(
    from: &Input,
    mut each: impl FnMut(&RecordBatch) -> Result<(), StoreError>,
) -> Result<(), StoreError> {
    let wrong = |e: ArrowError| from.wrong(e.to_string());
    let mut input = from.open()?;
    let mut start = [0; 6];
    let mut known = 0;
    while let Some(rest) = start.get_mut(known..).filter(|rest| !rest.is_empty()) {
        let count = input
            .read(rest)
            .map_err(|e| from.wrong(format!("cannot be read: {e}")))?;
        if count == 0 {
            break;
        }
        known += count;
    }
    let seekable = match from {
        Input::File(path) => Some(File::open(path).map_err(|e| StoreError::io("read", path, e))?),
        Input::StandardInput => None,
    };
    match (seekable, &start) {
        (Some(file), [b'P', b'A', b'R', b'1', ..]) => {
            let batches = ParquetRecordBatchReaderBuilder::try_new(file)
                .and_then(ParquetRecordBatchReaderBuilder::build)
                .map_err(|e| from.wrong(e.to_string()))?;
            for batch in batches {
                each(&batch.map_err(wrong)?)?;
            }
        }
        (Some(file), b"ARROW1") => {
            for batch in FileReader::try_new(file, None).map_err(wrong)? {
                each(&batch.map_err(wrong)?)?;
            }
        }
        _ => {
            let read = start.get(..known).unwrap_or_default().chain(input);
            let stream = StreamReader::try_new(read, None)
                .map_err(|_| from.wrong("is neither an Arrow stream nor a Parquet file"))?;
            for batch in stream {
                each(&batch.map_err(wrong)?)?;
            }
        }
    }
    Ok(())
}
