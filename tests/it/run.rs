//! Runs the binary in a folder of its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// An empty folder to work in, removed afterwards.
pub struct Yard {
    folder: tempfile::TempDir,
}

/// What a command left behind.
#[derive(Debug)]
pub struct Seen {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Yard {
    pub fn new() -> Yard {
        Yard {
            folder: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn write(&self, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a parent")).expect("its folder");
        std::fs::write(&path, text).expect("a written file");
        path
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path().join(name)).expect(name)
    }

    /// The command as a user would type it here, with a clean environment.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_litrewise"));
        command
            .args(arguments)
            .current_dir(self.path())
            .env_clear()
            .env("LITREWISE_TODAY", "2026-11-25")
            .stdin(Stdio::null());
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Seen {
        let output = self.command(arguments).output().expect("a run");
        Seen {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).expect("UTF-8 output"),
            err: String::from_utf8(output.stderr).expect("UTF-8 messages"),
        }
    }

    /// Runs what must succeed.
    pub fn good(&self, arguments: &[&str]) -> Seen {
        let seen = self.run(arguments);
        assert_eq!(seen.code, 0, "{arguments:?}: {seen:#?}");
        seen
    }

    /// Runs what must fail with one line on standard error, and gives that line.
    pub fn bad(&self, code: i32, arguments: &[&str]) -> String {
        let seen = self.run(arguments);
        assert_eq!(seen.code, code, "{arguments:?}: {seen:#?}");
        assert!(!seen.err.contains("panicked"), "{seen:#?}");
        assert_eq!(seen.err.trim_end().lines().count(), 1, "{seen:#?}");
        seen.err.trim_end().to_owned()
    }
}
