//! Jobs side by side: what each order, or each job from anywhere, costs.
//!
//! In: named [`Row`]s with the figures of simulated jobs, and floors of their travel where they are
//! known. Out: an aligned table for a terminal, JSON, CSV (RFC 4180). Differences are to the first
//! row of the same group: orders of one film, or jobs. A floor holds for travel from line to line, before the blade is compensated
//! ([`crate::pipeline::floors`]), so it is compared with that and not with the simulated travel.

use std::fmt::Write;

use serde::Serialize;

use crate::contour_tree::ContourTree;
use crate::geometry::LineRef;
use crate::order::{self, CutOrder, End, EntrySettings, Floors, OrderSettings, Visit};
use crate::report::{duration, metres};
use crate::simulate::{Simulation, Totals};

/// One job of a comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it is called.
    pub name: String,
    /// Rows of one group are orders of the same work: each is compared with the first of them.
    pub group: usize,
    /// Its figures.
    pub totals: Totals,
    /// The floors of its travel, if they were computed.
    pub floor: Option<Floor>,
}

/// How short a travel could be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Floor {
    /// The travel that is compared with the floors, mm.
    pub ordered_mm: f64,
    /// The floors, mm; 0 where one is unknown.
    pub floors: Floors,
}

/// A row as scripts get it; keys are only ever added.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// What it is called.
    pub name: String,
    /// Path with the tool up, mm.
    pub travel_mm: f64,
    /// Against the first row of its group, percent.
    pub travel_change_percent: Option<f64>,
    /// Path with the tool down, mm.
    pub cut_mm: f64,
    /// How often the tool is lifted.
    pub lifts: usize,
    /// How long it takes, s, if known.
    pub time_s: Option<f64>,
    /// Against the first row of its group, percent.
    pub time_change_percent: Option<f64>,
    /// Size of the job.
    pub bytes: u64,
    /// No order with the same starts travels less from line to line, mm.
    pub floor_chosen_mm: Option<f64>,
    /// How far this one is above, percent.
    pub above_chosen_percent: Option<f64>,
    /// No order with any starts travels less from line to line, mm.
    pub floor_any_mm: Option<f64>,
    /// How far this one is above, percent.
    pub above_any_percent: Option<f64>,
}

/// The figures of `rows`, each against the first of its group.
pub fn figures(rows: &[Row]) -> Vec<Figures> {
    rows.iter().map(|row| Figures::of(row, &first_of(rows, row).totals)).collect()
}

/// The first row of the group of `row`.
fn first_of<'a>(rows: &'a [Row], row: &'a Row) -> &'a Row {
    rows.iter().find(|other| other.group == row.group).unwrap_or(row)
}

impl Figures {
    fn of(row: &Row, first: &Totals) -> Self {
        let totals = &row.totals;
        let floor = |pick: fn(&Floors) -> f64| {
            row.floor.as_ref().map(|f| pick(&f.floors)).filter(|mm| *mm > 0.0)
        };
        let (chosen, any) = (floor(|f| f.chosen), floor(|f| f.any));
        let above = |floor: Option<f64>| change(floor?, row.floor?.ordered_mm);
        let time_change = first.time_s.zip(totals.time_s).and_then(|(was, is)| change(was, is));
        Self {
            name: row.name.clone(),
            travel_mm: thousandths(totals.travel_mm),
            travel_change_percent: change(first.travel_mm, totals.travel_mm),
            cut_mm: thousandths(totals.cut_mm),
            lifts: totals.lifts,
            time_s: totals.time_s.map(|t| (t * 100.0).round() / 100.0),
            time_change_percent: time_change,
            bytes: totals.bytes,
            floor_chosen_mm: chosen.map(thousandths),
            above_chosen_percent: above(chosen),
            floor_any_mm: any.map(thousandths),
            above_any_percent: above(any),
        }
    }

    /// Cells of the table; a dash where nothing is known.
    fn cells(&self, first: bool) -> Vec<String> {
        let against = |p: Option<f64>| if first { String::new() } else { percent(p) };
        vec![
            self.name.clone(),
            metres(self.travel_mm),
            against(self.travel_change_percent),
            metres(self.cut_mm),
            self.lifts.to_string(),
            self.time_s.map_or("-".to_owned(), duration),
            against(self.time_change_percent),
            percent(self.above_chosen_percent),
            percent(self.above_any_percent),
        ]
    }
}

/// From `was` to `is`, percent to a hundredth; `None` when `was` is nothing.
fn change(was: f64, is: f64) -> Option<f64> {
    // Adding zero makes the negative one positive.
    (was > 0.0).then(|| ((is / was - 1.0) * 1e4).round() / 100.0 + 0.0)
}

fn percent(p: Option<f64>) -> String {
    p.map_or("-".to_owned(), |p| format!("{p:+.1} %"))
}

