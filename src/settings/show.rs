//! The settings in force, for people: as a list with where each came from, and
//! as a commented file.

use super::keys::{KEYS, Key, SECTIONS, Value};
use super::load::{Effective, Origin};

/// One setting in force.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Listed {
    pub key: String,
    /// `None` where nobody said.
    pub value: Option<Value>,
    /// Where it came from, in words.
    pub from: String,
    pub unit: &'static str,
    pub about: &'static str,
}

/// Every setting, in the order of the file.
pub fn listed(effective: &Effective) -> Vec<Listed> {
    KEYS.iter().flat_map(|key| of_key(key, effective)).collect()
}

/// A key with its value; of a key of any name each that has one.
fn of_key(key: &Key, effective: &Effective) -> Vec<Listed> {
    let listed = |name: String, value: Option<Value>| Listed {
        from: match effective.origins.get(&name) {
            Some(origin) => origin.to_string(),
            None if value.is_some() => "built in".to_owned(),
            None => "not set".to_owned(),
        },
        key: name,
        value,
        unit: key.unit(),
        about: key.about,
    };
    match key.named(&effective.settings) {
        Some(named) if !named.is_empty() => {
            let section = key.name.trim_end_matches('*');
            let each = named.iter();
            each.map(|(name, x)| listed(format!("{section}{name}"), Some(Value::Number(*x))))
                .collect()
        }
        _ => vec![listed(key.name.to_owned(), key.value(&effective.settings))],
    }
}

/// A value as it is written in the file.
pub(super) fn written(value: &Value) -> String {
    match value {
        Value::Number(x) => x.to_string(),
        // TOML's basic strings and the debug form agree on quotes and backslashes.
        Value::Text(text) => format!("{text:?}"),
    }
}

/// A name as it is written in the file: in quotes unless TOML takes it bare.
pub(super) fn bare(name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-');
    match name.chars().all(plain) {
        true => name.to_owned(),
        false => format!("{name:?}"),
    }
}

/// Three columns: key, value, where it came from.
pub fn as_text(list: &[Listed]) -> String {
    let value = |l: &Listed| l.value.as_ref().map_or("–".to_owned(), written);
    let wide = |f: &dyn Fn(&Listed) -> usize| list.iter().map(f).max().unwrap_or(0);
    let (keys, values) = (wide(&|l| l.key.len()), wide(&|l| value(l).chars().count()));
    list.iter()
        .map(|l| format!("{:keys$}  {:>values$}  {}\n", l.key, value(l), l.from))
        .collect()
}

/// A whole settings file: what somebody set stands as a value, everything else
/// as a comment with what is in force.
pub fn as_toml(effective: &Effective) -> String {
    let mut out = String::from(
        "# Settings of this fleet. Every key may be left out; a line that begins with #\n\
         # shows what holds without it. `litrewise settings` prints what is in force.\n",
    );
    let top = std::iter::once(None);
    for section in top.chain(SECTIONS.iter().map(Some)) {
        out.push('\n');
        if let Some(section) = section {
            out.push_str(&format!("[{section}]\n"));
        }
        for key in KEYS {
            let (of, _) = key.name.split_once('.').unwrap_or(("", key.name));
            if of != section.copied().unwrap_or_default() {
                continue;
            }
            let unit = match key.unit() {
                "" => String::new(),
                unit => format!(" ({unit})"),
            };
            out.push_str(&format!("# {}{unit}\n", key.about));
            for line in of_key(key, effective) {
                let (_, name) = line.key.split_once('.').unwrap_or(("", &line.key));
                let set = matches!(
                    effective.origins.get(&line.key),
                    Some(Origin::File { .. } | Origin::Environment(_) | Origin::Flag)
                );
                out.push_str(&match line.value {
                    Some(value) if set => format!("{} = {}\n", bare(name), written(&value)),
                    Some(value) => format!("# {} = {}\n", bare(name), written(&value)),
                    None if name == "*" => String::new(),
                    None => format!("# {name} =\n"),
                });
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::settings::{FILE_NAME, Overrides, load_with_origins};

    #[test]
    fn what_is_written_is_read_again_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let given = Overrides {
            environment: vec![("LITREWISE_RUNNING_LEAD_DAYS".into(), "21".into())],
            flags: vec![
                ("prices.currency".into(), "\"£\"".into()),
                ("prices.water_per_m3".into(), "2.05".into()),
                ("crews.QA3".into(), "2".into()),
                ("stock.4040 low pressure".into(), "3".into()),
            ],
        };
        let before = load_with_origins(folder.path(), &given).unwrap();
        std::fs::write(folder.path().join(FILE_NAME), as_toml(&before)).unwrap();
        let after = load_with_origins(folder.path(), &Overrides::default()).unwrap();
        let values = |e: &Effective| -> Vec<Option<Value>> {
            listed(e).into_iter().map(|l| l.value).collect()
        };
        assert_eq!(values(&before), values(&after));
        assert_eq!(after.origins.len(), 5);
    }

    #[test]
    fn every_key_can_be_set_from_the_commented_file() {
        // Each comment taken away in turn must leave a file that is read.
        let whole = as_toml(&Effective {
            settings: crate::settings::Settings::default(),
            origins: std::collections::BTreeMap::new(),
        });
        let mut keys = 0;
        for line in whole
            .lines()
            .filter(|l| l.starts_with("# ") && l.contains(" = "))
        {
            let bare = line.trim_start_matches("# ");
            if bare.split(' ').nth(1) != Some("=") {
                continue;
            }
            let folder = tempfile::tempdir().unwrap();
            let text = whole.replace(line, bare);
            std::fs::write(folder.path().join(FILE_NAME), text).unwrap();
            let read = load_with_origins(folder.path(), &Overrides::default()).unwrap();
            assert_eq!(read.origins.len(), 1, "{bare}");
            keys += 1;
        }
        assert_eq!(keys, 15);
    }
}
