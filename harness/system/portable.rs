//! Any Unix: the time left is handed to poll(2), and sleep is not seen.

use rustix::event::{PollFd, Timespec, poll};
use std::time::Duration;

/// A timer that is nothing but the time left, handed to each wait.
#[derive(Debug)]
pub struct Timer(());

impl Timer {
    /// A timer.
    ///
    /// # Errors
    /// None; elsewhere a timer needs a descriptor.
    #[expect(clippy::unnecessary_wraps, reason = "the other systems' timers can fail")]
    pub fn new() -> std::io::Result<Self> {
        Ok(Timer(()))
    }

    /// Nothing is kept: each wait is told the time left.
    pub fn set(&self, _span: impl FnOnce() -> Duration) {}

    /// Waits until one of `fds` has something or `span` is over.
    ///
    /// # Errors
    /// What the system says; an interrupted wait is one.
    pub fn wait<'f>(&'f self, fds: &mut Vec<PollFd<'f>>, span: Duration) -> std::io::Result<()> {
        let timeout = Timespec {
            tv_sec: i64::try_from(span.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: i64::from(span.subsec_nanos()),
        };
        poll(fds, Some(&timeout)).map(drop).map_err(Into::into)
    }
}

/// No clock that counts sleep.
#[must_use]
pub fn since_boot() -> Option<(Duration, Duration)> {
    None
}

/// Whether serial devices can be listed.
#[must_use]
pub fn serial_devices_are_listed() -> bool {
    true
}
