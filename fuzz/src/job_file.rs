//! A job file that is taken, written again and taken again is the same; one that is not is told in
//! a sentence.

use bladewright::cli;

pub fn job_file(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for command in ["write", "check", "send"] {
        match cli::rewritten_job_file(command, &text) {
            Ok(once) => match cli::rewritten_job_file(command, &once) {
                Ok(twice) => assert_eq!(once, twice),
                Err(said) => panic!("{once} was written and is not taken: {said}"),
            },
            Err(said) => assert!(!said.trim().is_empty()),
        }
    }
}
