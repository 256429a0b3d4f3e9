//! Where an interrupted job goes on, and how a send is entered into its journal.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

use super::job::Job;
use super::{Args, feed, replied};
use crate::blade::BladeSettings;
use crate::cli::{Exit, Failure, files};
use crate::pipeline::PlanSettings;
use crate::profile::{Handshake, Serial};
use crate::send::{
    self, Copies, Ending, Journal, Place, ResumeError, SendError, SerialLink, State, Taken,
};

/// Where it begins, as far as that is known before a port is open.
pub struct Begin {
    /// With which copy.
    pub copy: u32,
    /// How many of its cuts are finished already.
    pub finished: usize,
    /// How the send before ended, where that says more.
    journal: Option<Journal>,
}

impl Begin {
    /// How many cuts may be finished at most.
    pub fn perhaps(&self) -> usize {
        self.journal.as_ref().map_or(self.finished, in_doubt)
    }
}

/// How many cuts may be finished at most of a job that was interrupted.
fn in_doubt(journal: &Journal) -> usize {
    let most = if journal.state == State::Running { journal.cuts } else { journal.perhaps };
    most.max(journal.finished)
}

/// Where it begins, as far as that is known before a port is open.
pub fn known(
    args: &Args,
    job: &Rc<Job>,
    (settings, copies): (&PlanSettings, &Copies),
) -> Result<Begin, Failure> {
    let at = |copy, finished| Begin { copy, finished, journal: None };
    if let Some(number) = args.from_cut {
        let cuts = job.survey.cuts;
        if !(1..=cuts).contains(&number) {
            return Err(Failure::usage(send::ResumeError::NoSuchCut { number, cuts }));
        }
        return Ok(at(1, number - 1));
    }
    if !args.resume {
        return Ok(at(1, 0));
    }
    let read = journal(args)?;
    if read.copies != copies.count() {
        let text = format!("the job was interrupted with --copies {}: give it again", read.copies);
        return Err(Failure::usage(text));
    }
    let number = read.copy.clamp(1, read.copies);
    is_of(&read, feed::copy_of(job, (copies, settings), number)?.as_ref())?;
    if read.state == State::Done {
        return if number < read.copies {
            Ok(at(number + 1, 0))
        } else {
            Err(Failure::failed("this job was sent to its end; there is nothing to resume"))
        };
    }
    if read.state == State::Stopped && read.perhaps == 0 {
        // Nothing of it was sent.
        return Ok(at(number, 0));
    }
    Ok(Begin { copy: number, finished: read.finished, journal: Some(read) })
}

/// Where it begins.
pub struct Start {
    /// With which copy.
    pub copy: u32,
    /// How many of its cuts are finished already.
    pub finished: usize,
    /// Something of that copy was sent before, so it lies where it has to.
    pub is_begun: bool,
}

/// Where it begins; the machine is asked, or the person, where that is needed.
pub fn begin(
    args: &Args,
    job: &Rc<Job>,
    (serial, settings, copies): (&Serial, &PlanSettings, &Copies),
    link: &mut SerialLink,
) -> Result<Start, Failure> {
    let begin = known(args, job, (settings, copies))?;
    let copy = begin.copy;
    let Some(read) = begin.journal else {
        // A rehearsal, too: what ends half an instruction may move the tool lowered.
        let is_file = args.file != Path::new("-");
        if !args.resume && is_file && broke_off(&Journal::path(&args.file)) {
            drop_half(serial, link)?;
        }
        say_beginning(args, (begin.finished, job.survey.cuts), (copy, copies.count()));
        return Ok(Start { copy, finished: begin.finished, is_begun: false });
    };
    let of_copy = feed::copy_of(job, (copies, settings), copy)?;
    let finished = finished(&read, &of_copy, (serial, settings), link)?;
    if read.copies > 1 {
        let _ = writeln!(anstream::stderr(), "That is in copy {copy} of {}.", read.copies);
    }
    Ok(Start { copy, finished, is_begun: true })
}

/// Says where it begins, unless that is where everything does: what was said before is of all of it.
fn say_beginning(args: &Args, (finished, cuts): (usize, usize), (copy, copies): (u32, u32)) {
    let mut err = anstream::stderr();
    if args.from_cut.is_some() {
        let _ = writeln!(err, "Begins at cut {} of {cuts}.", finished + 1);
    } else if copy > 1 {
        let _ = writeln!(err, "Goes on with copy {copy} of {copies}.");
    }
}

/// How many cuts of the copy are finished already.
fn finished(
    journal: &Journal,
    job: &Job,
    (serial, settings): (&Serial, &PlanSettings),
    link: &mut SerialLink,
) -> Result<usize, Failure> {
    let range = (journal.finished, in_doubt(journal));
    let answers = serial.handshake == Handshake::Software;
    let found = if answers { asked(job, settings, link, range)? } else { None };
    if journal.state != State::Stopped {
        say_half(serial);
    }
    let (finished, why) = match found {
        Some(finished) => (finished, "the machine tells so"),
        None if range.0 == range.1 => (
            range.0,
            "it is assumed that the machine cut all that had reached it, and stands where it stood",
        ),
        None => (chosen(range)?, "as you say; the sheet and 0,0 have to be where they were"),
    };
    if finished >= journal.cuts {
        let text = "All cuts are finished; what is left is to lift the tool and to take it away.";
        let _ = writeln!(anstream::stderr(), "{text}");
        return Ok(journal.cuts);
    }
    let (next, all) = (finished + 1, journal.cuts);
    let _ = writeln!(anstream::stderr(), "Goes on at cut {next} of {all}: {why}.");
    Ok(finished)
}

