//! Points taken by hand, and collections of a run that were weighed by hand, reduced.
//!
//! In: points, or masses before and after with the time between; what is known of the instruments. Out: collections,
//! with a random uncertainty from the digits given, the timing, and the scatter of repeats where there are enough of
//! them. What starting and stopping the spray does to all of them alike stands among the common errors. Never: a timing
//! error assumed where repeats show what it really was.

use super::budget::{self, Conversion};
use super::collection::{Collection, Systematic, Systematics};
use super::finding::Finding;
use super::instruments::{ASSUMED, Instruments};
use super::points::{Point, Points};
use super::replicates::{number, relative_scatter};
use super::static_mass::{DRIP_G, TRANSIENT_S};
use crate::problem::{Problem, Problems};
use crate::uncertainty::{Bound, Cause};

/// Degrees of freedom of repeats from which their scatter is believed rather than the assumed timing.
const ENOUGH_REPEATS: f64 = 6.0;
/// What a person's start and stop have in common, limits, s: the one comes a little earlier or later than the other,
/// time after time (common practice, no source).
const HABIT_S: f64 = 0.1;

/// A mass, g, with its standard uncertainty.
type Mass = (f64, f64);

/// Puts the flow into a collection of a run, from the masses before and after; void where one is missing.
pub fn weigh(c: &mut Collection, before: Option<Mass>, after: Option<Mass>, known: &Instruments) {
    let (Some(before), Some(after)) = (before, after) else {
        c.void.get_or_insert_with(|| String::from("the cup was not weighed before and after"));
        return;
    };
    if c.collect_s <= 0.0 {
        c.void.get_or_insert_with(|| String::from("it took no time"));
        return;
    }
    let degc = c.water_degc.unwrap_or(known.water_degc.0);
    let factor = match budget::conversion(known, degc, known.ambient_kpa) {
        Ok(conversion) => conversion.ml_min_per_g_s,
        Err(e) => {
            c.void.get_or_insert_with(|| e.to_string());
            return;
        }
    };
    c.collected_g = after.0 - before.0;
    c.mass_flow_g_s = c.collected_g / c.collect_s;
    c.flow_ml_min = c.mass_flow_g_s * factor;
    let mass_g = before.1.hypot(after.1).hypot(DRIP_G / 3.0_f64.sqrt());
    c.flow_random_ml_min =
        (mass_g * factor / c.collect_s).hypot(c.flow_ml_min * known.timing_s / c.collect_s);
    if c.collected_g < 0.0 {
        note(c, "the scale read less than before: no flow");
    }
}

fn note(c: &mut Collection, text: &str) {
    if !c.note.is_empty() {
        c.note.push_str("; ");
    }
    c.note.push_str(text);
}

/// What is to be done once all collections of a run that were weighed by hand are there: their timing from the scatter
/// of repeats where that is enough, and the common part of start and stop among the common errors.
pub fn settle(
    collections: &mut [Collection],
    weighed: &[usize],
    known: &Instruments,
    systematics: &mut Systematics,
) -> Option<Finding> {
    let mut mine: Vec<Collection> = weighed
        .iter()
        .map(|i| collections[*i].clone())
        .filter(|c| c.void.is_none() && c.collected_g > 0.0)
        .collect();
    if mine.is_empty() {
        return None;
    }
    let finding = timing_from_repeats(&mut mine, known);
    let n = mine.len() as f64;
    let mean_s = mine.iter().map(|c| c.collect_s).sum::<f64>() / n;
    for done in mine {
        if let Some(c) =
            collections.iter_mut().find(|c| c.step == done.step && c.time_s.total_cmp(&done.time_s).is_eq())
        {
            *c = done;
        }
    }
    // Spray that comes late and goes late, and the person's habit: a time that is wrong in all of them alike.
    let common = TRANSIENT_S.hypot(HABIT_S) * 2.0_f64.sqrt() / 3.0_f64.sqrt() / mean_s;
    let clock = Systematic {
        cause: Cause::ClockGain,
        bound: Bound::Standard(systematics.u(&Cause::ClockGain).hypot(common), f64::INFINITY),
        from: "rig file; start and stop by hand, alike in all collections",
    };
    systematics.replace(clock);
    finding
}

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
    let Conversion { ml_min_per_g_s: factor, density_kg_m3, .. } = conversion;
    let step = |step: f64| step / 12.0_f64.sqrt();
    let g_s = point.collected_g / point.collect_s;
    // Two weighings, each rounded; what timing adds stands apart, because repeats may replace it.
    let mass_u = 2.0_f64.sqrt() * step(known.scale.step) / point.collect_s;
    let timing_u = g_s * known.timing_s / point.collect_s;
    let mut notes = Vec::new();
    if point.supply_v.is_none() {
        notes.push(String::from("supply not measured: mean of the other points taken"));
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
        line_pressure_kpa: point.line_kpa.map(|kpa| budget::at_nozzle_kpa(known, kpa, density_kg_m3)),
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
        supply_random_v: if point.supply_v.is_some() { step(known.supply.step) } else { supply.1 },
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
