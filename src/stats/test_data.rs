//! Reads the small tables the tests compare with.

/// The rows of a comma-separated table without its header.
pub fn rows(text: &str) -> Vec<Vec<&str>> {
    text.lines()
        .skip(1)
        .map(|line| line.split(',').collect())
        .collect()
}

/// The numeric columns of such a table, in the order asked for.
pub fn columns(text: &str, wanted: &[usize]) -> Vec<Vec<f64>> {
    let rows = rows(text);
    wanted
        .iter()
        .map(|c| {
            rows.iter()
                .map(|r| r[*c].parse().unwrap_or(f64::NAN))
                .collect()
        })
        .collect()
}
