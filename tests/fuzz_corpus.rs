//! Every input kept in `fuzz/corpus` against what must hold for any input (`fuzz/src`): what the
//! fuzz targets found once stays found. Runs on the stable toolchain.

#[path = "../fuzz/src/lib.rs"]
mod properties;

use std::path::Path;

/// Holds every input kept for `target` against `property`.
fn replay(target: &str, property: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(!files.is_empty(), "{target} has no inputs");
    for file in files {
        let bytes = std::fs::read(&file).unwrap();
        // The name of the input comes before the panic's own words.
        let judged = std::panic::catch_unwind(|| property(&bytes));
        assert!(judged.is_ok(), "{}", file.display());
    }
}

#[test]
fn drawings() {
    replay("drawing", properties::drawing);
}

#[test]
fn sheets() {
    replay("sheet", properties::sheet);
}

#[test]
fn jobs_from_anywhere() {
    replay("hpgl_read", properties::hpgl_read);
}

#[test]
fn profiles() {
    replay("profile", properties::profile);
}

#[test]
fn job_files() {
    replay("job_file", properties::job_file);
}

#[test]
fn replies() {
    replay("replies", properties::replies);
}
