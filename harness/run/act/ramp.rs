//! Moves a role linearly in time, a new set point each control period.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::plan::Until;
use crate::script::role::Role;
use std::time::Duration;

/// Time between set points of a ramp.
const PERIOD: Duration = Duration::from_millis(20);

/// A ramp.
#[derive(Debug)]
pub(super) struct Ramp {
    role: Role,
    from: f64,
    to: f64,
    seconds: f64,
    until: Option<Until>,
    start: Option<Moment>,
    next: Moment,
    /// When the watched reading passed its level.
    passed: Option<Moment>,
    below: Option<bool>,
}

impl Ramp {
    pub(super) fn new(role: Role, (from, to): (f64, f64), seconds: f64, until: Option<Until>) -> Self {
        Ramp { role, from, to, seconds, until, start: None, next: Moment::START, passed: None, below: None }
    }
}

impl Act for Ramp {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let start = *self.start.get_or_insert(now);
        if let (Some(passed), Some(until)) = (self.passed, &self.until)
            && now >= passed + Duration::from_secs_f64(until.then_s.max(0.0))
        {
            bench.log.event(passed, "passed", &[("role", &until.role), ("level", &until.level)]);
            return Ok(Progress::Done);
        }
        if now < self.next {
            return Ok(Progress::Until(self.next));
        }
        let share =
            if self.seconds > 0.0 { (now.since(start).as_secs_f64() / self.seconds).min(1.0) } else { 1.0 };
        bench.set(&self.role, self.from + (self.to - self.from) * share, now)?;
        if share >= 1.0 {
            return Ok(Progress::Done);
        }
        self.next = now + PERIOD;
        Ok(Progress::Until(self.next))
    }

    fn reading(&mut self, role: &Role, at: Moment, value: f64) {
        let Some(until) = self.until.as_ref().filter(|u| u.role == *role) else {
            return;
        };
        let below = value < until.level;
        let crossed = self.below == Some(until.rising) && below != until.rising;
        self.below = Some(below);
        if crossed && self.passed.is_none() {
            self.passed = Some(at);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_counts_only_when_it_is_crossed_the_right_way() {
        let until = |rising| Until { role: Role::Switch, level: 0.5, rising, then_s: 0.0 };
        for (rising, readings, crossed) in [
            (true, &[0.0, 1.0][..], true),
            (true, &[1.0, 0.0], false),
            (true, &[1.0, 1.0], false),
            (false, &[1.0, 0.0], true),
            (false, &[0.0, 1.0], false),
        ] {
            let mut ramp = Ramp::new(Role::PumpDuty, (0.0, 50.0), 10.0, Some(until(rising)));
            for (i, value) in readings.iter().enumerate() {
                ramp.reading(&Role::Switch, Moment::from_ms(i as u64), *value);
            }
            assert_eq!(ramp.passed.is_some(), crossed, "rising {rising}, readings {readings:?}");
        }
    }
}
