//! The still picture: sheet with rulers, cuts, travel, the tip's track, numbers, totals.
//!
//! True to scale: one user unit is a millimetre, y turned so that up is up. Colours that
//! colour-blind eyes tell apart (M. Okabe, K. Ito, "Color Universal Design", 2008), each with a dash
//! and width of its own, so nothing hangs on colour alone.

use std::collections::HashSet;
use std::fmt::Write;

use super::{View, lens};
use crate::blade::Part;
use crate::geometry::{Bounds, Point};
use crate::glyphs;
use crate::merge;
use crate::parallel;
use crate::place::Role;
use crate::report;

/// The picture of `view` as SVG text.
pub fn picture_svg(view: &View) -> String {
    let frame = Frame::around(view);
    let looks = looks(view);
    let mut svg = frame.head(&looks);
    frame.rulers(&mut svg);
    frame.travel(view, &mut svg);
    frame.tips(view, &mut svg);
    frame.cuts(view, &mut svg);
    frame.care(view, &mut svg);
    frame.numbers(view, &mut svg);
    frame.legend(view, &looks, &mut svg);
    lens::draw(&frame, view, &mut svg);
    svg.push_str("</svg>\n");
    svg
}

const BLUE: &str = "#0072B2";
const VERMILLION: &str = "#D55E00";
const PURPLE: &str = "#CC79A7";
const GREEN: &str = "#009E73";
const ORANGE: &str = "#E69F00";
pub(super) const SKY: &str = "#56B4E9";
pub(super) const BLACK: &str = "#000000";
const GREY: &str = "#565d66";

/// The picture's measures, mm on the sheet.
pub(super) struct Frame {
    /// What the tool reaches.
    pub sheet: Bounds,
    /// Width of a normal line.
    pub line: f64,
    /// Height of letters.
    pub letter: f64,
    /// Whether a place is shown enlarged below.
    pub lens: bool,
}

/// Lines that one core writes down at a time.
const GROUP: usize = 256;

/// What is drawn may leave the lines by this part of a normal line's width: large sheets have millions of
/// vertices that nobody can see.
const UNSEEN: f64 = 0.05;

/// A line's look.
pub(super) struct Pen {
    pub colour: &'static str,
    /// In line widths.
    pub width: f64,
    /// In line widths; empty is solid.
    pub dashes: &'static str,
}

const CUT: Pen = Pen { colour: BLUE, width: 1.2, dashes: "" };
const SWING: Pen = Pen { colour: BLUE, width: 0.6, dashes: "1 1" };
const ORIENT: Pen = Pen { colour: SKY, width: 2.4, dashes: "0.1 2.4" };
const OVERCUT: Pen = Pen { colour: PURPLE, width: 3.0, dashes: "" };
const TRAVEL: Pen = Pen { colour: VERMILLION, width: 0.7, dashes: "5 3" };
const TIP: Pen = Pen { colour: BLACK, width: 0.4, dashes: "" };
const WEED: Pen = Pen { colour: GREEN, width: 1.2, dashes: "8 3 2 3" };
const CARE: Pen = Pen { colour: BLACK, width: 1.6, dashes: "1.2 1.6" };
const SCORE: Pen = Pen { colour: BLUE, width: 1.2, dashes: "6 2.5" };
const DRAW: Pen = Pen { colour: ORANGE, width: 1.6, dashes: "" };
pub(super) const RULER: Pen = Pen { colour: GREY, width: 0.8, dashes: "" };

impl Frame {
    fn around(view: &View) -> Self {
        let simulation = view.simulation;
        let bounds = parallel::map(simulation.cuts.len(), |i| {
            let cut = &simulation.cuts[i];
            let all = [&cut.travel, &cut.axis, cut.tip()];
            all.into_iter().fold(Bounds::EMPTY, |b, points| b.union(Bounds::of(points)))
        });
        let last = Bounds::of(&simulation.last_travel);
        let mut sheet = bounds.into_iter().fold(last, Bounds::union);
        if sheet.is_empty() {
            sheet.add(Point::ORIGIN);
        }
        let longer = sheet.width().max(sheet.height()).max(1.0);
        let (line, letter) = (longer / 900.0, longer / 70.0);
        Self { sheet: sheet.grown(longer * 0.02), line, letter, lens: view.lens.is_some() }
    }

    /// Room for rulers and legend around the sheet.
    pub fn margin(&self) -> f64 {
        self.letter * 4.0
    }

    fn legend_height(&self) -> f64 {
        self.letter * if self.lens { 9.0 + lens::SIDE } else { 7.0 }
    }

