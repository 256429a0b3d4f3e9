//! HPGL: commands and bytes, both ways. The only folder that knows the language.
//!
//! `write`: [`crate::job::Job`] → bytes. `read`: bytes → commands. `trace`: commands → [`Trace`],
//! what a machine of that language does, as [`Step`]s in plotter units.

mod command;
mod curves;
pub mod encode;
mod read;
mod scale;
mod trace;
mod write;

pub use command::{Command, Encoded, Located, Mnemonic};
pub use curves::arc_points;
pub use read::{Reader, read};
pub use trace::{Interpreter, TraceSettings, UNSIMULATED, trace};
pub use write::{Written, write};

use crate::geometry::Point;

/// What a machine does when it obeys a stream of instructions.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    /// The steps in order.
    pub steps: Vec<Step>,
}

/// One step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// What happens.
    pub kind: StepKind,
    /// Offset of the instruction in the bytes.
    pub byte: u64,
    /// Offset just past it.
    pub end: u64,
}

/// What happens in a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StepKind {
    /// The tool goes down.
    Lower,
    /// The tool goes up.
    Raise,
    /// The carriage moves in a straight line, tool as it is; plotter units, y up.
    Move(Point),
    /// A tool is selected; 0 puts it away.
    Tool(u32),
    /// Tool-down speed, cm/s; `None` is the machine's default.
    Velocity(Option<f64>),
    /// Force in the machine's own numbers; `None` is the machine's default.
    Force(Option<f64>),
}
