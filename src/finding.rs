//! [`Finding`]: everything that a person is told about a drawing or a job.
//!
//! A stage that can go on returns its result beside a `Vec<Finding>`; nothing is dropped without
//! one. A finding says what is the matter, where (row and column of the drawing, a byte of the job,
//! a place on the sheet), and what to do about it. The `code` is stable: scripts and the README's
//! table may rely on it, so a code is never given a second meaning.

use std::fmt;

use serde::Serialize;

use crate::geometry::Point;

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Good to know; nothing is lost.
    Note,
    /// Done, but something was left out or may differ from what the eye sees.
    Warning,
    /// The job must not be cut as it is.
    Error,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        })
    }
}

/// Where in its source a finding belongs.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Place {
    /// Row in the drawing's text, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub row: Option<u32>,
    /// Column in the drawing's text, in characters, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub column: Option<u32>,
    /// Offset in the job's bytes, from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub byte: Option<u64>,
    /// Place on the sheet: x, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub x_mm: Option<f64>,
    /// Place on the sheet: y, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub y_mm: Option<f64>,
}

impl Place {
    /// A place in the drawing's text; rows and columns count from 1.
    pub fn text(row: u32, column: u32) -> Self {
        Self { row: Some(row), column: Some(column), ..Self::default() }
    }
    /// A place in the job's bytes.
    pub fn byte(offset: u64) -> Self {
        Self { byte: Some(offset), ..Self::default() }
    }
    /// A place on the sheet.
    pub fn sheet(p: Point) -> Self {
        Self { x_mm: Some(p.x), y_mm: Some(p.y), ..Self::default() }
    }
    /// The same place, with a position on the sheet as well.
    pub fn at(self, p: Point) -> Self {
        Self { x_mm: Some(p.x), y_mm: Some(p.y), ..self }
    }
    /// Whether nothing is known.
    pub fn is_unknown(&self) -> bool {
        *self == Self::default()
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if let (Some(row), Some(column)) = (self.row, self.column) {
            parts.push(format!("{row}:{column}"));
        }
        if let Some(byte) = self.byte {
            parts.push(format!("byte {byte}"));
        }
        if let (Some(x), Some(y)) = (self.x_mm, self.y_mm) {
            parts.push(format!("at {x:.2}, {y:.2} mm"));
        }
        f.write_str(&parts.join(", "))
    }
}

/// How many findings of one kind are told one by one.
const NAMED: usize = 5;

/// One thing that a person is told.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// Stable name in kebab-case, for example `layer-hidden`.
    pub code: &'static str,
    /// What is the matter, one sentence with the names and numbers that the person knows.
    pub text: String,
    /// Where.
    #[serde(flatten)]
    pub place: Place,
    /// Further places on the sheet that it is about, mm.
    #[serde(
        rename = "also_at_mm",
        skip_serializing_if = "Vec::is_empty",
        serialize_with = "pairs"
    )]
    pub also: Vec<Point>,
    /// What to do next, one sentence; empty when there is nothing to do.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub hint: String,
}

impl Finding {
    /// A finding without place or hint.
    pub fn new(severity: Severity, code: &'static str, text: impl Into<String>) -> Self {
        let (place, also, hint) = (Place::default(), Vec::new(), String::new());
        Self { severity, code, text: text.into(), place, also, hint }
    }
    /// A note.
    pub fn note(code: &'static str, text: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, text)
    }
    /// A warning.
    pub fn warning(code: &'static str, text: impl Into<String>) -> Self {
        Self::new(Severity::Warning, code, text)
    }
    /// An error.
    pub fn error(code: &'static str, text: impl Into<String>) -> Self {
        Self::new(Severity::Error, code, text)
    }
    /// The same with a place.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = place;
        self
    }
    /// The same with further places on the sheet.
    #[must_use]
    pub fn also(mut self, places: Vec<Point>) -> Self {
        self.also = places;
        self
    }
    /// The same with advice.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }
}

/// The findings of one kind: the first few one by one, the rest counted by what `rest` says of them.
pub fn first_few(all: Vec<Finding>, rest: impl Fn(usize) -> String) -> Vec<Finding> {
    let mut few = FirstFew::default();
    all.into_iter().for_each(|finding| few.push(finding));
    few.end(rest)
}

/// Findings of one kind as they come, of which the first few are kept and the rest counted.
#[derive(Debug, Clone, Default)]
pub struct FirstFew {
    kept: Vec<Finding>,
    more: usize,
}

impl FirstFew {
    /// One more.
    pub fn push(&mut self, finding: Finding) {
        if self.kept.len() < NAMED {
            self.kept.push(finding);
        } else {
            self.more += 1;
        }
    }

    /// All of them; `rest` says of how many that are not named.
    pub fn end(mut self, rest: impl Fn(usize) -> String) -> Vec<Finding> {
        let kind = self.kept.first().map(|first| (first.severity, first.code));
        if let Some((severity, code)) = kind.filter(|_| self.more > 0) {
            self.kept.push(Finding::new(severity, code, rest(self.more)));
        }
        self.kept
    }
}

/// What is said of one thing, or of `count` of them: the words `many` after their number.
pub fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 { one.to_owned() } else { format!("{count} {many}") }
}

/// Places as pairs of numbers, to a micrometre.
fn pairs<S: serde::Serializer>(places: &[Point], to: S) -> Result<S::Ok, S::Error> {
    let round = |x: f64| (x * 1000.0).round() / 1000.0;
    to.collect_seq(places.iter().map(|p| [round(p.x), round(p.y)]))
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.severity, self.text)?;
        if !self.place.is_unknown() {
            write!(f, " ({})", self.place)?;
        }
        if !self.hint.is_empty() {
            write!(f, " {}", self.hint)?;
        }
        Ok(())
    }
}
