//! A file being taken in: its rows gathered batch by batch, judged, written,
//! and finished by the file's line.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::PathBuf;

use super::columns::Kind;
use super::error::StoreError;
use super::files::{FileLine, FinishedFile};
use super::judge::{Against, Verdict, Whose, who};
use super::lines::WHOLE_FILE;
use super::mend::{Mended, Mending, print};
use super::outcome::FileOutcome;
use super::part::{NewPart, Part, PartWriter};
use super::records::{
    AcceptedRow, FileHead, FileTail, Fill, Hardness, Instant, KINDS, Reading, Record, RowBatch,
    Service, Van,
};
use super::rows::identity_of;
use super::schema::TableName;
use super::settled::Settled;
use super::spill::{self, Spill};
use super::ties::{Place, Ties};
use super::write::Origin;
use super::writer::Writer;

/// Rows, and bytes of their text, that are held in memory.
#[derive(Debug, Clone, Copy)]
pub(super) struct Held {
    pub(super) rows: usize,
    pub(super) bytes: usize,
}

impl Default for Held {
    fn default() -> Self {
        Held {
            rows: 250_000,
            bytes: 64 << 20,
        }
    }
}

/// A file of which nothing is in the store until it is finished. Dropped
/// before that, it leaves nothing behind.
pub struct Taking<'w, 's> {
    writer: &'w mut Writer<'s>,
    head: FileHead,
    id: u64,
    at: Instant,
    rows: Vec<AcceptedRow>,
    bytes: usize,
    spill: Option<Spill>,
    mending: Mending,
    settled: Settled,
    /// Accepted rows of earlier files of this name, by kind and print of their text;
    /// looked up once a row is set aside.
    texts: Option<HashMap<(u8, u64), Place>>,
    /// Rows set aside that were accepted in an earlier file.
    known: Ties,
    /// Line and print of rows set aside, by file: those asked for so far.
    listed: HashMap<u64, HashSet<(u64, u32)>>,
    set_aside: Option<PartWriter>,
    repeats: Option<PartWriter>,
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
        Ok(Taking {
            settled,
            texts: None,
            known: Ties::default(),
            listed: HashMap::new(),
            id: writer.new_id(),
            writer,
            head,
            at,
            rows: Vec::new(),
            bytes: 0,
            spill: None,
            mending,
            set_aside: None,
            repeats: None,
            outcome: FileOutcome::default(),
            has_vans: false,
            new_parts: BTreeMap::new(),
            uncommitted: Vec::new(),
        })
    }

    /// Takes some more of the file's rows.
    ///
    /// # Errors
    /// Where they cannot be written.
    pub fn take(&mut self, batch: RowBatch) -> Result<(), StoreError> {
        let mut mends = self.marked(&batch)?;
        let marked: HashSet<u64> = mends.keys().copied().collect();
        for (line, record, text) in &batch.rows {
            let is_of_no_van = self.writer.is_of_no_van(record);
            if let Some(place) = mends.remove(line) {
                self.mending.replaces(*line, place, !is_of_no_van);
            } else if marked.contains(line) {
                // another record of the same line has said it
            } else if let Some(place) = self.settled.listed_elsewhere(*line) {
                self.mending.replaces(*line, place, !is_of_no_van);
            } else {
                self.mending.accepted(*line, record, text, is_of_no_van);
            }
            self.has_vans |= matches!(record, Record::Van(_));
            self.bytes += text.len();
        }
        for row in &batch.set_aside {
            let line = row.number().unwrap_or(WHOLE_FILE);
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
        }
        if !batch.set_aside.is_empty() {
            let mut part = match self.set_aside.take() {
                Some(part) => part,
                None => self.part_of(TableName::SetAside)?,
            };
            self.origin().write_set_aside(&batch.set_aside, &mut part)?;
            self.set_aside = Some(part);
        }
        if self.rows.is_empty() {
            self.rows = batch.rows;
        } else {
            self.rows.extend(batch.rows);
        }
        let held = self.writer.held;
        if self.rows.len() > held.rows || self.bytes > held.bytes {
            self.lay_down()?;
        }
        Ok(())
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
        let print = print(text);
        let place = kinds.into_iter().find_map(|kind| texts.get(&(kind, print)));
        let place = place.copied();
        self.texts = Some(texts);
        Ok(place)
    }

    /// The rows set aside whose place lines of the batch say they take, as far
    /// as they are still set aside.
    fn marked(&mut self, batch: &RowBatch) -> Result<HashMap<u64, Place>, StoreError> {
        let mut found = HashMap::new();
        for (line, mends) in &batch.mends {
            let place = Place {
                file_id: mends.file_id,
                line: mends.line,
            };
            if !self.listed.contains_key(&place.file_id) {
                let prints = self.writer.listed_prints(place.file_id)?;
                self.listed.insert(place.file_id, prints);
            }
            // Each place is taken once.
            let prints = self.listed.get_mut(&place.file_id);
            match prints.is_some_and(|prints| prints.remove(&(place.line, mends.print))) {
                true => {
                    found.insert(*line, place);
                }
                false => self.outcome.stray += 1,
            }
        }
        Ok(found)
    }

    fn origin(&self) -> Origin<'_> {
        Origin {
            file: &self.head.name,
            id: self.id,
            at: self.at,
        }
    }

    fn part_of(&self, table: TableName) -> Result<PartWriter, StoreError> {
        PartWriter::create(&self.writer.folder(table), table, self.id, None)
    }

    fn lay_down(&mut self) -> Result<(), StoreError> {
        let mut spill = match self.spill.take() {
            Some(spill) => spill,
            None => Spill::create(self.writer.path())?,
        };
        spill.lay_down(&self.origin(), &self.rows)?;
        self.spill = Some(spill);
        (self.rows, self.bytes) = (Vec::new(), 0);
        Ok(())
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
            row_style: String::new(),
        };
        self.writer.finish(file, self.has_vans)?;
        Ok(std::mem::take(&mut self.outcome))
    }

    /// Commits everything but the file's line.
    pub(super) fn write_rows(&mut self) -> Result<Mended, StoreError> {
        let mended = std::mem::take(&mut self.mending).finish();
        self.outcome.mended = mended.mended;
        let stored = self.writer.parts_by_kind()?;
        match self.spill.is_some() {
            false => {
                let rows = std::mem::take(&mut self.rows);
                self.judge_and_write(&rows, &stored, &mended)?;
            }
            true => {
                self.lay_down()?;
                let heaps = self.spill.take().map(Spill::into_heaps);
                let names = self.writer.names.clone();
                let held = self.writer.held;
                for (table, heap) in heaps.into_iter().flatten() {
                    let (rows, bytes) = (held.rows as u64, held.bytes as u64);
                    heap.for_each_share(table, rows, bytes, &names, |rows| {
                        self.judge_and_write(&rows, &stored, &mended)
                    })?;
                }
                spill::clear(self.writer.path())?;
            }
        }
        let extra = [
            (TableName::SetAside, self.set_aside.take()),
            (TableName::Repeats, self.repeats.take()),
        ];
        for (table, part) in extra {
            if let Some(part) = part {
                self.keep(table, vec![part.finish()?]);
            }
        }
        for (table, parts) in std::mem::take(&mut self.new_parts) {
            self.writer.commit(table, &parts, self.at)?;
            self.uncommitted
                .retain(|path| parts.iter().all(|part| part.path != *path));
        }
        Ok(mended)
    }

    fn keep(&mut self, table: TableName, parts: Vec<NewPart>) {
        self.uncommitted
            .extend(parts.iter().map(|part| part.path.clone()));
        self.new_parts.entry(table).or_default().extend(parts);
    }

    /// `rows`: all of the file, or all versions of some of its records.
    fn judge_and_write(
        &mut self,
        rows: &[AcceptedRow],
        stored: &BTreeMap<TableName, Vec<Part>>,
        mended: &Mended,
    ) -> Result<(), StoreError> {
        let whose = Whose::of(rows, &self.writer.names);
        let mut verdicts = vec![Verdict::OfNoVan; rows.len()];
        let against = Against {
            file: &self.head.name,
            view: &self.writer.view,
            sound: self.writer.sound(),
            names: &self.writer.names,
        };
        let parts = |table| stored.get(&table).map_or(&[][..], Vec::as_slice);
        judge::<Reading>(&against, rows, &whose, parts, &mut verdicts)?;
        judge::<Fill>(&against, rows, &whose, parts, &mut verdicts)?;
        judge::<Service>(&against, rows, &whose, parts, &mut verdicts)?;
        judge::<Van>(&against, rows, &whose, parts, &mut verdicts)?;
        judge::<Hardness>(&against, rows, &whose, parts, &mut verdicts)?;
        for ((line, record, _), verdict) in rows.iter().zip(&mut verdicts) {
            if *verdict == Verdict::OfNoVan
                && let Some(place) = mended.listed_as(*line, record)
            {
                *verdict = Verdict::AlreadyListed(place);
            }
        }
        self.outcome.count(rows, &verdicts);
        self.write_kind::<Reading>(rows, &verdicts)?;
        self.write_kind::<Fill>(rows, &verdicts)?;
        self.write_kind::<Service>(rows, &verdicts)?;
        self.write_kind::<Van>(rows, &verdicts)?;
        self.write_kind::<Hardness>(rows, &verdicts)?;
        if verdicts.iter().any(|v| v.is_repeat()) {
            let mut part = match self.repeats.take() {
                Some(part) => part,
                None => self.part_of(TableName::Repeats)?,
            };
            self.origin().write_repeats(rows, &verdicts, &mut part)?;
            self.repeats = Some(part);
        }
        Ok(())
    }

    fn write_kind<T: Kind>(
        &mut self,
        rows: &[AcceptedRow],
        verdicts: &[Verdict],
    ) -> Result<(), StoreError> {
        let folder = self.writer.folder(T::TABLE);
        let is_written = |i: usize| verdicts.get(i).is_some_and(|v| v.is_written());
        let parts = self.origin().write_kind::<T>(&folder, rows, is_written)?;
        if !parts.is_empty() {
            self.keep(T::TABLE, parts);
        }
        Ok(())
    }
}