    fn head(&self, looks: &[Look]) -> String {
        let margin = self.margin();
        let legend: f64 = looks.iter().map(|look| self.look_width(look)).sum();
        let width = (self.sheet.width() + 2.0 * margin).max(self.letter * 62.0);
        let width = width.max(margin * 0.5 + legend);
        let height = self.sheet.height() + 2.0 * margin + self.legend_height();
        let (x, y) = (self.sheet.min.x - margin, -self.sheet.max.y - margin);
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.3}mm\" height=\"{height:.3}mm\" \
             viewBox=\"{x:.3} {y:.3} {width:.3} {height:.3}\" fill=\"none\" stroke-linecap=\"round\" \
             stroke-linejoin=\"round\">\n\
             <rect x=\"{x:.3}\" y=\"{y:.3}\" width=\"{width:.3}\" height=\"{height:.3}\" fill=\"#ffffff\"/>\n\
             <rect x=\"{:.3}\" y=\"{:.3}\" width=\"{:.3}\" height=\"{:.3}\" stroke=\"{GREY}\" \
             stroke-width=\"{:.3}\"/>\n",
            self.sheet.min.x,
            -self.sheet.max.y,
            self.sheet.width(),
            self.sheet.height(),
            self.line * 0.5,
        )
    }

    /// One path element through all `lines`.
    pub fn draw<'a>(&self, lines: impl Iterator<Item = &'a [Point]>, pen: &Pen, svg: &mut String) {
        let lines: Vec<&[Point]> = lines.filter(|line| !line.is_empty()).collect();
        if lines.is_empty() {
            return;
        }
        let groups: Vec<&[&[Point]]> = lines.chunks(GROUP).collect();
        let data = parallel::map(groups.len(), |i| {
            let mut data = String::new();
            groups[i].iter().for_each(|line| self.push_line(line, &mut data));
            data
        });
        let width = pen.width * self.line;
        let scaled = pen.dashes.split(' ').filter_map(|d| d.parse::<f64>().ok());
        let dashes: Vec<String> = scaled.map(|d| short(d * self.line * 1.5)).collect();
        let dash = match dashes.join(" ") {
            none if none.is_empty() => String::new(),
            some => format!(" stroke-dasharray=\"{some}\""),
        };
        let (colour, width) = (pen.colour, short(width));
        let _ = write!(svg, "<path stroke=\"{colour}\" stroke-width=\"{width}\"{dash} d=\"");
        svg.reserve(data.iter().map(|data| data.len() + 1).sum::<usize>() + 3);
        data.iter().for_each(|data| svg.push_str(data));
        svg.push_str("\"/>\n");
    }

    /// Appends what a path element needs of one line.
    fn push_line(&self, line: &[Point], data: &mut String) {
        for (i, p) in merge::decimate_track(line, self.line * UNSEEN).iter().enumerate() {
            data.push(if i == 0 { 'M' } else { 'L' });
            push_short(data, p.x);
            data.push(' ');
            push_short(data, -p.y);
        }
        if line.len() == 1 {
            data.push_str("h0");
        }
    }

    pub fn text(&self, text: &str, at: Point, height: f64, pen: &Pen, svg: &mut String) {
        let strokes = glyphs::strokes(text, at, height);
        self.draw(strokes.iter().map(Vec::as_slice), pen, svg);
    }

    fn travel(&self, view: &View, svg: &mut String) {
        let simulation = view.simulation;
        let moves = simulation.cuts.iter().map(|cut| cut.travel.as_slice());
        let all = moves.chain([simulation.last_travel.as_slice()]).filter(|line| line.len() > 1);
        self.draw(all, &TRAVEL, svg);
    }

    /// The axis' path, each stretch in the look of what it is for; overcut lies below the rest.
    fn cuts(&self, view: &View, svg: &mut String) {
        let looks = [
            (&OVERCUT, Part::Overcut),
            (&SWING, Part::Swing),
            (&ORIENT, Part::Orient),
            (&CUT, Part::Cut),
        ];
        for (pen, part) in looks {
            let runs = runs(view, part);
            let of_role = |wanted: &'static [Role]| {
                let runs = runs.iter().filter(move |(role, _)| wanted.contains(role));
                runs.map(|(_, line)| *line)
            };
            self.draw(of_role(&[Role::Draw]), &DRAW, svg);
            self.draw(of_role(&[Role::Score]), if part == Part::Cut { &SCORE } else { pen }, svg);
            self.draw(of_role(&[Role::Design, Role::Mark]), pen, svg);
            self.draw(of_role(&[Role::Weed]), &WEED, svg);
        }
    }

    /// The tip's track, where it is not the axis' own path; it lies below that and shows beside it.
    fn tips(&self, view: &View, svg: &mut String) {
        let tips = view.simulation.cuts.iter().filter_map(|cut| cut.trailing.as_deref());
        self.draw(tips, &TIP, svg);
    }

    /// Rings round the places where weeding needs care.
    fn care(&self, view: &View, svg: &mut String) {
        let turn = |i: u32| std::f64::consts::TAU * f64::from(i) / 24.0;
        let ring = |center: &Point| -> Vec<Point> {
            (0..=24).map(|i| *center + Point::along(turn(i)) * self.letter).collect()
        };
        let rings: Vec<Vec<Point>> = view.care.iter().map(ring).collect();
        self.draw(rings.iter().map(Vec::as_slice), &CARE, svg);
    }

    /// The number of each cut at its start, where there is room.
    fn numbers(&self, view: &View, svg: &mut String) {
        let height = self.letter * 0.62;
        let mut taken: HashSet<(i64, i64)> = HashSet::new();
        let mut strokes = Vec::new();
        for (i, cut) in view.simulation.cuts.iter().enumerate() {
            let Some(start) = cut.tip().first() else { continue };
            let text = (i + 1).to_string();
            let cells = (glyphs::width(&text, height) / (height * 1.5)).ceil() as i64;
            let key = |p: f64| (p / (height * 1.5)).floor() as i64;
            let own: Vec<_> = (-1..=cells)
                .flat_map(|dx| (-1..=1).map(move |dy| (dx, dy)))
                .map(|(dx, dy)| (key(start.x) + dx, key(start.y) + dy))
                .collect();
            if own.iter().any(|cell| taken.contains(cell)) {
                continue;
            }
            taken.extend(own);
            let at = *start + Point::new(height * 0.3, height * 0.3);
            strokes.extend(glyphs::strokes(&text, at, height));
        }
        let halo = Pen { colour: "#ffffff", width: 2.6, dashes: "" };
        self.draw(strokes.iter().map(Vec::as_slice), &halo, svg);
        let pen = Pen { colour: BLACK, width: 0.8, dashes: "" };
        self.draw(strokes.iter().map(Vec::as_slice), &pen, svg);
    }

    /// Ticks and numbers in mm along the lower and the left edge.
    fn rulers(&self, svg: &mut String) {
        let longer = self.sheet.width().max(self.sheet.height());
        let step = nice_step(longer / 10.0);
        let mut ticks: Vec<Vec<Point>> = Vec::new();
        let height = self.letter * 0.75;
        let (left, bottom) = (self.sheet.min.x, self.sheet.min.y);
        for x in multiples(self.sheet.min.x, self.sheet.max.x, step) {
            let foot = Point::new(x, bottom);
            ticks.push(vec![foot, foot - Point::new(0.0, self.letter * 0.6)]);
            let label = label(x);
            let shift = Point::new(glyphs::width(&label, height) / 2.0, self.letter * 1.6);
            ticks.extend(glyphs::strokes(&label, foot - shift, height));
        }
        for y in multiples(self.sheet.min.y, self.sheet.max.y, step) {
            let foot = Point::new(left, y);
            ticks.push(vec![foot, foot - Point::new(self.letter * 0.6, 0.0)]);
            let label = label(y);
            let shift = glyphs::width(&label, height) + self.letter * 0.9;
            ticks.extend(glyphs::strokes(&label, foot - Point::new(shift, height / 2.0), height));
        }
        ticks.extend(glyphs::strokes(
            "MM",
            Point::new(left - self.margin() * 0.9, bottom - self.letter * 1.6),
            height,
        ));
        self.draw(ticks.iter().map(Vec::as_slice), &RULER, svg);
    }

    /// How much of the legend a look takes, mm.
    fn look_width(&self, (_, name): &Look) -> f64 {
        self.letter * 5.0 + glyphs::width(name, self.letter * 0.8)
    }

    /// What the looks mean, and the totals.
    fn legend(&self, view: &View, looks: &[Look], svg: &mut String) {
        let totals = &view.simulation.totals;
        let top = self.sheet.min.y - self.margin() * 1.1;
        let left = self.sheet.min.x - self.margin() * 0.5;
        let ink = Pen { colour: BLACK, width: 0.9, dashes: "" };
        let mut x = left;
        for look in looks {
            let (pen, name) = look;
            let line = [
                Point::new(x, top - self.letter),
                Point::new(x + self.letter * 3.0, top - self.letter),
            ];
            self.draw([&line[..]].into_iter(), pen, svg);
            let at = Point::new(x + self.letter * 3.6, top - self.letter * 1.4);
            self.text(name, at, self.letter * 0.8, &ink, svg);
            x += self.look_width(look);
        }
        let mut words = format!(
            "{}  CUT {}  TRAVEL {}",
            report::cuts(view.simulation.cuts.len()).to_uppercase(),
            report::metres(totals.cut_mm),
            report::metres(totals.travel_mm)
        );
        if let Some(seconds) = totals.time_s {
            let _ = write!(words, "  TIME {}", report::duration(seconds));
        }
        self.text(&words, Point::new(left, top - self.letter * 3.6), self.letter, &ink, svg);
    }
}

