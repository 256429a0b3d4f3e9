//! [`Job`] → bytes, in the form that the most machines take.
//!
//! Upper case, whole numbers, one comma between numbers, `;` after every instruction, no blanks
//! (HP 7470A manual, pp. 1-6 to 1-8 and 8-3, allows more; nothing needs more). Steps of relative
//! lists are taken between rounded absolute positions, so rounding never drifts. Every path begins
//! with an absolute move, whatever the lists are: a job can be taken up again at any path, and does
//! not rely on where the machine stood. Speed and force are written only where the machine takes
//! them and only when they change. After an arc, whose end a machine rounds its own way, comes an
//! absolute position.

use std::ops::Range;

use super::encode::{self, Base};
use crate::blade::Part;
use crate::job::{Job, JobArc, JobPath, Units};
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

impl Written {
    /// Where the bytes of path `number` begin and end; `None` when there is no such path or it is
    /// empty. They begin with an absolute move; tool, speed and force may have been set before.
    pub fn path_bytes(&self, number: usize) -> Option<(u64, u64)> {
        let end = *self.path_ends.get(number)?;
        let before = number.checked_sub(1).and_then(|i| self.path_ends.get(i));
        let start = before.copied().unwrap_or(self.header_end);
        (start < end).then_some((start, end))
    }
}

/// Writes `job` as `language` wants it.
pub fn write(job: &Job, language: &Language) -> Written {
    let mut writer = Writer {
        language,
        out: Vec::new(),
        at: None,
        relative: false,
        down: false,
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
    match job.park.filter(|&park| Some(park) != writer.at) {
        Some(park) => writer.travel(park),
        None => writer.instruction("PU"),
    }
    for instruction in &language.trailer {
        writer.instruction(instruction);
    }
    Written { bytes: writer.out, path_ends, header_end }
}

struct Writer<'a> {
    language: &'a Language,
    out: Vec<u8>,
    /// Where the machine is; unknown before the first move.
    at: Option<Units>,
    /// The machine takes numbers as steps.
    relative: bool,
    down: bool,
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
            self.edges(path, from..to);
            from = to;
        }
    }

    /// Edges of a path at one speed and force, arcs among them.
    fn edges(&mut self, path: &JobPath, edges: Range<usize>) {
        let mut from = edges.start;
        for arc in path.arcs.iter().filter(|arc| edges.contains(&arc.from)) {
            self.cut(&path.points[from + 1..=arc.from]);
            self.arc(arc);
            from = arc.from + arc.chords;
            self.at = path.points.get(from).copied();
        }
        self.cut(&path.points[from + 1..=edges.end]);
    }

    /// An arc from where the tool is.
    fn arc(&mut self, arc: &JobArc) {
        if !self.down {
            self.instruction("PD");
            self.down = true;
        }
        let Units { x, y } = arc.center;
        let (sweep, chord) = (short(arc.sweep_deg), short(arc.chord_deg));
        self.instruction(&format!("AA{x},{y},{sweep},{chord}"));
    }

    fn tool(&mut self, tool: u32) {
        if self.tool != Some(tool) {
            if self.tool.is_some() {
                // Not every machine lifts by itself before it changes the tool.
                self.instruction("PU");
            }
            let number = self.language.first_tool + tool.saturating_sub(1);
            self.instruction(&format!("SP{number}"));
            self.tool = Some(tool);
            // A machine may keep speed and force for each tool.
            (self.velocity, self.force) = (None, None);
        }
    }

    fn setting(&mut self, path: &JobPath, part: Part) {
        // A swing's value without a cut's would stay: nothing could bring the other one back.
        let pick = |cut: Option<f64>, swing: Option<f64>| {
            if slow(part) { swing.filter(|_| cut.is_some()).or(cut) } else { cut }
        };
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

    /// Lifts the tool and takes it to a position, never to a step.
    fn travel(&mut self, to: Units) {
        if self.relative {
            self.instruction("PA");
            self.relative = false;
        }
        self.out.extend_from_slice(b"PU");
        self.pair(i64::from(to.x), i64::from(to.y), "");
        self.out.push(b';');
        self.at = Some(to);
        self.down = false;
    }

    fn cut(&mut self, points: &[Units]) {
        if points.is_empty() {
            return;
        }
        self.down = true;
        match (self.language.encoded, self.language.lists) {
            (EncodedLines::Never, Lists::Absolute) => self.positions(points),
            (EncodedLines::Never, Lists::Relative) => self.steps(points),
            (EncodedLines::Base32, _) => self.encoded(points, Base::B32),
            (EncodedLines::Base64, _) => self.encoded(points, Base::B64),
        }
    }

    fn positions(&mut self, points: &[Units]) {
        for chunk in points.chunks(self.most_pairs()) {
            self.out.extend_from_slice(b"PD");
            for (i, p) in chunk.iter().enumerate() {
                self.pair(i64::from(p.x), i64::from(p.y), if i > 0 { "," } else { "" });
                self.at = Some(*p);
            }
            self.out.push(b';');
        }
    }

    fn steps(&mut self, points: &[Units]) {
        self.instruction("PD");
        for chunk in points.chunks(self.most_pairs()) {
            self.out.extend_from_slice(b"PR");
            self.relative = true;
            for (i, &p) in chunk.iter().enumerate() {
                let (x, y) = self.step(p);
                self.pair(x, y, if i > 0 { "," } else { "" });
            }
            self.out.push(b';');
        }
    }

    fn most_pairs(&self) -> usize {
        self.language.pairs_per_instruction.unwrap_or(usize::MAX).max(1)
    }

    fn pair(&mut self, x: i64, y: i64, comma: &str) {
        let mut digits = itoa::Buffer::new();
        self.out.extend_from_slice(comma.as_bytes());
        self.out.extend_from_slice(digits.format(x).as_bytes());
        self.out.push(b',');
        self.out.extend_from_slice(digits.format(y).as_bytes());
    }

    /// From where the machine is to `p`.
    fn step(&mut self, p: Units) -> (i64, i64) {
        let from = self.at.replace(p).unwrap_or_default();
        (i64::from(p.x) - i64::from(from.x), i64::from(p.y) - i64::from(from.y))
    }

    fn encoded(&mut self, points: &[Units], base: Base) {
        self.instruction("PD");
        self.out.extend_from_slice(if base == Base::B32 { b"PE7" } else { b"PE" });
        for &p in points {
            let (x, y) = self.step(p);
            encode::put(x, base, &mut self.out);
            encode::put(y, base, &mut self.out);
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
