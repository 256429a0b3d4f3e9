//! Runs the program as somebody types it, in a folder of its own with no profiles but the built-in.

use std::path::Path;
use std::process::{Command, Output};

/// The program, or what starts it, in `folder`, where it works and looks for profiles.
pub fn placed(mut command: Command, folder: &Path) -> Command {
    command.current_dir(folder).env("BLADEWRIGHT_PROFILES", folder);
    command
}

/// What the program does with `arguments`; `folder` is where it works and looks for profiles.
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    let program = Command::new(env!("CARGO_BIN_EXE_bladewright"));
    placed(program, folder).args(arguments).output().unwrap()
}
