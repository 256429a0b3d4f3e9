//! [`Lock`]: two sends never mix on one port, nor in one journal.
//!
//! A lock file in the system's folder for temporary files, named by the port or the journal; the system
//! lets go of it when the program ends, however it ends. It is removed by the one who holds it, while it
//! still does. So whoever has locked a file looks whether the name still leads to it: another send may
//! have removed it in between, and a third one made a new one and locked that.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use sha2::{Digest, Sha256};

/// How often a file is opened that came, or went, in between; each time another send began or ended.
const TRIES: usize = 100;

/// The files that this program holds.
static HELD: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// The port or the journal is ours while this lives.
pub struct Lock {
    path: PathBuf,
    /// Let go of when this is dropped, after the name is gone.
    _file: File,
}

impl Lock {
    /// Takes the port, unless another send has it: then `None`.
    ///
    /// # Errors
    /// A sentence when the lock file cannot be made.
    pub fn of_port(port: &str) -> Result<Option<Self>, String> {
        let real = Path::new(port).canonicalize().unwrap_or_else(|_| PathBuf::from(port));
        Self::take(path(&real))
    }

    /// Takes the journal at `path`, unless another send keeps it: then `None`.
    ///
    /// # Errors
    /// As those of [`Lock::of_port`].
    pub fn of_journal(journal: &Path) -> Result<Option<Self>, String> {
        let folder =
            journal.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let real = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
        Self::take(path(&real.join(journal.file_name().unwrap_or_default())))
    }

    /// Removes the files of all locks of a program that ends at once, without dropping anything.
    pub fn remove_all() {
        let held = HELD.lock().unwrap_or_else(PoisonError::into_inner);
        held.iter().for_each(|path| remove(path));
    }

    fn take(path: PathBuf) -> Result<Option<Self>, String> {
        let told = |error: std::io::Error| {
            format!("the lock file {} cannot be made: {error}", path.display())
        };
        for _ in 0..TRIES {
            let Some(file) = opened(&path).map_err(told)? else { continue };
            if !lock(&file).map_err(told)? {
                return Ok(None);
            }
            if is_named(&file, &path) {
                HELD.lock().unwrap_or_else(PoisonError::into_inner).push(path.clone());
                return Ok(Some(Self { path, _file: file }));
            }
        }
        Ok(None)
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        remove(&self.path);
        let mut held = HELD.lock().unwrap_or_else(PoisonError::into_inner);
        held.retain(|path| *path != self.path);
    }
}

/// Removes a lock file; one of somebody else, who opened it to others, stays for the next send.
fn remove(path: &Path) {
    let _ = std::fs::remove_file(path);
}

/// The lock file that is there, or a new one; `None` when it came or went in between.
///
/// One that is there is never opened as if to make it: systems refuse that for files of others in a folder
/// that all may write to.
fn opened(path: &Path) -> std::io::Result<Option<File>> {
    use std::io::ErrorKind::{AlreadyExists, NotFound};
    match options().open(path) {
        Ok(file) => return Ok(Some(file)),
        Err(error) if error.kind() == NotFound => {}
        Err(error) => return Err(error),
    }
    match options().create_new(true).open(path) {
        Ok(file) => {
            open_to_others(&file);
            Ok(Some(file))
        }
        Err(error) if error.kind() == AlreadyExists => Ok(None),
        Err(error) => Err(error),
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

/// For writing; not through a link, which somebody else may have laid there.
#[cfg(unix)]
fn options() -> std::fs::OpenOptions {
    use std::os::unix::fs::OpenOptionsExt;
    let mut options = File::options();
    let no_link = rustix::fs::OFlags::NOFOLLOW.bits();
    options.write(true).custom_flags(i32::try_from(no_link).unwrap_or_default());
    options
}

#[cfg(not(unix))]
fn options() -> std::fs::OpenOptions {
    let mut options = File::options();
    options.write(true);
    options
}

/// Whether `path` still leads to `file`.
#[cfg(unix)]
fn is_named(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let both = file.metadata().and_then(|held| Ok((held, std::fs::symlink_metadata(path)?)));
    both.is_ok_and(|(held, named)| (held.dev(), held.ino()) == (named.dev(), named.ino()))
}

#[cfg(not(unix))]
fn is_named(_: &File, _: &Path) -> bool {
    true
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

#[cfg(all(test, unix))]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering::SeqCst};

    use super::*;

    #[test]
    fn a_lock_leaves_no_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port.lock");
        let held = Lock::take(path.clone()).unwrap().unwrap();
        assert!(path.exists() && Lock::take(path.clone()).unwrap().is_none());
        drop(held);
        assert!(!path.exists());
        // One that was left by a program that was killed is as good as a new one.
        std::fs::write(&path, "").unwrap();
        drop(Lock::take(path.clone()).unwrap().unwrap());
        assert!(!path.exists());
    }

    /// A file that was removed while somebody waited to lock it locks nothing.
    #[test]
    fn a_lock_is_of_the_file_that_has_the_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port.lock");
        let held = Lock::take(path.clone()).unwrap().unwrap();
        let opened_before = opened(&path).unwrap().unwrap();
        drop(held);
        assert!(lock(&opened_before).unwrap() && !is_named(&opened_before, &path));
        let next = Lock::take(path.clone()).unwrap().unwrap();
        assert!(!is_named(&opened_before, &path) && is_named(&next._file, &path));
    }

    #[test]
    fn a_link_is_not_followed() {
        let folder = tempfile::tempdir().unwrap();
        let (path, other) = (folder.path().join("port.lock"), folder.path().join("other"));
        std::fs::write(&other, "kept").unwrap();
        std::os::unix::fs::symlink(&other, &path).unwrap();
        assert!(Lock::take(path).is_err_and(|text| text.contains("cannot be made")));
        assert_eq!(std::fs::read(&other).unwrap(), b"kept");
    }

    #[test]
    fn of_many_one_has_the_lock_at_a_time() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("port.lock");
        let (inside, taken) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let take = || {
            while taken.load(SeqCst) < 400 {
                if let Some(held) = Lock::take(path.clone()).unwrap() {
                    assert_eq!(inside.fetch_add(1, SeqCst), 0);
                    std::thread::yield_now();
                    inside.fetch_sub(1, SeqCst);
                    taken.fetch_add(1, SeqCst);
                    drop(held);
                }
            }
        };
        std::thread::scope(|scope| (0..4).for_each(|_| drop(scope.spawn(take))));
        assert!(!path.exists());
    }
}