impl Drop for Taking<'_, '_> {
    fn drop(&mut self) {
        // What cannot be removed now is passed over by readers and cleared by
        // the next writer.
        for path in &self.uncommitted {
            let _ = std::fs::remove_file(path);
        }
        if self.spill.is_some() {
            let _ = spill::clear(self.writer.path());
        }
    }
}

fn judge<'p, T: Kind>(
    against: &Against<'_>,
    rows: &[AcceptedRow],
    whose: &Whose,
    parts: impl Fn(TableName) -> &'p [Part],
    verdicts: &mut [Verdict],
) -> Result<(), StoreError> {
    if rows.iter().any(|(_, record, _)| T::of(record).is_some()) {
        against.judge_kind::<T>(rows, whose, parts(T::TABLE), verdicts)?;
    }
    Ok(())
}

/// Whether the van list does not know the row's van.
pub(super) fn is_of_no_van(record: &Record, names: &super::names::VanNames) -> bool {
    let who = who(record);
    match record {
        Record::Reading(_) => identity_of::<Reading>(names, who).is_err(),
        Record::Fill(_) => identity_of::<Fill>(names, who).is_err(),
        Record::Service(_) => identity_of::<Service>(names, who).is_err(),
        Record::Van(_) | Record::Hardness(_) => false,
    }
}
