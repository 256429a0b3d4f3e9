//! `tune read`: what was seen on sheets → the offset, how far it may be off, what to type next.

use std::str::FromStr;

use clap::Args as ClapArgs;
use serde::Serialize;

use super::super::options::MachineOptions;
use super::super::{Exit, Failure, Outcome, number, talk};
use super::{Row, quoted, same_profiles, sheet_settings};
use crate::finding::counted;
use crate::tuning::{self, Estimate, Mark, Pattern, Readings, Sheet};
use crate::units::Length;

#[derive(ClapArgs, Debug)]
pub struct ReadArgs {
    /// Only sheets of this pattern were read
    #[arg(long)]
    pattern: Option<Pattern>,
    /// Circles: number and mean of width and height of the hole in mm, as 7=0.52, separated by commas
    #[arg(long, value_name = "NUMBER=MM", value_delimiter = ',')]
    hole: Vec<String>,
    /// Circles: number of the smallest one from which a clean disc fell
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true,
          value_parser = number::whole::<usize>(number::from(0)))]
    opened: Option<usize>,
    /// Vernier: number of the pair along x that lines up, or its value from the sheet's page, as
    /// 0.525mm. Numbers count with the sheet's own --blade-offset; values need none
    #[arg(long, value_name = "NUMBER")]
    tick_x: Option<Seen>,
    /// Vernier: number of the pair along y that lines up, or its value
    #[arg(long, value_name = "NUMBER")]
    tick_y: Option<Seen>,
    /// Eyelets: numbers of the strokes without an eye, or their values, separated by commas
    #[arg(long, value_name = "NUMBER", value_delimiter = ',')]
    eyelet: Vec<Seen>,
    /// Ladder: number of the square whose cut comes back to its beginning, or its value
    #[arg(long, value_name = "NUMBER")]
    square: Option<Seen>,
    /// What one measurement may be off by
    #[arg(long, value_name = "LENGTH", default_value = "0.02mm")]
    noise: Length,
    /// Answer as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    row: Row,
    #[command(flatten)]
    with: MachineOptions,
}

pub fn run(args: &ReadArgs) -> Outcome {
    let readings = readings(args)?;
    let estimate = tuning::read(&readings).map_err(Failure::failed)?;
    let mut out = anstream::stdout();
    if args.json {
        let text =
            serde_json::to_string(&Answer::of(&estimate, &readings)).map_err(Failure::failed)?;
        talk::print(&mut out, &text)?;
        return Ok(Exit::Done);
    }
    let line = |value: f64, range: f64| format!("{value:.3} mm ± {range:.3} mm");
    talk::print(
        &mut out,
        &format!("blade offset  {}", line(estimate.offset_mm, estimate.uncertainty_mm)),
    )?;
    for (axis, play) in [("x", estimate.play_x_mm), ("y", estimate.play_y_mm)] {
        if let Some((value, range)) = play {
            talk::print(&mut out, &format!("play along {axis}  {}", line(value, range)))?;
        }
    }
    if estimate.closing_doubtful {
        talk::print(
            &mut out,
            "the eyelets count for little: the machine's play may be so large against \
             this offset that they close where they should not; trust circles and vernier",
        )?;
    }
    if estimate.holes_left_out > 0 {
        let text = format!(
            "{} not counted: less than half as wide as its circle, where play decides and not the offset",
            counted(estimate.holes_left_out, "one hole is", "holes are")
        );
        talk::print(&mut out, &text)?;
    }
    for pattern in &readings.rows_ended {
        let text = format!(
            "what closes best on the {pattern} sheet stands at the end of its row: the offset may lie \
             beyond it"
        );
        talk::print(&mut out, &text)?;
    }
    if let Some(pattern) = estimate.contradicted {
        let text = format!(
            "what was read contradicts itself, the {pattern} sheet the most, so this is no answer: look \
             again, and check the numbers and the --blade-offset that each sheet was cut with"
        );
        talk::print(&mut out, &text)?;
        return Ok(Exit::Done);
    }
    if estimate.tells_nothing() {
        let text = "that may be off by as much as the offset itself, so it is nothing to keep; more readings \
                    narrow it";
        talk::print(&mut out, text)?;
    }
    what_next(args, &estimate, readings.rows_ended.is_empty() && !estimate.tells_nothing())
}

