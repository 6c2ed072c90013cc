//! Whether a reading can be true, given the one before it: pressure and mass do not jump.
//!
//! In: readings of line pressure and cup mass as they come. Out: take it, hold it back, or a step that has lasted.
//! What is held back is counted and written down as an event, never used. Never: the over-pressure limit; that looks at
//! every reading, credible or not.

use super::readings::Reading;
use crate::clock::Moment;
use crate::script::role::Role;
use std::collections::VecDeque;
use std::time::Duration;

/// Longest time since the last reading that makes room for change.
const SPAN_MAX_S: f64 = 1.0;

/// What one role may do.
#[derive(Clone, Copy, Debug)]
struct Bounds {
    /// A jump that is always allowed, role units.
    least: f64,
    /// Change allowed beyond it, role units a second.
    per_s: f64,
    /// A new level that stays this long is no longer a spike.
    hold: Duration,
}

/// Line pressure, kPa: a stopped pump empties a stiff line at some 7 MPa/s (the virtual bench; steepest seen in the
/// shipped scenarios: 148 kPa in 20 ms). A second reading at the new level confirms it.
const PRESSURE: Bounds = Bounds { least: 200.0, per_s: 5000.0, hold: Duration::ZERO };
/// Cup mass, g: the strongest pump of the trade fills 50 g/s at most (common practice, no source); a knock lasts 0.3 s.
const MASS: Bounds = Bounds { least: 20.0, per_s: 25.0, hold: Duration::from_millis(550) };

/// A filtered scale smears a step, so the mean of the last half second is compared with that of the second that ended 1.5 s
/// before; a fall by more than this many grams, with the pump on, is a step. A knock of 0.3 s moves the means less.
const FALL_G: f64 = 15.0;
/// Readings kept for that.
const FALL_OVER: Duration = Duration::from_millis(2500);
/// How long ago the earlier of the two windows ends.
const FALL_BEFORE: Duration = Duration::from_millis(1500);
/// Length of the later window.
const FALL_AFTER: Duration = Duration::from_millis(500);

/// What to do with a reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Verdict {
    /// Use it.
    Taken,
    /// Do not use it.
    Held,
    /// Use it: the value has moved by this much and stays there.
    Step(f64),
}

#[derive(Clone, Copy, Debug)]
struct Track {
    bounds: Bounds,
    last: Option<Reading>,
    held: Option<Moment>,
}

impl Track {
    const fn new(bounds: Bounds) -> Self {
        Track { bounds, last: None, held: None }
    }

    fn look(&mut self, reading: Reading) -> Verdict {
        let by = self.last.map_or(0.0, |last| reading.value - last.value);
        let span_s = self.last.map_or(0.0, |last| reading.at.since(last.at).as_secs_f64());
        let allowed = self.bounds.least + self.bounds.per_s * span_s.min(SPAN_MAX_S);
        let verdict = match self.held {
            _ if by.abs() <= allowed => Verdict::Taken,
            None => Verdict::Held,
            Some(since) if reading.at.since(since) < self.bounds.hold => Verdict::Held,
            Some(_) => Verdict::Step(by),
        };
        if verdict == Verdict::Held {
            self.held.get_or_insert(reading.at);
        } else {
            (self.last, self.held) = (Some(reading), None);
        }
        verdict
    }

    fn follow(&mut self, reading: Reading) {
        (self.last, self.held) = (Some(reading), None);
    }
}

/// Whether a mass falls.
#[derive(Clone, Debug, Default)]
struct Falling(VecDeque<Reading>);

impl Falling {
    /// How far it has fallen, g, where that is a step.
    fn look(&mut self, reading: Reading) -> Option<f64> {
        self.0.push_back(reading);
        let age = |r: &Reading| reading.at.since(r.at);
        let mut full = false;
        while self.0.front().is_some_and(|r| age(r) > FALL_OVER) {
            self.0.pop_front();
            full = true;
        }
        let mean = |of: &dyn Fn(Duration) -> bool| {
            let values = self.0.iter().filter(|r| of(age(r)));
            let (sum, n) = values.fold((0.0, 0_u32), |(sum, n), r| (sum + r.value, n + 1));
            (n > 0).then(|| sum / f64::from(n))
        };
        let fall_g = mean(&|age| age >= FALL_BEFORE)? - mean(&|age| age <= FALL_AFTER)?;
        (full && fall_g > FALL_G).then_some(fall_g)
    }
}

