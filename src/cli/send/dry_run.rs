//! `send --dry-run`: all that a send does before it opens the port, and what it would do then.
//!
//! The job is read, simulated and checked in the same bounded memory as for a send. No port is looked for
//! or locked, nothing is asked, no journal written.

use std::io::Write;
use std::rc::Rc;

use clap::ValueEnum;
use serde_json::json;

use super::job::Job;
use super::{Args, feed, resume, say_findings, size, times};
use crate::cli::options::HandshakeWish;
use crate::cli::{Exit, Failure, Outcome, talk};
use crate::pipeline::PlanSettings;
use crate::profile::{Handshake, Parity, Serial};
use crate::report::{duration, metres};
use crate::send::Copies;

/// What would be sent, and how.
pub struct DryRun<'a> {
    pub args: &'a Args,
    /// The first copy.
    pub job: &'a Rc<Job>,
    pub copies: &'a Copies,
    pub settings: &'a PlanSettings,
    pub serial: &'a Serial,
}

/// What goes out first: the whole job, or one of its copies from a cut on.
struct First {
    job: Rc<Job>,
    begin: resume::Begin,
    /// Of what goes out.
    bytes: u64,
    cut_mm: f64,
    /// Unknown where the machine's motion is.
    seconds: Option<f64>,
}

impl DryRun<'_> {
    /// Tells it on stdout.
    pub fn tell(&self) -> Outcome {
        let first = self.first()?;
        say_findings(self.job, self.args);
        let mut out = anstream::stdout();
        if self.args.json {
            talk::print(&mut out, &self.object(&first).to_string())?;
            return Ok(Exit::Done);
        }
        for (name, value) in self.lines(&first) {
            talk::named(&mut out, name, &value)?;
        }
        let _ = writeln!(anstream::stderr(), "A dry run: no port was opened, nothing was sent.");
        Ok(Exit::Done)
    }

    fn first(&self) -> Result<First, Failure> {
        let begin = resume::known(self.args, self.job, (self.settings, self.copies))?;
        let job = feed::copy_of(self.job, (self.copies, self.settings), begin.copy)?;
        let taken = resume::taken(&job, begin.finished, self.settings)?;
        let course = &job.outgoing().course;
        let (from, whole) = (course.by(taken.job_byte), course.whole());
        Ok(First {
            bytes: taken.bytes(job.spool.len()),
            cut_mm: whole.cut_mm - from.cut_mm,
            seconds: course.is_timed().then_some(whole.seconds - from.seconds),
            begin,
            job,
        })
    }

    fn lines(&self, first: &First) -> Vec<(&'static str, String)> {
        let time = first.seconds.map_or("unknown: the machine's motion is".to_owned(), duration);
        let bytes = first.bytes;
        let line = duration(bytes as f64 / self.serial.bytes_per_s());
        let (material, machine) = (&self.settings.material.title, &self.settings.machine.title);
        let port = self.args.port.as_deref().unwrap_or("none named");
        let mut lines = vec![
            ("job", format!("{}, in {material} on {machine}", size(&first.job))),
            ("cuts", self.cuts(first)),
            ("cut", self.cut(first)),
            ("time", time),
            ("sent", format!("{bytes} bytes, for which the line alone needs {line}")),
            ("port", format!("{port}, {}", settings(self.serial))),
            ("handshake", self.handshake()),
        ];
        if self.copies.count() > 1 {
            let from = match first.begin.copy {
                1 => String::new(),
                copy => format!("; goes on in copy {copy}, which the figures above are of"),
            };
            lines.push(("copies", times(self.copies) + &from));
        }
        lines
    }

    fn cuts(&self, first: &First) -> String {
        let (cuts, finished) = (first.job.survey.cuts, first.begin.finished);
        let perhaps = first.begin.perhaps();
        match finished {
            0 if perhaps == 0 => first.job.contours.to_string(),
            all if all >= cuts => format!("none: all {cuts} are finished"),
            _ if perhaps > finished => format!(
                "from cut {} of {cuts}, or from a later one up to {}: {}",
                finished + 1,
                (perhaps + 1).min(cuts),
                if self.asks() { "the machine is asked" } else { "you are asked" }
            ),
            _ => format!("from cut {} of {cuts}", finished + 1),
        }
    }

    fn cut(&self, first: &First) -> String {
        if self.args.blade_up {
            "nothing: the tool is lifted throughout".to_owned()
        } else {
            metres(first.cut_mm)
        }
    }

    /// Whether the machine would be asked where it stands.
    fn asks(&self) -> bool {
        self.asked_first() || self.serial.handshake == Handshake::Software
    }

    /// Whether the machine would be asked for its handshake.
    fn asked_first(&self) -> bool {
        self.args.handshake == Some(HandshakeWish::Auto)
    }

    fn handshake(&self) -> String {
        let known = format!(
            "{}, for a buffer of {} bytes",
            name(self.serial.handshake),
            self.serial.buffer_bytes
        );
        if self.asked_first() { format!("the machine is asked; otherwise {known}") } else { known }
    }

    /// The same for scripts.
    fn object(&self, first: &First) -> serde_json::Value {
        let (serial, work) = (self.serial, first.job.survey.work);
        let mm = |x: f64| (x * 1000.0).round() / 1000.0;
        json!({
            "format": 1,
            "dry_run": true,
            "size_mm": [mm(work.width()), mm(work.height())],
            "at_mm": [mm(work.min.x), mm(work.min.y)],
            "cuts": first.job.survey.cuts,
            "contours": first.job.contours,
            "from_cut": first.begin.finished + 1,
            "from_cut_perhaps": first.begin.perhaps() + 1,
            "blade_up": self.args.blade_up,
            "cut_mm": mm(first.cut_mm),
            "time_s": first.seconds.map(mm),
            "line_s": mm(first.bytes as f64 / serial.bytes_per_s()),
            "bytes": first.bytes,
            "copy": first.begin.copy,
            "copies": self.copies.count(),
            "copies_at_once": self.copies.at_once(),
            "port": self.args.port,
            "baud": serial.baud,
            "data_bits": serial.data_bits,
            "parity": serial.parity,
            "stop_bits": serial.stop_bits,
            "handshake": name(serial.handshake),
            "handshake_asked": self.asked_first(),
            "buffer_bytes": serial.buffer_bytes,
            "findings": self.job.findings,
        })
    }
}

/// As it is typed.
fn name(handshake: Handshake) -> String {
    let value = handshake.to_possible_value();
    value.map_or_else(String::new, |value| value.get_name().to_owned())
}

fn settings(serial: &Serial) -> String {
    let parity = match serial.parity {
        Parity::None => "no parity",
        Parity::Even => "even parity",
        Parity::Odd => "odd parity",
    };
    let stop =
        if serial.stop_bits == 1 { "1 stop bit".to_owned() } else { "2 stop bits".to_owned() };
    format!("{} bits/s, {} data bits, {parity}, {stop}", serial.baud, serial.data_bits)
}
