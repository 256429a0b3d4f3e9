//! [`crate::hpgl::Trace`] → [`Simulation`]: axis path, tip path, lifts, distances, time.
//!
//! Every figure that a person sees comes from here, computed from the bytes that will be sent.
//!
//! [`run`] takes a whole trace; a [`Simulator`] takes steps as they come and gives out [`Piece`]s, so
//! that neither a long job nor a long cut has to be held.

mod motion;

use crate::blade::TrailingBlade;
use crate::geometry::{Bounds, Point};
use crate::hpgl::{Step, StepKind};
use crate::profile::{MOST_TOOLS, Machine, Motion, Serial};
use motion::Chain;

/// Offsets by the number that `SP` selects, mm.
pub type ToolOffsets = [Option<f64>; MOST_TOOLS as usize + 1];

/// Points that room is made for before they come.
const MOST_ROOM: usize = 1024;

/// What the bytes do not say about the machine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SimulateSettings {
    /// Size of a plotter unit, mm.
    pub unit_mm: f64,
    /// Distance of the tip behind its axis, mm; 0 for a pen or a tangential blade.
    pub blade_offset_mm: f64,
    /// The same for single tools, by the number that `SP` selects; `None` is as the others.
    pub of_tool_mm: ToolOffsets,
    /// Heading of the blade before the first cut, radians.
    pub heading: f64,
    /// How the machine moves, if known.
    pub motion: Option<Motion>,
    /// Bytes a second that the serial line carries, if there is one.
    pub line_bytes_s: Option<f64>,
}

impl SimulateSettings {
    /// For `machine`, with a blade of `blade_offset_mm`.
    ///
    /// A machine that compensates by itself, or has no trailing blade, moves its tip where it is
    /// told.
    pub fn of(machine: &Machine, blade_offset_mm: f64) -> Self {
        let line = machine.serial.as_ref().map(Serial::bytes_per_s);
        Self {
            unit_mm: machine.unit_mm,
            blade_offset_mm: if machine.needs_compensation() { blade_offset_mm } else { 0.0 },
            of_tool_mm: tool_offsets(machine, blade_offset_mm),
            heading: 0.0,
            motion: machine.motion,
            line_bytes_s: line,
        }
    }
}

/// The offsets of the further tools that `machine` names.
fn tool_offsets(machine: &Machine, blade_offset_mm: f64) -> ToolOffsets {
    let mut offsets = ToolOffsets::default();
    for (sp, offset) in offsets.iter_mut().enumerate() {
        let tool = machine.tool_of_sp(sp as u32);
        if machine.tool_kind(tool) != machine.tool {
            let trails = machine.must_compensate(tool);
            *offset = Some(if trails { blade_offset_mm } else { 0.0 });
        }
    }
    offsets
}

impl SimulateSettings {
    /// The offset of the tool that `SP` selects by `number`, mm.
    pub fn offset_mm(&self, number: u32) -> f64 {
        let own = self.of_tool_mm.get(number as usize).copied().flatten();
        own.unwrap_or(self.blade_offset_mm)
    }
}

/// What the bytes of a job do.
#[derive(Debug, Clone, Default)]
pub struct Simulation {
    /// Tool-down stretches in order.
    pub cuts: Vec<SimulatedCut>,
    /// Lifted path after the last cut, mm.
    pub last_travel: Vec<Point>,
    /// Sums.
    pub totals: Totals,
    /// The bytes end with the tool down.
    pub left_down: bool,
}

/// One tool-down stretch.
#[derive(Debug, Clone, Default)]
pub struct SimulatedCut {
    /// Lifted path to its start, mm; the first point is where the tool was lifted.
    pub travel: Vec<Point>,
    /// Where the axis goes, mm.
    pub axis: Vec<Point>,
    /// Where the tip goes, mm, if it trails; `None` for a pen, whose tip is its axis.
    pub trailing: Option<Vec<Point>>,
    /// Heading of the blade (direction tip to axis) after the cut, radians.
    pub heading: f64,
    /// The number by which `SP` selected the tool; 0 before any.
    pub tool: u32,
    /// Force that was set, in the machine's own numbers.
    pub force: Option<f64>,
    /// Offset of the instruction that lowered the tool.
    pub byte: u64,
    /// Offset of the instruction of its last move.
    pub end_byte: u64,
    /// Offset just past that instruction.
    pub end: u64,
    /// The instruction that lifts the tool after it moves nothing.
    pub lifts_in_place: bool,
    /// When it begins and ends, s from the start of the job; 0 when the machine's motion is unknown.
    pub start_s: f64,
    /// See `start_s`.
    pub end_s: f64,
}

