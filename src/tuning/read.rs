//! What was seen on a sheet → the blade's offset, its uncertainty, the play, the next sheet.
//!
//! All readings are fitted together: the offset d and the play of both axes that explain them best
//! by weighted least squares (Gauss–Newton; C. F. Gauss 1809), each hole's diameter foretold by
//! simulating the very polygon that was cut ([`super::model`]). The stated uncertainty is the 95 %
//! range of that fit. Without a vernier the play is only guessed, and the range grows by what it may
//! do. Eyelets and ladders show the offset that closes best on this machine, half of its play
//! included, which is taken off again where a vernier told the play; half the step is their
//! resolution (uniform: step/√12).

use super::Pattern;
use super::model::{Cutter, hole};
use crate::geometry::Point;

/// Play of a machine nobody measured, mm, and how sure that is. Our own guess from the tuning
/// trials (0 to 0.1 mm), no source.
const PLAY_GUESS: (f64, f64) = (0.05, 0.03);
/// More play than this is a machine to be mended, not tuned, mm.
const MOST_PLAY_MM: f64 = 0.2;
/// What the model of a hole may be off by, mm: grid phase and the edge that one measures at.
const MODEL_DOUBT_MM: f64 = 0.006;
/// A diameter is the mean of two measurements: its noise is that of one over √2.
const MEAN_OF_TWO: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// Standard deviations in a stated uncertainty: 95 %.
const STATED: f64 = 1.96;
/// Widest bracket of offsets, mm; real trailing blades lie between 0.1 and 1.
const OFFSETS: (f64, f64) = (0.03, 2.0);
/// Step of numeric derivatives, mm.
const NUDGE_MM: f64 = 0.004;
/// Shares of the first guess from which the fit starts; the best end counts.
const STARTS: [f64; 3] = [0.85, 1.0, 1.1];
/// Steps of the fit at most; it ends when no step makes it better.
const ROUNDS: usize = 20;

/// What was seen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings {
    /// Circles: axis radius and mean of width and height of the hole, mm.
    pub holes: Vec<(f64, f64)>,
    /// Circles: largest axis radius that left no hole, smallest that did, mm.
    pub opened: Option<(f64, f64)>,
    /// Vernier along x: value of the pair that lines up, and step of the row, mm.
    pub tick_x: Option<(f64, f64)>,
    /// Vernier along y, likewise.
    pub tick_y: Option<(f64, f64)>,
    /// Eyelets and ladders: offset set for those that close best, and step of the row, mm.
    pub closed: Vec<(f64, f64)>,
    /// What a single measurement may be off by, mm: 0.02 with a measuring loupe.
    pub noise_mm: f64,
    /// Size of a plotter unit, mm.
    pub unit_mm: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The blade's offset, mm.
    pub offset_mm: f64,
    /// It is off by no more than this in 95 of 100 cases, mm.
    pub uncertainty_mm: f64,
    /// Play along x and y with uncertainty, mm; only what a vernier told.
    pub play_x_mm: Option<(f64, f64)>,
    /// See `play_x_mm`.
    pub play_y_mm: Option<(f64, f64)>,
    /// The sheet to cut next, if another is worth it.
    pub next: Option<Pattern>,
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// Nothing that tells an offset.
    #[error(
        "nothing was read that tells the offset; give the diameters of some holes, the first circle \
         that opened, or the number of the eyelet or square that closes"
    )]
    Nothing,
    /// A hole that no blade leaves.
    #[error(
        "a hole of {diameter_mm} mm cannot come from a circle of {radius_mm} mm axis radius; measure \
         it again or check its number"
    )]
    Impossible {
        /// The axis radius, mm.
        radius_mm: f64,
        /// What was measured, mm.
        diameter_mm: f64,
    },
}

