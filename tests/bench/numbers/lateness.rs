//! How late moments were met: percentiles, and the bare loop that every other loop is measured against.
//!
//! In: lateness of single moments. Out: p50, p99, p99.9 and the longest, us.

use rustix::thread::{ClockId, Timespec, clock_nanosleep_absolute};
use rustix::time::clock_gettime;
use std::fmt;

/// Lateness of many moments, ns.
#[derive(Clone, Default)]
pub(crate) struct Lateness(pub(crate) Vec<u64>);

impl Lateness {
    /// A percentile (0 to 1), us.
    pub(crate) fn us(&self, share: f64) -> f64 {
        let mut sorted = self.0.clone();
        sorted.sort_unstable();
        let at = ((sorted.len().saturating_sub(1)) as f64 * share).round() as usize;
        sorted.get(at).map_or(f64::NAN, |ns| *ns as f64 / 1000.0)
    }

    /// Both together.
    pub(crate) fn with(mut self, other: Lateness) -> Lateness {
        self.0.extend(other.0);
        self
    }
}

impl fmt::Display for Lateness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b, c, d] = [0.5, 0.99, 0.999, 1.0].map(|p| self.us(p));
        write!(f, "{a:.0}/{b:.0}/{c:.0}/{d:.0} us")
    }
}

/// A bare loop on absolute deadlines, 1 ms apart: nothing is done but the time read.
pub(crate) fn bare_loop(ticks: u64) -> Lateness {
    let ns = |t: Timespec| t.tv_sec as u64 * 1_000_000_000 + t.tv_nsec as u64;
    let now = || ns(clock_gettime(ClockId::Monotonic));
    let start = now();
    let mut late = Lateness::default();
    for tick in 1..=ticks {
        let due = start + tick * 1_000_000;
        let at = Timespec { tv_sec: (due / 1_000_000_000) as i64, tv_nsec: (due % 1_000_000_000) as i64 };
        while clock_nanosleep_absolute(ClockId::Monotonic, &at).is_err() {}
        late.0.push(now().saturating_sub(due));
    }
    late
}
