//! `litrewise man`: the manual, a page for the program and one per command.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Command};
use clap_mangen::Man;

use super::args;
use super::error::CliError;

/// Write the manual as man pages, one for the program and one per command
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise man --out man1")]
pub(super) struct ManArgs {
    /// Folder for the pages
    #[arg(long, short, default_value = "./litrewise-man", value_name = "DIR")]
    out: PathBuf,
}

pub(super) fn run(args: &ManArgs, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let cannot = |path: PathBuf| move |source| CliError::Write { path, source };
    std::fs::create_dir_all(&args.out).map_err(cannot(args.out.clone()))?;
    for (name, command) in pages() {
        let mut page = Vec::new();
        Man::new(command).render(&mut page)?;
        let path = args.out.join(format!("{name}.1"));
        std::fs::write(&path, page).map_err(cannot(path.clone()))?;
        writeln!(out, "{}", path.display())?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The program's page and those of its commands that are not hidden.
fn pages() -> Vec<(String, Command)> {
    let mut whole = args::command();
    whole.build();
    let name = whole.get_name().to_owned();
    let mut pages = vec![(name.clone(), whole.clone())];
    for command in whole.get_subcommands() {
        if command.is_hide_set() || command.get_name() == "help" {
            continue;
        }
        let page = format!("{name}-{}", command.get_name());
        // the title is the command as it is typed, joined
        pages.push((page.clone(), command.clone().display_name(page)));
    }
    pages
}
