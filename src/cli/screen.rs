//! What the terminal can show.

use std::io::IsTerminal;

use clap::ValueEnum;

use crate::report::text::{Paint, Screen};

/// When to colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum When {
    /// Where a terminal shows it
    Auto,
    Always,
    Never,
}

/// Columns where nobody says how many there are.
const USUAL: usize = 80;
/// Lines beyond this are hard to follow.
const MOST: usize = 120;
const LEAST: usize = 40;

/// Standard output as it is.
pub(super) fn screen(colour: When) -> Screen {
    let shown = std::io::stdout().is_terminal();
    let width = match shown {
        // The table asks the terminal itself.
        true => comfy_table::Table::new().width().map(usize::from),
        false => None,
    };
    Screen {
        width: width.unwrap_or(USUAL).clamp(LEAST, MOST),
        paint: match colour {
            When::Always => Paint::Colour,
            When::Never => Paint::Plain,
            When::Auto if shown && !is_plain_asked() => Paint::Colour,
            When::Auto => Paint::Plain,
        },
    }
}

/// The NO_COLOR convention (set and not empty), or a terminal without colours.
fn is_plain_asked() -> bool {
    std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
        || std::env::var_os("TERM").is_some_and(|v| v == "dumb")
}
