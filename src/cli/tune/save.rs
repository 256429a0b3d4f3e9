//! `tune save`: the tuned value goes into the user's own copy of a material profile.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::super::files::{self, Target};
use super::super::{Exit, Failure, Outcome, number, talk};
use crate::profile::Library;
use crate::tuning::{self, Tuned};
use crate::units::Length;

#[derive(ClapArgs, Debug)]
pub struct SaveArgs {
    /// The material whose profile is copied and changed
    #[arg(long, value_name = "NAME")]
    material: String,
    /// The tuned blade offset
    #[arg(long, value_name = "LENGTH")]
    blade_offset: Option<Length>,
    /// The tuned overcut
    #[arg(long, value_name = "LENGTH")]
    overcut: Option<Length>,
    /// The tuned force, in the machine's own numbers
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true, value_parser = number::decimal)]
    force: Option<f64>,
    /// The tuned speed, cm/s
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true, value_parser = number::decimal)]
    speed: Option<f64>,
    /// Show the change, write nothing
    #[arg(long)]
    dry_run: bool,
}

pub fn run(args: &SaveArgs) -> Outcome {
    let library = Library::of_user();
    let (text, _) = library.material_text(&args.material).map_err(Failure::usage)?;
    let tuned = Tuned {
        blade_offset_mm: args.blade_offset.map(Length::mm),
        overcut_mm: args.overcut.map(Length::mm),
        machine_force: args.force,
        velocity_cm_s: args.speed,
    };
    if tuned == Tuned::default() {
        return Err(Failure::usage(
            "nothing was given to keep; say --blade-offset, --overcut, --force or --speed",
        ));
    }
    let (text, changes) = tuning::save(&text, &tuned).map_err(Failure::usage)?;
    let path = save_place(&library, &args.material)?;
    let mut err = anstream::stderr();
    for change in &changes {
        let before = change.before.map_or_else(|| "not set".to_owned(), |v| v.to_string());
        talk::print(&mut err, &format!("{}: {before} -> {}", change.key, change.after))?;
    }
    if changes.is_empty() {
        talk::print(&mut err, "nothing to change")?;
    } else if !args.dry_run {
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|e| {
                Failure::failed(format!(
                    "{} cannot be made: {}",
                    folder.display(),
                    files::plain(&e)
                ))
            })?;
        }
        Target::open(&path, Path::new(""))?.put(text.as_bytes())?;
        talk::print(&mut err, &format!("written to {}", path.display()))?;
    }
    Ok(Exit::Done)
}

/// The named file itself, or the user's copy of a profile that is known by name.
fn save_place(library: &Library, material: &str) -> Result<PathBuf, Failure> {
    let named = Path::new(material);
    if named.is_file() {
        return Ok(named.to_owned());
    }
    let folder = library.material_folder().ok_or_else(|| {
        Failure::failed("there is no folder for your profiles; set BLADEWRIGHT_PROFILES to one")
    })?;
    Ok(folder.join(format!("{material}.toml")))
}
