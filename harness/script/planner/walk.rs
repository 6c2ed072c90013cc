//! Walks through steps without a bench: time, pump, line and cup as far as they can be known before.
//!
//! In: operations in order. Out: how long each takes, whether the pump runs and into what, what lands in the cup.
//! Never: a promise; what depends on the bench is an estimate from the nozzle's rating and says so.

use crate::script::plan::{CollectStop, Op};
use crate::script::rig::{Limits, Rig};
use crate::script::role::Role;

/// Time a rest takes for weighing, s.
const REST_S: f64 = 8.0;
/// Time an operator takes for what is asked, s.
const OPERATOR_S: f64 = 60.0;
/// A pump's flow beyond what its duty times the rating says, at most.
pub(super) const FLOW_MARGIN: f64 = 1.25;

/// Where a bench is, as far as the steps say.
#[derive(Clone, Debug)]
pub(super) struct Walk {
    /// Commanded duty, %.
    pub(super) duty_pct: f64,
    /// Whether the controller under test drives the pump.
    pub(super) by_controller: bool,
    /// Whether the outlet is open; always so without a solenoid.
    pub(super) open: bool,
    /// Expected time since the start, s.
    pub(super) expected_s: f64,
    /// Longest time since the start, s.
    pub(super) longest_s: f64,
    /// Longest time the pump has been on without a pause, s.
    pub(super) on_s: f64,
    /// Mass in the cup by the rating, g; 0 without a rating.
    pub(super) cup_g: f64,
    /// All that was sprayed by the rating, mL.
    pub(super) sprayed_ml: f64,
    /// Highest line pressure by the rating, gauge kPa.
    pub(super) pressure_kpa: f64,
    /// Duty that makes most of what is ahead while the controller drives, %.
    rating: Option<(f64, f64)>,
    solenoid: bool,
}

/// How long a step takes, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Takes {
    pub(super) expected_s: f64,
    pub(super) longest_s: f64,
}

impl Walk {
    /// At the start of a run: safe state, empty cup.
    pub(super) fn new(rig: &Rig) -> Self {
        let solenoid = rig.plays(&Role::Solenoid);
        let rating = rig.pair.nozzles.first().and_then(|n| n.rating);
        Walk {
            duty_pct: 0.0,
            by_controller: false,
            open: !solenoid,
            expected_s: 0.0,
            longest_s: 0.0,
            on_s: 0.0,
            cup_g: 0.0,
            sprayed_ml: 0.0,
            pressure_kpa: 0.0,
            rating: rating.map(|r| (r.flow_ml_min, r.at_kpa)),
            solenoid,
        }
    }

    /// Whether the pump runs, or may run.
    pub(super) fn pump_on(&self) -> bool {
        self.duty_pct > 0.0 || self.by_controller
    }

    /// Flow by the rating at a duty, mL/min: a share of the rated flow.
    fn flow_ml_min(&self) -> f64 {
        let share = if self.by_controller { 0.5 } else { self.duty_pct / 100.0 };
        match self.rating {
            Some((flow, _)) if self.open => flow * share,
            _ => 0.0,
        }
    }

    /// Takes a step.
    pub(super) fn step(&mut self, op: &Op) -> Takes {
        let (expected_s, longest_s, mean_duty) = match op {
            Op::Set(settings) => {
                for (role, value) in settings {
                    self.set(role, *value);
                }
                (0.0, 0.0, None)
            }
            Op::Hold { seconds } => (*seconds, *seconds, None),
            Op::Ramp { role, from, to, seconds, until } => {
                let early = if until.is_some() { 0.6 } else { 1.0 };
                let mean = (*role == Role::PumpDuty).then(|| from.midpoint(*to));
                self.see(role, from.max(*to));
                (seconds * early, *seconds + until.as_ref().map_or(0.0, |u| u.then_s), mean)
            }
            Op::Settle { window_s, at_most_s, .. } => ((window_s * 1.5).min(*at_most_s), *at_most_s, None),
            Op::Collect { stop, weigh_at_rest, .. } => return self.collect(*stop, *weigh_at_rest),
            Op::Replay { rows, .. } => {
                let end = rows.last().map_or(0.0, |(t, _)| *t);
                (end, end, None)
            }
            Op::Bisect { from, to, resolution, settle_s, .. } => {
                let halvings = ((to - from).abs() / resolution).log2().ceil().max(1.0);
                // Both ends once, then back to the first end before each value between.
                let seconds = (2.0 * halvings + 2.0) * settle_s;
                (seconds, seconds, None)
            }
            Op::Ask { .. } => (OPERATOR_S, OPERATOR_S, None),
            Op::Vent { at_most_s } => {
                self.duty_pct = 0.0;
                self.open = true;
                (at_most_s.min(5.0), *at_most_s, None)
            }
            Op::Mark { .. } | Op::Expect { .. } => (0.0, 0.0, None),
        };
        let end = self.duty_pct;
        if let Some(mean) = mean_duty {
            self.duty_pct = mean;
        }
        self.pass(expected_s, longest_s);
        self.duty_pct = end;
        if let Op::Ramp { role, to, .. } = op {
            self.set(role, *to);
        }
        Takes { expected_s, longest_s }
    }

    fn set(&mut self, role: &Role, value: f64) {
        match role {
            Role::PumpDuty => self.duty_pct = value,
            Role::Solenoid => self.open = value > 0.5 || !self.solenoid,
            Role::DriveSource => self.by_controller = value > 0.5,
            _ => {}
        }
        self.see(role, value);
        if !self.pump_on() {
            self.on_s = 0.0;
        }
    }

    /// Line pressure by the rating at a duty: flow as the duty, pressure as its square.
    fn see(&mut self, role: &Role, value: f64) {
        if let (Role::PumpDuty, Some((_, at))) = (role, self.rating) {
            self.pressure_kpa = self.pressure_kpa.max(at * (value / 100.0).powi(2));
        }
    }

    fn pass(&mut self, expected_s: f64, longest_s: f64) {
        self.expected_s += expected_s;
        self.longest_s += longest_s;
        if self.pump_on() {
            self.on_s += longest_s;
            let ml = self.flow_ml_min() * expected_s / 60.0;
            self.sprayed_ml += ml;
            self.cup_g += ml * FLOW_MARGIN;
        }
    }

    fn collect(&mut self, stop: CollectStop, weigh_at_rest: bool) -> Takes {
        let rest = if weigh_at_rest { 2.0 * REST_S } else { 0.0 };
        let flow = self.flow_ml_min();
        let (expected_s, longest_s) = match stop {
            CollectStop::Seconds(s) => (s, s),
            CollectStop::Mass { grams, at_most_s } if flow > 0.0 => {
                ((grams / flow * 60.0).min(at_most_s), at_most_s)
            }
            CollectStop::Mass { at_most_s, .. } => (at_most_s, at_most_s),
        };
        if weigh_at_rest {
            self.on_s = 0.0;
        }
        self.pass(expected_s, longest_s);
        self.expected_s += rest;
        self.longest_s += rest;
        Takes { expected_s: expected_s + rest, longest_s: longest_s + rest }
    }

    /// Whether the cup would be fuller than its limit.
    pub(super) fn cup_full(&self, limits: &Limits) -> bool {
        self.cup_g > limits.cup_mass_g
    }
}
