//! What shows on the terminal while something takes its time; silent where
//! nobody watches.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Counts up on one line of a terminal.
pub(super) struct Progress(ProgressBar);

const COUNTED: &str = "[{bar:24}] {pos} of {len} {msg}";
const UNCOUNTED: &str = "{spinner} {msg}";

impl Progress {
    /// So many of so many, once that is known.
    pub(super) fn counted(what: &'static str, quiet: bool) -> Progress {
        Progress::new(COUNTED, what, quiet)
    }

    /// Something is going on.
    pub(super) fn uncounted(what: &'static str, quiet: bool) -> Progress {
        let progress = Progress::new(UNCOUNTED, what, quiet);
        progress.0.enable_steady_tick(Duration::from_millis(120));
        progress
    }

    fn new(template: &str, what: &'static str, quiet: bool) -> Progress {
        // Standard error shows nothing where it is no terminal.
        let target = match quiet {
            true => ProgressDrawTarget::hidden(),
            false => ProgressDrawTarget::stderr(),
        };
        let bar = ProgressBar::with_draw_target(None, target).with_message(what);
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style.progress_chars("#-"));
        }
        Progress(bar)
    }

    /// So many of so many are done; may be called from any thread.
    pub(super) fn at(&self, done: usize, all: usize) {
        self.0.set_length(all as u64);
        // Threads report out of order: the counter only goes up.
        if done as u64 > self.0.position() {
            self.0.set_position(done as u64);
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
