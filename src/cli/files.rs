//! Files in and out: `-` is stdin or stdout; inputs are read as they stand at one moment, outputs
//! written whole or not at all.

use std::collections::HashSet;
use std::fs::{File, Metadata};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use tempfile::NamedTempFile;

use super::Failure;
use crate::pipeline::Plan;
use crate::send::Spool;

/// The largest file that is read, bytes: far above any job, far below the memory of a machine.
const LARGEST: u64 = 1 << 30;

/// The bytes of `path`.
pub fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    take(path, &mut |source| {
        source.read_to_end(&mut bytes).map(drop).map_err(|error| unread(path, plain(&error)))
    })?;
    Ok(bytes)
}

/// What a file holds.
pub enum Input<T> {
    /// A drawing: its bytes.
    Drawing(Vec<u8>),
    /// Anything else: what was made of it.
    Job(T),
}

/// Bytes by which a drawing is told from a job, unless they are all blank.
pub const LOOKED_AT: u64 = 1 << 12;

/// What `path` holds. A job is followed by `job` while it is read, so that its bytes need not be held.
pub fn input<T>(
    path: &Path,
    mut job: impl FnMut(&mut Source) -> std::io::Result<T>,
) -> Result<Input<T>, Failure> {
    let mut input = None;
    let mut sort = |source: &mut Source| {
        let mut head = Vec::new();
        while first_letter(&head).is_none()
            && (&mut *source).take(LOOKED_AT).read_to_end(&mut head)? > 0
        {}
        input = Some(if is_drawing(&head) {
            source.read_to_end(&mut head)?;
            Input::Drawing(head)
        } else {
            Input::Job(job(&mut head.chain(source))?)
        });
        Ok(())
    };
    take(path, &mut |source| sort(source).map_err(|error| unread(path, plain(&error))))?;
    input.ok_or_else(|| unread(path, "nothing came of it"))
}

/// How gzip and XML of two bytes to a character begin.
const STARTS: [&[u8]; 4] = [b"\x1f\x8b", b"\xff\xfe", b"\xfe\xff", b"\0<"];

/// Whether the bytes begin as XML or gzip do; HPGL begins with neither.
pub fn is_drawing(bytes: &[u8]) -> bool {
    STARTS.iter().any(|start| bytes.starts_with(start)) || first_letter(bytes) == Some(b'<')
}

/// The first that is neither blank nor a byte order mark.
fn first_letter(bytes: &[u8]) -> Option<u8> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    text.iter().copied().find(|c| !c.is_ascii_whitespace())
}

/// Where bytes come from.
pub type Source<'a> = dyn Read + Send + 'a;

/// The bytes of `path`, not held in memory.
pub fn spool(path: &Path) -> Result<Spool, Failure> {
    let mut spool = None;
    take(path, &mut |source| {
        spool = Some(Spool::of(source).map_err(|error| uncopied(path, &error))?);
        Ok(())
    })?;
    spool.ok_or_else(|| unread(path, "nothing came of it"))
}

fn unread(path: &Path, why: &str) -> Failure {
    Failure::failed(format!("{} cannot be read: {why}", path.display()))
}

fn uncopied(path: &Path, error: &std::io::Error) -> Failure {
    let why = match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such folder",
        _ => plain(error),
    };
    Failure::failed(format!(
        "{} cannot be copied into the folder for temporary files, {}: {why}; TMPDIR names another",
        path.display(),
        std::env::temp_dir().display()
    ))
}

/// Lets `copy` take the bytes of `path`.
fn take(
    path: &Path,
    copy: &mut dyn FnMut(&mut Source) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let cannot = |why: &str| unread(path, why);
    let mut whole = |source: &mut Source| {
        let mut source = source.take(LARGEST + 1);
        copy(&mut source)?;
        let count = LARGEST + 1 - source.limit();
        if count > LARGEST { Err(cannot("it is larger than 1 GB")) } else { Ok(count) }
    };
    if path == Path::new("-") {
        return whole(&mut std::io::stdin()).map(drop);
    }
    // Before it is opened: a folder cannot be on every system.
    if path.is_dir() {
        return Err(cannot("it is a folder; name a file in it"));
    }
    let mut file = File::open(path).map_err(|error| cannot(plain(&error)))?;
    let before = state(&file);
    let count = whole(&mut file)?;
    if before == state(&file) && before.is_none_or(|(length, _)| count == length) {
        Ok(())
    } else {
        Err(cannot("it changed meanwhile; read it again when it is saved"))
    }
}

/// What shows whether a file was changed: its length and when it was written last. `None` for what
/// has no length, as a pipe.
fn state(file: &File) -> Option<(u64, Option<SystemTime>)> {
    let about = file.metadata().ok().filter(Metadata::is_file)?;
    Some((about.len(), about.modified().ok()))
}

/// The system's error in plain words.
pub fn plain(error: &std::io::Error) -> &'static str {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is no such file",
        ErrorKind::PermissionDenied => "you are not allowed to; check its owner and permissions",
        ErrorKind::StorageFull => "the disk is full",
        ErrorKind::QuotaExceeded => "your share of the disk is full",
        ErrorKind::FileTooLarge => "it would become larger than the system allows",
        ErrorKind::IsADirectory => "it is a folder",
        ErrorKind::NotADirectory => "a part of its path is no folder",
        ErrorKind::ReadOnlyFilesystem => "the disk can only be read",
        _ => "the system refused",
    }
}

