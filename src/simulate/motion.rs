//! How long a move takes: trapezoids of velocity with slow corners.
//!
//! A chain of straight moves begins and ends at rest. Each move speeds up, keeps its top speed if
//! it is long enough, and slows down, at one acceleration. At a corner the velocity may jump by at
//! most the machine's figure, which bounds the speed there; a backward and a forward pass make
//! every move reach its corners in time.
//!
//! Formulae: uniformly accelerated motion; checked against quadrature of ∫dx/v in the tests.

use crate::geometry::Point;
use crate::profile::Motion;

/// Moves of a chain that are held at once. At the end of what is held the machine is taken to stand,
/// which slows only the moves within its way to stop: 40 mm at 400 mm/s and 2 m/s². Half of them pass
/// when there are so many; lists of moves so short that this half is less than that way are unknown.
const MOST_MOVES: usize = 1 << 15;

/// A chain of moves that begins and ends at rest, timed as it comes.
pub(super) struct Chain {
    moves: Vec<Straight>,
    /// Speed at the beginning of the first, mm/s.
    enter: f64,
    /// Time of the moves that have passed, s.
    passed_s: f64,
    /// Room for the speeds at all corners.
    speeds: Vec<f64>,
}

/// A straight move.
#[derive(Clone, Copy)]
struct Straight {
    /// Unit vector; zero for a move of length 0.
    along: Point,
    length: f64,
    /// Top speed, mm/s.
    top: f64,
}

impl Chain {
    /// One without moves.
    pub fn new() -> Self {
        Self { moves: Vec::new(), enter: 0.0, passed_s: 0.0, speeds: Vec::new() }
    }

    /// A move by `way`, which is `length` long, at most as fast as `top`, mm/s.
    pub fn push(&mut self, (way, length): (Point, f64), top: f64, motion: &Motion) {
        let along = if length > 0.0 { way * (1.0 / length) } else { Point::ORIGIN };
        self.moves.push(Straight { along, length, top });
        if self.moves.len() >= MOST_MOVES {
            self.pass(MOST_MOVES / 2, motion);
        }
    }

    /// Time for the whole chain, s; another one begins.
    pub fn end(&mut self, motion: &Motion) -> f64 {
        self.pass(self.moves.len(), motion);
        self.enter = 0.0;
        std::mem::take(&mut self.passed_s)
    }

    /// Lets the first `count` moves pass.
    fn pass(&mut self, count: usize, motion: &Motion) {
        self.set_speeds(motion);
        let moves = self.moves.iter().zip(self.speeds.windows(2)).take(count);
        let time = moves.map(|(straight, v)| {
            Move { length: straight.length, enter: v[0], leave: v[1] }.time_s(straight.top, motion)
        });
        self.passed_s += time.sum::<f64>();
        self.enter = self.speeds.get(count).copied().unwrap_or(0.0);
        self.moves.drain(..count);
    }

    /// Speed at each vertex: as fast as it is entered at the first, at rest at the last.
    fn set_speeds(&mut self, motion: &Motion) {
        let Self { moves, speeds, .. } = self;
        speeds.clear();
        speeds.push(self.enter);
        speeds.extend(moves.windows(2).map(|w| corner_speed(&w[0], &w[1], motion)));
        speeds.extend((!moves.is_empty()).then_some(0.0));
        let slower = |speed: f64, v: f64, length: f64| {
            let reached = v * v + 2.0 * motion.acceleration_mm_s2 * length;
            if speed * speed <= reached { speed } else { reached.sqrt() }
        };
        for i in (0..moves.len()).rev() {
            speeds[i] = slower(speeds[i], speeds[i + 1], moves[i].length);
        }
        for i in 0..moves.len() {
            speeds[i + 1] = slower(speeds[i + 1], speeds[i], moves[i].length);
        }
    }
}

/// The speed between two moves: from one direction to the other the velocity jumps by the machine's
/// figure at most.
fn corner_speed(a: &Straight, b: &Straight, motion: &Motion) -> f64 {
    let top = a.top.min(b.top);
    let jump = if a.length > 0.0 && b.length > 0.0 { (b.along - a.along).length() } else { 0.0 };
    if top * jump <= motion.corner_jump_mm_s { top } else { motion.corner_jump_mm_s / jump }
}

/// One straight move between two speeds.
struct Move {
    length: f64,
    enter: f64,
    leave: f64,
}

