//! What a person should put right in a van's records.

use std::collections::BTreeMap;

use crate::calendar::Date;

use super::types::{About, RecordsRemark};

/// Faults that may come row after row: counted, told once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Repeated {
    CounterStoodStill,
    CounterWentBack,
    CounterMisread,
    CounterAndLitresDisagree,
    LitresUnknown,
    CounterBegins,
    MoreThanTheTank,
    BeyondTheTank,
    CopiedReading,
    SwappedProbes,
    MembraneNotBelowTap,
    TapReadsZero,
    MembraneReadsZero,
    LooksLikeConductivity,
    TapTenTimesOff,
    OtherScale,
    RowsAfterOutOfService,
}

impl Repeated {
    fn about(self) -> About {
        match self {
            Repeated::CounterStoodStill
            | Repeated::CounterWentBack
            | Repeated::CounterMisread
            | Repeated::CounterAndLitresDisagree
            | Repeated::LitresUnknown
            | Repeated::CounterBegins
            | Repeated::MoreThanTheTank
            | Repeated::BeyondTheTank => About::Litres,
            Repeated::CopiedReading
            | Repeated::SwappedProbes
            | Repeated::MembraneNotBelowTap
            | Repeated::TapReadsZero
            | Repeated::MembraneReadsZero
            | Repeated::LooksLikeConductivity
            | Repeated::TapTenTimesOff
            | Repeated::OtherScale => About::Probe,
            Repeated::RowsAfterOutOfService => About::Van,
        }
    }

    fn text(self, count: usize) -> String {
        let many = count > 1;
        let fills = if many {
            format!("{count} fills")
        } else {
            "1 fill".to_owned()
        };
        let readings = if many {
            format!("{count} readings")
        } else {
            "1 reading".to_owned()
        };
        let last = if many {
            " (the latest on this day)"
        } else {
            ""
        };
        match self {
            Repeated::CounterStoodStill => format!(
                "{fills} without litres while the water meter did not move{last}; counted as 0 L"
            ),
            Repeated::CounterWentBack => format!(
                "water meter lower than before at {fills}{last}; looks misread, \
                 counted with the next reading instead"
            ),
            Repeated::CounterMisread => format!(
                "water meter jumped further than the van can have filled at {fills}{last} \
                 and came back; looks misread, ignored"
            ),
            Repeated::CounterAndLitresDisagree => {
                format!("litres and water meter differ by more than 10 % at {fills}{last}; litres used")
            }
            Repeated::LitresUnknown => {
                format!("litres unknown for {fills}{last}; this van's usual fill used instead")
            }
            Repeated::CounterBegins => {
                "first water-meter reading: nothing to subtract it from, so its litres are this van's usual fill"
                    .to_owned()
            }
            Repeated::MoreThanTheTank => {
                format!("{fills} of more than the tank holds{last}; check litres or tank size")
            }
            Repeated::BeyondTheTank => format!(
                "{fills} of more than the tank holds within a day of the one before{last}; \
                 not used, this van's usual fill or the water meter instead: check litres or tank size"
            ),
            Repeated::CopiedReading => format!(
                "{readings} with the same figures as the ones before{last}; look copied, not used"
            ),
            Repeated::SwappedProbes => format!(
                "tap TDS and membrane TDS look swapped in {readings}{last}; swapped back"
            ),
            Repeated::MembraneNotBelowTap => format!(
                "membrane TDS not below tap TDS in {readings}{last}; not used, check the TDS meters"
            ),
            Repeated::TapReadsZero => {
                format!("tap TDS reads 0 in {readings}{last}; TDS meter off or dry, not used")
            }
            Repeated::MembraneReadsZero => format!(
                "membrane TDS reads 0 in {readings}{last} though tap TDS does not; \
                 TDS meter off or not connected, not used"
            ),
            Repeated::LooksLikeConductivity => format!(
                "all TDS meters read twice the usual in {readings}{last}; looks like conductivity \
                 (µS/cm) written as ppm, not used: head the column µS/cm and send the file again"
            ),
            Repeated::TapTenTimesOff => format!(
                "tap TDS is ten times off the usual in {readings}{last} while the other meters \
                 are not; a decimal point lost? Not used until corrected"
            ),
            Repeated::OtherScale => format!(
                "all TDS meters read 1.4 times more or less than usual in {readings}{last}; a meter \
                 on another scale (0.7 instead of 0.5)? Kept as read"
            ),
            Repeated::RowsAfterOutOfService => format!(
                "{count} row{} after the van went out of service{last}; not used",
                if many { "s" } else { "" }
            ),
        }
    }
}

/// Collects remarks on one van.
#[derive(Debug, Default)]
pub(crate) struct Remarks {
    single: Vec<RecordsRemark>,
    repeated: BTreeMap<Repeated, (usize, Date)>,
}

impl Remarks {
    /// A remark of its own.
    pub(crate) fn note(&mut self, about: About, date: Option<Date>, text: impl Into<String>) {
        self.single.push(RecordsRemark {
            date,
            about,
            text: text.into(),
        });
    }

    /// One more of a kind.
    pub(crate) fn count(&mut self, what: Repeated, date: Date) {
        let entry = self.repeated.entry(what).or_insert((0, date));
        entry.0 += 1;
        entry.1 = entry.1.max(date);
    }

    /// All remarks, by date, undated ones first.
    pub(crate) fn finish(self) -> Vec<RecordsRemark> {
        let mut all = self.single;
        all.extend(
            self.repeated
                .into_iter()
                .map(|(what, (count, last))| RecordsRemark {
                    date: Some(last),
                    about: what.about(),
                    text: what.text(count),
                }),
        );
        all.sort();
        all.dedup();
        all
    }
}
