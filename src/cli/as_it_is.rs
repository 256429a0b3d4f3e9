//! A job is taken as it is: what says how a drawing becomes a job cannot change one that is written.
//!
//! Such options are known by the heading that they have in the help; the overcut stands beside the blade's. One that is typed with a job is
//! refused, since passing over `--width` or `--mirror` would cost film. Those of a job file are not: it
//! is about the drawing, and names the machine for both.

use clap::parser::ValueSource;
use clap::{ArgMatches, Command};

use super::Failure;

/// Headings of the options that only a drawing obeys.
const OF_DRAWINGS: [&str; 5] = ["What is cut", "Layers", "Size and place", "Weeding", "Order"];

/// The options among `matches` of `program` that only a drawing obeys, as they were typed.
pub fn of_drawing(program: &Command, matches: &ArgMatches) -> Vec<String> {
    let Some((name, used)) = matches.subcommand() else { return Vec::new() };
    let typed = |id: &str| used.value_source(id) == Some(ValueSource::CommandLine);
    let Some(command) = program.find_subcommand(name) else { return Vec::new() };
    let headed = |arg: &clap::Arg| {
        arg.get_help_heading().is_some_and(|heading| OF_DRAWINGS.contains(&heading))
    };
    let own = command.get_arguments().filter(|arg| headed(arg) || arg.get_id() == "overcut");
    let own: Vec<String> = own
        .filter(|arg| typed(arg.get_id().as_str()))
        .filter_map(|arg| Some(format!("--{}", arg.get_long()?)))
        .collect();
    if own.is_empty() || typed("job") { Vec::new() } else { own }
}

/// Refuses options that were `typed` with a job, but for those that its command `obeys`.
pub fn refuse(typed: &[String], obeys: &[&str]) -> Result<(), Failure> {
    let others = typed.iter().filter(|option| !obeys.contains(&option.as_str()));
    let others: Vec<&str> = others.map(String::as_str).collect();
    if others.is_empty() {
        return Ok(());
    }
    let text = format!("{}: a job is taken as it is; give the drawing", others.join(", "));
    Err(Failure::usage(text))
}
