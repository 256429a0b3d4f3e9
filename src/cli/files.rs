//! Files in and out: `-` is stdin or stdout, outputs are written whole or not at all.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use super::Failure;

/// The largest file that is read, bytes: far above any job, far below the memory of a machine.
const LARGEST: u64 = 1 << 30;

/// The bytes of `path`.
pub fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let cannot = |why: &str| Failure::failed(format!("{} cannot be read: {why}", path.display()));
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        let stdin = std::io::stdin().lock();
        stdin.take(LARGEST).read_to_end(&mut bytes).map_err(|e| cannot(&e.to_string()))?;
        return Ok(bytes);
    }
    let about = std::fs::metadata(path).map_err(|error| cannot(plain(&error)))?;
    if about.is_dir() {
        return Err(cannot("it is a folder; name the drawing in it"));
    }
    if about.len() > LARGEST {
        return Err(cannot("it is larger than 1 GB"));
    }
    std::fs::read(path).map_err(|error| cannot(plain(&error)))
}

/// The system's error in plain words.
pub fn plain(error: &std::io::Error) -> &'static str {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is no such file",
        ErrorKind::PermissionDenied => "you are not allowed to; check its owner and permissions",
        ErrorKind::StorageFull => "the disk is full",
        ErrorKind::IsADirectory => "it is a folder",
        ErrorKind::NotADirectory => "a part of its path is no folder",
        ErrorKind::ReadOnlyFilesystem => "the disk can only be read",
        _ => "the system refused",
    }
}

/// Where a result goes. Opened before the work begins, so that a wrong place costs no time.
pub enum Target {
    /// To stdout.
    Stdout,
    /// To a file, by way of a temporary one beside it.
    File {
        /// Its path.
        path: PathBuf,
        /// What it is until it is whole.
        temporary: tempfile::NamedTempFile,
    },
}

impl Target {
    /// Opens `path` for writing; `input` is what is read and never overwritten.
    pub fn open(path: &Path, input: &Path) -> Result<Self, Failure> {
        if path == Path::new("-") {
            return Ok(Self::Stdout);
        }
        let same = |a: &Path, b: &Path| matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b);
        if same(path, input) {
            let text = format!("{} would overwrite the drawing; give another -o", path.display());
            return Err(Failure::usage(text));
        }
        if path.is_dir() {
            let text = format!("{} is a folder; name a file in it", path.display());
            return Err(Failure::usage(text));
        }
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let temporary = tempfile::NamedTempFile::new_in(folder).map_err(|error| {
            Failure::failed(format!("{} cannot be written: {}", path.display(), plain(&error)))
        })?;
        Ok(Self::File { path: path.to_owned(), temporary })
    }

    /// Writes the whole result.
    pub fn put(self, bytes: &[u8]) -> Result<(), Failure> {
        match self {
            Self::Stdout => match std::io::stdout().lock().write_all(bytes) {
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
                    Err(Failure::failed(format!("the output cannot be written: {}", plain(&e))))
                }
                _ => Ok(()),
            },
            Self::File { path, mut temporary } => {
                let cannot = |error: &std::io::Error| {
                    Failure::failed(format!(
                        "{} cannot be written: {}",
                        path.display(),
                        plain(error)
                    ))
                };
                temporary.write_all(bytes).map_err(|e| cannot(&e))?;
                open_to_others(&temporary);
                temporary.persist(&path).map_err(|e| cannot(&e.error))?;
                Ok(())
            }
        }
    }
}

/// Temporary files are private; results get the usual permissions.
#[cfg(unix)]
fn open_to_others(file: &tempfile::NamedTempFile) {
    use std::os::unix::fs::PermissionsExt;
    // If that fails the file is private, but whole.
    let _ = file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn open_to_others(_: &tempfile::NamedTempFile) {}

/// `path` with `-NAME` before its extension, for one of several films.
pub fn for_film(path: &Path, film: &str) -> PathBuf {
    if film.is_empty() || path == Path::new("-") {
        return path.to_owned();
    }
    let tame: String = film
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect::<String>()
        .trim_matches('-')
        .to_owned();
    let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
    let name = match path.extension() {
        Some(extension) => format!("{stem}-{tame}.{}", extension.to_string_lossy()),
        None => format!("{stem}-{tame}"),
    };
    path.with_file_name(name)
}
