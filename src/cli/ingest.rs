//! `litrewise ingest`: files and folders into the store.

use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use serde::Serialize;

use super::answers;
use super::context::{Context, complain};
use super::error::CliError;
use super::format::{Format, one_of};
use super::json;
use super::said::{self, FileSummary};
use super::scratch::ScratchStore;
use crate::ingest::{self, DateOrder, Done, FileReader, Options, Table, TankFills, shown};
use crate::lives;
use crate::settings::Settings;
use crate::store::records::{Instant, RowCounts};
use crate::store::{Read, Store};

/// Take sheets (CSV, workbooks, JSON lines), or folders of them, into the store
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
    /// What a heading is meant for, where it is not known: "Wasser=feed_ppm"
    #[arg(long, value_name = "HEADING=COLUMN", value_parser = heading)]
    column: Vec<(String, String)>,
    /// Small figures in a column of litres are tanks of so many litres; or
    /// "litres", where they are what they say
    #[arg(long, value_name = "LITRES", value_parser = tank_fills)]
    tank_fills: Option<TankFills>,
    /// The van of files in which no column says which
    #[arg(long, value_name = "NAME")]
    van: Option<String>,
    /// Each sheet of a workbook is of the van that it is called
    #[arg(long, conflicts_with = "van")]
    van_by_sheet: bool,
    /// Take a list of jobs that are due as work done, as far as it is ticked
    #[arg(long)]
    done: bool,
    /// The day of what is ticked without one
    #[arg(long, value_name = "DATE", requires = "done")]
    done_on: Option<crate::calendar::Date>,
    /// Fail at once where another litrewise is writing to the store
    #[arg(long)]
    no_wait: bool,
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json]))]
    format: Format,
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

/// `Wasser=feed_ppm`
fn heading(text: &str) -> Result<(String, String), String> {
    let (heading, column) = text
        .rsplit_once('=')
        .ok_or("write it as HEADING=COLUMN, as in \"Wasser=feed_ppm\"")?;
    let column = column.trim();
    match ingest::is_column(column) {
        true => Ok((heading.trim().to_owned(), column.to_owned())),
        false => Err(format!(
            "{column} is no column of ours: `litrewise template` shows them all"
        )),
    }
}

fn tank_fills(text: &str) -> Result<TankFills, String> {
    let word = text.trim().trim_end_matches(['l', 'L']).trim_end();
    if text.eq_ignore_ascii_case("litres") {
        return Ok(TankFills::Litres);
    }
    match word.parse::<f64>() {
        Ok(litres) if (20.0..=20_000.0).contains(&litres) => Ok(TankFills::Tanks(litres)),
        _ => Err("say how many litres a tank holds (20 to 20000), or \"litres\"".to_owned()),
    }
}

pub(super) struct IngestPlan {
    paths: Vec<PathBuf>,
    store: PathBuf,
    dry_run: bool,
    no_wait: bool,
    van_by_sheet: bool,
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
            no_wait: self.no_wait,
            van_by_sheet: self.van_by_sheet,
            options: Options {
                van: self.van,
                date_order: self.date_order.map(DateOrder::from),
                columns: self.column,
                tank_fills: self.tank_fills,
                done: self.done.then_some(Done { on: self.done_on }),
                ..options(&settings, context)
            },
            format: self.format,
        })
    }
}

/// How files are read where nothing is said on the command line: as was once said.
fn options(settings: &Settings, context: &Context) -> Options {
    Options {
        kept: answers::load(&context.store),
        ..Options::new(settings.time_zone, context.today(settings))
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
    let files = Files::named(paths, context)?;
    let mut old = 0;
    let options = options(settings, context);
    let taken = files.take_in(store, &options, false, context, &mut |summary| {
        let counts = summary.counts;
        if counts.already_stored == counts.read && counts.read > 0 {
            old += 1;
            return Ok(());
        }
        say(summary, context, out)
    })?;
    if old > 0 {
        let files = if old == 1 { "file" } else { "files" };
        writeln!(out, "{old} {files} with nothing new")?;
    }
    Ok(taken.refused.is_empty())
}

/// A file's line and its remarks.
fn say(summary: &FileSummary, context: &Context, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out, "{}", summary.line)?;
    for remark in summary.remarks(context.verbose) {
        context.say(format_args!("  {remark}"));
    }
    if let Some(refused) = summary.refused().filter(|_| context.verbose) {
        context.say(format_args!("  {refused}"));
    }
    Ok(out.flush()?)
}

