//! Progress of a job on its way: a bar on a terminal, otherwise a line for every tenth, or events for
//! scripts. Tenths are of the job's time, not of its bytes or its distance.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use indicatif::{ProgressBar, ProgressStyle};

use crate::report::duration;
use crate::send::{Clock, Course, Progress, Survey};

/// The bar's length: thousandths of the job's time.
const THOUSAND: f64 = 1000.0;

/// Said of a machine that cannot say it itself.
const SEEMS_PAUSED: &str = "it takes nothing more: it may be paused, or its lever up";

/// Shows how far a job is and how long it still takes.
pub struct Meter {
    bar: ProgressBar,
    clock: Clock,
    course: Course,
    /// How many cuts there are.
    cuts: usize,
    tenths: u32,
    halted: Option<&'static str>,
    shown: Shown,
    start: Instant,
}

/// What is shown of it, and how.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    /// Which copy of how many, if there are several.
    pub copy: Option<(u32, u32)>,
    /// Events for scripts.
    pub json: bool,
    /// The tool is lifted throughout: nothing is cut.
    pub lifted: bool,
}

impl Meter {
    /// Of the job that `survey` tells of.
    pub fn new(survey: &Survey, clock: Clock, shown: Shown) -> Self {
        let (course, cuts) = (survey.course.clone(), survey.cuts);
        let bar = if std::io::stderr().is_terminal() && !shown.json {
            ProgressBar::new(THOUSAND as u64)
        } else {
            ProgressBar::hidden()
        };
        if let Ok(style) = ProgressStyle::with_template("{bar:20} {wide_msg}") {
            bar.set_style(style);
        }
        let tenths = (clock.share() * 10.0) as u32;
        Self { bar, clock, course, cuts, tenths, halted: None, shown, start: Instant::now() }
    }

    /// `progress` in bytes of the whole job, of whose cuts so many are `finished`.
    pub fn show(&mut self, progress: Progress, finished: usize) {
        self.clock.tell(self.start.elapsed(), progress);
        let (mm, total_mm) = (self.course.by(progress.sent).cut_mm, self.course.whole().cut_mm);
        let cuts = self.cuts;
        let halted = progress.halted.or(self.clock.stands().then_some(SEEMS_PAUSED));
        if halted != self.halted {
            self.halted = halted;
            self.say_halt();
        }
        let left = duration(self.clock.left_s());
        self.bar.set_position((self.clock.share() * THOUSAND) as u64);
        // What matters most comes first: a narrow terminal shows only the beginning.
        let halted = self.halted.map(|why| format!(" ({why})")).unwrap_or_default();
        let way = format!("{mm:.0} of {total_mm:.0} mm sent");
        let copy = self.shown.copy.map(|(n, of)| format!("copy {n} of {of}: ")).unwrap_or_default();
        let done = match self.shown.lifted {
            true => "nothing is cut".to_owned(),
            false => format!("{finished} of {cuts} cuts finished for certain"),
        };
        self.bar.set_message(format!("{copy}about {left} left{halted}; {done}; {way}"));
        let tenths = (self.clock.share() * 10.0) as u32;
        if tenths <= self.tenths {
            return;
        }
        self.tenths = tenths;
        let mut err = anstream::stderr();
        if self.shown.json {
            let event = serde_json::json!({
                "format": 1, "event": "progress", "sent_bytes": progress.sent, "sent_mm": mm.round(),
                "of_mm": total_mm.round(), "cuts": cuts,
                "cuts_finished": if self.shown.lifted { 0 } else { finished },
                "copy": self.shown.copy.map_or(1, |copy| copy.0),
                "copies": self.shown.copy.map_or(1, |copy| copy.1),
                "elapsed_s": self.start.elapsed().as_secs_f64().round(),
                "left_s": self.clock.left_s().round(),
            });
            let _ = writeln!(err, "{event}");
        } else if self.bar.is_hidden() {
            let _ = writeln!(err, "{copy}{tenths}0 %: about {left} left; {way}; {done}");
        }
    }

    fn say_halt(&self) {
        let text = self.halted.unwrap_or("goes on");
        if self.shown.json {
            let event = serde_json::json!({ "format": 1, "event": "halted", "why": self.halted });
            let _ = writeln!(anstream::stderr(), "{event}");
        } else if self.bar.is_hidden() {
            let _ = writeln!(anstream::stderr(), "the machine: {text}");
        }
    }

    /// Clears the bar; seconds since the first byte, and seconds that the machine may still cut.
    pub fn end(&self) -> (f64, f64) {
        self.bar.finish_and_clear();
        (self.start.elapsed().as_secs_f64(), self.clock.left_s())
    }
}
