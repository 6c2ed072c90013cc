//! The switch of a run or of a file: one way for both sources.
//!
//! In: a run folder with spans of kind `ramp` and its rig, or a file of ramps and what is known of the gauge. Out:
//! [`SwitchPoints`]. Where the gauge was read vented, its zero is taken out and its noise is known. Never: a ramp that is judged differently
//! because of where it was recorded.

use super::gauge::Gauge;
use super::instruments::Instruments;
use super::ramps_csv;
use super::spans::{self, Span, Trace};
use super::switch_points::SwitchPoints;
use super::switch_ramps::{Ramp, RampResult, reduce};
use super::zero::{self, Vented};
use crate::problem::{Problem, Problems};
use crate::record::RunFolder;
use crate::script::rig::Rig;
use crate::script::role::Role;
use std::path::Path;

/// Kind of the spans.
pub const KIND: &str = "ramp";
/// Rate of a ramp that only finds the region.
const COARSE: &str = "coarse";
/// Readings of the vented gauge from which on its noise is known.
const NOISE_READINGS: usize = 50;

/// The switch of a run; without any ramps where a fault ended it before the first one.
///
/// # Errors
/// The record was altered or cannot be read, or holds neither ramps nor what they need.
pub fn from_run(folder: &RunFolder, rig: &Rig) -> Result<SwitchPoints, Problems> {
    for needed in [Role::LinePressure, Role::Switch] {
        if folder.column(&needed).is_none() {
            let what = format!("the run did not read {needed}, and ramps over a switch need it");
            return Err(Problem::new(what).help("add the channel to the rig").into());
        }
    }
    let (gauge, known) = (Gauge::of_rig(rig), Instruments::of_rig(rig));
    let (mut results, mut vented): (Vec<RampResult>, Vec<Vented>) = (Vec::new(), Vec::new());
    let mut noise_kpa = None;
    spans::each(folder, &[KIND, zero::KIND], &mut |span| {
        if span.kind == zero::KIND {
            let read = zero::read_line(&span, &known);
            noise_kpa = read.and_then(|_| noise(span.traces.get(&Role::LinePressure)?)).or(noise_kpa);
            vented.extend(read);
        } else {
            let label = (results.len() + 1).to_string();
            results.push(reduce(&ramp_of(label, &span), gauge.delay_s));
        }
    })?;
    if results.is_empty() && folder.run.fault.is_none() {
        return Err(Problem::new("the run has no ramps over a switch").expected("spans of kind ramp").into());
    }
    let (mut gauge, offset_kpa) = gauge.zeroed(&vented);
    gauge.noise_kpa = noise_kpa;
    results.iter_mut().for_each(|r| r.shift(-offset_kpa));
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

/// Noise of a single reading of a gauge at rest, from the steps between readings: slow changes drop out.
fn noise(trace: &Trace) -> Option<f64> {
    let half = trace.values.len() / 2;
    let steps: Vec<f64> = trace.values[half..].windows(2).map(|p| p[1] - p[0]).collect();
    let squares: f64 = steps.iter().map(|s| s * s).sum();
    (steps.len() >= NOISE_READINGS).then(|| (0.5 * squares / steps.len() as f64).sqrt())
}

fn ramp_of(label: String, span: &Span) -> Ramp {
    let mut ramp = Ramp {
        label,
        coarse: span.values.get("rate").is_some_and(|rate| rate == COARSE),
        void: (!span.whole).then(|| "the run ended within it".to_owned()),
        ..Ramp::default()
    };
    let readings = |role: &Role| {
        let trace: Option<&Trace> = span.traces.get(role);
        let pairs = |t: &Trace| -> Vec<(f64, f64)> {
            t.times_s.iter().copied().zip(t.values.iter().copied()).collect()
        };
        trace.map(pairs).unwrap_or_default()
    };
    for (time_s, kpa) in readings(&Role::LinePressure) {
        if ramp.pressure.last().is_none_or(|last| last.0 < time_s) {
            ramp.push_pressure(time_s, kpa);
        }
    }
    for (time_s, made) in readings(&Role::Switch) {
        ramp.contact.push(time_s, made >= 0.5);
    }
    let measured = readings(&Role::Duty);
    let duty = if measured.is_empty() { readings(&Role::PumpDuty) } else { measured };
    duty.iter().for_each(|d| ramp.push_duty(d.1));
    ramp
}
