//! [`Machine`]: one cutter or plotter: its sheet, language, motion and line.
//!
//! Limits are in plotter units because machine manuals state them so; everything else is in mm,
//! mm/s, mm/s², s.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::geometry::{Bounds, Point};

/// The most tools that a machine selects: above any carousel, and few enough to keep a table of.
pub const MOST_TOOLS: u32 = 16;

/// A machine profile.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Machine {
    /// Short name used on the command line.
    pub name: String,
    /// One line about it.
    pub title: String,
    /// What sort of machine it is.
    pub kind: Kind,
    /// Size of one plotter unit, mm.
    pub unit_mm: f64,
    /// How far the tool can go; `None` when unknown or without limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hard_clip: Option<HardClip>,
    /// Where 0,0 lies in the hard-clip area.
    #[serde(default)]
    pub origin: Origin,
    /// The axis along which the sheet moves (rolls and grit-wheel machines).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub feed_axis: Option<FeedAxis>,
    /// Coordinates beyond ±32767 are refused by the machine.
    #[serde(default)]
    pub sixteen_bit: bool,
    /// What holds the knife or pen.
    #[serde(default)]
    pub tool: Tool,
    /// What stands in the further holders, from tool 2 on; those not named hold what `tool` says.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub further_tools: Vec<Tool>,
    /// The machine compensates the trailing blade by itself.
    #[serde(default)]
    pub compensates: bool,
    /// Where the tool goes when the work is done.
    #[serde(default)]
    pub end_at: EndAt,
    /// Longest feed against the working direction before the film creeps, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_back_feed_mm: Option<f64>,
    /// How it wants its instructions.
    #[serde(default)]
    pub language: Language,
    /// How fast it moves; `None` when nothing is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub motion: Option<Motion>,
    /// How it is wired; `None` for a file only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<Serial>,
    /// Where each value comes from: key (dotted for tables) → source.
    #[serde(default)]
    pub source: BTreeMap<String, String>,
}

/// Sorts of machines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Moves the film under a carriage.
    RollCutter,
    /// The sheet lies still, or is moved by grit wheels, under a pen or knife.
    FlatBed,
    /// No machine: a file for exchange and tests.
    File,
}

/// Hard-clip limits in plotter units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HardClip {
    /// Left.
    pub x_min: i32,
    /// Bottom.
    pub y_min: i32,
    /// Right.
    pub x_max: i32,
    /// Top.
    pub y_max: i32,
}

/// Where 0,0 lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// In the lower left corner.
    #[default]
    LowerLeft,
    /// In the middle of the hard-clip area.
    Center,
}

/// The axis that feeds the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FeedAxis {
    /// The sheet moves along x.
    X,
    /// The sheet moves along y.
    Y,
}

impl FeedAxis {
    /// How far along the axis `p` is, in its unit.
    pub fn of(self, p: Point) -> f64 {
        match self {
            Self::X => p.x,
            Self::Y => p.y,
        }
    }
}

/// What holds the knife or pen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tool {
    /// A blade that turns freely and trails behind its holder's axis.
    #[default]
    TrailingBlade,
    /// A blade that a motor turns.
    TangentialBlade,
    /// A pen or a pouncing tool.
    Pen,
    /// A blunt tool that presses a fold line into card.
    CreasingTool,
}

impl Tool {
    /// What people at the machine call it.
    pub fn in_a_word(self) -> &'static str {
        match self {
            Self::TrailingBlade | Self::TangentialBlade => "knife",
            Self::Pen => "pen",
            Self::CreasingTool => "creasing tool",
        }
    }

    /// Whether it parts the material.
    pub fn cuts(self) -> bool {
        matches!(self, Self::TrailingBlade | Self::TangentialBlade)
    }
}

/// Where the tool goes when the work is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EndAt {
    /// Back to 0,0.
    #[default]
    Home,
    /// Stays where the last cut ended.
    Anywhere,
    /// Beyond the work along the feed axis, so that the next job starts on fresh film.
    PastWork,
}

/// How a machine wants its instructions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Language {
    /// Instructions before the work, each without its terminator.
    pub header: Vec<String>,
    /// Instructions after the work, each without its terminator.
    pub trailer: Vec<String>,
    /// How coordinates are written.
    pub lists: Lists,
    /// Whether arcs are written as `AA`.
    pub arcs: Arcs,
    /// The smallest chord angle that it takes in an `AA`, degrees.
    pub finest_chord_deg: f64,
    /// Whether lines are written as `PE` (HP-GL/2).
    pub encoded: EncodedLines,
    /// Most coordinate pairs in one instruction; `None` for no limit.
    pub pairs_per_instruction: Option<usize>,
    /// Takes `VS` (velocity in cm/s).
    pub velocity: bool,
    /// Smallest and largest `VS`, cm/s.
    pub velocity_range_cm_s: Option<[f64; 2]>,
    /// Takes `FS` (force in the machine's own numbers).
    pub force: bool,
    /// Smallest and largest `FS`.
    pub force_range: Option<[f64; 2]>,
    /// Number given to `SP` for the first tool.
    pub first_tool: u32,
    /// How many tools it can select.
    pub tools: u32,
}

