//! `litrewise ingest`: files and folders into the store.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::answers;
use super::context::{Context, complain};
use super::error::CliError;
use super::ledger;
use super::said;
use super::scratch::ScratchStore;
use crate::ingest::{
    self, DateOrder, Done, FileReader, Options, ReadError, Table, TankFills, shown,
};
use crate::lives;
use crate::store::records::{Instant, RowCounts};
use crate::store::{Action, Read, Store};

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
    /// What a heading is meant for, where it is not known: "Wasser=feed_ppm"
    #[arg(long, value_name = "HEADING=COLUMN", value_parser = heading)]
    column: Vec<(String, String)>,
    /// Small figures in a column of litres are tanks of so many litres; or
    /// "litres", where they are what they say
    #[arg(long, value_name = "LITRES", value_parser = tank_fills)]
    tank_fills: Option<TankFills>,
    /// Take a list of jobs that are due as work done, as far as it is ticked
    #[arg(long)]
    done: bool,
    /// The day of what is ticked without one
    #[arg(long, value_name = "DATE", requires = "done")]
    done_on: Option<jiff::civil::Date>,
    /// Fail at once where another litrewise is writing to the store
    #[arg(long)]
    no_wait: bool,
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
            no_wait: self.no_wait,
            options: Options {
                kept: answers::load(&context.store),
                date_order: self.date_order.map(DateOrder::from),
                columns: self.column,
                tank_fills: self.tank_fills,
                done: self.done.then_some(Done { on: self.done_on }),
                ..Options::new(settings.time_zone.clone(), context.today(&settings))
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
    let files = Files::named(&plan.paths, context);
    let all_good = if plan.dry_run {
        let scratch = ScratchStore::copy_of(&plan.store)?;
        let store = Store::create_or_open(&scratch.path())?;
        let good = files.take_in(&store, plan, context, out)?;
        writeln!(out, "nothing was stored: --dry-run")?;
        good
    } else {
        let store = Store::create_or_open(&plan.store)?;
        context.watch(&store);
        files.take_in(&store, plan, context, out)?
    };
    Ok(if all_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// The files and sheets to read, in order, and what was wrong with finding them.
#[derive(Default)]
struct Files {
    tables: Vec<Table>,
    failed: bool,
}

impl Files {
    fn named(paths: &[PathBuf], context: &Context) -> Files {
        let mut files = Files::default();
        for path in paths {
            match ingest::files_in(path) {
                Ok(found) => {
                    for path in &found.files {
                        files.add(path, context);
                    }
                    for path in &found.passed_over {
                        let name = name_of(path);
                        context.say(format_args!(
                            "passed over: {} (hidden, a lock, a backup or litrewise's own)",
                            shown(&name)
                        ));
                    }
                }
                Err(error) => files.fail(error),
            }
        }
        files
    }

    fn add(&mut self, path: &Path, context: &Context) {
        match ingest::tables_in(path) {
            Ok((tables, hidden)) => {
                self.tables.extend(tables);
                for sheet in hidden {
                    context.say(format_args!(
                        "passed over: {} (a hidden sheet)",
                        shown(&sheet)
                    ));
                }
            }
            Err(error) => self.fail(error),
        }
    }

    fn fail(&mut self, error: ReadError) {
        complain(CliError::from(error).on_one_line());
        self.failed = true;
    }

    /// Takes them in one by one; a file that fails does not stop the others.
    fn take_in(
        &self,
        store: &Store,
        plan: &IngestPlan,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<bool, CliError> {
        let options = &plan.options;
        let ahead = |n: usize| {
            let table = self.tables.get(n).filter(|table| is_small(table))?;
            Some(read(table, options))
        };
        let is_quiet = context.is_quiet();
        let in_turn = || {
            if !is_quiet {
                complain(
                    "another litrewise is writing to this store: waiting for it (--no-wait refuses)",
                );
            }
        };
        let writer = || match plan.no_wait {
            true => store.writer(),
            false => store.writer_in_turn(&in_turn),
        };
        let (writer, mut next) = rayon::join(writer, || ahead(0));
        let mut writer = writer?;
        let mut totals = RowCounts::default();
        let mut taken = 0usize;
        let mut kept = options.kept.clone();
        let mut is_new_answer = false;
        for (n, table) in self.tables.iter().enumerate() {
            let file = next.take();
            let file = file.unwrap_or_else(|| read(table, options));
            let shape = file.as_ref().map_or("", FileReader::shape).to_owned();
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
                    is_new_answer |= kept.keep(&shape, options);
                }
                Err(error @ CliError::Ingest(_)) => complain(error.on_one_line()),
                Err(error) => return Err(error),
            }
            out.flush()?;
        }
        writeln!(out, "{}", said::totals(taken, totals))?;
        drop(writer);
        if is_new_answer && !plan.dry_run {
            answers::save(&plan.store, &kept)?;
        }
        if taken > 0 {
            tell_what_is_missing(store, options, context)?;
        }
        Ok(!self.failed && taken == self.tables.len())
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

/// Bytes of a file that is read while the one before it is still being
/// committed: its rows are all held in memory.
const SMALL: u64 = 16 << 20;

fn is_small(table: &Table) -> bool {
    let found = std::fs::metadata(&table.path);
    table.is_held() || found.is_ok_and(|found| found.is_file() && found.len() <= SMALL)
}

fn read(table: &Table, options: &Options) -> Result<FileReader<'static>, CliError> {
    Ok(FileReader::of_table(table, options)?)
}

/// The name as the user gave it.
fn name_of(path: &Path) -> String {
    path.display().to_string()
}

/// When a row came in is part of its history, never of a result.
pub(super) fn now() -> Instant {
    Instant(jiff::Timestamp::now().as_microsecond())
}
