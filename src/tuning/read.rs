//! What was seen on a sheet → the blade's offset, its uncertainty, the play, the next sheet.
//!
//! All readings are fitted together: the offset d and the play of both axes that explain them best
//! by weighted least squares (Gauss–Newton; C. F. Gauss 1809), each hole's diameter foretold by
//! simulating the very polygon that was cut ([`super::model`]). The stated uncertainty is the 95 %
//! range of that fit. Without a vernier the play is only guessed, and the range grows by what it may
//! do. Eyelets show the offset that closes best on this machine, half of its play
//! included, which is taken off again where a vernier told the play; half the step is their
//! resolution (uniform: step/√12). A ladder shows the blade's own offset ([`super::patterns`] says
//! why), but its gap is only as wide as the offset is off, so that it is no finer than an eye.

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
/// A circle of a radius below the offset leaves no hole; so near to it, none that is clean.
const OPEN_SHARE: f64 = 0.95;
/// Widest bracket of offsets, mm; real trailing blades lie between 0.1 and 1.
const OFFSETS: (f64, f64) = (0.03, 2.0);
/// Step of numeric derivatives, mm.
const NUDGE_MM: f64 = 0.004;
/// Shares of the first guess from which the fit starts; the best end counts.
const STARTS: [f64; 3] = [0.85, 1.0, 1.1];
/// Steps of the fit at most; it ends when no step makes it better.
const ROUNDS: usize = 20;

/// A play of more than this share of the offset may leave the blade turned round at the end of a
/// stroke: an eyelet that looks closed is then set too small by as much as the play (trials of
/// `tests/tuning.rs`: at a half of it in one of the two rows, at two thirds in both).
const FOOLING_SHARE: f64 = 0.45;
/// The most play that is reckoned with where nobody measured it, mm.
const UNSEEN_PLAY_MM: f64 = 0.1;
/// A hole that is off by several times its noise counts less and less, since the smallest ones may be
/// no clean holes at all (A. E. Beaton, J. W. Tukey 1974; Cauchy's weight, with the usual constant
/// from memory).
const DOUBTFUL: f64 = 2.385;
/// What is off by more of its standard deviations was misread, or is of another sheet: common practice
/// (three to five), no source; no true reading of the trials in `tests/tuning.rs` is.
const MISREAD: f64 = 4.0;

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
    /// Eyelets: offset set for those that close best, and step of the row, mm.
    pub closed: Vec<(f64, f64)>,
    /// Ladder: offset set for the square that closes best, and step of the row, mm.
    pub square: Option<(f64, f64)>,
    /// The patterns in which what closes best stands first or last in its row: it may lie beyond.
    pub rows_ended: Vec<Pattern>,
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
    /// Eyelets or squares were read, but count little or nothing: the machine's play may be so
    /// large against this offset that they close where they should not.
    pub closing_doubtful: bool,
    /// The pattern whose readings are furthest from what the answer foretells, if that is too far: what
    /// was read contradicts itself, and the answer is none.
    pub contradicted: Option<Pattern>,
    /// So many holes do not count: they are so small against their circles that play decides, not the offset.
    pub holes_left_out: usize,
    /// The sheet to cut next, if another is worth it.
    pub next: Option<Pattern>,
}

impl Estimate {
    /// It may be off by as much as the offset itself: nothing to keep.
    pub fn tells_nothing(&self) -> bool {
        self.uncertainty_mm >= self.offset_mm
    }
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// Nothing that tells an offset.
    #[error(
        "nothing was read that tells the offset (a vernier tells it only together with the play); give the \
         diameters of some holes, the first circle that opened, or the number of the eyelet or square that \
         closes as well"
    )]
    Nothing,
    /// Nothing but holes so small that they tell nothing.
    #[error(
        "a hole that is less than half as wide as its circle tells of the machine's play, not of the offset; \
         measure the holes of larger circles"
    )]
    HolesTooSmall,
    /// A hole that no blade leaves.
    #[error(
        "a hole of {diameter_mm:.3} mm cannot come from a circle of {radius_mm:.3} mm axis radius; measure \
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
    let holes = clear(&readings.holes);
    let holes_left_out = readings.holes.len() - holes.len();
    let readings = &Readings { holes, ..readings.clone() };
    let closing_doubtful = closing_doubtful(readings);
    let counted = Readings {
        closed: if closing_doubtful && tells_without_closing(readings) {
            Vec::new()
        } else {
            readings.closed.clone()
        },
        ..readings.clone()
    };
    let Fit { state, spread, .. } = best_fit(&counted).ok_or(match holes_left_out {
        0 => ReadError::Nothing,
        _ => ReadError::HolesTooSmall,
    })?;
    let sigma = |i: usize| spread[i][i].max(0.0).sqrt();
    let play = |i: usize, seen: bool| seen.then(|| (state[i], STATED * sigma(i)));
    Ok(Estimate {
        offset_mm: state[0],
        uncertainty_mm: STATED * sigma(0),
        play_x_mm: play(1, readings.tick_x.is_some()),
        play_y_mm: play(2, readings.tick_y.is_some()),
        closing_doubtful,
        contradicted: contradicted(&counted, state),
        holes_left_out,
        next: next(readings),
    })
}

