//! [`Report`]: the figures of a job, for people and for scripts.
//!
//! Every figure comes from the simulated bytes. As JSON it is one object with `"format": 1`; keys
//! carry their units and are only ever added.

use std::collections::HashSet;

use serde::Serialize;

use crate::blade::TOLD_ERROR_MM;
use crate::check;
use crate::finding::{Finding, counted};
use crate::geometry::Point;
use crate::ink::Treatment;
use crate::pipeline::{Least, Plan};
use crate::proof::Proof;
use crate::simulate::Simulation;
use crate::work::{Depth, Work};

/// The figures of a job.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    /// Version of this object's shape.
    pub format: u32,
    /// Name of the film, if there are several.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub film: String,
    /// Width and height of what is cut, mm.
    pub sheet_mm: [f64; 2],
    /// Lower left corner of what is cut, machine coordinates, mm.
    pub at_mm: [f64; 2],
    /// Lines that are cut; orienting cuts not counted.
    pub contours: usize,
    /// The wanted lines are unknown, so every cut was counted.
    #[serde(skip)]
    pub of_bytes: bool,
    /// Points of the ways with the tool down: where it is set down, swings and overcuts included.
    pub points: usize,
    /// Vertices of the outlines, or of the lines followed, before those within the tolerance were left
    /// out; absent for jobs from elsewhere and for panels.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub points_before: Option<usize>,
    /// Largest turn from one step to the next along a curve, where both are 1 mm long or longer,
    /// degrees; turns above 30 are corners.
    pub facet_turn_deg: f64,
    /// Where that is, machine coordinates, mm; absent when there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub facet_turn_at_mm: Option<[f64; 2]>,
    /// Path of the axis with the tool down, mm.
    pub cut_mm: f64,
    /// Path of the axis with the tool up, mm.
    pub travel_mm: f64,
    /// How often the tool is lifted.
    pub lifts: usize,
    /// How long the job takes, s; absent when the machine's motion is unknown.
    pub time_s: Option<f64>,
    /// The machine's motion alone, s.
    pub motion_s: Option<f64>,
    /// What the serial line alone needs, s.
    pub line_s: Option<f64>,
    /// Size of the job.
    pub bytes: u64,
    /// Largest deviation of the simulated tip from the wanted lines, either way, mm; absent when
    /// the wanted lines are unknown.
    pub tip_error_mm: Option<f64>,
    /// Where that is, machine coordinates, mm.
    pub tip_error_at_mm: Option<[f64; 2]>,
    /// The number of its contour's cut, from 1 in the order of cutting, as pictures show it: orienting
    /// cuts and further passes have numbers, too.
    pub tip_error_contour: Option<usize>,
    /// Largest distance from a line's start to the nearest place cut, overcut included, mm.
    pub start_gap_mm: Option<f64>,
    /// Largest distance that a closed contour's end keeps from its beginning, overcut included, mm.
    pub closing_gap_mm: Option<f64>,
    /// The number of that contour's cut.
    pub closing_gap_contour: Option<usize>,
    /// Closed contours that do not close: their pieces hang on.
    pub uncut_bridges: Option<usize>,
    /// Longest stretch of the tip's way more than a plotter unit (0.025 mm) beside all lines, mm.
    pub longest_stray_mm: Option<f64>,
    /// Where it begins, mm; absent when there is none.
    pub longest_stray_at_mm: Option<[f64; 2]>,
    /// What each tool does in each way, in its order, where the work is not all of one kind.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub works: Vec<WorkShare>,
    /// The blade's offset that was simulated instead of the one compensated, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub true_offset_mm: Option<f64>,
    /// How far the travel is from the least possible, if that was asked for.
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    pub least: Option<LeastTravel>,
    /// What there is to say.
    pub findings: Vec<Finding>,
}

/// What is made in one way.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct WorkShare {
    /// "drawn", "scored", "kiss cut" or "cut through".
    pub done: &'static str,
    /// The layers; empty for all others.
    pub layers: Vec<String>,
    /// Number by which `SP` selects the tool.
    pub tool: u32,
    /// Lines, orienting cuts not counted.
    pub contours: usize,
    /// Path of the axis with the tool down, mm.
    pub cut_mm: f64,
    /// Force in the machine's own numbers, where the job sets one.
    pub force: Option<f64>,
    /// How often each line is made.
    pub passes: u32,
}

