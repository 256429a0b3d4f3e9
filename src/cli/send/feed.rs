//! Copy after copy on its way: what is shown, what the journal keeps, where the film is fed by hand.

use std::io::{IsTerminal, Write};
use std::rc::Rc;

use super::job::Job;
use super::{Args, STOP, keeps_journal, replied, resume, stopped_by};
use crate::cli::meter::{Meter, Shown};
use crate::cli::{Exit, Failure, Outcome, talk};
use crate::pipeline::PlanSettings;
use crate::report::duration;
use crate::send::{
    self, Clock, Copies, Ending, Journal, JournalWriter, MarksAlong, Progress, SendSettings,
    SerialLink, State,
};

/// What is sent, and how.
pub struct Sending<'a> {
    pub args: &'a Args,
    /// The first copy.
    pub job: &'a Rc<Job>,
    pub copies: &'a Copies,
    pub settings: &'a PlanSettings,
    pub line: &'a SendSettings,
}

impl Sending<'_> {
    /// Sends the copies from `start` on.
    pub fn all(&self, start: &resume::Start, link: &mut SerialLink) -> Outcome {
        for number in start.copy..=self.copies.count() {
            let is_first = number == start.copy;
            let finished = if is_first { start.finished } else { 0 };
            // A script that resumes has seen to it, as it was told; a copy that is begun lies there.
            let is_told = self.args.resume && !std::io::stdin().is_terminal();
            let seen_to = is_first && (start.is_begun || is_told);
            if self.copies.is_fed_by_hand(number) && !seen_to {
                self.by_hand(number)?;
            }
            let copy = self.copy(number)?;
            if let Ending::Stopped = self.one(&copy, (number, finished), link)? {
                let (exit, why) = stopped_by();
                talk::error(&format!(
                    "{why}; the tool was told to lift. What the machine's buffer holds may still be \
                     cut: its own stop key is the only sure stop. Go on with --resume"
                ));
                return Ok(exit);
            }
        }
        Ok(Exit::Done)
    }

    fn copy(&self, number: u32) -> Result<Rc<Job>, Failure> {
        copy_of(self.job, (self.copies, self.settings), number)
    }

    /// Asks the person to feed the film on before copy `number`.
    fn by_hand(&self, number: u32) -> Result<(), Failure> {
        let text = format!(
            "The machine does not reach copy {number} of {}. When it has done all that it got, feed \
             the film on (or lay in a new sheet), and set its origin where the copy begins, as its \
             manual says.",
            self.copies.count()
        );
        if !std::io::stdin().is_terminal() {
            self.entered_for_later(number);
            let text = format!("{text} Nobody is there to ask: go on with --resume.");
            return Err(Failure::failed(text));
        }
        let answer = replied(&format!("{text} Hands clear; then press Enter: "));
        if STOP.is_up() || answer.is_ok_and(|answer| answer.is_empty()) {
            self.entered_for_later(number);
            return Err(Failure::new(Exit::Stopped, "stopped between copies; go on with --resume"));
        }
        Ok(())
    }

    /// The journal says that copy `number` comes next.
    fn entered_for_later(&self, number: u32) {
        let Ok(copy) = self.copy(number) else { return };
        let mut journal = self.journal(&copy, (number, 0));
        journal.state = State::Stopped;
        if let Some(Err(text)) = self.writer(&journal).map(|writer| writer.end(&journal)) {
            talk::error(&text);
        }
    }

    fn journal(&self, copy: &Job, (number, finished): (u32, usize)) -> Journal {
        let journal = Journal::new(&copy.survey, finished);
        Journal { copy: number, copies: self.copies.count(), ..journal }
    }

    /// Keeps the journal beside the job; without one the job is sent all the same.
    fn writer(&self, journal: &Journal) -> Option<JournalWriter> {
        if !keeps_journal(self.args) {
            return None;
        }
        match JournalWriter::begin(Journal::path(&self.args.file), journal) {
            Ok(writer) => Some(writer),
            Err(text) => {
                let _ =
                    writeln!(anstream::stderr(), "{text}; this job cannot be resumed by itself");
                None
            }
        }
    }

    /// Sends one copy, keeps the journal, and says how it ended.
    fn one(
        &self,
        copy: &Job,
        (number, finished): (u32, usize),
        link: &mut SerialLink,
    ) -> Result<Ending, Failure> {
        let taken = resume::taken(copy, finished, self.settings)?;
        let mut journal = self.journal(copy, (number, finished));
        let course = copy.outgoing().course.clone();
        let clock = Clock::new(course, taken.job_byte, self.line.rate_bytes_s);
        let mut meter = Meter::new(&copy.survey, clock, self.shown(number));
        let mut marks = MarksAlong::new(&copy.spool, copy.setup(self.settings));
        marks.up_to(taken.job_byte, taken.job_byte);
        let mut bytes = copy.as_sent(&taken)?;
        let writer = self.writer(&journal);
        let mut sent = 0;
        let ending = send::send(&mut bytes, self.line, link, &STOP, &mut |progress| {
            sent = taken.job_bytes(progress.sent);
            let obeyed = taken.job_bytes(progress.obeyed);
            let now = marks.up_to(sent, obeyed).finished(obeyed).max(finished);
            meter.show(Progress { sent, obeyed, ..progress }, now);
            if now > journal.finished {
                journal.finished = now;
                if let Some(writer) = &writer {
                    writer.put(&journal);
                }
            }
        });
        let took = meter.end();
        let whole = marks.whole(sent).unwrap_or(copy.survey.cuts);
        resume::enter(&mut journal, whole, &ending, self.line.answers());
        let kept = writer.map(|writer| writer.end(&journal));
        if let Some(Err(text)) = &kept {
            talk::error(text);
        }
        if !matches!(ending, Ok(Ending::Done)) && !self.args.blade_up {
            say_how_far(&journal, matches!(kept, Some(Ok(()))));
        }
        let ending = ending.map_err(|error| Failure::new(Exit::Machine, error))?;
        if ending == Ending::Done {
            self.say_done(number, taken.bytes(copy.spool.len()), took)?;
        }
        Ok(ending)
    }

    fn shown(&self, number: u32) -> Shown {
        let copies = self.copies.count();
        Shown {
            copy: (copies > 1).then_some((number, copies)),
            json: self.args.json,
            lifted: self.args.blade_up,
        }
    }

    fn say_done(&self, number: u32, bytes: u64, (seconds, left_s): (f64, f64)) -> Outcome {
        let rate = bytes as f64 / seconds.max(1e-3);
        if self.args.json {
            let object = self.object((number, bytes), (seconds, left_s), rate);
            talk::print(&mut anstream::stdout(), &object.to_string())?;
            return Ok(Exit::Done);
        }
        let end = if self.line.answers() {
            "the machine has done everything and reports no error".to_owned()
        } else {
            let left = duration(left_s);
            format!("the machine may still be cutting what its buffer holds, for about {left}")
        };
        let which = match self.copies.count() {
            1 => String::new(),
            count => format!("copy {number} of {count}: "),
        };
        let text = format!(
            "{which}sent {bytes} bytes at {rate:.0} bytes/s ({:.0} % of the line's); {end}",
            100.0 * rate / self.line.rate_bytes_s
        );
        talk::print(&mut anstream::stdout(), &text)?;
        Ok(Exit::Done)
    }

    /// The same for scripts.
    fn object(
        &self,
        (number, bytes): (u32, u64),
        (seconds, left_s): (f64, f64),
        rate: f64,
    ) -> serde_json::Value {
        let fine = |value: f64| (value * 1000.0).round() / 1000.0;
        let confirmed = self.line.answers();
        serde_json::json!({
            "format": 1,
            "event": "sent",
            "copy": number,
            "copies": self.copies.count(),
            "bytes": bytes,
            "elapsed_s": fine(seconds),
            "bytes_per_s": fine(rate),
            "line_bytes_per_s": fine(self.line.rate_bytes_s),
            "confirmed": confirmed,
            "left_s": if confirmed { 0.0 } else { fine(left_s) },
        })
    }
}

/// What a job that did not come to its end has cut; a journal that is `kept` lets it go on. One that was
/// stopped says so itself.
fn say_how_far(journal: &Journal, kept: bool) {
    let Journal { finished, perhaps, cuts, copy, copies, .. } = *journal;
    let perhaps = match perhaps {
        more if more > finished => format!(", up to {more} perhaps"),
        _ => String::new(),
    };
    let which = if copies > 1 { format!(" in copy {copy} of {copies}") } else { String::new() };
    let next = if kept && journal.state == State::Failed { "; --resume goes on there" } else { "" };
    let text = format!("{finished} of {cuts} cuts{which} are finished for certain{perhaps}{next}.");
    let _ = writeln!(anstream::stderr(), "{text}");
}

/// Copy `number` of `job`.
pub fn copy_of(
    job: &Rc<Job>,
    (copies, settings): (&Copies, &PlanSettings),
    number: u32,
) -> Result<Rc<Job>, Failure> {
    let shift = copies.shift(number);
    if shift == send::Shift::default() {
        return Ok(Rc::clone(job));
    }
    job.moved(shift, settings).map(Rc::new)
}