/// The pattern whose readings no state near `state` explains. Of the holes, some of which may be wrong,
/// the middle one speaks; of the others the worst.
fn contradicted(readings: &Readings, state: [f64; 3]) -> Option<Pattern> {
    let shut = readings.holes.iter().filter(|(radius, _)| is_shut(state[0], *radius)).count();
    if 2 * shut > readings.holes.len() {
        return Some(Pattern::Circles);
    }
    let all = residuals(readings, state);
    let off = |pattern| {
        let own = all.iter().filter(|residual| residual.pattern == pattern);
        let mut off: Vec<f64> = own.map(Residual::off).collect();
        off.sort_by(f64::total_cmp);
        let speaks = if pattern == Pattern::Circles { off.len() / 2 } else { off.len().max(1) - 1 };
        (pattern, off.get(speaks).copied().unwrap_or_default())
    };
    let worst = Pattern::ALL.map(off).into_iter().max_by(|a, b| a.1.total_cmp(&b.1));
    worst.filter(|(_, off)| *off > MISREAD).map(|(pattern, _)| pattern)
}

/// Whether a blade of that offset leaves no clean hole in a circle of that axis radius.
fn is_shut(offset_mm: f64, radius_mm: f64) -> bool {
    offset_mm > OPEN_SHARE * radius_mm
}

/// The best of the fits from several starts.
fn best_fit(readings: &Readings) -> Option<Fit> {
    let start = first_guess(readings)?;
    let from = |share: f64| (start * share).clamp(OFFSETS.0, OFFSETS.1);
    let fits = STARTS.map(|share| fit(readings, [from(share), PLAY_GUESS.0, PLAY_GUESS.0]));
    fits.into_iter().min_by(|a, b| a.misfit.total_cmp(&b.misfit))
}

fn tells_without_closing(readings: &Readings) -> bool {
    !readings.holes.is_empty() || readings.opened.is_some() || readings.square.is_some()
}

/// Whether the play may be so large against the offset that eyelets and squares close where they
/// should not: told by the other readings, where there are any.
fn closing_doubtful(readings: &Readings) -> bool {
    if readings.closed.is_empty() {
        return false;
    }
    let others = Readings { closed: Vec::new(), ..readings.clone() };
    let others = if tells_without_closing(readings) { &others } else { readings };
    let Some(Fit { state, .. }) = best_fit(others) else { return false };
    let play = seen_play(readings, [state[1], state[2]]).unwrap_or(UNSEEN_PLAY_MM);
    play > FOOLING_SHARE * state[0]
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
    let square = readings.square.map(|s| s.0);
    let guess = middle.or(square).or(opened).or(closed)?;
    Some(guess.min(OPEN_SHARE * least).clamp(OFFSETS.0, OFFSETS.1))
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
    residuals(readings, state).iter().map(Residual::loss).sum()
}

/// One reading set against what the state foretells.
#[derive(Debug, Clone, Copy)]
struct Residual {
    /// Where it was read; the play counts to the vernier, which tells it.
    pattern: Pattern,
    difference: f64,
    /// Standard deviation that is expected of it.
    sigma: f64,
    /// It may be wrong altogether.
    doubtful: bool,
    /// A hole that ought not to be there: where holes vanish no slope foretells anything, and one that opened
    /// by chance would pass for the surest reading of all.
    shut: bool,
}

impl Residual {
    fn new(pattern: Pattern, difference: f64, sigma: f64) -> Self {
        Self { pattern, difference, sigma, doubtful: false, shut: false }
    }
    /// In standard deviations.
    fn off(&self) -> f64 {
        (self.difference / self.sigma).abs()
    }
    /// What it adds to the misfit.
    fn loss(&self) -> f64 {
        let square = self.off().powi(2);
        if self.doubtful { DOUBTFUL.powi(2) * (square / DOUBTFUL.powi(2)).ln_1p() } else { square }
    }
    /// Its weight in a step of the fit.
    fn weight(&self) -> f64 {
        if self.shut {
            return 0.0;
        }
        let square = (self.off() / DOUBTFUL).powi(2);
        let share = if self.doubtful { 1.0 / (1.0 + square) } else { 1.0 };
        share / self.sigma.powi(2)
    }
}

