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
