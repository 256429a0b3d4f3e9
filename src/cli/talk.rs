//! What the program says: findings and errors on stderr, reports where they belong.

use std::io::Write;

use anstyle::{AnsiColor, Style};

use crate::finding::{Finding, Severity};
use crate::report::Report;

use super::{Exit, Failure, Outcome, files};

/// Says why it went wrong.
pub fn error(text: &str) {
    let style = Style::new().bold().fg_color(Some(AnsiColor::Red.into()));
    let mut err = anstream::stderr();
    // A closed stderr leaves nobody to tell.
    let _ = writeln!(err, "{style}error:{style:#} {text}");
}

/// Tells `findings` about `file`.
pub fn findings(file: &str, findings: &[Finding]) {
    let mut err = anstream::stderr();
    for finding in findings {
        let colour = match finding.severity {
            Severity::Note => AnsiColor::Cyan,
            Severity::Warning => AnsiColor::Yellow,
            Severity::Error => AnsiColor::Red,
        };
        let style = Style::new().bold().fg_color(Some(colour.into()));
        let place = place(file, finding);
        let _ = writeln!(err, "{style}{}:{style:#} {place}{}", finding.severity, finding.text);
        if !finding.hint.is_empty() {
            let _ = writeln!(err, "    {}", finding.hint);
        }
    }
}

/// `file:row:column: `, or whatever is known.
fn place(file: &str, finding: &Finding) -> String {
    let place = &finding.place;
    match (place.row, place.column, place.byte) {
        (Some(row), Some(column), _) => format!("{file}:{row}:{column}: "),
        (None, _, Some(byte)) => match (place.x_mm, place.y_mm) {
            (Some(x), Some(y)) => format!("byte {byte}, {x:.1}, {y:.1} mm: "),
            _ => format!("byte {byte}: "),
        },
        _ => match (place.x_mm, place.y_mm) {
            (Some(x), Some(y)) => format!("{x:.1}, {y:.1} mm: "),
            _ => String::new(),
        },
    }
}

/// A report as aligned lines.
pub fn report(report: &Report, out: &mut impl Write) -> Outcome {
    report.lines().into_iter().try_for_each(|(name, value)| named(out, name, &value))?;
    Ok(Exit::Done)
}

/// A value behind its name; the names of all such lines end below each other.
pub fn named(out: &mut impl Write, name: &str, value: &str) -> Result<(), Failure> {
    print(out, &format!("{name:>10}  {value}"))
}

/// Writes a line; a reader that went away ends the program quietly.
pub fn print(out: &mut impl Write, line: &str) -> Result<(), Failure> {
    match writeln!(out, "{line}") {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => {
            Err(Failure::new(Exit::Done, ""))
        }
        Err(error) => {
            Err(Failure::failed(format!("the output cannot be written: {}", files::plain(&error))))
        }
        Ok(()) => Ok(()),
    }
}

/// Says that what is written should not be cut as it is, if so.
pub fn errors_above(findings: &[Finding]) {
    if findings.iter().any(|f| f.severity == Severity::Error) {
        let _ = writeln!(anstream::stderr(), "There are errors above; think twice.");
    }
}

/// Done, unless `strict` and something was left out.
pub fn strictness(strict: bool, findings: &[Finding]) -> Exit {
    let left_out = findings.iter().any(|f| f.severity >= Severity::Warning);
    if strict && left_out { Exit::LeftOut } else { Exit::Done }
}
