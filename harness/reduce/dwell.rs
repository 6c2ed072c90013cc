//! One dwell, reduced: from a window of the record to a [`Collection`].
//!
//! In: a window, what is known of the instruments. Out: the collection, with its random uncertainty, and what voids
//! it. The start of a dwell is left out until the scale has caught up. Never: a void dwell without its reason, or a
//! reading left out in silence.

use super::bins::Average;
use super::budget::{self, Conversion};
use super::collection::Collection;
use super::instruments::Instruments;
use super::scale_step::level_step;
use super::slope::{READINGS_MIN, Slope, slope};
use super::windows::Window;
use crate::fluid::weighing::jet_thrust_g;
use crate::script::role::Role;
use crate::uncertainty::value::combined;

/// Left out at the start of a dwell: this long, and four times the scale's known delay, ...
const CATCH_UP_S: f64 = 1.0;
/// ... but at most this part of it.
const CATCH_UP_MOST: f64 = 0.15;
/// Change of flow over a dwell that is worth a note, fraction.
const CHANGE_NOTED: f64 = 0.005;
/// Degrees of freedom given to the thrust term, a judgement (25 % doubt; JCGM 100:2008, G.4.2).
const THRUST_DOF: f64 = 8.0;

/// The mass flow read, before buoyancy and density.
struct MassFlow {
    g_s: f64,
    u_g_s: f64,
    dof: f64,
    collected_g: f64,
    collect_s: f64,
}

/// Reduces a window.
#[must_use]
pub fn reduce(window: &Window, known: &Instruments) -> Collection {
    let mut notes = window.notes.clone();
    let mut void = window.void.clone();
    let from_s = window.start_s + catch_up_s(window, known);
    let average =
        |role: &Role, step: f64| window.bins(role).and_then(|b| b.average(from_s, window.end_s, step));
    let line = average(&Role::LinePressure, known.gauge.step);
    let back = average(&Role::BackPressure, known.back.step);
    let root = window.root.average(from_s, window.end_s, 0.0);
    let supply = average(&Role::Supply, known.supply.step).or(average(&Role::SupplySet, known.supply.step));
    let duty = average(&Role::Duty, known.duty.step);
    let water_degc = average(&Role::WaterTemperature, 0.0).map_or(known.water_degc.0, |a| a.mean);
    let ambient_kpa = average(&Role::AmbientPressure, 0.0).map_or(known.ambient_kpa, |a| a.mean);
    let conversion = budget::conversion(known, water_degc, ambient_kpa);
    let mut refuse = |reason: String| {
        void.get_or_insert(reason);
    };
    if let Err(e) = &conversion {
        refuse(e.to_string());
    }
    let conversion =
        conversion.unwrap_or(Conversion { ml_min_per_g_s: 60.0, density_kg_m3: 1000.0, density_u: 0.0 });
    let weighed = window.weighed_s.map(|collect_s| MassFlow {
        g_s: 0.0,
        u_g_s: 0.0,
        dof: f64::INFINITY,
        collected_g: 0.0,
        collect_s,
    });
    // The flow of a collection that was weighed by hand comes with its weighings, from `by_hand`.
    let flow = weighed.map_or_else(|| mass_flow(window, from_s, known, &mut notes), Ok);
    let flow = match flow {
        Ok(flow) => flow,
        Err(reason) => {
            refuse(reason);
            MassFlow { g_s: 0.0, u_g_s: 0.0, dof: f64::INFINITY, collected_g: 0.0, collect_s: 0.0 }
        }
    };
    if supply.is_none() {
        refuse(String::from("the supply was not measured"));
    }
    let pressure = pressure(line, back, root, known, conversion.density_kg_m3);
    let thrust_g_s = thrust_u(&flow, line, back, known, conversion.density_kg_m3);
    let (random_g_s, dof) = combined([(flow.u_g_s, flow.dof), (thrust_g_s, THRUST_DOF)].into_iter());
    let factor = conversion.ml_min_per_g_s;
    Collection {
        step: window.step,
        repeat: window.repeat,
        nozzle: window.nozzle.clone(),
        time_s: window.start_s,
        duty_pct: duty.map(|a| a.mean),
        duty_set_pct: commanded(window.duty_set_pct, duty),
        supply_v: supply.map_or(0.0, |a| a.mean),
        line_pressure_kpa: pressure.map(|(kpa, _)| kpa),
        back_pressure_kpa: back.map_or(0.0, |a| a.mean),
        water_degc: Some(water_degc),
        collected_g: flow.collected_g,
        collect_s: flow.collect_s,
        mass_flow_g_s: flow.g_s,
        flow_ml_min: flow.g_s * factor,
        flow_random_ml_min: random_g_s * factor,
        flow_dof: dof,
        pressure_random_kpa: pressure.map_or(0.0, |(_, u)| u),
        duty_random_pct: duty.map_or(0.0, |a| a.u),
        supply_random_v: supply.map_or(0.0, |a| a.u),
        static_flow_ml_min: None,
        void,
        note: notes.join("; "),
    }
}

