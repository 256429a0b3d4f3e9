//! [`PortLock`]: two sends never mix on one port.
//!
//! A lock file in the system's folder for temporary files, named by the port; the system lets go of
//! it when the program ends, however it ends.

use std::fs::File;
use std::path::{Path, PathBuf};

/// The port is ours while this lives.
pub struct PortLock(#[allow(dead_code)] File);

impl PortLock {
    /// Takes the port, unless another send has it: then `None`.
    ///
    /// # Errors
    /// A sentence when the lock file cannot be made.
    pub fn take(port: &str) -> Result<Option<Self>, String> {
        let path = path(port);
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

fn path(port: &str) -> PathBuf {
    let real = Path::new(port).canonicalize().unwrap_or_else(|_| PathBuf::from(port));
    let tame = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let name: String = real.to_string_lossy().chars().map(tame).collect();
    std::env::temp_dir().join(format!("bladewright{name}.lock"))
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
