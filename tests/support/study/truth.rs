//! Pumps and nozzles to draw data from, on physics that the fit does not share.
//!
//! Time-averaged motor equations with friction, saturation and a winding that warms; leakage by several laws; bypasses
//! hard and soft; a discharge coefficient that depends on flow; current that stops between pulses. In: a family and a
//! seed. Out: the steady flow and line pressure at any condition. Never: anything of the library but seeded chance.

#![allow(dead_code, reason = "every test file uses its own part")]
#![expect(clippy::unwrap_used, reason = "a truth that cannot be set up must fail")]

use dutycup::door::chance::{Seed, Stream, uniform};
use dutycup::door::virtual_bench::{config::Config, random_pair, settled_state};
use std::cell::RefCell;
use std::collections::HashMap;

/// A family of physics.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Family {
    /// Friction with a quadratic part, warming winding, viscous slip, soft bypass, Reynolds-dependent discharge.
    Motor,
    /// A motor that saturates, friction that falls as it starts to turn, cubic slip, hard bypass, constant discharge.
    Saturating,
    /// No curvature at all: a straight motor, slip proportional to pressure, hard bypass.
    Plain,
    /// Leakage as through an opening, strong quadratic losses, a bypass that opens over a wide range.
    Leaky,
    /// Current that stops between pulses at low duty.
    Pulsed,
    /// The virtual bench's plant, in the time domain.
    Plant,
    /// The same with so little inductance that the current often stops between pulses.
    PlantPulsed,
}

/// Every family.
pub(crate) const FAMILIES: [Family; 7] = [
    Family::Motor,
    Family::Saturating,
    Family::Plain,
    Family::Leaky,
    Family::Pulsed,
    Family::Plant,
    Family::PlantPulsed,
];

impl Family {
    /// Whether it is a plant in the time domain.
    pub(crate) fn plant(self) -> bool {
        matches!(self, Family::Plant | Family::PlantPulsed)
    }
}

/// A pump in units of flow: speed is the flow it would displace, current in A, voltage in V, pressure in kPa.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    pub(crate) family: Family,
    emf_v_per_flow: f64,
    brush_v: f64,
    freewheel_v: f64,
    winding_ohm: f64,
    warming_k_per_w: f64,
    friction_a: f64,
    start_friction: f64,
    viscous_a: f64,
    quadratic_a: f64,
    torque_a_per_kpa: f64,
    saturation_per_a: f64,
    slip_per_kpa: f64,
    slip_cubic: f64,
    leak_root: f64,
    bypass: Option<(f64, f64, f64)>,
    ripple_a: f64,
    check_kpa: f64,
    /// Nozzle coefficients at high flow, mL/min per sqrt(kPa).
    pub nozzles: Vec<f64>,
    reynolds: f64,
    full_flow: f64,
}

/// Viscosity of water over its value at 20 degC (Vogel form, from memory; 0.797 at 30 degC).
fn viscosity_ratio(degc: f64) -> f64 {
    let mu = |t: f64| (578.919 / (t + 273.15 - 137.546)).exp();
    mu(degc) / mu(20.0)
}

impl Truth {
    /// A random pair with one or two nozzles.
    pub(crate) fn random(family: Family, seed: Seed, two: bool) -> Truth {
        let mut r = seed.stream("truth");
        let mut u = |a: f64, b: f64| uniform(&mut r, a, b);
        let no_load = u(620.0, 1150.0);
        let full_kpa = u(250.0, 850.0);
        let full = u(420.0, 0.9 * no_load);
        let brush_v = u(0.1, 0.6);
        let winding_ohm = u(0.25, 0.9);
        let friction_a = u(0.4, 1.3);
        let droop = no_load - full;
        let slip_share = u(0.15, 0.75);
        let emf = (13.8 - brush_v - winding_ohm * friction_a) / no_load;
        let pick = |yes: bool, v: f64| if yes { v } else { 0.0 };
        use Family::{Leaky, Motor, Plain, Pulsed, Saturating};
        let bypass = u(0.0, 1.0) < 0.5;
        let opens = full_kpa * u(0.35, 1.02);
        let width = match family {
            Motor | Pulsed => opens * u(0.01, 0.06),
            Leaky => opens * u(0.05, 0.15),
            Saturating | Plain | Family::Plant | Family::PlantPulsed => 0.0,
        };
        let slope = u(0.6, 4.0);
        let loss = droop.clamp(0.08 * full, 0.45 * full);
        let k = full / full_kpa.sqrt();
        let second = k * u(0.45, 0.8);
        Truth {
            family,
            emf_v_per_flow: emf,
            brush_v,
            freewheel_v: u(0.45, 0.85),
            winding_ohm,
            warming_k_per_w: pick(matches!(family, Motor | Pulsed | Leaky), u(0.2, 1.2)),
            friction_a,
            start_friction: pick(family == Saturating, u(0.0, 0.15)),
            viscous_a: pick(family != Plain, u(0.0, 0.4)),
            quadratic_a: pick(
                matches!(family, Motor | Leaky | Pulsed),
                u(0.0, if family == Leaky { 1.0 } else { 0.5 }),
            ),
            torque_a_per_kpa: loss * (1.0 - slip_share) * emf / winding_ohm / full_kpa,
            saturation_per_a: pick(family == Saturating, u(0.0, 0.006)),
            slip_per_kpa: loss * slip_share / full_kpa * if family == Saturating { 0.8 } else { 1.0 },
            slip_cubic: pick(family == Saturating, 0.2 * loss * slip_share / full_kpa.powi(3)),
            leak_root: pick(family == Leaky, u(0.0, 0.02) * full / full_kpa.sqrt()),
            bypass: bypass.then_some((opens, width, slope)),
            ripple_a: pick(family == Pulsed, u(0.3, 1.5)),
            check_kpa: u(7.0, 35.0),
            nozzles: if two { vec![k, second] } else { vec![k] },
            reynolds: pick(matches!(family, Motor | Leaky | Pulsed), u(0.0, 0.008)),
            full_flow: full,
        }
    }

