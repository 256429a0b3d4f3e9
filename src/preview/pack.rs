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
use crate::parallel;
use crate::place::Role;
use crate::simulate::SimulatedCut;
use crate::units::nearest_whole;

/// Micrometres in a millimetre.
const PER_MM: f64 = 1000.0;

/// Cuts that one core packs at a time.
const GROUP: usize = 256;

/// The cuts of `view`, packed; the text in pieces that follow one another.
pub(super) fn pack(view: &View) -> Vec<String> {
    let cuts = &view.simulation.cuts;
    let mut groups = parallel::map(cuts.len().div_ceil(GROUP), |group| {
        let from = group * GROUP;
        let mut packer = Packer::behind(&cuts[..from]);
        (from..cuts.len().min(from + GROUP)).for_each(|i| packer.cut(view, i));
        packer.bytes
    });
    let mut last = Packer::behind(cuts);
    last.line(&view.simulation.last_travel);
    groups.push(last.bytes);
    encoded(&groups)
}

/// All bytes of `groups` as one text, in pieces: three bytes are four letters, so a group leaves to the one
/// before what that lacks.
fn encoded(groups: &[Vec<u8>]) -> Vec<String> {
    let begins = groups.iter().scan(0, |done, group| {
        let begin = *done;
        *done += group.len();
        Some(begin)
    });
    let begins: Vec<usize> = begins.collect();
    parallel::map(groups.len(), |i| {
        let left = begins[i].next_multiple_of(3) - begins[i];
        let own = groups[i].get(left..).unwrap_or_default();
        if own.is_empty() {
            return String::new();
        }
        let lacking = own.len().next_multiple_of(3) - own.len();
        let more = groups[i + 1..].iter().flatten().take(lacking);
        let whole = own.len() - own.len() % 3;
        let rest: Vec<u8> = own[whole..].iter().chain(more).copied().collect();
        let mut text = String::with_capacity(own.len().div_ceil(3) * 4);
        STANDARD.encode_string(&own[..whole], &mut text);
        STANDARD.encode_string(rest, &mut text);
        text
    })
}

#[derive(Default)]
struct Packer {
    bytes: Vec<u8>,
    at: (i64, i64),
    byte: i64,
    clock_ms: i64,
}

impl Packer {
    /// One that goes on behind `cuts`.
    fn behind(cuts: &[SimulatedCut]) -> Self {
        let Some(last) = cuts.last() else { return Self::default() };
        let end = |cut: &SimulatedCut| {
            let lines = [cut.trailing.as_ref(), Some(&cut.axis), Some(&cut.travel)];
            lines.into_iter().flatten().find_map(|line| line.last().copied())
        };
        Self {
            bytes: Vec::new(),
            at: cuts.iter().rev().find_map(end).map_or((0, 0), micrometres),
            byte: last.end_byte as i64,
            clock_ms: milliseconds(last.end_s),
        }
    }

    fn cut(&mut self, view: &View, number: usize) {
        let cut = &view.simulation.cuts[number];
        self.unsigned(role_code(view.role(number)));
        self.unsigned(view.layer(number).map_or(0, |layer| layer as u64 + 1));
        self.unsigned(u64::from(cut.tool));
        self.signed(cut.byte as i64 - self.byte);
        self.unsigned(cut.end_byte.saturating_sub(cut.byte));
        self.byte = cut.end_byte as i64;
        self.times(cut);
        self.line(&cut.travel);
        self.line(&cut.axis);
        self.parts(view, number, cut.axis.len().saturating_sub(1));
        self.line(cut.trailing.as_deref().unwrap_or_default());
    }

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
            let ms = milliseconds(seconds);
            self.signed(ms - self.clock_ms);
            self.clock_ms = ms;
        }
    }

    fn line(&mut self, points: &[Point]) {
        self.unsigned(points.len() as u64);
        for p in points {
            let (x, y) = micrometres(*p);
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

fn micrometres(p: Point) -> (i64, i64) {
    (nearest_whole(p.x * PER_MM), nearest_whole(p.y * PER_MM))
}

fn milliseconds(seconds: f64) -> i64 {
    nearest_whole(seconds * 1000.0)
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
    use crate::lehmer::Lehmer;
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

    /// Many groups of cuts, with and without a tip of their own, against all packed one by one.
    #[test]
    fn groups_go_on_where_the_one_before_ends() {
        let mut dice = Lehmer::new();
        let mut line = |count: usize| -> Vec<Point> {
            (0..count).map(|_| Point::new(dice.share() * 90.0, dice.share() * 90.0)).collect()
        };
        let cuts = (0..3 * GROUP + 7).map(|i| SimulatedCut {
            travel: line(i % 3),
            axis: line(1 + i % 4),
            trailing: (i % 5 == 0).then(|| line(i % 2)),
            byte: 40 * i as u64,
            end_byte: 40 * i as u64 + 31,
            start_s: i as f64 * 0.7,
            end_s: i as f64 * 0.7 + 0.4,
            ..SimulatedCut::default()
        });
        let cuts: Vec<SimulatedCut> = cuts.collect();
        let simulation = Simulation { cuts, last_travel: line(2), ..Simulation::default() };
        let view = View::of_simulation(&simulation);
        let mut one = Packer::default();
        (0..simulation.cuts.len()).for_each(|i| one.cut(&view, i));
        one.line(&simulation.last_travel);
        assert_eq!(pack(&view).concat(), STANDARD.encode(one.bytes));
    }

    /// Groups of any few bytes. Referee: the library's text of all of them.
    #[test]
    fn pieces_are_those_of_one_text() {
        let mut dice = Lehmer::new();
        for _ in 0..2_000 {
            let mut group = || -> Vec<u8> {
                (0..dice.below(6)).map(|_| dice.below(256) as u8).collect::<Vec<u8>>()
            };
            let groups: Vec<Vec<u8>> = (0..5).map(|_| group()).collect();
            assert_eq!(encoded(&groups).concat(), STANDARD.encode(groups.concat()), "{groups:?}");
        }
    }

    #[test]
    fn a_cut_takes_few_bytes() {
        let line: Vec<Point> = (0..1000).map(|i| Point::new(f64::from(i) * 0.05, 3.0)).collect();
        let cut = SimulatedCut { axis: line, ..SimulatedCut::default() };
        let simulation = Simulation { cuts: vec![cut], ..Simulation::default() };
        let text = pack(&View::of_simulation(&simulation)).concat();
        assert!(text.len() < 1000 * 4 + 60, "{}", text.len());
    }
}
