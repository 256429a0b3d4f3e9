//! Commands → [`Trace`]: what a machine of this language does, step by step, in plotter units.
//!
//! Sources: HP 7470A Interfacing and Programming Manual (07470-90001), chapters 2 to 4; PCL 5
//! Technical Reference II (5961-0509), chapters 19 to 22. Arcs are chorded by the device's rule:
//! the chord angle is the largest allowed and all chords of an arc are equal. Coordinates are not
//! rounded; a machine's own rounding adds at most half a unit.

use super::command::{Command, Encoded, Located, Mnemonic};
use super::curves;
use super::scale::Scale;
use super::{Step, StepKind, Trace};
use crate::finding::{Finding, Place, counted};
use crate::geometry::{Bounds, Point};

/// What the interpreter cannot know from the bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TraceSettings {
    /// Scaling points after power-on, plotter units.
    pub p1p2: [Point; 2],
    /// Hard-clip area, plotter units; what lies outside is not drawn.
    pub hard_clip: Option<Bounds>,
    /// The area that `RO` turns and `IR` divides, where nothing is clipped; plotter units. `None`
    /// takes the hard-clip area or, without one, the box of P1 and P2.
    pub area: Option<Bounds>,
}

impl Default for TraceSettings {
    /// P1 and P2 of an A4 sheet on the 7470A (its manual, p. 2-6), no limits.
    fn default() -> Self {
        let p1p2 = [Point::new(250.0, 279.0), Point::new(10250.0, 7479.0)];
        Self { p1p2, hard_clip: None, area: None }
    }
}

/// Obeys `commands`; instructions that are unknown are told, those that draw nothing passed over.
///
/// Curves and polygons that would blow up to more than 20 million points are left out
/// from there on, which is told.
pub fn trace(commands: &[Located], settings: &TraceSettings) -> (Trace, Vec<Finding>) {
    let mut machine = Machine::new(*settings);
    for located in commands {
        machine.obey(located);
    }
    (Trace { steps: machine.steps }, machine.findings)
}

/// The same instruction by instruction, for whoever obeys as the bytes come in.
pub struct Interpreter(Machine);

impl Interpreter {
    /// A machine after power-on.
    pub fn new(settings: TraceSettings) -> Self {
        Self(Machine::new(settings))
    }

    /// Obeys one instruction; appends what the machine does to `steps`.
    pub fn obey(&mut self, instruction: &Located, steps: &mut Vec<Step>) {
        std::mem::swap(&mut self.0.steps, steps);
        self.0.obey(instruction);
        std::mem::swap(&mut self.0.steps, steps);
    }

    /// What could not be obeyed: a bounded number of findings.
    pub fn end(self) -> Vec<Finding> {
        self.0.findings
    }

    /// Where the tool is, plotter units, and whether it is down.
    pub fn tool(&self) -> (Point, bool) {
        (self.0.at, self.0.touches)
    }
}

/// How many unknown instructions are named one by one.
const NAMED: usize = 12;
/// The code of the finding about fills and letters, which a machine makes in its own way.
pub const UNSIMULATED: &str = "instruction-unsimulated";
/// Points that may come of curves and polygons, of which a few bytes can make any number.
const MOST_CURVE_POINTS: usize = 20_000_000;
/// Points that a polygon may have. Machines take far fewer: their polygon buffers hold some thousand.
const MOST_POLYGON_POINTS: usize = 200_000;
/// Furthest coordinate, plotter units (PCL 5 Technical Reference II, p. 20-36).
const FURTHEST: f64 = (1u64 << 30) as f64;
/// Instructions whose points are all written out.
const LINES: &[&[u8; 2]] = &[b"PA", b"PR", b"PU", b"PD"];
/// Chord angle unless an instruction says otherwise, degrees (7470A manual, p. 3-12).
const CHORD_DEG: f64 = 5.0;

