//! [`Lock`]: two sends never mix on one port, nor in one journal.
//!
//! A lock file in the system's folder for temporary files, named by the port or the journal; the system
//! lets go of it when the program ends, however it ends.

use std::fs::File;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

/// The port or the journal is ours while this lives.
pub struct Lock(#[allow(dead_code)] File);

impl Lock {
    /// Takes the port, unless another send has it: then `None`.
    ///
    /// # Errors
    /// A sentence when the lock file cannot be made.
    pub fn of_port(port: &str) -> Result<Option<Self>, String> {
        let real = Path::new(port).canonicalize().unwrap_or_else(|_| PathBuf::from(port));
        Self::take(&real)
    }

    /// Takes the journal at `path`, unless another send keeps it: then `None`.
    ///
    /// # Errors
    /// As those of [`Lock::of_port`].
    pub fn of_journal(path: &Path) -> Result<Option<Self>, String> {
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let real = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        Self::take(&real.join(path.file_name().unwrap_or_default()))
    }

    fn take(what: &Path) -> Result<Option<Self>, String> {
        let path = path(what);
        let told = |error: std::io::Error| {
            format!("the lock file {} cannot be made: {error}", path.display())
        };
        let file =
            File::options().create(true).truncate(false).write(true).open(&path).map_err(told)?;
        open_to_others(&file);
        match lock(&file) {
            Ok(true) => Ok(Some(Self(file))),
            Ok(false) => Ok(None),
            Err(error) => Err(told(error)),
        }
    }
}

/// A name of bounded length, of which two things never share one.
fn path(what: &Path) -> PathBuf {
    let tame = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let name: String = what.to_string_lossy().chars().map(tame).collect();
    let digest = Sha256::digest(what.as_os_str().as_encoded_bytes());
    let (name, digest) = (&name[name.len().saturating_sub(60)..], &digest[..4]);
    let digest: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    std::env::temp_dir().join(format!("bladewright-{digest}{name}.lock"))
}

#[cfg(unix)]
fn lock(file: &File) -> std::io::Result<bool> {
    use rustix::fs::{FlockOperation, flock};
    match flock(file, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => Ok(true),
        Err(error) if error == rustix::io::Errno::WOULDBLOCK => Ok(false),
        Err(error) => Err(error.into()),
    }
}

/// Elsewhere the system itself gives a port to one program only.
#[cfg(not(unix))]
fn lock(_: &File) -> std::io::Result<bool> {
    Ok(true)
}

/// Another person's send has to be able to ask for the lock as well.
#[cfg(unix)]
fn open_to_others(file: &File) {
    use std::os::unix::fs::PermissionsExt;
    // Not ours to change: then somebody else has opened it up.
    let _ = file.set_permissions(std::fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn open_to_others(_: &File) {}