/// The commands that go on from here, as they are to be typed.
fn what_next(args: &ReadArgs, estimate: &Estimate, worth_keeping: bool) -> Outcome {
    let mut out = anstream::stdout();
    let (_, material) = args.with.profiles()?;
    let offset = format!("--blade-offset {:.3}mm", estimate.offset_mm);
    if let Some(pattern) = estimate.next {
        let with = same_profiles(&args.with, &material);
        let text = format!("cut next  bladewright tune sheet --pattern {pattern} {offset} {with}");
        talk::print(&mut out, &text)?;
    }
    if worth_keeping {
        let named = quoted(args.with.material.as_deref().unwrap_or(&material.name));
        let text = format!("keep it   bladewright tune save --material {named} {offset}");
        talk::print(&mut out, &text)?;
    }
    Ok(Exit::Done)
}

/// The answer as JSON.
#[derive(Serialize)]
struct Answer {
    format: u32,
    blade_offset_mm: f64,
    uncertainty_mm: f64,
    play_x_mm: Option<f64>,
    play_x_uncertainty_mm: Option<f64>,
    play_y_mm: Option<f64>,
    play_y_uncertainty_mm: Option<f64>,
    closing_doubtful: bool,
    row_ended: Option<&'static str>,
    rows_ended: Vec<&'static str>,
    holes_left_out: usize,
    contradicted: Option<&'static str>,
    next: Option<&'static str>,
}

impl Answer {
    fn of(estimate: &Estimate, readings: &Readings) -> Self {
        Self {
            format: 1,
            blade_offset_mm: fine(estimate.offset_mm),
            uncertainty_mm: fine(estimate.uncertainty_mm),
            play_x_mm: estimate.play_x_mm.map(|p| fine(p.0)),
            play_x_uncertainty_mm: estimate.play_x_mm.map(|p| fine(p.1)),
            play_y_mm: estimate.play_y_mm.map(|p| fine(p.0)),
            play_y_uncertainty_mm: estimate.play_y_mm.map(|p| fine(p.1)),
            closing_doubtful: estimate.closing_doubtful,
            row_ended: readings.rows_ended.last().copied().map(Pattern::name),
            rows_ended: readings.rows_ended.iter().copied().map(Pattern::name).collect(),
            holes_left_out: estimate.holes_left_out,
            contradicted: estimate.contradicted.map(Pattern::name),
            next: estimate.next.map(Pattern::name),
        }
    }
}