/// The roles that are watched.
#[derive(Clone, Debug)]
pub(super) struct Credible {
    pressure: Track,
    mass: Track,
    falling: Falling,
    /// Readings held back.
    pub(super) held: u64,
}

impl Credible {
    pub(super) fn new() -> Self {
        Credible {
            pressure: Track::new(PRESSURE),
            mass: Track::new(MASS),
            falling: Falling::default(),
            held: 0,
        }
    }

    /// Looks at a reading. The cup is watched only while the pump works `steadily`: with the pump off a person may lift
    /// it, and the jet's thrust comes with the pressure.
    pub(super) fn look(&mut self, role: &Role, reading: Reading, steadily: bool) -> Verdict {
        let verdict = match role {
            Role::LinePressure => self.pressure.look(reading),
            Role::CupMass if steadily => match (self.mass.look(reading), self.falling.look(reading)) {
                (Verdict::Taken, Some(fall_g)) => Verdict::Step(-fall_g),
                (verdict, _) => verdict,
            },
            Role::CupMass => {
                self.falling.0.clear();
                self.mass.follow(reading);
                Verdict::Taken
            }
            _ => Verdict::Taken,
        };
        self.held += u64::from(verdict == Verdict::Held);
        verdict
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Verdicts on readings a period apart.
    fn verdicts(role: &Role, period_ms: u64, values: &[f64]) -> Vec<Verdict> {
        let mut credible = Credible::new();
        let look = |(i, value): (usize, &f64)| {
            let at = Moment::from_ms(i as u64 * period_ms);
            credible.look(role, Reading { at, value: *value }, true)
        };
        values.iter().enumerate().map(look).collect()
    }

    #[test]
    fn a_spike_is_held_back_and_a_new_level_is_taken() {
        use Verdict::{Held, Step, Taken};
        let pressure = |values: &[f64]| verdicts(&Role::LinePressure, 20, values);
        assert_eq!(pressure(&[500.0, 5000.0, 501.0, 502.0]), [Taken, Held, Taken, Taken]);
        assert_eq!(pressure(&[500.0, 50.0, 40.0]), [Taken, Held, Step(-460.0)]);
        assert_eq!(pressure(&[0.0, 150.0, 300.0, 150.0]), [Taken; 4]);
        let mass = |values: &[f64]| verdicts(&Role::CupMass, 100, values);
        assert_eq!(mass(&[300.0, 340.0, 341.0, 301.0]), [Taken, Held, Held, Taken], "a knock of 40 g");
        assert_eq!(mass(&[300.0, 400.0, 400.0, 400.0, 301.0]), [Taken, Held, Held, Held, Taken]);
        let lifted = [300.0, -100.0, -100.0, -100.0, -100.0, -100.0, -100.0, -100.0];
        assert_eq!(mass(&lifted)[1..7], [Held; 6]);
        assert_eq!(mass(&lifted)[7], Step(-400.0));
    }

    #[test]
    fn a_step_smeared_by_a_filter_is_seen_and_a_knock_is_none() {
        let rising = |i: usize| 100.0 + 0.5 * i as f64;
        // Emptied by 80 g through a filter of 0.3 s; a knock of 40 g for 0.3 s.
        let emptied = |i: usize| rising(i) - 80.0 * (1.0 - (-(i as f64 - 30.0).max(0.0) / 3.0).exp());
        let knocked = |i: usize| rising(i) + if (30..33).contains(&i) { 20.0 } else { 0.0 };
        for (value, steps) in [(&emptied as &dyn Fn(usize) -> f64, true), (&knocked, false), (&rising, false)]
        {
            let values: Vec<f64> = (0..80).map(value).collect();
            let seen = verdicts(&Role::CupMass, 100, &values);
            assert_eq!(seen.iter().any(|v| matches!(v, Verdict::Step(_))), steps);
        }
    }
}