struct Machine {
    settings: TraceSettings,
    steps: Vec<Step>,
    findings: Vec<Finding>,
    /// Where the present instruction stands, and where it ends.
    byte: u64,
    end: u64,
    /// Where the tool is, plotter units.
    at: Point,
    /// What the instructions want of the tool.
    down: bool,
    /// What the tool does: it stays up outside the window and while a polygon is defined.
    touches: bool,
    absolute: bool,
    scale: Scale,
    window: Option<Bounds>,
    /// The chord number is a deviation instead of an angle (`CT1`).
    chord_is_deviation: bool,
    polygon: Option<Polygon>,
    stored: Polygon,
    unknown: usize,
    short: usize,
    /// How many positions were out of all range.
    far: usize,
    /// Something was cut already.
    has_cut: bool,
    /// What moved the film on since the last cut, and where.
    advanced: Option<(Mnemonic, u64)>,
    /// The present instruction makes points of its own.
    from_curves: bool,
    curve_points: usize,
}

/// The polygon buffer: edges with the pen state they were defined with.
#[derive(Default, Clone)]
struct Polygon {
    /// Start of each sub-polygon and its edges.
    rings: Vec<(Point, Vec<(Point, bool)>)>,
    /// The next move begins a sub-polygon.
    fresh: bool,
    /// Points that it was given.
    count: usize,
}

impl Machine {
    fn new(settings: TraceSettings) -> Self {
        Self {
            settings,
            steps: Vec::new(),
            findings: Vec::new(),
            byte: 0,
            end: 0,
            at: Point::ORIGIN,
            down: false,
            touches: false,
            absolute: true,
            scale: Scale::new(settings.p1p2),
            window: None,
            chord_is_deviation: false,
            polygon: None,
            stored: Polygon::default(),
            unknown: 0,
            short: 0,
            far: 0,
            has_cut: false,
            advanced: None,
            from_curves: false,
            curve_points: 0,
        }
    }

    fn obey(&mut self, located: &Located) {
        (self.byte, self.end) = (located.byte, located.end);
        self.from_curves =
            matches!(&located.command, Command::Plain(m, _) if !LINES.contains(&&m.0));
        match &located.command {
            Command::Plain(mnemonic, numbers) => {
                self.steps.reserve(numbers.len() / 2 + 1);
                self.plain(*mnemonic, numbers);
                self.too_few(*mnemonic, numbers);
            }
            Command::Encoded(elements) => self.encoded(elements),
            Command::Text(mnemonic, _) => self.text(*mnemonic),
            Command::Escape(_) => {}
        }
    }

    fn step(&mut self, kind: StepKind) {
        self.steps.push(Step { kind, byte: self.byte, end: self.end });
    }

    fn plain(&mut self, mnemonic: Mnemonic, n: &[f64]) {
        match &mnemonic.0 {
            b"IN" => self.reset(true),
            b"DF" => self.reset(false),
            b"PA" => self.mode(true, n),
            b"PR" => self.mode(false, n),
            b"PU" => self.pen(false, n),
            b"PD" => self.pen(true, n),
            b"SP" => {
                if self.polygon.is_none() {
                    let tool = n.first().copied().unwrap_or(0.0).clamp(0.0, 65535.0);
                    self.step(StepKind::Tool(tool as u32));
                }
            }
            b"VS" => self.step(StepKind::Velocity(n.first().copied())),
            b"FS" => self.step(StepKind::Force(n.first().copied())),
            b"SC" => self.scale.set(n),
            b"IP" => self.scale.points(n, self.settings.p1p2),
            b"IR" => self.scale.points_percent(n, self.settings.p1p2, self.area()),
            b"IW" => self.window(n),
            b"RO" => {
                let area = self.area();
                self.scale.rotate(n.first().copied().unwrap_or(0.0), area);
            }
            b"CT" => self.chord_is_deviation = n.first() == Some(&1.0),
            b"CI" => self.circle(n),
            b"AA" => self.arc(n, true),
            b"AR" => self.arc(n, false),
            b"AT" => self.three_point_arc(n, true),
            b"RT" => self.three_point_arc(n, false),
            b"BZ" => self.bezier(n, true),
            b"BR" => self.bezier(n, false),
            b"EA" => self.rectangle(n, true),
            b"ER" => self.rectangle(n, false),
            b"EW" => self.wedge(n),
            b"PM" => self.polygon_mode(n.first().copied().unwrap_or(0.0) as i64),
            b"EP" => self.edge_polygon(),
            b"PG" | b"AF" | b"AH" | b"FR" => self.advance(mnemonic),
            // Without a number: solid lines, as they are from the start.
            b"LT" if n.is_empty() => {}
            _ => self.other(mnemonic),
        }
    }

