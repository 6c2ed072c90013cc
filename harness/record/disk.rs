//! The disk, as the record uses it: files made new, files replaced whole, and errors by name.
//!
//! In: paths and bytes. Out: bytes on disk, or [`DISK_FULL`](FaultCode::DiskFull) or [`IO`](FaultCode::Io) with the
//! file and the system's words. Every operation passes a [`Gate`] first, through which tests make the n-th one fail.
//! Never: a symbolic link followed, a file overwritten in place, a failed operation tried again.

use crate::problem::fault::{Fault, FaultCode};
use rustix::io::Errno;
use std::fmt;
use std::fs::{DirBuilder, File, OpenOptions, Permissions};
use std::io::{self, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::Path;
use std::sync::Arc;

/// Room that must be free before a run starts, bytes.
pub const ROOM_MIN_BYTES: u64 = 100_000_000;

/// An operation on the disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Op {
    /// A folder or file is made or opened.
    Open,
    /// So many bytes are written.
    Write(usize),
    /// What was written is brought to the disk.
    Sync,
    /// A file takes the place of another.
    Rename,
    /// A file is cut to its last good byte.
    Truncate,
}

/// The function behind a [`Gate`]: the operation in, bytes that may be written out.
type Pass = dyn Fn(Op) -> io::Result<usize> + Send + Sync;

/// What every operation passes first. The usual gate is open.
#[derive(Clone, Default)]
pub struct Gate(Option<Arc<Pass>>);

impl Gate {
    /// A gate that asks `pass` before each operation: an error stands for the system's, a number smaller than that of
    /// [`Op::Write`] makes the write short.
    #[cfg(feature = "door")]
    pub fn new(pass: impl Fn(Op) -> io::Result<usize> + Send + Sync + 'static) -> Self {
        Gate(Some(Arc::new(pass)))
    }

    pub(super) fn pass(&self, op: Op) -> io::Result<usize> {
        match (&self.0, op) {
            (Some(pass), op) => pass(op),
            (None, Op::Write(bytes)) => Ok(bytes),
            (None, _) => Ok(0),
        }
    }
}

impl fmt::Debug for Gate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(if self.0.is_some() { "Gate(asks)" } else { "Gate(open)" })
    }
}

/// The fault that an error of the system means for a record.
pub(super) fn fault(path: &Path, doing: &str, error: &io::Error) -> Fault {
    let full = [Errno::NOSPC, Errno::DQUOT, Errno::FBIG].map(Errno::raw_os_error);
    let (code, help) = if error.raw_os_error().is_some_and(|e| full.contains(&e)) {
        (FaultCode::DiskFull, "make room; what was written before is kept and readable")
    } else {
        (FaultCode::Io, "check the disk; what was written before is kept and readable")
    };
    Fault::new(code, path.display().to_string(), format!("{doing}: {error}"), help)
}

/// A folder for a run: made, with those above it, or found empty; never a symbolic link.
pub(super) fn new_folder(gate: &Gate, dir: &Path) -> Result<(), Fault> {
    let failed = |e: &io::Error| fault(dir, "cannot make the folder", e);
    gate.pass(Op::Open).map_err(|e| failed(&e))?;
    match std::fs::symlink_metadata(dir) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            DirBuilder::new().recursive(true).create(dir).map_err(|e| failed(&e))?;
        }
        Err(e) => return Err(failed(&e)),
        Ok(meta) if !meta.is_dir() => {
            let what = if meta.is_symlink() { "is a symbolic link" } else { "is not a folder" };
            let help = "name a folder that is new or empty";
            return Err(Fault::new(FaultCode::Io, dir.display().to_string(), what, help));
        }
        Ok(_) => {
            let first = std::fs::read_dir(dir).map_err(|e| failed(&e))?.next();
            if let Some(entry) = first {
                let name = entry.map_err(|e| failed(&e))?.file_name();
                return Err(Fault::new(
                    FaultCode::Io,
                    dir.display().to_string(),
                    format!("is not empty: it holds {}", name.display()),
                    "name a folder that is new or empty, or go on in it with --resume",
                ));
            }
        }
    }
    enough_room(dir, free_bytes(dir)?)
}

/// Makes the folder of a run that is about to start, or finds it empty, and tries whether it takes a file: before
/// anything is energised.
///
/// # Errors
/// `IO` where it is not empty, not a folder, a symbolic link, or cannot be written; `DISK_FULL`.
pub fn usable_folder(dir: &Path) -> Result<(), Fault> {
    new_folder(&Gate::default(), dir)?;
    let probe = dir.join(".probe");
    let made = std::fs::File::create_new(&probe).map_err(|e| fault(dir, "cannot write into the folder", &e));
    made.map(drop)?;
    std::fs::remove_file(&probe).map_err(|e| fault(&probe, "cannot take the probe away", &e))
}

