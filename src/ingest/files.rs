//! The files that a path names, and the tables in them.

use std::collections::BTreeSet;
use std::io::Read;
use std::path::{Path, PathBuf};

use super::encoding::{is_workbook, text_of};
use super::error::ReadError;
use super::headers::RecordKind;
use super::kind::heads_a_table;
use super::layout::DELIMITERS;
use super::meaning::meaning;
use super::mend_file;
use super::source::Source;
use super::text::folded;
use super::workbook::Workbook;

/// What a path names.
#[derive(Debug, Default)]
pub struct Found {
    /// In order of their paths.
    pub files: Vec<PathBuf>,
    /// Hidden, lock and backup files, and folders that hold no records.
    pub passed_over: Vec<PathBuf>,
}

/// A file to be read, or a sheet of a workbook.
#[derive(Debug)]
pub struct Table {
    pub path: PathBuf,
    /// The file as the user gave it, and `#Sheet` behind it.
    pub name: String,
    /// The sheet as a text, where it is one.
    pub(super) sheet: Option<String>,
}

impl Table {
    /// Whether it is in memory already.
    pub fn is_held(&self) -> bool {
        self.sheet.is_some()
    }
}

/// The files that a path names: the file itself, or all files of a folder and
/// of the folders below it.
///
/// # Errors
/// [`ReadError::Missing`], [`ReadError::Unreadable`], [`ReadError::EmptyFolder`].
pub fn files_in(path: &Path) -> Result<Found, ReadError> {
    let shown = path.display().to_string();
    let mut found = Found::default();
    let is_folder = std::fs::metadata(path)
        .map_err(|e| cannot_read(&shown, e))?
        .is_dir();
    if !is_folder {
        found.files.push(path.to_owned());
        return Ok(found);
    }
    walk(path, &mut BTreeSet::new(), &mut found)?;
    if found.files.is_empty() {
        return Err(ReadError::EmptyFolder { file: shown });
    }
    found.files.sort();
    found.passed_over.sort();
    Ok(found)
}

/// `above`: the folders on the way. A link to one of them, or to a folder that
/// holds it, leads in a circle or out of what was named: it is not followed.
fn walk(folder: &Path, above: &mut BTreeSet<PathBuf>, found: &mut Found) -> Result<(), ReadError> {
    let failed = |source| cannot_read(&folder.display().to_string(), source);
    let real = folder.canonicalize().map_err(failed)?;
    if above.iter().any(|way| way.starts_with(&real)) {
        return Ok(());
    }
    above.insert(real.clone());
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        // links are followed, so that a folder of links works too
        let Ok(kind) = std::fs::metadata(&path) else {
            continue;
        };
        if is_beside(&path) || (kind.is_dir() && is_ours(&path)) {
            found.passed_over.push(path);
        } else if kind.is_dir() {
            walk(&path, above, found)?;
        } else if kind.is_file() {
            found.files.push(path);
        }
    }
    above.remove(&real);
    Ok(())
}

/// Hidden files, locks of programs that have a file open, and backups.
fn is_beside(path: &Path) -> bool {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let ends = [
        "~",
        ".bak",
        ".backup",
        ".old",
        ".orig",
        ".tmp",
        ".temp",
        ".swp",
        ".part",
        ".crdownload",
        ".lnk",
        "desktop.ini",
        "thumbs.db",
    ];
    name.starts_with(['.', '~', '#']) || ends.iter().any(|end| name.ends_with(end))
}

/// A store, or a report that was written for people.
fn is_ours(folder: &Path) -> bool {
    folder.join("files").join("_delta_log").is_dir()
        || folder.join("assessment.schema.json").is_file()
}

