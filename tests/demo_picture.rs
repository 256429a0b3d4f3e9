//! The README's picture is what the program draws today.
//!
//! `BLADEWRIGHT_RENEW=1 cargo test --test demo_picture` draws it anew.

use std::path::Path;
use std::process::Command;

#[test]
fn the_readmes_picture_is_current() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let kept = root.join("demo/wheel-emblem-job.svg");
    let folder = tempfile::tempdir().unwrap();
    let fresh = folder.path().join("job.svg");
    let status = Command::new(env!("CARGO_BIN_EXE_bladewright"))
        .args(["write", "demo/wheel-emblem.svg", "-o"])
        .arg(folder.path().join("job.hpgl"))
        .arg("--picture")
        .arg(&fresh)
        .current_dir(root)
        .env("BLADEWRIGHT_PROFILES", folder.path())
        .output()
        .unwrap();
    assert!(status.status.success());
    let fresh = std::fs::read_to_string(fresh).unwrap();
    if std::env::var_os("BLADEWRIGHT_RENEW").is_some() {
        std::fs::write(&kept, &fresh).unwrap();
    }
    let same = std::fs::read_to_string(&kept).is_ok_and(|text| text == fresh);
    assert!(
        same,
        "demo/wheel-emblem-job.svg is out of date: renew it as the head of this test says"
    );
}