/// Numbers on sheets → values, by laying the sheets out again.
fn readings(args: &ReadArgs) -> Result<Readings, Failure> {
    let (machine, material) = args.with.profiles()?;
    if let Some(pattern) = args.pattern.filter(|pattern| !pattern.tells_offset()) {
        return Err(Failure::usage(format!(
            "--pattern {pattern}: its sheet tells no offset; keep the value that cut best with tune save \
             --{pattern}"
        )));
    }
    let noise_mm = args.noise.mm();
    if !(noise_mm > 0.0 && noise_mm < 5.0) {
        return Err(Failure::usage("--noise must be above 0 and below 5mm"));
    }
    let sheet = |pattern| {
        let row = if args.pattern.is_none_or(|p| p == pattern) { args.row } else { NO_ROW };
        let settings = sheet_settings(pattern, row, &args.with, (&machine, &material))?;
        Ok::<_, Failure>(tuning::sheet(&settings))
    };
    let circles = sheet(Pattern::Circles)?;
    let mut readings = Readings { noise_mm, unit_mm: machine.unit_mm, ..Readings::default() };
    for text in &args.hole {
        readings.holes.push(hole(text, &circles)?);
    }
    if let Some(number) = args.opened {
        let open = value_of(&circles, number)?;
        let shut = circles.value(number.saturating_sub(1)).unwrap_or(0.0);
        readings.opened = Some((shut, open));
    }
    let seen = |pattern, seen: Seen| {
        let row = sheet(pattern)?;
        Ok::<_, Failure>((seen.value(&row)?, step(&row)))
    };
    let tick = |tick: Option<Seen>| tick.map(|t| seen(Pattern::Vernier, t)).transpose();
    (readings.tick_x, readings.tick_y) = (tick(args.tick_x)?, tick(args.tick_y)?);
    readings.square = args.square.map(|s| seen(Pattern::Ladder, s)).transpose()?;
    let eyelets = args.eyelet.iter().map(|&s| seen(Pattern::Eyelets, s));
    readings.closed = eyelets.collect::<Result<_, _>>()?;
    for (pattern, all) in
        [(Pattern::Ladder, args.square.as_slice()), (Pattern::Eyelets, &args.eyelet)]
    {
        let row = sheet(pattern)?;
        if all.iter().any(|seen| seen.ends(&row)) {
            readings.rows_ended.push(pattern);
        }
    }
    Ok(readings)
}

fn step(sheet: &Sheet) -> f64 {
    match &sheet.marks[..] {
        [a, b, ..] => b.value - a.value,
        _ => 0.0,
    }
}

/// A test that was picked: by the number cut beside it, or by its value on the sheet's page.
#[derive(Debug, Clone, Copy)]
enum Seen {
    Number(usize),
    Value(Length),
}

impl FromStr for Seen {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        if let Ok(number) = text.trim().parse() {
            return Ok(Self::Number(number));
        }
        let value = text.parse().map(Self::Value);
        value.map_err(|_| format!("{text:?} is neither a test's number nor its value, as 0.275mm"))
    }
}

impl Seen {
    fn value(self, sheet: &Sheet) -> Result<f64, Failure> {
        match self {
            Self::Number(number) => value_of(sheet, number),
            Self::Value(length) if length.mm() > 0.0 => Ok(length.mm()),
            Self::Value(length) => {
                let pattern = sheet.pattern;
                Err(Failure::usage(format!("{length}: a {pattern} value must be above 0")))
            }
        }
    }

    /// It is the first or last of its row: nobody knows what lies beyond.
    fn ends(self, sheet: &Sheet) -> bool {
        let Self::Number(number) = self else { return false };
        let value = sheet.value(number);
        let end = |mark: Option<&Mark>| mark.is_some_and(|mark| Some(mark.value) == value);
        end(sheet.marks.first()) || end(sheet.marks.last())
    }
}

const NO_ROW: Row = Row { first: None, step: None };

fn hole(text: &str, circles: &Sheet) -> Result<(f64, f64), Failure> {
    let wrong = || Failure::usage(format!("--hole {text}: write number=diameter, as 7=0.52"));
    let (number, diameter) = text.split_once('=').ok_or_else(wrong)?;
    let number = number.trim().parse().map_err(|_| wrong())?;
    let diameter: f64 = diameter.trim().trim_end_matches("mm").parse().map_err(|_| wrong())?;
    if !diameter.is_finite() {
        return Err(wrong());
    }
    Ok((value_of(circles, number)?, diameter))
}

fn value_of(sheet: &Sheet, number: usize) -> Result<f64, Failure> {
    sheet.value(number).ok_or_else(|| {
        let (pattern, most) = (sheet.pattern, sheet.marks.len());
        Failure::usage(format!("the {pattern} sheet has the numbers 1 to {most}, not {number}"))
    })
}

/// To a tenth of a micrometre.
fn fine(mm: f64) -> f64 {
    (mm * 1e4).round() / 1e4
}
