//! Which van a typed name means: every spelling that ingest takes for one.

use std::collections::BTreeSet;

use super::error::CliError;
use crate::advise::VanAssessment;
use crate::store::names::van_key;

/// The van's name as it is stored.
///
/// # Errors
/// [`CliError::UnknownVan`] with the nearest name, or [`CliError::Usage`] where
/// several vans could be meant.
pub(super) fn named<'a>(
    typed: &str,
    names: impl Iterator<Item = &'a str> + Clone,
) -> Result<String, CliError> {
    if let Some(exact) = names.clone().find(|name| *name == typed) {
        return Ok(exact.to_owned());
    }
    let key = van_key(typed);
    let same: BTreeSet<&str> = names.clone().filter(|name| van_key(name) == key).collect();
    let mut same = same.into_iter();
    match (same.next(), same.next()) {
        (Some(one), None) => Ok(one.to_owned()),
        (Some(one), Some(other)) => Err(CliError::Usage(format!(
            "{typed} may be {one} or {other}: write the van's name as it is stored"
        ))),
        (None, _) => Err(CliError::UnknownVan {
            name: typed.to_owned(),
            near: nearest(typed, names),
        }),
    }
}

/// Leaves those that were named; all where none was.
///
/// # Errors
/// As for [`named`].
pub(super) fn keep(vans: &mut Vec<VanAssessment>, typed: &[String]) -> Result<(), CliError> {
    if typed.is_empty() {
        return Ok(());
    }
    let names = || vans.iter().map(|van| van.van.as_str());
    let wanted = typed.iter().map(|typed| named(typed, names()));
    let wanted = wanted.collect::<Result<Vec<String>, CliError>>()?;
    vans.retain(|van| wanted.contains(&van.van));
    Ok(())
}

/// The name most like what was typed, if any is near.
fn nearest<'a>(typed: &str, names: impl Iterator<Item = &'a str>) -> Option<String> {
    let key = van_key(typed);
    names
        .map(|name| (strsim::jaro_winkler(&key, &van_key(name)), name))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.to_owned())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn spellings_that_ingest_takes_for_one_van_name_it() {
        let vans = ["QV-003", "QV-013", "QV-03"];
        for typed in ["QV-003", "qv-003", "QV 003", "qv003", "Qv_0O3"] {
            assert_eq!(named(typed, vans.iter().copied()).unwrap(), "QV-003");
        }
        let near = named("QV-O99", vans.iter().copied()).unwrap_err();
        assert!(near.to_string().contains("did you mean"), "{near}");
        let two = ["QV 1", "QV-1"];
        assert_eq!(named("QV 1", two.iter().copied()).unwrap(), "QV 1");
        assert!(named("qv1", two.iter().copied()).is_err());
    }
}