fn residuals(readings: &Readings, state: [f64; 3]) -> Vec<Residual> {
    let [offset_mm, play_x, play_y] = state;
    let cutter = Cutter { offset_mm, play_mm: Point::new(play_x, play_y) };
    let noise = readings.noise_mm;
    let uniform = |width: f64| width / 12.0_f64.sqrt();
    let mut all = [play_x, play_y]
        .map(|play| Residual::new(Pattern::Vernier, PLAY_GUESS.0 - play, PLAY_GUESS.1))
        .to_vec();
    all.extend(readings.holes.iter().map(|&(radius, diameter)| Residual {
        pattern: Pattern::Circles,
        difference: diameter - hole(&cutter, radius, readings.unit_mm),
        sigma: (noise * MEAN_OF_TWO).hypot(MODEL_DOUBT_MM),
        doubtful: true,
        shut: is_shut(offset_mm, radius),
    }));
    for (tick, play) in [(readings.tick_x, play_x), (readings.tick_y, play_y)] {
        all.extend(tick.map(|(value, step)| {
            Residual::new(
                Pattern::Vernier,
                value - 2.0 * offset_mm - play,
                uniform(step).hypot(noise),
            )
        }));
    }
    all.extend(readings.square.map(|(value, step)| {
        // The gaps of neighbours differ by no more than the step, so the eye's noise counts whole.
        let sigma = uniform(step).hypot(noise).hypot(readings.beyond(Pattern::Ladder, step));
        Residual::new(Pattern::Ladder, value - offset_mm, sigma)
    }));
    all.extend(readings.closed.iter().map(|&(value, step)| {
        let reading = uniform(step).hypot(noise / EYE_SLOPE);
        let reading = reading.hypot(readings.beyond(Pattern::Eyelets, step));
        match seen_play(readings, [play_x, play_y]) {
            Some(play) => {
                let fooled = if play > FOOLING_SHARE * value { play } else { 0.0 };
                Residual::new(
                    Pattern::Eyelets,
                    value - offset_mm - CLOSING_PLAY * play,
                    reading.hypot(fooled),
                )
            }
            // Nobody measured the play: what closes best counts as it stands, less sure.
            None => {
                let fooled = UNSEEN_PLAY_MM > FOOLING_SHARE * value;
                let unsure = if fooled { UNSEEN_PLAY_MM } else { PLAY_GUESS.0 };
                // The play is the same for all of them: more readings do not lessen the doubt.
                let common = CLOSING_PLAY * unsure * (readings.closed.len() as f64).sqrt();
                Residual::new(Pattern::Eyelets, value - offset_mm, reading.hypot(common))
            }
        }
    }));
    all.extend(readings.opened.filter(|_| readings.holes.is_empty()).map(|(shut, open)| {
        // A circle, too, is as much smaller as its axes turn round.
        let play = (play_x + play_y) / 2.0;
        Residual::new(
            Pattern::Circles,
            (shut + open) / 2.0 - offset_mm - CLOSING_PLAY * play,
            uniform(open - shut).hypot(noise / 2.0),
        )
    }));
    all
}

/// An eye opens at least so many times as wide as the offset is off (π for a swing by half a turn;
/// less where the offset set is too large).
const EYE_SLOPE: f64 = 2.0;
/// How many steps beyond its row the truth may lie when the first or last test closes best: as many
/// as there are from the middle of a row to its end.
const BEYOND_ROW: f64 = 4.0;

impl Readings {
    /// How far what closes best may lie beyond the row of `pattern`, mm.
    fn beyond(&self, pattern: Pattern, step: f64) -> f64 {
        if self.rows_ended.contains(&pattern) { BEYOND_ROW * step } else { 0.0 }
    }
}

/// How much of the play an eyelet takes for offset: a swing turns both axes round, each
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
            up.iter()
                .zip(&down)
                .map(|(u, d)| (d.difference - u.difference) / (2.0 * NUDGE_MM))
                .collect()
        })
        .collect();
    let weighted = |a: &dyn Fn(usize) -> f64, b: &dyn Fn(usize) -> f64| -> f64 {
        here.iter().enumerate().map(|(k, r)| a(k) * b(k) * r.weight()).sum()
    };
    let mut normal = [[0.0; 3]; 3];
    let mut pull = [0.0; 3];
    for i in 0..3 {
        for j in 0..3 {
            normal[i][j] = weighted(&|k| slopes[i][k], &|k| slopes[j][k]);
        }
        pull[i] = weighted(&|k| slopes[i][k], &|k| here[k].difference);
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

/// A row of a ladder with wider steps is worth another one with narrower steps, mm: the pattern's own
/// step is one plotter unit.
const FINE_STEP_MM: f64 = 0.03;

fn next(readings: &Readings) -> Option<Pattern> {
    let vernier = readings.tick_x.is_some() || readings.tick_y.is_some();
    let (holes, eyelets) = (!readings.holes.is_empty(), !readings.closed.is_empty());
    match (holes, vernier) {
        _ if !readings.rows_ended.is_empty() => readings.rows_ended.last().copied(),
        // A coarse row first, then one of the pattern's own steps about what it told.
        _ if readings.square.is_some_and(|(_, step)| step > FINE_STEP_MM) => Some(Pattern::Ladder),
        (true, false) => Some(Pattern::Vernier),
        (true, true) if !eyelets => Some(Pattern::Eyelets),
        (true, true) => None,
        // Without a measuring glass: the circle that opened, the ladder about it, the finer eyelets.
        (false, _) if readings.square.is_none() && !eyelets => {
            readings.opened.map_or(Some(Pattern::Circles), |_| Some(Pattern::Ladder))
        }
        (false, _) if !eyelets => Some(Pattern::Eyelets),
        // What closes there tells the offset and half of the play together.
        (false, false) => Some(Pattern::Vernier),
        (false, true) => None,
    }
}
