//! User units ↔ plotter units: `IP`, `IR`, `SC`, `RO`.
//!
//! Source: 7470A manual, pp. 2-4 to 2-9 and C-2; PCL 5 Technical Reference II, pp. 19-24 and 19-34
//! to 19-41. A turned coordinate system also shifts, so that 0,0 stays a corner of the hard-clip
//! area.

use crate::geometry::{Bounds, Point};

/// The present map from user units to plotter units.
#[derive(Debug, Clone)]
pub(super) struct Scale {
    p1: Point,
    p2: Point,
    numbers: Option<Vec<f64>>,
    /// Plotter units per user unit and where user 0,0 lies, before any turn.
    factor: Point,
    shift: Point,
    /// Quarter turns and the size of the hard-clip area.
    turn: (u8, Point),
}

impl Scale {
    pub fn new([p1, p2]: [Point; 2]) -> Self {
        Self {
            p1,
            p2,
            numbers: None,
            factor: Point::new(1.0, 1.0),
            shift: Point::ORIGIN,
            turn: (0, Point::ORIGIN),
        }
    }

    pub fn off(&mut self) {
        self.numbers = None;
        self.refresh();
    }

    /// `SC`.
    pub fn set(&mut self, n: &[f64]) {
        self.numbers = (n.len() >= 4).then(|| n.to_vec());
        self.refresh();
    }

    /// `IP`: with P1 alone P2 keeps its distance.
    pub fn points(&mut self, n: &[f64], default: [Point; 2]) {
        match *n {
            [x1, y1, x2, y2, ..] => (self.p1, self.p2) = (Point::new(x1, y1), Point::new(x2, y2)),
            [x1, y1, ..] => {
                let size = self.p2 - self.p1;
                self.p1 = Point::new(x1, y1);
                self.p2 = self.p1 + size;
            }
            _ => [self.p1, self.p2] = default,
        }
        self.refresh();
    }

    /// `IR`: the same in percent of the hard-clip area.
    pub fn points_percent(&mut self, n: &[f64], default: [Point; 2], area: Bounds) {
        let at = |pair: &[f64]| {
            [
                area.min.x + area.width() * pair[0] / 100.0,
                area.min.y + area.height() * pair[1] / 100.0,
            ]
        };
        let numbers: Vec<f64> = n.chunks_exact(2).take(2).flat_map(at).collect();
        self.points(&numbers, default);
    }

    /// `RO`.
    pub fn rotate(&mut self, degrees: f64, area: Bounds) {
        let quarters = (degrees / 90.0).round().rem_euclid(4.0) as u8;
        self.turn = (quarters, area.max);
    }

    fn refresh(&mut self) {
        (self.factor, self.shift) = (Point::new(1.0, 1.0), Point::ORIGIN);
        let Some(n) = self.numbers.as_deref() else { return };
        let size = self.p2 - self.p1;
        let kind = n.get(4).copied().unwrap_or(0.0);
        if kind == 2.0 {
            self.factor = Point::new(n[1], n[3]);
            self.shift = Point::new(self.p1.x - n[0] * n[1], self.p1.y - n[2] * n[3]);
            return;
        }
        let (user_width, user_height) = (n[1] - n[0], n[3] - n[2]);
        if user_width == 0.0 || user_height == 0.0 {
            return;
        }
        let mut factor = Point::new(size.x / user_width, size.y / user_height);
        let mut corner = self.p1;
        if kind == 1.0 {
            let least = factor.x.abs().min(factor.y.abs());
            let percent = |i: usize| n.get(i).copied().unwrap_or(50.0) / 100.0;
            factor = Point::new(least * factor.x.signum(), least * factor.y.signum());
            corner = Point::new(
                self.p1.x + (size.x - user_width * factor.x) * percent(5),
                self.p1.y + (size.y - user_height * factor.y) * percent(6),
            );
        }
        self.factor = factor;
        self.shift = Point::new(corner.x - n[0] * factor.x, corner.y - n[2] * factor.y);
    }

    /// A user position in plotter units.
    pub fn position(&self, user: Point) -> Point {
        let p = Point::new(
            user.x * self.factor.x + self.shift.x,
            user.y * self.factor.y + self.shift.y,
        );
        let (quarters, size) = self.turn;
        match quarters {
            1 => Point::new(size.x - p.y, p.x),
            2 => Point::new(size.x - p.x, size.y - p.y),
            3 => Point::new(p.y, size.y - p.x),
            _ => p,
        }
    }

    /// A user step in plotter units.
    pub fn step(&self, user: Point) -> Point {
        self.position(user) - self.position(Point::ORIGIN)
    }

    /// A plotter position in user units.
    pub fn user(&self, plotter: Point) -> Point {
        let (quarters, size) = self.turn;
        let p = match quarters {
            1 => Point::new(plotter.y, size.x - plotter.x),
            2 => Point::new(size.x - plotter.x, size.y - plotter.y),
            3 => Point::new(size.y - plotter.y, plotter.x),
            _ => plotter,
        };
        Point::new((p.x - self.shift.x) / self.factor.x, (p.y - self.shift.y) / self.factor.y)
    }
}