    fn area(&self) -> Bounds {
        let known = self.settings.area.or(self.settings.hard_clip);
        known.unwrap_or(Bounds::of(&self.settings.p1p2))
    }

    /// Tells of coordinates that lack their partner and curves that lack numbers.
    fn too_few(&mut self, mnemonic: Mnemonic, n: &[f64]) {
        let text = match &mnemonic.0 {
            b"PA" | b"PR" | b"PU" | b"PD" if n.len() % 2 == 1 => {
                format!("The last number of {mnemonic} has no partner: a point takes two.")
            }
            b"AA" | b"AR" | b"EW" if n.len() < 3 => needs(mnemonic, 3, n),
            b"AT" | b"RT" if n.len() < 4 => needs(mnemonic, 4, n),
            b"CI" if n.is_empty() => needs(mnemonic, 1, n),
            b"EA" | b"ER" if n.len() < 2 => needs(mnemonic, 2, n),
            b"BZ" | b"BR" if n.is_empty() || !n.len().is_multiple_of(6) => {
                format!("{mnemonic} takes six numbers for each curve, not {}.", n.len())
            }
            b"SC" if !n.is_empty() && n.len() < 4 => needs(mnemonic, 4, n),
            _ => return,
        };
        self.short += 1;
        if self.short <= NAMED {
            let finding = Finding::warning("numbers-missing", text);
            self.findings.push(finding.at(Place::byte(self.byte)));
        }
    }

    fn text(&mut self, mnemonic: Mnemonic) {
        if matches!(&mnemonic.0, b"LB" | b"SM" | b"BL") {
            let what = "is drawn with the machine's own letters, which are not simulated";
            self.tell(UNSIMULATED, mnemonic, what);
        }
    }

    fn other(&mut self, mnemonic: Mnemonic) {
        // Set-up, labels, line types, output requests, pages: known, and no motion comes of them.
        const QUIET: &[&[u8; 2]] = &[
            b"AS", b"AP", b"VA", b"VN", b"IM", b"OA", b"OC", b"OE", b"OF", b"OH", b"OI", b"OO",
            b"OP", b"OS", b"OW", b"OD", b"OT", b"CS", b"CA", b"SS", b"SA", b"DI", b"DR", b"SI",
            b"SR", b"SL", b"DV", b"ES", b"LO", b"SD", b"AD", b"FN", b"PW", b"WU", b"NP", b"PC",
            b"CR", b"TL", b"PS", b"BP", b"MT", b"NR", b"ST", b"QL", b"EC", b"LA", b"TR", b"SV",
            b"AC", b"PP", b"VM", b"RF", b"SB", b"TD", b"LM", b"EN", b"GM", b"GC", b"CC", b"CM",
            b"DS", b"KY", b"WD", b"DC", b"DP", b"IV", b"FT", b"UL", b"RP", b"PB", b"MC",
        ];
        const FILLS: &[&[u8; 2]] = &[b"FP", b"RA", b"RR", b"WG"];
        const DRAWS: &[&[u8; 2]] = &[b"XT", b"YT", b"CP", b"UC", b"LT", b"DL"];
        if FILLS.contains(&&mnemonic.0) {
            self.tell(UNSIMULATED, mnemonic, "fills an area, which is not simulated");
        } else if DRAWS.contains(&&mnemonic.0) {
            self.tell("instruction-unknown", mnemonic, "is not simulated");
        } else if !QUIET.contains(&&mnemonic.0) {
            self.tell("instruction-unknown", mnemonic, "is not known and passed over");
        }
    }

    fn tell(&mut self, code: &'static str, mnemonic: Mnemonic, what: &str) {
        self.unknown += 1;
        if self.unknown <= NAMED {
            self.findings.push(
                Finding::warning(code, format!("The instruction {mnemonic} {what}."))
                    .at(Place::byte(self.byte)),
            );
        }
    }

    fn reset(&mut self, all: bool) {
        self.absolute = true;
        self.window = None;
        self.chord_is_deviation = false;
        self.polygon = None;
        self.scale.off();
        if all {
            self.set_pen(false);
            self.scale = Scale::new(self.settings.p1p2);
        }
    }

