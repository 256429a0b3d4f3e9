//! A cable pulled anywhere: the job goes on, every cut is made once, the blade is never left down.

mod virtual_line;

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::Read;
use std::time::Duration;

use bladewright::blade::{BladeSettings, TrailingBlade};
use bladewright::follow::Setup;
use bladewright::geometry::Point;
use bladewright::pipeline::{self, ReadBack};
use bladewright::profile::{Handshake, Library, Machine};
use bladewright::send::{self, Ending, MarksAlong, Progress, Spool, StopFlag, Taken};
use bladewright::simulate::Part;
use bladewright::stand_in::StandIn;
use virtual_line::{Dice, Line, Mishaps, machine, send_settings, stand_in};

/// Closed contours with their corners at places of their own.
fn job(cuts: u64) -> Vec<u8> {
    let mut dice = Dice(11);
    let mut text = String::from("IN;SP1;VS20;");
    for i in 0..cuts {
        let (x, y) = (700 * (i % 14), 600 * (i / 14));
        let size = 100 + dice.next(200);
        text += &format!(
            "PU{x},{y};PD{},{y},{},{},{x},{},{x},{y};",
            x + size,
            x + size,
            y + size,
            y + size
        );
    }
    (text + "PU0,7000;SP0;").into_bytes()
}

fn spool(job: &[u8]) -> Spool {
    Spool::of(&mut &job[..]).unwrap()
}

/// What is sent of a job that was taken apart.
fn sent(taken: &Taken, job: &Spool) -> Vec<u8> {
    let mut bytes = Vec::new();
    taken.reader(job).read_to_end(&mut bytes).unwrap();
    assert_eq!(bytes.len() as u64, taken.bytes(job.len()));
    bytes
}

fn cuts(back: &ReadBack) -> Vec<Vec<(i64, i64)>> {
    let units = |p: &Point| ((p.x / 0.025).round() as i64, (p.y / 0.025).round() as i64);
    back.simulation.cuts.iter().map(|cut| cut.axis.iter().map(units).collect()).collect()
}

/// Its tip is where the machine is told to be.
fn pen() -> BladeSettings {
    BladeSettings::default()
}

struct Broken {
    finished: usize,
    perhaps: usize,
    ending: Option<Ending>,
    now: Duration,
}

/// For each handshake that holds a sender back and each buffer a hundred cables pulled after random
/// bytes, at each rate in turn.
#[test]
fn a_hundred_pulled_cables_cost_no_cut_and_repeat_none() {
    let job = job(60);
    let holding = [
        Handshake::XonXoff,
        Handshake::RtsCts,
        Handshake::DtrDsr,
        Handshake::EnqAck,
        Handshake::Software,
    ];
    let mut dice = Dice(5);
    for handshake in holding {
        for buffer in [60, 255, 1024, 65536] {
            let mut pulled = 0;
            for trial in 0..100 {
                let baud = [1200, 9600, 38400, 115_200][trial % 4];
                let machine = machine(handshake, buffer, baud);
                let case = format!("{handshake:?}, {buffer} bytes, {baud} bits/s, trial {trial}");
                pulled += usize::from(pull_and_resume(&job, &machine, &mut dice, &case));
            }
            assert!(pulled > 80, "{handshake:?} {buffer}: {pulled}");
        }
    }
}