    /// Flow per root of pressure at a flow.
    pub(crate) fn k_at(&self, nozzle: usize, flow: f64) -> f64 {
        self.nozzles[nozzle]
            * (1.0 - self.reynolds * (self.full_flow / flow.max(0.005 * self.full_flow)).sqrt())
    }

    fn line(&self, nozzle: usize, flow: f64, out: f64) -> f64 {
        out + (flow / self.k_at(nozzle, flow)).powi(2)
    }

    /// What the pump delivers against a line pressure.
    fn pump(&self, duty: f64, supply: f64, line_kpa: f64, degc: f64) -> f64 {
        let pump_kpa = line_kpa + self.check_kpa;
        let volts = duty * supply - (1.0 - duty) * self.freewheel_v;
        let speed = self.speed(duty, supply, volts, pump_kpa, degc);
        let thin = 1.0 / viscosity_ratio(degc);
        let slip = (self.slip_per_kpa * pump_kpa + self.slip_cubic * pump_kpa.powi(3)) * thin;
        let leak = self.leak_root * pump_kpa.max(0.0).sqrt();
        let relief = self.bypass.map_or(0.0, |(opens, width, slope)| {
            let x = pump_kpa - opens;
            slope
                * if width > 0.0 && x < 30.0 * width { width * (x / width).exp().ln_1p() } else { x.max(0.0) }
        });
        speed - slip - leak - relief
    }

    /// Speed from the voltage balance, by halving.
    fn speed(&self, duty: f64, supply: f64, volts: f64, pump_kpa: f64, degc: f64) -> f64 {
        let balance = |speed: f64| {
            let part = speed / self.full_flow;
            let friction = self.friction_a * (1.0 + self.start_friction * (-part / 0.08).exp())
                + self.viscous_a * part
                + self.quadratic_a * part * part;
            let current = friction + self.torque_a_per_kpa * pump_kpa;
            let warm = degc - 20.0 + self.warming_k_per_w * self.winding_ohm * current * current;
            let ohm = self.winding_ohm * (1.0 + 0.0039 * warm);
            let emf = self.emf_v_per_flow * speed * (1.0 - self.saturation_per_a * current);
            let limit = self.ripple_a * 4.0 * duty * (1.0 - duty) * supply / 13.8;
            let pulsed = if current < limit { 0.35 * limit * (1.0 - current / limit).powi(2) } else { 0.0 };
            volts + pulsed - self.brush_v - emf - ohm * current
        };
        let (mut low, mut high) = (-0.2 * self.full_flow, 3.0 * self.full_flow);
        for _ in 0..45 {
            let mid = 0.5 * (low + high);
            if balance(mid) > 0.0 { low = mid } else { high = mid }
        }
        0.5 * (low + high)
    }

    /// Steady flow (mL/min) and line pressure (kPa).
    pub(crate) fn settle(
        &self,
        nozzle: usize,
        duty: f64,
        supply: f64,
        out_kpa: f64,
        degc: f64,
    ) -> (f64, f64) {
        if self.pump(duty, supply, out_kpa, degc) <= 0.0 {
            return (0.0, out_kpa);
        }
        let (mut low, mut high) = (0.0, 3.0 * self.full_flow);
        for _ in 0..45 {
            let mid = 0.5 * (low + high);
            if self.pump(duty, supply, self.line(nozzle, mid, out_kpa), degc) > mid {
                low = mid
            } else {
                high = mid
            }
        }
        let flow = 0.5 * (low + high);
        (flow, self.line(nozzle, flow, out_kpa))
    }
}

