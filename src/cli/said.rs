//! What is said about a file that was taken in.

use std::collections::HashMap;

use crate::ingest::{FileReader, shown};
use crate::store::records::{FileTail, Note, RowCounts, SetAside};
use crate::store::{FileOutcome, Taking, Vanished, Writer};

use super::error::CliError;
use super::ingest::now;

/// So many remarks of one file are shown; the rest is counted.
const REMARKS_SHOWN: usize = 4;
/// So many vans that the list does not know.
const VANS_SHOWN: usize = 20;

/// A file's line, its remarks and its rows.
pub(super) struct FileSummary {
    pub name: String,
    pub recognised: String,
    pub line: String,
    notes: Vec<Note>,
    /// What the store remarked.
    of_store: Vec<String>,
    pub counts: RowCounts,
    /// What is wrong with rows set aside, and with how many.
    refused: Vec<(&'static str, u64)>,
    /// Of those stored: new records, and corrected ones.
    pub new: u64,
    pub corrected: u64,
    /// Rows set aside before that are in now.
    pub now_accepted: u64,
}

impl FileSummary {
    /// `set aside for: the date 9, a unit 2`; `None` where ingest set none aside.
    pub(super) fn refused(&self) -> Option<String> {
        let told = |(what, rows): &(&str, u64)| format!("{what} {rows}");
        let told: Vec<String> = self.refused.iter().map(told).collect();
        (!told.is_empty()).then(|| format!("set aside for: {}", told.join(", ")))
    }

