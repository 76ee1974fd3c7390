//! `litrewise ingest`: files and folders into the store.

use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::context::{Context, complain};
use super::error::CliError;
use super::json;
use super::said::{self, Told};
use super::scratch::ScratchStore;
use crate::ingest::{self, DateOrder, FileReader, Options};
use crate::settings::Settings;
use crate::store::Store;
use crate::store::records::{Instant, RowCounts};

/// Take CSV files, or folders of them, into the store
///
/// Readings, fills, services, vans and hardness are told apart by their
/// headers. A row that cannot be used is set aside with its reason; the same
/// row is never stored twice. A file is imported complete or not at all, and
/// `litrewise files take-back` removes it again.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise ingest exports/ october.csv --date-order day-first\n  litrewise ingest - < october.csv"
)]
pub(super) struct IngestArgs {
    /// Files or folders, - for standard input; a folder is read in order of file names
    #[arg(required = true, value_name = "PATH")]
    paths: Vec<PathBuf>,
    /// Say what would happen, store nothing
    #[arg(long, short = 'n')]
    dry_run: bool,
    /// How dates such as 03/04/2026 are meant, for files in which no row tells
    #[arg(long, value_enum, value_name = "ORDER")]
    date_order: Option<Order>,
    /// Output format
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For scripts
    Json,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Order {
    #[value(name = "day-first")]
    Day,
    #[value(name = "month-first")]
    Month,
    #[value(name = "year-first")]
    Year,
}

impl From<Order> for DateOrder {
    fn from(order: Order) -> DateOrder {
        match order {
            Order::Day => DateOrder::DayFirst,
            Order::Month => DateOrder::MonthFirst,
            Order::Year => DateOrder::YearFirst,
        }
    }
}

pub(super) struct IngestPlan {
    paths: Vec<PathBuf>,
    store: PathBuf,
    dry_run: bool,
    options: Options,
    format: Format,
}

impl IngestArgs {
    pub(super) fn plan(self, context: &Context) -> Result<IngestPlan, CliError> {
        let settings = context.settings(&context.store)?;
        Ok(IngestPlan {
            paths: self.paths,
            store: context.store.clone(),
            dry_run: self.dry_run,
            options: options(&settings, self.date_order.map(DateOrder::from), context),
            format: self.format,
        })
    }
}

fn options(settings: &Settings, date_order: Option<DateOrder>, context: &Context) -> Options {
    Options {
        today: context.today(settings),
        time_zone: settings.time_zone.clone(),
        date_order,
    }
}

/// Takes files in and tells of those that held anything new; says whether all
/// could be read.
pub(super) fn only_new(
    paths: &[PathBuf],
    store: &Store,
    settings: &Settings,
    context: &Context,
    out: &mut dyn Write,
) -> Result<bool, CliError> {
    let files = Files::named(paths)?;
    let mut old = 0;
    let taken = files.take_in(store, &options(settings, None, context), &mut |told| {
        let counts = told.counts;
        if counts.already_stored == counts.read && counts.read > 0 {
            old += 1;
            return Ok(());
        }
        say(told, context, out)
    })?;
    if old > 0 {
        let files = if old == 1 { "file" } else { "files" };
        writeln!(out, "{old} {files} with nothing new")?;
    }
    Ok(taken.refused.is_empty())
}

/// A file's line and its remarks.
fn say(told: &Told, context: &Context, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out, "{}", told.line)?;
    for remark in told.remarks(context.verbose) {
        context.say(format_args!("  {remark}"));
    }
    Ok(out.flush()?)
}

pub(super) fn run(
    plan: &IngestPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let files = Files::named(&plan.paths)?;
    let mut tell = |told: &Told| match plan.format {
        Format::Text => say(told, context, out),
        Format::Json => Ok(()),
    };
    let taken = if plan.dry_run {
        let scratch = ScratchStore::copy_of(&plan.store)?;
        let store = Store::create_or_open(&scratch.path())?;
        files.take_in(&store, &plan.options, &mut tell)?
    } else {
        let store = Store::create_or_open(&plan.store)?;
        context.watch(&store);
        files.take_in(&store, &plan.options, &mut tell)?
    };
    match plan.format {
        Format::Json => {
            let document = Document {
                dry_run: plan.dry_run,
                taken,
            };
            json::write(&document, out)?;
            return Ok(code(&document.taken));
        }
        Format::Text => {
            writeln!(out, "{}", said::totals(taken.files.len(), taken.rows))?;
            if plan.dry_run {
                writeln!(out, "nothing was stored: --dry-run")?;
            }
        }
    }
    Ok(code(&taken))
}

