//! `litrewise completions`: what makes a shell finish the words that are typed.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;
use clap_complete::Shell;

use super::args;
use super::error::CliError;

/// Print a script that lets the shell complete commands and options
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise completions bash > litrewise.bash")]
pub(super) struct CompletionsArgs {
    /// The shell to print it for
    #[arg(value_enum)]
    shell: Shell,
}

pub(super) fn run(args: &CompletionsArgs, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let mut script = Vec::new();
    let mut command = args::command();
    clap_complete::generate(args.shell, &mut command, "litrewise", &mut script);
    out.write_all(&script)?;
    Ok(ExitCode::SUCCESS)
}
