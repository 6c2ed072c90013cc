//! Pressures of pump head and line.
//!
//! In: volume the pump displaced, back pressure, the nozzles. Out: both pressures and every flow of the step.
//! Backward Euler, linearised: stable at any step, and every flow used is the one reported, so that what goes in is
//! what goes out plus what is stored. The stored volume is the state; pressure follows from it.

use super::STEP_S;
use super::check_valve::CheckValve;
use super::nozzle::Nozzle;
use super::pump::Pump;
use crate::virtual_bench::config::{Config, LineConfig};

/// Flows of the last step, mL/s.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Flows {
    /// Through the check valve into the line.
    pub(crate) valve: f64,
    /// Through all nozzles; negative where back pressure pushes back.
    pub(crate) nozzles: f64,
    /// Past the cup through a leak of the line.
    pub(crate) leak: f64,
    /// Drawn from the tank.
    pub(crate) inlet: f64,
}

/// Pump head and line.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    head_compliance: f64,
    compliance: f64,
    air_ml: f64,
    ambient_kpa: f64,
    leak: f64,
    /// Liquid stored above what the line holds at ambient pressure, mL.
    pub(crate) stored_ml: f64,
    /// Gauge pressure at the pump outlet, kPa.
    pub(crate) head_kpa: f64,
    /// Gauge pressure in the line, kPa.
    pub(crate) line_kpa: f64,
    /// Flows of the last step.
    pub(crate) flows: Flows,
}

impl Line {
    pub(crate) fn new(c: &Config) -> Self {
        let LineConfig { compliance_ml_per_kpa, air_ml, leak_ml_min_per_kpa } = c.line;
        Line {
            head_compliance: c.pump.head_compliance_ml_per_kpa,
            compliance: compliance_ml_per_kpa,
            air_ml,
            ambient_kpa: c.ambient_kpa,
            leak: leak_ml_min_per_kpa / 60.0,
            stored_ml: 0.0,
            head_kpa: 0.0,
            line_kpa: 0.0,
            flows: Flows::default(),
        }
    }

    /// A hole in the hose: mL/s per kPa.
    pub(crate) fn set_leak(&mut self, leak: f64) {
        self.leak = leak;
    }

    /// Line pressure at the stored volume: `stored = C p + V_air p / (p_ambient + p)`, Boyle's law for the air.
    fn pressure(&self) -> f64 {
        if self.air_ml <= 0.0 {
            return self.stored_ml / self.compliance;
        }
        let half = 0.5 * (self.compliance * self.ambient_kpa + self.air_ml - self.stored_ml);
        let root = (half * half + self.compliance * self.stored_ml * self.ambient_kpa).max(0.0).sqrt();
        (root - half) / self.compliance
    }

    fn slope(&self) -> f64 {
        if self.air_ml <= 0.0 {
            return self.compliance;
        }
        let absolute = (self.ambient_kpa + self.line_kpa).max(1.0);
        self.compliance + self.air_ml * self.ambient_kpa / (absolute * absolute)
    }

    /// One step. `displaced_ml` in this step, `nozzles` none where the solenoid is closed.
    pub(crate) fn step(
        &mut self,
        displaced_ml: f64,
        pump: &Pump,
        valve: &CheckValve,
        nozzles: &[Nozzle],
        back_kpa: f64,
    ) {
        let (mut out, mut out_slope) = (0.0, 0.0);
        for nozzle in nozzles {
            let (flow, slope) = nozzle.flow(self.line_kpa - back_kpa);
            out += flow;
            out_slope += slope;
        }
        let back = pump.backflow(self.head_kpa);
        let head_stiffness = self.head_compliance / STEP_S + back.slope;
        let line_stiffness = self.slope() / STEP_S + out_slope + self.leak;
        let leak = self.leak * self.line_kpa;
        let head_source = displaced_ml / STEP_S - back.flow;
        let line_source = -out - leak;
        let over = self.head_kpa - self.line_kpa - valve.cracking_kpa;
        let mut open = over > 0.0;
        // The valve is straight on either side of its corner: solve on one side, and again on the other if the
        // solution lies there.
        for attempt in 0..2 {
            let slope = valve.slope(open);
            let flow = valve.flow(self.head_kpa - self.line_kpa, open);
            let (a, d) = (head_stiffness + slope, line_stiffness + slope);
            let per_determinant = 1.0 / (a * d - slope * slope);
            let (f, g) = (head_source - flow, line_source + flow);
            let head = (f * d + slope * g) * per_determinant;
            let line = (a * g + slope * f) * per_determinant;
            if attempt == 1 || (over + head - line > 0.0) == open {
                self.flows = Flows {
                    valve: flow + slope * (head - line),
                    nozzles: out + out_slope * line,
                    leak: leak + self.leak * line,
                    inlet: displaced_ml / STEP_S - back.flow - back.slope * head,
                };
                self.head_kpa += head;
                break;
            }
            open = !open;
        }
        self.stored_ml += (self.flows.valve - self.flows.nozzles - self.flows.leak) * STEP_S;
        self.line_kpa = self.pressure();
    }
}
