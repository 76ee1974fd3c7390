//! Why a whole file cannot be taken in: one clear sentence each.

use super::headers::RecordKind;
use super::own_output::OwnOutput;

/// A file that yields no rows at all. The other files still go in.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    #[error("{file}: no such file or folder")]
    Missing { file: String },
    #[error("{file}: cannot be read")]
    Unreadable {
        file: String,
        #[source]
        source: std::io::Error,
    },
    #[error("{file}: neither a file nor a pipe: name a CSV file or a folder of them")]
    NoFile { file: String },
    #[error(
        "{file}: changed while it was being read, so nothing of it was taken in: ingest it again once it is finished"
    )]
    Changed { file: String },
    #[error("{file}: the file is empty")]
    Empty { file: String },
    #[error("{file}: the folder holds no files")]
    EmptyFolder { file: String },
    #[error(
        "{file}: {what}: open it, choose \"Save as\" or \"Download\", pick .xlsx, .ods or CSV, and ingest that"
    )]
    Workbook { file: String, what: &'static str },
    #[error(
        "{file}: a workbook that cannot be read ({why}): open it, save it anew, and ingest that"
    )]
    SpoiltWorkbook { file: String, why: String },
    #[error("{file}: {what}, not CSV: unpack it and ingest the CSV files inside")]
    Archive { file: String, what: &'static str },
    #[error("{file}: {what}, not CSV: export the table as CSV and ingest that")]
    NotText { file: String, what: &'static str },
    #[error(
        "{file}: not one of ours: no line looks like the header of readings, fills, services, vans or hardness (`litrewise template` shows all five){}", headed(.headings)
    )]
    NotOurs { file: String, headings: String },
    #[error("{file}:{line}: looks like {kind}, but {lacking}{}", headed(.headings))]
    LacksColumn {
        file: String,
        line: u64,
        kind: RecordKind,
        lacking: &'static str,
        /// What was found, and what it is taken for.
        headings: String,
    },
    #[error("{file}: {}", .output.label())]
    OwnOutput { file: String, output: OwnOutput },
    #[error(
        "{file}:{line}: no column says what was done: head one done_on and give the day, or an x and --done-on"
    )]
    NoTicks { file: String, line: u64 },
    #[error(
        "{file}:{line}: looks like {kind}, but several columns could be {column} ({headers}): name one of them {column}"
    )]
    TwoForOne {
        file: String,
        line: u64,
        kind: RecordKind,
        column: &'static str,
        headers: String,
    },
}

fn headed(headings: &str) -> String {
    match headings {
        "" => String::new(),
        headings => {
            format!("; its headings: {headings}. Rename a heading, or say --column HEADING=COLUMN")
        }
    }
}