impl SimulatedCut {
    /// Where the tip goes, mm.
    pub fn tip(&self) -> &[Point] {
        self.trailing.as_ref().unwrap_or(&self.axis)
    }
}

/// Sums over a job.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Totals {
    /// Axis path with the tool down, mm.
    pub cut_mm: f64,
    /// Axis path with the tool up, from the start position to the end of the bytes, mm.
    pub travel_mm: f64,
    /// How often the tool goes up after having been down.
    pub lifts: usize,
    /// Bytes read.
    pub bytes: u64,
    /// Motion, lifts and line together, s; `None` when the machine's motion is unknown.
    pub time_s: Option<f64>,
    /// The part of the machine's motion alone, s.
    pub motion_s: Option<f64>,
    /// Time the serial line needs for the bytes, s.
    pub line_s: Option<f64>,
}

impl Simulation {
    /// The box around everything cut by the axis, mm.
    pub fn cut_bounds(&self) -> Bounds {
        self.cuts.iter().fold(Bounds::EMPTY, |b, cut| b.union(Bounds::of(&cut.axis)))
    }

    /// The same axis' ways with the tools of other `settings`; times and sums stay.
    #[must_use]
    pub fn with_tools(mut self, settings: &SimulateSettings) -> Self {
        let new =
            |tool| TrailingBlade::new(settings.offset_mm(tool), Point::ORIGIN, settings.heading);
        let mut last: Option<(u32, TrailingBlade)> = None;
        for cut in &mut self.cuts {
            // Nobody knows where a blade that is fetched points.
            let held = last.filter(|(tool, _)| *tool == cut.tool);
            let mut blade = held.map_or_else(|| new(cut.tool), |(_, blade)| blade);
            let track = blade.track(cut.axis.iter().copied());
            cut.trailing = (blade.offset_mm() > 0.0).then_some(track);
            cut.heading = blade.heading();
            last = Some((cut.tool, blade));
        }
        self
    }

    /// Keeps the next piece of a job that is given out in whole cuts.
    pub fn keep(&mut self, mut piece: Piece) {
        match piece.part {
            Part::Way => self.last_travel = piece.cut.travel,
            Part::Cut { .. } => {
                // The cuts are the largest of what is kept of a job.
                let tips = piece.cut.trailing.as_mut();
                [&mut piece.cut.axis].into_iter().chain(tips).for_each(fit);
                self.cuts.push(piece.cut);
            }
        }
    }
}

/// More points than this are not copied.
const MANY_POINTS: usize = 4096;

/// Gives back what a list has room for beyond its points. A short one is copied: what another thread made
/// goes back to the heap of that thread, which would have to grow for each cut otherwise.
fn fit(points: &mut Vec<Point>) {
    if points.len() <= MANY_POINTS {
        *points = points.as_slice().to_vec();
    } else {
        points.shrink_to_fit();
    }
}

/// Obeys `steps`, one by one, which were read from `bytes` bytes.
pub fn run(
    steps: impl IntoIterator<Item = Step>,
    bytes: u64,
    settings: &SimulateSettings,
) -> Simulation {
    let mut whole = Simulation::default();
    let mut simulator = Simulator::new(settings, usize::MAX);
    for step in steps {
        simulator.step(&step, &mut |piece| whole.keep(piece.tracked()));
    }
    let (totals, left_down) = simulator.end(bytes, &mut |piece| whole.keep(piece.tracked()));
    Simulation { totals, left_down, ..whole }
}

