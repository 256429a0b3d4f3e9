//! A simulated job and the lines it is to cut → [`Proof`]: how true the cut is, in numbers.
//!
//! In: for each cut the tip's track and the line that it follows, from the line's start. Out: the
//! largest error with its place and contour, what is left uncut at starts, how far a closed contour
//! stays from closing, the longest stretch beside its line. Each is told with the number of its cut,
//! as pictures show it; passes over one line count once, by the first, and help each other.
//!
//! Whether a closed contour closes is judged by the tip alone: film hangs on where the end of the
//! track does not come back to its beginning, wherever the line was wanted. A wanted line that
//! nobody told is found in a job by [`wanted_of`].

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::blade::{TOLD_ERROR_MM, TrailingBlade};
use crate::check::{self, TipError, Worst, closing_gap, comes_back};
use crate::edges::EdgeIndex;
use crate::finding::{Finding, Place};
use crate::geometry::{
    Bounds, Contour, Point, distance_to_segment, is_longer, steps_along, wrap_angle,
};
use crate::job::Job;
use crate::order::{CutOrder, Visit};
use crate::parallel;
use crate::place::Layout;
use crate::simulate::{SimulatedCut, Simulation};

/// A contour that stays further from closing holds its piece, mm: one common plotter unit.
const BRIDGE_MM: f64 = 0.025;
/// A cut whose wanted line is unknown was meant to close if its ends come this near, mm: common
/// practice, no source.
const MEANT_TO_CLOSE_MM: f64 = 0.5;
/// Steps in which stray stretches are measured, mm.
const STRAY_STEP_MM: f64 = 0.1;
/// Beyond this the distance to a line does not matter any more, mm.
const REACH_MM: f64 = 20.0;

/// A line with all that was cut of it.
#[derive(Debug, Clone)]
pub struct Cut<'a> {
    /// The number of the (first) cut that follows the line, from 1; 0 when none does.
    pub number: usize,
    /// The wanted line.
    pub wanted: Wanted<'a>,
    /// The cut has to come back to its beginning.
    pub closes: bool,
    /// Where the tip went, mm, one track for each pass.
    pub tracks: Vec<&'a [Point]>,
}

/// A line that is to be cut.
#[derive(Debug, Clone)]
pub enum Wanted<'a> {
    /// From where the cut begins.
    Line(Contour),
    /// As a visit cuts it. It is written down only while it is looked at: all lines of a large job are
    /// large.
    Visited(&'a Contour, Visit),
}

impl Wanted<'_> {
    /// The line, from where the cut begins.
    pub fn line(&self) -> Cow<'_, Contour> {
        match self {
            Self::Line(line) => Cow::Borrowed(line),
            Self::Visited(line, visit) => Cow::Owned(visit.tip_path(*line)),
        }
    }

    /// Where its cut begins; `None` for a line without points.
    fn start(&self) -> Option<Point> {
        match self {
            Self::Line(line) => line.points.first().copied(),
            Self::Visited(line, visit) => visit.ends(*line).map(|(start, _)| start),
        }
    }
}

/// How true a cut is; each contour is named by the number of its first cut.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Proof {
    /// Largest distances between the tip and the lines that it follows.
    pub tip: TipError,
    /// Largest distance from a line's start to the nearest place where it was cut, overcut included.
    pub start_gap: Worst,
    /// Largest distance that a closed contour's end keeps from its beginning, overcut included.
    pub closing_gap: Worst,
    /// Closed contours that do not close: their pieces hang on.
    pub bridges: usize,
    /// Longest stretch of the tip's way that lies beside its line.
    pub stray: Worst,
}

