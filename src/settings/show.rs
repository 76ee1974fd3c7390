//! The settings in force, for people: as a list with where each came from, and
//! as a commented file.

use super::keys::{KEYS, SECTIONS, Value};
use super::load::{Effective, Origin};

/// One setting in force.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Listed {
    pub key: &'static str,
    /// `None` where nobody said.
    pub value: Option<Value>,
    /// Where it came from, in words.
    pub from: String,
    pub unit: &'static str,
    pub about: &'static str,
}

/// Every setting, in the order of the file.
pub fn listed(effective: &Effective) -> Vec<Listed> {
    KEYS.iter()
        .map(|key| {
            let value = key.value(&effective.settings);
            let from = match effective.origins.get(key.name) {
                Some(origin) => origin.to_string(),
                None if value.is_some() => "built in".to_owned(),
                None => "not set".to_owned(),
            };
            Listed {
                key: key.name,
                value,
                from,
                unit: key.unit(),
                about: key.about,
            }
        })
        .collect()
}

/// A value as it is written in the file.
fn written(value: &Value) -> String {
    match value {
        Value::Number(x) => x.to_string(),
        // TOML's basic strings and the debug form agree on quotes and backslashes.
        Value::Text(text) => format!("{text:?}"),
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
            let (of, name) = key.name.split_once('.').unwrap_or(("", key.name));
            if of != section.copied().unwrap_or_default() {
                continue;
            }
            let unit = match key.unit() {
                "" => String::new(),
                unit => format!(" ({unit})"),
            };
            out.push_str(&format!("# {}{unit}\n", key.about));
            let value = key.value(&effective.settings);
            let set = matches!(
                effective.origins.get(key.name),
                Some(Origin::File { .. } | Origin::Environment(_) | Origin::Flag)
            );
            out.push_str(&match value {
                Some(value) if set => format!("{name} = {}\n", written(&value)),
                Some(value) => format!("# {name} = {}\n", written(&value)),
                None => format!("# {name} =\n"),
            });
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
            environment: vec![("LITREWISE_HABITS_LEAD_DAYS".into(), "21".into())],
            flags: vec![
                ("prices.currency".into(), "\"£\"".into()),
                ("prices.water_per_m3".into(), "2.05".into()),
            ],
        };
        let before = load_with_origins(folder.path(), &given).unwrap();
        std::fs::write(folder.path().join(FILE_NAME), as_toml(&before)).unwrap();
        let after = load_with_origins(folder.path(), &Overrides::default()).unwrap();
        let values = |e: &Effective| -> Vec<Option<Value>> {
            listed(e).into_iter().map(|l| l.value).collect()
        };
        assert_eq!(values(&before), values(&after));
        assert_eq!(after.origins.len(), 3);
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
        assert_eq!(keys, 12);
    }
}
