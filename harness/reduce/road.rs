//! A road trace played through the controller: what was sprayed when, and in all.
//!
//! In: a run folder with a span `trace` between two spans `weigh`, its rig. Out: duty, pressure and fluid used over
//! time; the volume of the whole trace with U. The volume is the difference of two weighings at rest, so thrust, splash
//! and lag of the scale are not in it. Never: a volume out of readings while it sprays.

use super::controller::{Gather, blank};
use super::spans::{Span, Trace, each};
use crate::fluid::{self, Fluid};
use crate::problem::{Problem, Problems};
use crate::record::RunFolder;
use crate::script::rig::Rig;
use crate::script::role::Role;
use crate::table::{Cell, Sheet};
use crate::uncertainty::{Bound, Cause, Term, Uncertain};

/// Time that a row of the table stands for, s.
const ROW_S: f64 = 0.5;
/// Densities of air and of the weights a scale is adjusted with, kg/m3 (OIML R 111).
const AIR_AND_WEIGHTS_KG_M3: (f64, f64) = (1.2, 8000.0);

/// Columns of the table: name, role, decimals.
const COLUMNS: [(&str, Role, usize); 4] = [
    ("boost_v", Role::Boost, 3),
    ("rpm", Role::Rpm, 0),
    ("duty_pct", Role::Duty, 2),
    ("line_pressure_kpa", Role::LinePressure, 1),
];

/// What a trace came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Road {
    /// How long it took, s.
    pub seconds: f64,
    /// Volume sprayed, mL.
    pub volume_ml: Uncertain,
    /// Time with the pump on, s.
    pub spraying_s: f64,
    /// Highest line pressure, kPa, where it was read.
    pub highest_kpa: Option<f64>,
    /// Volume of the tank, where the scenario states it, as text.
    pub tank: Option<String>,
    /// `road.csv`.
    pub csv: String,
    /// Duty, pressure and volume over time, s, for a plot.
    pub series: [Vec<(f64, f64)>; 3],
}

/// Reduces a run.
///
/// # Errors
/// The record was altered, or holds no trace between two weighings.
pub fn from_run(folder: &RunFolder, rig: &Rig) -> Result<Road, Problems> {
    let (mut weighings, mut traces) = (Vec::new(), Vec::new());
    each(folder, &["weigh", "trace"], &mut |span| {
        if span.whole && span.kind == "weigh" {
            weighings.push(span);
        } else if span.whole {
            traces.push(span);
        }
    })?;
    let missing = |what: &str| Problem::new(format!("{}: {what}", folder.dir.display()));
    let trace = traces.first().ok_or_else(|| missing("holds no span `trace`"))?;
    let cups: Vec<(f64, f64)> = weighings.iter().filter_map(weighed).collect();
    let [before, .., after] = cups[..] else {
        let problem = missing("the cup was not weighed before and after the trace");
        return Err(problem.expected("two spans `weigh` with readings of the cup").into());
    };
    let conversion = conversion(rig, trace)?;
    let volume_ml = volume(rig, (before, after), conversion);
    let series = [
        thinned(trace, &Role::Duty, |v| v),
        thinned(trace, &Role::LinePressure, |v| v),
        thinned(trace, &Role::CupMass, |g| (g - before.0) * conversion.0),
    ];
    let on = series[0].iter().filter(|p| p.1 > 1.0).count() as f64 * ROW_S;
    let pressures = trace.traces.get(&Role::LinePressure).map(|t| &t.values);
    Ok(Road {
        seconds: trace.end_s - trace.start_s,
        volume_ml,
        spraying_s: on,
        highest_kpa: pressures.and_then(|v| v.iter().copied().max_by(f64::total_cmp)),
        tank: trace.values.get("tank").cloned(),
        csv: csv(trace, before.0, conversion.0),
        series,
    })
}

/// Mean of the cup at rest and the standard uncertainty of the mean: the scatter of halves, since readings of a
/// filtered scale are not independent.
fn weighed(span: &Span) -> Option<(f64, f64)> {
    let cup = &span.traces.get(&Role::CupMass)?.values;
    let tail = &cup[cup.len() / 2..];
    let mut gather = Gather::default();
    for half in tail.chunks((tail.len() / 2).max(1)) {
        let mut o = blank("cup", super::controller::Kind::Steady, super::controller::At::default(), "g");
        o.value = Some(half.iter().sum::<f64>() / half.len() as f64);
        gather.add(o);
    }
    let o = gather.finish().pop()?;
    Some((o.value?, (o.squares / f64::from(o.repeats.max(1))).sqrt()))
}