/// What `simulation` of the bytes of `job` does to the lines of `layout`, cut in their `order`.
pub fn of_plan(simulation: &Simulation, job: &Job, (layout, order): (&Layout, &CutOrder)) -> Proof {
    let mut tracks: BTreeMap<usize, Vec<(usize, &SimulatedCut)>> = BTreeMap::new();
    for (numbered, path) in (1..).zip(&simulation.cuts).zip(&job.paths) {
        if let Some(line) = path.line {
            tracks.entry(line).or_default().push(numbered);
        }
    }
    let cut = |visit: &Visit| {
        let contour = &layout.lines.get(visit.line)?.contour;
        let cuts = tracks.remove(&visit.line).unwrap_or_default();
        Some(Cut {
            number: cuts.first().map_or(0, |(number, _)| *number),
            wanted: Wanted::Visited(contour, *visit),
            closes: contour.closed,
            tracks: cuts.into_iter().map(|(_, cut)| cut.tip()).collect(),
        })
    };
    prove(&order.visits.iter().filter_map(cut).collect::<Vec<_>>())
}

/// What a job does (`really`, simulated with the blade's true offset) to the lines that
/// `as_written`, its simulation with the offset set, shows to be wanted.
pub fn of_job(as_written: &Simulation, really: &Simulation, written_for: WrittenFor) -> Proof {
    let wanted = wanted_of(as_written, written_for).into_iter();
    let lines: Vec<Cut<'_>> = (1..)
        .zip(wanted.zip(&really.cuts))
        .map(|(number, ((wanted, closes), cut))| Cut {
            number,
            wanted: Wanted::Line(wanted),
            closes,
            tracks: vec![cut.tip()],
        })
        .collect();
    prove(&lines)
}

/// What a job does to lines that its tip's own ways are: none can be left, but they may stay open.
pub fn of_own_ways(simulation: &Simulation) -> Proof {
    let cuts = &simulation.cuts;
    let gaps = parallel::map(cuts.len(), |i| {
        let track = cuts[i].tip();
        meant_to_close(track).then(|| (track[0], closing_gap(track)))
    });
    let mut proof = Proof::default();
    for (number, gap) in (1..).zip(gaps) {
        let Some((at, mm)) = gap else { continue };
        proof.closes((at, mm), number);
    }
    proof
}

/// Judges what the tip did by what was wanted.
pub fn prove(lines: &[Cut<'_>]) -> Proof {
    let tip =
        check::tip_error_of(lines.len(), |i| (lines[i].wanted.line(), lines[i].tracks.as_slice()));
    let mut proof = Proof { tip, ..Proof::default() };
    let gaps = parallel::map(lines.len(), |i| lines[i].gaps());
    for (i, gaps) in gaps.into_iter().enumerate() {
        let contour = i + 1;
        let Some(Gaps { start, start_mm, closing_mm }) = gaps else { continue };
        keep(&mut proof.start_gap, Worst { mm: start_mm, at: start, contour });
        if let Some(mm) = closing_mm {
            proof.closes((start, mm), contour);
        }
    }
    if tip.stray.mm > TOLD_ERROR_MM {
        proof.stray = longest_stray(lines);
    }
    proof.numbered(lines)
}

/// What is left of a line where it begins, and where it comes back to its beginning.
struct Gaps {
    start: Point,
    start_mm: f64,
    /// `None` where it need not come back.
    closing_mm: Option<f64>,
}

impl Cut<'_> {
    /// `None` for a line without points.
    fn gaps(&self) -> Option<Gaps> {
        let start = self.wanted.start()?;
        let least = |gap: &dyn Fn(&[Point]) -> f64| {
            self.tracks.iter().map(|track| gap(track)).fold(REACH_MM, f64::min)
        };
        let start_mm = least(&|track| distance_to_track(start, track));
        Some(Gaps { start, start_mm, closing_mm: self.closes.then(|| least(&closing_gap)) })
    }
}

impl Proof {
    /// A closed contour comes back to its start, but for so much.
    fn closes(&mut self, (at, mm): (Point, f64), contour: usize) {
        keep(&mut self.closing_gap, Worst { mm, at, contour });
        self.bridges += usize::from(mm > BRIDGE_MM);
    }

