//! One run a bench: a lock for each of its ports, taken before any of them is opened.
//!
//! In: the paths of a rig's ports. Out: locks held until dropped, or `BENCH_LOCKED` with who holds it, `AMBIGUOUS` where two
//! of them are one. The system frees
//! them when a process ends, however it ends. Never: a port opened, a byte sent, a symbolic link followed.

use crate::problem::fault::{Fault, FaultCode};
use rustix::fs::{FlockOperation, OFlags};
use std::fs::{File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// Bytes of a lock's text that are shown.
const HOLDER_BYTES_MAX: u64 = 100;

/// How often a lock is tried again that its holder took away in between.
const TRIES_MAX: usize = 20;

/// Locks on the ports of a bench; the files go with it.
#[derive(Debug)]
pub struct BenchLock {
    held: Vec<(PathBuf, File)>,
}

impl Drop for BenchLock {
    fn drop(&mut self) {
        for (path, _locked) in &self.held {
            // Taken away while it is still held: whoever opened it meanwhile sees that it is no longer the one.
            let _ = std::fs::remove_file(path);
        }
    }
}

impl BenchLock {
    /// Locks every port of `bench`.
    ///
    /// # Errors
    /// `BENCH_LOCKED` where another run holds one of them, or where the lock itself cannot be made.
    pub fn take<'p>(bench: &str, ports: impl IntoIterator<Item = &'p str>) -> Result<Self, Fault> {
        let folder = std::env::var_os("XDG_RUNTIME_DIR").map_or_else(std::env::temp_dir, PathBuf::from);
        Self::take_in(&folder, bench, ports)
    }

    /// [`BenchLock::take`] with the locks in `folder`.
    ///
    /// # Errors
    /// As [`BenchLock::take`].
    pub fn take_in<'p>(
        folder: &Path,
        bench: &str,
        ports: impl IntoIterator<Item = &'p str>,
    ) -> Result<Self, Fault> {
        // One order for everybody.
        let mut names: Vec<String> = ports.into_iter().map(lock_name).collect();
        names.sort();
        if let Some(twice) = names.windows(2).find(|pair| pair[0] == pair[1]) {
            let seen = format!("two instruments of the rig are on one port ({})", twice[0]);
            let help = "give each its own port; of two alike adapters the names by path differ";
            return Err(Fault::new(FaultCode::Ambiguous, bench, seen, help));
        }
        let mut locks = BenchLock { held: Vec::new() };
        for name in &names {
            let path = folder.join(name);
            let file = lock(&path, bench)?;
            locks.held.push((path, file));
        }
        Ok(locks)
    }
}

/// The lock's file name: the device behind a link counts, so that two names of one port are one lock.
fn lock_name(port: &str) -> String {
    let path = Path::new(port).canonicalize().unwrap_or_else(|_| PathBuf::from(port));
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    let name: String = path.display().to_string().chars().map(plain).collect();
    format!("dutycup{name}.lock")
}

fn lock(path: &Path, bench: &str) -> Result<File, Fault> {
    let locked = |seen: String, help: &str| Fault::new(FaultCode::BenchLocked, bench, seen, help);
    let flags = (OFlags::NOFOLLOW | OFlags::CLOEXEC).bits().cast_signed();
    let open = |create: bool| {
        let mut options = OpenOptions::new();
        options.read(true).write(create).create(create).custom_flags(flags);
        options.open(path)
    };
    let mut file = None;
    for _ in 0..TRIES_MAX {
        // The file may belong to another user: reading it is enough to lock it.
        let mut opened = open(true).or_else(|_| open(false)).map_err(|e| {
            locked(format!("cannot make the lock {}: {e}", path.display()), "see who owns it")
        })?;
        if rustix::fs::flock(&opened, FlockOperation::NonBlockingLockExclusive).is_err() {
            let mut holder = String::new();
            // Who holds it is a courtesy; the lock is what counts.
            let _ = (&mut opened).take(HOLDER_BYTES_MAX).read_to_string(&mut holder);
            let seen = format!("another run holds this bench: {}", holder.trim());
            return Err(locked(seen, "wait until it has ended, or end it; nothing was opened or sent"));
        }
        if is_at(&opened, path) {
            file = Some(opened);
            break;
        }
    }
    let Some(mut file) = file else {
        let seen = format!("the lock {} was taken away again and again", path.display());
        return Err(locked(seen, "see what else starts runs on this bench; nothing was opened or sent"));
    };
    let _ = file.set_len(0);
    let _ = writeln!(file, "process {}, bench {bench}", std::process::id());
    Ok(file)
}

/// Whether what was opened is still the file at `path`: the holder before may have taken it away in between.
fn is_at(opened: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    let id = |m: std::fs::Metadata| (m.dev(), m.ino());
    match (opened.metadata(), path.symlink_metadata()) {
        (Ok(opened), Ok(there)) => id(opened) == id(there),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ambiguous_two_instruments_on_one_port() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink("/dev/null", &link).unwrap();
        let link = link.display().to_string();
        let fault = BenchLock::take_in(folder.path(), "one", ["/dev/null", link.as_str()]).unwrap_err();
        assert_eq!(fault.code, FaultCode::Ambiguous);
    }

    #[test]
    fn bench_locked_a_port_is_held_once_under_all_its_names() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink("/dev/null", &link).unwrap();
        let link = link.display().to_string();
        let first = BenchLock::take_in(folder.path(), "one", ["/dev/null", "/dev/zero"]).unwrap();
        let fault = BenchLock::take_in(folder.path(), "two", [link.as_str()]).unwrap_err();
        assert_eq!(fault.code, FaultCode::BenchLocked);
        let process = format!("process {}, bench one", std::process::id());
        assert!(fault.seen.contains(&process), "{fault}");
        assert!(BenchLock::take_in(folder.path(), "three", ["/dev/full"]).is_ok());
        drop(first);
        assert!(BenchLock::take_in(folder.path(), "two", [link.as_str()]).is_ok());
        let left: Vec<_> =
            std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(left, ["link"], "locks are taken away with what held them");
    }
}
