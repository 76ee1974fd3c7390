//! What a file brought, counted.

use std::collections::BTreeMap;

use super::judge::{Verdict, who};
use super::records::{AcceptedRow, RowCounts};

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
    /// Counts accepted rows with their verdicts.
    pub(super) fn count(&mut self, rows: &[AcceptedRow], verdicts: &[Verdict]) {
        let mut unknown: BTreeMap<&str, u64> = BTreeMap::new();
        let (mut new, mut replaced, mut already_stored) = (0, 0, 0);
        for ((_, record, _), verdict) in rows.iter().zip(verdicts) {
            match verdict {
                Verdict::New => new += 1,
                Verdict::Corrected => replaced += 1,
                Verdict::AlreadyStored(_) => already_stored += 1,
                Verdict::OfNoVan | Verdict::AlreadyListed(_) => {
                    *unknown.entry(who(record)).or_default() += 1;
                }
            }
        }
        self.count_judged(new, replaced, already_stored, unknown.into_iter());
    }

    /// Counts rows by their verdicts; `unknown`: rows of no van, by name.
    pub(super) fn count_judged<'n>(
        &mut self,
        new: u64,
        replaced: u64,
        already_stored: u64,
        unknown: impl Iterator<Item = (&'n str, u64)>,
    ) {
        self.new += new;
        self.replaced += replaced;
        self.counts.already_stored += already_stored;
        for (name, rows) in unknown {
            self.counts.set_aside += rows;
            match self
                .unknown_vans
                .binary_search_by(|(van, _)| (**van).cmp(name))
            {
                Ok(i) => {
                    if let Some((_, count)) = self.unknown_vans.get_mut(i) {
                        *count += rows;
                    }
                }
                Err(i) => self.unknown_vans.insert(i, (name.to_owned(), rows)),
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
