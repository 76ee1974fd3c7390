//! What a file brought, counted.

use std::collections::BTreeMap;

use super::judge::{Verdict, who};
use super::records::{FileRows, RowCounts};

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
}

impl FileOutcome {
    pub(super) fn of(file: &FileRows, verdicts: &[Verdict], mended: u64) -> FileOutcome {
        let mut outcome = FileOutcome {
            mended,
            ..FileOutcome::default()
        };
        let mut unknown: BTreeMap<&str, u64> = BTreeMap::new();
        for ((_, record, _), verdict) in file.rows.iter().zip(verdicts) {
            match verdict {
                Verdict::New => outcome.new += 1,
                Verdict::Corrected => outcome.replaced += 1,
                Verdict::AlreadyStored => outcome.counts.already_stored += 1,
                Verdict::OfNoVan | Verdict::AlreadyListed => {
                    *unknown.entry(who(record)).or_default() += 1;
                }
            }
        }
        let of_no_van: u64 = unknown.values().sum();
        outcome.unknown_vans = unknown
            .into_iter()
            .map(|(name, rows)| (name.to_owned(), rows))
            .collect();
        outcome.counts.stored = outcome.new + outcome.replaced;
        outcome.counts.set_aside = of_no_van + file.set_aside.len() as u64;
        outcome.counts.read =
            outcome.counts.stored + outcome.counts.already_stored + outcome.counts.set_aside;
        outcome
    }
}
