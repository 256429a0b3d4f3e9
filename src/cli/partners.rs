//! Options that do something only beside another one: typed without it they are refused, since passing over
//! `--gap` or `--covered` would cost film.
//!
//! What a job file says alone is not judged: what is typed may have taken its partner away.

use std::ffi::OsString;

use clap::parser::ValueSource;
use clap::{Arg, ArgMatches, Command};

use super::Failure;
use super::job_file::is_typed;

/// An option, with which it works, whether that is there, and what is so without.
type Partner = (&'static str, &'static str, fn(&Typed<'_>) -> bool, &'static str);

/// A command, and what it was given.
struct Typed<'a> {
    command: &'a Command,
    matches: &'a ArgMatches,
}

const PARTNERS: [Partner; 11] = [
    ("pack_turns", "--pack", |typed| is(typed, "pack"), "no piece is turned"),
    (
        "gap",
        "--copies or --pack",
        |typed| is(typed, "copies") || is(typed, "pack"),
        "there is nothing to keep a gap from",
    ),
    ("panel_width", "--panels", |typed| is(typed, "panels"), "nothing is parted"),
    ("panel_overlap", "--panels", |typed| is(typed, "panels"), "nothing is parted"),
    (
        "weed_shape",
        "--weed-border or --weed-lines",
        |typed| is(typed, "weed_border") || is(typed, "weed_lines"),
        "there is no border",
    ),
    (
        "weed_clearance",
        "--weed-lines",
        |typed| is(typed, "weed_lines"),
        "there are no lines that part the waste",
    ),
    (
        "covered",
        "--sheets colour",
        |typed| value(typed, "sheets").as_deref() == Some("colour"),
        "colours are not cut apart",
    ),
    (
        "order",
        "--page",
        |typed| !shows_all_orders(typed) || is(typed, "page"),
        "all three orders are told",
    ),
    (
        "bound",
        "check, write or compare",
        |typed| shows_all_orders(typed) || takes(typed, "strict"),
        "no floor is told",
    ),
    (
        "effort",
        "--order best",
        |typed| shows_all_orders(typed) || value(typed, "order").as_deref() == Some("best"),
        "no order is searched",
    ),
    (
        "order_for",
        "--order best or nearest",
        |typed| shows_all_orders(typed) || value(typed, "order").as_deref() != Some("drawn"),
        "the drawing's own order is kept",
    ),
];

/// Refuses options among `matches` of `program` whose partner is missing, if they stand in what was `typed`.
pub fn refuse(program: &Command, matches: &ArgMatches, typed: &[OsString]) -> Result<(), Failure> {
    let Some((name, used)) = matches.subcommand() else { return Ok(()) };
    let Some(command) = program.find_subcommand(name) else { return Ok(()) };
    let all = Typed { command, matches: used };
    // Other commands have options of the same name, without a heading.
    let of_drawing = |arg: &&Arg| arg.get_help_heading().is_some();
    for (id, partner, is_there, without) in PARTNERS {
        let arg = command.get_arguments().filter(of_drawing).find(|arg| arg.get_id() == id);
        if arg.is_some_and(|arg| is(&all, id) && is_typed(arg, typed)) && !is_there(&all) {
            let option = id.replace('_', "-");
            // A command takes the place of an option.
            let text = if partner.starts_with("--") {
                format!("--{option} works with {partner}: without, {without}")
            } else {
                format!("--{option} works with the commands {partner}: here {without}")
            };
            return Err(Failure::usage(text));
        }
    }
    Ok(())
}

/// Whether it is `compare`, the one with `--csv`.
fn shows_all_orders(typed: &Typed<'_>) -> bool {
    takes(typed, "csv")
}

/// Whether the command has such an option. What was given can't be asked for it: only a build with the
/// parser's own checks minds a name that it does not know.
fn takes(typed: &Typed<'_>, id: &str) -> bool {
    typed.command.get_arguments().any(|arg| arg.get_id() == id)
}

fn is(typed: &Typed<'_>, id: &str) -> bool {
    typed.matches.value_source(id) == Some(ValueSource::CommandLine)
}

fn value(typed: &Typed<'_>, id: &str) -> Option<String> {
    let first = typed.matches.get_raw(id)?.next()?;
    Some(first.to_string_lossy().into_owned())
}
