//! Runs the program as somebody types it, in a folder of its own with no profiles but the built-in.

use std::path::Path;
use std::process::{Command, Output};

/// What the program does with `arguments`; `folder` is where it works and looks for profiles.
pub fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bladewright"))
        .args(arguments)
        .current_dir(folder)
        .env("BLADEWRIGHT_PROFILES", folder)
        .output()
        .unwrap()
}
