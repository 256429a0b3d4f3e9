//! What a machine's profile sends before and after the work must leave the work alone.
//!
//! Judged by what the bytes do, as any job is: the header is read with a move behind it, the trailer
//! with one before it. An instruction that lowers the tool would cut beside the work, and one that
//! changes what coordinates mean would cut the work elsewhere.

use crate::follow::{Follower, Seen, Setup};
use crate::geometry::Point;
use crate::profile::{Machine, ProfileError};
use crate::simulate::Part;

/// Where the tool is sent to see whether it gets there, plotter units; by way of another place, since
/// steps from 0,0 would lead there as well.
const PROBE: (i32, i32) = (1200, 800);
/// Half a plotter unit: what rounding may cost.
const NEAR_UNITS: f64 = 0.5;

/// The machine of the profile in `file`, if what it sends around the work leaves the work alone.
pub fn judged(machine: Machine, file: &str) -> Result<Machine, ProfileError> {
    match judge(&machine) {
        Ok(()) => Ok(machine),
        Err(text) => Err(ProfileError::Value { file: file.to_owned(), text }),
    }
}

/// Names the instruction of the machine's header or trailer that would spoil the work, and says how.
fn judge(machine: &Machine) -> Result<(), String> {
    let (header, trailer) = (&machine.language.header, &machine.language.trailer);
    let (x, y) = PROBE;
    for count in 1..=header.len() {
        let done = read(machine, &format!("{};PU{y},{x};PU{x},{y};", header[..count].join(";")));
        let what = fault(&done).or_else(|| (!arrived(&done, machine)).then_some(ELSEWHERE));
        if let Some(what) = what {
            return Err(told("header", &header[count - 1], what));
        }
    }
    for count in 1..=trailer.len() {
        let done = read(machine, &format!("PU{x},{y};{};PU;", trailer[..count].join(";")));
        if let Some(what) = fault(&done) {
            return Err(told("trailer", &trailer[count - 1], what));
        }
    }
    Ok(())
}

const LOWERS: &str = "it lowers the tool, which would cut beside the work";
const ELSEWHERE: &str = "after it the tool does not go where a job sends it, so that the work would be cut \
                         elsewhere";

fn told(list: &str, instruction: &str, what: &str) -> String {
    format!("language.{list} holds \"{instruction}\": {what}; leave it out")
}

/// What some bytes do.
struct Done {
    /// The tool went down.
    lowered: bool,
    /// Where the tool ended, lifted, mm.
    at: Option<Point>,
}

/// On one core: no command needs the threads of a long job for these few bytes.
fn read(machine: &Machine, text: &str) -> Done {
    let mut done = Done { lowered: false, at: None };
    let mut see = |seen: Seen| {
        let Seen::Piece(piece) = seen else { return };
        done.lowered |= matches!(piece.part, Part::Cut { .. });
        done.at = piece.cut.travel.last().copied().or(done.at);
    };
    let mut follower = Follower::new(Setup::of(machine, 0.0));
    follower.take(text.as_bytes(), &mut see);
    follower.end(&mut see);
    done
}

fn fault(done: &Done) -> Option<&'static str> {
    done.lowered.then_some(LOWERS)
}

/// Whether the tool ended where the probe sends it.
fn arrived(done: &Done, machine: &Machine) -> bool {
    let wanted = Point::new(f64::from(PROBE.0), f64::from(PROBE.1)) * machine.unit_mm;
    done.at.is_some_and(|at| at.distance(wanted) <= NEAR_UNITS * machine.unit_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Library;

    fn with(header: &[&str], trailer: &[&str]) -> Result<(), String> {
        let mut machine = Library::default().machine("roll-15").unwrap();
        let list = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect();
        (machine.language.header, machine.language.trailer) = (list(header), list(trailer));
        judge(&machine)
    }

    /// HP 7470A manual: what each does, pp. 3-2 (PD), 3-5 (PR), 3-12 (CI), 2-7 (SC), 1-7 (LB).
    #[test]
    fn what_lowers_the_tool_or_moves_the_work_is_named() {
        for bad in ["PD", "PD400,400", "IN;PD;PU", "CI40"] {
            let told = with(&["IN", bad], &["SP0"]).unwrap_err();
            assert!(
                told.starts_with(&format!("language.header holds \"{bad}\": it lowers")),
                "{told}"
            );
            let told = with(&["IN"], &["SP0", bad]).unwrap_err();
            assert!(
                told.starts_with(&format!("language.trailer holds \"{bad}\": it lowers")),
                "{told}"
            );
        }
        for bad in ["PR", "SC0,100,0,100", "RO90", "LBsign"] {
            let told = with(&["IN", bad], &["SP0"]).unwrap_err();
            assert!(told.contains(&format!("\"{bad}\": after it the tool does not go")), "{told}");
        }
    }

    #[test]
    fn what_leaves_the_work_alone_passes() {
        for good in
            ["IN", "DF", "IP0,0,8000,8000", "VS20", "FS4", "SP1", "PU", "PU0,0", "PA", "EC1", ""]
        {
            assert_eq!(with(&["IN", good], &["PU", good]), Ok(()), "{good}");
        }
        assert_eq!(with(&[], &[]), Ok(()));
        for listed in Library::default().machines() {
            let machine = Library::default().machine(&listed.name).unwrap();
            assert_eq!(judge(&machine), Ok(()), "{}", listed.name);
        }
    }
}