impl Default for Language {
    fn default() -> Self {
        Self {
            header: vec!["IN".into()],
            trailer: vec!["SP0".into()],
            lists: Lists::Absolute,
            arcs: Arcs::Never,
            finest_chord_deg: 1.0,
            encoded: EncodedLines::Never,
            pairs_per_instruction: None,
            velocity: false,
            velocity_range_cm_s: None,
            force: false,
            force_range: None,
            first_tool: 1,
            tools: 1,
        }
    }
}

/// How coordinates are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lists {
    /// `PA` with absolute coordinates.
    #[default]
    Absolute,
    /// `PR` with steps from vertex to vertex.
    Relative,
}

/// Whether a machine draws arcs finely enough to be sent any.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Arcs {
    /// Arcs become chords.
    #[default]
    Never,
    /// Arcs are sent as `AA` with a chord angle.
    Fine,
}

/// Whether lines are sent polyline-encoded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EncodedLines {
    /// Plain text lists.
    #[default]
    Never,
    /// `PE` with base 32 (7-bit lines).
    Base32,
    /// `PE` with base 64 (8-bit lines).
    Base64,
}

/// How a machine moves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Motion {
    /// Fastest with the tool down, mm/s.
    pub cut_mm_s: f64,
    /// Fastest with the tool up, mm/s.
    pub travel_mm_s: f64,
    /// Acceleration, mm/s².
    pub acceleration_mm_s2: f64,
    /// Largest jump of velocity at a corner, mm/s; 0 stops at every vertex.
    pub corner_jump_mm_s: f64,
    /// Time to lift the tool, s.
    pub lift_s: f64,
    /// Time to lower the tool, s.
    pub lower_s: f64,
}

/// How a machine is wired (RS-232 or a USB bridge that looks like it).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Serial {
    /// Bits a second.
    pub baud: u32,
    /// 7 or 8.
    pub data_bits: u8,
    /// Parity bit.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
    /// How the machine holds the sender back.
    pub handshake: Handshake,
    /// Bytes the machine's buffer takes.
    pub buffer_bytes: u32,
}

/// Parity bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Parity {
    /// None.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// How a machine holds the sender back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Handshake {
    /// The machine sends Xoff (19) and Xon (17).
    XonXoff,
    /// The RTS/CTS wires.
    RtsCts,
    /// The DTR/DSR wires.
    DtrDsr,
    /// The sender asks with ENQ (5) and waits for ACK (6).
    EnqAck,
    /// The sender asks for buffer space with `ESC.B`.
    Software,
    /// Nothing: the sender keeps to the line's and the machine's pace.
    Paced,
}

impl Serial {
    /// Bytes a second that the line carries: each takes a start bit, its data, parity and stop bits.
    pub fn bytes_per_s(&self) -> f64 {
        let parity = u32::from(self.parity != Parity::None);
        let bits = 1 + u32::from(self.data_bits) + parity + u32::from(self.stop_bits);
        f64::from(self.baud) / f64::from(bits)
    }
}

impl Machine {
    /// The hard-clip area in mm, if known.
    pub fn limits_mm(&self) -> Option<Bounds> {
        let units = self.limits_units()?;
        Some(Bounds { min: units.min * self.unit_mm, max: units.max * self.unit_mm })
    }
    /// The largest number that it counts to, plotter units (16 bits: HP 7470A manual, p. 1-7); 2^30
    /// where nothing bounds it.
    pub fn furthest_units(&self) -> f64 {
        if self.sixteen_bit { f64::from(i16::MAX) } else { f64::from(1 << 30) }
    }
    /// Hard-clip limits in plotter units.
    pub fn limits_units(&self) -> Option<Bounds> {
        let clip = self.hard_clip?;
        let corner = |x: i32, y: i32| Point::new(f64::from(x), f64::from(y));
        Some(Bounds { min: corner(clip.x_min, clip.y_min), max: corner(clip.x_max, clip.y_max) })
    }
    /// Whether this program has to compensate a trailing blade for it.
    pub fn needs_compensation(&self) -> bool {
        self.tool == Tool::TrailingBlade && !self.compensates
    }

    /// What tool `number` (from 1) is.
    pub fn tool_kind(&self, number: u32) -> Tool {
        let further = (number as usize).checked_sub(2).and_then(|i| self.further_tools.get(i));
        further.copied().unwrap_or(self.tool)
    }

    /// Whether this program has to compensate tool `number` (from 1).
    pub fn must_compensate(&self, number: u32) -> bool {
        self.tool_kind(number) == Tool::TrailingBlade && !self.compensates
    }

    /// The number by which `SP` selects a tool, which counts from 1.
    pub fn sp_of_tool(&self, tool: u32) -> u32 {
        self.language.first_tool + tool.saturating_sub(1)
    }

    /// The number of a tool, from 1, that `SP` selects; tool 0 puts the tool away.
    pub fn tool_of_sp(&self, sp: u32) -> u32 {
        (sp + 1).saturating_sub(self.language.first_tool)
    }
}
