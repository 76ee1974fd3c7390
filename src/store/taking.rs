//! A file being taken in: its rows gathered batch by batch, judged, written, and finished
//! by the file's line; and what became of them.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow_array::RecordBatch;
use rayon::prelude::*;

use super::error::StoreError;
use super::field::{Cell, Cells};
use super::files::{FileLine, FinishedFile};
use super::judge::{Against, Judged, Origin, shares_of};
use super::lineage::{Place, Supersessions, WHOLE_FILE};
use super::mend::{Mended, Mending, Settled, text_hash};
use super::part::{NewPart, PartWriter, lacking};
use super::partition::{
    self, Held, KindRows, Month, Partition, Partitions, RowBatch, RowBuilder, arrays, batch_of,
    month_name,
};
use super::records::{
    AcceptedRow, FileHead, FileOutcome, FileRows, FileTail, Instant, KINDS, Mends, Overruled,
    Record, SetAside, line_of, part_of,
};
use super::row_text::{RowStyle, RowWriter};
use super::schema::{
    Fill, Hardness, Kind, LINE, Moment, Reading, Service, TEXT, TableName, Van, of_kind,
};
use super::writer::Writer;

impl<'s> Writer<'s> {
    /// Begins to take a file in, wholly or not at all.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn begin(&mut self, head: FileHead, at: Instant) -> Result<Taking<'_, 's>, StoreError> {
        Taking::begin(self, head, at)
    }

    /// Takes a file in that is in memory already.
    ///
    /// # Errors
    /// As for [`Taking::finish`].
    pub fn add(&mut self, file: FileRows, ingested_at: Instant) -> Result<FileOutcome, StoreError> {
        let (taking, tail) = self.begin_with(file, ingested_at)?;
        taking.finish(tail)
    }

    fn begin_with(
        &mut self,
        file: FileRows,
        at: Instant,
    ) -> Result<(Taking<'_, 's>, FileTail), StoreError> {
        let head = FileHead {
            name: file.name,
            sha256: file.sha256,
            bytes: file.bytes,
        };
        let mut taking = self.begin(head, at)?;
        taking.take(RowBatch {
            rows: file.rows,
            columns: Vec::new(),
            set_aside: file.set_aside,
            mends: Vec::new(),
        })?;
        let tail = FileTail {
            notes: file.notes,
            recognised: file.recognised,
            dialect: file.dialect,
            ..FileTail::default()
        };
        Ok((taking, tail))
    }

    /// What a crash between two commits leaves behind.
    #[cfg(test)]
    pub(super) fn add_without_finishing(
        &mut self,
        file: FileRows,
        at: Instant,
    ) -> Result<(), StoreError> {
        let (mut taking, _) = self.begin_with(file, at)?;
        taking.write_rows().map(|_| ())
    }
}

/// Bytes of rows of the careful rules that are put into columns together.
const BYTES_TOGETHER: usize = 4 << 20;
/// Months that are judged side by side: their rows are in memory together.
const MONTHS_AT_ONCE: usize = 2;

/// A file of which nothing is in the store until it is finished. Dropped
/// before that, it leaves nothing behind.
pub struct Taking<'w, 's> {
    writer: &'w mut Writer<'s>,
    head: FileHead,
    id: u64,
    at: Instant,
    /// How rows that come without their text are written again.
    style: Option<(RowStyle, String)>,
    builders: BTreeMap<TableName, RowBuilder>,
    partitions: Option<Partitions>,
    mending: Mending,
    settled: Settled,
    /// Accepted rows of earlier files of this name, by the hash of their text;
    /// looked up once a row is set aside.
    texts: Option<HashMap<(u8, u64), Place>>,
    /// Rows set aside that were accepted in an earlier file.
    known: Supersessions,
    /// Rows taken back by hand before, by kind and the hash of their text.
    taken_back: HashMap<(u8, u64), Place>,
    /// Earlier versions of the file, of which rows may be gone.
    earlier: Vec<u64>,
    records: BTreeMap<TableName, BTreeSet<(Arc<str>, Moment)>>,
    /// Line and hash of rows set aside, by file: those asked for so far.
    listed: HashMap<u64, HashSet<(u64, u32)>>,
    set_aside: Option<PartWriter>,
    outcome: FileOutcome,
    has_vans: bool,
    new_parts: BTreeMap<TableName, Vec<NewPart>>,
    uncommitted: Vec<PathBuf>,
}

