//! The program's door; everything else is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    bladewright::cli::run(std::env::args_os())
}
