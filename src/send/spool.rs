//! [`Spool`]: the bytes of a job in a temporary file of its own, which goes with it.
//!
//! A job is read several times: to tell what it does, to find the cut to go on with, to send it. Held
//! in memory it would take as much as it is long; read from its own file it might be another one by
//! then.

use std::fs::File;
use std::io::{BufWriter, Read, Result, Seek, SeekFrom, Write};

use crate::follow::{Follower, Seen, Setup};
use crate::hpgl::{Located, Reader};
use crate::simulate::Piece;

/// Bytes that are read at once.
pub(super) const BLOCK: usize = 1 << 14;

/// The bytes of a job. Never changed.
#[derive(Debug)]
pub struct Spool {
    file: File,
    bytes: u64,
}

impl Spool {
    /// All that `from` gives.
    ///
    /// # Errors
    /// What the system says when `from` can't be read, or the temporary file not be made or written.
    pub fn of(from: &mut dyn Read) -> Result<Self> {
        Self::written(&mut |out| std::io::copy(from, out).map(drop))
    }

    /// All that `write` writes.
    ///
    /// # Errors
    /// As those of [`Spool::of`].
    pub fn written(write: &mut dyn FnMut(&mut dyn Write) -> Result<()>) -> Result<Self> {
        let mut out = BufWriter::with_capacity(BLOCK, tempfile::tempfile()?);
        write(&mut out)?;
        let file = out.into_inner().map_err(std::io::IntoInnerError::into_error)?;
        let bytes = file.metadata()?.len();
        Ok(Self { file, bytes })
    }

    /// How many there are.
    pub fn len(&self) -> u64 {
        self.bytes
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.bytes == 0
    }

    /// Reads them from the byte `at` on.
    pub fn from(&self, at: u64) -> SpoolReader<'_> {
        SpoolReader { spool: self, at }
    }

    /// Reads them all; the file goes with the reader.
    ///
    /// # Errors
    /// What the system says when its beginning can't be reached.
    pub fn into_reader(mut self) -> Result<File> {
        self.file.rewind()?;
        Ok(self.file)
    }

    /// Those from `at` up to `end`.
    ///
    /// # Errors
    /// What the system says when they can't be read.
    pub fn piece(&self, at: u64, end: u64) -> Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.from(at).take(end.saturating_sub(at)).read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    /// All of them, block by block, as long as `see` wants more.
    ///
    /// # Errors
    /// What the system says when they can't be read.
    pub fn each_block(&self, see: &mut dyn FnMut(&[u8]) -> bool) -> Result<()> {
        let (mut reader, mut block) = (self.from(0), vec![0; BLOCK]);
        loop {
            let count = reader.read(&mut block)?;
            if count == 0 || !see(&block[..count]) {
                return Ok(());
            }
        }
    }

    /// The commands in them, one by one, as long as `see` wants more.
    ///
    /// # Errors
    /// What the system says when they can't be read.
    pub fn each_command(&self, see: &mut dyn FnMut(&Located) -> bool) -> Result<()> {
        let (mut reader, mut wanted) = (Reader::default(), true);
        self.each_block(&mut |block| {
            wanted = reader.take(block).iter().all(&mut *see);
            wanted
        })?;
        if wanted {
            reader.end().0.iter().all(see);
        }
        Ok(())
    }

    /// The pieces of what they do, as long as `see` wants more.
    ///
    /// # Errors
    /// What the system says when they can't be read.
    pub fn each_piece(&self, setup: Setup, see: &mut dyn FnMut(Piece) -> bool) -> Result<()> {
        let (mut follower, mut wanted) = (Follower::new(setup), true);
        let mut pass = |seen: Seen, wanted: &mut bool| {
            if let Seen::Piece(piece) = seen
                && *wanted
            {
                *wanted = see(piece);
            }
        };
        self.each_block(&mut |block| {
            follower.take(block, &mut |seen| pass(seen, &mut wanted));
            wanted
        })?;
        if wanted {
            follower.end(&mut |seen| pass(seen, &mut wanted));
        }
        Ok(())
    }
}

/// Reads a [`Spool`]; several may, one after the other or by turns.
#[derive(Debug)]
pub struct SpoolReader<'a> {
    spool: &'a Spool,
    at: u64,
}

impl Read for SpoolReader<'_> {
    fn read(&mut self, into: &mut [u8]) -> Result<usize> {
        let mut file = &self.spool.file;
        file.seek(SeekFrom::Start(self.at))?;
        let count = file.read(into)?;
        self.at += count as u64;
        Ok(count)
    }
}