/// The commanded duty; none where somebody else drove the pump: commanded off, and running.
fn commanded(duty_set_pct: Option<f64>, measured: Option<Average>) -> Option<f64> {
    duty_set_pct.filter(|d| *d > 0.0 || measured.is_none_or(|m| m.mean < 1.0))
}

fn catch_up_s(window: &Window, known: &Instruments) -> f64 {
    (CATCH_UP_S + 4.0 * known.scale.delay_s).min(CATCH_UP_MOST * (window.end_s - window.start_s))
}

/// The slope of the scale's readings from `from_s` on; two readings by hand where there are no more.
fn mass_flow(
    window: &Window,
    from_s: f64,
    known: &Instruments,
    notes: &mut Vec<String>,
) -> Result<MassFlow, String> {
    let cup = &window.cup;
    if cup.times_s.len() < READINGS_MIN {
        return two_readings(window, known, notes);
    }
    let first = cup.times_s.partition_point(|t| *t < from_s);
    let (times, masses) = (&cup.times_s[first..], &cup.values[first..]);
    let longest = times.windows(2).map(|w| w[1] - w[0]).fold(0.0, f64::max);
    let usual = known.scale.every.as_secs_f64().max(0.1);
    if longest > (5.0 * usual).max(1.0) {
        return Err(format!("the scale was silent for {longest:.1} s"));
    }
    let found = slope(times, masses, known.scale.step);
    let found = found.ok_or_else(|| format!("{} readings of the scale are too few", times.len()))?;
    if let Some(step_g) = level_step(times, masses, known.scale.step) {
        return Err(format!(
            "the scale stepped by {step_g:.1} g: the cup was touched, or the scale set its zero"
        ));
    }
    note_slope(&found, notes);
    Ok(MassFlow {
        g_s: found.g_per_s,
        u_g_s: found.u,
        dof: found.dof,
        collected_g: found.line_g.1 - found.line_g.0,
        collect_s: times[times.len() - 1] - times[0],
    })
}

/// A collection weighed by hand, before and after.
fn two_readings(window: &Window, known: &Instruments, notes: &mut Vec<String>) -> Result<MassFlow, String> {
    let (times, masses) = (&window.cup.times_s, &window.cup.values);
    let ([t0, .., t1], [m0, .., m1]) = (&times[..], &masses[..]) else {
        return Err(format!("{} readings of the scale are too few", times.len()));
    };
    let (collected_g, collect_s) = (m1 - m0, t1 - t0);
    if collect_s <= 0.0 {
        return Err(String::from("both readings of the scale were taken at one time"));
    }
    notes.push(String::from("from two readings of the scale, without a slope"));
    let (g_s, two_steps) = (collected_g / collect_s, known.scale.step / 6.0_f64.sqrt());
    let u_g_s = (two_steps / collect_s).hypot(g_s * known.timing_s / collect_s);
    Ok(MassFlow { g_s, u_g_s, dof: f64::INFINITY, collected_g, collect_s })
}

/// Puts into words what stands out of a slope.
fn note_slope(found: &Slope, notes: &mut Vec<String>) {
    let count = found.outliers_s.len();
    if count > 0 {
        let with = found.with_all_g_per_s;
        let done = if found.left_out { "left out" } else { "kept" };
        let first = found.outliers_s[0];
        notes.push(format!("{count} readings of the scale stand out, the first at {first:.1} s: {done}; with them {with:.4} g/s"));
    }
    let change = found.change_g_per_s.0 / found.g_per_s;
    if found.change_p < 1e-3 && change.abs() > CHANGE_NOTED {
        notes.push(format!("the flow changed by {:.1} % over the dwell", 100.0 * change));
    }
}

/// Pressure at the nozzle, gauge kPa, with its random standard uncertainty: from the mean root of the difference
/// where the gauge shows the ripple, from the mean where it does not.
fn pressure(
    line: Option<Average>,
    back: Option<Average>,
    root: Option<Average>,
    known: &Instruments,
    density_kg_m3: f64,
) -> Option<(f64, f64)> {
    let line = line?;
    let back_kpa = back.map_or(0.0, |a| a.mean);
    let (kpa, u) = match root.filter(|_| known.ripple_seen && line.mean > back_kpa) {
        Some(root) => (root.mean * root.mean + back_kpa, 2.0 * root.mean * root.u),
        None => (line.mean, line.u),
    };
    Some((budget::at_nozzle_kpa(known, kpa, density_kg_m3), u))
}

/// What the drift of the jet's thrust with the pressure may add to the slope, g/s: the thrust that reaches the pan is
/// constant only while the pressure is.
fn thrust_u(
    flow: &MassFlow,
    line: Option<Average>,
    back: Option<Average>,
    known: &Instruments,
    density_kg_m3: f64,
) -> f64 {
    let Some(line) = line else { return 0.0 };
    let difference_kpa = line.mean - back.map_or(0.0, |a| a.mean);
    if difference_kpa <= 0.0 || flow.g_s <= 0.0 {
        return 0.0;
    }
    let thrust_g = known.jet_on_pan * jet_thrust_g(flow.g_s, difference_kpa, density_kg_m3);
    let drift_per_s = line.per_s.0.hypot(line.per_s.1) / difference_kpa;
    thrust_g * drift_per_s / 3.0_f64.sqrt()
}
