//! What a plan comes to before it runs: steps, bench time, pressure, fluid, cup fillings.
//!
//! In: a plan and its rig. Out: numbers and text. Never: a measurement; estimates come from the nozzle's rating and
//! the text says so.

use super::walk::Walk;
use crate::quantity::{Dimension, Units, show};
use crate::script::plan::{Op, Plan};
use crate::script::rig::Rig;
use std::fmt::Write as _;

/// What a plan comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Timeline {
    /// Scenario name.
    pub scenario: String,
    /// Parameters as used.
    pub parameters: Vec<(String, String)>,
    /// Steps, marks for the analysis included.
    pub steps: usize,
    /// Each step that does something, with its start.
    pub rows: Vec<Row>,
    /// Expected time on a real bench, s.
    pub expected_s: f64,
    /// Longest time on a real bench, s; time for the operator is counted with a minute each.
    pub longest_s: f64,
    /// Longest time with the pump on without a pause, s.
    pub longest_on_s: f64,
    /// Highest line pressure possible: the limit, gauge kPa.
    pub pressure_limit_kpa: f64,
    /// Highest line pressure expected from the nozzle's rating, gauge kPa; none without a rating.
    pub pressure_expected_kpa: Option<f64>,
    /// Fluid used, from the nozzle's rating, mL; none without a rating.
    pub fluid_ml: Option<f64>,
    /// How often the cup is filled.
    pub cup_fillings: usize,
    /// Collections.
    pub collections: usize,
    /// Times the operator is asked.
    pub asks: usize,
}

/// One step.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Number from 1.
    pub id: u32,
    /// Expected start, s.
    pub start_s: f64,
    /// Expected length, s.
    pub seconds: f64,
    /// In words.
    pub label: String,
    /// Pressure is trapped on purpose.
    pub traps_pressure: bool,
}

/// Works out what a plan comes to.
#[must_use]
pub fn timeline(plan: &Plan, rig: &Rig) -> Timeline {
    let mut walk = Walk::new(rig);
    let rated = rig.pair.nozzles.first().is_some_and(|n| n.rating.is_some());
    let (mut rows, mut fillings, mut used) = (Vec::with_capacity(plan.steps.len()), 0, false);
    let mut longest_on_s = 0.0_f64;
    for step in &plan.steps {
        let start_s = walk.expected_s;
        let takes = walk.step(&step.op);
        longest_on_s = longest_on_s.max(walk.on_s);
        if matches!(step.op, Op::Collect { .. }) && !used {
            used = true;
            fillings += 1;
        }
        if matches!(step.op, Op::Ask { .. }) && step.label.ends_with("empty the cup") {
            used = false;
        }
        if matches!(step.op, Op::Mark { .. }) {
            continue;
        }
        rows.push(Row {
            id: step.id,
            start_s,
            seconds: takes.expected_s,
            label: step.label.clone(),
            traps_pressure: step.traps_pressure,
        });
    }
    let count = |wanted: fn(&Op) -> bool| plan.steps.iter().filter(|s| wanted(&s.op)).count();
    Timeline {
        scenario: plan.scenario.clone(),
        parameters: plan.parameters.clone(),
        steps: plan.steps.len(),
        rows,
        expected_s: walk.expected_s,
        longest_s: walk.longest_s,
        longest_on_s,
        pressure_limit_kpa: plan.limits.line_pressure_kpa,
        pressure_expected_kpa: rated.then_some(walk.pressure_kpa.min(plan.limits.line_pressure_kpa)),
        fluid_ml: rated.then_some(walk.sprayed_ml),
        cup_fillings: fillings,
        collections: count(|op| matches!(op, Op::Collect { .. })),
        asks: count(|op| matches!(op, Op::Ask { .. })),
    }
}

impl Timeline {
    /// The timeline as people read it.
    #[must_use]
    pub fn text(&self, units: Units) -> String {
        let mut out = format!("{}: {} steps\n", self.scenario, self.steps);
        for (name, value) in &self.parameters {
            let _ = writeln!(out, "  {name} = {value}");
        }
        out.push('\n');
        for row in &self.rows {
            let trapped = if row.traps_pressure { " (pressure trapped)" } else { "" };
            let _ = writeln!(out, "{:>6}  {:>9}  {}{trapped}", row.id, clock(row.start_s), row.label);
        }
        out.push('\n');
        let of = |value: Option<f64>, dimension| {
            value.map_or("unknown, the nozzle has no rating".to_owned(), |v| show(v, dimension, units))
        };
        let _ = write!(
            out,
            "bench time         {} expected, {} at most\n\
             highest pressure   {} possible (limit), {} expected (from the nozzle's rating)\n\
             fluid              {} (from the nozzle's rating)\n\
             collections        {}\n\
             cup fillings       {}\n\
             operator asked     {}\n",
            clock(self.expected_s),
            clock(self.longest_s),
            show(self.pressure_limit_kpa, Dimension::GaugePressure, units),
            of(self.pressure_expected_kpa, Dimension::GaugePressure),
            of(self.fluid_ml, Dimension::Volume),
            self.collections,
            self.cup_fillings,
            self.asks,
        );
        out
    }
}

/// Seconds as `1:02:03.4` or `2:03.4`.
fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    let (hours, minutes, rest) = (tenths / 36_000, tenths / 600 % 60, tenths % 600);
    let tail = format!("{:02}.{}", rest / 10, rest % 10);
    if hours > 0 { format!("{hours}:{minutes:02}:{tail}") } else { format!("{minutes}:{tail}") }
}