/// Whether the last send of a job ended within an instruction, as its journal tells.
fn broke_off(journal: &Path) -> bool {
    match Journal::read(journal) {
        Ok(read) => read.is_some_and(|read| matches!(read.state, State::Running | State::Failed)),
        // Nobody knows.
        Err(_) => true,
    }
}

/// Sees to what the send before may have left: half an instruction ends where the next one begins, and the
/// tool goes to whatever number it had by then, perhaps lowered.
fn drop_half(serial: &Serial, link: &mut SerialLink) -> Result<(), Failure> {
    if serial.handshake == Handshake::Software {
        return standing(link).map(drop);
    }
    say_half(serial);
    Ok(())
}

/// Asks for what a machine that does not answer can't be told.
fn say_half(serial: &Serial) {
    if serial.handshake != Handshake::Software {
        let text = "The last send broke off, and the machine may hold half an instruction: clear its \
                    buffer at its keys, and see that the tool is up and 0,0 is where it was.";
        let _ = writeln!(anstream::stderr(), "{text}");
    }
}

fn journal(args: &Args) -> Result<Journal, Failure> {
    let path = Journal::path(&args.file);
    let read = Journal::read(&path).map_err(Failure::failed)?;
    read.ok_or_else(|| {
        let text = format!(
            "there is no journal {}, so nothing to resume; --from-cut begins at a cut that you name",
            path.display()
        );
        Failure::usage(text)
    })
}

/// Whether the journal tells of this job.
fn is_of(journal: &Journal, job: &Job) -> Result<(), Failure> {
    if job.survey.digest == journal.job && job.survey.cuts == journal.cuts {
        return Ok(());
    }
    let text = "this is not the job that was interrupted: the drawing or the options differ; \
                --from-cut begins at a cut that you name";
    Err(Failure::usage(text))
}

/// Asks the machine where it stands.
fn asked(
    job: &Job,
    settings: &PlanSettings,
    link: &mut SerialLink,
    range: (usize, usize),
) -> Result<Option<usize>, Failure> {
    let Some(place) = standing(link)? else { return Ok(None) };
    let told = send::finished_at(place, &job.spool, range, job.setup(settings));
    told.map_err(|error| Failure::failed(ResumeError::from(error)))
}

/// Where the machine stands once it has done all it got, and has dropped half an instruction.
fn standing(link: &mut SerialLink) -> Result<Option<Place>, Failure> {
    send::place(link, Duration::from_secs(60))
        .map_err(|error| Failure::new(Exit::Machine, format!("the port vanished: {}", error.0)))
}

/// The person says how many are finished.
fn chosen((from, to): (usize, usize)) -> Result<usize, Failure> {
    let known = how_far(from, to);
    if !std::io::stdin().is_terminal() {
        let text = format!("{known}; look at the film, and name the next with --from-cut");
        return Err(Failure::usage(text));
    }
    let question = format!("{known}. Look at the film: which is the last finished cut? ");
    let answer = replied(&question).map_err(|error| Failure::failed(files::plain(&error)))?;
    let number = answer.trim().parse().ok().filter(|n| (from..=to).contains(n));
    number.ok_or_else(|| Failure::usage(format!("write a number from {from} to {to}")))
}

/// How far the machine came, for certain and perhaps.
fn how_far(from: usize, to: usize) -> String {
    let certain = match from {
        0 => "no cut is".to_owned(),
        1 => "cut 1 is".to_owned(),
        _ => format!("cuts 1 to {from} are"),
    };
    format!("{certain} finished for certain, up to cut {to} perhaps")
}

/// The bytes from the first unfinished cut on.
pub fn taken(job: &Job, finished: usize, settings: &PlanSettings) -> Result<Taken, Failure> {
    if finished == 0 {
        return Ok(Taken::whole());
    }
    let setup = job.setup(settings);
    if finished >= job.survey.cuts {
        return send::after_cuts(&job.spool, setup).map_err(Failure::usage);
    }
    let blade = BladeSettings {
        offset_mm: settings.offset_mm(),
        limits: setup.machine.limits_mm(),
        ..BladeSettings::default()
    };
    let taken = send::from_cut(&job.spool, finished + 1, (setup, &blade));
    let taken = taken.map_err(Failure::usage)?;
    if taken.blind {
        let text = "There is no room in the waste to turn the blade first: the beginning of the first \
                    cut may be off by the blade's offset.";
        let _ = writeln!(anstream::stderr(), "{text}");
    }
    Ok(taken)
}

/// Enters how a send ended that has sent so many cuts `whole`.
pub fn enter(
    journal: &mut Journal,
    whole: usize,
    ending: &Result<Ending, SendError>,
    answers: bool,
) {
    let whole = whole.max(journal.finished);
    journal.perhaps = whole;
    journal.state = match ending {
        Ok(Ending::Done) => State::Done,
        Ok(Ending::Stopped) => State::Stopped,
        Err(_) => State::Failed,
    };
    // A machine that was told to lift, and dropped nothing, cuts all it got.
    let obeyed_all = matches!(ending, Ok(Ending::Stopped)) && !answers;
    if obeyed_all || matches!(ending, Ok(Ending::Done)) {
        journal.finished = whole;
    }
}

#[cfg(test)]
mod tests {
    use super::how_far;

    #[test]
    fn few_finished_cuts_are_told_in_plain_words() {
        assert_eq!(how_far(0, 3), "no cut is finished for certain, up to cut 3 perhaps");
        assert_eq!(how_far(1, 3), "cut 1 is finished for certain, up to cut 3 perhaps");
        assert_eq!(how_far(2, 3), "cuts 1 to 2 are finished for certain, up to cut 3 perhaps");
    }
}
