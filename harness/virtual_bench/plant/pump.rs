//! The displacement pump: chambers, slip, bypass.
//!
//! In: angle turned, outlet pressure, viscosity. Out: volume displaced, torque, and what runs back inside. Never: a
//! volume that depends on how the angle is cut into steps.

use crate::virtual_bench::config::PumpConfig;
use std::f64::consts::TAU;

/// Flow that runs back inside, mL/s, and its slope over pressure, mL/s per kPa.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Backflow {
    pub(crate) flow: f64,
    pub(crate) slope: f64,
}

/// Chambers, slip and bypass.
#[derive(Clone, Debug)]
pub(crate) struct Pump {
    per_rad: f64,
    strokes_per_rad: f64,
    swing: f64,
    torque: f64,
    filling: f64,
    slip_20: f64,
    slip: f64,
    bypass_slope: f64,
    bypass_opens: f64,
    bypass_half: f64,
    /// Phase of the pulsation, strokes from 0 to 1, and the integral of its shape up to there.
    phase: f64,
    shape: f64,
    /// Displaced over mean displacement in the last step that turned.
    ripple: f64,
}

impl Pump {
    pub(crate) fn new(c: &PumpConfig) -> Self {
        let per_rad = c.displacement_ml_per_rev / TAU;
        let chambers = f64::from(c.chambers);
        Pump {
            per_rad,
            strokes_per_rad: chambers / TAU,
            swing: c.pulsation * TAU / chambers,
            // mL/rad times kPa is mN m.
            torque: per_rad * 1e-3 / c.mechanical_efficiency,
            filling: c.filling_loss_at_1000_rpm / (1000.0 * TAU / 60.0),
            slip_20: c.slip_ml_min_per_kpa / 60.0,
            slip: c.slip_ml_min_per_kpa / 60.0,
            bypass_slope: c.bypass.as_ref().map_or(0.0, |b| b.slope_ml_min_per_kpa / 60.0),
            bypass_opens: c.bypass.as_ref().map_or(f64::INFINITY, |b| b.opens_kpa),
            bypass_half: c.bypass.as_ref().map_or(1.0, |b| b.softness_kpa),
            phase: 0.0,
            shape: 0.0,
            ripple: 1.0,
        }
    }

    /// Takes another viscosity, as a multiple of that at 20 degC.
    pub(crate) fn set_viscosity(&mut self, ratio: f64) {
        self.slip = self.slip_20 / ratio;
    }

    /// Torque asked of the shaft at an outlet pressure, N m.
    pub(crate) fn torque_nm(&self, pressure_kpa: f64) -> f64 {
        (self.torque * pressure_kpa * self.ripple).max(0.0)
    }

    /// Volume displaced while the shaft turns by `angle` rad at `speed` rad/s, mL: the integral of the pulsation
    /// over the angle, so that it adds up to the displacement over any whole stroke.
    pub(crate) fn displace(&mut self, angle: f64, speed: f64) -> f64 {
        if angle <= 0.0 {
            return 0.0;
        }
        self.phase += self.strokes_per_rad * angle;
        while self.phase >= 1.0 {
            self.phase -= 1.0;
        }
        let before = self.shape;
        self.shape = shape(self.phase);
        let swept = angle + self.swing * (self.shape - before);
        self.ripple = swept / angle;
        self.per_rad * swept * (1.0 - self.filling * speed)
    }

    /// What runs back from outlet to inlet through slip and bypass. The bypass opens along a parabola that meets
    /// zero and the straight line with equal slopes.
    pub(crate) fn backflow(&self, pressure_kpa: f64) -> Backflow {
        let mut back = Backflow { flow: self.slip * pressure_kpa, slope: self.slip };
        let over = pressure_kpa - self.bypass_opens;
        if over > -self.bypass_half {
            if over < self.bypass_half {
                let x = over + self.bypass_half;
                back.flow += self.bypass_slope * x * x / (4.0 * self.bypass_half);
                back.slope += self.bypass_slope * x / (2.0 * self.bypass_half);
            } else {
                back.flow += self.bypass_slope * over;
                back.slope += self.bypass_slope;
            }
        }
        back
    }

    /// Ripple periods per second at a speed, Hz.
    #[cfg(feature = "door")]
    pub(crate) fn ripple_hz(&self, speed: f64) -> f64 {
        speed * self.strokes_per_rad
    }
}

/// Integral over a stroke, from 0 to `phase` (0 to 1), of the pulsation's shape: a parabola up to 1 in the first half
/// stroke, the same below zero in the second.
fn shape(phase: f64) -> f64 {
    let half = |x: f64| x * x * (4.0 - x * (16.0 / 3.0));
    if phase < 0.5 { half(phase) } else { half(0.5) - half(phase - 0.5) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::config::PumpConfig;

    #[test]
    fn a_revolution_displaces_its_displacement() {
        // Source: the definition of displacement; volume per turn, however the turn is cut.
        for steps in [7, 40, 1013] {
            let mut pump = Pump::new(&PumpConfig { filling_loss_at_1000_rpm: 0.0, ..PumpConfig::default() });
            let volume: f64 = (0..steps).map(|_| pump.displace(TAU / f64::from(steps), 0.0)).sum();
            assert!((volume - 0.2).abs() < 1e-12, "{steps}: {volume}");
        }
    }

    #[test]
    fn bypass_opens_smoothly() {
        let pump = Pump::new(&PumpConfig::default());
        let mut last = pump.backflow(0.0);
        for p in 1..2400 {
            let here = pump.backflow(f64::from(p) * 0.5);
            let middle = 0.5 * (here.slope + last.slope);
            assert!((here.flow - last.flow - 0.5 * middle).abs() < 1e-3 * here.flow, "{p}");
            assert!(here.slope - last.slope < 0.001);
            last = here;
        }
        assert!((last.flow * 60.0 - (0.11 * 1199.5 + 2.5 * 299.5)).abs() < 1e-9);
    }
}
