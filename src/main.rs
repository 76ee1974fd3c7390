//! The `litrewise` command.

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;
use litrewise::cli::{self, Cli};

fn main() -> ExitCode {
    match cli::run(Cli::parse()) {
        Ok(code) => code,
        Err(error) if error.is_closed_pipe() => ExitCode::SUCCESS,
        Err(error) => {
            // Nobody listening to the complaint is no reason to panic.
            let _ = writeln!(std::io::stderr(), "litrewise: {}", error.on_one_line());
            ExitCode::from(error.exit_code())
        }
    }
}