/// How a data set is taken.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    pub(crate) duties: usize,
    pub(crate) repeats: usize,
    /// Lowest duty, fraction.
    pub(crate) lowest: f64,
    /// Temperature of the water lies between these, degC.
    pub(crate) water_degc: (f64, f64),
    pub(crate) supply_measured: bool,
    pub(crate) duty_measured: bool,
    pub(crate) temperature_measured: bool,
    /// Supply changes by this from repeat to repeat, V.
    pub(crate) supply_step_v: f64,
    /// Every second repeat sprays against this, kPa.
    pub(crate) back_kpa: f64,
    /// Share of collections that went wrong by a per cent or two.
    pub(crate) wrong: f64,
}

impl Plan {
    /// A bench that measures everything, eleven duties three times.
    pub(crate) const THOROUGH: Plan = Plan {
        duties: 11,
        repeats: 3,
        lowest: 0.15,
        water_degc: (17.0, 23.0),
        supply_measured: true,
        duty_measured: true,
        temperature_measured: true,
        supply_step_v: 0.0,
        back_kpa: 0.0,
        wrong: 0.0,
    };

    /// As the time-domain plant is taken: every set point once, and scatter on top.
    pub(crate) fn plain(self) -> Plan {
        Plan { supply_measured: false, duty_measured: false, ..self }
    }

    pub(crate) fn random(r: &mut Stream) -> Plan {
        Plan {
            duties: uniform(r, 8.0, 15.999) as usize,
            repeats: uniform(r, 2.0, 4.999) as usize,
            supply_measured: uniform(r, 0.0, 1.0) < 0.7,
            duty_measured: uniform(r, 0.0, 1.0) < 0.6,
            temperature_measured: uniform(r, 0.0, 1.0) < 0.7,
            lowest: uniform(r, 0.13, 0.20),
            water_degc: (17.0, 23.0),
            supply_step_v: 0.0,
            back_kpa: 0.0,
            wrong: 0.0,
        }
    }

    /// Benches as people also run them: few duties or many, once or often, from below the dead band on, with other
    /// supplies, against pressure, with collections that went wrong.
    pub(crate) fn odd(r: &mut Stream) -> Plan {
        let chance = |r: &mut Stream, p: f64| uniform(r, 0.0, 1.0) < p;
        Plan {
            duties: uniform(r, 5.0, 20.999) as usize,
            repeats: uniform(r, 1.0, 5.999) as usize,
            supply_measured: chance(r, 0.8),
            duty_measured: chance(r, 0.6),
            temperature_measured: chance(r, 0.6),
            lowest: uniform(r, 0.05, 0.25),
            water_degc: (10.0, 30.0),
            supply_step_v: if chance(r, 0.4) { uniform(r, -0.9, 0.6) } else { 0.0 },
            back_kpa: if chance(r, 0.3) { uniform(r, 50.0, 150.0) } else { 0.0 },
            wrong: if chance(r, 0.3) { 0.03 } else { 0.0 },
        }
    }
}

/// Something that settles.
pub(crate) enum Pair {
    Averaged(Truth),
    Plant(Box<Config>, RefCell<HashMap<[u64; 5], (f64, f64, f64)>>),
}

impl Pair {
    pub(crate) fn random(family: Family, seed: Seed, two: bool) -> Pair {
        if !family.plant() {
            return Pair::Averaged(Truth::random(family, seed, two));
        }
        let mut config =
            (0..).map(|i| random_pair(seed.nth(i))).find(|c| (c.nozzles.len() > 1) == two).unwrap();
        if family == Family::PlantPulsed {
            config.motor.inductance_mh *= uniform(&mut seed.stream("inductance"), 0.15, 0.6);
        }
        Pair::Plant(Box::new(config), RefCell::default())
    }

    pub(crate) fn nozzles(&self) -> usize {
        match self {
            Pair::Averaged(truth) => truth.nozzles.len(),
            Pair::Plant(config, _) => config.nozzles.len(),
        }
    }

    /// Steady flow (mL/min), line pressure (kPa), and flow per root of pressure.
    pub(crate) fn settle(
        &self,
        nozzle: usize,
        duty: f64,
        supply: f64,
        out_kpa: f64,
        degc: f64,
    ) -> (f64, f64, f64) {
        match self {
            Pair::Averaged(truth) => {
                let (flow, line) = truth.settle(nozzle, duty, supply, out_kpa, degc);
                (flow, line, truth.k_at(nozzle, flow))
            }
            Pair::Plant(config, seen) => {
                let key =
                    [nozzle as u64, duty.to_bits(), supply.to_bits(), out_kpa.to_bits(), degc.to_bits()];
                *seen.borrow_mut().entry(key).or_insert_with(|| {
                    let mut c = (**config).clone();
                    c.water.start_degc = degc;
                    let name = c.nozzles[nozzle].name.clone();
                    let s = settled_state(&c, 100.0 * duty, supply, &name, out_kpa).unwrap();
                    let root = s.mean_sqrt_difference;
                    (s.flow_ml_min, root * root + out_kpa, s.flow_ml_min / root.max(1e-9))
                })
            }
        }
    }
}