impl WorkShare {
    /// The shares of a plan, in the order in which they begin.
    fn of_plan(plan: &Plan) -> Vec<Self> {
        let mut shares: Vec<(usize, Self, HashSet<usize>)> = Vec::new();
        for (cut, path) in plan.simulation.cuts.iter().zip(&plan.job.paths) {
            let Some(line) = path.line.and_then(|i| plan.layout.lines.get(i)) else { continue };
            let work = plan.works.index_of(line);
            let at = shares.iter().position(|share| share.0 == work).unwrap_or_else(|| {
                let of = &plan.works.all[work];
                let share = Self {
                    done: of.done(),
                    layers: of.layers.clone(),
                    tool: cut.tool,
                    force: cut.force,
                    passes: of.material.passes,
                    ..Self::default()
                };
                shares.push((work, share, HashSet::new()));
                shares.len() - 1
            });
            shares[at].1.cut_mm += length_mm(&cut.axis);
            shares[at].2.extend(path.line);
        }
        let counted = |(_, share, lines): (usize, Self, HashSet<usize>)| Self {
            contours: lines.len(),
            cut_mm: rounded(share.cut_mm, 3),
            ..share
        };
        shares.into_iter().map(counted).collect()
    }

    fn line(&self) -> (&'static str, String) {
        let layers = match &self.layers[..] {
            [] => String::new(),
            names => format!(" ({})", names.join(", ")),
        };
        let force = self.force.map_or(String::new(), |force| format!(", force {force}"));
        let passes =
            if self.passes > 1 { format!(", {} passes", self.passes) } else { String::new() };
        let (lines, length) = (counted(self.contours, "1 line", "lines"), metres(self.cut_mm));
        (self.done, format!("{lines}{layers}, {length}, tool {}{force}{passes}", self.tool))
    }
}

fn length_mm(points: &[Point]) -> f64 {
    points.windows(2).map(|w| w[0].distance(w[1])).sum()
}

/// The travel from line to line before the blade is compensated, and what it could be at least.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct LeastTravel {
    /// What the order makes small, mm.
    pub ordered_mm: f64,
    /// No order with the same starts has less, mm; absent when there are too many lines.
    pub floor_chosen_mm: Option<f64>,
    /// No order with any starts has less, mm.
    pub floor_any_mm: Option<f64>,
    /// What the same search finds without bands along the feed, mm; absent without bands.
    pub unbanded_mm: Option<f64>,
}

impl LeastTravel {
    fn lines(&self) -> Vec<(&'static str, String)> {
        let above = |floor: f64| 100.0 * (self.ordered_mm / floor - 1.0) + 0.0;
        let floor = |starts: &str, floor: Option<f64>| {
            let floor = floor?;
            let text = format!("{} {starts} (this order: {:+.1} %)", metres(floor), above(floor));
            Some(("at least", text))
        };
        let bands = self.unbanded_mm.map(|free| {
            ("bands", format!("{:+.1} % travel, so that the film is fed back little", above(free)))
        });
        let floors = [
            floor("from line to line with these starts", self.floor_chosen_mm),
            floor("from line to line with any starts", self.floor_any_mm),
        ];
        floors.into_iter().flatten().chain(bands).collect()
    }
}

impl Report {
    /// The report of a plan.
    pub fn of_plan(plan: &Plan) -> Self {
        let contours = plan.job.paths.iter().filter_map(|path| path.line);
        let distinct: HashSet<usize> = contours.collect();
        let plain = |work: &Work| work.treatment == Treatment::Cut && work.depth == Depth::Kiss;
        let told = plan.works.mixed() || !plan.works.all.iter().all(plain);
        let report = Self {
            film: plan.film.clone(),
            contours: distinct.len(),
            of_bytes: false,
            points_before: plan.merged_points,
            works: if told { WorkShare::of_plan(plan) } else { Vec::new() },
            ..Self::of_simulation(&plan.simulation, plan.findings.clone())
        };
        report.proven(&plan.proof)
    }