pub(super) fn run(
    plan: &IngestPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let mut files = Files::named(&plan.paths, context)?;
    files.van_by_sheet = plan.van_by_sheet;
    let mut tell = |summary: &FileSummary| match plan.format {
        Format::Json => Ok(()),
        _ => say(summary, context, out),
    };
    let taken = if plan.dry_run {
        let scratch = ScratchStore::copy_of(&plan.store)?;
        let store = Store::create_or_open(&scratch.path())?;
        files.take_in(&store, &plan.options, plan.no_wait, context, &mut tell)?
    } else {
        let store = Store::create_or_open(&plan.store)?;
        context.watch(&store);
        let taken = files.take_in(&store, &plan.options, plan.no_wait, context, &mut tell)?;
        if let Some(answers) = &taken.new_answers {
            answers::save(&plan.store, answers)?;
        }
        if !taken.files.is_empty() {
            tell_what_is_missing(&store, &plan.options, context)?;
        }
        taken
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
        _ => {
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
    /// What was said of files of a shape, where it was new.
    #[serde(skip)]
    new_answers: Option<ingest::Answers>,
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

impl From<FileSummary> for TakenFile {
    fn from(summary: FileSummary) -> TakenFile {
        TakenFile {
            remarks: summary.remarks(true),
            file: summary.name,
            recognised: summary.recognised,
            rows: summary.counts,
            new: summary.new,
            corrected: summary.corrected,
            now_accepted: summary.now_accepted,
        }
    }
}

/// Where rows come from.
enum Source {
    Table(Table),
    /// What stood on standard input.
    Input(Vec<u8>),
}

/// What to read, in order, and what was wrong with finding it.
#[derive(Default)]
struct Files {
    sources: Vec<Source>,
    /// Whether sheets are called by their vans.
    van_by_sheet: bool,
    refused: Vec<String>,
}

impl Files {
    fn named(paths: &[PathBuf], context: &Context) -> Result<Files, CliError> {
        let mut files = Files::default();
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
                Ok(found) => {
                    for path in &found.files {
                        files.add(path, context);
                    }
                    for path in &found.passed_over {
                        context.say(format_args!(
                            "passed over: {} (hidden, a lock, a backup or litrewise's own)",
                            shown(&path.display().to_string())
                        ));
                    }
                }
                Err(error) => files.refuse(&CliError::from(error)),
            }
        }
        Ok(files)
    }

    fn add(&mut self, path: &Path, context: &Context) {
        match ingest::tables_in(path) {
            Ok((tables, hidden)) => {
                self.sources.extend(tables.into_iter().map(Source::Table));
                for sheet in hidden {
                    context.say(format_args!(
                        "passed over: {} (a hidden sheet)",
                        shown(&sheet)
                    ));
                }
            }
            Err(error) => self.refuse(&CliError::from(error)),
        }
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
        no_wait: bool,
        context: &Context,
        tell: &mut dyn FnMut(&FileSummary) -> Result<(), CliError>,
    ) -> Result<Taken, CliError> {
        let sources = std::mem::take(&mut self.sources);
        let by_sheet = self.van_by_sheet;
        let of_source = |source: &Source| Options {
            van: by_sheet
                .then(|| source.sheet())
                .flatten()
                .or_else(|| options.van.clone()),
            ..options.clone()
        };
        let ahead = |n: usize| {
            let source = sources.get(n).filter(|source| source.is_small())?;
            Some(source.read(&of_source(source)))
        };
        let is_quiet = context.is_quiet();
        let in_turn = || {
            if !is_quiet {
                complain(
                    "warning",
                    "another litrewise is writing to this store: waiting for it (--no-wait refuses)",
                );
            }
        };
        let writer = || match no_wait {
            true => store.writer(),
            false => store.writer_in_turn(&in_turn),
        };
        let (writer, mut next) = rayon::join(writer, || ahead(0));
        let mut writer = writer?;
        let mut rows = RowCounts::default();
        let mut files = Vec::new();
        let mut kept = options.kept.clone();
        let mut is_new_answer = false;
        for (n, source) in sources.iter().enumerate() {
            let file = next.take();
            let file = file.unwrap_or_else(|| source.read(&of_source(source)));
            let shape = file.as_ref().map_or("", FileReader::shape).to_owned();
            let van = file
                .as_ref()
                .ok()
                .and_then(FileReader::van)
                .map(str::to_owned);
            let van = van.filter(|_| by_sheet || options.van.is_some());
            // committing one leaves time to read the next
            let summary;
            (summary, next) = rayon::join(
                || file.and_then(|file| said::file(file, &mut writer)),
                || ahead(n + 1),
            );
            match summary {
                Ok(summary) => {
                    tell(&summary)?;
                    is_new_answer |= van.is_some_and(|van| kept.keep_van(&summary.name, &van));
                    rows = rows.with(summary.counts);
                    files.push(TakenFile::from(summary));
                    is_new_answer |= kept.keep(&shape, options);
                }
                Err(error @ CliError::Ingest(_)) => self.refuse(&error),
                Err(error) => return Err(error),
            }
        }
        Ok(Taken {
            files,
            refused: self.refused,
            rows,
            new_answers: is_new_answer.then_some(kept),
        })
    }
}

/// Rows of the largest fleet that is looked through for gaps after an ingest.
const MOST_LOOKED_THROUGH: u64 = 1_500_000;
/// Gaps told in full.
const GAPS_SHOWN: usize = 6;

/// Says which months and vans the records lack.
fn tell_what_is_missing(
    store: &Store,
    options: &Options,
    context: &Context,
) -> Result<(), CliError> {
    let Read::Whole(fleet) = store.fleet_up_to(MOST_LOOKED_THROUGH, 1)? else {
        return Ok(());
    };
    let missing = lives::missing(&fleet, options.today, &options.time_zone);
    for gap in missing.iter().take(GAPS_SHOWN) {
        context.say(format_args!("missing: {gap}"));
    }
    if let Some(more) = missing
        .len()
        .checked_sub(GAPS_SHOWN)
        .filter(|more| *more > 0)
    {
        context.say(format_args!("and {more} gaps more"));
    }
    Ok(())
}

impl Source {
    /// Whether it may be read while the one before it is still being committed:
    /// its rows are all held in memory.
    fn is_small(&self) -> bool {
        const SMALL: u64 = 16 << 20;
        match self {
            Source::Table(table) => {
                let found = std::fs::metadata(&table.path);
                table.is_held() || found.is_ok_and(|f| f.is_file() && f.len() <= SMALL)
            }
            Source::Input(bytes) => bytes.len() as u64 <= SMALL,
        }
    }

    /// What its sheet is called, if it is one.
    fn sheet(&self) -> Option<String> {
        match self {
            Source::Table(table) => Some(table.name.rsplit_once('#')?.1.to_owned()),
            Source::Input(_) => None,
        }
    }

    fn read(&self, options: &Options) -> Result<FileReader<'_>, CliError> {
        Ok(match self {
            Source::Table(table) => FileReader::of_table(table, options)?,
            Source::Input(bytes) => FileReader::of_bytes(bytes, STANDARD_INPUT, options)?,
        })
    }
}

/// What rows from there are said to come from.
const STANDARD_INPUT: &str = "standard input";

/// When a row came in is part of its history, never of a result.
pub(super) fn now() -> Instant {
    Instant(crate::calendar::now_micros())
}
