//! [`Journal`]: how far a job has come, kept beside it.
//!
//! Written to a temporary file, brought to the disk, renamed: a reader finds the old one or the new
//! one, whole. A thread does that, so that a slow disk never holds up the line; when it is late, only
//! the newest state is written.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Sender, channel};
use std::thread::{Builder, JoinHandle};

use serde::{Deserialize, Serialize};

use super::survey::Survey;

/// How far a job has come.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Journal {
    /// Version of this record's shape.
    pub format: u32,
    /// SHA-256 of the job's bytes, hexadecimal.
    pub job: String,
    /// Which copy of the job is cut; 1 is the first. The copies before it are done.
    #[serde(default = "one")]
    pub copy: u32,
    /// How many copies there are.
    #[serde(default = "one")]
    pub copies: u32,
    /// Cuts of the job, of each copy.
    pub cuts: usize,
    /// So many cuts, from the first, are finished for certain.
    pub finished: usize,
    /// So many may be finished.
    pub perhaps: usize,
    /// How it ended, or that it did not.
    pub state: State,
}

/// How sending ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// It did not end: the program or the computer went away, so more may have been sent.
    Running,
    /// Stopped when asked.
    Stopped,
    /// The line or the machine failed.
    Failed,
    /// All was sent.
    Done,
}

fn one() -> u32 {
    1
}

impl Journal {
    /// Of the job that `survey` tells of, begun after the first `finished` cuts.
    pub fn new(survey: &Survey, finished: usize) -> Self {
        Self {
            format: 1,
            job: survey.digest.clone(),
            copy: 1,
            copies: 1,
            cuts: survey.cuts,
            finished,
            perhaps: finished,
            state: State::Running,
        }
    }

    /// Where the journal of the job in `file` is kept.
    pub fn path(file: &Path) -> PathBuf {
        let mut name = file.as_os_str().to_owned();
        name.push(".sending.json");
        PathBuf::from(name)
    }

    /// The journal at `path`; `None` when there is none.
    ///
    /// # Errors
    /// A sentence when it cannot be read.
    pub fn read(path: &Path) -> Result<Option<Self>, String> {
        let bytes = std::fs::read(path);
        let path = path.display();
        let bytes = match bytes {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(format!("the journal {path} cannot be read: {error}")),
            Ok(bytes) => bytes,
        };
        let read = serde_json::from_slice::<Self>(&bytes).ok();
        read.filter(Self::makes_sense).map(Some).ok_or_else(|| {
            format!(
                "the journal {path} is damaged, or of another version, so it does not tell how far the job \
                 came: look at the film, and name the next cut with --from-cut"
            )
        })
    }

    fn makes_sense(&self) -> bool {
        let of_copies = (1..=self.copies).contains(&self.copy);
        self.format == 1 && of_copies && self.finished.max(self.perhaps) <= self.cuts
    }

    fn write(&self, path: &Path) -> std::io::Result<()> {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        file.write_all(&serde_json::to_vec(self)?)?;
        file.as_file().sync_all()?;
        file.persist(path)?;
        // The name is on the disk only when its folder is.
        std::fs::File::open(folder)?.sync_all()
    }
}

/// Keeps a journal up to date from a thread of its own.
pub struct JournalWriter {
    give: Sender<Journal>,
    thread: JoinHandle<Result<(), String>>,
}

impl JournalWriter {
    /// Writes the first state at once.
    ///
    /// # Errors
    /// A sentence when the folder takes no file.
    pub fn begin(path: PathBuf, journal: &Journal) -> Result<Self, String> {
        journal.write(&path).map_err(|error| unwritten(&path, &error))?;
        let (give, take) = channel::<Journal>();
        let place = path.clone();
        let writer = move || {
            while let Ok(mut journal) = take.recv() {
                while let Ok(newer) = take.try_recv() {
                    journal = newer;
                }
                journal.write(&path).map_err(|error| unwritten(&path, &error))?;
            }
            Ok(())
        };
        let thread = Builder::new().spawn(writer).map_err(|error| unwritten(&place, &error))?;
        Ok(Self { give, thread })
    }

    /// Keeps `journal` as soon as the disk has time.
    pub fn put(&self, journal: &Journal) {
        // A writer that gave up says so at the end.
        let _ = self.give.send(journal.clone());
    }

    /// Waits until the last state is on the disk.
    ///
    /// # Errors
    /// A sentence when it is not.
    pub fn end(self, journal: &Journal) -> Result<(), String> {
        self.put(journal);
        drop(self.give);
        self.thread.join().unwrap_or_else(|_| Err("the journal's writer broke down".into()))
    }
}

fn unwritten(path: &Path, error: &std::io::Error) -> String {
    format!("the journal {} cannot be written: {error}", path.display())
}
