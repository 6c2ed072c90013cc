//! The supply behind the pump driver: source, resistance, output capacitor.
//!
//! In: set point, on or off, mean current drawn. Out: voltage at the terminals. Never: current into the source.

use super::STEP_S;
use crate::virtual_bench::config::SupplyConfig;

/// Supply.
#[derive(Clone, Debug)]
pub(crate) struct Supply {
    /// Set point with the error of the output, V.
    pub(crate) source_v: f64,
    /// Output on.
    pub(crate) on: bool,
    source_ohm: f64,
    follow: f64,
    /// Voltage at the terminals, V.
    pub(crate) volts: f64,
    /// Mean current, A, smoothed by the capacitor.
    pub(crate) amps: f64,
}

impl Supply {
    pub(crate) fn new(c: &SupplyConfig) -> Self {
        Supply {
            source_v: c.start_v,
            on: c.start.is_on(),
            source_ohm: c.source_ohm,
            follow: if c.capacitor_ms > 0.0 { 1.0 - (-STEP_S * 1e3 / c.capacitor_ms).exp() } else { 1.0 },
            volts: if c.start.is_on() { c.start_v } else { 0.0 },
            amps: 0.0,
        }
    }

    pub(crate) fn step(&mut self, drawn: f64) {
        self.amps += (drawn - self.amps) * self.follow;
        let target = if self.on { (self.source_v - self.source_ohm * self.amps).max(0.0) } else { 0.0 };
        self.volts += (target - self.volts) * self.follow;
    }
}