impl<'w, 's> Taking<'w, 's> {
    pub(super) fn begin(
        writer: &'w mut Writer<'s>,
        head: FileHead,
        at: Instant,
    ) -> Result<Self, StoreError> {
        let mending = writer.mending(&head)?;
        let settled = writer.settled(&head)?;
        let taken_back = writer.texts_taken_back(&head)?;
        let earlier = writer.earlier_versions(&head);
        let held = writer.held;
        Ok(Taking {
            taken_back,
            earlier,
            records: BTreeMap::new(),
            settled,
            texts: None,
            known: Supersessions::default(),
            listed: HashMap::new(),
            id: writer.new_id(),
            style: None,
            builders: BTreeMap::new(),
            partitions: Some(Partitions::new(writer.path(), &head.name, held)),
            writer,
            head,
            at,
            mending,
            set_aside: None,
            outcome: FileOutcome::default(),
            has_vans: false,
            new_parts: BTreeMap::new(),
            uncommitted: Vec::new(),
        })
    }

    /// Says how rows that come without their text are written again.
    pub fn writes_rows_as(&mut self, style: RowStyle, delimiter: &str) {
        self.style = Some((style, delimiter.to_owned()));
    }

    /// Takes some more of the file's rows.
    ///
    /// # Errors
    /// Where they cannot be written.
    pub fn take(&mut self, mut batch: RowBatch) -> Result<(), StoreError> {
        self.keep_out(&mut batch);
        let mut mends = self.marked(&batch.mends)?;
        if self.asks_for_rows() || !batch.mends.is_empty() {
            let marked: HashSet<u64> = mends.keys().copied().collect();
            for (line, record, text) in &batch.rows {
                self.mend(*line, record, text, &mut mends, &marked);
            }
            for rows in &batch.columns {
                self.mend_columns(rows)?;
            }
        }
        for row in &batch.set_aside {
            self.take_set_aside(row, &mut mends)?;
        }
        self.write_set_aside(&batch.set_aside)?;
        for row in &batch.rows {
            self.push(row)?;
        }
        for rows in batch.columns {
            self.add(rows)?;
        }
        Ok(())
    }

    /// Whether rows have to come with their texts, as some were taken back by hand.
    pub fn asks_for_texts(&self) -> bool {
        !self.taken_back.is_empty()
    }

    /// Rows that were taken back by hand stay out.
    fn keep_out(&mut self, batch: &mut RowBatch) {
        if self.taken_back.is_empty() {
            return;
        }
        let rows = std::mem::take(&mut batch.rows).into_iter();
        let is_out = |(_, record, text): &AcceptedRow| {
            let hash = text_hash(text);
            self.taken_back.contains_key(&(record.part(), hash))
                || self.taken_back.contains_key(&(0, hash))
        };
        let (out, kept): (Vec<_>, Vec<_>) = rows.partition(is_out);
        batch.rows = kept;
        // a line may give several records of a kind
        let mut last = None;
        for (number, _, text) in out {
            if last.replace(number) == Some(number) {
                continue;
            }
            batch.set_aside.push(SetAside {
                file: self.head.name.clone(),
                line: Some(line_of(number)),
                part: part_of(number),
                reason: "taken back by hand before".to_owned(),
                text: text.into(),
                day_position: None,
            });
        }
    }

    /// Where the row lies that was taken back by hand and had this text.
    fn taken_back_at(&self, row: &SetAside) -> Option<Place> {
        if self.taken_back.is_empty() {
            return None;
        }
        let hash = text_hash(&row.text);
        let kinds = match row.part {
            0 => 0..=KINDS.len() as u8,
            part => part..=part,
        };
        let mut found = kinds.filter_map(|kind| self.taken_back.get(&(kind, hash)));
        found.next().copied()
    }

    /// Whether accepted rows may take the places of rows set aside before.
    fn asks_for_rows(&self) -> bool {
        !self.mending.is_idle() || !self.settled.is_idle()
    }

    fn mend(
        &mut self,
        line: u64,
        record: &Record,
        text: &str,
        mends: &mut HashMap<u64, Place>,
        marked: &HashSet<u64>,
    ) {
        let is_of_no_van = self.writer.is_of_no_van(record);
        if let Some(place) = mends.remove(&line) {
            self.mending.replaces(line, place, !is_of_no_van);
        } else if marked.contains(&line) {
            // another record of the same line has said it
        } else if let Some(place) = self.settled.listed_elsewhere(line) {
            self.mending.replaces(line, place, !is_of_no_van);
        } else {
            self.mending.accepted(line, record, text, is_of_no_van);
        }
    }