/// A piece of what a job does: a cut and the way to it, or a part of that.
#[derive(Debug, Clone)]
pub struct Piece {
    /// Which cut it belongs to, or leads to; 0 is the first.
    pub number: usize,
    /// Which part it is.
    pub part: Part,
    /// The part's own points. A part begins with the last point of the one before; the way to the cut
    /// is in the parts up to the one with the beginning, what is known of its end in the last.
    pub cut: SimulatedCut,
}

/// Which part of a cut a piece is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Of the way before the tool goes down.
    Way,
    /// Of the cut.
    Cut {
        /// The tool goes down in it.
        begins: bool,
        /// The tool goes up behind it.
        ends: bool,
    },
}

/// A piece without the tip's way, which takes longest and needs nothing of the pieces before it.
#[derive(Debug, Clone)]
pub struct Untracked {
    piece: Piece,
    /// The blade where the piece begins, if it trails.
    blade: Option<TrailingBlade>,
}

impl Untracked {
    /// The piece with the tip's way.
    pub fn tracked(self) -> Piece {
        let Self { mut piece, blade } = self;
        let axis = piece.cut.axis.iter().copied();
        piece.cut.trailing = blade.map(|mut blade| blade.track(axis));
        piece
    }
}

/// A tool-down stretch that is being cut.
struct Open {
    cut: SimulatedCut,
    /// The blade where what was not given out yet begins, if it trails.
    blade: Option<TrailingBlade>,
    /// Its beginning was given out.
    given: bool,
}

/// A machine while it obeys.
///
/// Knows where the blade points after each move, but not its tip's way there: [`Untracked`].
pub struct Simulator {
    settings: SimulateSettings,
    /// Points that a piece has at most.
    most: usize,
    totals: Totals,
    blade: TrailingBlade,
    at: Point,
    cut: Option<Open>,
    /// The last stretch, until it is known whether it was lifted in place.
    lifted: Option<Untracked>,
    /// How many cuts were begun.
    begun: usize,
    /// How many points the last one had, as far as it was not given out before.
    usual: usize,
    travel: Vec<Point>,
    /// The instruction that lifted the tool last.
    lifted_by: Option<u64>,
    tool: u32,
    velocity_mm_s: Option<f64>,
    force: Option<f64>,
    /// The moves since the tool went up or down.
    chain: Chain,
    clock_s: f64,
    motion_s: f64,
}

impl Simulator {
    /// A machine before its first step. A piece is given out at the end of its cut, or when its axis
    /// has `most` points.
    pub fn new(settings: &SimulateSettings, most: usize) -> Self {
        Self {
            settings: *settings,
            most,
            totals: Totals::default(),
            blade: TrailingBlade::new(settings.offset_mm(0), Point::ORIGIN, settings.heading),
            at: Point::ORIGIN,
            cut: None,
            lifted: None,
            begun: 0,
            usual: 0,
            travel: vec![Point::ORIGIN],
            lifted_by: None,
            tool: 0,
            velocity_mm_s: None,
            force: None,
            chain: Chain::new(),
            clock_s: 0.0,
            motion_s: 0.0,
        }
    }

    /// Obeys one step; `give` gets what is complete by it.
    pub fn step(&mut self, step: &Step, give: &mut dyn FnMut(Untracked)) {
        match step.kind {
            StepKind::Move(units) => self.go(units * self.settings.unit_mm, step, give),
            StepKind::Lower => self.lower(step, give),
            StepKind::Raise => self.raise(step.byte, give),
            StepKind::Tool(tool) => self.select(tool, step.byte, give),
            StepKind::Velocity(cm_s) => self.velocity_mm_s = cm_s.map(|v| v * 10.0),
            StepKind::Force(force) => self.force = force,
        }
    }