/// The tables in a file: itself, or the sheets of a workbook that are not
/// hidden; and the names of those that are.
///
/// # Errors
/// Where a workbook cannot be read or holds nothing.
pub fn tables_in(path: &Path) -> Result<(Vec<Table>, Vec<String>), ReadError> {
    let name = path.display().to_string();
    let table = |name: &str, text| Table {
        path: path.to_owned(),
        name: name.to_owned(),
        sheet: Some(text),
    };
    let whole = |name| Table {
        path: path.to_owned(),
        name,
        sheet: None,
    };
    // a pipe can be read only once
    if !std::fs::metadata(path).is_ok_and(|found| found.is_file()) {
        return Ok((vec![whole(name)], Vec::new()));
    }
    let failed = |source| cannot_read(&name, source);
    let source = Source::open(path, &name)?;
    if !is_workbook(source.rewound().map_err(failed)?).map_err(failed)? {
        let tables: Option<Vec<Table>> = match is_to_mend(&source).map_err(failed)? {
            true => std::fs::read_to_string(path)
                .ok()
                .and_then(|text| mend_file::tables_in(&text))
                .map(|tables| tables.into_iter().map(|text| table(&name, text)).collect()),
            false => tables_below(&source, &name).map(|tables| {
                let named = (1..).zip(tables);
                named
                    .map(|(n, text)| table(&numbered(&name, n), text))
                    .collect()
            }),
        };
        return Ok((tables.unwrap_or_else(|| vec![whole(name)]), Vec::new()));
    }
    let bytes = std::fs::read(path).map_err(failed)?;
    let book = Workbook::read(&bytes, &name)?;
    if book.sheets.is_empty() {
        return Err(ReadError::Empty { file: name });
    }
    let mut tables = Vec::new();
    for (sheet, text) in book.sheets {
        let is_other = |known: &[String], own: &[String]| known != own;
        let of_sheet = tables_of(text, '\t', is_other).into_iter();
        let name = format!("{name}#{sheet}");
        tables.extend(
            (1..)
                .zip(of_sheet)
                .map(|(n, text)| table(&numbered(&name, n), text)),
        );
    }
    let hidden = book.hidden.iter().map(|sheet| format!("{name}#{sheet}"));
    Ok((tables, hidden.collect()))
}

/// `log.csv` for the first table of a file, `log.csv (2)` for the one below it.
fn numbered(name: &str, n: usize) -> String {
    match n {
        1 => name.to_owned(),
        _ => format!("{name} ({n})"),
    }
}

/// Bytes of the largest file in which tables are looked for below the first:
/// nobody keeps a longer one by hand.
const LARGEST_BY_HAND: u64 = 4 << 20;

/// The tables of a file of text that holds more than one.
fn tables_below(source: &Source<'_>, name: &str) -> Option<Vec<String>> {
    let mut bytes = Vec::new();
    let mut start = source.rewound().ok()?.take(LARGEST_BY_HAND + 1);
    start.read_to_end(&mut bytes).ok()?;
    if bytes.len() as u64 > LARGEST_BY_HAND {
        return None;
    }
    let text = text_of(&bytes, name)?;
    // columns that the first table has too, and such as nobody has use for, are
    // its own in another order
    let is_column = |heading: &String| {
        let mut kinds = RecordKind::ALL.into_iter();
        kinds.any(|kind| meaning(kind, heading).column().is_some())
    };
    let is_other = |known: &[String], own: &[String]| {
        let mut new = own.iter().filter(|cell| !known.contains(cell));
        new.any(is_column)
    };
    DELIMITERS.iter().find_map(|(delimiter, _)| {
        let tables = tables_of(text.clone(), char::from(*delimiter), is_other);
        (tables.len() > 1).then_some(tables)
    })
}

/// The tables of a text that stand one below the other, each on its own lines. A
/// title between them goes with the one below it. `is_other`: whether headings
/// are those of another table.
fn tables_of(
    text: String,
    delimiter: char,
    is_other: impl Fn(&[String], &[String]) -> bool,
) -> Vec<String> {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let cells = |line: &str| -> Vec<String> { line.split(delimiter).map(folded).collect() };
    let is_row = |line: &&str| cells(line).iter().filter(|cell| !cell.is_empty()).count() > 1;
    let mut starts: Vec<usize> = Vec::new();
    let mut headings: Option<Vec<String>> = None;
    for (n, line) in lines.iter().enumerate() {
        if !heads_a_table(line.split(delimiter)) {
            continue;
        }
        let own = cells(line);
        match &headings {
            Some(known) if !is_other(known, &own) => continue,
            Some(_) => {
                let above = lines.get(..n).unwrap_or_default();
                starts.push(above.iter().rposition(is_row).map_or(n, |last| last + 1));
            }
            None => {}
        }
        headings = Some(own);
    }
    if starts.is_empty() {
        return vec![text];
    }
    let ends = starts.iter().copied().chain([lines.len()]);
    let all = std::iter::once(0).chain(starts.iter().copied()).zip(ends);
    all.map(|(start, end)| {
        let own = lines.get(start..end).unwrap_or_default();
        "\n".repeat(start) + &own.concat()
    })
    .collect()
}

/// Whether a file looks like one in which rows are mended.
fn is_to_mend(source: &Source<'_>) -> std::io::Result<bool> {
    let mut start = Vec::new();
    source.rewound()?.take(64).read_to_end(&mut start)?;
    let start = String::from_utf8_lossy(&start);
    let first = start.trim_start_matches(['\u{feff}', '"']);
    Ok(mend_file::is_ours(first))
}

pub(super) fn cannot_read(file: &str, source: std::io::Error) -> ReadError {
    let file = file.to_owned();
    if source.kind() == std::io::ErrorKind::NotFound {
        ReadError::Missing { file }
    } else {
        ReadError::Unreadable { file, source }
    }
}
