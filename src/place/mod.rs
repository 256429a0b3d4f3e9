//! Merged regions → [`Layout`]: lines on the machine's sheet, mm, y up, in machine coordinates.
//!
//! Size, turn, mirror, copies, weed border and panels happen here, and y turns up here, once.
//! Invariant: every line lies where the axis of an uncompensated tool has to go; hard-clip limits
//! are checked before anything is written.

use crate::geometry::{Bounds, Contour};

/// Everything that is to be cut, on the sheet.
#[derive(Debug, Clone, Default)]
pub struct Layout {
    /// The lines, as drawn: in the order of their first shape.
    pub lines: Vec<CutLine>,
}

/// One line to be cut.
#[derive(Debug, Clone, PartialEq)]
pub struct CutLine {
    /// Where the tip has to run, mm, y up, machine coordinates.
    pub contour: Contour,
    /// Why it is there.
    pub role: Role,
    /// Index into [`crate::drawing::Drawing::layers`] of its first shape.
    pub layer: usize,
    /// Tool number, from 1.
    pub tool: u32,
}

/// Why a line is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Part of the design.
    #[default]
    Design,
    /// Marks by which films are laid on one another.
    Mark,
    /// Lines that make weeding easier; cut last.
    Weed,
}

impl Layout {
    /// The box around all lines, mm.
    pub fn bounds(&self) -> Bounds {
        self.lines.iter().fold(Bounds::EMPTY, |b, line| b.union(line.contour.bounds()))
    }
}