    /// With the figures of how far the travel is from the least possible.
    #[must_use]
    pub fn bounded(self, least: &Least) -> Self {
        let known = |mm: f64| (mm > 0.0).then(|| rounded(mm, 3));
        let least = LeastTravel {
            ordered_mm: rounded(least.ordered_mm, 3),
            floor_chosen_mm: known(least.floors.chosen),
            floor_any_mm: known(least.floors.any),
            unbanded_mm: least.unbanded_mm.map(|mm| rounded(mm, 3)),
        };
        Self { least: Some(least), ..self }
    }

    /// With the figures of how true the cut is.
    #[must_use]
    pub fn proven(self, proof: &Proof) -> Self {
        let error = proof.tip.worst();
        let number = |cut: usize| (cut > 0).then_some(cut);
        Self {
            tip_error_mm: Some(rounded(error.mm, 4)),
            tip_error_at_mm: (error.contour > 0).then(|| place(error.at)),
            tip_error_contour: number(error.contour),
            start_gap_mm: Some(rounded(proof.start_gap.mm, 4)),
            closing_gap_mm: Some(rounded(proof.closing_gap.mm, 4)),
            closing_gap_contour: number(proof.closing_gap.contour),
            uncut_bridges: Some(proof.bridges),
            longest_stray_mm: Some(rounded(proof.stray.mm, 3)),
            longest_stray_at_mm: (proof.stray.contour > 0).then(|| place(proof.stray.at)),
            ..self
        }
    }

    /// The report of bytes whose wanted lines are unknown.
    pub fn of_simulation(simulation: &Simulation, findings: Vec<Finding>) -> Self {
        let (totals, bounds) = (&simulation.totals, simulation.cut_bounds());
        let corner = if bounds.is_empty() { [0.0; 2] } else { [bounds.min.x, bounds.min.y] };
        let time = |t: Option<f64>| t.map(|t| rounded(t, 2));
        let facets = check::facets(simulation);
        Self {
            format: 1,
            film: String::new(),
            sheet_mm: [rounded(bounds.width(), 3), rounded(bounds.height(), 3)],
            at_mm: corner.map(|x| rounded(x, 3)),
            contours: simulation.cuts.len(),
            of_bytes: true,
            points: facets.points,
            points_before: None,
            facet_turn_deg: rounded(facets.turn_deg, 2),
            facet_turn_at_mm: (facets.turn_deg > 0.0).then(|| place(facets.at)),
            cut_mm: rounded(totals.cut_mm, 3),
            travel_mm: rounded(totals.travel_mm, 3),
            lifts: totals.lifts,
            time_s: time(totals.time_s),
            motion_s: time(totals.motion_s),
            line_s: time(totals.line_s),
            bytes: totals.bytes,
            tip_error_mm: None,
            tip_error_at_mm: None,
            tip_error_contour: None,
            start_gap_mm: None,
            closing_gap_mm: None,
            closing_gap_contour: None,
            uncut_bridges: None,
            longest_stray_mm: None,
            longest_stray_at_mm: None,
            works: Vec::new(),
            true_offset_mm: None,
            least: None,
            findings,
        }
    }

    /// Without what depends on lines that nobody told.
    #[must_use]
    pub fn without_error(self) -> Self {
        Self {
            tip_error_mm: None,
            tip_error_at_mm: None,
            tip_error_contour: None,
            start_gap_mm: None,
            longest_stray_mm: None,
            longest_stray_at_mm: None,
            ..self
        }
    }

    /// The figures as aligned lines for a terminal; findings are told elsewhere.
    pub fn lines(&self) -> Vec<(&'static str, String)> {
        let mut lines = Vec::new();
        if !self.film.is_empty() {
            lines.push(("film", self.film.clone()));
        }
        let [width, height] = self.sheet_mm;
        let [x, y] = self.at_mm;
        lines.push(("size", format!("{width:.1} x {height:.1} mm at {x:.1}, {y:.1} mm")));
        lines.push(if self.of_bytes {
            ("cuts", format!("{}, orienting cuts and further passes included", self.contours))
        } else {
            ("contours", self.contours.to_string())
        });
        lines.push(("points", self.points_told()));
        lines.push(("cut", metres(self.cut_mm)));
        lines.extend(self.works.iter().map(WorkShare::line));
        lines.push(("travel", metres(self.travel_mm)));
        lines.extend(self.least.iter().flat_map(LeastTravel::lines));
        lines.push(("lifts", self.lifts.to_string()));
        if let Some(seconds) = self.time_s {
            lines.push(("time", self.pace(seconds)));
        }
        self.truth(&mut lines);
        if let Some([x, y]) = self.facet_turn_at_mm {
            let turn = self.facet_turn_deg;
            let text = format!(
                "{turn:.1} degrees at most from step to step of a curve, at {x:.1}, {y:.1} mm"
            );
            lines.push(("facets", text));
        }
        lines.push(("job", format!("{} bytes", self.bytes)));
        lines
    }

