//! Which van a name means.

use std::collections::HashMap;
use std::sync::{Arc, OnceLock};

use super::by_hand::Renamed;

/// The name with everything folded that people write in more than one way:
/// case, spaces, hyphens, underscores, and the letter O beside a digit.
pub fn van_key(name: &str) -> String {
    let mut folded: Vec<char> = name
        .chars()
        .filter(|c| !is_separator(*c))
        .flat_map(char::to_lowercase)
        .collect();
    // Twice, so that a run of letters O beside a digit is folded from either end.
    fold_letter_o(&mut folded);
    folded.reverse();
    fold_letter_o(&mut folded);
    folded.iter().rev().collect()
}

fn is_separator(c: char) -> bool {
    // U+2010 to U+2015 are the hyphens and dashes, U+2212 the minus sign.
    c.is_whitespace()
        || matches!(
            c,
            '-' | '_' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{ad}'
        )
}

fn fold_letter_o(name: &mut [char]) {
    let mut digit_before = false;
    for c in name {
        if *c == 'o' && digit_before {
            *c = '0';
        }
        digit_before = c.is_ascii_digit();
    }
}

/// The vans that rows may belong to.
#[derive(Debug, Clone, Default)]
pub(super) struct VanNames {
    /// Without one every name is a van, spellings with the same fold are one.
    list: Option<VanList>,
    renamed: Renamed,
}

#[derive(Debug, Clone, Default)]
pub(super) struct VanList {
    /// In order.
    names: Vec<Arc<str>>,
    /// Fold → the one van with it, or `None` where several share it. Made once
    /// a name is asked for that is not listed.
    folded: OnceLock<HashMap<String, Option<Arc<str>>>>,
}

impl VanList {
    fn folded(&self) -> &HashMap<String, Option<Arc<str>>> {
        self.folded.get_or_init(|| {
            let mut folded: HashMap<_, _> = HashMap::with_capacity(self.names.len());
            for name in &self.names {
                folded
                    .entry(van_key(name))
                    .and_modify(|van| *van = None)
                    .or_insert_with(|| Some(name.clone()));
            }
            folded
        })
    }
}

/// Why a name is no van.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoVan {
    NotListed,
    FitsSeveral,
}

impl NoVan {
    pub(super) fn reason(self, name: &str) -> String {
        match self {
            NoVan::NotListed => format!("van \"{name}\" is not in the van list"),
            NoVan::FitsSeveral => {
                format!("van \"{name}\" fits more than one van of the list: write it as listed")
            }
        }
    }
}

impl VanNames {
    /// `listed`: the names of the current van list; empty means no list.
    pub(super) fn new(listed: impl IntoIterator<Item = Arc<str>>, renamed: Renamed) -> VanNames {
        let listed = listed.into_iter();
        let now = |name: Arc<str>| renamed.now(&name).cloned().unwrap_or(name);
        let mut names: Vec<Arc<str>> = listed.map(now).collect();
        names.sort_unstable();
        names.dedup();
        let list = (!names.is_empty()).then(|| VanList {
            names,
            folded: OnceLock::new(),
        });
        VanNames { list, renamed }
    }

    /// Whether every name is a van.
    pub(super) fn is_any(&self) -> bool {
        self.list.is_none()
    }

    /// The name that a van bears now, where it was given another.
    pub(super) fn given(&self, name: &str) -> Option<&Arc<str>> {
        self.renamed.now(name)
    }

    /// What tells this van from others: its listed name, or without a list
    /// the fold of its name.
    pub(super) fn identity(&self, name: &str) -> Result<Arc<str>, NoVan> {
        let name = self.renamed.now(name).map_or(name, |now| now);
        let Some(list) = &self.list else {
            return Ok(van_key(name).into());
        };
        let exact = list.names.binary_search_by(|listed| (**listed).cmp(name));
        if let Some(exact) = exact.ok().and_then(|at| list.names.get(at)) {
            return Ok(exact.clone());
        }
        match list.folded().get(&van_key(name)) {
            Some(Some(van)) => Ok(van.clone()),
            Some(None) => Err(NoVan::FitsSeveral),
            None => Err(NoVan::NotListed),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_one_van_fold_together() {
        for spelling in [
            "QV-014",
            "qv 014",
            "Qv_014",
            "QV014",
            "QV-O14",
            "qv\u{2013}o14",
        ] {
            assert_eq!(van_key(spelling), "qv014", "{spelling}");
        }
        assert_eq!(van_key("OO7"), van_key("007"));
        assert_eq!(van_key("7OO"), van_key("700"));
        assert_ne!(van_key("Otto"), van_key("0tt0"));
    }

    #[test]
    fn a_name_that_fits_two_listed_vans_is_neither() {
        let names = VanNames::new(
            ["QV 1".into(), "QV-1".into(), "QV-2".into()],
            Renamed::default(),
        );
        assert_eq!(names.identity("QV 1").as_deref(), Ok("QV 1"));
        assert_eq!(names.identity("qv1"), Err(NoVan::FitsSeveral));
        assert_eq!(names.identity("qv 2").as_deref(), Ok("QV-2"));
        assert_eq!(names.identity("QX 9"), Err(NoVan::NotListed));
    }
}