/// Fits the offset, and the play where it was seen.
///
/// # Errors
/// [`ReadError`] when the readings tell no offset or contradict the pattern.
pub fn read(readings: &Readings) -> Result<Estimate, ReadError> {
    for &(radius_mm, diameter_mm) in &readings.holes {
        let most = 2.0 * radius_mm + 3.0 * readings.noise_mm;
        if !(diameter_mm > 0.0 && diameter_mm < most) {
            return Err(ReadError::Impossible { radius_mm, diameter_mm });
        }
    }
    let readings = &Readings { holes: clear(&readings.holes), ..readings.clone() };
    let start = first_guess(readings).ok_or(ReadError::Nothing)?;
    let fits = STARTS.map(|share| fit(readings, [start * share, PLAY_GUESS.0, PLAY_GUESS.0]));
    let best = fits.into_iter().min_by(|a, b| a.misfit.total_cmp(&b.misfit));
    let Fit { state, spread, .. } = best.ok_or(ReadError::Nothing)?;
    let sigma = |i: usize| spread[i][i].max(0.0).sqrt();
    let play = |i: usize, seen: bool| seen.then(|| (state[i], STATED * sigma(i)));
    Ok(Estimate {
        offset_mm: state[0],
        uncertainty_mm: STATED * sigma(0),
        play_x_mm: play(1, readings.tick_x.is_some()),
        play_y_mm: play(2, readings.tick_y.is_some()),
        next: next(readings),
    })
}

/// The holes that are wide enough to tell: close to vanishing, play decides instead of the offset.
fn clear(holes: &[(f64, f64)]) -> Vec<(f64, f64)> {
    holes.iter().copied().filter(|&(radius, diameter)| diameter >= radius).collect()
}

fn first_guess(readings: &Readings) -> Option<f64> {
    let closed = readings.closed.first().map(|c| c.0);
    let opened = readings.opened.map(|(shut, open)| (shut + open) / 2.0);
    let mut told: Vec<f64> = readings
        .holes
        .iter()
        .map(|&(radius, diameter)| (radius * radius - diameter * diameter / 4.0).max(0.0).sqrt())
        .collect();
    told.sort_by(f64::total_cmp);
    let middle = told.get(told.len() / 2).copied();
    let least = readings.holes.iter().map(|h| h.0).fold(f64::INFINITY, f64::min);
    let guess = middle.or(opened).or(closed)?;
    Some(guess.min(0.95 * least).clamp(OFFSETS.0, OFFSETS.1))
}

/// Where the fit ended.
struct Fit {
    /// Offset, play along x, play along y.
    state: [f64; 3],
    /// Their covariance.
    spread: [[f64; 3]; 3],
    /// Weighted sum of squares.
    misfit: f64,
}

fn fit(readings: &Readings, start: [f64; 3]) -> Fit {
    let mut best = Fit { state: start, spread: [[0.0; 3]; 3], misfit: misfit(readings, start) };
    for _ in 0..ROUNDS {
        let (step, spread) = improve(readings, best.state);
        best.spread = spread;
        // A step that makes it worse is too long: the diameters of small holes bend sharply.
        let shorter = [1.0, 0.5, 0.25, 0.125, 0.0625];
        let tried = shorter.map(|share| moved(best.state, step.map(|v| v * share)));
        let Some((state, misfit)) = tried
            .into_iter()
            .map(|state| (state, misfit(readings, state)))
            .find(|(_, misfit)| *misfit < best.misfit - 1e-9)
        else {
            break;
        };
        (best.state, best.misfit) = (state, misfit);
    }
    best
}

fn moved(state: [f64; 3], step: [f64; 3]) -> [f64; 3] {
    let longest = 0.2 * state[0];
    let offset = state[0] + step[0].clamp(-longest, longest);
    // Lost motion is never negative; the slopes need room on either side.
    let play = |i: usize| (state[i] + step[i]).clamp(NUDGE_MM, MOST_PLAY_MM);
    [offset.clamp(OFFSETS.0, OFFSETS.1), play(1), play(2)]
}

fn misfit(readings: &Readings, state: [f64; 3]) -> f64 {
    residuals(readings, state).iter().map(|r| (r.0 / r.1).powi(2)).sum()
}

/// One reading set against what the state foretells: difference and its weight's root.
type Residual = (f64, f64);