    fn points_told(&self) -> String {
        match self.points_before {
            Some(before) => format!("{} in the job; the outlines had {before}", self.points),
            None => self.points.to_string(),
        }
    }

    /// How true the cut is.
    fn truth(&self, lines: &mut Vec<(&'static str, String)>) {
        if let Some(offset) = self.true_offset_mm {
            lines.push(("blade", format!("simulated as if its offset were {offset:.3} mm")));
        }
        if let Some(error) = self.tip_error_mm {
            let place = self.tip_error_at_mm.zip(self.tip_error_contour);
            let place = place.map_or_else(String::new, |([x, y], cut)| {
                format!(", at {x:.1}, {y:.1} mm (cut {cut})")
            });
            lines.push(("tip error", format!("{error:.3} mm at most, simulated{place}")));
        }
        lines.extend(self.closing());
        if let Some(([x, y], mm)) = self.longest_stray_at_mm.zip(self.longest_stray_mm) {
            let text = format!("{mm:.2} mm long at most beside all lines, from {x:.1}, {y:.1} mm");
            lines.push(("stray cut", text));
        }
        if let Some(gap) = self.start_gap_mm.filter(|gap| *gap > TOLD_ERROR_MM) {
            lines.push(("start gap", format!("{gap:.3} mm at most left uncut at a line's start")));
        }
    }

    /// Whether the closed contours close.
    fn closing(&self) -> Option<(&'static str, String)> {
        let (gap, cut) = self.closing_gap_mm.zip(self.closing_gap_contour)?;
        let open = match self.uncut_bridges? {
            0 => {
                let text = format!("every contour closes, to {gap:.3} mm at worst (cut {cut})");
                let start = self.start_gap_mm.filter(|gap| *gap <= TOLD_ERROR_MM);
                let start = start.map(|gap| format!("; starts are cut to {gap:.3} mm"));
                return Some(("closing", text + &start.unwrap_or_default()));
            }
            open => counted(
                open,
                "1 contour does not close and hangs on",
                "contours do not close and hang on",
            ),
        };
        Some(("bridges", format!("{open}, by {gap:.3} mm at most (cut {cut})")))
    }

    fn pace(&self, seconds: f64) -> String {
        let line_rules = self.line_s.zip(self.motion_s).is_some_and(|(line, motion)| line > motion);
        let why = if line_rules {
            " (the serial line sets the pace: a higher rate or a coarser --tolerance helps)"
        } else {
            ""
        };
        format!("{}{why}", duration(seconds))
    }
}

/// A length in millimetres or, from a metre on, in metres.
pub fn metres(mm: f64) -> String {
    if mm < 1000.0 { format!("{mm:.1} mm") } else { format!("{:.2} m", mm / 1000.0) }
}

/// So many cuts, in words.
pub fn cuts(count: usize) -> String {
    if count == 1 { "1 cut".to_owned() } else { format!("{count} cuts") }
}

/// Seconds as people say them.
pub fn duration(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match whole {
        0..60 => format!("{seconds:.0} s"),
        60..3600 => format!("{} min {:02} s", whole / 60, whole % 60),
        _ => format!("{} h {:02} min", whole / 3600, whole % 3600 / 60),
    }
}

fn place(p: Point) -> [f64; 2] {
    [rounded(p.x, 3), rounded(p.y, 3)]
}

fn rounded(x: f64, digits: i32) -> f64 {
    let factor = 10f64.powi(digits);
    (x * factor).round() / factor
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_cut_is_no_plural() {
        assert_eq!([0, 1, 2].map(cuts), ["0 cuts", "1 cut", "2 cuts"]);
    }
}
