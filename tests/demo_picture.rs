//! The pictures of the README and of the gallery (`demo/README.md`) are what the program draws today.
//!
//! `BLADEWRIGHT_RENEW=1 cargo test --test demo_picture` draws them anew. A new picture is a line in
//! [`PICTURES`] and a mention in the gallery; with several films, each gets its picture
//! (`name-film.svg`), and the first of them is kept under the name given here.

use std::path::{Path, PathBuf};
use std::process::Command;

/// File in `demo/` and the command that draws it, `--picture` and `-o` left out.
const PICTURES: [(&str, &str); 11] = [
    ("wheel-emblem-job.svg", "write demo/wheel-emblem.svg"),
    ("pictures/price-tags.svg", "write --job demo/price-tags.toml"),
    (
        "pictures/frame-decal-weed-lines.svg",
        "write demo/frame-decal.svg --sheets colour --weed-lines 60x25mm \
         --tolerance 0.05mm",
    ),
    (
        "pictures/frame-decal-film.svg",
        "write demo/frame-decal.svg --sheets colour --underlap 0.3mm --marks \
         --tolerance 0.05mm",
    ),
    (
        "pictures/frame-decal-mirrored.svg",
        "write demo/frame-decal.svg --layers Lettering,Bird --material transfer-flex \
         --tolerance 0.05mm",
    ),
    (
        "pictures/price-tags-perforated.svg",
        "write demo/price-tags.svg --material card-200g --depth Cut=through \
         --dash Cut=15mm,0.6mm --trace Crease=lines --dash Crease=3mm,1mm \
         --tolerance 0.05mm",
    ),
    ("pictures/frame-decal-thin.svg", "write demo/frame-decal.svg --width 80mm --tolerance 0.05mm"),
    (
        "pictures/wheel-emblem-panel.svg",
        "write demo/wheel-emblem.svg --height 600mm --panels --machine roll-15 \
         --tolerance 0.05mm",
    ),
    (
        "pictures/wheel-emblem-row.svg",
        "write demo/wheel-emblem.svg --height 600mm --panels --machine flatbed-cutter \
         --tolerance 0.05mm",
    ),
    (
        "pictures/jersey-lettering.svg",
        "write demo/jersey-lettering.svg --font-dir demo/fonts --material transfer-flex --machine roll-15 \
         --tolerance 0.05mm",
    ),
    ("pictures/standing-tags.svg", "write --job demo/standing-tags.toml"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The picture that the program draws today.
fn drawn(command: &str, folder: &Path) -> String {
    let fresh = folder.join("job.svg");
    let output = Command::new(env!("CARGO_BIN_EXE_bladewright"))
        .args(command.split(' '))
        .arg("-o")
        .arg(folder.join("job.hpgl"))
        .arg("--picture")
        .arg(&fresh)
        .current_dir(root())
        .env("BLADEWRIGHT_PROFILES", folder)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let mut pictures: Vec<PathBuf> =
        folder.read_dir().unwrap().map(|entry| entry.unwrap().path()).collect();
    pictures.retain(|path| path.extension().is_some_and(|e| e == "svg"));
    pictures.sort();
    std::fs::read_to_string(&pictures[0]).unwrap()
}

#[test]
fn the_pictures_are_current() {
    let mut old = Vec::new();
    for (name, command) in PICTURES {
        let folder = tempfile::tempdir().unwrap();
        let fresh = drawn(command, folder.path());
        let kept = root().join("demo").join(name);
        if std::env::var_os("BLADEWRIGHT_RENEW").is_some() {
            std::fs::write(&kept, &fresh).unwrap();
        }
        if std::fs::read_to_string(&kept).ok() != Some(fresh) {
            old.push(name);
        }
    }
    assert!(old.is_empty(), "out of date: {old:?}; renew them as the head of this test says");
}

/// The gallery shows every picture, and the command that draws it.
#[test]
fn the_gallery_shows_all_pictures() {
    let gallery = std::fs::read_to_string(root().join("demo/README.md")).unwrap();
    for (name, command) in PICTURES {
        assert!(gallery.contains(&format!("]({name})")), "{name} is not shown");
        let command = format!("bladewright {command}");
        assert!(gallery.contains(&command), "not told: {command}");
    }
}
