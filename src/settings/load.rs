//! Reading the settings: defaults, then `litrewise.toml`, then the
//! environment, then flags.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::Settings;
use super::keys::{OLD_SECTIONS, Raw, SECTIONS, find, renamed, suggestion};

/// Name of the settings file inside the store's folder.
pub const FILE_NAME: &str = "litrewise.toml";

/// What stands above the file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Overrides {
    /// Environment variables by name; those that are no setting are passed over.
    pub environment: Vec<(String, String)>,
    /// Keys and values from flags, `limits.product_ppm` and `5`.
    pub flags: Vec<(String, String)>,
}

/// Where a value stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    File { path: PathBuf, line: usize },
    Environment(String),
    Flag,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Origin::File { path, line } => write!(f, "{}:{line}", path.display()),
            Origin::Environment(name) => write!(f, "environment variable {name}"),
            Origin::Flag => f.write_str("--set"),
        }
    }
}

/// Why the settings cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SettingsError {
    #[error("cannot read the settings {}", path.display())]
    Unreadable {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{origin}: not valid TOML: {what}")]
    NotToml { origin: Origin, what: String },
    #[error("{origin}: unknown setting {key}{}", did_you_mean(.suggestion.as_deref()))]
    UnknownKey {
        origin: Origin,
        key: String,
        suggestion: Option<String>,
    },
    #[error("{origin}: {key} is called {now} now: write that instead")]
    Renamed {
        origin: Origin,
        key: String,
        now: String,
    },
    #[error("{origin}: {key} is {found}; allowed is {allowed}")]
    NotAllowed {
        origin: Origin,
        key: String,
        found: String,
        /// With what was probably meant.
        allowed: String,
    },
}

impl SettingsError {
    /// Whether it lies in an option of this run, not in a file.
    pub fn is_mistyped(&self) -> bool {
        match self {
            SettingsError::Unreadable { .. } => false,
            SettingsError::NotToml { origin, .. }
            | SettingsError::UnknownKey { origin, .. }
            | SettingsError::Renamed { origin, .. }
            | SettingsError::NotAllowed { origin, .. } => matches!(origin, Origin::Flag),
        }
    }
}

fn did_you_mean(suggestion: Option<&str>) -> String {
    suggestion.map_or_else(
        || "; remove it or see `litrewise settings` for the settings there are".to_owned(),
        |name| format!("; did you mean {name}?"),
    )
}

/// The settings in force, and where each value that is not built in came from.
#[derive(Debug, Clone, Default)]
pub struct Effective {
    pub settings: Settings,
    /// By the key's name.
    pub origins: BTreeMap<String, Origin>,
}

/// The settings in force for a store.
///
/// `store` is the store's folder; a missing folder or file leaves the defaults.
///
/// # Errors
/// [`SettingsError`] names the place, what stood there and what is allowed.
pub fn load(store: &Path, overrides: &Overrides) -> Result<Settings, SettingsError> {
    Ok(load_with_origins(store, overrides)?.settings)
}

/// The same, with where each value came from.
///
/// # Errors
/// As [`load`].
pub fn load_with_origins(store: &Path, overrides: &Overrides) -> Result<Effective, SettingsError> {
    let mut effective = Effective::default();
    let path = store.join(FILE_NAME);
    match std::fs::read_to_string(&path) {
        Ok(text) => from_file(&path, &text, &mut effective)?,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
        Err(source) => return Err(SettingsError::Unreadable { path, source }),
    }
    from_environment(&overrides.environment, &mut effective)?;
    for (key, value) in &overrides.flags {
        put_typed(Origin::Flag, key, value, &mut effective)?;
    }
    Ok(effective)
}

pub(super) fn from_file(
    path: &Path,
    text: &str,
    settings: &mut Effective,
) -> Result<(), SettingsError> {
    let origin = |offset: usize| Origin::File {
        path: path.to_owned(),
        line: line_of(text, offset),
    };
    let root = DeTable::parse(text).map_err(|e| SettingsError::NotToml {
        origin: origin(e.span().map_or(0, |s| s.start)),
        what: e.message().to_owned(),
    })?;
    // In the order of the file, so that the first mistake is the one named.
    let mut entries: Vec<(usize, String, Raw)> = Vec::new();
    for (key, value) in root.get_ref() {
        let name: &str = key.get_ref();
        let section = SECTIONS.contains(&name);
        match value.get_ref() {
            DeValue::Table(table) if section => {
                entries.extend(table.iter().map(|(inner, value)| {
                    let full = format!("{name}.{}", inner.get_ref());
                    (inner.span().start, full, raw(value))
                }));
            }
            other if section => {
                return Err(SettingsError::NotAllowed {
                    origin: origin(key.span().start),
                    key: name.to_owned(),
                    found: format!("{} {}", article(other.type_str()), other.type_str()),
                    allowed: format!("a section, [{name}]"),
                });
            }
            _ => entries.push((key.span().start, name.to_owned(), raw(value))),
        }
    }
    entries.sort_by_key(|(start, ..)| *start);
    for (start, key, value) in entries {
        put(origin(start), &key, &value, settings)?;
    }
    Ok(())
}