/// Sends, with the cable pulled somewhere, and resumes; true when it was pulled before the end.
fn pull_and_resume(job: &[u8], machine: &Machine, dice: &mut Dice, case: &str) -> bool {
    let settings = send_settings(machine);
    let whole = pipeline::read_back(job, machine, 0.0);
    let spool = spool(job);
    let marks = MarksAlong::new(&spool, Setup::of(machine, 0.0));
    let stand_in = stand_in(machine, false);
    let cut_after = Some(30 + dice.next(job.len() as u64 + 200));
    let line = Line::new(stand_in.clone(), &settings, Mishaps { cut_after, ..Mishaps::default() });
    let broken = first_part(job, line, marks, &settings);
    if broken.ending.is_none() {
        // The machine goes on with what it got, while somebody looks for the cable.
        let now = broken.now + Duration::from_secs(dice.next(20));
        stand_in.borrow_mut().advance(now);
        let mut line = Line::new(stand_in.clone(), &settings, Mishaps::default()).plugged_at(now);
        let range = (broken.finished, broken.perhaps.max(broken.finished));
        let finished = if settings.answers() {
            let place = send::place(&mut line, Duration::from_secs(60)).unwrap().unwrap();
            let told = send::finished_at(place, &spool, range, Setup::of(machine, 0.0)).unwrap();
            // Where there is one answer only, nobody has to tell it.
            told.or((range.0 == range.1).then_some(range.0))
                .unwrap_or_else(|| panic!("{case}: {place:?} does not tell between {range:?}"))
        } else {
            seen_on_the_film(&mut line, &whole, machine)
        };
        assert!((range.0..=range.1).contains(&finished), "{case}: {finished} is not in {range:?}");
        let taken = if finished < whole.simulation.cuts.len() {
            send::from_cut(&spool, finished + 1, (Setup::of(machine, 0.0), &pen()))
        } else {
            send::after_cuts(&spool, Setup::of(machine, 0.0))
        };
        let mut rest = taken.unwrap().reader(&spool);
        send::send(&mut rest, &settings, &mut line, &StopFlag::new(), &mut |_| ()).unwrap();
        stand_in.borrow_mut().advance(line.now);
    }
    let after = broken.now + Duration::from_secs(3600);
    stand_in.borrow_mut().advance(after);
    every_cut_once(&stand_in.borrow(), &whole, machine, case);
    broken.ending.is_none()
}

/// A machine that can't answer: the person waits for its end, clears its buffer at its keys, and
/// counts the finished cuts.
fn seen_on_the_film(line: &mut Line, whole: &ReadBack, machine: &Machine) -> usize {
    let cutter = line.machine.clone();
    let mut cutter = cutter.borrow_mut();
    line.now += Duration::from_secs(600);
    let now = line.now;
    cutter.advance(now);
    b"\x1b.J\x1b.K".iter().for_each(|&byte| cutter.receive(byte, now));
    cutter.said();
    *line = Line::new(line.machine.clone(), &send_settings(machine), Mishaps::default())
        .plugged_at(now);
    let made = cuts(&pipeline::read_back(cutter.obeyed(), machine, 0.0));
    cuts(whole).iter().filter(|cut| made.contains(cut)).count()
}

fn every_cut_once(cutter: &StandIn, whole: &ReadBack, machine: &Machine, case: &str) {
    assert_eq!(cutter.lost(), 0, "{case}");
    assert!(!cutter.tool().1, "{case}");
    let wanted = cuts(whole);
    let made = cuts(&pipeline::read_back(cutter.obeyed(), machine, 0.0));
    for (i, cut) in wanted.iter().enumerate() {
        let times = made.iter().filter(|made| *made == cut).count();
        assert_eq!(times, 1, "{case}: cut {} made {times} times", i + 1);
    }
    // What else it did is the beginning of a cut that was interrupted.
    for other in made.iter().filter(|made| !wanted.contains(made)) {
        assert!(wanted.iter().any(|cut| cut.starts_with(other)), "{case}: {other:?}");
    }
}

fn first_part(
    mut job: &[u8],
    mut line: Line,
    mut marks: MarksAlong,
    settings: &send::SendSettings,
) -> Broken {
    let mut last = Progress { sent: 0, obeyed: 0, halted: None };
    let mut finished = 0;
    let result = send::send(&mut job, settings, &mut line, &StopFlag::new(), &mut |progress| {
        last = progress;
        finished = marks.up_to(progress.sent, progress.obeyed).finished(progress.obeyed);
    });
    Broken {
        finished,
        perhaps: marks.whole(last.sent).unwrap(),
        ending: result.ok(),
        now: line.now,
    }
}

