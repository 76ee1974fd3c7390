//! File names that cannot leave the folder, and a report that is put in place
//! only when all of it is there.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

use super::error::ReportError;
use super::png_file;

/// The page that shows all the others.
pub const INDEX: &str = "index.html";

/// The body of that page while it is being made.
pub const INDEX_BODY: &str = "index.body";

/// A file of the report for other programs.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    pub name: &'static str,
    /// What it is, in people's words.
    pub what: &'static str,
    pub kind: Kind,
}

/// What a [`Table`] holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    AssessmentJson,
    AssessmentCsv,
    Schema,
    Workbook,
    DueCsv,
    DueCalendar,
}

/// Every file for other programs.
pub const TABLES: [Table; 6] = [
    Table {
        name: "fleet.xlsx",
        what: "vans, jobs, orders, districts and months, for a spreadsheet program",
        kind: Kind::Workbook,
    },
    Table {
        name: "due.csv",
        what: "the jobs of the next eight weeks, for a spreadsheet",
        kind: Kind::DueCsv,
    },
    Table {
        name: "due.ics",
        what: "the same jobs, for a calendar",
        kind: Kind::DueCalendar,
    },
    Table {
        name: "assessment.csv",
        what: "every van in a row, for a spreadsheet",
        kind: Kind::AssessmentCsv,
    },
    Table {
        name: "assessment.json",
        what: "everything as data, for other programs",
        kind: Kind::AssessmentJson,
    },
    Table {
        name: "assessment.schema.json",
        what: "what that data means and how it is built (JSON Schema)",
        kind: Kind::Schema,
    },
];

/// How the names of pages begin; a page that is not made any more is known by it.
const PAGES: [&str; 12] = [
    "claim-",
    "warranty-",
    "card-",
    "money",
    "van-",
    "area-",
    "fleet",
    "vans-",
    "water",
    "records",
    "orders",
    "past",
];

/// Longest part of a file name taken from a van's or district's own name.
const LONGEST: usize = 60;

/// File names for `names`, in their order: `van-QV-014.png`. Letters, digits
/// and `-` are kept, anything else becomes `_`; names that would share a file
/// (letter case counts for nothing on some disks) get `-2`, `-3` and so on.
pub fn file_names(prefix: &str, names: &[&str], extension: &str) -> Vec<String> {
    let mut used = BTreeSet::new();
    names
        .iter()
        .map(|name| {
            let stem = safe(name);
            let mut n = 1;
            loop {
                let candidate = match n {
                    1 => format!("{prefix}-{stem}.{extension}"),
                    n => format!("{prefix}-{stem}-{n}.{extension}"),
                };
                if used.insert(candidate.to_lowercase()) {
                    return candidate;
                }
                n += 1;
            }
        })
        .collect()
}

fn safe(name: &str) -> String {
    let kept: String = name
        .trim()
        .chars()
        .take(LONGEST)
        .map(|c| {
            if c.is_ascii_alphanumeric() || c == '-' {
                c
            } else {
                '_'
            }
        })
        .collect();
    if kept.is_empty() {
        "unnamed".to_owned()
    } else {
        kept
    }
}

/// Files that wait in a new folder beside the place they are for, until all are
/// there. Dropped before, they are gone and what stood in that place is as it was.
pub struct Waiting {
    out: PathBuf,
    folder: PathBuf,
    /// Written files on their way to the disk.
    written: SyncSender<(PathBuf, fs::File)>,
    /// Waits for the disk, so that nobody else has to.
    syncing: Option<JoinHandle<Result<(), ReportError>>>,
}

/// So many files may wait for the disk at once.
const ON_THEIR_WAY: usize = 64;

impl Waiting {
    /// An empty folder for files that are to go into `out`.
    ///
    /// # Errors
    /// [`ReportError::NotAFolder`], [`ReportError::CannotWrite`]
    pub fn beside(out: &Path) -> Result<Waiting, ReportError> {
        if out.is_file() {
            return Err(ReportError::NotAFolder {
                path: out.to_owned(),
            });
        }
        clear_left_behind(out)?;
        let folder = waiting_folder(out)?;
        let (written, received) = sync_channel(ON_THEIR_WAY);
        let syncing = std::thread::Builder::new().spawn(move || sync_all(&received));
        let mut waiting = Waiting {
            out: out.to_owned(),
            folder,
            written,
            syncing: None,
        };
        waiting.syncing = Some(syncing.map_err(|source| cannot_write(out, source))?);
        Ok(waiting)
    }