fn line_of(text: &str, offset: usize) -> usize {
    let before = text.as_bytes().get(..offset).unwrap_or(text.as_bytes());
    1 + before.iter().filter(|&&b| b == b'\n').count()
}

fn raw(value: &Spanned<DeValue<'_>>) -> Raw {
    match value.get_ref() {
        DeValue::String(s) => Raw::Text(s.to_string()),
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
            .map_or(Raw::Other("whole number too large"), |n| {
                Raw::Number(n as f64)
            }),
        DeValue::Float(f) => match f.as_str().parse::<f64>() {
            Ok(x) if x.is_finite() => Raw::Number(x),
            _ => Raw::Other("number that is not finite"),
        },
        other => Raw::Other(other.type_str()),
    }
}

/// Environment variables are `LITREWISE_` and the key in capitals with `_` for
/// the dot: `LITREWISE_LIMITS_PRODUCT_PPM`.
fn from_environment(
    variables: &[(String, String)],
    settings: &mut Effective,
) -> Result<(), SettingsError> {
    for (name, value) in variables {
        let Some(rest) = name.strip_prefix("LITREWISE_") else {
            continue;
        };
        let lower = rest.to_lowercase();
        let key = SECTIONS
            .iter()
            .chain(&OLD_SECTIONS)
            .find_map(|section| {
                let key = lower.strip_prefix(section)?.strip_prefix('_')?;
                Some(format!("{section}.{key}"))
            })
            .or_else(|| (lower == "time_zone").then_some(lower));
        if let Some(key) = key {
            put_typed(Origin::Environment(name.clone()), &key, value, settings)?;
        }
    }
    Ok(())
}

pub(super) fn put_typed(
    origin: Origin,
    key: &str,
    typed: &str,
    settings: &mut Effective,
) -> Result<(), SettingsError> {
    let value = find(key).map_or(Raw::Text(typed.to_owned()), |known| known.raw(typed));
    put(origin, key, &value, settings)
}

fn put(
    origin: Origin,
    key: &str,
    value: &Raw,
    effective: &mut Effective,
) -> Result<(), SettingsError> {
    let Some(known) = find(key) else {
        if let Some(now) = renamed(key) {
            return Err(SettingsError::Renamed {
                origin,
                key: key.to_owned(),
                now,
            });
        }
        return Err(SettingsError::UnknownKey {
            origin,
            key: key.to_owned(),
            suggestion: suggestion(key),
        });
    };
    known
        .put(key, value, &mut effective.settings)
        .map_err(|allowed| SettingsError::NotAllowed {
            origin: origin.clone(),
            key: key.to_owned(),
            found: match value {
                Raw::Number(x) => x.to_string(),
                Raw::Text(text) => format!("{text:?}"),
                Raw::Other(kind) => format!("{} {kind}", article(kind)),
            },
            allowed: match known.meant(value) {
                Some(meant) => format!("{allowed}; did you mean {meant}?"),
                None => allowed,
            },
        })?;
    effective.origins.insert(key.to_owned(), origin);
    Ok(())
}

