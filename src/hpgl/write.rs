//! [`Job`] → bytes, in the form that the most machines take.
//!
//! Upper case, whole numbers, one comma between numbers, `;` after every instruction, no blanks
//! (HP 7470A manual, pp. 1-6 to 1-8 and 8-3, allows more; nothing needs more). Steps of relative
//! lists are taken between rounded absolute positions, so rounding never drifts. Speed and force
//! are written only where the machine takes them and only when they change.

use std::io::Write;

use super::encode::{self, Base};
use crate::blade::Part;
use crate::job::{Job, JobPath, Units};
use crate::profile::{EncodedLines, Language, Lists};

/// A job as it will be sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Written {
    /// The bytes.
    pub bytes: Vec<u8>,
    /// For each path of the job the offset just past its last instruction.
    pub path_ends: Vec<u64>,
    /// Offset just past the header: where the first path begins.
    pub header_end: u64,
}

/// Writes `job` as `language` wants it.
pub fn write(job: &Job, language: &Language) -> Written {
    let mut writer = Writer {
        language,
        out: Vec::new(),
        at: Units::default(),
        tool: None,
        velocity: None,
        force: None,
    };
    for instruction in &language.header {
        writer.instruction(instruction);
    }
    let header_end = writer.out.len() as u64;
    let mut path_ends = Vec::with_capacity(job.paths.len());
    for path in &job.paths {
        writer.path(path);
        path_ends.push(writer.out.len() as u64);
    }
    writer.instruction("PU");
    if let Some(park) = job.park.filter(|&park| park != writer.at) {
        writer.travel(park);
    }
    for instruction in &language.trailer {
        writer.instruction(instruction);
    }
    Written { bytes: writer.out, path_ends, header_end }
}

struct Writer<'a> {
    language: &'a Language,
    out: Vec<u8>,
    at: Units,
    tool: Option<u32>,
    velocity: Option<f64>,
    force: Option<f64>,
}

impl Writer<'_> {
    fn instruction(&mut self, text: &str) {
        self.out.extend_from_slice(text.as_bytes());
        self.out.push(b';');
    }

    fn path(&mut self, path: &JobPath) {
        let Some((&first, rest)) = path.points.split_first() else { return };
        self.tool(path.tool);
        self.travel(first);
        if rest.is_empty() {
            self.setting(path, Part::Cut);
            self.instruction("PD");
            self.instruction("PU");
            return;
        }
        let mut from = 0;
        while from < rest.len() {
            let pace = |i: usize| path.parts.get(i).is_some_and(|p| slow(*p));
            let mut to = from + 1;
            while to < rest.len() && (!differs(path) || pace(to) == pace(from)) {
                to += 1;
            }
            self.setting(path, path.parts.get(from).copied().unwrap_or(Part::Cut));
            self.cut(&rest[from..to]);
            from = to;
        }
    }

    fn tool(&mut self, tool: u32) {
        if self.tool != Some(tool) {
            let number = self.language.first_tool + tool.saturating_sub(1);
            self.instruction(&format!("SP{number}"));
            self.tool = Some(tool);
            // A machine may keep speed and force for each tool.
            (self.velocity, self.force) = (None, None);
        }
    }

    fn setting(&mut self, path: &JobPath, part: Part) {
        let pick =
            |cut: Option<f64>, swing: Option<f64>| if slow(part) { swing.or(cut) } else { cut };
        let velocity = pick(path.velocity_cm_s, path.swing_velocity_cm_s);
        if self.language.velocity && velocity.is_some() && velocity != self.velocity {
            self.velocity = velocity;
            self.instruction(&format!("VS{}", short(velocity.unwrap_or(0.0))));
        }
        let force = pick(path.force, path.swing_force);
        if self.language.force && force.is_some() && force != self.force {
            self.force = force;
            self.instruction(&format!("FS{}", short(force.unwrap_or(0.0))));
        }
    }

    fn travel(&mut self, to: Units) {
        self.list("PU", &[to]);
    }

    fn cut(&mut self, points: &[Units]) {
        match self.language.encoded {
            EncodedLines::Never => self.list("PD", points),
            EncodedLines::Base32 => self.encoded(points, Base::B32),
            EncodedLines::Base64 => self.encoded(points, Base::B64),
        }
    }

    /// `PU` or `PD` with a list of positions or steps.
    fn list(&mut self, mnemonic: &str, points: &[Units]) {
        let most = self.language.pairs_per_instruction.unwrap_or(usize::MAX).max(1);
        for chunk in points.chunks(most.min(points.len().max(1))) {
            let relative = self.language.lists == Lists::Relative;
            if relative {
                self.instruction(mnemonic);
                self.out.extend_from_slice(b"PR");
            } else {
                self.out.extend_from_slice(mnemonic.as_bytes());
            }
            for (i, &p) in chunk.iter().enumerate() {
                let (x, y) = if relative { (p.x - self.at.x, p.y - self.at.y) } else { (p.x, p.y) };
                let comma = if i > 0 { "," } else { "" };
                // Writing into a vector cannot fail.
                let _ = write!(self.out, "{comma}{x},{y}");
                self.at = p;
            }
            self.out.push(b';');
        }
    }

    fn encoded(&mut self, points: &[Units], base: Base) {
        self.instruction("PD");
        self.out.extend_from_slice(if base == Base::B32 { b"PE7" } else { b"PE" });
        for &p in points {
            encode::put(i64::from(p.x) - i64::from(self.at.x), base, &mut self.out);
            encode::put(i64::from(p.y) - i64::from(self.at.y), base, &mut self.out);
            self.at = p;
        }
        self.out.push(b';');
    }
}

/// Whether a part is cut at the swing's speed and force.
fn slow(part: Part) -> bool {
    part == Part::Swing
}

fn differs(path: &JobPath) -> bool {
    path.swing_velocity_cm_s.is_some() || path.swing_force.is_some()
}

/// A number without needless digits.
fn short(number: f64) -> String {
    let text = format!("{number:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