/// A look and what it means.
type Look = (&'static Pen, &'static str);

/// The looks that a picture of `view` has.
fn looks(view: &View) -> Vec<Look> {
    let all: [(Look, bool); 9] = [
        ((&CUT, "CUT"), true),
        ((&TRAVEL, "TRAVEL"), view.simulation.totals.travel_mm > 0.0),
        ((&TIP, "TIP"), view.simulation.cuts.iter().any(|cut| cut.trailing.is_some())),
        ((&OVERCUT, "OVERCUT"), !runs(view, Part::Overcut).is_empty()),
        ((&ORIENT, "TURNS THE BLADE"), !runs(view, Part::Orient).is_empty()),
        ((&SCORE, "SCORED"), view.roles.contains(&Some(Role::Score))),
        ((&DRAW, "DRAWN"), view.roles.contains(&Some(Role::Draw))),
        ((&WEED, "WEED BORDER"), view.roles.contains(&Some(Role::Weed))),
        ((&CARE, "WEED WITH CARE"), !view.care.is_empty()),
    ];
    all.into_iter().filter(|(_, shown)| *shown).map(|(look, _)| look).collect()
}

/// Stretches of the cuts' axes that are for `part`, with the cut's role.
fn runs<'a>(view: &View<'a>, part: Part) -> Vec<(Role, &'a [Point])> {
    let mut all = Vec::new();
    for (i, cut) in view.simulation.cuts.iter().enumerate() {
        let edges = cut.axis.len().saturating_sub(1);
        if view.parts.get(i).is_none_or(|parts| parts.is_empty()) {
            // Nobody told: all of it is cut.
            all.extend((part == Part::Cut).then(|| (view.role(i), &cut.axis[..])));
            continue;
        }
        if edges == 0 && part == Part::Cut {
            all.push((view.role(i), cut.axis.as_slice()));
        }
        let mut from = 0;
        while from < edges {
            let mut to = from + 1;
            while to < edges && view.part(i, to) == view.part(i, from) {
                to += 1;
            }
            if view.part(i, from) == part {
                all.push((view.role(i), &cut.axis[from..=to]));
            }
            from = to;
        }
    }
    all
}

