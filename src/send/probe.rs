//! [`probe`]: what a machine answers; [`anybody_there`]: whether it does at the rate of the line; [`place`]: where one that has done all it got stands.
//!
//! HP 7470A manual, pp. 7-2 to 7-8 and 10-26 to 10-39. Nothing that is asked moves the machine.

use std::time::Duration;

use super::link::{LOOK_AGAIN, Link, LinkError, ask, ask_once, begin_anew, hear_out};
use super::standing::Place;
use crate::profile::{Handshake, HardClip, Machine, Origin};

/// How long an idle machine may take for an answer.
const PATIENCE: Duration = Duration::from_secs(1);

/// How long each of two questions may take that only find out whether somebody answers.
const SHORT: Duration = Duration::from_millis(600);

/// The rates that such machines have, bits a second, the likeliest first. Order: our own choice.
pub const RATES: [u32; 8] = [9600, 19200, 4800, 2400, 1200, 38400, 57600, 115_200];

/// Whether a machine answers sense at the rate of this line. It is asked only what moves nothing: its
/// last error (`ESC.E`) and its name (`OI`). At a wrong rate it hears neither, and notes an error that
/// [`probe`] makes it forget.
///
/// # Errors
/// [`LinkError`] when the line is gone.
pub fn anybody_there(link: &mut dyn Link) -> Result<bool, LinkError> {
    begin_anew(link)?;
    let error = ask_once(link, b"\x1b.E", SHORT)?;
    if error.is_some_and(|text| text.trim().parse::<u32>().is_ok()) {
        return Ok(true);
    }
    let name = ask_once(link, b"OI;", SHORT)?;
    Ok(name.is_some_and(|text| text.len() > 1 && text.chars().all(|c| (' '..='~').contains(&c))))
}

/// What a machine answered.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// Each request and its answer.
    pub answers: Vec<(&'static str, Option<String>)>,
}

/// Asks all that is worth asking, one at a time; a machine that answers neither of the first two
/// is asked nothing more.
///
/// # Errors
/// [`LinkError`] when the line is gone.
pub fn probe(link: &mut dyn Link) -> Result<Found, LinkError> {
    begin_anew(link)?;
    let mut found = Found::default();
    let requests: [(&str, &[u8]); 8] = [
        ("ESC.E", b"\x1b.E"),
        ("OI", b"OI;"),
        ("ESC.O", b"\x1b.O"),
        ("ESC.L", b"\x1b.L"),
        ("ESC.B", b"\x1b.B"),
        ("OF", b"OF;"),
        ("OH", b"OH;"),
        ("OE", b"OE;"),
    ];
    for (name, request) in requests {
        if found.answers.len() == 2 && !found.any() {
            break;
        }
        let answer = ask(link, request, PATIENCE)?;
        found.answers.push((name, answer));
    }
    Ok(found)
}

impl Found {
    /// Whether anything was answered.
    pub fn any(&self) -> bool {
        self.answers.iter().any(|(_, answer)| answer.is_some())
    }

    /// Whether buffer space can be asked for.
    pub fn answers_for_room(&self) -> bool {
        self.answer("ESC.E").is_some() && !self.numbers("ESC.B").is_empty()
    }

    fn answer(&self, request: &str) -> Option<&str> {
        let (_, answer) = self.answers.iter().find(|(name, _)| *name == request)?;
        answer.as_deref()
    }

    fn numbers(&self, request: &str) -> Vec<i64> {
        let text = self.answer(request).unwrap_or_default();
        text.split(',').filter_map(|n| n.trim().parse().ok()).collect()
    }

    /// `like`, with what the machine said of itself.
    pub fn profile(&self, like: &Machine) -> Machine {
        let mut machine = like.clone();
        if let [x_min, y_min, x_max, y_max] = self.numbers("OH")[..]
            && x_min < x_max
            && y_min < y_max
        {
            machine.source.retain(|key, _| !key.starts_with("hard_clip"));
            machine.source.insert("hard_clip".into(), said_to("OH"));
            let [x_min, y_min, x_max, y_max] =
                [x_min, y_min, x_max, y_max].map(|n| n.clamp(-(1 << 30), 1 << 30) as i32);
            machine.hard_clip = Some(HardClip { x_min, y_min, x_max, y_max });
            let begins_at_corner = (x_min, y_min) == (0, 0);
            machine.origin = if begins_at_corner { Origin::LowerLeft } else { like.origin };
            if begins_at_corner {
                machine.source.insert("origin".into(), said_to("OH"));
            }
        }
        if let [per_mm, _] = self.numbers("OF")[..]
            && (1..=10_000).contains(&per_mm)
            // 0.02488 mm machines answer 40 as well (HP 7470A manual, p. 7-7): nothing learnt.
            && (1.0 / per_mm as f64 - like.unit_mm).abs() > 0.001
        {
            machine.source.insert("unit_mm".into(), said_to("OF"));
            machine.unit_mm = 1.0 / per_mm as f64;
        }
        let size = self.numbers("ESC.L").first().copied().filter(|n| (16..=1 << 24).contains(n));
        if let (Some(size), Some(serial)) = (size, &mut machine.serial) {
            serial.buffer_bytes = size as u32;
            if self.answer("ESC.B").is_some() {
                serial.handshake = Handshake::Software;
                machine.source.insert("serial.handshake".into(), said_to("ESC.B"));
            }
            machine.source.insert("serial.buffer_bytes".into(), said_to("ESC.L"));
            machine.source.insert("serial.baud".into(), "the machine answers at it".into());
        }
        machine
    }
}

fn said_to(request: &str) -> String {
    format!("answered by the machine itself to {request}")
}

/// Where a machine stands that answers `ESC.`: waits until it has done all it got, at most as long
/// as `patience` without a change, drops half an instruction, and asks. `None` when it does not say.
///
/// # Errors
/// [`LinkError`] when the line is gone.
pub fn place(link: &mut dyn Link, patience: Duration) -> Result<Option<Place>, LinkError> {
    begin_anew(link)?;
    // The sender that was here before may have left a question on the line.
    hear_out(link)?;
    let mut since = link.now();
    let mut before = None;
    loop {
        let bits = ask(link, b"\x1b.O", PATIENCE)?.and_then(|text| text.parse::<u32>().ok());
        let Some(bits) = bits else { return Ok(None) };
        if bits & 8 != 0 {
            break;
        }
        let free = ask(link, b"\x1b.B", PATIENCE)?;
        if free != before {
            (before, since) = (free, link.now());
        }
        if link.now().saturating_sub(since) > patience {
            return Ok(None);
        }
        for _ in 0..50 {
            link.pause(LOOK_AGAIN);
        }
    }
    let mut rest = &b"\x1b.K"[..];
    while !rest.is_empty() {
        let taken = link.write(rest)?;
        rest = &rest[taken..];
    }
    // The last vector may be running.
    let answer = ask(link, b"OA;", patience)?.unwrap_or_default();
    let numbers: Vec<i64> = answer.split(',').filter_map(|n| n.trim().parse().ok()).collect();
    Ok(match numbers[..] {
        [x, y, pen] => Some(Place { x, y, down: pen == 1 }),
        _ => None,
    })
}