fn article(word: &str) -> &'static str {
    if word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn loaded(toml: &str, overrides: &Overrides) -> Result<Settings, String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(FILE_NAME), toml).unwrap();
        load(folder.path(), overrides).map_err(|e| {
            e.to_string()
                .replace(&format!("{}/", folder.path().display()), "")
        })
    }

    #[test]
    fn nothing_set_leaves_the_defaults() {
        let folder = tempfile::tempdir().unwrap();
        let settings = load(&folder.path().join("none"), &Overrides::default()).unwrap();
        assert_eq!(settings.limits, Settings::default().limits);
        assert_eq!(
            settings.time_zone.name(),
            Settings::default().time_zone.name()
        );
    }

    #[test]
    fn file_gives_way_to_environment_and_that_to_flags() {
        let file = "[limits]\nproduct_ppm = 8\nsalt_passage = 0.08\n[running]\nlead_days = 21\n";
        let overrides = Overrides {
            environment: vec![
                ("LITREWISE_LIMITS_PRODUCT_PPM".into(), "6".into()),
                ("LITREWISE_RUNNING_LEAD_DAYS".into(), "7".into()),
                ("LITREWISE_STORE".into(), "elsewhere".into()),
            ],
            flags: vec![("limits.product_ppm".into(), "5".into())],
        };
        let settings = loaded(file, &overrides).unwrap();
        assert_eq!(settings.limits.salt_passage, 0.08);
        assert_eq!(settings.limits.product_ppm, 5.0);
        assert_eq!(settings.running.lead_days, 7);
    }

    #[test]
    fn unknown_keys_are_refused_with_line_and_suggestion() {
        let none = Overrides::default();
        assert_eq!(
            loaded("# ours\n[limits]\nprodukt_ppm = 8\n", &none).unwrap_err(),
            "litrewise.toml:3: unknown setting limits.produkt_ppm; did you mean limits.product_ppm?"
        );
        assert_eq!(
            loaded("membrane_months = 20\n", &none).unwrap_err(),
            "litrewise.toml:1: unknown setting membrane_months; did you mean usual_interval.membrane_months?"
        );
        let environment = Overrides {
            environment: vec![("LITREWISE_PRICES_MEMBRAIN".into(), "5".into())],
            ..none
        };
        assert_eq!(
            loaded("", &environment).unwrap_err(),
            "environment variable LITREWISE_PRICES_MEMBRAIN: unknown setting prices.membrain; did you mean prices.membrane?"
        );
    }

    #[test]
    fn crews_and_stock_go_by_any_name() {
        let file = "[work]\ndays = \"Mon-Thu, Sat\"\njobs_per_day = 4\n[crews]\nqa3 = 2\n\
                    [stock]\nmembrane = 1\n\"4040 low pressure\" = 3\n";
        let overrides = Overrides {
            environment: vec![("LITREWISE_STOCK_RESIN".into(), "50".into())],
            flags: vec![("stock.membrane".into(), "2".into())],
        };
        let settings = loaded(file, &overrides).unwrap();
        assert_eq!(settings.work.days.to_string(), "Mon-Thu, Sat");
        assert_eq!(settings.work.jobs_a_day(Some("QA3")), 8);
        assert_eq!(settings.work.jobs_a_day(Some("QB1")), 4);
        let stock: Vec<(&str, f64)> = settings.stock.iter().map(|(k, v)| (&**k, *v)).collect();
        let all = [
            ("4040 low pressure", 3.0),
            ("membrane", 2.0),
            ("resin", 50.0),
        ];
        assert_eq!(stock, all);
    }

    #[test]
    fn a_wrong_value_says_what_is_allowed() {
        let none = Overrides::default();
        assert_eq!(
            loaded("[limits]\nsalt_passage = 10\n", &none).unwrap_err(),
            "litrewise.toml:2: limits.salt_passage is 10; allowed is a number from 0.005 to 0.9 (a share: 0.10 for 10 %); did you mean 0.1?"
        );
        assert_eq!(
            loaded("[running]\nlead_days = \"two weeks\"\n", &none).unwrap_err(),
            "litrewise.toml:2: running.lead_days is \"two weeks\"; allowed is a whole number from 0 to 180 (days)"
        );
        assert_eq!(
            loaded("time_zone = \"Quayside/Nowhere\"\n", &none).unwrap_err(),
            "litrewise.toml:1: time_zone is \"Quayside/Nowhere\"; allowed is the name of a time zone, such as \"Europe/London\""
        );
        assert_eq!(
            loaded("limits = 3\n", &none).unwrap_err(),
            "litrewise.toml:1: limits is an integer; allowed is a section, [limits]"
        );
        for (line, meant) in [
            ("prefilter_days = \"12 weeks\"", "84"),
            ("recovery = 30", "0.3"),
            ("recovery = \"45 %\"", "0.45"),
            ("lead_days = \"2 weeks\"", "14"),
        ] {
            let refused = loaded(&format!("[running]\n{line}\n"), &none).unwrap_err();
            let end = format!("; did you mean {meant}?");
            assert!(refused.ends_with(&end), "{refused}");
        }
        for (line, meant) in [
            ("prices.membrane = \"£180\"", Some("180")),
            ("limits.product_ppm = \"10 uS/cm\"", Some("5")),
            ("usual_interval.membrane_months = \"2 years\"", Some("24")),
            ("limits.product_ppm = \"3 weeks\"", None),
            ("running.recovery = -4", None),
        ] {
            let refused = loaded(line, &none).unwrap_err();
            let end = meant.map_or(")".to_owned(), |m| format!("; did you mean {m}?"));
            assert!(refused.ends_with(&end), "{refused}");
        }
        assert_eq!(
            loaded("\n[price]\nmembrane = 3\n", &none).unwrap_err(),
            "litrewise.toml:2: unknown setting price; did you mean [prices]?"
        );
        for (file, said) in [
            (
                "[habits]\nlead_days = 14\n",
                "litrewise.toml:1: habits is called running now: write that instead",
            ),
            (
                "[prices]\nlost_round = 200\n",
                "litrewise.toml:2: prices.lost_round is called prices.lost_day now: write that instead",
            ),
            (
                "rule_of_thumb.membrane_months = 20\n",
                "litrewise.toml:1: rule_of_thumb is called usual_interval now: write that instead",
            ),
            (
                "[work]\ndays = \"whenever\"\n",
                "litrewise.toml:2: work.days is \"whenever\"; allowed is days in quotes, such as \"Mon-Fri\" or \"Mon, Tue, Thu\"",
            ),
            (
                "[crews]\nQA3 = 0\n",
                "litrewise.toml:2: crews.QA3 is 0; allowed is a number from 1 to 100 (crews)",
            ),
        ] {
            assert_eq!(loaded(file, &none).unwrap_err(), said);
        }
        let broken = loaded("[limits]\nproduct_ppm = \n", &none).unwrap_err();
        assert!(
            broken.starts_with("litrewise.toml:2: not valid TOML"),
            "{broken}"
        );
    }
}