impl Move {
    fn time_s(&self, top: f64, motion: &Motion) -> f64 {
        let a = motion.acceleration_mm_s2;
        let (v0, v1, length) = (self.enter, self.leave, self.length);
        let speeding = (top * top - v0 * v0) / (2.0 * a);
        let slowing = (top * top - v1 * v1) / (2.0 * a);
        if speeding + slowing <= length {
            (top - v0) / a + (top - v1) / a + (length - speeding - slowing) / top
        } else {
            let peak = (a * length + (v0 * v0 + v1 * v1) / 2.0).sqrt();
            (2.0 * peak - v0 - v1) / a
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn motion(corner_jump_mm_s: f64) -> Motion {
        Motion {
            cut_mm_s: 300.0,
            travel_mm_s: 300.0,
            acceleration_mm_s2: 3000.0,
            corner_jump_mm_s,
            lift_s: 0.0,
            lower_s: 0.0,
        }
    }

    /// ∫dx/v by quadrature of the speed profile: nothing of the closed form is used.
    fn by_quadrature(m: &Move, top: f64, a: f64) -> f64 {
        // x = length·(1 − cos u)/2 takes the poles of 1/v at both ends away.
        let steps = 100_000;
        let h = std::f64::consts::PI / f64::from(steps);
        (0..steps)
            .map(|i| {
                let u = (f64::from(i) + 0.5) * h;
                let x = m.length * (1.0 - u.cos()) / 2.0;
                let up = (m.enter * m.enter + 2.0 * a * x).sqrt();
                let down = (m.leave * m.leave + 2.0 * a * (m.length - x)).sqrt();
                m.length * u.sin() / 2.0 * h / up.min(down).min(top)
            })
            .sum()
    }

    #[test]
    fn one_move_takes_its_integral() {
        for (length, enter, leave) in [
            (100.0, 0.0, 0.0),
            (10.0, 0.0, 0.0),
            (30.0, 0.0, 0.0),
            (5.0, 50.0, 20.0),
            (100.0, 50.0, 0.0),
        ] {
            let m = Move { length, enter, leave };
            let (ours, integral) =
                (m.time_s(300.0, &motion(0.0)), by_quadrature(&m, 300.0, 3000.0));
            assert!((ours - integral).abs() < 1e-6 * integral, "{length}: {ours} {integral}");
        }
    }

    /// The motion times among the records that were computed with 40 digits, outside this program.
    #[test]
    fn one_move_takes_as_long_as_was_computed_elsewhere() {
        let text = include_str!("../../tests/data/knife-check-vectors.json");
        let all: serde_json::Value = serde_json::from_str(text).unwrap();
        let records = all["time"].as_array().unwrap();
        assert_eq!(records.len(), 4);
        for record in records {
            let number = |key: &str| record[key].as_f64().unwrap();
            let m = Move { length: number("L"), enter: number("v0"), leave: number("v1") };
            assert_eq!(number("a"), motion(0.0).acceleration_mm_s2);
            let time = m.time_s(number("V"), &motion(0.0));
            assert!((time - number("T")).abs() < 1e-12, "{time} instead of {record}");
        }
    }

    #[test]
    fn corners_slow_a_square_down() {
        let square = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0), (0.0, 0.0)]
            .map(|(x, y)| Point::new(x, y));
        for (jump, seconds) in [(0.0, 1.733333), (20.0, 1.705716), (50.0, 1.666789)] {
            let motion = motion(jump);
            let mut chain = Chain::new();
            for w in square.windows(2) {
                chain.push((w[1] - w[0], w[0].distance(w[1])), 300.0, &motion);
            }
            let time = chain.end(&motion);
            assert!((time - seconds).abs() < 1e-6, "{jump}: {time}");
        }
    }

    /// A chain that is far longer than what is held takes what it takes as a whole.
    #[test]
    fn a_long_chain_is_timed_as_it_comes() {
        let motion = motion(20.0);
        let circle = |i: usize| Point::along(i as f64 * 1e-3) * 50.0;
        let top = |i: usize| 100.0 + 50.0 * (i % 7) as f64;
        let count = 5 * MOST_MOVES + 77;
        let points: Vec<Point> = (0..=count).map(circle).collect();
        let tops: Vec<f64> = (1..=count).map(top).collect();
        let (mut chain, mut whole) = (Chain::new(), Chain::new());
        for (w, &top) in points.windows(2).zip(&tops) {
            let (way, length) = (w[1] - w[0], w[0].distance(w[1]));
            whole.moves.push(Straight { along: way * (1.0 / length), length, top });
            chain.push((way, length), top, &motion);
        }
        assert!(chain.moves.len() <= MOST_MOVES);
        let (ours, as_whole) = (chain.end(&motion), whole.end(&motion));
        assert!((ours - as_whole).abs() < 1e-6 * as_whole, "{ours} {as_whole}");
    }
}
