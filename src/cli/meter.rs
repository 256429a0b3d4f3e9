//! Progress of a job on its way: a bar on a terminal, otherwise a line for every tenth, or events for
//! scripts.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use indicatif::{ProgressBar, ProgressStyle};

use crate::send::{Marks, Progress};
use crate::simulate::Simulation;

/// Shows how far a job is, by distance cut.
pub struct Meter {
    bar: ProgressBar,
    /// For each cut the byte after it and the distance cut by then, mm.
    marks: Vec<(u64, f64)>,
    total_mm: f64,
    tenths: u32,
    halted: Option<&'static str>,
    json: bool,
    start: Instant,
}

impl Meter {
    pub fn new(simulation: &Simulation, json: bool) -> Self {
        let mut total_mm = 0.0;
        let mut marks = Vec::with_capacity(simulation.cuts.len());
        for cut in &simulation.cuts {
            total_mm += cut.axis.windows(2).map(|w| w[0].distance(w[1])).sum::<f64>();
            marks.push((cut.end_byte, total_mm));
        }
        let bar = if std::io::stderr().is_terminal() && !json {
            ProgressBar::new(total_mm.ceil() as u64)
        } else {
            ProgressBar::hidden()
        };
        if let Ok(style) =
            ProgressStyle::with_template("{bar:30} {pos} of {len} mm {msg}, {eta} left")
        {
            bar.set_style(style);
        }
        bar.set_message("sent");
        Self { bar, marks, total_mm, tenths: 0, halted: None, json, start: Instant::now() }
    }

    /// `progress` in bytes of the whole job.
    pub fn show(&mut self, progress: Progress, marks: &Marks) {
        let done = self.marks.partition_point(|(byte, _)| *byte < progress.sent);
        let mm = done.checked_sub(1).and_then(|i| self.marks.get(i)).map_or(0.0, |mark| mark.1);
        self.bar.set_position(mm as u64);
        if progress.halted != self.halted {
            self.halted = progress.halted;
            self.say_halt();
        }
        let tenths = (mm / self.total_mm.max(1e-9) * 10.0) as u32;
        if tenths <= self.tenths {
            return;
        }
        self.tenths = tenths;
        let (finished, cuts) = (marks.finished(progress.obeyed), self.marks.len());
        let mut err = anstream::stderr();
        if self.json {
            let event = serde_json::json!({
                "format": 1, "event": "progress", "sent_bytes": progress.sent, "sent_mm": mm.round(),
                "of_mm": self.total_mm.round(), "cuts_finished": finished, "cuts": cuts,
                "elapsed_s": self.start.elapsed().as_secs_f64().round(),
            });
            let _ = writeln!(err, "{event}");
        } else if self.bar.is_hidden() {
            let _ = writeln!(
                err,
                "{tenths}0 %: {mm:.0} of {:.0} mm sent, {finished} of {cuts} cuts finished for certain",
                self.total_mm
            );
        }
    }

    fn say_halt(&self) {
        let text = self.halted.unwrap_or("goes on");
        if self.json {
            let event = serde_json::json!({ "format": 1, "event": "halted", "why": self.halted });
            let _ = writeln!(anstream::stderr(), "{event}");
        } else if self.bar.is_hidden() {
            let _ = writeln!(anstream::stderr(), "the machine: {text}");
        } else {
            self.bar.set_message(format!("sent ({text})"));
        }
    }

    /// Clears the bar; seconds since the first byte.
    pub fn end(&self) -> f64 {
        self.bar.finish_and_clear();
        self.start.elapsed().as_secs_f64()
    }
}