    /// The same for rows in columns, their texts written again.
    fn mend_columns(&mut self, rows: &KindRows) -> Result<(), StoreError> {
        let style = self.style.as_ref();
        let writer = style.and_then(|(style, by)| RowWriter::new(&style.to_text(), by));
        let cells = rows.batch.columns().iter();
        let cells: Vec<Cells> = cells
            .map(|array| Cells::of_array(array).unwrap_or(Cells::Missing))
            .collect();
        let column = |name: &str| {
            let at = rows.batch.schema().index_of(name).ok();
            at.and_then(|at| cells.get(at)).unwrap_or(&Cells::Missing)
        };
        let (lines, texts) = (column(LINE), column(TEXT));
        of_kind!(rows.table, T => {
            for row in 0..rows.batch.num_rows() {
                let record = T::get(&cells, row);
                let record = record.ok_or_else(|| lacking(rows.table.folder().into()))?;
                let text = match (texts.name(row), &writer) {
                    (Some(text), _) => text.to_string(),
                    (None, Some(writer)) => writer.text(&record),
                    (None, None) => String::new(),
                };
                let line = lines.count(row).unwrap_or(WHOLE_FILE);
                let record = record.into_record();
                self.mend(line, &record, &text, &mut HashMap::new(), &HashSet::new());
            }
        }, else {});
        Ok(())
    }

    fn take_set_aside(
        &mut self,
        row: &SetAside,
        mends: &mut HashMap<u64, Place>,
    ) -> Result<(), StoreError> {
        let line = row.number().unwrap_or(WHOLE_FILE);
        if let Some(place) = self.taken_back_at(row) {
            self.outcome.kept_out += 1;
            self.outcome.count_set_aside(true);
            self.known.push(line, place);
            mends.remove(&line);
            return Ok(());
        }
        let mut place = row.line.and_then(|_| self.settled.accepted(line));
        if place.is_none() && !mends.contains_key(&line) {
            place = self.stored_as(row.part, &row.text)?;
        }
        self.outcome.count_set_aside(place.is_some());
        match (place, mends.remove(&line)) {
            (Some(place), _) => self.known.push(line, place),
            (None, Some(place)) => self.mending.replaces(line, place, false),
            (None, None) => match self.settled.listed_elsewhere(line) {
                Some(place) => self.mending.replaces(line, place, false),
                None => self.mending.set_aside(row.number(), &row.text),
            },
        }
        Ok(())
    }

    fn write_set_aside(&mut self, rows: &[SetAside]) -> Result<(), StoreError> {
        if rows.is_empty() {
            return Ok(());
        }
        let (id, at) = (self.id, self.at);
        let cells = rows.iter().map(|row| {
            vec![
                Cell::Text(&row.reason),
                row.day_position.map_or(Cell::Empty, Cell::Small),
                Cell::Whole(id),
                row.number().map_or(Cell::Empty, Cell::Whole),
                Cell::Instant(at.0),
                Cell::Text(&row.text),
            ]
        });
        let batch = batch_of(TableName::SetAside, cells).map_err(arrays)?;
        let part = match &mut self.set_aside {
            Some(part) => part,
            none => none.insert(PartWriter::create(
                &self.writer.folder(TableName::SetAside),
                TableName::SetAside,
                id,
                None,
            )?),
        };
        part.write(&batch)
    }

    fn push(&mut self, (line, record, text): &AcceptedRow) -> Result<(), StoreError> {
        let mut cells = Vec::with_capacity(16);
        let table = match record {
            Record::Reading(record) => cells_of(record, &mut cells),
            Record::Fill(record) => cells_of(record, &mut cells),
            Record::Service(record) => cells_of(record, &mut cells),
            Record::Van(record) => cells_of(record, &mut cells),
            Record::Hardness(record) => cells_of(record, &mut cells),
        };
        let builder = self.builders.entry(table);
        let builder = builder.or_insert_with(|| RowBuilder::new(table));
        builder.push(&cells, *line, Some(text));
        if builder.len() >= self.writer.held.together || builder.bytes() >= BYTES_TOGETHER {
            let rows = builder.take().map_err(arrays)?;
            self.add(rows)?;
        }
        Ok(())
    }

    fn add(&mut self, rows: KindRows) -> Result<(), StoreError> {
        self.has_vans |= rows.table == TableName::Vans;
        match &mut self.partitions {
            Some(partitions) => partitions.add(rows),
            None => Ok(()),
        }
    }

