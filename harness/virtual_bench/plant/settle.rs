//! The steady state, found by running the plant until it repeats itself.
//!
//! In: duty, supply at the terminals, nozzles, back pressure. Out: means over many pump strokes of the noise-free
//! plant. Never: an equation of the steady state; this is the time-domain plant, averaged.

use super::{Plant, STEP_S};
use crate::chance::Seed;
use crate::problem::{Problem, Problems};
use crate::virtual_bench::config::{Config, ErrorSet, OnOff};

/// Windows tried before what is left of a change is accepted.
const WINDOWS_MAX: u32 = 60;

/// A window may change by this fraction of the flow from the one before.
const CHANGE: f64 = 2e-5;

/// Means of the plant in its steady state, the winding at its final temperature for it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Settled {
    /// Duty at the pump, %.
    pub duty_pct: f64,
    /// Voltage at the supply terminals, V.
    pub supply_v: f64,
    /// Current out of the supply, A.
    pub supply_a: f64,
    /// Winding current, A.
    pub winding_a: f64,
    /// Speed, rpm.
    pub speed_rpm: f64,
    /// Winding temperature, degC.
    pub winding_degc: f64,
    /// Flow out of the nozzles, mL/min.
    pub flow_ml_min: f64,
    /// The same as mass flow, g/s.
    pub mass_flow_g_s: f64,
    /// Mean line pressure, gauge kPa.
    pub line_pressure_kpa: f64,
    /// Mean pump outlet pressure, gauge kPa.
    pub pump_pressure_kpa: f64,
    /// Mean square root of the pressure across the nozzle, sqrt(kPa).
    pub mean_sqrt_difference: f64,
    /// Standard deviation of the line pressure over a stroke, kPa.
    pub ripple_kpa: f64,
    /// Back pressure, gauge kPa.
    pub back_pressure_kpa: f64,
    /// Water temperature, degC.
    pub water_degc: f64,
    /// Water density, kg/m3.
    pub density_kg_m3: f64,
}

/// Runs the noise-free plant into its steady state. The pump starts fast, so that near the dead band the flowing
/// state is found where there is one, as on the way down.
///
/// # Errors
/// Nozzles that the bench does not have; a number that is not finite.
pub(crate) fn settled(
    config: &Config,
    duty_pct: f64,
    supply_v: f64,
    mounted: &str,
    back_kpa: f64,
) -> Result<Settled, Problems> {
    if !(duty_pct.is_finite() && supply_v.is_finite() && back_kpa.is_finite()) {
        return Err(Problem::new(format!("settled state at {duty_pct} %, {supply_v} V, {back_kpa} kPa"))
            .expected("finite numbers")
            .into());
    }
    let mut c = config.clone();
    c.noise = OnOff::Off;
    c.supply.source_ohm = 0.0;
    c.supply.start_v = supply_v;
    c.supply.start = OnOff::On;
    c.water.end_degc = c.water.start_degc;
    c.tank.volume_ml = 1e9;
    c.back_pressure_kpa = back_kpa;
    mounted.clone_into(&mut c.mounted);
    let mut plant = Plant::new(&c, &ErrorSet::default(), Seed(0))?;
    let duty = (duty_pct / 100.0).clamp(0.0, 1.0);
    plant.inputs.enabled = true;
    plant.set_duty(duty);
    plant.inputs.solenoid = true;
    plant.solenoid.open = true;
    plant.heat_faster = c.motor.heating_s / 0.04;
    if duty > 0.0 {
        plant.motor.speed = 0.8 * duty * supply_v / plant.motor.k;
    }
    let mut last = f64::NAN;
    for _ in 0..WINDOWS_MAX {
        let window = window_steps(&plant, c.driver.pwm_hz, 12.0);
        let flow = average(&mut plant, window, supply_v).flow_ml_min;
        if (flow - last).abs() <= CHANGE * flow.abs().max(1.0) {
            break;
        }
        last = flow;
    }
    let window = window_steps(&plant, c.driver.pwm_hz, 40.0);
    Ok(average(&mut plant, window, supply_v))
}

/// Steps of a window over at least `strokes` periods of the pulsation and of the PWM, and 0.2 s.
fn window_steps(plant: &Plant, pwm_hz: f64, strokes: f64) -> u32 {
    if plant.motor.speed <= 0.0 {
        return 200;
    }
    let slowest_hz = pwm_hz.min(plant.pump.ripple_hz(plant.motor.speed).max(4.0));
    ((strokes / slowest_hz).clamp(0.2, 8.0) / STEP_S) as u32
}

/// Means over a window with Hann weights, which leave next to nothing of a ripple that the window does not hold a
/// whole number of times.
fn average(plant: &mut Plant, steps: u32, supply_v: f64) -> Settled {
    let mut sum = Settled::default();
    let mut square = 0.0;
    let n = f64::from(steps);
    for k in 0..steps {
        plant.step();
        let w = (1.0 - (std::f64::consts::TAU * (f64::from(k) + 0.5) / n).cos()) / n;
        let line = plant.line.line_kpa;
        sum.supply_a += w * plant.electric.supply_current;
        sum.winding_a += w * plant.electric.current;
        sum.speed_rpm += w * plant.motor.speed * 60.0 / std::f64::consts::TAU;
        sum.winding_degc += w * plant.motor.winding_degc;
        sum.flow_ml_min += w * plant.flow() * 60.0;
        sum.mass_flow_g_s += w * plant.flow() * plant.water.density * 1e-3;
        sum.line_pressure_kpa += w * line;
        sum.pump_pressure_kpa += w * plant.line.head_kpa;
        sum.mean_sqrt_difference += w * (line - plant.inputs.back_kpa).max(0.0).sqrt();
        square += w * line * line;
    }
    sum.ripple_kpa = (square - sum.line_pressure_kpa * sum.line_pressure_kpa).max(0.0).sqrt();
    sum.duty_pct = plant.drive() * 100.0;
    sum.supply_v = supply_v;
    sum.back_pressure_kpa = plant.inputs.back_kpa;
    sum.water_degc = plant.water.degc;
    sum.density_kg_m3 = plant.water.density;
    sum
}