    fn set_pen(&mut self, down: bool) {
        self.down = down;
        if self.polygon.is_none() {
            let outside = self.clip().is_some_and(|window| !window.holds(Bounds::of(&[self.at])));
            self.touch(down && !outside);
        }
    }

    /// A roll moves on to its next page. (Small flat-beds pass over `AF` and `AH`: 7470A manual, p. C-7.)
    fn advance(&mut self, mnemonic: Mnemonic) {
        if self.has_cut {
            self.advanced = Some((mnemonic, self.byte));
        }
    }

    fn cuts_on(&mut self) {
        self.has_cut = true;
        let Some((mnemonic, byte)) = self.advanced.take() else { return };
        if self.findings.iter().any(|finding| finding.code == "film-advanced") {
            return;
        }
        let text = format!(
            "{mnemonic} moves the film on where it lies on a roll, and cuts follow: they are shown and \
             compared as if it had stayed."
        );
        let hint = "Part the job there, and check and send each part for itself.";
        let finding = Finding::warning("film-advanced", text).at(Place::byte(byte));
        self.findings.push(finding.hint(hint));
    }

    /// Raises or lowers the tool if it is not there already.
    fn touch(&mut self, down: bool) {
        if self.touches != down {
            if down {
                self.cuts_on();
            }
            self.step(if down { StepKind::Lower } else { StepKind::Raise });
            self.touches = down;
        }
    }

    fn mode(&mut self, absolute: bool, n: &[f64]) {
        self.absolute = absolute;
        self.through(n);
    }

    fn pen(&mut self, down: bool, n: &[f64]) {
        self.set_pen(down);
        self.through(n);
    }

    /// Moves through pairs of numbers; an odd last one is passed over.
    fn through(&mut self, n: &[f64]) {
        for pair in n.chunks_exact(2) {
            let target = self.target(pair[0], pair[1], self.absolute);
            self.go(target);
        }
    }

    /// A position or step in current units, in plotter units.
    fn target(&self, x: f64, y: f64, absolute: bool) -> Point {
        if absolute {
            self.scale.position(Point::new(x, y))
        } else {
            self.at + self.scale.step(Point::new(x, y))
        }
    }

    fn go(&mut self, to: Point) {
        if !(to.x.abs() <= FURTHEST && to.y.abs() <= FURTHEST) {
            self.too_far();
            return;
        }
        if self.too_many() {
            return;
        }
        let from = std::mem::replace(&mut self.at, to);
        let down = self.down;
        if let Some(polygon) = &mut self.polygon {
            let told = polygon.count == MOST_POLYGON_POINTS;
            polygon.add(from, to, down);
            if told {
                self.polygon_too_long();
            }
            return;
        }
        match self.clip() {
            None => {
                self.touch(down);
                self.step(StepKind::Move(to));
            }
            Some(window) => self.go_clipped(from, to, window),
        }
    }

    fn too_far(&mut self) {
        self.far += 1;
        if self.far == 1 {
            let text = "A position lies beyond what any machine of this language counts to \
                        (2^30 units); it and others like it are passed over.";
            self.findings.push(
                Finding::error("beyond-language", text.to_owned()).at(Place::byte(self.byte)),
            );
        }
    }

    fn polygon_too_long(&mut self) {
        if self.findings.iter().any(|finding| finding.code == "polygon-too-long") {
            return;
        }
        let text = format!(
            "A polygon has more than {MOST_POLYGON_POINTS} points; those from here on are left out."
        );
        let finding = Finding::error("polygon-too-long", text).at(Place::byte(self.byte));
        self.findings.push(finding.hint("A machine's polygon buffer holds far fewer."));
    }

    /// Whether curves have already made more points than any job has.
    fn too_many(&mut self) -> bool {
        if !self.from_curves || self.curve_points > MOST_CURVE_POINTS {
            return self.from_curves;
        }
        self.curve_points += 1;
        if self.curve_points > MOST_CURVE_POINTS {
            let text = format!(
                "Curves and polygons make more than {MOST_CURVE_POINTS} points; those from here on \
                 are left out."
            );
            let finding = Finding::error("too-many-points", text);
            self.findings.push(finding.at(Place::byte(self.byte)));
        }
        false
    }

