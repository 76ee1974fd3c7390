//! A counter on the terminal while something takes its time.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;

/// Counts up on one line of a terminal; silent where nobody watches.
pub(super) struct Progress {
    what: &'static str,
    shown: bool,
    most: Mutex<usize>,
}

/// Letters of a bar between its ends.
const BAR: usize = 24;

/// `[######------------------]`
fn bar(done: usize, all: usize) -> String {
    let full = (done * BAR).checked_div(all).unwrap_or(BAR).min(BAR);
    format!("[{}{}]", "#".repeat(full), "-".repeat(BAR - full))
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
            let _ = write!(
                terminal,
                "\r{} {done} of {all} {}",
                bar(done, all),
                self.what
            );
            let _ = terminal.flush();
        }
    }

    pub(super) fn end(&self) {
        if self.shown {
            let _ = writeln!(std::io::stderr().lock());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_is_always_as_long_and_full_at_the_end() {
        assert_eq!(bar(0, 7), format!("[{}]", "-".repeat(BAR)));
        assert_eq!(bar(7, 7), format!("[{}]", "#".repeat(BAR)));
        assert_eq!(bar(0, 0), format!("[{}]", "#".repeat(BAR)));
        assert!((0..=7).all(|n| bar(n, 7).len() == BAR + 2));
    }
}
