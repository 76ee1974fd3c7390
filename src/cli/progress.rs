//! A counter on the terminal while something takes its time.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;

/// Counts up on one line of a terminal; silent where nobody watches.
pub(super) struct Progress {
    what: &'static str,
    shown: bool,
    most: Mutex<usize>,
}

impl Progress {
    pub(super) fn new(what: &'static str, quiet: bool) -> Progress {
        Progress {
            what,
            shown: !quiet && std::io::stderr().is_terminal(),
            most: Mutex::new(0),
        }
    }

    /// So many of so many are done; may be called from any thread.
    pub(super) fn at(&self, done: usize, all: usize) {
        if !self.shown {
            return;
        }
        // Threads report out of order: the counter only goes up.
        if let Ok(mut most) = self.most.lock()
            && done >= *most
        {
            *most = done;
            let mut terminal = std::io::stderr().lock();
            let _ = write!(terminal, "\r{done} of {all} {}", self.what);
            let _ = terminal.flush();
        }
    }

    pub(super) fn end(&self) {
        if self.shown {
            let _ = writeln!(std::io::stderr().lock());
        }
    }
}