    fn go(&mut self, to: Point, step: &Step, give: &mut dyn FnMut(Untracked)) {
        let (top, way) = (self.top_mm_s(), to - self.at);
        let length = way.length();
        if let Some(Open { cut, .. }) = &mut self.cut {
            self.totals.cut_mm += length;
            cut.axis.push(to);
            (cut.end_byte, cut.end) = (step.byte, step.end);
            self.blade.line_to(to);
        } else if to != self.at {
            self.totals.travel_mm += length;
            if self.lifted_by.take() == Some(step.byte)
                && let Some(Untracked { piece, .. }) = &mut self.lifted
            {
                piece.cut.lifts_in_place = false;
            }
            self.give_lifted(give);
            self.travel.push(to);
            self.blade.carry_to(to);
        } else {
            return;
        }
        if let (Some(motion), Some(top)) = (self.settings.motion, top) {
            self.chain.push((way, length), top, &motion);
        }
        self.at = to;
        self.give_full(give);
    }

    /// Top speed of a move as things are, mm/s.
    fn top_mm_s(&self) -> Option<f64> {
        let motion = self.settings.motion?;
        let cuts = self.cut.is_some();
        Some(if cuts { top_mm_s(self.velocity_mm_s, &motion) } else { motion.travel_mm_s })
    }

    /// Changes the tool; a machine lifts the one that it puts away. Nobody knows where a blade that is
    /// fetched points.
    fn select(&mut self, tool: u32, byte: u64, give: &mut dyn FnMut(Untracked)) {
        if tool != self.tool && self.settings.offset_mm(tool) != self.blade.offset_mm() {
            self.raise(byte, give);
        }
        if tool != self.tool && tool != 0 {
            let offset = self.settings.offset_mm(tool);
            if self.tool != 0 || offset != self.blade.offset_mm() {
                self.blade = TrailingBlade::new(offset, self.at, self.settings.heading);
            }
        }
        self.tool = tool;
    }

    fn lower(&mut self, step: &Step, give: &mut dyn FnMut(Untracked)) {
        if self.cut.is_some() {
            return;
        }
        self.give_lifted(give);
        let travel = std::mem::replace(&mut self.travel, vec![self.at]);
        if let Some(motion) = self.settings.motion {
            let way_s = self.chain.end(&motion);
            self.pass(way_s + motion.lower_s, step.byte);
        }
        self.begun += 1;
        // Many cuts are about as long as the one before.
        let mut axis = Vec::with_capacity(self.usual);
        axis.push(self.at);
        let cut = SimulatedCut {
            travel,
            axis,
            tool: self.tool,
            force: self.force,
            byte: step.byte,
            end_byte: step.byte,
            end: step.end,
            start_s: self.clock_s,
            ..SimulatedCut::default()
        };
        self.cut = Some(Open { cut, blade: self.trailing(), given: false });
    }

    fn raise(&mut self, byte: u64, give: &mut dyn FnMut(Untracked)) {
        let Some(Open { mut cut, blade, given }) = self.cut.take() else { return };
        self.totals.lifts += 1;
        self.usual = cut.axis.len().min(MOST_ROOM);
        cut.heading = self.blade.heading();
        (cut.lifts_in_place, self.lifted_by) = (true, Some(byte));
        if let Some(motion) = self.settings.motion {
            let cut_s = self.chain.end(&motion);
            self.pass(cut_s + motion.lift_s, byte);
        }
        cut.end_s = self.clock_s;
        self.travel = vec![self.at];
        self.give_lifted(give);
        let part = Part::Cut { begins: !given, ends: true };
        self.lifted = Some(Untracked { piece: Piece { number: self.begun - 1, part, cut }, blade });
    }

    /// The blade as it stands, if it trails.
    fn trailing(&self) -> Option<TrailingBlade> {
        Some(self.blade).filter(|blade| blade.offset_mm() > 0.0)
    }

    /// Where the last move ends of a cut whose end was not given out yet; `None` where there is none.
    pub fn unsettled(&self) -> Option<u64> {
        let open = self.cut.as_ref().map(|open| open.cut.end);
        open.or(self.lifted.as_ref().map(|lifted| lifted.piece.cut.end))
    }

    fn give_lifted(&mut self, give: &mut dyn FnMut(Untracked)) {
        if let Some(piece) = self.lifted.take() {
            give(piece);
        }
    }

