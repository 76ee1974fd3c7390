//! `litrewise template`: five CSV files to start from.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;

/// Write five CSV files with two example rows each, and say what to write down when
///
/// Files that are already there are left alone.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise template --out our-fleet\n  litrewise ingest our-fleet"
)]
pub(super) struct TemplateArgs {
    /// Folder for the files
    #[arg(
        long,
        short,
        default_value = "./litrewise-template",
        value_name = "DIR"
    )]
    out: PathBuf,
}

/// The files, ready for a spreadsheet.
const FILES: [(&str, &str); 5] = [
    ("readings.csv", include_str!("template/readings.csv")),
    ("fills.csv", include_str!("template/fills.csv")),
    ("services.csv", include_str!("template/services.csv")),
    ("vans.csv", include_str!("template/vans.csv")),
    ("hardness.csv", include_str!("template/hardness.csv")),
];

/// What to write down, when, from which cup.
const WORDS: &str = include_str!("template/what-to-write-down.txt");

pub(super) fn run(
    args: &TemplateArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let failed = |path: &PathBuf, source| CliError::Write {
        path: path.clone(),
        source,
    };
    std::fs::create_dir_all(&args.out).map_err(|e| failed(&args.out, e))?;
    for (name, text) in FILES {
        let path = args.out.join(name);
        // Never over somebody's own rows.
        match std::fs::File::create_new(&path) {
            Ok(mut file) => file
                .write_all(text.as_bytes())
                .map_err(|e| failed(&path, e))?,
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                context.say(format_args!(
                    "{} already exists: left alone",
                    path.display()
                ));
            }
            Err(e) => return Err(failed(&path, e)),
        }
    }
    write!(out, "{WORDS}")?;
    writeln!(out, "\nThe five files are in {}", args.out.display())?;
    Ok(ExitCode::SUCCESS)
}
