//! What is known about a run before its first reading.
//!
//! In: plan and rig. Out: [`Setup`], which owns what it holds. Never: a reading.

use crate::fluid::Fluid;
use crate::quantity::Absolute;
use crate::report::figure_text::Units;
use crate::script::plan::{Op, Plan};
use crate::script::rig::{EngineSpec, Limits, Rig};
use crate::script::role::Role;

/// What a step does, as far as words about it need to know.
#[derive(Clone, Debug, PartialEq)]
pub enum Doing {
    /// Set points change.
    Setting,
    /// Time passes.
    Waiting,
    /// A set point moves.
    Moving(String),
    /// A reading has to become steady.
    Steadying(String),
    /// The cup is being filled.
    Collecting,
    /// The operator is asked.
    Asking(String),
    /// Pressure is let out.
    Venting,
    /// Something only the record sees.
    Noting,
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct StepShown {
    /// In words.
    pub label: String,
    /// Expected length, s.
    pub seconds: f64,
    /// What it does.
    pub doing: Doing,
}

/// What is known about a run before its first reading.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The rig's name.
    pub bench: String,
    /// The scenario's name.
    pub scenario: String,
    /// Steps in order.
    pub steps: Vec<StepShown>,
    /// Limits that end the run.
    pub limits: Limits,
    /// Units shown.
    pub units: Units,
    /// Density of what is sprayed at the stated temperature, g/mL.
    pub density_g_ml: f64,
    /// Manifold sensor and ambient pressure.
    pub engine: EngineSpec,
    /// Whether bench time runs faster than the clock on the wall.
    pub hurried: bool,
}

impl Setup {
    /// Of a plan on a rig; `seconds` are the expected lengths of the steps by number, s.
    #[must_use]
    pub fn new(plan: &Plan, rig: &Rig, seconds: &[(u32, f64)], units: Units, hurried: bool) -> Self {
        let length = |id: u32| seconds.iter().find(|(i, _)| *i == id).map_or(0.0, |(_, s)| *s);
        let degc = rig.fluid.temperature_degc.0;
        let density = Fluid::new(rig.fluid.methanol_mass_fraction)
            .and_then(|fluid| fluid.density_kg_m3(degc, 0.0))
            // Outside the tables the screen shows grams as millilitres; results never come from here.
            .map_or(1.0, |p| p.value / 1000.0);
        Setup {
            bench: rig.name.clone(),
            scenario: plan.scenario.clone(),
            steps: plan
                .steps
                .iter()
                .map(|step| StepShown {
                    label: step.label.replace('_', " "),
                    seconds: length(step.id),
                    doing: doing(&step.op),
                })
                .collect(),
            limits: plan.limits,
            units,
            density_g_ml: density,
            engine: rig.engine.clone(),
            hurried,
        }
    }

    /// Gauge pressure (kPa) that the controller is shown by a sensor voltage.
    #[must_use]
    pub fn boost_kpa(&self, volts: f64, ambient_kpa: Option<f64>) -> Option<f64> {
        Some(self.engine.boost(volts, ambient_kpa.map(Absolute))?.0)
    }

    /// Expected bench time from the start of step `step` (from 1) to the end, s.
    #[must_use]
    pub fn seconds_from(&self, step: usize) -> f64 {
        self.steps.iter().skip(step.saturating_sub(1)).map(|s| s.seconds).sum()
    }
}

fn doing(op: &Op) -> Doing {
    match op {
        Op::Set(_) => Doing::Setting,
        Op::Hold { .. } => Doing::Waiting,
        Op::Ramp { role, .. } => Doing::Moving(role_words(role)),
        Op::Settle { role, .. } => Doing::Steadying(role_words(role)),
        Op::Collect { .. } => Doing::Collecting,
        Op::Ask { request } => Doing::Asking(request.clone()),
        Op::Vent { .. } => Doing::Venting,
        Op::Mark { .. } | Op::Expect { .. } => Doing::Noting,
        Op::Replay { .. } => Doing::Moving("boost and engine speed as recorded".into()),
        Op::Bisect { input, output, .. } => {
            Doing::Moving(format!("{}, to find where {} steps", role_words(input), role_words(output)))
        }
    }
}

/// A role as people say it.
#[must_use]
pub fn role_words(role: &Role) -> String {
    role.word().replace(['_', '.'], " ")
}
