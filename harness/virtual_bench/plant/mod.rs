//! The plant: everything of metal and water, in steps of 1 ms.
//!
//! In: what the devices set (duty, supply, solenoid, sensor signals). Out: the true state. Never: a steady-state
//! formula of the pair, and never a reading; what instruments make of the state is theirs.

mod check_valve;
pub(crate) mod controller;
mod cup;
mod line;
mod motor;
mod nozzle;
mod pump;
#[cfg(feature = "door")]
mod settle;
mod solenoid;
mod supply;
mod switch;
mod table;
#[cfg(test)]
mod tests;
mod water;
mod winding;

#[cfg(feature = "door")]
pub use settle::Settled;
#[cfg(feature = "door")]
pub(crate) use settle::settled;

use super::config::{Config, DriveSide, ErrorSet};
use super::noise::Source;
use crate::chance::Seed;
use crate::problem::Problems;

/// Length of a step, s.
pub(crate) const STEP_S: f64 = 1e-3;

/// Steps between updates of what changes slowly: temperatures and what follows from them.
const SLOW_STEPS: u32 = 64;

/// What the devices set.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Inputs {
    /// Duty the host asks for, 0 to 1.
    pub(crate) duty: f64,
    /// The output stage is armed.
    pub(crate) enabled: bool,
    /// The controller's duty drives the output stage, not the host's.
    pub(crate) from_controller: bool,
    /// Manifold sensor signal at the controller, V.
    pub(crate) sensor_v: f64,
    /// Tach at the controller, Hz.
    pub(crate) tach_hz: f64,
    /// Coil of the solenoid energised.
    pub(crate) solenoid: bool,
    /// Pressure the nozzle sprays into, gauge kPa.
    pub(crate) back_kpa: f64,
    /// The pump runs at full duty whatever the output stage says.
    pub(crate) welded: bool,
}

/// The plant.
#[derive(Clone, Debug)]
pub(crate) struct Plant {
    /// What the devices set.
    pub(crate) inputs: Inputs,
    pub(crate) supply: supply::Supply,
    winding: winding::Winding,
    pub(crate) motor: motor::Motor,
    pub(crate) pump: pump::Pump,
    valve: check_valve::CheckValve,
    pub(crate) line: line::Line,
    pub(crate) solenoid: solenoid::Solenoid,
    nozzles: Vec<nozzle::Nozzle>,
    shares: Vec<f64>,
    pub(crate) switch: switch::Switch,
    pub(crate) controller: controller::Controller,
    pub(crate) cup: cup::Cup,
    pub(crate) water: water::Water,
    /// Content of the tank, mL.
    pub(crate) tank_ml: f64,
    /// Line pressure after the gauge's own bandwidth, kPa.
    pub(crate) gauge_kpa: f64,
    gauge_follow: f64,
    flutter: Source,
    flutter_sd: f64,
    /// Winding and rotor over the last step.
    pub(crate) electric: winding::Mean,
    /// Times faster than in reality that the winding warms; 1 on a bench.
    heat_faster: f64,
    slow: u32,
    /// Steps done.
    pub(crate) steps: u64,
}

impl Plant {
    /// A plant at rest.
    pub(crate) fn new(config: &Config, errors: &ErrorSet, seed: Seed) -> Result<Plant, Problems> {
        let on = config.noise.is_on();
        let source = |name: &str| Source::new(seed, name, on);
        let mut supply = supply::Supply::new(&config.supply);
        supply.source_v *= 1.0 + errors.supply_set_gain;
        let motor = motor::Motor::new(&config.motor);
        let mut plant = Plant {
            inputs: Inputs {
                duty: 0.0,
                enabled: false,
                from_controller: false,
                sensor_v: 0.0,
                tach_hz: 0.0,
                solenoid: false,
                back_kpa: config.back_pressure_kpa,
                welded: false,
            },
            supply,
            winding: winding::Winding::new(circuit(config), motor.ohm()),
            motor,
            pump: pump::Pump::new(&config.pump),
            valve: check_valve::CheckValve::new(&config.check_valve),
            line: line::Line::new(config),
            solenoid: solenoid::Solenoid::new(&config.solenoid),
            nozzles: Vec::new(),
            shares: Vec::new(),
            switch: switch::Switch::new(&config.switch, source("switch.scatter"), source("switch.bounce")),
            controller: controller::Controller::new(&config.controller, source("controller.converter")),
            cup: cup::Cup::new(&config.cup, &config.scale),
            water: water::Water::new(&config.water),
            tank_ml: config.tank.volume_ml,
            gauge_kpa: 0.0,
            gauge_follow: 1.0 - (-STEP_S * std::f64::consts::TAU * config.logger.gauge_bandwidth_hz).exp(),
            flutter: source("motor.friction"),
            flutter_sd: config.motor.friction_flutter,
            electric: winding::Mean::default(),
            heat_faster: 1.0,
            slow: 0,
            steps: 0,
        };
        plant.mount(config, &config.mounted)?;
        plant.renew_fluid();
        Ok(plant)
    }

    /// Mounts the nozzles named, joined by `+`.
    pub(crate) fn mount(&mut self, config: &Config, names: &str) -> Result<(), Problems> {
        let indices = config.nozzle_indices(names)?;
        self.nozzles = indices.iter().map(|&i| nozzle::Nozzle::new(&config.nozzles[i])).collect();
        let area = |i: &usize| {
            let n = &config.nozzles[*i];
            n.discharge * n.diameter_mm * n.diameter_mm * (1.0 - n.blocked)
        };
        let all: f64 = indices.iter().map(area).sum();
        self.shares = indices.iter().map(|i| area(i) / all).collect();
        self.renew_fluid();
        Ok(())
    }

