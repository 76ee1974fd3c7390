//! `litrewise settings`: what is in force, and where it came from.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::args::key_and_value;
use super::context::{Context, complain};
use super::error::CliError;
use super::format::{Format, one_of};
use super::json;
use super::looking::Looking;
use crate::settings::{self, FILE_NAME, Value};

/// Say which settings are in force and where each came from, or write them to a file
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise settings\n  litrewise settings --write\n  litrewise settings set prices.membrane=180",
    args_conflicts_with_subcommands = true
)]
pub(super) struct SettingsArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json]))]
    format: Format,
    /// Write a commented file [default: litrewise.toml in the store], - for standard output; an existing file is never overwritten
    #[arg(long, value_name = "FILE", num_args = 0..=1)]
    write: Option<Option<PathBuf>>,
    #[command(subcommand)]
    command: Option<SettingsCommand>,
}

#[derive(Debug, Subcommand)]
enum SettingsCommand {
    /// Change values in the store's litrewise.toml; all else in it stays
    #[command(
        after_help = "Example:\n  litrewise settings set prices.currency=£ prices.membrane=180\n  litrewise settings set stock.resin=25"
    )]
    Set {
        #[arg(required = true, value_name = "KEY=VALUE", value_parser = key_and_value)]
        values: Vec<(String, String)>,
    },
}

pub(super) fn run(
    args: &SettingsArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if let Some(SettingsCommand::Set { values }) = &args.command {
        return set(values, context);
    }
    let effective = context.settings_with_origins()?;
    if let Some(path) = &args.write {
        let path = path
            .clone()
            .unwrap_or_else(|| context.store.join(FILE_NAME));
        if path.as_os_str() == "-" {
            out.write_all(settings::as_toml(&effective).as_bytes())?;
            return Ok(ExitCode::SUCCESS);
        }
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
    let mut list = settings::listed(&effective);
    // What nobody set may stand in the services' costs.
    if let Ok(looking) = Looking::open(context) {
        let known = looking.known_prices();
        for (key, price) in [
            ("prices.membrane", known.membrane),
            ("prices.prefilter", known.prefilter),
            ("prices.resin_per_litre", known.resin_per_litre),
        ] {
            let entry = list.iter_mut().find(|l| l.key == key && l.value.is_none());
            if let (Some(entry), Some(price)) = (entry, price) {
                entry.value = Some(Value::Number((price.price * 100.0).round() / 100.0));
                entry.from = "median of what your services cost".to_owned();
            }
        }
    }
    match args.format {
        Format::Json => json::write(&list, out)?,
        _ => {
            out.write_all(settings::as_text(&list).as_bytes())?;
            for name in context.strange_variables() {
                complain(
                    "warning",
                    format_args!("environment variable {name} is not a setting and is ignored"),
                );
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Changes the store's settings file, at once or not at all.
fn set(values: &[(String, String)], context: &Context) -> Result<ExitCode, CliError> {
    let path = context.store.join(FILE_NAME);
    let mut text = match std::fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => String::new(),
        Err(source) => return Err(CliError::Read { path, source }),
    };
    for (key, typed) in values {
        text = settings::with_value(&path, &text, key, typed)?;
    }
    let written = std::fs::create_dir_all(&context.store)
        .and_then(|()| tempfile::NamedTempFile::new_in(&context.store))
        .and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            Ok(file.persist(&path)?)
        });
    if let Err(source) = written {
        return Err(CliError::Write { path, source });
    }
    context.say(format_args!("wrote {}", path.display()));
    Ok(ExitCode::SUCCESS)
}
