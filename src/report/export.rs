//! The assessment for other programs: JSON as the contract has it, and CSV.

use crate::calendar::Date;

use crate::advise::{Assessment, DistrictMonth, Span};
use crate::backtest::Backtest;

use super::error::ReportError;

/// The assessment as pretty JSON, always the same for the same assessment.
///
/// # Errors
/// [`ReportError::CannotSerialise`].
pub fn assessment_json(assessment: &Assessment) -> Result<String, ReportError> {
    let mut text =
        serde_json::to_string_pretty(assessment).map_err(ReportError::CannotSerialise)?;
    text.push('\n');
    Ok(text)
}

/// The assessment with the few numbers that drove each forecast beside it,
/// under `explained` of each van.
///
/// # Errors
/// As [`assessment_json`].
pub fn explained_json(assessment: &Assessment) -> Result<String, ReportError> {
    let mut value = serde_json::to_value(assessment).map_err(ReportError::CannotSerialise)?;
    let vans = value.get_mut("vans").and_then(|v| v.as_array_mut());
    for (van, known) in vans.into_iter().flatten().zip(&assessment.vans) {
        let explained =
            serde_json::to_value(&known.explained).map_err(ReportError::CannotSerialise)?;
        if let Some(object) = van.as_object_mut() {
            object.insert("explained".to_owned(), explained);
        }
    }
    let mut text = serde_json::to_string_pretty(&value).map_err(ReportError::CannotSerialise)?;
    text.push('\n');
    Ok(text)
}

/// The backtest as JSON.
///
/// # Errors
/// As [`assessment_json`].
pub fn backtest_json(result: &Backtest) -> Result<String, ReportError> {
    let mut text = serde_json::to_string_pretty(result).map_err(ReportError::CannotSerialise)?;
    text.push('\n');
    Ok(text)
}

const HEADS: [&str; 29] = [
    "van",
    "postcode",
    "hardness_mg_l_caco3",
    "hardness_basis",
    "membrane_state",
    "membrane_replace_on",
    "membrane_fitted_on",
    "membrane_litres_made",
    "membrane_salt_passage_p10",
    "membrane_salt_passage_p50",
    "membrane_salt_passage_p90",
    "membrane_limit_on_p10",
    "membrane_limit_on_p50",
    "membrane_limit_on_p90",
    "membrane_suspect",
    "resin_state",
    "resin_replace_on",
    "resin_changed_on",
    "resin_litres_treated",
    "resin_litres_left_p10",
    "resin_litres_left_p50",
    "resin_litres_left_p90",
    "resin_limit_on_p10",
    "resin_limit_on_p50",
    "resin_limit_on_p90",
    "prefilter_state",
    "prefilter_replace_on",
    "prefilter_changed_on",
    "reasons",
];

/// One row per van with the contract's names; unknown is an empty cell.
pub fn assessment_csv(assessment: &Assessment) -> String {
    let mut out = row(HEADS.iter().map(|h| (*h).to_owned()));
    for van in &assessment.vans {
        let (m, r, p) = (&van.membrane, &van.resin, &van.prefilter);
        let mut cells = vec![
            harmless(&van.van),
            harmless(van.postcode.as_deref().unwrap_or_default()),
            number(van.hardness_mg_l_caco3),
            word(&van.hardness_basis),
            word(&m.state),
            date(m.replace_on),
            date(m.fitted_on),
            number(m.litres_made),
        ];
        cells.extend(numbers(&m.salt_passage));
        cells.extend(dates(&m.limit_on));
        cells.extend([
            word(&m.suspect),
            word(&r.state),
            date(r.replace_on),
            date(r.changed_on),
            number(r.litres_treated),
        ]);
        cells.extend(numbers(&r.litres_left));
        cells.extend(dates(&r.limit_on));
        let reasons = [&m.reason, &r.reason, &p.reason]
            .map(String::as_str)
            .join(" ");
        cells.extend([
            word(&p.state),
            date(p.replace_on),
            date(p.changed_on),
            harmless(reasons.trim()),
        ]);
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// One row per district and month; unknown is an empty cell.
pub fn by_month_csv(months: &[DistrictMonth]) -> String {
    let heads = [
        "district",
        "month",
        "vans",
        "readings",
        "feed_ppm_median",
        "permeate_ppm_median",
        "product_ppm_median",
        "rejection_percent_median",
        "litres_made",
        "litres_to_drain",
        "membrane_changes",
        "resin_changes",
    ];
    let mut out = row(heads.map(str::to_owned).into_iter());
    let rounded = |value: Option<f64>, digits: usize| {
        let value = value.filter(|v| v.is_finite());
        value.map_or(String::new(), |v| format!("{v:.digits$}"))
    };
    for of in months {
        let cells = [
            harmless(&of.district),
            of.month.format("%Y-%m").to_string(),
            of.vans.to_string(),
            of.readings.to_string(),
            rounded(of.feed_ppm, 1),
            rounded(of.permeate_ppm, 1),
            rounded(of.product_ppm, 1),
            rounded(of.rejection.map(|share| 100.0 * share), 1),
            rounded(Some(of.litres_made), 0),
            rounded(of.litres_to_drain, 0),
            of.membrane_changes.to_string(),
            of.resin_changes.to_string(),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// One line of RFC 4180 from finished cells.
pub(super) fn row(cells: impl Iterator<Item = String>) -> String {
    let mut line = cells
        .map(|cell| quoted(&cell))
        .collect::<Vec<_>>()
        .join(",");
    line.push_str("\r\n");
    line
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

/// Text that a spreadsheet would take for a formula gets a leading apostrophe.
pub fn harmless(text: &str) -> String {
    match text.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '\'') => format!("'{text}"),
        _ => text.to_owned(),
    }
}

/// The serialised word of an enum; empty for `None`.
fn word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

fn date(value: Option<Date>) -> String {
    value.map_or(String::new(), |d| d.to_string())
}

fn number(value: Option<f64>) -> String {
    value
        .filter(|v| v.is_finite())
        .map_or(String::new(), |v| v.to_string())
}

fn numbers(span: &Span<f64>) -> [String; 3] {
    [number(span.p10), number(span.p50), number(span.p90)]
}

fn dates(span: &Span<Date>) -> [String; 3] {
    [date(span.p10), date(span.p50), date(span.p90)]
}