/// How often each cut is made by a job, cut by cut: its places are kept as one number, so that memory
/// grows with the cuts and not with the job.
fn times_made(job: &Spool, machine: &Machine) -> HashMap<u64, usize> {
    let (mut times, mut hasher) = (HashMap::new(), DefaultHasher::new());
    job.each_piece(Setup::of(machine, 0.0), &mut |piece| {
        let Part::Cut { begins, ends } = piece.part else { return true };
        for p in piece.cut.axis.iter().skip(usize::from(!begins)) {
            let units = [p.x, p.y].map(|mm| (mm / 0.025).round() as i64);
            units.hash(&mut hasher);
        }
        if ends {
            let cut = std::mem::take(&mut hasher).finish();
            *times.entry(cut).or_default() += 1;
        }
        true
    })
    .unwrap();
    times
}

/// As with small jobs, ten times as long as those whose cuts `send` compares itself.
#[test]
fn a_pulled_cable_in_twenty_megabytes_costs_no_cut_and_repeats_none() {
    let mut squares = (0..).map(|i: u64| {
        let (x, y, size) = (20 * (i % 500), 12 * (i / 500 % 600), 8 + i / 300_000);
        let (right, top) = (x + size, y + size);
        format!("PU{x},{y};PD{right},{y},{right},{top},{x},{top},{x},{y};")
    });
    let mut text = String::from("IN;SP1;");
    squares.any(|square| {
        text += &square;
        text.len() > 20_000_000
    });
    text += "PU0,0;SP0;";
    let whole = spool(text.as_bytes());
    let machine = machine(Handshake::Software, 1024, 115_200);
    let (settings, stand_in) = (send_settings(&machine), stand_in(&machine, true));
    let mishaps = Mishaps { cut_after: Some(11_234_567), ..Mishaps::default() };
    let line = Line::new(stand_in.clone(), &settings, mishaps);
    let marks = MarksAlong::new(&whole, Setup::of(&machine, 0.0));
    let broken = first_part(text.as_bytes(), line, marks, &settings);
    assert!(broken.ending.is_none() && broken.finished > 100_000);
    let mut line =
        Line::new(stand_in.clone(), &settings, Mishaps::default()).plugged_at(broken.now);
    let place = send::place(&mut line, Duration::from_secs(60)).unwrap().unwrap();
    let range = (broken.finished, broken.perhaps.max(broken.finished));
    let told = send::finished_at(place, &whole, range, Setup::of(&machine, 0.0)).unwrap();
    let setup = (Setup::of(&machine, 0.0), &pen());
    let taken = send::from_cut(&whole, told.unwrap() + 1, setup).unwrap();
    let mut rest = taken.reader(&whole);
    send::send(&mut rest, &settings, &mut line, &StopFlag::new(), &mut |_| ()).unwrap();
    stand_in.borrow_mut().advance(line.now + Duration::from_secs(60));
    assert_eq!((stand_in.borrow().lost(), stand_in.borrow().tool().1), (0, false));
    let mut made = times_made(&spool(stand_in.borrow().obeyed()), &machine);
    let wanted = times_made(&whole, &machine);
    assert!(wanted.len() > 300_000 && wanted.values().all(|&times| times == 1));
    assert!(wanted.keys().all(|cut| made.remove(cut) == Some(1)));
    assert!(made.len() <= 1, "what else it did is the cut that was interrupted: {}", made.len());
}