    /// Where a file of that name waits, to be written there; [`Waiting::keep`]
    /// takes it when it is whole.
    ///
    /// # Errors
    /// [`ReportError::CannotWrite`]
    pub fn create(&self, name: &str) -> Result<(PathBuf, fs::File), ReportError> {
        let path = self.folder.join(name);
        let file = create_private(&path).map_err(|source| cannot_write(&path, source))?;
        Ok((path, file))
    }

    /// Takes a whole file.
    pub fn keep(&self, path: PathBuf, file: fs::File) {
        // after a fault nobody receives: the fault is told at the end
        let _ = self.written.send((path, file));
    }

    /// Takes away what was only of use on the way.
    ///
    /// # Errors
    /// [`ReportError::CannotWrite`]
    pub fn discard(&self, path: &Path) -> Result<(), ReportError> {
        fs::remove_file(path).map_err(|source| cannot_write(path, source))
    }

    /// Writes a file.
    ///
    /// # Errors
    /// [`ReportError::CannotWrite`]
    pub fn write(&self, name: &str, content: &[u8]) -> Result<(), ReportError> {
        let (path, mut file) = self.create(name)?;
        io::Write::write_all(&mut file, content).map_err(|source| cannot_write(&path, source))?;
        self.keep(path, file);
        Ok(())
    }

    /// Lets the folder take the old one's place in one step. Where the system
    /// has no such step, each of `names` goes into its place, the last one last.
    /// A page of an earlier report that is not made any more is taken away;
    /// files that are not ours stay. Gives the files' places.
    ///
    /// # Errors
    /// [`ReportError::CannotWrite`]: up to the point where all new files lie
    /// complete on the disk, the old report is untouched.
    pub fn put_in_place(mut self, names: &[String]) -> Result<Vec<PathBuf>, ReportError> {
        // no more files: the other side comes to an end
        drop(std::mem::replace(&mut self.written, sync_channel(0).0));
        if let Some(syncing) = self.syncing.take() {
            let crashed = |_| cannot_write(&self.folder, io::Error::other("it was not synced"));
            syncing.join().map_err(crashed)??;
        }
        let made: BTreeSet<&str> = names.iter().map(String::as_str).collect();
        move_all(&self.folder, &self.out, names, &made)?;
        if let Err(source) = fs::remove_dir_all(&self.folder)
            && source.kind() != io::ErrorKind::NotFound
        {
            return Err(cannot_write(&self.folder, source));
        }
        remove_left_over_pages(&self.out, &made)?;
        Ok(names.iter().map(|name| self.out.join(name)).collect())
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        // best effort: after a fault the folder may hold what could not be moved
        let _ = fs::remove_dir_all(&self.folder);
    }
}

fn sync_all(received: &Receiver<(PathBuf, fs::File)>) -> Result<(), ReportError> {
    for (path, file) in received {
        file.sync_all()
            .map_err(|source| cannot_write(&path, source))?;
    }
    Ok(())
}

fn cannot_write(path: &Path, source: io::Error) -> ReportError {
    ReportError::CannotWrite {
        path: path.to_owned(),
        source,
    }
}

/// Writes `files` (name and content) and lets them take their place in `out`.
///
/// # Errors
/// As [`Waiting::put_in_place`].
pub fn put_in_place(out: &Path, files: &[(String, Vec<u8>)]) -> Result<Vec<PathBuf>, ReportError> {
    let waiting = Waiting::beside(out)?;
    for (name, content) in files {
        waiting.write(name, content)?;
    }
    let names: Vec<String> = files.iter().map(|(name, _)| name.clone()).collect();
    waiting.put_in_place(&names)
}

/// Writes one file of a report, which takes the place of an earlier one whole.
///
/// # Errors
/// [`ReportError::CannotWrite`]
pub fn replace(path: &Path, content: &[u8]) -> Result<PathBuf, ReportError> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let put = || {
        // for its owner only, and gone if it does not come to its end
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        io::Write::write_all(&mut file, content)?;
        file.persist(path).map_err(|error| error.error)
    };
    put().map_err(|source| cannot_write(path, source))?;
    Ok(path.to_owned())
}

/// Makes the folder, so that it is known early whether it can be made.
///
/// # Errors
/// [`ReportError::CannotWrite`]
pub fn prepare(out: &Path) -> Result<(), ReportError> {
    create_private_folder(out).map_err(|source| cannot_write(out, source))
}

