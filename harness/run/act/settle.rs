//! Waits until a reading is steady: the means of the two halves of a window differ by no more than allowed.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::role::Role;
use std::collections::VecDeque;
use std::time::Duration;

/// Most readings kept of a window; a longer window thins out.
const WINDOW_READINGS: usize = 100_000;
/// Fewest readings in a half that can speak for it.
const HALF_READINGS: usize = 3;

/// A settle in progress.
#[derive(Debug)]
pub(super) struct Settle {
    role: Role,
    within: f64,
    within_fraction: f64,
    window: Duration,
    at_most: Duration,
    start: Option<Moment>,
    seen: VecDeque<(Moment, f64)>,
    /// Sums of the older and newer half are recomputed only when this moment has passed.
    next_look: Moment,
}

impl Settle {
    pub(super) fn new(
        role: Role,
        (within, within_fraction): (f64, f64),
        window_s: f64,
        at_most_s: f64,
    ) -> Self {
        Settle {
            role,
            within,
            within_fraction,
            window: Duration::from_secs_f64(window_s.max(0.0)),
            at_most: Duration::from_secs_f64(at_most_s.max(0.0)),
            start: None,
            seen: VecDeque::new(),
            next_look: Moment::START,
        }
    }

    /// Mean of the newer half, if the window is full and steady.
    fn steady(&self, now: Moment) -> Option<f64> {
        let middle = now - self.window / 2;
        let (mut older, mut newer) = ((0.0, 0_usize), (0.0, 0_usize));
        for (at, value) in &self.seen {
            let half = if *at < middle { &mut older } else { &mut newer };
            half.0 += value;
            half.1 += 1;
        }
        if older.1 < HALF_READINGS || newer.1 < HALF_READINGS {
            return None;
        }
        let (older, newer) = (older.0 / older.1 as f64, newer.0 / newer.1 as f64);
        let allowed = self.within.max(self.within_fraction * newer.abs());
        ((newer - older).abs() <= allowed).then_some(newer)
    }
}

impl Act for Settle {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let start = *self.start.get_or_insert(now);
        let full = now.since(start) >= self.window;
        if full && now >= self.next_look {
            if let Some(value) = self.steady(now) {
                let after_s = now.since(start).as_secs_f64();
                bench.log.event(
                    now,
                    "settled",
                    &[("role", &self.role), ("value", &value), ("after_s", &after_s)],
                );
                return Ok(Progress::Done);
            }
            self.next_look = now + self.window / 8;
        }
        let end = start + self.at_most.max(self.window);
        if now >= end {
            let at_most_s = self.at_most.as_secs_f64();
            bench.log.event(now, "not_settled", &[("role", &self.role), ("after_s", &at_most_s)]);
            return Ok(Progress::Done);
        }
        Ok(Progress::Until(end.min((start + self.window).max(self.next_look))))
    }

    fn reading(&mut self, role: &Role, at: Moment, value: f64) {
        if *role != self.role || self.start.is_none_or(|start| at < start) {
            return;
        }
        self.seen.push_back((at, value));
        let old = at - self.window;
        while self.seen.front().is_some_and(|(t, _)| *t < old) || self.seen.len() > WINDOW_READINGS {
            self.seen.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A window of 2 s at 10 readings a second, ending at `Moment::from_ms(2000)`.
    fn settle(value: impl Fn(f64) -> f64) -> Option<f64> {
        let mut settle = Settle::new(Role::LinePressure, (0.5, 0.01), 2.0, 20.0);
        settle.start = Some(Moment::START);
        for i in 0..=20 {
            let at = Moment::from_ms(i * 100);
            settle.reading(&Role::LinePressure, at, value(at.as_s()));
        }
        settle.steady(Moment::from_ms(2000))
    }

    #[test]
    fn steady_means_that_the_halves_agree() {
        assert!(settle(|_| 100.0).is_some());
        assert!(
            settle(|t| 100.0 + 0.9 * t).is_some(),
            "a drift of 0.9 kPa/s moves the half means by 0.9 kPa"
        );
        assert!(
            settle(|t| 100.0 + 1.5 * t).is_none(),
            "a drift of 1.5 kPa/s moves them by 1.5 kPa, allowed is 1 kPa"
        );
        assert!(
            settle(|t| if t < 1.0 { 0.2 } else { 0.6 }).is_some(),
            "near zero the absolute allowance counts"
        );
    }
}
