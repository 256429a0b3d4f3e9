//! What must hold for any input, a function for each door of the program.
//!
//! Shared by the fuzz targets and by `tests/fuzz_corpus.rs`, which holds the kept inputs against them.
//! Nothing may panic, overflow, hang or eat memory; further properties are named in each file. They
//! are judged by slow, plain code of their own, not by the program's.

mod hpgl_read;
mod job_file;
mod plans;
mod profile;
mod recipe;
mod replies;

pub use hpgl_read::hpgl_read;
pub use job_file::job_file;
pub use plans::{drawing, sheet};
pub use profile::profile;
pub use replies::replies;
