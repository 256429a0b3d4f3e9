//! [`Marks`]: which bytes belong to which cut, as far as that matters now.
//!
//! A machine's buffer lies between the bytes that have left the program and those that it has obeyed;
//! only the cuts between them are held. What was obeyed before is a number.

use std::collections::VecDeque;
use std::io::{Read, Result};

use super::spool::{Spool, SpoolReader};
use crate::follow::{Follower, Seen, Setup};
use crate::simulate::{Part, Piece};

/// Bytes of the job that are looked at in one go: more would hold up a fast line.
const STRIDE: usize = 2048;

/// Where the cuts of a job end, cut by cut.
#[derive(Debug, Clone, Default)]
pub struct Marks {
    /// Cuts that are known to be finished and not held any more.
    before: usize,
    /// For each cut after them the byte after its last move's instruction.
    ends: VecDeque<u64>,
    /// For each where the next one lowers the tool: by then the tool has left it.
    left: VecDeque<u64>,
}

impl Marks {
    /// The next piece of what the job does.
    pub fn see(&mut self, piece: &Piece) {
        let Part::Cut { begins, ends } = piece.part else { return };
        if begins && piece.number > 0 {
            self.left.push_back(piece.cut.byte);
        }
        if ends {
            self.ends.push_back(piece.cut.end);
        }
    }

    /// How many cuts a machine has finished that has taken so many bytes out of its buffer.
    pub fn finished(&self, obeyed: u64) -> usize {
        self.before + self.left.partition_point(|&byte| byte <= obeyed)
    }

    /// How many cuts are whole in so many bytes.
    pub fn whole(&self, sent: u64) -> usize {
        self.before + self.ends.partition_point(|&byte| byte <= sent)
    }

    /// Nobody asks any more about fewer bytes than `obeyed`.
    fn forget(&mut self, obeyed: u64) {
        while self.ends.len() > 1 && self.left.front().is_some_and(|&byte| byte <= obeyed) {
            self.left.pop_front();
            self.ends.pop_front();
            self.before += 1;
        }
    }
}

/// The marks of a job that is being sent: reads it a little ahead of the sender.
pub struct MarksAlong<'a> {
    job: SpoolReader<'a>,
    follower: Option<Follower>,
    marks: Marks,
    /// Where the last instruction stands that was seen.
    seen: u64,
    /// What the system said against reading on.
    trouble: Option<String>,
}

impl<'a> MarksAlong<'a> {
    /// Of the job in `job`.
    pub fn new(job: &'a Spool, setup: Setup) -> Self {
        let follower = Some(Follower::new(setup));
        Self { job: job.from(0), follower, marks: Marks::default(), seen: 0, trouble: None }
    }

    /// The marks up to the byte `sent` at least; nobody asks any more about fewer than `obeyed`.
    pub fn up_to(&mut self, sent: u64, obeyed: u64) -> &Marks {
        while self.trouble.is_none() && !self.is_known(sent) {
            if let Err(error) = self.read_on() {
                self.trouble = Some(error.to_string());
            }
            self.marks.forget(obeyed);
        }
        &self.marks
    }

    /// How many cuts are whole in so many bytes; `None` when the job could not be read so far.
    pub fn whole(&mut self, sent: u64) -> Option<usize> {
        let whole = self.up_to(sent, 0).whole(sent);
        self.trouble.is_none().then_some(whole)
    }

    /// Whether every cut that ends within `sent` bytes is marked.
    fn is_known(&self, sent: u64) -> bool {
        let Some(follower) = &self.follower else { return true };
        self.seen >= sent && follower.unsettled().is_none_or(|end| end > sent)
    }

    fn read_on(&mut self) -> Result<()> {
        let mut block = [0; STRIDE];
        let count = self.job.read(&mut block)?;
        let Self { follower, marks, seen, .. } = self;
        let mut see = |of: Seen| match of {
            Seen::Instruction(located) => *seen = located.byte,
            Seen::Piece(piece) => marks.see(&piece),
        };
        if count > 0 {
            if let Some(follower) = follower {
                follower.take(&block[..count], &mut see);
            }
        } else if let Some(follower) = follower.take() {
            follower.end(&mut see);
        }
        Ok(())
    }
}
