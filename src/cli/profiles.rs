//! `profiles`: what is known of machines and materials.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use super::{Exit, Failure, Outcome, files, framing, talk};
use crate::profile::{self, FoundIn, Library, Listed};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand, Debug)]
enum What {
    /// List the profiles that can be chosen by name
    List,
    /// Print a profile, ready to be copied and changed
    Show {
        /// Its name
        name: String,
    },
    /// Read profile files and tell what is wrong with them
    Check {
        /// Whether they are machines or materials
        kind: Kind,
        /// The files
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
}

#[derive(ValueEnum, Debug, Clone, Copy)]
enum Kind {
    Machine,
    Material,
}

pub fn run(args: &Args) -> Outcome {
    let library = Library::of_user();
    match &args.what {
        What::List => list(&library),
        What::Show { name } => show(&library, name),
        What::Check { kind, files } => check(*kind, files),
    }
}

fn list(library: &Library) -> Outcome {
    let mut out = anstream::stdout();
    talk::print(&mut out, "machines")?;
    for listed in library.machines() {
        let title = library.machine(&listed.name);
        let title = title.and_then(|m| framing::judged(m, &listed.name)).map(|m| m.title);
        row(&mut out, &listed, title)?;
    }
    talk::print(&mut out, "materials")?;
    for listed in library.materials() {
        let title = library.material(&listed.name).map(|m| m.title);
        row(&mut out, &listed, title)?;
    }
    Ok(Exit::Done)
}

fn row(
    out: &mut impl std::io::Write,
    listed: &Listed,
    title: Result<String, profile::ProfileError>,
) -> Result<(), Failure> {
    let title = title.unwrap_or_else(|error| format!("cannot be used: {error}"));
    let origin = match &listed.origin {
        FoundIn::BuiltIn => String::new(),
        FoundIn::File(path) => format!("  ({})", path.display()),
    };
    talk::print(out, &format!("  {:<22}{title}{origin}", listed.name))
}

fn show(library: &Library, name: &str) -> Outcome {
    let found = library.machine_text(name).or_else(|_| library.material_text(name));
    let (text, _) = found.map_err(|_| {
        Failure::usage(format!("there is no profile \"{name}\"; see `bladewright profiles list`"))
    })?;
    files::Target::Stdout.put(text.as_bytes()).map(|()| Exit::Done)
}

fn check(kind: Kind, paths: &[PathBuf]) -> Outcome {
    let mut exit = Exit::Done;
    for path in paths {
        let bytes = match files::read(path) {
            Ok(bytes) => bytes,
            Err(failure) => {
                // The others are looked at all the same.
                failure.report();
                exit = Exit::Failed;
                continue;
            }
        };
        let text = String::from_utf8_lossy(&bytes);
        let file = path.display().to_string();
        let result = match kind {
            Kind::Machine => {
                let machine = profile::machine_from_text(&text, &file);
                machine.and_then(|m| framing::judged(m, &file)).map(|m| m.title)
            }
            Kind::Material => profile::material_from_text(&text, &file).map(|m| m.title),
        };
        match result {
            Ok(title) => talk::print(&mut anstream::stdout(), &format!("{file}: good ({title})"))?,
            Err(error) => {
                talk::error(&error.to_string());
                exit = Exit::Failed;
            }
        }
    }
    Ok(exit)
}
