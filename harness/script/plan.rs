//! The plan: a scenario played out for a rig, as a flat list of steps in internal units.

use super::rig::Limits;
use super::role::Role;
use crate::verdict::purpose::Purpose;

/// A plan, ready to run.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Scenario name.
    pub scenario: String,
    /// The scenario's text, for the copy in the record and its hash.
    pub source: String,
    /// Parameters as used, `name: value`.
    pub parameters: Vec<(String, String)>,
    /// Steps in order.
    pub steps: Vec<Step>,
    /// Effective limits: the smaller of rig and scenario.
    pub limits: Limits,
    /// What the analysis is to make of the record.
    pub purpose: Purpose,
}

/// One step of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Number from 1, as in `samples.csv` and `events.csv`.
    pub id: u32,
    /// Where it came from, in words: `sweep 3: duty 40 %, repeat 2`.
    pub label: String,
    /// What to do.
    pub op: Op,
    /// Pressure is trapped on purpose; the safe state is then verified by read-back alone.
    pub traps_pressure: bool,
}

/// What a step does.
#[derive(Clone, Debug, PartialEq)]
pub enum Op {
    /// Set roles at once; role units (boost in gauge kPa, rpm in rpm).
    Set(Vec<(Role, f64)>),
    /// Wait, s.
    Hold {
        /// How long.
        seconds: f64,
    },
    /// Move a role linearly, new set point every control period.
    Ramp {
        /// Which role.
        role: Role,
        /// From, role units.
        from: f64,
        /// To, role units.
        to: f64,
        /// In this time, s.
        seconds: f64,
        /// Stop early when a watched role passes a level.
        until: Option<Until>,
    },
    /// Wait until a reading is steady.
    Settle {
        /// Which reading.
        role: Role,
        /// Change between halves of the window allowed, role units.
        within: f64,
        /// Same, as a fraction of the reading; the larger of the two counts.
        within_fraction: f64,
        /// Window, s.
        window_s: f64,
        /// Give up after, s; the step then goes on and the collection is marked `not settled`.
        at_most_s: f64,
    },
    /// Collect into the cup.
    Collect {
        /// Repeat number from 1.
        repeat: u32,
        /// Nozzle or nozzles that spray, `A` or `A+B`.
        nozzle: String,
        /// When to stop.
        stop: CollectStop,
        /// Pump stopped before and after, for the static cross-check.
        weigh_at_rest: bool,
    },
    /// Mark the start of a span the analysis looks for (ramp, leak-down, point), with values that describe it.
    Mark {
        /// Kind of span: `ramp`, `point`, `leak`, `response`, ...
        kind: String,
        /// Values that describe it, `name=value`.
        values: Vec<(String, String)>,
    },
    /// Play a recorded trace: time from the start of the step (s) and the set points then.
    Replay {
        /// File beside or below the scenario, for the copy in the record.
        file: String,
        /// Rows in order of time.
        rows: Vec<(f64, Vec<(Role, f64)>)>,
    },
    /// Find where an output steps between two values of an input, by halving.
    Bisect {
        /// Input that is moved.
        input: Role,
        /// From, role units.
        from: f64,
        /// To, role units.
        to: f64,
        /// Until the bracket is this narrow, role units.
        resolution: f64,
        /// Output watched.
        output: Role,
        /// Level that counts as stepped, role units.
        level: f64,
        /// Wait at each input value, s.
        settle_s: f64,
    },
    /// Ask the operator to do something and wait for the answer.
    Ask {
        /// What to do, in words.
        request: String,
    },
    /// Open the line and wait until pressure is gone.
    Vent {
        /// Give up after, s.
        at_most_s: f64,
    },
    /// A value of the analysis that must lie within limits.
    Expect {
        /// Verdict item, such as `duty.dead_band`.
        item: String,
        /// Lower limit, internal unit.
        lower: Option<f64>,
        /// Upper limit, internal unit.
        upper: Option<f64>,
    },
}

/// A level of a reading that ends a ramp.
#[derive(Clone, Debug, PartialEq)]
pub struct Until {
    /// Which reading.
    pub role: Role,
    /// Level, role units.
    pub level: f64,
    /// Rising through it, or falling.
    pub rising: bool,
    /// Go on this long after, s.
    pub then_s: f64,
}

/// When a collection stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CollectStop {
    /// After this time, s.
    Seconds(f64),
    /// At this collected mass (g), or after `at_most_s`.
    Mass {
        /// Mass, g.
        grams: f64,
        /// Longest time, s.
        at_most_s: f64,
    },
}