    /// Blocks part of the first mounted nozzle.
    pub(crate) fn block_nozzle(&mut self, part: f64) {
        let (density, viscosity) = (self.water.density, self.water.viscosity);
        if let Some(nozzle) = self.nozzles.first_mut() {
            nozzle.block(part, density, viscosity);
        }
    }

    /// The pump's relay welds.
    pub(crate) fn weld(&mut self) {
        self.inputs.welded = true;
        self.renew_winding();
    }

    /// The cup is poured back into the tank.
    pub(crate) fn empty_cup(&mut self) {
        self.tank_ml += self.cup.pour() / (self.water.density * 1e-3);
    }

    /// Takes another duty from the host, 0 to 1, and whatever else the driver changed.
    pub(crate) fn set_duty(&mut self, duty: f64) {
        self.inputs.duty = duty;
        self.renew_winding();
    }

    fn renew_winding(&mut self) {
        let i = &self.inputs;
        let duty = match () {
            () if i.welded => 1.0,
            () if !i.enabled => 0.0,
            () if i.from_controller => self.controller.pump_duty(),
            () => i.duty,
        };
        self.winding.set(duty, self.motor.ohm());
    }

    fn renew_fluid(&mut self) {
        self.pump.set_viscosity(self.water.viscosity_ratio);
        for nozzle in &mut self.nozzles {
            nozzle.set_fluid(self.water.density, self.water.viscosity);
        }
    }

    /// Flow into the cup's direction over the last step, mL/s.
    pub(crate) fn flow(&self) -> f64 {
        self.line.flows.nozzles
    }

    /// Duty of the output stage, 0 to 1, as the pump sees it.
    pub(crate) fn drive(&self) -> f64 {
        self.winding.duty()
    }

    /// One step.
    pub(crate) fn step(&mut self) {
        let signals = controller::Signals {
            sensor_v: self.inputs.sensor_v,
            tach_hz: self.inputs.tach_hz,
            supply_v: self.supply.volts,
        };
        if self.controller.step(signals) && self.inputs.from_controller {
            self.renew_winding();
        }
        let emf = self.motor.k * self.motor.speed;
        self.electric = self.winding.step(self.supply.volts, emf);
        let angle = self.motor.step(&self.electric, self.pump.torque_nm(self.line.head_kpa));
        let mut displaced = self.pump.displace(angle, self.motor.speed);
        if self.tank_ml <= 0.0 {
            displaced = 0.0;
        }
        self.solenoid.step(self.inputs.solenoid);
        let open = if self.solenoid.open { self.nozzles.len() } else { 0 };
        self.line.step(displaced, &self.pump, &self.valve, &self.nozzles[..open], self.inputs.back_kpa);
        self.tank_ml -= self.line.flows.inlet * STEP_S;
        let flow = self.line.flows.nozzles;
        let mut thrust = 0.0;
        for (nozzle, share) in self.nozzles.iter().zip(&self.shares) {
            thrust += nozzle.thrust_g(flow * share);
        }
        self.cup.step(flow, self.water.density, thrust);
        self.switch.step(self.line.line_kpa);
        self.gauge_kpa += (self.line.line_kpa - self.gauge_kpa) * self.gauge_follow;
        self.supply.step(self.electric.supply_current);
        self.steps += 1;
        self.slow += 1;
        if self.slow >= SLOW_STEPS {
            self.slow = 0;
            self.slow_step();
        }
    }

    /// What decays exponentially to rest is at rest once nothing could tell; the processor is slow with numbers that
    /// are almost zero.
    fn come_to_rest(&mut self) {
        for value in [
            &mut self.supply.volts,
            &mut self.supply.amps,
            &mut self.line.head_kpa,
            &mut self.line.stored_ml,
            &mut self.line.line_kpa,
            &mut self.gauge_kpa,
            &mut self.cup.hanging_ml,
        ] {
            if value.abs() < 1e-12 {
                *value = 0.0;
            }
        }
    }

    /// What changes slowly: temperatures, friction.
    fn slow_step(&mut self) {
        self.come_to_rest();
        let seconds = f64::from(SLOW_STEPS) * STEP_S;
        self.motor.warm(SLOW_STEPS, self.heat_faster);
        self.renew_winding();
        self.water.warm(seconds);
        self.renew_fluid();
        if self.flutter.is_on() {
            // Ornstein-Uhlenbeck with a correlation time of 4 s.
            let keep = 1.0 - seconds / 4.0;
            let kick = self.flutter_sd * (1.0 - keep * keep).sqrt();
            self.motor.flutter =
                (1.0 + (self.motor.flutter - 1.0) * keep + self.flutter.normal(kick)).max(0.1);
        }
    }
}

/// The loops of current for the side that is switched.
fn circuit(config: &Config) -> winding::Circuit {
    let d = &config.driver;
    let lead = d.lead_ohm;
    winding::Circuit {
        henry: config.motor.inductance_mh * 1e-3,
        on_ohm: d.feed_ohm + d.switch_ohm + lead,
        off_ohm: match d.side {
            DriveSide::High => lead,
            DriveSide::Low => lead + d.feed_ohm,
        },
        brush_v: config.motor.brush_drop_v,
        diode_v: d.freewheel_v,
        period_s: 1.0 / d.pwm_hz,
    }
}
