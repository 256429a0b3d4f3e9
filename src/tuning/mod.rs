//! Test sheets from which a person reads the true blade offset, and what the reading means.
//!
//! [`sheet`] lays out a pattern as axis paths with numbers cut as strokes; [`page`] prints what to
//! look for beside it; [`read`] takes what was seen and answers the offset with its uncertainty and
//! the next sheet to cut; [`save`] writes it into a material profile, comments kept.
//!
//! Patterns (all our own designs): `circles` are cut without compensation: a trailing blade leaves
//! a hole of diameter 2√(R² − d²), none for R ≤ d, so the offset d shows itself absolutely.
//! `vernier` lets strokes from both sides meet: what lines up tells 2d plus the play of the
//! machine. `ladder` and `eyelets` are cut with a row of offsets: one square closes, one stroke and
//! its way back are a single line. `overcut`, `force` and `speed` are ladders of squares.
//!
//! Invariant: a sheet is the same for the same settings, so that a reading can be held against a
//! simulation of exactly what was cut.

mod build;
mod closer;
mod model;
mod page;
mod patterns;
mod read;
mod save;

use std::fmt;
use std::str::FromStr;

pub use model::with_play;
pub use page::page;
pub use patterns::sheet;
pub use read::{Estimate, ReadError, Readings, read};
pub use save::{Change, SaveError, Tuned, save};

use crate::blade::AxisPath;
use crate::geometry::{Bounds, Point};

/// What a sheet is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pattern {
    /// Uncompensated circles: the offset itself.
    Circles,
    /// Squares with a row of offsets: which one closes.
    Ladder,
    /// Strokes that turn back on themselves, with a row of offsets: which one has no eye.
    Eyelets,
    /// Opposing strokes: which ends line up; tells the play of the machine apart.
    Vernier,
    /// Squares with a row of overcuts.
    Overcut,
    /// Squares with a row of forces.
    Force,
    /// Squares with a row of speeds.
    Speed,
}

impl Pattern {
    /// All of them, in the order in which they are used.
    pub const ALL: [Self; 7] = [
        Self::Circles,
        Self::Vernier,
        Self::Eyelets,
        Self::Ladder,
        Self::Overcut,
        Self::Force,
        Self::Speed,
    ];

    /// Whether its sheet is cut to find the blade's offset.
    pub fn tells_offset(self) -> bool {
        !matches!(self, Self::Overcut | Self::Force | Self::Speed)
    }

    /// The name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Circles => "circles",
            Self::Ladder => "ladder",
            Self::Eyelets => "eyelets",
            Self::Vernier => "vernier",
            Self::Overcut => "overcut",
            Self::Force => "force",
            Self::Speed => "speed",
        }
    }
    /// What its numbers count, for people.
    pub fn quantity(self) -> &'static str {
        match self {
            Self::Circles => "axis radius, mm",
            Self::Ladder | Self::Eyelets => "blade offset set, mm",
            Self::Vernier => "twice the offset plus play, mm",
            Self::Overcut => "overcut, mm",
            Self::Force => "force, the machine's own numbers",
            Self::Speed => "speed, cm/s",
        }
    }
}

impl fmt::Display for Pattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Pattern {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let names = || Self::ALL.map(Self::name).join(", ");
        let found = Self::ALL.into_iter().find(|p| p.name() == text);
        found.ok_or_else(|| format!("there is no pattern named {text:?}; there are {}", names()))
    }
}

/// How a sheet is laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetSettings {
    /// What it is for.
    pub pattern: Pattern,
    /// The offset believed so far, mm.
    pub offset_mm: f64,
    /// First value and step of a row of values; `None` takes the pattern's own.
    pub row: Option<(f64, f64)>,
    /// The largest value of forces or speeds: tests beyond it are left out.
    pub most: Option<f64>,
    /// Lower left corner, mm.
    pub at: Point,
    /// Size of a plotter unit, mm.
    pub unit_mm: f64,
}

/// One numbered test on a sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// The number that is cut beside it, from 1.
    pub number: usize,
    /// What is different about it; see [`Pattern::quantity`].
    pub value: f64,
    /// Where it is, mm.
    pub at: Point,
}

/// A sheet ready to be cut.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What it is for.
    pub pattern: Pattern,
    /// The offset believed so far, mm.
    pub offset_mm: f64,
    /// The axis paths in cutting order, on the plotter's grid.
    pub axis: Vec<AxisPath>,
    /// For each axis path the number of the test whose force or speed it is cut with, if any.
    pub test_of: Vec<Option<usize>>,
    /// The tests.
    pub marks: Vec<Mark>,
}

impl Sheet {
    /// The box around all axis paths, mm.
    pub fn bounds(&self) -> Bounds {
        self.axis.iter().fold(Bounds::EMPTY, |b, path| b.union(Bounds::of(&path.points)))
    }
    /// The value of the test with `number`.
    pub fn value(&self, number: usize) -> Option<f64> {
        self.marks.iter().find(|mark| mark.number == number).map(|mark| mark.value)
    }
}
