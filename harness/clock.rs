//! The one place that knows the time.
//!
//! In: the system's monotonic and wall clocks. Out: [`Moment`]s since the start of a run and wall-clock
//! stamps. Nothing else in the crate asks the system for the time; whoever needs it is handed a moment.

use crate::system::{Timer, since_boot};
use rustix::event::PollFd;
use std::fmt;
use std::ops::{Add, Sub};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// A moment on the run's own monotonic time line: nanoseconds since the run started.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Moment(u64);

impl Moment {
    /// The start of the run.
    pub const START: Moment = Moment(0);
    /// Later than anything that happens.
    pub const NEVER: Moment = Moment(u64::MAX);

    /// A moment `ns` nanoseconds after the start.
    pub const fn from_ns(ns: u64) -> Self {
        Moment(ns)
    }

    /// A moment `ms` milliseconds after the start.
    pub const fn from_ms(ms: u64) -> Self {
        Moment(ms * 1_000_000)
    }

    /// A moment `s` seconds after the start; negative and non-finite values become the start.
    pub fn from_s(s: f64) -> Self {
        Moment((s.max(0.0) * 1e9).round() as u64)
    }

    /// Nanoseconds since the start.
    pub const fn as_ns(self) -> u64 {
        self.0
    }

    /// Seconds since the start.
    pub fn as_s(self) -> f64 {
        self.0 as f64 * 1e-9
    }

    /// Time from `earlier` to this moment; zero if `earlier` is in fact later.
    pub fn since(self, earlier: Moment) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }
}

impl Add<Duration> for Moment {
    type Output = Moment;
    fn add(self, span: Duration) -> Moment {
        Moment(self.0.saturating_add(u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)))
    }
}

impl Sub<Duration> for Moment {
    type Output = Moment;
    fn sub(self, span: Duration) -> Moment {
        Moment(self.0.saturating_sub(u64::try_from(span.as_nanos()).unwrap_or(u64::MAX)))
    }
}

impl fmt::Debug for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.6}s", self.as_s())
    }
}

/// The system's monotonic clock, counted from when this value was made.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock {
    origin: Instant,
    /// What it showed then.
    first: Moment,
}

impl SystemClock {
    /// Starts counting now.
    #[must_use]
    pub fn start() -> Self {
        Self::starting_at(Moment::START)
    }

    /// Shows `first` now, and counts on from there.
    #[expect(clippy::disallowed_methods, reason = "this is the one clock module")]
    #[must_use]
    pub fn starting_at(first: Moment) -> Self {
        SystemClock { origin: Instant::now(), first }
    }

    /// The moment it shows.
    #[expect(clippy::disallowed_methods, reason = "this is the one clock module")]
    #[must_use]
    pub fn now(&self) -> Moment {
        self.first + Instant::now().duration_since(self.origin)
    }

    /// Waits until `moment`; returns at once if it has passed.
    #[expect(clippy::disallowed_methods, reason = "this is the one clock module")]
    pub fn sleep_until(&self, moment: Moment) {
        let span = moment.since(self.now());
        if !span.is_zero() {
            std::thread::sleep(span);
        }
    }
}

/// An alarm that goes off at a moment of a [`SystemClock`], waited for together with descriptors.
#[derive(Debug)]
pub struct Alarm {
    clock: SystemClock,
    timer: Timer,
    set: Moment,
}

impl Alarm {
    /// An alarm that is not set.
    ///
    /// # Errors
    /// What the system says: no descriptor left.
    pub fn new(clock: SystemClock) -> std::io::Result<Self> {
        Ok(Alarm { clock, timer: Timer::new()?, set: Moment::NEVER })
    }

    /// Sets it to go off at `moment` at the latest: at once where it has passed; earlier where it was set to an earlier
    /// moment that is still to come, for setting it again costs more than an idle turn.
    pub fn set(&mut self, moment: Moment) {
        if self.set <= moment && self.set > self.clock.now() {
            return;
        }
        self.timer.set(|| moment.since(self.clock.now()));
        self.set = moment;
    }

    /// Waits until one of `fds` has something or it has gone off.
    ///
    /// # Errors
    /// What the system says; an interrupted wait is one.
    pub fn wait<'f>(&'f self, fds: &mut Vec<PollFd<'f>>) -> std::io::Result<()> {
        self.timer.wait(fds, self.set.since(self.clock.now()))
    }
}

/// Time that the monotonic clock does not count: the computer slept.
#[derive(Clone, Copy, Debug, Default)]
pub struct SleepWatch {
    slept: Option<Duration>,
}

impl SleepWatch {
    /// Shortest sleep that counts; reading two clocks one after the other takes some time too.
    const LEAST: Duration = Duration::from_millis(100);

    /// How long the computer slept since the last look, by the system's clocks; none where they do not tell.
    pub fn look(&mut self) -> Option<Duration> {
        let (since_boot, monotonic) = since_boot()?;
        self.compare(since_boot, monotonic)
    }

    /// How long the computer slept since the last look: the time since boot counts sleep, the monotonic one does not
    /// (clock_gettime(2)).
    pub fn compare(&mut self, since_boot: Duration, monotonic: Duration) -> Option<Duration> {
        let slept = since_boot.saturating_sub(monotonic);
        let before = self.slept.replace(slept)?;
        Some(slept.saturating_sub(before)).filter(|more| *more >= Self::LEAST)
    }
}