/// Where a result goes. Looked at before the work begins, so that a wrong place costs no time.
pub enum Target {
    /// To stdout.
    Stdout,
    /// To a file, by way of a temporary one beside it.
    File(PathBuf),
    /// Straight into something that is no file: a device, a pipe.
    Device(PathBuf, File),
}

impl Target {
    /// Makes sure that `path` can be written; `input` is what is read and never overwritten.
    pub fn open(path: &Path, input: &Path) -> Result<Self, Failure> {
        Self::beside(path, std::slice::from_ref(&input))
    }

    /// Makes sure that `path` can be written; `inputs` are what is read and never overwritten.
    pub fn beside(path: &Path, inputs: &[impl AsRef<Path>]) -> Result<Self, Failure> {
        if path == Path::new("-") {
            return Ok(Self::Stdout);
        }
        let same = |a: &Path, b: &Path| matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b);
        if inputs.iter().any(|input| same(path, input.as_ref())) {
            let text =
                format!("{} would overwrite what is read; name another file", path.display());
            return Err(Failure::usage(text));
        }
        match std::fs::metadata(path) {
            Ok(about) if about.is_dir() => {
                let text = format!("{} is a folder; name a file in it", path.display());
                return Err(Failure::usage(text));
            }
            Ok(about) if !about.is_file() => {
                let opened = File::options().write(true).open(path);
                return opened
                    .map(|file| Self::Device(path.to_owned(), file))
                    .map_err(|error| unwritten(path, &error));
            }
            Ok(about) if about.permissions().readonly() => {
                let denied = std::io::ErrorKind::PermissionDenied.into();
                return Err(unwritten(path, &denied));
            }
            _ => {}
        }
        // Gone again at once: a run that is stopped at its work leaves nothing behind.
        temporary(path).map_err(|error| unwritten(path, &error))?;
        Ok(Self::File(path.to_owned()))
    }

    /// Writes the whole result.
    pub fn put(self, bytes: &[u8]) -> Result<(), Failure> {
        self.put_all(&[bytes])
    }

    /// Writes the whole result, whose pieces follow one another.
    pub fn put_all(self, pieces: &[impl AsRef<[u8]>]) -> Result<(), Failure> {
        match self {
            Self::Stdout => match write_all(&mut std::io::stdout().lock(), pieces) {
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
                    Err(Failure::failed(format!("the output cannot be written: {}", plain(&e))))
                }
                _ => Ok(()),
            },
            Self::File(path) => replace(&path, pieces).map_err(|error| unwritten(&path, &error)),
            Self::Device(path, mut file) => match write_all(&mut file, pieces) {
                Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(unwritten(&path, &e)),
                _ => Ok(()),
            },
        }
    }
}

fn unwritten(path: &Path, error: &std::io::Error) -> Failure {
    Failure::failed(format!("{} cannot be written: {}", path.display(), plain(error)))
}

/// A file beside `path`, which goes away by itself unless it is kept.
fn temporary(path: &Path) -> std::io::Result<NamedTempFile> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    tempfile::Builder::new().prefix(".bladewright-").tempfile_in(folder)
}

fn write_all(to: &mut impl Write, pieces: &[impl AsRef<[u8]>]) -> std::io::Result<()> {
    pieces.iter().try_for_each(|piece| to.write_all(piece.as_ref()))
}

/// Puts `pieces` in the place of what `path` holds: whole, or not at all.
fn replace(path: &Path, pieces: &[impl AsRef<[u8]>]) -> std::io::Result<()> {
    // The file itself, not the link to it.
    let path = &path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let mut file = temporary(path)?;
    write_all(&mut file, pieces)?;
    open_to_others(&file);
    // Some disks tell only now that they are full.
    file.as_file().sync_data()?;
    file.persist(path).map(drop).map_err(|error| error.error)
}

/// Temporary files are private; results get the usual permissions.
#[cfg(unix)]
fn open_to_others(file: &NamedTempFile) {
    use std::os::unix::fs::PermissionsExt;
    // If that fails the file is private, but whole.
    let _ = file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644));
}

#[cfg(not(unix))]
fn open_to_others(_: &NamedTempFile) {}

/// Where the result for each of several plans goes: `path`, with the film's `-NAME` before its extension.
/// Films whose names would be the same file's get a number behind it.
pub fn for_plans(path: &Path, plans: &[Plan]) -> Vec<PathBuf> {
    // Many disks take "Lines" and "lines" for the same name.
    let key = |path: &Path| path.to_string_lossy().to_lowercase();
    let plain: Vec<PathBuf> = plans.iter().map(|plan| for_film(path, &plan.film)).collect();
    if path == Path::new("-") {
        return plain;
    }
    let mut taken: HashSet<String> = plain.iter().map(|own| key(own)).collect();
    let mut kept = HashSet::new();
    let apart = |own: PathBuf| {
        if kept.insert(key(&own)) {
            return own;
        }
        let mut numbered = (2u32..).map(|n| for_film(&own, &n.to_string()));
        numbered.find(|path| taken.insert(key(path))).unwrap_or_else(|| own.clone())
    };
    plain.into_iter().map(apart).collect()
}

/// `path` with `-NAME` before its extension.
fn for_film(path: &Path, film: &str) -> PathBuf {
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
