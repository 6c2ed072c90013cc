//! The switch of a run or of a file: one way for both sources.
//!
//! In: a run folder with spans of kind `ramp`, or a file of ramps, and what is known of the gauge. Out:
//! [`SwitchPoints`]. Never: a ramp that is judged differently because of where it was recorded.

use super::gauge::Gauge;
use super::ramps_csv;
use super::spans::{self, Trace};
use super::switch_points::SwitchPoints;
use super::switch_ramps::{Ramp, reduce};
use crate::problem::{Problem, Problems};
use crate::record::RunFolder;
use crate::script::role::Role;
use std::path::Path;

/// Value of a ramp's span that says how fast it goes; a ramp of this rate only finds the region.
const COARSE: &str = "coarse";

/// The switch of a run.
///
/// # Errors
/// The record cannot be read, or holds neither ramps nor what they need.
pub fn from_run(folder: &RunFolder, gauge: Gauge) -> Result<SwitchPoints, Problems> {
    let roles = [Role::LinePressure, Role::Switch, Role::PumpDuty, Role::Duty];
    for needed in &roles[..2] {
        if folder.column(needed).is_none() {
            let what = format!("the run did not read {needed}, and ramps over a switch need it");
            return Err(Problem::new(what).help("add the channel to the rig").into());
        }
    }
    let mut results = Vec::new();
    spans::read(folder, &["ramp"], &roles, &mut |trace| {
        let label = (results.len() + 1).to_string();
        results.push(reduce(&ramp_of(label, trace), gauge.delay_s));
    })?;
    if results.is_empty() {
        return Err(Problem::new("the run has no ramps over a switch")
            .expected("spans of kind ramp")
            .into());
    }
    Ok(SwitchPoints::new(results, gauge))
}

/// The switch of a file recorded elsewhere.
///
/// # Errors
/// Every problem of the file.
pub fn from_csv(path: &Path, gauge: Gauge) -> Result<SwitchPoints, Problems> {
    let mut results = Vec::new();
    ramps_csv::read(path, &mut |ramp| results.push(reduce(&ramp, gauge.delay_s)))?;
    Ok(SwitchPoints::new(results, gauge))
}

fn ramp_of(label: String, trace: Trace) -> Ramp {
    let mut ramp = Ramp {
        label,
        coarse: trace.span.values.get("rate").is_some_and(|r| r == COARSE)
            || trace.span.values.get(COARSE).is_some_and(|v| v == "yes"),
        void: trace.span.void,
        cut: trace.cut,
        ..Ramp::default()
    };
    let [pressure, switch, set, measured] = trace.readings.try_into().unwrap_or_default();
    ramp.pressure = pressure;
    switch.iter().for_each(|&(t, v)| ramp.contact.push(t, v >= 0.5));
    let duty: &[(f64, f64)] = if measured.is_empty() { &set } else { &measured };
    duty.iter().for_each(|d| ramp.push_duty(d.1));
    ramp
}