    /// The window and the hard-clip area together.
    fn clip(&self) -> Option<Bounds> {
        match (self.window, self.settings.hard_clip) {
            (Some(a), Some(b)) => Some(Bounds {
                min: Point::new(a.min.x.max(b.min.x), a.min.y.max(b.min.y)),
                max: Point::new(a.max.x.min(b.max.x), a.max.y.min(b.max.y)),
            }),
            (a, b) => a.or(b),
        }
    }

    /// Draws only the part inside `window`: 7470A manual, p. 3-6.
    fn go_clipped(&mut self, from: Point, to: Point, window: Bounds) {
        let Some((enter, leave)) = curves::inside(from, to, window) else {
            self.touch(false);
            return;
        };
        if enter > 0.0 {
            self.touch(false);
            self.step(StepKind::Move(from.lerp(to, enter)));
        }
        self.touch(self.down);
        self.step(StepKind::Move(if leave >= 1.0 { to } else { from.lerp(to, leave) }));
        if leave < 1.0 {
            self.touch(false);
        }
    }

    /// `IW`, in current units as the later machines take it (the 7470A: plotter units always).
    fn window(&mut self, n: &[f64]) {
        self.window = match *n {
            // Corners the wrong way round leave nothing to draw: 7470A manual, p. 2-9.
            [x0, y0, x1, y1, ..] if x0 > x1 || y0 > y1 => Some(Bounds::EMPTY),
            [x0, y0, x1, y1, ..] => {
                let corners = [Point::new(x0, y0), Point::new(x1, y1)];
                Some(Bounds::of(&corners.map(|p| self.scale.position(p))))
            }
            _ => None,
        };
    }

    /// The angle of one chord, degrees.
    fn chord(&self, number: Option<&f64>, radius_units: f64) -> f64 {
        let Some(&number) = number else { return CHORD_DEG };
        if self.chord_is_deviation {
            let share = (1.0 - number.abs() / radius_units.max(1e-9)).clamp(-1.0, 1.0);
            return (2.0 * share.acos()).to_degrees().clamp(0.1, 180.0);
        }
        let angle = number.abs() % 360.0;
        let angle = if angle > 180.0 { 360.0 - angle } else { angle };
        angle.max(0.5)
    }

    fn circle(&mut self, n: &[f64]) {
        let Some(&radius) = n.first() else { return };
        let center_user = self.scale.user(self.at);
        let (center, was_down) = (self.at, self.down);
        let chord = self.chord(n.get(1), radius.abs());
        let start = center_user + Point::new(radius, 0.0);
        self.set_pen(false);
        self.go(self.scale.position(start));
        self.set_pen(true);
        self.sweep(center_user, start, 360.0, chord);
        self.set_pen(false);
        self.go(center);
        self.set_pen(was_down);
    }

    /// Chords of an arc about `center` from `start` (user units), by `sweep` degrees.
    fn sweep(&mut self, center: Point, start: Point, sweep: f64, chord: f64) {
        for p in curves::arc_points(center, start, sweep, chord) {
            self.go(self.scale.position(p));
        }
    }

    fn arc(&mut self, n: &[f64], absolute: bool) {
        let [x, y, sweep, ..] = *n else { return };
        let here = self.scale.user(self.at);
        let center = if absolute { Point::new(x, y) } else { here + Point::new(x, y) };
        let chord = self.chord(n.get(3), here.distance(center));
        self.sweep(center, here, sweep, chord);
    }

    fn three_point_arc(&mut self, n: &[f64], absolute: bool) {
        let [xi, yi, xe, ye, ..] = *n else { return };
        let here = self.scale.user(self.at);
        let base = if absolute { Point::ORIGIN } else { here };
        let (middle, end) = (base + Point::new(xi, yi), base + Point::new(xe, ye));
        match curves::three_points(here, middle, end) {
            curves::Through::Arc { center, sweep } => {
                let chord = self.chord(n.get(4), here.distance(center));
                self.sweep(center, here, sweep, chord);
                self.go(self.scale.position(end));
            }
            curves::Through::Line(points) => {
                for p in points {
                    self.go(self.scale.position(p));
                }
            }
        }
    }