    /// Every remark where all are wanted, else the first ones and a count.
    pub(super) fn remarks(&self, all: bool) -> Vec<String> {
        let most = if all { usize::MAX } else { REMARKS_SHOWN };
        let mut remarks = remarks(&self.notes, most);
        remarks.extend(self.of_store.iter().cloned());
        remarks
    }
}

/// Takes the file in and tells what became of it.
pub(super) fn file(file: FileReader<'_>, writer: &mut Writer<'_>) -> Result<FileSummary, CliError> {
    let head = file.head();
    let name = shown(&head.name).into_owned();
    let mut taking = writer.begin(head, now())?;
    let file = match taking.asks_for_texts() {
        true => file.carefully(),
        false => file,
    };
    if let Some((style, delimiter)) = file.row_style() {
        taking.writes_rows_as(style, &delimiter);
    }
    let mut first: Option<SetAside> = None;
    let tail = file.read(|batch| {
        first = first.take().or_else(|| batch.set_aside.first().cloned());
        taking.take(batch).map_err(CliError::from)
    })?;
    finish(taking, tail, first, name)
}

/// `first`: the first row that ingest set aside.
fn finish(
    taking: Taking<'_, '_>,
    tail: FileTail,
    first: Option<SetAside>,
    name: String,
) -> Result<FileSummary, CliError> {
    let (notes, recognised) = (tail.notes.clone(), tail.recognised.clone());
    let refused = tail.refused.clone();
    let outcome = taking.finish(tail)?;
    let unknown = outcome.unknown_vans.iter().take(VANS_SHOWN);
    let unknown = unknown.map(|(van, count)| {
        format!(
            "{} of van {van}, which is not in the van list: set aside",
            rows_of(*count)
        )
    });
    let mut remarks: Vec<String> = unknown.collect();
    if let Some(more) = outcome.unknown_vans.len().checked_sub(VANS_SHOWN + 1) {
        remarks.push(format!("and of {} more such vans", more + 1));
    }
    if let Some(row) = first.filter(|_| outcome.counts.set_aside > 0) {
        let line = row
            .line
            .map(|line| format!("line {line}: "))
            .unwrap_or_default();
        remarks.push(format!(
            "set aside: {line}{} (`litrewise to-fix` lists all)",
            shown(&row.reason)
        ));
    }
    if outcome.kept_out > 0 {
        remarks.push(format!(
            "{} that you took back before: left out again, counted as already stored; `litrewise files put-back` brings a row in again",
            rows_of(outcome.kept_out)
        ));
    }
    remarks.extend(overruled(&outcome));
    remarks.extend(vanished(&outcome));
    if outcome.stray > 0 {
        remarks.push(format!(
            "{} replace none that is set aside here now: taken like rows of any file",
            rows_of(outcome.stray)
        ));
    }
    Ok(FileSummary {
        line: format!("{name}: {recognised}: {}", counted(&outcome)),
        notes,
        of_store: remarks,
        counts: outcome.counts,
        refused,
        new: outcome.new,
        corrected: outcome.replaced,
        now_accepted: outcome.mended,
        name,
        recognised,
    })
}

/// Rows stored already of which a later version holds.
fn overruled(outcome: &FileOutcome) -> Option<String> {
    let first = outcome.overruled.first()?;
    let (id, by_line) = (first.by_id, first.by_line);
    let (were, example) = match outcome.overruled.len() as u64 {
        1 => ("1 row already stored was".to_owned(), ""),
        several => (
            format!("{} already stored were", rows_of(several)),
            "such as ",
        ),
    };
    Some(format!(
        "{were} corrected since ({example}line {} by line {by_line} of {}), and the correction holds; \
         `litrewise files take-back {id}:{by_line}` brings the earlier row back",
        first.line,
        shown(&first.by_file),
    ))
}

/// Rows of earlier versions of the file that are gone from it.
fn vanished(outcome: &FileOutcome) -> Vec<String> {
    let Some(first) = outcome.vanished.first() else {
        return Vec::new();
    };
    let one = outcome.vanished.len() == 1;
    let (are, them) = match one {
        true => (
            "1 row stored from an earlier version of this file is",
            "it stays stored",
        ),
        false => (
            &*format!(
                "{} stored from earlier versions of this file are",
                rows_of(outcome.vanished.len() as u64)
            ),
            "they stay stored",
        ),
    };
    let mut summary = vec![format!(
        "{are} not in it any more (a corrected date?): {them}; `litrewise files take-back {}:{}` takes {} out",
        first.file_id,
        first.line,
        if one { "it" } else { "the first" },
    )];
    let shown_of = |row: &Vanished| {
        format!(
            "  {}:{} {}: {}",
            row.file_id,
            row.line,
            row.kind,
            shown(row.text.trim())
        )
    };
    summary.extend(outcome.vanished.iter().take(REMARKS_SHOWN).map(shown_of));
    let more = outcome.vanished.len().saturating_sub(REMARKS_SHOWN);
    summary.extend((more > 0).then(|| format!("  and {more} more")));
    summary
}

/// What became of the rows; how many there were is said before.
fn counted(outcome: &FileOutcome) -> String {
    let counts = outcome.counts;
    let mut parts = vec![format!("{} new", outcome.new)];
    if outcome.replaced > 0 {
        parts.push(format!("{} corrected", outcome.replaced));
    }
    parts.push(format!("{} already stored", counts.already_stored));
    parts.push(format!("{} set aside", counts.set_aside));
    if outcome.mended > 0 {
        parts.push(format!(
            "and {} set aside before now accepted",
            rows_of(outcome.mended)
        ));
    }
    parts.join(", ")
}

/// The totals of a run; they add up.
pub(super) fn totals(files: usize, counts: RowCounts) -> String {
    let files = if files == 1 {
        "1 file".to_owned()
    } else {
        format!("{files} files")
    };
    format!("{files}: {}", equation(counts))
}

/// `6 rows read = 3 stored + 2 already stored + 1 set aside`
pub(super) fn equation(counts: RowCounts) -> String {
    format!(
        "{} read = {} stored + {} already stored + {} set aside",
        rows_of(counts.read),
        counts.stored,
        counts.already_stored,
        counts.set_aside
    )
}

pub(super) fn rows_of(count: u64) -> String {
    if count == 1 {
        "1 row".to_owned()
    } else {
        format!("{count} rows")
    }
}

/// So many notes with their lines, the same words once; the rest is counted.
pub(super) fn remarks(notes: &[Note], most: usize) -> Vec<String> {
    let mut summary: Vec<(&str, Option<u64>, usize)> = Vec::new();
    let mut places: HashMap<&str, usize> = HashMap::new();
    for note in notes {
        let place = places.get(note.text.as_str());
        if let Some((.., count)) = place.and_then(|place| summary.get_mut(*place)) {
            *count += 1;
        } else if summary.len() < most {
            places.insert(&note.text, summary.len());
            summary.push((&note.text, note.line, 1));
        }
    }
    let shown: usize = summary.iter().map(|(.., count)| count).sum();
    let mut lines: Vec<String> = summary
        .iter()
        .map(|(text, line, count)| match (line, count) {
            (Some(line), 1) => format!("line {line}: {text}"),
            (Some(line), more) => format!("line {line} and {} more: {text}", more - 1),
            (None, _) => (*text).to_owned(),
        })
        .collect();
    if notes.len() > shown {
        lines.push(format!(
            "and {} more remarks (all with --verbose)",
            notes.len() - shown
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn note(line: u64, text: &str) -> Note {
        Note {
            line: Some(line),
            text: text.to_owned(),
        }
    }

    #[test]
    fn the_same_remark_is_said_once_and_the_rest_is_counted() {
        let mut notes = vec![note(2, "no time of day"), note(3, "no time of day")];
        notes.extend((10..20).map(|n| note(n, &format!("repair {n}"))));
        let lines = remarks(&notes, REMARKS_SHOWN);
        assert_eq!(
            lines.first().map(String::as_str),
            Some("line 2 and 1 more: no time of day")
        );
        assert_eq!(
            lines.last().map(String::as_str),
            Some("and 7 more remarks (all with --verbose)")
        );
        assert_eq!(lines.len(), REMARKS_SHOWN + 1);
        assert_eq!(remarks(&notes, usize::MAX).len(), 11);
    }

    #[test]
    fn totals_are_written_so_that_they_can_be_added_up() {
        let counts = RowCounts {
            read: 6,
            stored: 3,
            already_stored: 2,
            set_aside: 1,
        };
        assert_eq!(
            totals(2, counts),
            "2 files: 6 rows read = 3 stored + 2 already stored + 1 set aside"
        );
    }

    mod both_ways {
        use crate::calendar::TimeZone;
        use crate::calendar::date;

        use super::*;
        use crate::ingest::{Options, read_bytes};
        use crate::store::records::Instant;
        use crate::store::{Action, Store};

        fn options() -> Options {
            Options::new(TimeZone::LONDON, date(2026, 11, 25))
        }

        /// Two stores that are to hold the same: one fed in bulk where that goes,
        /// one by the careful rules alone.
        struct Pair {
            _folder: tempfile::TempDir,
            quick: Store,
            careful: Store,
        }

        impl Pair {
            fn new() -> Pair {
                let folder = tempfile::tempdir().unwrap();
                let store = |name| Store::create_or_open(&folder.path().join(name)).unwrap();
                Pair {
                    quick: store("quick"),
                    careful: store("careful"),
                    _folder: folder,
                }
            }

            fn take(&self, name: &str, text: &str) {
                let reader = FileReader::of_bytes(text.as_bytes(), name, &options()).unwrap();
                let summary = file(reader, &mut self.quick.writer().unwrap()).unwrap();
                let rows = read_bytes(text.as_bytes(), name, &options()).unwrap();
                let added = self.careful.writer().unwrap().add(rows, Instant(0));
                assert_eq!(summary.counts, added.unwrap().counts, "{name}");
                self.is_same(name);
            }

            fn act(&self, file_id: u64, action: Action) {
                for store in [&self.quick, &self.careful] {
                    let mut writer = store.writer().unwrap();
                    assert!(writer.act(file_id, action, Instant(0), "me").unwrap());
                }
                self.is_same(action.word());
            }

            fn is_same(&self, after: &str) {
                let [quick, careful] = [&self.quick, &self.careful].map(|store| {
                    let mut files = store.files().unwrap();
                    files.iter_mut().for_each(|f| f.ingested_at = Instant(0));
                    let fleet = store.fleet().unwrap();
                    for rows_at_once in [0, 70] {
                        let mut chunks = store.van_chunks(rows_at_once).unwrap();
                        let parts: Vec<_> = (&mut chunks).map(Result::unwrap).collect();
                        assert!(parts.len() > 1 || fleet.histories.len() < 2);
                        assert_eq!(chunks.rows(), fleet.rows);
                        assert_eq!(
                            format!("{:?}", parts.concat()),
                            format!("{:?}", fleet.histories)
                        );
                    }
                    (files, store.set_aside_by_file().unwrap(), fleet)
                });
                assert_eq!(quick.0, careful.0, "{after}");
                assert_eq!(quick.1, careful.1, "{after}");
                assert_eq!(quick.2.rows, careful.2.rows, "{after}");
                let [quick, careful] = [quick.2, careful.2].map(|fleet| format!("{fleet:#?}"));
                let differs = quick.lines().zip(careful.lines()).find(|(a, b)| a != b);
                assert_eq!(differs, None, "{after}");
            }
        }

        fn readings(from: usize, to: usize) -> String {
            let mut text =
                String::from("van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm\n");
            for n in from..to {
                let (van, day, hour) = (n % 5, n % 27 + 1, n / 5 % 24);
                let ppm = 200 + n % 40;
                text += &format!(
                    "QV-{van:03},2026-{:02}-{day:02}T{hour:02}:10,QA{},{ppm},{}.5,0\n",
                    n % 8 + 1,
                    n % 3,
                    n % 11
                );
            }
            text
        }

        fn fills(van: &str) -> String {
            let mut text =
                String::from("van,started_at,ended_at,litres,meter_litres,reject_litres,source\n");
            for n in 0..60 {
                let (day, month) = (n % 27 + 1, n % 9 + 1);
                text += &format!(
                    "{van}{:02},2026-{month:02}-{day:02}T08:15,2026-{month:02}-{day:02}T08:45,{},{}.25,,mains\n",
                    n % 4,
                    300 + n,
                    1_000 + 311 * n
                );
            }
            text
        }

        #[test]
        fn stores_hold_the_same_whichever_way_their_files_came_in() {
            let pair = Pair::new();
            let first = readings(0, 300);
            pair.take("readings.csv", &first);
            // the same again, grown and corrected, with odd rows and doubles
            let grown = readings(0, 400).replace(",221,", ",222,")
                + "QV-001,2026-03-01,QA3,300,9,0\nQV-001,2026-03-01,QA3,301,9,0\n"
                + "QV-001,2026-03-01T08:00,QA3,999,9,0\n"
                + "QV-001,2026-03-01T09:00,qa3 4xy,251.50,9,0\n"
                + "QV-001,2026-03-01T09:00,qa3 4xy,251.50,9,0\n"
                + "qv 001,2026-03-01T09:00,QA3 4XY,251.5,9,0\n"
                + "QV-001,2026-03-01T09:00,QA3 4XY,252,9,0\n";
            pair.take("grown.csv", &grown);
            pair.take("readings.csv", &first);
            pair.take("fills.csv", &fills("QV-0"));
            pair.take(
                "fills again.csv",
                &fills("qv 0").replace(",mains", ",bought_in"),
            );
            let services = "van,done_at,item,quantity,cost,part,note\n\
                QV-001,2026-02-01,resin,11,84.30,mixed bed,\n\
                QV-001,2026-02-01T10:00,resin,11,84.3,mixed bed,\n\
                QV-002,2026-02-01,RO + DI,,,,both at once\n\
                QV-003,2026-02-01,tyres,,,,\n\
                QV-001,2026-02-01,resin,11,84.30,mixed bed,\n\
                QV-001,2026-02-01,resin,12,84.30,mixed bed,\n";
            pair.take("services.csv", services);
            // a list that does not know every van: their rows are set aside, with
            // the texts they came with
            pair.take(
                "vans.csv",
                "van,base_postcode\nQV-001,QA3 4XY\nQV-003,QB1 1AA\n",
            );
            assert!(!pair.quick.set_aside().unwrap().is_empty());
            pair.take("grown.csv", &grown.replace(",301,9,0", ",302,9,0"));
            pair.take(
                "fills.csv",
                &(fills("QV-0") + "QV-009,2026-10-01T08:00,,200,,,mains\n"),
            );
            pair.act(2, Action::TakenBack);
            pair.take("readings.csv", &readings(100, 320));
            pair.act(1, Action::TakenBack);
            pair.act(2, Action::PutBack);
            pair.take(
                "vans.csv",
                "van,base_postcode\nQV-000,QA3 4XY\nQV-002,QB1 1AA\n",
            );
            pair.act(1, Action::PutBack);
        }
    }
}
