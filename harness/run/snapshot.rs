//! What someone who watches a bench sees of it at one moment.
//!
//! In: a bench between two turns. Out: a [`Snapshot`] that owns what it holds, so that whoever looks may lag or fail
//! without touching the bench. Never: a change of the bench.

use super::bench::Bench;
use super::readings::Reading;
use crate::clock::Moment;
use crate::script::role::Role;

/// How far a run has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Instruments are identified and read for the first time.
    Opening,
    /// The safe state is commanded, then the device is let switch on.
    Arming,
    /// Steps are played.
    Playing,
    /// The safe state is being reached.
    Ending,
    /// Nothing more happens.
    Ended,
}

/// A bench at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// When.
    pub at: Moment,
    /// How far the run has come.
    pub stage: Stage,
    /// The step being played, from 1; 0 before the first.
    pub step: usize,
    /// Latest reading of each role that has one, role units.
    pub readings: Vec<(Role, Reading)>,
    /// Last value told to each role, role units (volts for boost).
    pub told: Vec<(Role, f64)>,
    /// Why the run ends, once it does.
    pub fault: Option<String>,
}

impl Snapshot {
    /// The bench as it is at `at`.
    #[must_use]
    pub fn of(bench: &Bench<'_>, at: Moment) -> Self {
        let told = |role: &Role| Some((role.clone(), bench.context.desk.told(role)?));
        let roles = bench.rig.channels.iter().map(|c| &c.role);
        let fault = bench.why.as_ref().and_then(|(_, fault)| fault.as_ref());
        Snapshot {
            at,
            stage: bench.stage(),
            step: bench.progress().0,
            readings: bench.readings().each().map(|(role, r)| (role.clone(), r)).collect(),
            told: roles.filter_map(told).collect(),
            fault: fault.or_else(|| bench.ending().and_then(|e| e.fault.as_ref())).map(ToString::to_string),
        }
    }

    /// The latest reading of a role.
    #[must_use]
    pub fn reading(&self, role: &Role) -> Option<Reading> {
        self.readings.iter().find(|(r, _)| r == role).map(|(_, r)| *r)
    }

    /// The latest value of a role.
    #[must_use]
    pub fn value(&self, role: &Role) -> Option<f64> {
        self.reading(role).map(|r| r.value)
    }

    /// The last value told to a role.
    #[must_use]
    pub fn told(&self, role: &Role) -> Option<f64> {
        self.told.iter().find(|(r, _)| r == role).map(|(_, v)| *v)
    }
}