/// What is confirmed by a machine that cannot answer is never more than it has done.
#[test]
fn nothing_is_confirmed_before_it_is_cut() {
    let job = job(60);
    for handshake in [
        Handshake::XonXoff,
        Handshake::RtsCts,
        Handshake::DtrDsr,
        Handshake::EnqAck,
        Handshake::Software,
    ] {
        let machine = machine(handshake, 255, 9600);
        let settings = send_settings(&machine);
        let spool = spool(&job);
        let mut marks = MarksAlong::new(&spool, Setup::of(&machine, 0.0));
        let stand_in = stand_in(&machine, false);
        let mut line = Line::new(stand_in.clone(), &settings, Mishaps::default());
        let mut before = 0;
        send::send(&mut &job[..], &settings, &mut line, &StopFlag::new(), &mut |progress| {
            let finished = marks.up_to(progress.sent, progress.obeyed).finished(progress.obeyed);
            if finished > before {
                before = finished;
                let made = cuts(&pipeline::read_back(stand_in.borrow().obeyed(), &machine, 0.0));
                assert!(made.len() >= finished, "{handshake:?}: {finished} of {}", made.len());
            }
        })
        .unwrap();
        assert!(before > 40, "{handshake:?}: {before}");
    }
}

/// Lifted where a closed contour begins and ends, the tool may have cut it or not.
#[test]
fn a_place_that_tells_nothing_is_not_believed() {
    let machine = machine(Handshake::Software, 255, 9600);
    let finished = |text: &str, x: i64, down: bool| {
        let place = send::Place { x, y: 0, down };
        send::finished_at(place, &spool(text.as_bytes()), (0, 2), Setup::of(&machine, 0.0)).unwrap()
    };
    let apart = "PA0,0;PD9,0,9,9,0,0;PU;PA50,0;PD59,0,59,9,50,0;PU;PA90,0;";
    assert_eq!(finished(apart, 50, false), None);
    assert_eq!(finished(apart, 50, true), Some(2));
    assert_eq!(finished(apart, 90, false), Some(2));
    let at_once = "PU0,0;PD9,0,9,9,0,0;PU50,0;PD59,0,59,9,50,0;PU90,0;";
    assert_eq!(finished(at_once, 50, false), Some(1));
    assert_eq!(finished(at_once, 90, false), Some(2));
    // The first cut may begin where the machine stands already: then nothing leads to it.
    assert_eq!(finished(at_once, 0, false), Some(0));
    // Nobody can tell two passes over one line apart, on the film either: the first is the one to go on with.
    let twice = "PU5,0;PD9,0,9,9,5,0;PU;PD9,0,9,9,5,0;PU50,0;PD59,0,59,9,50,0;PU90,0;";
    assert_eq!(finished(twice, 9, false), Some(0));
    assert_eq!(finished(twice, 9, true), Some(0));
    assert_eq!(finished(twice, 5, false), Some(0));
    // After the last of them the line is finished, which shows.
    let in_place = twice.replace("5,0;PU50,0", "5,0;PU;PU50,0");
    assert_eq!(finished(&in_place, 5, false), None);
    let crossing = "PU5,0;PD9,0,9,9,5,0;PU;PU0,0;PD9,0,99,99;PU90,0;";
    assert_eq!(finished(crossing, 9, true), None);
}

