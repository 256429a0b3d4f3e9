//! Puts a sheet together: paths with and without compensation, numbers, the heading tracked.

use super::{Mark, Pattern, Sheet, SheetSettings};
use crate::blade::{AxisPath, BladeSettings, Part, TipPath, TrailingBlade, compensate};
use crate::geometry::{Contour, Point};
use crate::glyphs;
use crate::place::Role;

/// Length of the cut that turns a blade of unknown heading, in offsets, and its least, mm.
pub(super) const ORIENT: (f64, f64) = (16.0, 4.0);

/// Height of the numbers, mm: readable without a glass.
const DIGIT_MM: f64 = 2.5;

/// A sheet under construction.
pub(super) struct Builder {
    settings: SheetSettings,
    heading: f64,
    sheet: Sheet,
}

impl Builder {
    /// An empty sheet with the cut that turns the blade at its lower left.
    pub fn new(settings: &SheetSettings) -> Self {
        let sheet = Sheet {
            pattern: settings.pattern,
            offset_mm: settings.offset_mm,
            axis: Vec::new(),
            test_of: Vec::new(),
            marks: Vec::new(),
        };
        let mut builder = Self { settings: *settings, heading: 0.0, sheet };
        let length = (ORIENT.0 * settings.offset_mm).max(ORIENT.1);
        builder.drag(&[Point::ORIGIN, Point::new(length, 0.0)], Part::Orient);
        builder
    }

    /// Drags the axis along `points` (mm from the sheet's corner), uncompensated.
    pub fn drag(&mut self, points: &[Point], part: Part) {
        let unit = self.settings.unit_mm;
        let snap = |v: f64| (v / unit).round() * unit;
        let mut placed: Vec<Point> = points
            .iter()
            .map(|&p| p + self.settings.at)
            .map(|p| Point::new(snap(p.x), snap(p.y)))
            .collect();
        placed.dedup();
        let parts = vec![part; placed.len().saturating_sub(1)];
        self.push(AxisPath { line: None, points: placed, parts }, None);
    }

    /// Cuts `contour` (mm from the sheet's corner) compensated for `offset_mm`.
    pub fn cut(&mut self, contour: Contour, offset_mm: f64, overcut_mm: f64, test: Option<usize>) {
        let at = self.settings.at;
        let points = contour.points.iter().map(|&p| p + at).collect();
        let contour = Contour { points, closed: contour.closed };
        let settings = BladeSettings {
            offset_mm,
            overcut_mm,
            unit_mm: Some(self.settings.unit_mm),
            start_heading: Some(self.heading),
            ..BladeSettings::default()
        };
        let path = TipPath { line: None, role: Role::Mark, contour };
        for axis in compensate(&[path], &settings).0 {
            self.push(axis, test);
        }
    }

    /// Notes a test and cuts its number at `label`.
    pub fn mark(&mut self, value: f64, at: Point, label: Point) -> usize {
        let number = self.sheet.marks.len() + 1;
        for stroke in glyphs::strokes(&number.to_string(), label, DIGIT_MM) {
            self.cut(Contour::open(stroke), self.settings.offset_mm, 0.0, None);
        }
        self.sheet.marks.push(Mark { number, value, at: at + self.settings.at });
        number
    }

    /// The finished sheet.
    pub fn finish(self) -> Sheet {
        self.sheet
    }

    fn push(&mut self, path: AxisPath, test: Option<usize>) {
        let Some((&first, rest)) = path.points.split_first() else { return };
        let mut blade = TrailingBlade::new(self.settings.offset_mm, first, self.heading);
        rest.iter().for_each(|&to| blade.line_to(to));
        self.heading = blade.heading();
        self.sheet.axis.push(path);
        self.sheet.test_of.push(test);
    }
}

impl SheetSettings {
    /// First value and step of the row of values.
    pub(super) fn first_and_step(&self) -> (f64, f64) {
        let offset = self.offset_mm;
        self.row.unwrap_or(match self.pattern {
            // Four steps of one plotter unit to either side.
            Pattern::Ladder | Pattern::Eyelets => ((offset - 0.1).max(0.025), 0.025),
            Pattern::Vernier => (2.0 * offset - 0.4, 0.05),
            Pattern::Overcut => (0.0, 0.1),
            Pattern::Force => (40.0, 10.0),
            Pattern::Speed => (5.0, 5.0),
            Pattern::Circles => (0.125, 1.2),
        })
    }
}
