//! `litrewise ingest`: files and folders into the store.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::{Context, complain};
use super::error::CliError;
use super::ledger;
use super::said;
use super::scratch::ScratchStore;
use crate::ingest::{self, DateOrder, FileReader, Options};
use crate::store::records::{Instant, RowCounts};
use crate::store::{Action, Store};

/// Take CSV files, or folders of them, into the store
///
/// Readings, fills, services, vans and hardness are told apart by their
/// headers. A row that cannot be used is set aside with its reason; the same
/// row is never stored twice. A file is taken in wholly or not at all, and can
/// be taken back out.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise ingest exports/ october.csv --date-order day-first\n  litrewise ingest --list\n  litrewise ingest --take-back october.csv"
)]
pub(super) struct IngestArgs {
    /// Files or folders; a folder is read in order of file names
    #[arg(
        required_unless_present_any = ["list", "take_back", "put_back"],
        conflicts_with_all = ["list", "take_back", "put_back"],
        value_name = "PATH"
    )]
    paths: Vec<PathBuf>,
    /// Say what would happen, store nothing
    #[arg(long)]
    dry_run: bool,
    /// How dates such as 03/04/2026 are meant, for files in which no row tells
    #[arg(long, value_enum, value_name = "ORDER")]
    date_order: Option<Order>,
    /// List the files taken in so far, with their ids
    #[arg(long, conflicts_with_all = ["take_back", "put_back", "dry_run", "date_order"])]
    list: bool,
    /// Take a file's rows back out of the store; what was done stays on record
    #[arg(long, value_name = "ID-OR-NAME", conflicts_with_all = ["put_back", "dry_run", "date_order"])]
    take_back: Option<String>,
    /// Put the rows of a file that was taken back into the store again
    #[arg(long, value_name = "ID-OR-NAME", conflicts_with_all = ["dry_run", "date_order"])]
    put_back: Option<String>,
}

/// What to do with the store's files.
enum Task {
    TakeIn,
    List,
    Act(Action, String),
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
    task: Task,
}

impl IngestArgs {
    pub(super) fn plan(self, context: &Context) -> Result<IngestPlan, CliError> {
        let settings = context.settings(&context.store)?;
        let task = match (self.take_back, self.put_back) {
            (Some(named), _) => Task::Act(Action::TakenBack, named),
            (None, Some(named)) => Task::Act(Action::PutBack, named),
            (None, None) if self.list => Task::List,
            (None, None) => Task::TakeIn,
        };
        Ok(IngestPlan {
            task,
            paths: self.paths,
            store: context.store.clone(),
            dry_run: self.dry_run,
            options: Options {
                today: context.today(&settings),
                time_zone: settings.time_zone,
                date_order: self.date_order.map(DateOrder::from),
            },
        })
    }
}

pub(super) fn run(
    plan: &IngestPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    match &plan.task {
        Task::TakeIn => {}
        Task::List => return ledger::list(&context.open_store()?, context, out),
        Task::Act(action, named) => {
            return ledger::act(&context.open_store()?, named, *action, out);
        }
    }
    let files = Files::named(&plan.paths);
    let all_good = if plan.dry_run {
        let scratch = ScratchStore::copy_of(&plan.store)?;
        let store = Store::create_or_open(&scratch.path())?;
        let good = files.take_in(&store, &plan.options, context, out)?;
        writeln!(out, "nothing was stored: --dry-run")?;
        good
    } else {
        let store = Store::create_or_open(&plan.store)?;
        context.watch(&store);
        files.take_in(&store, &plan.options, context, out)?
    };
    Ok(if all_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// The files to read, in order, and what was wrong with finding them.
struct Files {
    paths: Vec<PathBuf>,
    failed: bool,
}

impl Files {
    fn named(paths: &[PathBuf]) -> Files {
        let mut files = Files {
            paths: Vec::new(),
            failed: false,
        };
        for path in paths {
            match ingest::files_in(path) {
                Ok(found) => files.paths.extend(found),
                Err(error) => {
                    complain(CliError::from(error).on_one_line());
                    files.failed = true;
                }
            }
        }
        files
    }

    /// Takes them in one by one; a file that fails does not stop the others.
    fn take_in(
        &self,
        store: &Store,
        options: &Options,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<bool, CliError> {
        let ahead = |n: usize| {
            let path = self.paths.get(n).filter(|path| is_small(path))?;
            Some(read(path, options))
        };
        let (writer, mut next) = rayon::join(|| store.writer(), || ahead(0));
        let mut writer = writer?;
        let mut totals = RowCounts::default();
        let mut taken = 0usize;
        for (n, path) in self.paths.iter().enumerate() {
            let file = next.take();
            let file = file.unwrap_or_else(|| read(path, options));
            // committing one leaves time to read the next
            let told;
            (told, next) = rayon::join(
                || file.and_then(|file| said::file(file, &mut writer)),
                || ahead(n + 1),
            );
            match told {
                Ok(told) => {
                    writeln!(out, "{}", told.line)?;
                    for remark in &told.remarks {
                        context.say(format_args!("  {remark}"));
                    }
                    totals = totals.with(told.counts);
                    taken += 1;
                }
                Err(error @ CliError::Ingest(_)) => complain(error.on_one_line()),
                Err(error) => return Err(error),
            }
            out.flush()?;
        }
        writeln!(out, "{}", said::totals(taken, totals))?;
        Ok(!self.failed && taken == self.paths.len())
    }
}

/// Bytes of a file that is read while the one before it is still being
/// committed: its rows are all held in memory.
const SMALL: u64 = 16 << 20;

fn is_small(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|found| found.is_file() && found.len() <= SMALL)
}

fn read(path: &Path, options: &Options) -> Result<FileReader<'static>, CliError> {
    Ok(FileReader::open(path, &name_of(path), options)?)
}

/// The name as the user gave it.
fn name_of(path: &Path) -> String {
    path.display().to_string()
}

/// When a row came in is part of its history, never of a result.
pub(super) fn now() -> Instant {
    Instant(jiff::Timestamp::now().as_microsecond())
}
