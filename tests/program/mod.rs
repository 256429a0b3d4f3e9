//! Runs the program as somebody types it, in a folder of its own with no profiles but the built-in.

use std::path::Path;
use std::process::{Command, Output};

/// The program, or what starts it, in `folder`, where it works and looks for profiles.
pub fn placed(mut command: Command, folder: &Path) -> Command {
    command.current_dir(folder).env("BLADEWRIGHT_PROFILES", folder);
    command
}

/// The program in `folder`.
pub fn program(folder: &Path) -> Command {
    placed(Command::new(env!("CARGO_BIN_EXE_bladewright")), folder)
}

/// What the program does with `arguments`; `folder` is where it works and looks for profiles.
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    program(folder).args(arguments).output().unwrap()
}
