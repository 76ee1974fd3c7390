//! JSON lines: one object a line, its keys the headings. Made a table whose rows
//! stand one line below those of the file, behind a line of headings.

use serde_json::Value;

use super::workbook::{number_text, on_one_line};

/// The table; `None` where the text is no JSON lines.
pub(super) fn table_of(text: &str) -> Option<String> {
    let first = text.lines().find(|line| !line.trim().is_empty())?;
    serde_json::from_str::<serde_json::Map<String, Value>>(first).ok()?;
    let mut headings: Vec<String> = Vec::new();
    let mut rows: Vec<Result<Vec<(usize, String)>, &str>> = Vec::new();
    for line in text.lines() {
        let line = line.trim();
        let Ok(Value::Object(object)) = serde_json::from_str::<Value>(line) else {
            rows.push(Err(line));
            continue;
        };
        let mut cells = Vec::new();
        for (key, value) in &object {
            flatten(key, value, &mut |key, cell| {
                let at = headings.iter().position(|known| known == key);
                let at = at.unwrap_or_else(|| {
                    headings.push(key.to_owned());
                    headings.len() - 1
                });
                cells.push((at, cell));
            });
        }
        rows.push(Ok(cells));
    }
    let mut table = line_of(headings.iter().map(String::as_str));
    for row in rows {
        match row {
            Ok(cells) => {
                let mut row = vec![""; headings.len()];
                for (at, cell) in &cells {
                    if let Some(slot) = row.get_mut(*at) {
                        *slot = cell;
                    }
                }
                table += &line_of(row.into_iter());
            }
            // no object: one cell, which is set aside as it stands
            Err("") => table.push('\n'),
            Err(line) => table += &line_of(std::iter::once(line)),
        }
    }
    Some(table)
}

/// The values of an object within an object are headed by both keys.
fn flatten(key: &str, value: &Value, put: &mut impl FnMut(&str, String)) {
    match value {
        Value::Null => put(key, String::new()),
        Value::Bool(true) => put(key, "yes".to_owned()),
        Value::Bool(false) => put(key, "no".to_owned()),
        Value::Number(number) => {
            let text = number.as_f64().map(number_text);
            put(key, text.unwrap_or_else(|| number.to_string()));
        }
        Value::String(text) => put(key, on_one_line(text)),
        Value::Array(_) => put(key, value.to_string()),
        Value::Object(inner) => {
            for (inner_key, value) in inner {
                let both = format!("{key} {inner_key}");
                // one level is what exports have; deeper ones stay as they stand
                match value {
                    Value::Object(_) => put(&both, value.to_string()),
                    value => flatten(&both, value, put),
                }
            }
        }
    }
}

fn line_of<'c>(cells: impl Iterator<Item = &'c str>) -> String {
    let cells: Vec<String> = cells
        .map(|cell| match cell.contains('"') {
            true => format!("\"{}\"", cell.replace('"', "\"\"")),
            false => cell.to_owned(),
        })
        .collect();
    format!("{}\n", cells.join("\t"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn objects_become_rows_below_all_their_keys() {
        let text =
            "{\"van\":\"QV-1\",\"tds\":{\"in\":320}}\n\nnone\n{\"van\":\"QV-2\",\"ok\":true}\n";
        let table = table_of(text);
        assert_eq!(
            table.as_deref(),
            Some("van\ttds in\tok\nQV-1\t320\t\n\nnone\nQV-2\t\tyes\n")
        );
        assert_eq!(table_of("van,tds\n"), None);
    }
}
