//! Finds where an output steps between two values of an input, by halving the bracket.
//!
//! Every value is come to from the first end: with hysteresis the step lies elsewhere from the other side, and searching
//! from both ends measures it.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::role::Role;
use std::time::Duration;

/// Most halvings; 2^-40 of any bracket is below every resolution.
const HALVINGS: u32 = 40;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    First,
    Second,
    /// Back at the first end, before the next value.
    Return,
    Middle,
}

/// A bisection in progress.
#[derive(Debug)]
pub(super) struct Bisect {
    input: Role,
    output: Role,
    first: f64,
    low: f64,
    high: f64,
    resolution: f64,
    level: f64,
    settle: Duration,
    phase: Phase,
    at: f64,
    low_above: bool,
    halvings: u32,
    until: Option<Moment>,
}

impl Bisect {
    pub(super) fn new(
        (input, output): (Role, Role),
        (from, to): (f64, f64),
        resolution: f64,
        level: f64,
        settle_s: f64,
    ) -> Self {
        Bisect {
            input,
            output,
            first: from,
            low: from,
            high: to,
            resolution,
            level,
            settle: Duration::from_secs_f64(settle_s.max(0.0)),
            phase: Phase::First,
            at: from,
            low_above: false,
            halvings: 0,
            until: None,
        }
    }

    fn go_to(&mut self, bench: &mut Context<'_>, value: f64, now: Moment) -> Result<(), Fault> {
        bench.set(&self.input, value, now)?;
        self.at = value;
        self.until = Some(now + self.settle);
        Ok(())
    }

    /// Takes the output's side at the present input; true when the search is over.
    fn take(&mut self, above: bool) -> bool {
        match self.phase {
            Phase::First => {
                self.low_above = above;
                self.phase = Phase::Second;
                return false;
            }
            Phase::Second => {
                self.phase = Phase::Return;
                return above == self.low_above;
            }
            Phase::Return => {
                self.phase = Phase::Middle;
                return false;
            }
            Phase::Middle => {
                if above == self.low_above {
                    self.low = self.at;
                } else {
                    self.high = self.at;
                }
                self.halvings += 1;
                self.phase = Phase::Return;
            }
        }
        (self.high - self.low).abs() <= self.resolution || self.halvings >= HALVINGS
    }
}

impl Act for Bisect {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let Some(until) = self.until else {
            self.go_to(bench, self.low, now)?;
            return Ok(Progress::Until(now + self.settle));
        };
        if now < until {
            return Ok(Progress::Until(until));
        }
        let Some(value) = bench.readings.fresh(&self.output, now) else {
            return Ok(Progress::Until(now + Duration::from_millis(20)));
        };
        let (was_second, finished) = (self.phase == Phase::Second, self.take(value > self.level));
        if finished {
            let kind = if was_second && self.halvings == 0 { "no_edge" } else { "edge" };
            let pairs: [(&str, &dyn std::fmt::Display); 5] = [
                ("input", &self.input),
                ("output", &self.output),
                ("low", &self.low),
                ("high", &self.high),
                ("rising", &!self.low_above),
            ];
            bench.log.event(now, kind, &pairs);
            return Ok(Progress::Done);
        }
        let next = match self.phase {
            Phase::First | Phase::Return => self.first,
            Phase::Second => self.high,
            Phase::Middle => 0.5 * (self.low + self.high),
        };
        self.go_to(bench, next, now)?;
        Ok(Progress::Until(now + self.settle))
    }
}