fn residuals(readings: &Readings, state: [f64; 3]) -> Vec<Residual> {
    let [offset_mm, play_x, play_y] = state;
    let cutter = Cutter { offset_mm, play_mm: Point::new(play_x, play_y) };
    let noise = readings.noise_mm;
    let uniform = |width: f64| width / 12.0_f64.sqrt();
    let mut all =
        vec![(PLAY_GUESS.0 - play_x, PLAY_GUESS.1), (PLAY_GUESS.0 - play_y, PLAY_GUESS.1)];
    all.extend(readings.holes.iter().map(|&(radius, diameter)| {
        (
            diameter - hole(&cutter, radius, readings.unit_mm),
            (noise * MEAN_OF_TWO).hypot(MODEL_DOUBT_MM),
        )
    }));
    for (tick, play) in [(readings.tick_x, play_x), (readings.tick_y, play_y)] {
        all.extend(
            tick.map(|(value, step)| (value - 2.0 * offset_mm - play, uniform(step).hypot(noise))),
        );
    }
    all.extend(readings.closed.iter().map(|&(value, step)| {
        let reading = uniform(step).hypot(noise / 2.0);
        match seen_play(readings, [play_x, play_y]) {
            Some(play) => (value - offset_mm - CLOSING_PLAY * play, reading),
            // Nobody measured the play: what closes best counts as it stands, less sure.
            None => (value - offset_mm, reading.hypot(CLOSING_PLAY * PLAY_GUESS.0)),
        }
    }));
    all.extend(readings.opened.filter(|_| readings.holes.is_empty()).map(|(shut, open)| {
        ((shut + open) / 2.0 - offset_mm, uniform(open - shut).hypot(noise / 2.0))
    }));
    all
}

/// How much of the play an eyelet or a square takes for offset: a swing turns both axes round, each
/// turn loses the play once, so the tool turns on a radius that is half the play shorter (own
/// derivation; `tests/tuning.rs` holds it against a simulated cutter).
const CLOSING_PLAY: f64 = 0.5;

/// The mean play of those axes that a vernier told of.
fn seen_play(readings: &Readings, [x, y]: [f64; 2]) -> Option<f64> {
    match (readings.tick_x.is_some(), readings.tick_y.is_some()) {
        (true, true) => Some((x + y) / 2.0),
        (true, false) => Some(x),
        (false, true) => Some(y),
        (false, false) => None,
    }
}

/// One Gauss–Newton step and the covariance.
fn improve(readings: &Readings, state: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
    let here = residuals(readings, state);
    let slopes: Vec<Vec<f64>> = (0..3)
        .map(|i| {
            let (mut up, mut down) = (state, state);
            up[i] += NUDGE_MM;
            down[i] -= NUDGE_MM;
            let (up, down) = (residuals(readings, up), residuals(readings, down));
            up.iter().zip(&down).map(|(u, d)| (d.0 - u.0) / (2.0 * NUDGE_MM)).collect()
        })
        .collect();
    let weighted = |a: &dyn Fn(usize) -> f64, b: &dyn Fn(usize) -> f64| -> f64 {
        here.iter().enumerate().map(|(k, r)| a(k) * b(k) / (r.1 * r.1)).sum()
    };
    let mut normal = [[0.0; 3]; 3];
    let mut pull = [0.0; 3];
    for i in 0..3 {
        for j in 0..3 {
            normal[i][j] = weighted(&|k| slopes[i][k], &|k| slopes[j][k]);
        }
        pull[i] = weighted(&|k| slopes[i][k], &|k| here[k].0);
    }
    let inverse = inverted(normal);
    let step = inverse.map(|row| row.iter().zip(&pull).map(|(a, b)| a * b).sum());
    (step, inverse)
}

/// Inverse of a symmetric 3 by 3 matrix by cofactors; zeros when there is none.
fn inverted(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let minor = |i: usize, j: usize| {
        let (a, b) = ((i + 1) % 3, (i + 2) % 3);
        let (c, d) = ((j + 1) % 3, (j + 2) % 3);
        m[a][c] * m[b][d] - m[a][d] * m[b][c]
    };
    let det: f64 = (0..3).map(|j| m[0][j] * minor(0, j)).sum();
    let share = if det.abs() > 1e-300 { 1.0 / det } else { 0.0 };
    std::array::from_fn(|i| std::array::from_fn(|j| minor(j, i) * share))
}

fn next(readings: &Readings) -> Option<Pattern> {
    let vernier = readings.tick_x.is_some() || readings.tick_y.is_some();
    match (readings.holes.is_empty(), vernier, readings.closed.is_empty()) {
        (true, _, true) => Some(Pattern::Circles),
        (false, false, _) => Some(Pattern::Vernier),
        (false, true, true) => Some(Pattern::Eyelets),
        _ => None,
    }
}
