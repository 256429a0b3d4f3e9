//! Prints the cuts of an HPGL job, one a line: the tool, then its positions in plotter units.
//!
//! ```text
//! cargo run --example cuts -- job.hpgl
//! ```
//!
//! The smallest use of the reader: bytes to instructions, instructions to what the machine does.

use std::io::Write;

use bladewright::hpgl::{self, StepKind, TraceSettings};

fn main() -> std::io::Result<()> {
    let Some(file) = std::env::args_os().nth(1) else {
        eprintln!("Name an HPGL file.");
        std::process::exit(2);
    };
    let (commands, findings) = hpgl::read(&std::fs::read(file)?);
    let (trace, obeyed) = hpgl::trace(&commands, &TraceSettings::default());
    for finding in findings.iter().chain(&obeyed) {
        eprintln!("{finding}");
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    let (mut at, mut down, mut tool) = ((0.0, 0.0), false, 0);
    for step in trace.steps {
        match step.kind {
            StepKind::Tool(number) => tool = number,
            StepKind::Lower => {
                down = true;
                write!(out, "{tool} {},{}", at.0, at.1)?;
            }
            StepKind::Raise => {
                down = false;
                writeln!(out)?;
            }
            StepKind::Move(p) => {
                at = (p.x, p.y);
                if down {
                    write!(out, " {},{}", at.0, at.1)?;
                }
            }
            StepKind::Velocity(_) | StepKind::Force(_) => {}
        }
    }
    out.flush()
}