/// A wall-clock stamp: whole milliseconds since 1970-01-01 UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct WallTime {
    /// Milliseconds since the Unix epoch.
    pub unix_ms: i64,
}

impl WallTime {
    /// The stamp that runs on the virtual clock carry, so that equal seeds give equal bytes: 2000-01-01.
    pub const VIRTUAL_START: WallTime = WallTime { unix_ms: 946_684_800_000 };

    /// The time that many seconds later.
    #[must_use]
    pub fn later_by(self, seconds: f64) -> Self {
        WallTime { unix_ms: self.unix_ms.saturating_add((1000.0 * seconds).round() as i64) }
    }

    /// The wall-clock time now.
    #[expect(clippy::disallowed_methods, reason = "this is the one clock module")]
    #[must_use]
    pub fn now() -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        WallTime { unix_ms: i64::try_from(since.as_millis()).unwrap_or(i64::MAX) }
    }

    /// Year, month, day, hour, minute, second in UTC (proleptic Gregorian calendar).
    #[must_use]
    pub fn utc(self) -> (i64, u32, u32, u32, u32, u32) {
        let s = self.unix_ms.div_euclid(1000);
        let (days, rest) = (s.div_euclid(86_400), s.rem_euclid(86_400) as u32);
        // Days since 0000-03-01, so that leap days fall at the end of the counted year.
        let z = days + 719_468;
        let era = z.div_euclid(146_097);
        let doe = z.rem_euclid(146_097);
        let yoe = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
        let doy = doe - (365 * yoe + yoe / 4 - yoe / 100);
        let mp = (5 * doy + 2) / 153;
        let day = (doy - (153 * mp + 2) / 5 + 1) as u32;
        let month = if mp < 10 { mp + 3 } else { mp - 9 } as u32;
        let year = yoe + era * 400 + i64::from(month <= 2);
        (year, month, day, rest / 3600, rest / 60 % 60, rest % 60)
    }

    /// `2026-03-01T12:34:56Z`.
    #[must_use]
    pub fn to_rfc3339(self) -> String {
        let (y, mo, d, h, mi, s) = self.utc();
        format!("{y:04}-{mo:02}-{d:02}T{h:02}:{mi:02}:{s:02}Z")
    }

    /// `20260301T123456Z`, for folder names.
    #[must_use]
    pub fn to_compact(self) -> String {
        let (y, mo, d, h, mi, s) = self.utc();
        format!("{y:04}{mo:02}{d:02}T{h:02}{mi:02}{s:02}Z")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wall_time_matches_known_dates() {
        // Source: RFC 3339 section 5.8 (1985-04-12T23:20:50.52Z) and the POSIX epoch; seconds by `date -u +%s`.
        for (unix_s, text) in [
            (0, "1970-01-01T00:00:00Z"),
            (482_196_050, "1985-04-12T23:20:50Z"),
            (946_684_800, "2000-01-01T00:00:00Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (4_107_542_399, "2100-02-28T23:59:59Z"),
            (-1, "1969-12-31T23:59:59Z"),
        ] {
            assert_eq!(WallTime { unix_ms: unix_s * 1000 }.to_rfc3339(), text);
        }
    }

    #[test]
    fn suspended_is_what_only_the_clock_since_boot_counts() {
        let s = Duration::from_secs;
        let mut watch = SleepWatch::default();
        for (boot, monotonic, slept) in [
            (s(500), s(400), None),
            (s(510), s(410), None),
            (s(4110), s(410), Some(s(3600))),
            (s(4120), s(420), None),
        ] {
            assert_eq!(watch.compare(boot, monotonic), slept);
        }
        assert_eq!(SleepWatch::default().look(), None);
    }

    #[test]
    fn an_alarm_goes_off_when_its_moment_has_passed_and_not_before() {
        let clock = SystemClock::start();
        let mut alarm = Alarm::new(clock).unwrap();
        // Another descriptor that has something from the start ends the wait for what does not ring.
        let (reader, writer) = rustix::pipe::pipe().unwrap();
        rustix::io::write(&writer, b"x").unwrap();
        let hour = Duration::from_secs(3600);
        for (moment, what) in [
            (clock.now(), "passed"),
            (clock.now() + Duration::from_millis(2), "to come"),
            (Moment::START, "long passed"),
        ] {
            alarm.set(moment);
            alarm.wait(&mut Vec::new()).unwrap();
            assert!(clock.now() >= moment, "{what}");
        }
        for (moment, what) in [(clock.now() + hour, "an hour ahead"), (Moment::NEVER, "never")] {
            alarm.set(moment);
            let mut fds = vec![PollFd::new(&reader, rustix::event::PollFlags::IN)];
            alarm.wait(&mut fds).unwrap();
            assert!(!fds[0].revents().is_empty(), "{what}");
        }
    }

    #[test]
    fn moments_saturate() {
        assert_eq!(Moment::NEVER + Duration::from_secs(1), Moment::NEVER);
        assert_eq!(Moment::START - Duration::from_secs(1), Moment::START);
        assert_eq!(Moment::from_ms(5).since(Moment::from_ms(9)), Duration::ZERO);
        assert_eq!(Moment::from_s(1.5), Moment::from_ms(1500));
    }
}
