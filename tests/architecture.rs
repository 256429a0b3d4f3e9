//! A stage uses only stages declared above it in `lib.rs`; hard formats stay in their folders.

use std::fs;
use std::path::{Path, PathBuf};

fn sources(module: &str) -> Vec<(PathBuf, String)> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    let mut folders = vec![src.join(module)];
    let file = src.join(format!("{module}.rs"));
    if file.is_file() {
        found.push(file);
    }
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.into_iter().map(|p| (p.clone(), fs::read_to_string(p).unwrap())).collect()
}

fn modules() -> Vec<String> {
    let lib = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/lib.rs")).unwrap();
    let declared = lib.lines().filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';'));
    declared.map(str::to_owned).collect()
}

/// The code without comments and without its unit tests.
fn code(text: &str) -> String {
    let body = text.split("#[cfg(test)]").next().unwrap_or_default();
    body.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

#[test]
fn a_stage_uses_only_stages_above_it() {
    let modules = modules();
    assert!(modules.len() > 15);
    let mut wrong = Vec::new();
    for (place, module) in modules.iter().enumerate() {
        let files = sources(module);
        assert!(!files.is_empty(), "{module} has no file");
        for (path, text) in files {
            let code = code(&text);
            for later in &modules[place + 1..] {
                for form in [format!("crate::{later}::"), format!("crate::{later};")] {
                    if code.contains(&form) {
                        wrong.push(format!("{} uses {later}", path.display()));
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn hard_formats_end_at_their_door() {
    for (library, home) in [("i_overlay", "merge"), ("serialport", "send"), ("usvg::", "drawing")] {
        for module in modules().iter().filter(|m| *m != home && *m != "preview") {
            for (path, text) in sources(module) {
                assert!(!code(&text).contains(library), "{} names {library}", path.display());
            }
        }
    }
}
