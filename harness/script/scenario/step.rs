//! The steps of a scenario as decoded: a tree, in internal units.
//!
//! In: filled by `decode`. Out: read by `check` and `planner`. Never: a rig.

use crate::script::plan::{CollectStop, Until};
use crate::script::role::Role;
use crate::script::yaml::Mark;

/// One step and where it stands.
#[derive(Clone, Debug)]
pub struct Step {
    /// Where it stands.
    pub mark: Mark,
    /// What to do.
    pub action: Action,
}

/// A value and where it stands.
#[derive(Clone, Debug)]
pub struct Placed {
    /// The value, role units.
    pub value: f64,
    /// As it was written.
    pub text: String,
    /// Where it stands.
    pub mark: Mark,
}

/// Points of a sweep along one role.
#[derive(Clone, Debug)]
pub struct Axis {
    /// What is set.
    pub role: Role,
    /// Points in the order written.
    pub points: Vec<Placed>,
}

/// Order of points within a pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// As written.
    Up,
    /// Backwards.
    Down,
    /// As written, then backwards.
    Both,
    /// By chance.
    Shuffle,
}

/// What a step does.
#[derive(Clone, Debug)]
pub enum Action {
    /// Set roles at once.
    Set {
        /// Roles and values.
        settings: Vec<(Role, Placed)>,
        /// Leave out those the rig does not have.
        if_fitted: bool,
    },
    /// Wait between `from` and `to` seconds.
    Hold {
        /// Shortest, s.
        from: f64,
        /// Longest, s.
        to: f64,
    },
    /// Move a role steadily.
    Ramp {
        /// Which.
        role: Role,
        /// Start.
        from: Placed,
        /// End.
        to: Placed,
        /// In this time, s.
        seconds: f64,
        /// What ends it early, and where that stands.
        until: Option<(Until, Mark)>,
    },
    /// Wait until a reading is steady.
    Settle {
        /// Which reading.
        role: Role,
        /// Allowed change, role units.
        within: f64,
        /// Allowed change, fraction of the reading.
        within_fraction: f64,
        /// Window, s.
        window_s: f64,
        /// Gives up after, s.
        at_most_s: f64,
    },
    /// Collect into the cup.
    Collect {
        /// When to stop.
        stop: CollectStop,
        /// Weigh at rest before and after.
        weigh_at_rest: bool,
    },
    /// Do something at each point.
    Sweep {
        /// Axes; the last moves fastest.
        axes: Vec<Axis>,
        /// Passes.
        repeats: usize,
        /// Order within a pass.
        order: Order,
        /// The very first point once more at the end.
        first_again: bool,
        /// Between passes.
        between: Vec<Step>,
        /// At each point.
        body: Vec<Step>,
    },
    /// Do something many times.
    Cycle {
        /// How many.
        times: usize,
        /// What.
        body: Vec<Step>,
    },
    /// Mark a stretch for the analysis.
    Span {
        /// Kind.
        kind: &'static str,
        /// What describes it.
        values: Vec<(String, String)>,
        /// What happens in it.
        body: Vec<Step>,
    },
    /// Find where an output steps.
    Bisect {
        /// Input moved.
        input: Role,
        /// One end.
        from: Placed,
        /// Other end.
        to: Placed,
        /// Bracket wanted, role units.
        resolution: f64,
        /// Output watched.
        output: Role,
        /// Level that counts as stepped, role units.
        level: f64,
        /// Wait at each value, s.
        settle_s: f64,
    },
    /// Play a trace of (time, s; boost, gauge kPa; engine speed, rpm).
    Replay {
        /// File beside or below the scenario.
        file: String,
        /// Rows in order of time.
        rows: Vec<(f64, f64, f64)>,
    },
    /// Have a nozzle mounted; `first` is the first of the rig.
    Mount {
        /// Its name.
        nozzle: String,
    },
    /// Ask the operator.
    Ask {
        /// What.
        request: String,
    },
    /// Keep pressure in the line on purpose, then vent.
    Trap {
        /// Why.
        why: String,
        /// Time to vent, s.
        vent_within_s: f64,
        /// What to do.
        body: Vec<Step>,
    },
    /// Open the line.
    Vent {
        /// Gives up after, s.
        at_most_s: f64,
    },
    /// A result within limits.
    Expect {
        /// Verdict item.
        item: String,
        /// Lower limit, internal unit.
        lower: Option<f64>,
        /// Upper limit, internal unit.
        upper: Option<f64>,
    },
}
