//! The `litrewise` command.

use std::io::Write;
use std::process::ExitCode;

use litrewise::cli;

fn main() -> ExitCode {
    match cli::run(cli::parse()) {
        Ok(code) => code,
        Err(error) if error.is_closed_pipe() => ExitCode::SUCCESS,
        Err(error) => {
            // Nobody listening to the complaint is no reason to panic.
            let _ = writeln!(std::io::stderr(), "error: {}", error.on_one_line());
            ExitCode::from(error.exit_code())
        }
    }
}