fn free_bytes(dir: &Path) -> Result<u64, Fault> {
    let room = rustix::fs::statvfs(dir).map_err(|e| fault(dir, "cannot see the free room", &e.into()))?;
    Ok(room.f_bavail.saturating_mul(room.f_frsize))
}

fn enough_room(dir: &Path, free: u64) -> Result<(), Fault> {
    if free >= ROOM_MIN_BYTES {
        return Ok(());
    }
    Err(Fault::new(
        FaultCode::DiskFull,
        dir.display().to_string(),
        format!("{} MB free, a run needs {} MB", free / 1_000_000, ROOM_MIN_BYTES / 1_000_000),
        "make room or name a folder on another disk",
    ))
}

/// A file that was not there before, to append to.
pub(super) fn new_file(gate: &Gate, path: &Path) -> Result<File, Fault> {
    open(gate, path, OpenOptions::new().read(true).append(true).create_new(true))
}

/// A file that is there, to append to.
pub(super) fn old_file(gate: &Gate, path: &Path) -> Result<File, Fault> {
    open(gate, path, OpenOptions::new().read(true).append(true))
}

fn open(gate: &Gate, path: &Path, options: &mut OpenOptions) -> Result<File, Fault> {
    let no_links = (rustix::fs::OFlags::NOFOLLOW | rustix::fs::OFlags::CLOEXEC).bits();
    gate.pass(Op::Open)
        .and_then(|_| options.custom_flags(no_links.cast_signed()).open(path))
        .map_err(|e| fault(path, "cannot open", &e))
}

/// Writes some of `bytes`: how many the system took.
pub(super) fn write_some(gate: &Gate, file: &mut File, bytes: &[u8]) -> io::Result<usize> {
    let allowed = gate.pass(Op::Write(bytes.len()))?.min(bytes.len());
    match file.write(&bytes[..allowed]) {
        Ok(0) if !bytes.is_empty() => Err(io::ErrorKind::WriteZero.into()),
        done => done,
    }
}

/// Brings the names in a folder to the disk.
pub(super) fn sync_folder(gate: &Gate, dir: &Path) -> Result<(), Fault> {
    gate.pass(Op::Sync)
        .and_then(|_| File::open(dir)?.sync_all())
        .map_err(|e| fault(dir, "cannot sync the folder", &e))
}

/// Writes a file whole: afterwards `path` holds the old bytes or the new ones, never a mixture, also after a crash
/// at any moment. The mode is that of a new file under the process's umask.
///
/// # Errors
/// `DISK_FULL` or `IO`; `path` then holds what it held before.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Fault> {
    write_whole_through(&Gate::default(), path, bytes)
}

/// [`write_whole`] through a gate.
///
/// # Errors
/// As [`write_whole`].
pub fn write_whole_through(gate: &Gate, path: &Path, bytes: &[u8]) -> Result<(), Fault> {
    let dir = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let failed = |e: io::Error| fault(path, "cannot write", &e);
    gate.pass(Op::Open).map_err(failed)?;
    let mut temporary = tempfile::Builder::new()
        .prefix(".new-")
        .permissions(Permissions::from_mode(0o666))
        .tempfile_in(dir)
        .map_err(failed)?;
    let mut rest = bytes;
    while !rest.is_empty() {
        let done = write_some(gate, temporary.as_file_mut(), rest).map_err(failed)?;
        rest = &rest[done..];
    }
    gate.pass(Op::Sync).and_then(|_| temporary.as_file().sync_all()).map_err(failed)?;
    gate.pass(Op::Rename).map_err(failed)?;
    temporary.persist(path).map_err(|e| failed(e.error))?;
    sync_folder(gate, dir)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_device_is_named() {
        // Source: full(4): every write to /dev/full fails with ENOSPC.
        let path = Path::new("/dev/full");
        let mut file = OpenOptions::new().write(true).open(path).unwrap();
        let error = write_some(&Gate::default(), &mut file, b"x").unwrap_err();
        assert_eq!(fault(path, "cannot write", &error).code, FaultCode::DiskFull);
        for (errno, code) in [
            (Errno::DQUOT, FaultCode::DiskFull),
            (Errno::FBIG, FaultCode::DiskFull),
            (Errno::IO, FaultCode::Io),
            (Errno::ACCESS, FaultCode::Io),
        ] {
            assert_eq!(fault(path, "cannot write", &errno.into()).code, code);
        }
    }

    #[test]
    fn little_room_is_refused_before_the_run() {
        let dir = Path::new("results");
        let fault = enough_room(dir, 99_999_999).unwrap_err();
        assert_eq!(
            fault.to_string(),
            "DISK_FULL (results): 99 MB free, a run needs 100 MB; make room or name a folder on another disk"
        );
        assert_eq!(enough_room(dir, ROOM_MIN_BYTES), Ok(()));
    }
}