/// mL a gram read, and its relative standard uncertainty.
fn conversion(rig: &Rig, trace: &Span) -> Result<(f64, f64), Problems> {
    let bad = |e: crate::fluid::NumericsError| Problem::new(format!("density of the liquid: {e}"));
    let liquid = Fluid::new(rig.fluid.methanol_mass_fraction).map_err(bad)?;
    let read = trace.traces.get(&Role::WaterTemperature).map(|t| &t.values);
    let degc = read.map_or(rig.fluid.temperature_degc.0, |v| v.iter().sum::<f64>() / v.len() as f64);
    let density = liquid.density_kg_m3(degc, 0.0).map_err(bad)?;
    let u_degc = if read.is_some() { 0.3 } else { rig.fluid.temperature_degc.1 };
    let expansion = liquid.expansion_per_k(degc).map_err(bad)?;
    let factor =
        fluid::weighing::buoyancy_factor(AIR_AND_WEIGHTS_KG_M3.0, density.value, AIR_AND_WEIGHTS_KG_M3.1);
    Ok((1000.0 * factor / density.value, (density.u / density.value).hypot(expansion * u_degc)))
}

fn volume(rig: &Rig, (before, after): ((f64, f64), (f64, f64)), conversion: (f64, f64)) -> Uncertain {
    let grams = after.0 - before.0;
    let scale = rig.channel(&Role::CupMass).map(|c| c.uncertainty);
    let (gain, step) = scale.map_or((Bound::None, 0.0), |u| (u.gain, u.resolution));
    // Mist never reaches the cup: the middle of its limits is added, half their distance is uncertain.
    let (least, most) = rig.method.mist_lost;
    let caught = 1.0 - 0.5 * (least + most);
    let value = grams * conversion.0 / caught;
    // Each weighing is rounded to a step.
    let step = Term::limits(Cause::Resolution, 0.5 * step * conversion.0);
    let mut terms = vec![
        Term::observed(Cause::Readings, before.1.hypot(after.1) * conversion.0, 2.0),
        step.clone(),
        step,
        Term::known(Cause::Density, value * conversion.1),
        Term::limits(Cause::Capture, 0.5 * value * (most - least)),
    ];
    terms.extend(gain.term(Cause::ScaleGain, value));
    terms.retain(|t| t.u != 0.0);
    Uncertain::new(value, terms)
}

/// The mean of a trace in each row's time; a role that is set keeps its last value, one that is read is empty.
fn binned(trace: Option<&Trace>, span: &Span, keeps: bool) -> Vec<Option<f64>> {
    let rows = ((span.end_s - span.start_s) / ROW_S).ceil().max(1.0) as usize;
    let mut sums = vec![(0.0, 0u32); rows];
    if let Some(trace) = trace {
        for (t, v) in trace.times_s.iter().zip(&trace.values) {
            let i = (((t - span.start_s) / ROW_S).max(0.0) as usize).min(rows - 1);
            sums[i] = (sums[i].0 + v, sums[i].1 + 1);
        }
    }
    let mut last = None;
    sums.into_iter()
        .map(|(sum, n)| {
            let mean = (n > 0).then(|| sum / f64::from(n));
            last = mean.or(last);
            if keeps { last } else { mean }
        })
        .collect()
}

fn thinned(span: &Span, role: &Role, map: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let rows = binned(span.traces.get(role), span, false);
    let at = |i: usize| (i as f64 + 0.5) * ROW_S;
    rows.into_iter().enumerate().filter_map(|(i, v)| Some((at(i), map(v?)))).collect()
}

fn csv(span: &Span, empty_g: f64, ml_per_g: f64) -> String {
    let names = ["time_s"].into_iter().chain(COLUMNS.iter().map(|c| c.0)).chain(["used_ml"]);
    let mut sheet = Sheet::new(&names.collect::<Vec<_>>());
    let set = |role: &Role| matches!(role, Role::Boost | Role::Rpm);
    let columns: Vec<_> =
        COLUMNS.iter().map(|(_, role, _)| binned(span.traces.get(role), span, set(role))).collect();
    let cup = binned(span.traces.get(&Role::CupMass), span, false);
    for (i, grams) in cup.iter().enumerate() {
        let mut row = vec![Cell::Fixed((i as f64 + 0.5) * ROW_S, 2)];
        row.extend(COLUMNS.iter().zip(&columns).map(|((_, _, decimals), c)| Cell::fixed(c[i], *decimals)));
        row.push(Cell::fixed(grams.map(|g| (g - empty_g) * ml_per_g), 2));
        sheet.row(&row);
    }
    sheet.finish()
}
