//! One value of a settings file changed; all else stays as somebody wrote it.

use std::path::Path;

use super::load::{Effective, Origin, SettingsError, from_file, put_typed};
use super::show::{bare, listed, written};

/// The text of the settings file with a value changed or added.
///
/// # Errors
/// [`SettingsError`]: an unknown key, a value that is not allowed, or a file that
/// could not be read as it stands.
pub fn with_value(
    path: &Path,
    text: &str,
    key: &str,
    typed: &str,
) -> Result<String, SettingsError> {
    let mut alone = Effective::default();
    put_typed(Origin::Flag, key, typed, &mut alone)?;
    let value = listed(&alone).into_iter().find(|line| line.key == key);
    let value = value
        .and_then(|line| line.value)
        .map(|value| written(&value));
    let (section, name) = key.split_once('.').unwrap_or(("", key));
    let line = format!("{} = {}", bare(name), value.unwrap_or_default());
    let changed = placed(text, section, name, &line);
    from_file(path, &changed, &mut Effective::default())?;
    Ok(changed)
}

/// `line` in the place of the one that sets `name`, else of the comment that shows
/// what holds without it, else at the end of its section.
fn placed(text: &str, section: &str, name: &str, line: &str) -> String {
    let mut lines: Vec<&str> = text.lines().collect();
    let (mut set, mut shown, mut end) = (None, None, section.is_empty().then_some(0));
    let mut here = "";
    for (n, written) in lines.iter().enumerate() {
        let written = written.trim();
        if let Some(header) = written
            .strip_prefix('[')
            .and_then(|rest| rest.split_once(']'))
        {
            here = header.0.trim();
        }
        if here != section {
            continue;
        }
        if !written.is_empty() {
            end = Some(n + 1);
        }
        let is_name = |left: &str| left.trim().trim_matches('"') == name;
        let sets = |text: &str| text.split_once('=').is_some_and(|(left, _)| is_name(left));
        match written.strip_prefix('#') {
            None if sets(written) => set = Some(n),
            Some(comment) if sets(comment) => shown = shown.or(Some(n)),
            _ => {}
        }
    }
    let header = format!("[{section}]");
    match (set.or(shown).and_then(|n| lines.get_mut(n)), end) {
        (Some(place), _) => *place = line,
        (None, Some(end)) => lines.insert(end, line),
        (None, None) => lines.extend(["", &header, line]),
    }
    lines.join("\n").trim_start().to_owned() + "\n"
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::settings::as_toml;

    fn changed(text: &str, key: &str, typed: &str) -> Result<String, String> {
        with_value(Path::new("litrewise.toml"), text, key, typed).map_err(|e| e.to_string())
    }

    #[test]
    fn a_value_is_changed_in_its_place_and_nothing_else() {
        let text = "# ours\n[prices]\nmembrane = 150 # old\nlost_day = 200\n\n[stock]\nresin = 5\n";
        assert_eq!(
            changed(text, "prices.membrane", "180").unwrap(),
            text.replace("membrane = 150 # old", "membrane = 180")
        );
        assert_eq!(
            changed(text, "prices.currency", "£").unwrap(),
            text.replace("lost_day = 200\n", "lost_day = 200\ncurrency = \"£\"\n")
        );
        assert_eq!(
            changed(text, "stock.4040 low pressure", "2").unwrap(),
            format!("{text}\"4040 low pressure\" = 2\n")
        );
        assert_eq!(
            changed("", "work.jobs_per_day", "4").unwrap(),
            "[work]\njobs_per_day = 4\n"
        );
        let zone = changed(text, "time_zone", "Europe/Dublin").unwrap();
        assert!(
            zone.starts_with("# ours\ntime_zone = \"Europe/Dublin\"\n[prices]\n"),
            "{zone}"
        );
    }

    #[test]
    fn a_written_file_takes_its_value_where_the_key_is_explained() {
        let text = as_toml(&Effective::default());
        let with = changed(&text, "prices.lost_day", "220").unwrap();
        assert_eq!(with.lines().count(), text.lines().count());
        assert_eq!(with.replace("\nlost_day = 220\n", "\n# lost_day =\n"), text);
    }

    #[test]
    fn a_mistyped_key_or_value_changes_nothing() {
        for (key, typed, what) in [
            ("prices.membrain", "1", "did you mean prices.membrane?"),
            ("work.jobs_per_day", "many", "allowed is"),
        ] {
            let refused = changed("", key, typed).unwrap_err();
            assert!(refused.contains(what), "{refused}");
        }
        assert!(changed("[prices\n", "prices.membrane", "1").is_err());
    }
}