/// A trailing blade comes to the resumed cut with the heading that the whole job gives it.
#[test]
fn a_resumed_cut_begins_with_the_right_heading() {
    let library = Library::with_folder("/nowhere".into());
    let machine = library.machine("roll-15").unwrap();
    let text = "IN;SP1;VS20;PU4000,4000;PD5000,4000,5000,5000;PU8000,4000;PD8000,5000,9000,5000;PU0,0;SP0;";
    let offset_mm = 0.25;
    let back = pipeline::read_back(text.as_bytes(), &machine, offset_mm);
    let blade =
        BladeSettings { offset_mm, limits: machine.limits_mm(), ..BladeSettings::default() };
    let job = spool(text.as_bytes());
    let taken = send::from_cut(&job, 2, (Setup::of(&machine, offset_mm), &blade)).unwrap();
    assert!(!taken.blind);
    let again = pipeline::read_back(&sent(&taken, &job), &machine, offset_mm);
    assert_eq!(again.simulation.cuts.len(), 2, "a turn in the waste, and the cut");
    let turn = &again.simulation.cuts[0].axis;
    // From any heading that the blade may have been left in.
    for degrees in (0..360).step_by(15) {
        let mut tip = TrailingBlade::new(offset_mm, turn[0], f64::from(degrees).to_radians());
        tip.line_to(turn[1]);
        let off = (tip.heading() - back.simulation.cuts[0].heading).sin().abs();
        assert!(off < 0.02 || (175..=185).contains(&degrees), "{degrees}: {off}");
    }
    assert_eq!(cuts(&again)[1], cuts(&back)[1]);
    assert_eq!(taken.job_bytes(taken.bytes(job.len())), text.len() as u64);
}

#[test]
fn what_was_set_is_set_again() {
    let machine = machine(Handshake::Software, 255, 9600);
    let text = "IN;SP1;VS10;PU10,10;PD20,20;VS5;SP2;PR;PU10,10;PD5,5,6,6;PU1,1;PA;PU0,0;";
    let job = spool(text.as_bytes());
    let taken = send::from_cut(&job, 2, (Setup::of(&machine, 0.0), &pen())).unwrap();
    assert_eq!(
        String::from_utf8(sent(&taken, &job)).unwrap(),
        "IN;VS5;SP2;PA;PU30,30;PR;PD5,5,6,6;PU1,1;PA;PU0,0;"
    );
    // Speeds of several tools, and what ends the label between the cuts.
    let of_tools = "IN;DT#;VS10,1;VS20,2;VS5,1;SP1;PU10,10;PD20,20;LBa;b#PU30,30;PD40,40;LBc#PU;";
    let tools = spool(of_tools.as_bytes());
    let taken = send::from_cut(&tools, 2, (Setup::of(&machine, 0.0), &pen())).unwrap();
    let set = "IN;DT#;VS20,2;VS5,1;SP1;PA;PU30,30;PD40,40;LBc#PU;";
    assert_eq!(String::from_utf8(sent(&taken, &tools)).unwrap(), set);
    let wrong = send::from_cut(&job, 3, (Setup::of(&machine, 0.0), &pen()));
    assert!(wrong.unwrap_err().to_string().contains("no cut 3"));
    let lifted = send::lifted(&job).unwrap();
    let lifted = lifted.piece(0, lifted.len()).unwrap();
    assert_eq!(String::from_utf8(lifted).unwrap(), text.replace("PD", "PU"));
    assert!(send::lifted(&spool(b"IN;PU1,1;CI40;")).is_err());
}

/// The rest of a job that was lifted as a whole is the rest of the job, lifted.
#[test]
fn what_is_taken_of_a_lifted_job_is_what_is_taken_lifted() {
    let machine = Library::with_folder("/nowhere".into()).machine("roll-15").unwrap();
    let blade =
        BladeSettings { offset_mm: 0.25, limits: machine.limits_mm(), ..BladeSettings::default() };
    let whole = spool(&job(30));
    let lifted = send::lifted(&whole).unwrap();
    assert_eq!(lifted.len(), whole.len());
    for number in [2, 17, 30] {
        let setup = Setup::of(&machine, 0.25);
        let taken = send::from_cut(&whole, number, (setup, &blade)).unwrap();
        assert!(taken.before.windows(2).any(|two| two == b"PD"), "the blade is turned first");
        let rest = spool(&sent(&taken, &whole));
        let lifted_rest = send::lifted(&rest).unwrap();
        let wanted = lifted_rest.piece(0, lifted_rest.len()).unwrap();
        assert_eq!(sent(&taken.lifted().unwrap(), &lifted), wanted, "{number}");
        assert!(!wanted.windows(2).any(|two| two == b"PD"));
    }
}