fn thousandths(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

/// Whether a job that travels less from line to line than another of its group shows more travel: what a
/// blade's turns and run-ins add comes after the order is chosen.
pub fn turns_change_ranks(rows: &[Row]) -> bool {
    let less = |a: f64, b: f64| a < b - RANKED_MM;
    let changes = |a: &Row, b: &Row| {
        let ordered = a.floor.zip(b.floor).map(|(a, b)| less(a.ordered_mm, b.ordered_mm));
        a.group == b.group && ordered == Some(true) && less(b.totals.travel_mm, a.totals.travel_mm)
    };
    rows.iter().any(|a| rows.iter().any(|b| changes(a, b)))
}

/// Travels are told to a tenth of a millimetre, mm: nearer ones are told alike.
const RANKED_MM: f64 = 0.1;

const HEADS: [&str; 9] =
    ["order", "travel", "", "cut", "lifts", "time", "", "above floor", "any starts"];
/// Width of the longest bar, characters: with the table it fits 100 columns for short names.
const BAR: usize = 16;

/// The rows as aligned lines; a bar shows the travel.
pub fn table(rows: &[Row]) -> Vec<String> {
    let figures = figures(rows);
    let mut cells = vec![HEADS.map(str::to_owned).to_vec()];
    let first = |row| std::ptr::eq(first_of(rows, row), row);
    cells.extend(figures.iter().zip(rows).map(|(figures, row)| figures.cells(first(row))));
    let width = |column: usize| {
        cells.iter().filter_map(|row| row.get(column)).map(|c| c.chars().count()).max().unwrap_or(0)
    };
    // Columns of which nothing is known are left out.
    let known = |column: &usize| {
        *column == 0
            || cells
                .iter()
                .skip(1)
                .any(|row| row.get(*column).is_some_and(|c| !c.is_empty() && c != "-"))
    };
    let columns: Vec<usize> = (0..HEADS.len()).filter(known).collect();
    let most = figures.iter().map(|row| row.travel_mm).fold(0.0, f64::max);
    let bars =
        std::iter::once(String::new()).chain(figures.iter().map(|row| bar(row.travel_mm, most)));
    let line = |(row, bar): (&Vec<String>, String)| {
        let mut line = String::new();
        for &column in &columns {
            let cell = row.get(column).map_or("", String::as_str);
            let pad = width(column).saturating_sub(cell.chars().count());
            let (left, right) = if column == 0 { (0, pad) } else { (pad + 2, 0) };
            line.extend([&" ".repeat(left), cell, &" ".repeat(right)]);
        }
        format!("{line}  {bar}").trim_end().to_owned()
    };
    cells.iter().zip(bars).map(line).collect()
}

fn bar(mm: f64, most: f64) -> String {
    let length = if most > 0.0 { (mm / most * BAR as f64).round() as usize } else { 0 };
    "=".repeat(length.min(BAR))
}

/// The rows as one JSON object.
pub fn json(rows: &[Row]) -> String {
    serde_json::json!({ "format": 1, "jobs": figures(rows) }).to_string()
}

/// The rows as CSV; the first line names the columns as the JSON does.
pub fn csv(rows: &[Row]) -> String {
    let mut text = String::new();
    for row in figures(rows) {
        let Ok(serde_json::Value::Object(object)) = serde_json::to_value(&row) else { continue };
        if text.is_empty() {
            let names: Vec<&str> = COLUMNS.to_vec();
            text = names.join(",") + "\r\n";
        }
        let cell = |name: &&str| match object.get(*name) {
            Some(serde_json::Value::String(text)) => quoted(text),
            Some(serde_json::Value::Null) | None => String::new(),
            Some(number) => number.to_string(),
        };
        let cells: Vec<String> = COLUMNS.iter().map(cell).collect();
        // Writing into a string cannot fail.
        let _ = write!(text, "{}\r\n", cells.join(","));
    }
    text
}

/// Columns of the CSV, in the order of [`Figures`].
const COLUMNS: [&str; 12] = [
    "name",
    "travel_mm",
    "travel_change_percent",
    "cut_mm",
    "lifts",
    "time_s",
    "time_change_percent",
    "bytes",
    "floor_chosen_mm",
    "above_chosen_percent",
    "floor_any_mm",
    "above_any_percent",
];

fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The floor for a job from anywhere: its cuts, each with its two ends, in any order and sense.
pub fn floor_of(simulation: &Simulation) -> Floor {
    let lines: Vec<LineRef> =
        simulation.cuts.iter().map(|cut| LineRef { points: &cut.axis, closed: false }).collect();
    let visit = |line| Visit { line, vertex: 0, along: 0.0, reversed: false };
    let order = CutOrder { visits: (0..lines.len()).map(visit).collect() };
    let last = simulation.last_travel.last().copied();
    let settings = OrderSettings {
        end: last.map_or(End::Anywhere, End::At),
        entries: EntrySettings::default(),
        ..OrderSettings::default()
    };
    let tree = ContourTree { parent: vec![None; lines.len()] };
    let floors = order::floors(&lines, &tree, &order, &settings, true);
    let ordered_mm = order::travel_mm(&lines, &order, settings.start, settings.end);
    Floor { ordered_mm, floors: Floors { any: 0.0, ..floors } }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hpgl;
    use crate::simulate::{self, SimulateSettings, ToolOffsets};

    fn row(name: &str, travel_mm: f64, floor: Option<f64>) -> Row {
        let totals = Totals { cut_mm: 800.0, travel_mm, lifts: 4, bytes: 99, ..Totals::default() };
        let floor = floor
            .map(|chosen| Floor { ordered_mm: travel_mm, floors: Floors { chosen, any: 0.0 } });
        Row { name: name.to_owned(), group: 0, totals, floor }
    }

    #[test]
    fn the_first_row_is_the_measure() {
        let rows = [row("drawn", 200.0, None), row("best", 150.0, Some(120.0))];
        let figures = figures(&rows);
        assert_eq!(figures[1].travel_change_percent, Some(-25.0));
        assert_eq!(figures[1].above_chosen_percent, Some(25.0));
        assert_eq!(figures[1].above_any_percent, None);
        assert_eq!(figures[0].travel_change_percent, Some(0.0));
    }

    #[test]
    fn each_film_is_measured_by_its_own_first_order() {
        let film = |name, mm, group| Row { group, ..row(name, mm, None) };
        let rows = [
            film("red drawn", 2000.0, 0),
            film("blue drawn", 200.0, 1),
            film("blue best", 150.0, 1),
        ];
        let figures = figures(&rows);
        assert_eq!(figures[1].travel_change_percent, Some(0.0));
        assert_eq!(figures[2].travel_change_percent, Some(-25.0));
        let table = table(&rows);
        assert!(!table[2].contains('%') && table[3].contains("-25.0 %"), "{table:?}");
    }

    #[test]
    fn nothing_divides_by_nothing() {
        let rows = [row("a", 0.0, None), row("b", 5.0, None)];
        assert_eq!(figures(&rows)[1].travel_change_percent, None);
        assert_eq!(table(&[]).len(), 1);
        assert!(figures(&[]).is_empty());
    }

    #[test]
    fn columns_line_up_and_unknown_ones_are_left_out() {
        let rows = [row("drawn", 2000.0, None), row("nearest", 150.0, None)];
        let table = table(&rows);
        assert_eq!(table[0], "order      travel                cut  lifts");
        assert_eq!(table[1], "drawn      2.00 m           800.0 mm      4  ================");
        assert_eq!(table[2], "nearest  150.0 mm  -92.5 %  800.0 mm      4  =");
    }

    /// RFC 4180, sections 2.1, 2.6 and 2.7: line ends, quoting, doubled quotes.
    #[test]
    fn csv_is_quoted_as_the_rfc_says() {
        let text = csv(&[row("a \"b\", c", 1.0, None)]);
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(lines.len(), 3);
        assert!(lines[1].starts_with("\"a \"\"b\"\", c\",1.0,0.0,800.0,4,,,99,"), "{text}");
        assert_eq!(lines[0].split(',').count(), COLUMNS.len());
    }

    #[test]
    fn every_figure_has_its_column() {
        let object = serde_json::to_value(&figures(&[row("a", 1.0, None)])[0]).unwrap();
        let mut names: Vec<&str> = object.as_object().unwrap().keys().map(String::as_str).collect();
        let mut columns = COLUMNS.to_vec();
        names.sort_unstable();
        columns.sort_unstable();
        assert_eq!(names, columns);
    }

    /// Four dots on the corners of a square, cut crosswise: the least tree over park position and
    /// dots is three sides long, and any tour home is at least four.
    #[test]
    fn a_floor_lies_below_every_order() {
        let text = "IN;PU0,0;PD;PU4000,4000;PD;PU4000,0;PD;PU0,4000;PD;PU0,0;";
        let (commands, _) = hpgl::read(text.as_bytes());
        let (trace, _) = hpgl::trace(&commands, &hpgl::TraceSettings::default());
        let settings = SimulateSettings {
            unit_mm: 0.025,
            blade_offset_mm: 0.0,
            of_tool_mm: ToolOffsets::default(),
            heading: 0.0,
            motion: None,
            line_bytes_s: None,
        };
        let simulation = simulate::run(trace.steps.iter().copied(), text.len() as u64, &settings);
        let floor = floor_of(&simulation);
        assert!((floor.ordered_mm - simulation.totals.travel_mm).abs() < 1e-9);
        let best = 400.0;
        assert!(floor.floors.chosen <= best + 1e-6, "{floor:?}");
        assert!(floor.floors.chosen >= 300.0 - 1e-6, "{floor:?}");
    }
}
