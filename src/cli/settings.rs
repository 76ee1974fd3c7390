//! `litrewise settings`: what is in force, and where it came from.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use crate::settings::{self, FILE_NAME};

/// Say which settings are in force and where each came from, or write them to a file
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise settings\n  litrewise --set prices.membrane=180 settings --write"
)]
pub(super) struct SettingsArgs {
    /// How to list them
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Write a commented file [default: litrewise.toml in the store]; never over a file that is there
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    write: Option<Option<PathBuf>>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For scripts
    Json,
}

pub(super) fn run(
    args: &SettingsArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let effective = context.settings_with_origins()?;
    if let Some(path) = &args.write {
        let path = path
            .clone()
            .unwrap_or_else(|| context.store.join(FILE_NAME));
        let failed = |source| CliError::Write {
            path: path.clone(),
            source,
        };
        if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(failed)?;
        }
        // Never over somebody's own settings.
        let mut file = match std::fs::File::create_new(&path) {
            Ok(file) => file,
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                return Err(CliError::SettingsThere { path });
            }
            Err(e) => return Err(failed(e)),
        };
        file.write_all(settings::as_toml(&effective).as_bytes())
            .map_err(failed)?;
        context.say(format_args!("wrote {}", path.display()));
        return Ok(ExitCode::SUCCESS);
    }
    let list = settings::listed(&effective);
    match args.format {
        Format::Text => {
            out.write_all(settings::as_text(&list).as_bytes())?;
            for name in context.strange_variables() {
                context.say(format_args!(
                    "environment variable {name} names no setting and is passed over"
                ));
            }
        }
        Format::Json => {
            let text = serde_json::to_string_pretty(&list)
                .map_err(|e| CliError::Output(std::io::Error::other(e)))?;
            writeln!(out, "{text}")?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