    fn bezier(&mut self, n: &[f64], absolute: bool) {
        for six in n.chunks_exact(6) {
            let start = self.at;
            let control = |i: usize| {
                let number = Point::new(six[i], six[i + 1]);
                if absolute { self.scale.position(number) } else { start + self.scale.step(number) }
            };
            let (a, b, end) = (control(0), control(2), control(4));
            for p in curves::bezier_points(start, a, b, end) {
                self.go(p);
            }
        }
    }

    fn rectangle(&mut self, n: &[f64], absolute: bool) {
        let [x, y, ..] = *n else { return };
        let (from, to) = (self.at, self.target(x, y, absolute));
        let was_down = self.down;
        self.set_pen(true);
        for p in [Point::new(to.x, from.y), to, Point::new(from.x, to.y), from] {
            self.go(p);
        }
        self.set_pen(was_down);
    }

    fn wedge(&mut self, n: &[f64]) {
        let [radius, start, sweep, ..] = *n else { return };
        let (center, was_down) = (self.at, self.down);
        let center_user = self.scale.user(center);
        let start = if radius < 0.0 { start + 180.0 } else { start };
        let rim = center_user + Point::along(start.to_radians()) * radius.abs();
        let chord = self.chord(n.get(3), radius.abs());
        self.set_pen(true);
        self.go(self.scale.position(rim));
        self.sweep(center_user, rim, sweep.clamp(-360.0, 360.0), chord);
        self.go(center);
        self.set_pen(was_down);
    }

    fn polygon_mode(&mut self, number: i64) {
        match number {
            0 => {
                let rings = vec![(self.at, Vec::new())];
                self.polygon = Some(Polygon { rings, ..Polygon::default() });
            }
            1 => {
                if let Some(polygon) = &mut self.polygon {
                    polygon.close();
                    polygon.fresh = true;
                }
            }
            _ => {
                if let Some(mut polygon) = self.polygon.take() {
                    polygon.close();
                    self.stored = polygon;
                    self.set_pen(self.down);
                }
            }
        }
    }

    /// Draws the edges of the stored polygon that were defined pen-down.
    fn edge_polygon(&mut self) {
        if self.polygon.is_some() || self.curve_points > MOST_CURVE_POINTS {
            return;
        }
        let (back, was_down) = (self.at, self.down);
        let stored = self.stored.clone();
        for (start, edges) in &stored.rings {
            self.set_pen(false);
            self.go(*start);
            for (to, drawn) in edges {
                self.set_pen(*drawn);
                self.go(*to);
            }
        }
        self.set_pen(false);
        self.go(back);
        self.set_pen(was_down);
    }

    fn encoded(&mut self, elements: &[Encoded]) {
        for element in elements {
            match *element {
                Encoded::Tool(tool) => {
                    if self.polygon.is_none() {
                        self.step(StepKind::Tool(tool.clamp(0, 65535) as u32));
                    }
                }
                Encoded::Pair { x, y, up, absolute } => {
                    self.set_pen(!up);
                    let target = self.target(x, y, absolute);
                    self.go(target);
                }
            }
        }
    }
}

fn needs(mnemonic: Mnemonic, count: usize, n: &[f64]) -> String {
    let numbers = counted(count, "one number", "numbers");
    format!("{mnemonic} takes at least {numbers}, not {}; it is passed over.", n.len())
}

impl Polygon {
    fn add(&mut self, from: Point, to: Point, down: bool) {
        self.count += 1;
        if self.count > MOST_POLYGON_POINTS {
            return;
        }
        if self.fresh {
            self.rings.push((to, Vec::new()));
            self.fresh = false;
        } else {
            match self.rings.last_mut() {
                Some((_, edges)) => edges.push((to, down)),
                None => self.rings.push((from, vec![(to, down)])),
            }
        }
    }

    /// Back to the start of the sub-polygon, if its last edge did not end there.
    fn close(&mut self) {
        if let Some((start, edges)) = self.rings.last_mut()
            && let Some((end, down)) = edges.last().copied()
            && end.distance(*start) > 1e-6
        {
            edges.push((*start, down));
        }
    }
}