    /// Gives out what is long enough.
    fn give_full(&mut self, give: &mut dyn FnMut(Untracked)) {
        let (number, now) = (self.begun, self.trailing());
        if let Some(Open { cut, blade, given }) = &mut self.cut {
            if cut.axis.len() < self.most {
                return;
            }
            let rest =
                SimulatedCut { travel: Vec::new(), axis: vec![self.at], trailing: None, ..*cut };
            let part = Part::Cut { begins: !std::mem::replace(given, true), ends: false };
            let cut = std::mem::replace(cut, rest);
            let piece = Piece { number: number - 1, part, cut };
            give(Untracked { piece, blade: std::mem::replace(blade, now) });
        } else if self.travel.len() >= self.most {
            let travel = std::mem::replace(&mut self.travel, vec![self.at]);
            give(way(number, travel));
        }
    }

    /// Lets `seconds` of motion pass; it cannot end before the line has brought byte `byte`.
    fn pass(&mut self, seconds: f64, byte: u64) {
        self.motion_s += seconds;
        self.clock_s = (self.clock_s + seconds).max(self.line_s(byte));
    }

    fn line_s(&self, bytes: u64) -> f64 {
        self.settings.line_bytes_s.map_or(0.0, |rate| bytes as f64 / rate)
    }

    /// Ends the job, which has `bytes` bytes; `give` gets what is left, the way after the last cut at
    /// the end. Returns the sums, and whether the bytes end with the tool down.
    pub fn end(mut self, bytes: u64, give: &mut dyn FnMut(Untracked)) -> (Totals, bool) {
        let left_down = self.cut.is_some();
        self.raise(bytes, give);
        if left_down {
            // The bytes never lift the tool.
            self.totals.lifts -= 1;
        }
        self.give_lifted(give);
        let mut totals = self.totals;
        if let Some(motion) = self.settings.motion {
            let way_s = self.chain.end(&motion);
            self.pass(way_s, bytes);
        }
        let timed = self.settings.motion.is_some();
        totals.bytes = bytes;
        totals.time_s = timed.then_some(self.clock_s);
        totals.motion_s = timed.then_some(self.motion_s);
        totals.line_s = self.settings.line_bytes_s.map(|rate| bytes as f64 / rate);
        give(way(self.begun, self.travel));
        (totals, left_down)
    }
}

/// The way to the cut `number`, or a part of it.
fn way(number: usize, travel: Vec<Point>) -> Untracked {
    let cut = SimulatedCut { travel, ..SimulatedCut::default() };
    Untracked { piece: Piece { number, part: Part::Way, cut }, blade: None }
}

/// The slowest that is believed of a machine, mm/s: a `VS0` does not stop it (HP 7470A manual,
/// p. 3-3: 0 is taken for the slowest step of 3.8 mm/s).
const SLOWEST_MM_S: f64 = 3.8;

