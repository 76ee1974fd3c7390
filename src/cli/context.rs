//! What every command needs besides its own options.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::io::Write;
use std::path::{Path, PathBuf};

use crate::calendar::{Date, LAST_DAY};

use super::args::Shared;
use super::error::CliError;
use super::progress::Progress;
use super::screen;
use crate::ingest::shown;
use crate::report::text::Screen;
use crate::settings::{self, Overrides, Settings};
use crate::store::{DamageSeen, Store};

/// The shared options, checked.
pub(super) struct Context {
    pub store: PathBuf,
    pub as_of: Option<Date>,
    pub screen: Screen,
    pub verbose: bool,
    quiet: bool,
    overrides: Overrides,
    today: Option<Date>,
    stores: RefCell<Vec<DamageSeen>>,
}

impl Context {
    pub(super) fn new(shared: Shared) -> Result<Context, CliError> {
        if let Some(jobs) = shared.jobs {
            rayon::ThreadPoolBuilder::new()
                .num_threads(jobs.get())
                .build_global()
                .map_err(|source| CliError::Jobs {
                    jobs: jobs.get(),
                    source,
                })?;
        }
        let environment = std::env::vars_os()
            .filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?)))
            .filter(|(name, _)| name.starts_with("LITREWISE_"))
            .collect();
        Ok(Context {
            store: shared.store,
            as_of: shared.as_of,
            screen: screen::screen(shared.color),
            verbose: shared.verbose,
            quiet: shared.quiet,
            overrides: Overrides {
                environment,
                flags: shared.set,
            },
            today: shared.today,
            stores: RefCell::default(),
        })
    }

    /// Opens the store of the context. What is found damaged while it is read
    /// is said at the end.
    pub(super) fn open_store(&self) -> Result<Store, CliError> {
        let store = Store::open(&self.store)?;
        self.watch(&store);
        Ok(store)
    }

    /// The same for a store that is open.
    pub(super) fn watch(&self, store: &Store) {
        self.stores.borrow_mut().push(store.damage_seen());
    }

    /// Names everything that was found damaged; says whether anything was.
    pub(super) fn name_damage(&self) -> bool {
        let seen: BTreeMap<_, _> = self
            .stores
            .borrow()
            .iter()
            .flat_map(DamageSeen::list)
            .map(|damage| (damage.path, damage.what))
            .collect();
        for (path, what) in &seen {
            complain(
                "warning",
                format_args!("{} {what}: left out", path.display()),
            );
        }
        if !seen.is_empty() {
            complain(
                "warning",
                "not all of the store can be read, so the results are not complete: `litrewise check` says what to do",
            );
        }
        !seen.is_empty()
    }

    /// The settings in force for a store.
    pub(super) fn settings(&self, store: &Path) -> Result<Settings, CliError> {
        Ok(settings::load(store, &self.overrides)?)
    }

    /// The settings in force for the context's store, and where each came from.
    pub(super) fn settings_with_origins(&self) -> Result<settings::Effective, CliError> {
        Ok(settings::load_with_origins(&self.store, &self.overrides)?)
    }

    /// Environment variables that begin like ours and are nothing of ours.
    pub(super) fn strange_variables(&self) -> Vec<&str> {
        const OTHERS: [&str; 3] = ["LITREWISE_STORE", "LITREWISE_TODAY", "LITREWISE_TIME_ZONE"];
        let sections = settings::SECTIONS.map(|section| format!("{}_", section.to_uppercase()));
        self.overrides
            .environment
            .iter()
            .map(|(name, _)| name.as_str())
            .filter(|name| !OTHERS.contains(name))
            .filter(|name| {
                let rest = name.trim_start_matches("LITREWISE_");
                !sections.iter().any(|s| rest.starts_with(s.as_str()))
            })
            .collect()
    }

    /// Today in the fleet's time zone: only to refuse rows of the future.
    pub(super) fn today(&self, settings: &Settings) -> Date {
        self.today.unwrap_or_else(|| {
            settings
                .time_zone
                .local(crate::calendar::now_micros())
                .map_or(LAST_DAY, |now| now.date())
        })
    }

    /// A counter for something that takes its time.
    pub(super) fn progress(&self, what: &'static str) -> Progress {
        Progress::counted(what, self.quiet)
    }

    /// A sign of life for something that takes its time.
    pub(super) fn busy(&self, what: &'static str) -> Progress {
        Progress::uncounted(what, self.quiet)
    }

    /// Whether nothing but results and failures is said.
    pub(super) fn is_quiet(&self) -> bool {
        self.quiet
    }

    /// Progress and remarks go to standard error, unless `--quiet`.
    pub(super) fn say(&self, line: impl Display) {
        if !self.quiet {
            print_aside(&line.to_string());
        }
    }
}

/// What went wrong goes to standard error, always, behind `error` or `warning`.
pub(super) fn complain(kind: &str, line: impl Display) {
    print_aside(&format!("{kind}: {line}"));
}

/// Nobody listening is no error.
fn print_aside(line: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{}", shown(line));
}