    /// Where a row of this very text was accepted in an earlier file of this
    /// name, as of one that has grown since.
    fn stored_as(&mut self, part: u8, text: &str) -> Result<Option<Place>, StoreError> {
        let texts = match self.texts.take() {
            Some(texts) => texts,
            None => self.writer.texts_of(&self.head)?,
        };
        // a whole line may have been stored as a row of any kind
        let kinds = match part {
            0 => 1..=KINDS.len() as u8,
            part => part..=part,
        };
        let hash = text_hash(text);
        let place = kinds.into_iter().find_map(|kind| texts.get(&(kind, hash)));
        let place = place.copied();
        self.texts = Some(texts);
        Ok(place)
    }

    /// The rows set aside whose place lines of the batch say they take, as far
    /// as they are still set aside.
    fn marked(&mut self, mends: &[(u64, Mends)]) -> Result<HashMap<u64, Place>, StoreError> {
        let mut found = HashMap::new();
        for (line, mends) in mends {
            let place = Place {
                file_id: mends.file_id,
                line: mends.line,
            };
            if !self.listed.contains_key(&place.file_id) {
                let hashes = self.writer.listed_hashes(place.file_id)?;
                self.listed.insert(place.file_id, hashes);
            }
            // Each place is taken once.
            let hashes = self.listed.get_mut(&place.file_id);
            match hashes.is_some_and(|hashes| hashes.remove(&(place.line, mends.print))) {
                true => {
                    found.insert(*line, place);
                }
                false => self.outcome.stray += 1,
            }
        }
        Ok(found)
    }

    /// Commits the file: from now on its rows are in the store.
    ///
    /// # Errors
    /// Where the store cannot be read or written; the file then counts as not
    /// ingested.
    pub fn finish(mut self, tail: FileTail) -> Result<FileOutcome, StoreError> {
        let supersedes = self.write_rows()?.supersedes;
        let line = FileLine {
            id: self.id,
            name: std::mem::take(&mut self.head.name),
            sha256: std::mem::take(&mut self.head.sha256),
            bytes: self.head.bytes,
            ingested_at: self.at,
            recognised: tail.recognised,
            notes: tail.notes,
            counts: self.outcome.counts,
            dialect: tail.dialect,
        };
        let file = FinishedFile {
            line,
            supersedes,
            known: std::mem::take(&mut self.known),
            row_style: self
                .style
                .as_ref()
                .map_or_else(String::new, |(s, _)| s.to_text()),
        };
        self.writer.finish(file, self.has_vans)?;
        Ok(std::mem::take(&mut self.outcome))
    }

    /// Commits everything but the file's line.
    pub(super) fn write_rows(&mut self) -> Result<Mended, StoreError> {
        for mut builder in std::mem::take(&mut self.builders).into_values() {
            let rows = builder.take().map_err(arrays)?;
            self.add(rows)?;
        }
        let mended = std::mem::take(&mut self.mending).finish();
        self.outcome.mended = mended.mended;
        self.judge_and_write(&mended)?;
        partition::clear(self.writer.path())?;
        if let Some(part) = self.set_aside.take() {
            self.keep(TableName::SetAside, part.finish()?);
        }
        for (table, parts) in std::mem::take(&mut self.new_parts) {
            self.writer.commit(table, &parts, self.at)?;
            self.uncommitted
                .retain(|path| parts.iter().all(|part| part.path != *path));
        }
        Ok(mended)
    }

    fn keep(&mut self, table: TableName, part: NewPart) {
        self.uncommitted.push(part.path.clone());
        self.new_parts.entry(table).or_default().push(part);
    }

    fn judge_and_write(&mut self, mended: &Mended) -> Result<(), StoreError> {
        let Some(partitions) = self.partitions.take() else {
            return Ok(());
        };
        let stored = self.writer.parts_by_kind()?;
        let mut left = partitions.finish()?.into_iter();
        let mut repeats: Option<PartWriter> = None;
        loop {
            let some: Vec<_> = left.by_ref().take(MONTHS_AT_ONCE).collect();
            if some.is_empty() {
                break;
            }
            let against = Against {
                origin: Origin {
                    id: self.id,
                    at: self.at,
                },
                view: &self.writer.view,
                sound: self.writer.sound(),
                names: &self.writer.names,
                mended,
                stored: &stored,
                is_later_version: !self.earlier.is_empty(),
            };
            let store = self.writer.path();
            let held = self.writer.held;
            let judge = |(key, partition)| judge_partition(&against, key, partition, store, held);
            let judged: Vec<_> = some.into_par_iter().map(judge).collect();
            // those that were written are to be removed if another failed
            let mut failed = None;
            for (table, judged, error) in judged {
                failed = failed.or(error);
                for judged in judged {
                    self.take_judged(table, judged, &mut repeats)?;
                }
            }
            if let Some(error) = failed {
                return Err(error);
            }
        }
        if let Some(part) = repeats {
            self.keep(TableName::Repeats, part.finish()?);
        }
        if !self.earlier.is_empty() {
            self.outcome.vanished = self.writer.vanished(&self.earlier, &self.records)?;
        }
        Ok(())
    }

