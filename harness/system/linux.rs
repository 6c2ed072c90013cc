//! Linux: timerfd_create(2), CLOCK_BOOTTIME, /sys.

use rustix::event::{PollFd, PollFlags, poll};
use rustix::fd::{AsFd, BorrowedFd, OwnedFd};
use rustix::time::{
    ClockId, Itimerspec, TimerfdClockId, TimerfdFlags, TimerfdTimerFlags, Timespec, clock_gettime,
    timerfd_create, timerfd_settime,
};
use std::path::Path;
use std::time::Duration;

/// A timer that the system keeps as an absolute time, so that nothing that happens before the wait makes it late.
#[derive(Debug)]
pub struct Timer(OwnedFd);

impl Timer {
    /// A timer that is not set.
    ///
    /// # Errors
    /// What the system says: no descriptor left.
    pub fn new() -> std::io::Result<Self> {
        let flags = TimerfdFlags::NONBLOCK | TimerfdFlags::CLOEXEC;
        Ok(Timer(timerfd_create(TimerfdClockId::Monotonic, flags)?))
    }

    /// Sets it to go off when `span` has passed; the span is asked for after the system's time is read, so that what comes
    /// between makes it early and never late.
    pub fn set(&self, span: impl FnOnce() -> Duration) {
        let system = time(ClockId::Monotonic);
        let at = system.saturating_add(span());
        let timer = Itimerspec {
            it_interval: Timespec { tv_sec: 0, tv_nsec: 0 },
            it_value: Timespec {
                tv_sec: i64::try_from(at.as_secs()).unwrap_or(i64::MAX),
                tv_nsec: i64::from(at.subsec_nanos()),
            },
        };
        // A valid time on a timer of our own is always taken.
        let _ = timerfd_settime(&self.0, TimerfdTimerFlags::ABSTIME, &timer);
    }

    /// Waits until one of `fds` has something or the timer has gone off.
    ///
    /// # Errors
    /// What the system says; an interrupted wait is one.
    pub fn wait<'f>(&'f self, fds: &mut Vec<PollFd<'f>>, _span: Duration) -> std::io::Result<()> {
        fds.push(PollFd::new(self, PollFlags::IN));
        let over = poll(fds, None);
        fds.pop();
        over.map(drop).map_err(Into::into)
    }
}

impl AsFd for Timer {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.0.as_fd()
    }
}

/// Time since boot, which counts sleep, and time on the monotonic clock, which does not (clock_gettime(2)).
#[must_use]
pub fn since_boot() -> Option<(Duration, Duration)> {
    let monotonic = time(ClockId::Monotonic);
    Some((time(ClockId::Boottime), monotonic))
}

/// Whether serial devices can be listed; a bare container has no such folder.
#[must_use]
pub fn serial_devices_are_listed() -> bool {
    Path::new("/sys/class/tty").exists()
}

fn time(id: ClockId) -> Duration {
    let time = clock_gettime(id);
    Duration::new(u64::try_from(time.tv_sec).unwrap_or(0), u32::try_from(time.tv_nsec).unwrap_or(0))
}
