//! What stops a report from being written.

use std::io;
use std::path::PathBuf;

use thiserror::Error;

/// Why a report could not be made.
#[derive(Debug, Error)]
pub enum ReportError {
    /// A file or folder could not be made, written or put in its place.
    #[error(
        "cannot write {path}: the report that stood there is unchanged; check the folder and the free space",
        path = path.display()
    )]
    CannotWrite { path: PathBuf, source: io::Error },
    /// The output place is a file.
    #[error("{path} is a file, but the report needs a folder: give another --out", path = path.display())]
    NotAFolder { path: PathBuf },
    /// A page could not be drawn.
    #[error("page {page} could not be drawn")]
    CannotDraw { page: String, source: DrawError },
    /// A page could not be turned into a PNG.
    #[error("page {page} could not be turned into a PNG")]
    CannotEncode {
        page: String,
        source: png::EncodingError,
    },
    /// The workbook could not be made.
    #[error("the workbook could not be made")]
    CannotMakeWorkbook(#[source] rust_xlsxwriter::XlsxError),
    /// The assessment could not be written as JSON.
    #[error("the assessment could not be written as JSON")]
    CannotSerialise(#[source] serde_json::Error),
}

/// What stops a page from being drawn.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum DrawError {
    /// The bundled font cannot be read.
    #[error("the bundled font {0} is not readable; the program was built wrongly")]
    Font(&'static str),
    /// The plotting library refused a chart.
    #[error("a chart could not be laid out: {0}")]
    Chart(String),
    /// A page without room, or too large to be held.
    #[error("a page of {0} by {1} pixels cannot be drawn")]
    Size(u32, u32),
}