/// A new, empty folder on the same disk, named after `out` and this process.
fn waiting_folder(out: &Path) -> Result<PathBuf, ReportError> {
    let parent = match out.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    let name = out
        .file_name()
        .map_or_else(|| "report".into(), |n| n.to_owned());
    let mut hidden = std::ffi::OsString::from(".");
    hidden.push(&name);
    hidden.push(format!(".new-{}", std::process::id()));
    // `.` and `..` have no name of their own: wait inside them instead
    let waiting = if out.file_name().is_some() {
        parent.join(hidden)
    } else {
        out.join(hidden)
    };
    let cannot = |source| cannot_write(&waiting, source);
    if waiting.exists() {
        fs::remove_dir_all(&waiting).map_err(cannot)?;
    }
    create_private_folder(&waiting).map_err(cannot)?;
    Ok(waiting)
}

/// A report tells where vans stand: it is for its owner, who may share it.
fn create_private_folder(path: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// A new file, to be read again too.
fn create_private(path: &Path) -> io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.read(true).write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

fn move_all(
    waiting: &Path,
    out: &Path,
    names: &[String],
    made: &BTreeSet<&str>,
) -> Result<(), ReportError> {
    if !out.exists() {
        return fs::rename(waiting, out).map_err(|source| cannot_write(out, source));
    }
    if link_own_files(waiting, out, made).is_ok() && swap(waiting, out).is_ok() {
        return rescue(waiting, out, made);
    }
    for name in names {
        let path = out.join(name);
        fs::rename(waiting.join(name), &path).map_err(|source| cannot_write(&path, source))?;
    }
    Ok(())
}

/// Whether an entry of a report's folder is of a report: of the one being
/// made, or a page of an earlier one.
fn is_ours(path: &Path, made: &BTreeSet<&str>) -> bool {
    let name = path.file_name().and_then(|name| name.to_str());
    name.is_some_and(|name| {
        made.contains(name) || (name.ends_with(".png") && png_file::is_a_page_of_ours(path))
    })
}

/// The user's own files are in the new folder before it takes the old one's
/// place: at no moment are they missing.
fn link_own_files(waiting: &Path, out: &Path, made: &BTreeSet<&str>) -> io::Result<()> {
    for entry in fs::read_dir(out)? {
        let entry = entry?;
        if entry.file_type()?.is_file() && !is_ours(&entry.path(), made) {
            fs::hard_link(entry.path(), waiting.join(entry.file_name()))?;
        }
    }
    Ok(())
}

/// Lets two folders change places in one step.
#[cfg(target_os = "linux")]
fn swap(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    if other.is_symlink() {
        return Err(io::ErrorKind::Unsupported.into());
    }
    renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?;
    Ok(())
}

#[cfg(not(target_os = "linux"))]
fn swap(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// Moves what is the user's own, and not in the new folder yet, out of a
/// folder that is to go.
fn rescue(going: &Path, out: &Path, made: &BTreeSet<&str>) -> Result<(), ReportError> {
    for entry in fs::read_dir(going).map_err(|e| cannot_write(going, e))? {
        let entry = entry.map_err(|e| cannot_write(going, e))?;
        let place = out.join(entry.file_name());
        if !is_ours(&entry.path(), made) && !place.exists() {
            fs::rename(entry.path(), &place).map_err(|e| cannot_write(&place, e))?;
        }
    }
    Ok(())
}

/// Folders in which reports waited whose making was cut short.
fn clear_left_behind(out: &Path) -> Result<(), ReportError> {
    let (Some(name), Some(parent)) = (out.file_name(), out.parent()) else {
        return Ok(());
    };
    let parent = match parent.as_os_str().is_empty() {
        true => Path::new("."),
        false => parent,
    };
    let begin = format!(".{}.new-", name.to_string_lossy());
    for entry in fs::read_dir(parent).into_iter().flatten().flatten() {
        let waiting = entry.file_name();
        let waiting = waiting.to_string_lossy();
        let process = waiting
            .strip_prefix(&begin)
            .and_then(|n| n.parse::<u32>().ok());
        if let Some(process) = process
            && !is_running(process)
        {
            // what a swap cut short left there is a report, or the user's own
            if out.is_dir() {
                rescue(&entry.path(), out, &own_names())?;
            }
            // best effort: it does no harm where it is
            let _ = fs::remove_dir_all(entry.path());
        }
    }
    Ok(())
}

/// The files of every report that are no pages.
fn own_names() -> BTreeSet<&'static str> {
    let tables = TABLES.iter().map(|table| table.name);
    tables.chain([INDEX]).collect()
}

/// Where it cannot be told, it is taken to run.
fn is_running(process: u32) -> bool {
    let all = Path::new("/proc");
    process == std::process::id()
        || !all.join("self").exists()
        || all.join(process.to_string()).exists()
}

/// Pages carry a mark of their maker, so a user's own `van-photo.png` stays.
fn remove_left_over_pages(out: &Path, made: &BTreeSet<&str>) -> Result<(), ReportError> {
    for entry in fs::read_dir(out).map_err(|e| cannot_write(out, e))? {
        let entry = entry.map_err(|e| cannot_write(out, e))?;
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let ours = PAGES.iter().any(|p| name.starts_with(p))
            && name.ends_with(".png")
            && !made.contains(name.as_str());
        if ours && png_file::is_a_page_of_ours(&entry.path()) {
            fs::remove_file(entry.path()).map_err(|e| cannot_write(&entry.path(), e))?;
        }
    }
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    #[test]
    fn odd_names_cannot_leave_the_folder() {
        let names = file_names(
            "van",
            &["../../etc/passwd", "QV 014", "a/b\\c:d", "", "été", "CON"],
            "png",
        );
        for name in &names {
            assert!(name.starts_with("van-"), "{name}");
            assert!(!name.contains(['/', '\\', ':', ' ']), "{name}");
            assert_eq!(Path::new(name).components().count(), 1);
        }
        assert_eq!(names[0], "van-______etc_passwd.png");
        assert_eq!(names[3], "van-unnamed.png");
    }

    #[test]
    fn names_that_fold_to_one_file_get_a_number() {
        let names = file_names("van", &["QV-1", "qv-1", "QV_1", "QV 1", "QV-1-2"], "png");
        let folded: BTreeSet<String> = names.iter().map(|n| n.to_lowercase()).collect();
        assert_eq!(folded.len(), 5, "{names:?}");
        assert_eq!(names[0], "van-QV-1.png");
        assert_eq!(names[1], "van-qv-1-2.png");
    }

    #[test]
    fn what_is_not_ours_stays_and_no_waiting_folder_is_left() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("october");
        let first = vec![("index.html".to_owned(), b"one".to_vec())];
        put_in_place(&out, &first).unwrap();
        fs::write(out.join("van-photo.png"), b"my own").unwrap();
        let second = vec![("index.html".to_owned(), b"two".to_vec())];
        put_in_place(&out, &second).unwrap();
        assert_eq!(fs::read(out.join("index.html")).unwrap(), b"two");
        assert!(out.join("van-photo.png").exists());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn what_a_killed_report_left_is_cleared_and_nothing_of_the_users_is_lost() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("october");
        let report = vec![("index.html".to_owned(), b"one".to_vec())];
        put_in_place(&out, &report).unwrap();
        fs::create_dir(out.join("photos")).unwrap();
        fs::write(out.join("photos/van.jpg"), b"my own").unwrap();
        // killed just after the two had changed places; that process is gone
        let left = dir.path().join(".october.new-4294967295");
        fs::rename(&out, &left).unwrap();
        fs::create_dir(&out).unwrap();
        fs::write(out.join("index.html"), b"two").unwrap();
        put_in_place(&out, &report).unwrap();
        assert_eq!(fs::read(out.join("photos/van.jpg")).unwrap(), b"my own");
        assert_eq!(fs::read(out.join("index.html")).unwrap(), b"one");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_report_that_cannot_be_finished_leaves_the_old_one() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("october");
        put_in_place(&out, &[("index.html".to_owned(), b"good".to_vec())]).unwrap();
        // a name with a folder that does not exist cannot be written
        let broken = vec![
            ("index.html".to_owned(), b"half".to_vec()),
            ("missing/van.png".to_owned(), b"x".to_vec()),
        ];
        assert!(put_in_place(&out, &broken).is_err());
        assert_eq!(fs::read(out.join("index.html")).unwrap(), b"good");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_file_in_place_of_the_folder_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("taken");
        fs::write(&out, b"x").unwrap();
        let tried = put_in_place(&out, &[("index.html".to_owned(), vec![])]);
        assert!(matches!(tried, Err(ReportError::NotAFolder { .. })));
    }
}