/// The multiples of `step` from `low` to `high`.
fn multiples(low: f64, high: f64, step: f64) -> impl Iterator<Item = f64> {
    let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    (first..=last).map(move |i| i as f64 * step)
}

/// 1, 2 or 5 times a power of ten, at least `least`.
fn nice_step(least: f64) -> f64 {
    let power = 10f64.powf(least.max(1e-3).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|f| f * power)
        .find(|s| *s >= least)
        .unwrap_or(power * 10.0)
}

fn label(x: f64) -> String {
    if x.fract() == 0.0 {
        format!("{x:.0}")
    } else {
        format!("{x:.2}").trim_end_matches('0').to_owned()
    }
}

/// A number to a thousandth, without needless digits.
fn short(x: f64) -> String {
    let mut text = String::new();
    push_short(&mut text, x);
    text
}

/// Appends a number to a thousandth, without needless digits. (By the library for whole numbers: pictures
/// have millions of them, and formatting takes many times as long.)
fn push_short(text: &mut String, x: f64) {
    let thousandths = (x * 1000.0).round() as i64;
    let (whole, rest) = (thousandths.unsigned_abs() / 1000, thousandths.unsigned_abs() % 1000);
    if thousandths < 0 {
        text.push('-');
    }
    text.push_str(itoa::Buffer::new().format(whole));
    if rest > 0 {
        let all = [rest / 100, rest / 10 % 10, rest % 10];
        let last = all.iter().rposition(|&digit| digit > 0).unwrap_or_default();
        text.push('.');
        all[..=last].iter().for_each(|&digit| text.push((b'0' + digit as u8) as char));
    }
}