fn code(taken: &Taken) -> ExitCode {
    match taken.refused.is_empty() {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    }
}

#[derive(Serialize)]
struct Document {
    dry_run: bool,
    #[serde(flatten)]
    taken: Taken,
}

/// What became of the files that were named.
#[derive(Serialize)]
struct Taken {
    files: Vec<TakenFile>,
    /// What could not be read, in words.
    refused: Vec<String>,
    rows: RowCounts,
}

#[derive(Serialize)]
struct TakenFile {
    file: String,
    recognised: String,
    rows: RowCounts,
    /// Of those stored: new records, and corrected ones.
    new: u64,
    corrected: u64,
    /// Rows set aside before that are in now.
    now_accepted: u64,
    remarks: Vec<String>,
}

impl From<Told> for TakenFile {
    fn from(told: Told) -> TakenFile {
        TakenFile {
            remarks: told.remarks(true),
            file: told.name,
            recognised: told.recognised,
            rows: told.counts,
            new: told.new,
            corrected: told.corrected,
            now_accepted: told.now_accepted,
        }
    }
}

/// Where rows come from.
enum Source {
    Path(PathBuf),
    /// What stood on standard input.
    Input(Vec<u8>),
}

/// What to read, in order, and what was wrong with finding it.
struct Files {
    sources: Vec<Source>,
    refused: Vec<String>,
}

impl Files {
    fn named(paths: &[PathBuf]) -> Result<Files, CliError> {
        let mut files = Files {
            sources: Vec::new(),
            refused: Vec::new(),
        };
        for path in paths {
            if path.as_os_str() == "-" {
                let mut bytes = Vec::new();
                let read = std::io::stdin().lock().read_to_end(&mut bytes);
                read.map_err(|source| CliError::Read {
                    path: STANDARD_INPUT.into(),
                    source,
                })?;
                files.sources.push(Source::Input(bytes));
                continue;
            }
            match ingest::files_in(path) {
                Ok(found) => files.sources.extend(found.into_iter().map(Source::Path)),
                Err(error) => files.refuse(&CliError::from(error)),
            }
        }
        Ok(files)
    }

    fn refuse(&mut self, error: &CliError) {
        let line = error.on_one_line();
        complain("error", &line);
        self.refused.push(line);
    }

    /// Takes them in one by one; a file that fails does not stop the others.
    fn take_in(
        mut self,
        store: &Store,
        options: &Options,
        tell: &mut dyn FnMut(&Told) -> Result<(), CliError>,
    ) -> Result<Taken, CliError> {
        let sources = std::mem::take(&mut self.sources);
        let ahead = |n: usize| {
            let source = sources.get(n).filter(|source| source.is_small())?;
            Some(source.read(options))
        };
        let (writer, mut next) = rayon::join(|| store.writer(), || ahead(0));
        let mut writer = writer?;
        let mut rows = RowCounts::default();
        let mut files = Vec::new();
        for (n, source) in sources.iter().enumerate() {
            let file = next.take();
            let file = file.unwrap_or_else(|| source.read(options));
            // committing one leaves time to read the next
            let told;
            (told, next) = rayon::join(
                || file.and_then(|file| said::file(file, &mut writer)),
                || ahead(n + 1),
            );
            match told {
                Ok(told) => {
                    tell(&told)?;
                    rows = rows.with(told.counts);
                    files.push(TakenFile::from(told));
                }
                Err(error @ CliError::Ingest(_)) => self.refuse(&error),
                Err(error) => return Err(error),
            }
        }
        Ok(Taken {
            files,
            refused: self.refused,
            rows,
        })
    }
}

impl Source {
    /// Whether it may be read while the one before it is still being committed:
    /// its rows are all held in memory.
    fn is_small(&self) -> bool {
        const SMALL: u64 = 16 << 20;
        match self {
            Source::Path(path) => {
                std::fs::metadata(path).is_ok_and(|found| found.is_file() && found.len() <= SMALL)
            }
            Source::Input(bytes) => bytes.len() as u64 <= SMALL,
        }
    }

    fn read(&self, options: &Options) -> Result<FileReader<'_>, CliError> {
        Ok(match self {
            // The name as the user gave it.
            Source::Path(path) => FileReader::open(path, &path.display().to_string(), options)?,
            Source::Input(bytes) => FileReader::of_bytes(bytes, STANDARD_INPUT, options)?,
        })
    }
}

/// What rows from there are said to come from.
const STANDARD_INPUT: &str = "standard input";

/// When a row came in is part of its history, never of a result.
pub(super) fn now() -> Instant {
    Instant(jiff::Timestamp::now().as_microsecond())
}
