//! Points taken by hand, reduced to collections.
//!
//! In: points, what is known of the instruments. Out: collections, with a random uncertainty from the digits given,
//! the timing, and the scatter of repeats where there are enough of them. Never: a timing error assumed where repeats
//! show what it really was.

use super::budget::{self, Conversion};
use super::collection::Collection;
use super::finding::Finding;
use super::instruments::{ASSUMED, Instruments};
use super::points::{Point, Points};
use super::replicates::{number, relative_scatter};
use crate::problem::{Problem, Problems};
use crate::script::rig::Bound;

/// Degrees of freedom of repeats from which their scatter is believed rather than the assumed timing.
const ENOUGH_REPEATS: f64 = 6.0;

/// Collections of points; what was found besides.
///
/// # Errors
/// A temperature outside the range of the density formulas.
pub fn reduce(points: &Points, known: &mut Instruments) -> Result<(Vec<Collection>, Vec<Finding>), Problems> {
    take_steps(points, known);
    let mut findings = points.findings.clone();
    let supplies: Vec<f64> = points.rows.iter().filter_map(|p| p.supply_v).collect();
    let supply_v = supplies.iter().sum::<f64>() / supplies.len().max(1) as f64;
    let spread = supplies.iter().map(|v| (v - supply_v).powi(2)).sum::<f64>();
    let supply = (supply_v, (spread / (supplies.len().max(2) - 1) as f64).sqrt());
    let mut collections = Vec::with_capacity(points.rows.len());
    for (i, point) in points.rows.iter().enumerate() {
        collections.push(collection(i, point, known, supply)?);
    }
    number(&mut collections);
    findings.extend(timing_from_repeats(&mut collections, known));
    Ok((collections, findings))
}

/// The steps of instruments that nobody described are those of the digits given.
fn take_steps(points: &Points, known: &mut Instruments) {
    for (instrument, step) in [
        (&mut known.scale, points.steps.collected_g),
        (&mut known.gauge, points.steps.line_kpa),
        (&mut known.supply, points.steps.supply_v),
        (&mut known.duty, points.steps.duty_pct),
    ] {
        instrument.step = instrument.step.max(step);
    }
}

fn collection(
    i: usize,
    point: &Point,
    known: &Instruments,
    supply: (f64, f64),
) -> Result<Collection, Problems> {
    let degc = point.water_degc.unwrap_or(known.water_degc.0);
    let conversion = budget::conversion(known, degc, known.ambient_kpa)
        .map_err(|e| Problems::from(Problem::new(format!("line {}: {e}", point.line))))?;
    let Conversion {
        ml_min_per_g_s: factor,
        density_kg_m3,
        ..
    } = conversion;
    let step = |step: f64| step / 12.0_f64.sqrt();
    let g_s = point.collected_g / point.collect_s;
    // Two weighings, each rounded; what timing adds stands apart, because repeats may replace it.
    let mass_u = 2.0_f64.sqrt() * step(known.scale.step) / point.collect_s;
    let timing_u = g_s * known.timing_s / point.collect_s;
    let mut notes = Vec::new();
    if point.supply_v.is_none() {
        notes.push(String::from(
            "supply not measured: mean of the other points taken",
        ));
    }
    if point.collected_g < 0.0 {
        notes.push(String::from("the scale read less than before: no flow"));
    }
    Ok(Collection {
        step: point.line,
        repeat: 1,
        nozzle: point.nozzle.clone(),
        time_s: i as f64,
        duty_pct: None,
        duty_set_pct: Some(point.duty_pct),
        supply_v: point.supply_v.unwrap_or(supply.0),
        line_pressure_kpa: point
            .line_kpa
            .map(|kpa| budget::at_nozzle_kpa(known, kpa, density_kg_m3)),
        back_pressure_kpa: point.back_kpa.unwrap_or(0.0),
        water_degc: point.water_degc,
        collected_g: point.collected_g,
        collect_s: point.collect_s,
        mass_flow_g_s: g_s,
        flow_ml_min: g_s * factor,
        flow_random_ml_min: mass_u.hypot(timing_u) * factor,
        flow_dof: f64::INFINITY,
        pressure_random_kpa: step(known.gauge.step),
        duty_random_pct: step(known.duty.step),
        supply_random_v: if point.supply_v.is_some() {
            step(known.supply.step)
        } else {
            supply.1
        },
        static_flow_ml_min: None,
        void: None,
        note: notes.join("; "),
    })
}

/// Puts the scatter of repeats in place of the assumed timing, where there are enough repeats; a scatter far above it
/// is a finding.
fn timing_from_repeats(collections: &mut [Collection], known: &Instruments) -> Option<Finding> {
    let weighing = |c: &Collection| {
        let mass_g = known.scale.step / 6.0_f64.sqrt();
        (mass_g / c.collected_g).powi(2)
    };
    let (scatter, dof) = relative_scatter(collections, weighing).filter(|(_, dof)| *dof >= ENOUGH_REPEATS)?;
    let mut assumed = 0.0_f64;
    for c in collections.iter_mut().filter(|c| c.collected_g > 0.0) {
        assumed = assumed.max(known.timing_s / c.collect_s);
        let rounding = weighing(c).sqrt() * c.flow_ml_min;
        c.flow_random_ml_min = rounding.hypot(scatter * c.flow_ml_min);
        c.flow_dof = dof;
    }
    (scatter > 2.0 * assumed.max(0.001)).then(|| {
        let what = format!("repeats of one setting scatter by {:.2} % of flow", 100.0 * scatter);
        let cause = "timing by hand, drops that hang on the nozzle, air in the line, or a setting that was not quite the same";
        Finding::new("points.scatter", what, cause)
            .with("relative standard deviation", 100.0 * scatter, "%")
            .with("degrees of freedom", dof, "")
    })
}

/// What a person should know about instruments that nobody described.
#[must_use]
pub fn assumptions(known: &Instruments) -> Option<Finding> {
    (known.from == ASSUMED).then(|| {
        let pct = |bound: Bound| if let Bound::Limits(half) = bound { 100.0 * half } else { 0.0 };
        let what = format!(
            "nothing was said about the instruments: a scale within {:.1} %, a gauge within {:.1} % and 5 kPa, a stopwatch by hand were assumed",
            pct(known.scale.gain),
            pct(known.gauge.gain)
        );
        Finding::new("budget.assumed", what, "name the instruments' uncertainties in a rig file and give it with --rig")
    })
}