    /// With numbers of cuts instead of places among `lines`.
    fn numbered(mut self, lines: &[Cut<'_>]) -> Self {
        let TipError { stray, uncut } = &mut self.tip;
        for worst in [stray, uncut, &mut self.start_gap, &mut self.closing_gap, &mut self.stray] {
            let line = worst.contour.checked_sub(1).and_then(|i| lines.get(i));
            worst.contour = line.map_or(0, |line| line.number);
        }
        self
    }
}

fn keep(worst: &mut Worst, found: Worst) {
    if found.mm > worst.mm {
        *worst = found;
    }
}

fn distance_to_track(p: Point, track: &[Point]) -> f64 {
    match track {
        [dot] => p.distance(*dot),
        _ => track.windows(2).map(|w| distance_to_segment(p, w[0], w[1])).fold(REACH_MM, f64::min),
    }
}

/// The longest stretch of a tip's way further than [`TOLD_ERROR_MM`] from its line.
fn longest_stray(lines: &[Cut<'_>]) -> Worst {
    let mut worst = Worst::default();
    for (i, line) in lines.iter().enumerate() {
        let wanted = line.wanted.line();
        let index = EdgeIndex::new(std::iter::once(&*wanted), 1.0);
        for track in &line.tracks {
            let (mut stretch, mut begun) = (0.0, Point::ORIGIN);
            for w in track.windows(2) {
                let length = w[0].distance(w[1]);
                let steps = steps_along(length, STRAY_STEP_MM);
                for k in 0..steps {
                    let middle = w[0].lerp(w[1], (k as f64 + 0.5) / steps as f64);
                    if index.near(middle, TOLD_ERROR_MM, TOLD_ERROR_MM).is_some() {
                        stretch = 0.0;
                        continue;
                    }
                    if stretch == 0.0 {
                        begun = middle;
                    }
                    stretch += length / steps as f64;
                    keep(&mut worst, Worst { mm: stretch, at: begun, contour: i + 1 });
                }
            }
        }
    }
    worst
}

/// What a job's bytes were written for, when nobody tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrittenFor {
    /// For a trailing blade of the set offset: the tip's track is what is wanted.
    TrailingBlade,
    /// For a tool that cuts where it is sent: the axis path is what is wanted.
    Axis,
}

/// Tells of a tip that leaves its lines by more than [`TOLD_ERROR_MM`], unless `told` does already.
pub fn off_line(proof: &Proof, told: &[Finding]) -> Option<Finding> {
    let Worst { mm, at, contour } = proof.tip.worst();
    if mm <= TOLD_ERROR_MM || told.iter().any(|f| f.code == "tip-off-line") {
        return None;
    }
    let text = format!(
        "In cut {contour} the tip and its line are up to {mm:.3} mm apart here, simulated."
    );
    Some(
        Finding::warning("tip-off-line", text)
            .at(Place::sheet(at))
            .hint("Draw this place larger or smoother, or take a blade with a smaller offset."),
    )
}

/// Says what was taken for the wanted lines of a job that names none.
pub fn assumed(written_for: WrittenFor, offset_mm: f64) -> Finding {
    let text = match written_for {
        WrittenFor::TrailingBlade => format!(
            "The job leads a trailing blade, so it is taken as written for an offset of \
             {offset_mm:.3} mm: what that blade's tip would cut counts as wanted."
        ),
        WrittenFor::Axis => "The job leads no trailing blade, so the lines that it sends the tool \
                             along count as wanted."
            .to_owned(),
    };
    Finding::note("lines-assumed", text)
        .hint("With check, --wanted tip or --wanted axis says which; --blade-offset the offset.")
}

/// Heading that a blade turns about its resting tip only when it is swung, radians: dragged around
/// a corner of any angle, the tip has moved by more than [`RESTING`] offsets by then.
const SWUNG: f64 = std::f64::consts::PI / 3.0;
/// A tip that stays within so many offsets rests: swings in chords let it move by 0.06 at most.
const RESTING: f64 = 0.1;
/// Rounding to plotter units moves a resting tip by so much, mm: half the diagonal of the common unit.
const ROUNDED_MM: f64 = 0.02;

/// A circle so many offsets across drags the tip along; about a smaller one it turns anyhow.
const WIDE: f64 = 6.0;

/// A tip that was led comes back this near to where it was set down, mm: twice what counts as closed.
const LED_MM: f64 = 2.0 * BRIDGE_MM;

/// Tells whether a job was written for a trailing blade of `offset_mm`: by its swings, or, where all is
/// round and none is needed, by how its closed cuts begin.
pub fn written_for(simulation: &Simulation, offset_mm: f64) -> WrittenFor {
    let cuts = &simulation.cuts;
    let swings = |cut: &SimulatedCut| has_swing(cut, offset_mm);
    let led = || {
        let mut round = cuts.iter().filter(|cut| meant_to_close(cut.tip())).peekable();
        round.peek().is_some() && round.all(|cut| is_led(cut, offset_mm))
    };
    if offset_mm > 0.0 && (cuts.iter().any(swings) || led()) {
        WrittenFor::TrailingBlade
    } else {
        WrittenFor::Axis
    }
}

/// Whether a closed cut leads the tip: it comes back to where it was set down. Dragged along a line that is
/// meant for the axis, it begins beside that line; and where such a line has a corner, it cannot be led.
fn is_led(cut: &SimulatedCut, offset_mm: f64) -> bool {
    let (axis, tip) = (&cut.axis, cut.tip());
    let corner = axis.windows(3).any(|w| {
        let (a, b) = (w[1] - w[0], w[2] - w[1]);
        let long = a.length().min(b.length()) >= offset_mm;
        long && wrap_angle(b.angle() - a.angle()).abs() > SWUNG
    });
    !corner && distance_to_track(tip[0], &tip[tip.len() / 2..]) <= LED_MM
}

/// For a small offset, rounding alone moves the tip further than a swing may; what turns about a tip that
/// rests but for the rounding is a swing if it turns further than a dragged blade could meanwhile.
fn has_swing(cut: &SimulatedCut, offset_mm: f64) -> bool {
    let rounded = ROUNDED_MM / offset_mm;
    let bounds = Bounds::of(&cut.axis);
    let wide = || bounds.width().hypot(bounds.height()) >= WIDE * offset_mm;
    turns_about_tip(cut, offset_mm, (RESTING, SWUNG))
        || rounded > RESTING
            && wide()
            && turns_about_tip(cut, offset_mm, (rounded, dragged_turn(rounded)))
}

/// How far a dragged blade turns at most while its tip keeps within `share` offsets: it
/// moves by ln(1/sin φ) offsets between square to its way and φ (the tractrix), to either side.
fn dragged_turn(share: f64) -> f64 {
    2.0 * (-share).exp().acos()
}

fn turns_about_tip(cut: &SimulatedCut, offset_mm: f64, (resting, swung): (f64, f64)) -> bool {
    let (Some(&axis), Some(&tip)) = (cut.axis.first(), cut.tip().first()) else { return false };
    let mut blade = TrailingBlade::new(offset_mm, axis, (axis - tip).angle());
    let (mut rest, mut turned) = (tip, 0.0);
    for &to in cut.axis.iter().skip(1) {
        let heading = blade.heading();
        blade.line_to(to);
        turned += wrap_angle(blade.heading() - heading);
        if blade.tip().distance(rest) > resting * offset_mm {
            (rest, turned) = (blade.tip(), 0.0);
        }
        if turned.abs() >= swung {
            return true;
        }
    }
    false
}

/// Whether a cut along `track` was meant to come back to its start.
fn meant_to_close(track: &[Point]) -> bool {
    let ends = track.first().zip(track.last());
    let back = || ends.is_some_and(|(a, b)| a.distance(*b) <= MEANT_TO_CLOSE_MM);
    let runs_on = || comes_back(track, BRIDGE_MM);
    is_longer(track, 4.0 * MEANT_TO_CLOSE_MM) && (back() || runs_on())
}

/// The lines that a job's cuts are to follow (overcut included, so none is a closed contour) and
/// whether each has to close, taken from the simulation with the offset that it was written for.
pub fn wanted_of(simulation: &Simulation, written_for: WrittenFor) -> Vec<(Contour, bool)> {
    let line = |cut: &SimulatedCut| {
        let track = if written_for == WrittenFor::Axis { &cut.axis } else { cut.tip() };
        (Contour::open(track.to_vec()), meant_to_close(track))
    };
    let cuts = &simulation.cuts;
    parallel::map(cuts.len(), |i| line(&cuts[i]))
}
