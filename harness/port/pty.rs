//! Pseudo-terminals for `emulate` and for tests: the far end of a serial line.
//!
//! In: nothing. Out: a master to speak on, and the path of the other side. The pair's own slave stays open for the
//! whole life, or a hang-up of the client would make the master readable for ever.

use rustix::fd::OwnedFd;
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;
use std::path::{Path, PathBuf};

/// A pseudo-terminal pair in raw mode; reads and writes of the master never block.
#[derive(Debug)]
pub struct Pty {
    /// The end that plays the device.
    pub master: OwnedFd,
    path: PathBuf,
    _keep_open: OwnedFd,
}

impl Pty {
    /// Opens a pair.
    ///
    /// # Errors
    /// What the system says.
    pub fn open() -> Result<Self, Errno> {
        let master = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        rustix::pty::grantpt(&master)?;
        rustix::pty::unlockpt(&master)?;
        let name = rustix::pty::ptsname(&master, Vec::new())?;
        let path = PathBuf::from(String::from_utf8_lossy(name.as_bytes()).into_owned());
        let slave = rustix::fs::open(&path, OFlags::RDWR | OFlags::NOCTTY, Mode::empty())?;
        let mut settings = rustix::termios::tcgetattr(&slave)?;
        settings.make_raw();
        rustix::termios::tcsetattr(&slave, OptionalActions::Now, &settings)?;
        let flags = rustix::fs::fcntl_getfl(&master)?;
        rustix::fs::fcntl_setfl(&master, flags | OFlags::NONBLOCK)?;
        Ok(Pty { master, path, _keep_open: slave })
    }

    /// Path of the side that the client opens.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}
