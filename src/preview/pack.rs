//! A [`View`] → a short text that a page's script unpacks.
//!
//! Bytes in base 64 (RFC 4648, section 4). Every number is an unsigned varint: seven bits a byte,
//! low ones first, the top bit says that more follow; signed numbers are folded first (0, −1, 1,
//! −2 … become 0, 1, 2, 3 …). Positions are whole micrometres, each the difference to the one
//! before, so that rounding never drifts: about four bytes a point.
//!
//! For each cut: role, layer + 1 (0: unknown), tool, first and last byte, start and end in ms (each
//! as difference to the one before), then the lines of travel and axis, the runs of parts, and the
//! tip's line (no points: it is the axis' own). After the last cut the last travel. `page/data.js`
//! reads it back.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::View;
use crate::blade::Part;
use crate::geometry::Point;
use crate::place::Role;
use crate::simulate::SimulatedCut;

/// Micrometres in a millimetre.
const PER_MM: f64 = 1000.0;

/// The cuts of `view`, packed.
pub(super) fn pack(view: &View) -> String {
    let mut packer = Packer::default();
    for (i, cut) in view.simulation.cuts.iter().enumerate() {
        packer.unsigned(role_code(view.role(i)));
        packer.unsigned(view.layer(i).map_or(0, |layer| layer as u64 + 1));
        packer.unsigned(u64::from(cut.tool));
        packer.signed(cut.byte as i64 - packer.byte);
        packer.unsigned(cut.end_byte.saturating_sub(cut.byte));
        packer.byte = cut.end_byte as i64;
        packer.times(cut);
        packer.line(&cut.travel);
        packer.line(&cut.axis);
        packer.parts(view, i, cut.axis.len().saturating_sub(1));
        packer.line(cut.trailing.as_deref().unwrap_or_default());
    }
    packer.line(&view.simulation.last_travel);
    STANDARD.encode(packer.bytes)
}

#[derive(Default)]
struct Packer {
    bytes: Vec<u8>,
    at: (i64, i64),
    byte: i64,
    clock_ms: i64,
}

impl Packer {
    fn unsigned(&mut self, mut n: u64) {
        while n >= 0x80 {
            self.bytes.push((n & 0x7f) as u8 | 0x80);
            n >>= 7;
        }
        self.bytes.push(n as u8);
    }

    fn signed(&mut self, n: i64) {
        self.unsigned(((n << 1) ^ (n >> 63)) as u64);
    }

    fn times(&mut self, cut: &SimulatedCut) {
        for seconds in [cut.start_s, cut.end_s] {
            let ms = (seconds * 1000.0).round() as i64;
            self.signed(ms - self.clock_ms);
            self.clock_ms = ms;
        }
    }

    fn line(&mut self, points: &[Point]) {
        self.unsigned(points.len() as u64);
        for p in points {
            let (x, y) = ((p.x * PER_MM).round() as i64, (p.y * PER_MM).round() as i64);
            self.signed(x - self.at.0);
            self.signed(y - self.at.1);
            self.at = (x, y);
        }
    }

    fn parts(&mut self, view: &View, cut: usize, edges: usize) {
        let mut runs: Vec<(Part, u64)> = Vec::new();
        for part in (0..edges).map(|edge| view.part(cut, edge)) {
            match runs.last_mut() {
                Some((last, count)) if *last == part => *count += 1,
                _ => runs.push((part, 1)),
            }
        }
        self.unsigned(runs.len() as u64);
        for (part, count) in runs {
            self.unsigned(part_code(part));
            self.unsigned(count);
        }
    }
}

fn role_code(role: Role) -> u64 {
    match role {
        Role::Design => 0,
        Role::Mark => 1,
        Role::Weed => 2,
        Role::Draw => 3,
        Role::Score => 4,
    }
}

fn part_code(part: Part) -> u64 {
    match part {
        Part::Cut => 0,
        Part::Swing => 1,
        Part::Overcut => 2,
        Part::Orient => 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{SimulatedCut, Simulation};

    /// Base 128 varints and folded signs as the Protocol Buffers encoding guide works them out:
    /// 150 is 96 01, and −2147483648 folds to 4294967295.
    #[test]
    fn numbers_are_packed_as_published() {
        let mut packer = Packer::default();
        packer.unsigned(150);
        packer.signed(-2_147_483_648);
        assert_eq!(packer.bytes, [0x96, 0x01, 0xff, 0xff, 0xff, 0xff, 0x0f]);
    }

    #[test]
    fn a_cut_takes_few_bytes() {
        let line: Vec<Point> = (0..1000).map(|i| Point::new(f64::from(i) * 0.05, 3.0)).collect();
        let cut = SimulatedCut { axis: line, ..SimulatedCut::default() };
        let simulation = Simulation { cuts: vec![cut], ..Simulation::default() };
        let text = pack(&View::of_simulation(&simulation));
        assert!(text.len() < 1000 * 4 + 60, "{}", text.len());
    }
}