/// Top speed with the tool down.
fn top_mm_s(wanted: Option<f64>, motion: &Motion) -> f64 {
    let fastest = motion.cut_mm_s.max(SLOWEST_MM_S);
    wanted.filter(|v| v.is_finite()).map_or(fastest, |v| v.clamp(SLOWEST_MM_S, fastest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hpgl;

    fn simulate(text: &str, settings: &SimulateSettings) -> Simulation {
        let (commands, _) = hpgl::read(text.as_bytes());
        let (trace, _) = hpgl::trace(&commands, &hpgl::TraceSettings::default());
        run(trace.steps, text.len() as u64, settings)
    }

    fn settings() -> SimulateSettings {
        SimulateSettings {
            unit_mm: 0.025,
            blade_offset_mm: 0.0,
            of_tool_mm: ToolOffsets::default(),
            heading: 0.0,
            motion: None,
            line_bytes_s: None,
        }
    }

    #[test]
    fn distances_and_lifts_are_those_of_the_bytes() {
        let s = simulate("IN;PU400,0;PD800,0,800,400;PU;PU0,400;PD;PU0,0;", &settings());
        assert_eq!(s.cuts.len(), 2);
        assert!((s.totals.cut_mm - 20.0).abs() < 1e-9);
        assert!((s.totals.travel_mm - 40.0).abs() < 1e-9);
        assert_eq!(s.totals.lifts, 2);
        assert_eq!(s.cuts[1].axis, [Point::new(0.0, 10.0)]);
        assert_eq!(s.cuts[0].tip(), s.cuts[0].axis, "a pen's tip is its axis");
        assert_eq!(s.totals.time_s, None);
        assert!(!s.left_down);
        assert!(simulate("PD100,0;", &settings()).left_down);
    }

    /// A pen of the same job leads no blade, whichever one is in the other holder; with the tools that it
    /// was simulated with, each cut stays as it was.
    #[test]
    fn another_blade_leaves_the_pen_as_it_is() {
        let text = "IN;SP1;PU400,0;PD800,0,800,400;PU;SP3;PU0,900;PD900,900,900,2000;PU;SP1;PU0,0;PD0,90;PU;";
        let mut set = SimulateSettings { blade_offset_mm: 0.5, ..settings() };
        set.of_tool_mm[3] = Some(0.0);
        let before = simulate(text, &set);
        let same = before.clone().with_tools(&set);
        for (a, b) in before.cuts.iter().zip(&same.cuts) {
            assert_eq!(a.tip(), b.tip());
        }
        let other = before.clone().with_tools(&SimulateSettings { blade_offset_mm: 0.25, ..set });
        assert_eq!(other.cuts[1].trailing, None);
        assert_eq!(other.cuts[1].tip(), other.cuts[1].axis);
        for cut in [&other.cuts[0], &other.cuts[2]] {
            assert!((cut.tip()[0].distance(cut.axis[0]) - 0.25).abs() < 1e-12);
        }
    }

    /// 20 squares of 20 mm, 200 mm/s cutting, 400 mm/s travel: added up from the closed forms.
    #[test]
    fn a_job_takes_the_sum_of_its_moves() {
        let motion = Motion {
            cut_mm_s: 200.0,
            travel_mm_s: 400.0,
            acceleration_mm_s2: 2000.0,
            corner_jump_mm_s: 20.0,
            lift_s: 0.03,
            lower_s: 0.04,
        };
        let mut text = String::from("IN;");
        for i in 0..20 {
            let x = i * 1200;
            text += &format!("PU{x},0;PD{},0,{},800,{x},800,{x},0;PU;", x + 800, x + 800);
        }
        let s = simulate(&text, &SimulateSettings { motion: Some(motion), ..settings() });
        assert!((s.totals.time_s.unwrap() - 21.235_502).abs() < 1e-5, "{:?}", s.totals);
    }

    /// Swings may be slower than the cut around them: each move keeps its own speed.
    #[test]
    fn every_move_has_its_own_speed() {
        let motion = Motion {
            cut_mm_s: 400.0,
            travel_mm_s: 400.0,
            acceleration_mm_s2: 1e9,
            corner_jump_mm_s: 1e9,
            lift_s: 0.0,
            lower_s: 0.0,
        };
        let set = SimulateSettings { motion: Some(motion), ..settings() };
        // 100 mm at 100 mm/s, 10 mm at 10 mm/s, 50 mm at 100 mm/s.
        let s = simulate("IN;VS10;PD4000,0;VS1;PD4400,0;VS10;PD6400,0;PU;", &set);
        assert!((s.totals.time_s.unwrap() - 2.5).abs() < 1e-3, "{:?}", s.totals);
    }

    #[test]
    fn a_slow_line_sets_the_pace() {
        let motion = Motion {
            cut_mm_s: 200.0,
            travel_mm_s: 400.0,
            acceleration_mm_s2: 2000.0,
            corner_jump_mm_s: 20.0,
            lift_s: 0.0,
            lower_s: 0.0,
        };
        let text = "IN;PD1,0;PU;";
        let set = SimulateSettings { motion: Some(motion), line_bytes_s: Some(1.0), ..settings() };
        let s = simulate(text, &set);
        assert!((s.totals.time_s.unwrap() - 12.0).abs() < 1e-9);
        assert!(s.totals.motion_s.unwrap() < 0.1);
    }
}
