//! Lives of a fleet too large to be held at once: laid down in a file for the
//! time being, read back van by van.

use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;

use super::completeness::Gap;
use super::types::{Cut, FleetLives, Frame, VanLives};
use crate::store::StoreError;

/// Why a fleet could not be gone through van by van.
#[derive(Debug, thiserror::Error)]
pub enum InTurnError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(
        "cannot {doing} {}: a fleet of this size is laid down there for the time being, some 100 kB a van; the variable TMPDIR names another folder",
        path.display()
    )]
    Scratch {
        doing: &'static str,
        path: PathBuf,
        source: io::Error,
    },
}

/// A file that nobody else can open, gone with the process.
#[derive(Debug)]
struct Scratch {
    path: PathBuf,
}

impl Scratch {
    fn create() -> Result<(Scratch, File), InTurnError> {
        let (base, process) = (std::env::temp_dir(), std::process::id());
        let mut options = OpenOptions::new();
        options.read(true).write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut number = 0_u32;
        loop {
            let path = base.join(format!("litrewise-lives-{process}-{number}"));
            match options.open(&path) {
                Ok(file) => {
                    // Where a file may go while it is open, no kill leaves it behind.
                    #[cfg(unix)]
                    let _ = std::fs::remove_file(&path);
                    return Ok((Scratch { path }, file));
                }
                Err(e) if e.kind() == io::ErrorKind::AlreadyExists && number < 1000 => number += 1,
                Err(source) => {
                    return Err(InTurnError::Scratch {
                        doing: "write",
                        path,
                        source,
                    });
                }
            }
        }
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        #[cfg(not(unix))]
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Where a van's lives lie.
#[derive(Debug, Clone, Copy)]
struct Place {
    from: u64,
    bytes: usize,
}

/// A fleet cut into lives that lie on disk, with what was kept of each van.
#[derive(Debug)]
pub struct LaidLives<K> {
    frame: Frame,
    missing: Vec<Gap>,
    /// Vans in service in order of name, then the others.
    places: Vec<Place>,
    kept: Vec<K>,
    in_service: usize,
    /// One reader at a time: what is read is small.
    file: Mutex<File>,
    scratch: Scratch,
}

/// Lives being laid down.
pub(crate) struct Laying<K> {
    scratch: Scratch,
    file: BufWriter<File>,
    end: u64,
    in_service: Vec<(Place, K)>,
    retired: Vec<(Place, K)>,
}

/// A van's lives as bytes.
pub(crate) fn pack(lives: &VanLives) -> Result<Vec<u8>, InTurnError> {
    /// Bytes that most vans stay below.
    const MOSTLY: usize = 128 << 10;
    let packed = postcard::to_extend(lives, Vec::with_capacity(MOSTLY));
    packed.map_err(|e| InTurnError::Scratch {
        doing: "pack",
        path: std::env::temp_dir(),
        source: io::Error::other(e),
    })
}

impl<K> Laying<K> {
    pub(crate) fn begin() -> Result<Laying<K>, InTurnError> {
        let (scratch, file) = Scratch::create()?;
        Ok(Laying {
            scratch,
            file: BufWriter::with_capacity(1 << 20, file),
            end: 0,
            in_service: Vec::new(),
            retired: Vec::new(),
        })
    }

    /// `packed`: a van's lives by [`pack`]; vans come in order of name.
    pub(crate) fn lay_down(
        &mut self,
        in_service: bool,
        kept: K,
        packed: &[u8],
    ) -> Result<(), InTurnError> {
        let place = Place {
            from: self.end,
            bytes: packed.len(),
        };
        let written = self.file.write_all(packed);
        written.map_err(|source| failed("write", &self.scratch, source))?;
        self.end += packed.len() as u64;
        match in_service {
            true => self.in_service.push((place, kept)),
            false => self.retired.push((place, kept)),
        }
        Ok(())
    }

    pub(crate) fn finish(
        self,
        frame: Frame,
        missing: Vec<Gap>,
    ) -> Result<LaidLives<K>, InTurnError> {
        let scratch = self.scratch;
        let file = self.file.into_inner();
        let file = file.map_err(|e| failed("write", &scratch, e.into_error()))?;
        let in_service = self.in_service.len();
        let all = self.in_service.into_iter().chain(self.retired);
        let (places, kept) = all.unzip();
        Ok(LaidLives {
            frame,
            missing,
            places,
            kept,
            in_service,
            file: Mutex::new(file),
            scratch,
        })
    }
}

fn failed(doing: &'static str, scratch: &Scratch, source: io::Error) -> InTurnError {
    InTurnError::Scratch {
        doing,
        path: scratch.path.clone(),
        source,
    }
}

impl<K> LaidLives<K> {
    /// What was kept of each van, by its number.
    pub fn kept(&self) -> &[K] {
        &self.kept
    }

    fn read(&self, van: usize) -> Result<VanLives, InTurnError> {
        let ended = || io::Error::from(io::ErrorKind::UnexpectedEof);
        let unreadable = |source| failed("read", &self.scratch, source);
        let place = self.places.get(van).ok_or_else(|| unreadable(ended()))?;
        let mut packed = vec![0; place.bytes];
        {
            let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
            let found = file.seek(SeekFrom::Start(place.from));
            let read = found.and_then(|_| file.read_exact(&mut packed));
            read.map_err(unreadable)?;
        }
        postcard::from_bytes(&packed).map_err(|e| unreadable(io::Error::other(e)))
    }
}

impl<K: Sync + Send> Cut for LaidLives<K> {
    type Error = InTurnError;
    const HELD: bool = false;

    fn frame(&self) -> Frame {
        self.frame
    }

    fn missing(&self) -> &[Gap] {
        &self.missing
    }

    fn in_service(&self) -> usize {
        self.in_service
    }

    fn vans(&self) -> usize {
        self.places.len()
    }

    fn each<T: Send>(
        &self,
        which: &[usize],
        observation: impl Fn(usize, &VanLives) -> T + Sync,
    ) -> Result<Vec<T>, InTurnError> {
        let looked = which
            .par_iter()
            .map(|&van| Ok(observation(van, &self.read(van)?)));
        looked.collect()
    }
}

impl Cut for FleetLives {
    type Error = std::convert::Infallible;
    const HELD: bool = true;

    fn frame(&self) -> Frame {
        Frame {
            as_of: self.as_of,
            until: self.until,
            rows: self.rows,
        }
    }

    fn missing(&self) -> &[Gap] {
        &self.missing
    }

    fn in_service(&self) -> usize {
        self.vans.len()
    }

    fn vans(&self) -> usize {
        self.vans.len() + self.retired.len()
    }

    fn each<T: Send>(
        &self,
        which: &[usize],
        observation: impl Fn(usize, &VanLives) -> T + Sync,
    ) -> Result<Vec<T>, Self::Error> {
        let van = |van: usize| match van.checked_sub(self.vans.len()) {
            None => self.vans.get(van),
            Some(retired) => self.retired.get(retired),
        };
        let looked = which
            .par_iter()
            .filter_map(|&i| Some(observation(i, van(i)?)));
        Ok(looked.collect())
    }
}

/// A day as a number: quick to write and to read back.
pub(super) mod day {
    use crate::calendar::{Date, Datelike};
    use serde::de::Error as _;
    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(date: &Date, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_i32(date.num_days_from_ce())
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Date, D::Error> {
        let days = i32::deserialize(deserializer)?;
        Date::from_num_days_from_ce_opt(days).ok_or_else(|| D::Error::custom("no such day"))
    }
}

#[cfg(test)]
mod tests {
    use crate::calendar::{Date, date};

    use super::*;
    use crate::lives::{RowCounts, fixture};

    #[test]
    fn lives_laid_down_come_back_as_they_were() {
        let history = fixture::weekly(date(2026, 1, 5), 30, |_| 9.0, |_| 0.0);
        let lives = fixture::only_van(&fixture::fleet(history), date(2026, 7, 31));
        let mut laying = Laying::begin().unwrap();
        laying
            .lay_down(false, "retired", &pack(&lives).unwrap())
            .unwrap();
        laying
            .lay_down(true, "in service", &pack(&lives).unwrap())
            .unwrap();
        let frame = Frame {
            as_of: date(2026, 7, 31),
            until: date(2026, 7, 30),
            rows: RowCounts::default(),
        };
        let laid = laying.finish(frame, Vec::new()).unwrap();
        assert_eq!((laid.in_service(), laid.vans()), (1, 2));
        assert_eq!(laid.kept(), ["in service", "retired"]);
        let back = laid
            .each(&[1, 0], |van, lives| (van, lives.clone()))
            .unwrap();
        assert_eq!(back.iter().map(|b| b.0).collect::<Vec<_>>(), [1, 0]);
        for (_, back) in back {
            assert_eq!(format!("{back:?}"), format!("{lives:?}"));
        }
        assert!(laid.each(&[2], |_, _| ()).is_err());
    }

    #[test]
    fn days_are_numbers_and_back() {
        #[derive(Debug, PartialEq, serde::Serialize, serde::Deserialize)]
        struct On(#[serde(with = "day")] Date);
        for on in [
            date(2026, 12, 31),
            date(-9999, 1, 1),
            date(9999, 12, 31),
            date(2024, 2, 29),
        ] {
            let bytes = postcard::to_allocvec(&On(on)).unwrap();
            assert_eq!(postcard::from_bytes::<On>(&bytes).unwrap(), On(on));
        }
        let bytes = postcard::to_allocvec(&i32::MAX).unwrap();
        assert!(postcard::from_bytes::<On>(&bytes).is_err());
    }
}
