//! What stops a command, and how it is said.

use std::path::PathBuf;

use crate::calendar::Date;

use crate::advise::what_if::WhatIfError;
use crate::demo::WriteError;
use crate::ingest::ReadError;
use crate::lives::InTurnError;
use crate::report::ReportError;
use crate::settings::SettingsError;
use crate::store::StoreError;

/// Why a command ended before its work was done.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// What was typed cannot be meant.
    #[error("{0}")]
    Usage(String),
    #[error("cannot write the output")]
    Output(#[from] std::io::Error),
    #[error("cannot write {}", path.display())]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("cannot read {}", path.display())]
    Read {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("cannot copy {} to {}", from.display(), to.display())]
    Copy {
        from: PathBuf,
        to: PathBuf,
        source: std::io::Error,
    },
    #[error("{} already exists: choose another name, so that nobody's corrections are lost", path.display())]
    AlreadyThere { path: PathBuf },
    #[error("{} already exists and stays as it is: name another file with --write FILE, or edit it", path.display())]
    SettingsThere { path: PathBuf },
    #[error("{} holds other files: choose a new or empty folder with --out", path.display())]
    FolderInUse { path: PathBuf },
    #[error("cannot start {jobs} threads")]
    Jobs {
        jobs: usize,
        source: rayon::ThreadPoolBuildError,
    },
    #[error(
        "the store {} holds no readings, fills or services yet: run `litrewise ingest` with your files",
        store.display()
    )]
    NothingStored { store: PathBuf },
    #[error(
        "no van {name} in service on that day{}",
        near.as_ref().map_or(String::new(), |n| format!("; did you mean {n}?"))
    )]
    UnknownVan { name: String, near: Option<String> },
    #[error(transparent)]
    WhatIf(#[from] WhatIfError),
    #[error("no rows in {month}: the store holds {first} to {newest}; choose a month within")]
    NoRowsInMonth {
        month: String,
        first: Date,
        newest: Date,
    },
    #[error("there is no list of a month before {as_of}: the store's first row is of {first}")]
    NoMonthBefore { as_of: Date, first: Date },
    #[error(transparent)]
    Ingest(#[from] ReadError),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    InTurn(#[from] InTurnError),
    #[error(transparent)]
    Report(#[from] ReportError),
    #[error(transparent)]
    Settings(#[from] SettingsError),
    #[error(transparent)]
    Simulated(#[from] WriteError),
}

impl CliError {
    /// The reader of our output went away: a quiet end.
    pub fn is_closed_pipe(&self) -> bool {
        matches!(self, CliError::Output(e) if e.kind() == std::io::ErrorKind::BrokenPipe)
    }

    /// 2 for what was mistyped, 1 for everything else.
    pub fn exit_code(&self) -> u8 {
        match self {
            CliError::Usage(_)
            | CliError::UnknownVan { .. }
            | CliError::NoRowsInMonth { .. }
            | CliError::WhatIf(
                WhatIfError::NoVan(_) | WhatIfError::NoVanThere(_) | WhatIfError::NoWater(_),
            ) => 2,
            CliError::Settings(error) if error.is_mistyped() => 2,
            _ => 1,
        }
    }

    /// The error and its causes on one line.
    pub fn on_one_line(&self) -> String {
        let mut line = self.to_string();
        let mut cause = std::error::Error::source(self);
        while let Some(error) = cause {
            let text = error.to_string();
            if !line.ends_with(&text) {
                line = format!("{line}: {text}");
            }
            cause = error.source();
        }
        crate::ingest::shown(&line)
            .split(['\n', '\r'])
            .map(str::trim)
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join("; ")
    }
}
