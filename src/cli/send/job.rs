//! [`Job`]: what is sent, and what it does; for a rehearsal also the same with the tool lifted.

use std::io::Read;

use super::Args;
use crate::cli::{Failure, as_it_is, files, preview};
use crate::finding::Finding;
use crate::follow::Setup;
use crate::pipeline::PlanSettings;
use crate::report::Report;
use crate::send::{self, ResumeError, Shift, Spool, Survey, Taken};
use crate::simulate::SimulateSettings;

/// What is sent, and what it does.
pub struct Job {
    pub spool: Spool,
    /// How it is simulated; a drawing's tools may have offsets of their own.
    simulate: SimulateSettings,
    pub survey: Survey,
    /// The same with the tool lifted throughout, if that is what goes out.
    lifted: Option<Lifted>,
    /// Lines that are cut; orienting cuts of a drawing's job not counted.
    pub contours: usize,
    /// What there is to say of it.
    pub findings: Vec<Finding>,
}

/// A job with the tool lifted throughout.
struct Lifted {
    spool: Spool,
    survey: Survey,
}

impl Lifted {
    fn of(spool: &Spool, setup: Setup) -> Result<Self, Failure> {
        let spool = send::lifted(spool).map_err(Failure::failed)?;
        let survey = survey(&spool, setup)?;
        Ok(Self { spool, survey })
    }
}

impl Job {
    /// The job that `args` name: as it is, or what a drawing gives.
    pub fn of(args: &Args, settings: &PlanSettings) -> Result<Self, Failure> {
        let spool = files::spool(&args.file)?;
        let all = |end: u64| spool.piece(0, end).map_err(|e| Failure::failed(ResumeError::from(e)));
        let job = if files::is_drawing(&all(files::LOOKED_AT)?) {
            drawn(args, (&all(spool.len())?, settings))?
        } else {
            read(spool, (args, settings))?
        };
        if args.blade_up { job.rehearsed(settings) } else { Ok(job) }
    }

    /// The same with the tool lifted as it goes out.
    fn rehearsed(self, settings: &PlanSettings) -> Result<Self, Failure> {
        let lifted = Some(Lifted::of(&self.spool, self.setup(settings))?);
        Ok(Self { lifted, ..self })
    }

    /// The same elsewhere along the feed.
    pub fn moved(&self, shift: Shift, settings: &PlanSettings) -> Result<Self, Failure> {
        let spool = send::moved(&self.spool, shift).map_err(Failure::failed)?;
        let survey = survey(&spool, self.setup(settings))?;
        let findings = self.findings.clone();
        let moved = Self { spool, survey, findings, lifted: None, ..*self };
        if self.lifted.is_some() { moved.rehearsed(settings) } else { Ok(moved) }
    }

    /// Which machine obeys, and how.
    pub fn setup<'a>(&self, settings: &'a PlanSettings) -> Setup<'a> {
        Setup::new(&settings.machine, self.simulate)
    }

    /// What is done by what goes out.
    pub fn outgoing(&self) -> &Survey {
        self.lifted.as_ref().map_or(&self.survey, |lifted| &lifted.survey)
    }

    /// What goes out of what is `taken` of the job.
    pub fn as_sent<'a>(&'a self, taken: &Taken) -> Result<Box<dyn Read + 'a>, Failure> {
        match &self.lifted {
            None => Ok(Box::new(taken.reader(&self.spool))),
            Some(lifted) => {
                let taken = taken.lifted().map_err(Failure::failed)?;
                Ok(Box::new(taken.reader(&lifted.spool)))
            }
        }
    }
}

/// What the job in `spool` does.
fn survey(spool: &Spool, setup: Setup) -> Result<Survey, Failure> {
    let survey = Survey::of(spool, setup);
    survey.map_err(|error| Failure::failed(ResumeError::from(error)))
}

/// The job in `spool`.
fn read(spool: Spool, (args, settings): (&Args, &PlanSettings)) -> Result<Job, Failure> {
    if args.passes.is_some() {
        return Err(Failure::usage("--passes: a job is sent as it is; give the drawing"));
    }
    if settings.placement.copies != (1, 1) {
        let text = "--copies: a job is sent as it is, but as often as you like: write --copies N";
        return Err(Failure::usage(text));
    }
    // Its copies are cut one after the other, with a gap between them.
    as_it_is::refuse(&args.drawing.typed, &["--copies", "--gap"])?;
    let setup = Setup::of(&settings.machine, settings.offset_mm());
    let survey = survey(&spool, setup)?;
    if spool.is_empty() {
        return Err(preview::empty(&args.file));
    }
    if survey.cuts == 0 {
        return Err(preview::cuts_nothing(&args.file, &survey.findings));
    }
    let (contours, findings) = (survey.cuts, survey.findings.clone());
    Ok(Job { spool, simulate: setup.simulate, survey, lifted: None, contours, findings })
}

/// The job that a drawing gives.
fn drawn(args: &Args, (bytes, settings): (&[u8], &PlanSettings)) -> Result<Job, Failure> {
    let mut plans = args.drawing.plans_of(bytes, &args.file, settings)?;
    if plans.len() > 1 {
        let text = "the drawing gives several jobs; choose one with --layers or --colours";
        return Err(Failure::usage(text));
    }
    let plan = plans.pop().ok_or_else(|| Failure::failed("there is nothing to cut"))?;
    let report = Report::of_plan(&plan);
    let spool = Spool::of(&mut &plan.written.bytes[..]);
    let spool = spool.map_err(|error| Failure::failed(ResumeError::from(error)))?;
    let simulate = plan.works.simulate();
    let survey = survey(&spool, Setup::new(&settings.machine, simulate))?;
    let (contours, findings) = (report.contours, report.findings);
    Ok(Job { spool, simulate, survey, lifted: None, contours, findings })
}
