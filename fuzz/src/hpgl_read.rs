//! Arbitrary bytes through the reader, the interpreter, the simulation and the checks: what is read
//! covers the bytes in order, and every figure is a number.

use std::sync::OnceLock;

use bladewright::check;
use bladewright::geometry::{Bounds, Point};
use bladewright::hpgl::{self, TraceSettings};
use bladewright::profile::{Library, Machine};
use bladewright::simulate::{self, SimulateSettings};

static MACHINE: OnceLock<Machine> = OnceLock::new();

pub fn hpgl_read(bytes: &[u8]) {
    let machine =
        MACHINE.get_or_init(|| Library::default().machine("roll-24").expect("it is built in"));
    let (commands, _) = hpgl::read(bytes);
    let (mut end, mut heard) = (0, check::Heard::default());
    for located in &commands {
        heard.hear(located, machine);
        assert!(located.byte <= located.end && located.end <= bytes.len() as u64);
        // Device control may stand inside another instruction.
        if !matches!(located.command, hpgl::Command::Escape(_)) {
            assert!(located.byte >= end, "{} before {end}", located.byte);
            end = located.end;
        }
    }
    let page = Bounds { min: Point::ORIGIN, max: Point::new(16158.0, 11040.0) };
    for hard_clip in [None, Some(page)] {
        let settings = TraceSettings { hard_clip, ..TraceSettings::default() };
        let (trace, _) = hpgl::trace(&commands, &settings);
        let settings = SimulateSettings::of(machine, 0.25);
        let simulation = simulate::run(trace.steps.iter().copied(), bytes.len() as u64, &settings);
        assert!(simulation.totals.cut_mm.is_finite() && simulation.totals.travel_mm.is_finite());
        check::check(&simulation, &heard, machine);
    }
}