    fn take_judged(
        &mut self,
        table: TableName,
        judged: Judged,
        repeats: &mut Option<PartWriter>,
    ) -> Result<(), StoreError> {
        self.outcome.count(&judged);
        self.records
            .entry(table)
            .or_default()
            .extend(judged.records);
        for (line, place) in judged.overruled {
            self.outcome.overruled.push(Overruled {
                line: line_of(line),
                by_file: self.writer.name_of(place.file_id).to_owned(),
                by_id: place.file_id,
                by_line: line_of(place.line),
            });
        }
        if let Some(part) = judged.part {
            self.keep(table, part);
        }
        if judged.repeats.is_empty() {
            return Ok(());
        }
        let id = self.id;
        let cells = judged.repeats.iter().map(|repeat| {
            vec![
                Cell::Whole(id),
                Cell::Whole(repeat.line),
                Cell::Whole(repeat.of.file_id),
                Cell::Whole(repeat.of.line),
                Cell::Small(repeat.mark),
                Cell::Small(u32::from(repeat.is_listed)),
            ]
        });
        let batch = batch_of(TableName::Repeats, cells).map_err(arrays)?;
        let part = match repeats {
            Some(part) => part,
            none => none.insert(PartWriter::create(
                &self.writer.folder(TableName::Repeats),
                TableName::Repeats,
                id,
                None,
            )?),
        };
        part.write(&batch)
    }
}

fn cells_of<'c, T: Kind>(record: &'c T, cells: &mut Vec<Cell<'c>>) -> TableName {
    record.cells(cells);
    T::TABLE
}

/// Judges a partition, in shares where it is too long to be held; what was done
/// before an error comes with it.
fn judge_partition(
    against: &Against<'_>,
    (table, month): (TableName, Month),
    partition: Partition,
    store: &Path,
    held: Held,
) -> (TableName, Vec<Judged>, Option<StoreError>) {
    let mut judged = Vec::new();
    let folder = store.join(table.folder());
    let mut judge = |batch: RecordBatch| {
        judged.push(against.judge_and_write((table, month), batch, &folder)?);
        Ok(())
    };
    let shares = partition.rows.div_ceil(held.rows.max(1));
    let done = if shares <= 1 {
        partition.load(table).and_then(&mut judge)
    } else {
        let name = format!(
            "{}-{}",
            table.folder(),
            month.map_or_else(String::new, month_name)
        );
        let share = |batch: &RecordBatch| shares_of(table, batch, against.names, shares);
        partition
            .into_shares(store, &name, shares, share)
            .and_then(|all| {
                let mut all = all.into_iter();
                all.try_for_each(|share| share.load(table).and_then(&mut judge))
            })
    };
    (table, judged, done.err())
}

impl Drop for Taking<'_, '_> {
    fn drop(&mut self) {
        // What cannot be removed now is passed over by readers and cleared by
        // the next writer.
        for path in &self.uncommitted {
            let _ = std::fs::remove_file(path);
        }
        let _ = partition::clear(self.writer.path());
    }
}

impl FileOutcome {
    /// Counts accepted rows that were judged.
    pub(super) fn count(&mut self, judged: &Judged) {
        self.new += judged.new;
        self.replaced += judged.corrected;
        self.counts.already_stored += judged.already_stored;
        for (name, rows) in &judged.unknown {
            self.counts.set_aside += rows;
            match self
                .unknown_vans
                .binary_search_by(|(van, _)| van.as_str().cmp(name))
            {
                Ok(i) => {
                    if let Some((_, count)) = self.unknown_vans.get_mut(i) {
                        *count += rows;
                    }
                }
                Err(i) => self.unknown_vans.insert(i, (name.to_string(), *rows)),
            }
        }
        self.counts.stored = self.new + self.replaced;
        self.counts.read = self.counts.stored + self.counts.already_stored + self.counts.set_aside;
    }

    /// Counts a row that ingest itself set aside; `is_known` where it was
    /// accepted in an earlier file.
    pub(super) fn count_set_aside(&mut self, is_known: bool) {
        self.counts.already_stored += u64::from(is_known);
        self.counts.set_aside += u64::from(!is_known);
        self.counts.read += 1;
    }
}
