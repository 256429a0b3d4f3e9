//! Two results never go into the same file: the second would take the place of the first.

use std::path::{Path, PathBuf};

use clap::ArgMatches;

use super::Failure;

/// The options that name a file to be written, by their ids.
const RESULTS: [&str; 5] = ["output", "picture", "page", "obeyed", "save_job"];

/// Refuses two options in `matches` that name the same file.
pub fn refuse(matches: &ArgMatches) -> Result<(), Failure> {
    let Some((_, mut used)) = matches.subcommand() else { return Ok(()) };
    while let Some((_, below)) = used.subcommand() {
        used = below;
    }
    let mut taken: Vec<(&str, PathBuf)> = Vec::new();
    for id in RESULTS {
        let Some(path) = used.try_get_one::<PathBuf>(id).ok().flatten() else { continue };
        let place = place(path);
        if let Some((other, _)) = taken.iter().find(|(_, other)| *other == place) {
            let [other, own] = [*other, id].map(|id| id.replace('_', "-"));
            let text = format!(
                "--{other} and --{own} both name {}: give each a file of its own",
                path.display()
            );
            return Err(Failure::usage(text));
        }
        // Stdout and devices take what comes.
        if path != Path::new("-") && (path.is_file() || !path.exists()) {
            taken.push((id, place));
        }
    }
    Ok(())
}

/// The file that `path` leads to, whether it is there or not.
fn place(path: &Path) -> PathBuf {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new(".")).canonicalize();
    let named = folder.ok().zip(path.file_name()).map(|(folder, name)| folder.join(name));
    path.canonicalize().ok().or(named).unwrap_or_else(|| path.to_owned())
}
