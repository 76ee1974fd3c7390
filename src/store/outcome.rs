//! What a file brought, counted.

use super::judge::Judged;
use super::records::RowCounts;

/// What a file brought.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileOutcome {
    pub counts: RowCounts,
    /// Of those stored: corrected versions of records known before.
    pub replaced: u64,
    /// Of those stored: records not known before.
    pub new: u64,
    /// Names that the van list does not know, with their rows; by name.
    pub unknown_vans: Vec<(String, u64)>,
    /// Rows set aside before that are in now.
    pub mended: u64,
    /// Rows that say which row set aside they replace, where there is none.
    pub stray: u64,
    /// Rows that were taken back by hand before, and stay out.
    pub kept_out: u64,
    /// Rows that are stored already, but of which a later version holds.
    pub overruled: Vec<Overruled>,
    /// Rows stored from an earlier file of this name that it does not hold any
    /// more, though it holds those around them.
    pub vanished: Vec<Vanished>,
}

/// A row that is stored already, but of which a later version holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overruled {
    pub line: u64,
    /// The file of the version that holds, and its line there.
    pub by_file: String,
    pub by_id: u64,
    pub by_line: u64,
}

/// A stored row that the file does not hold any more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vanished {
    pub file_id: u64,
    pub line: u64,
    pub kind: &'static str,
    pub text: String,
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
