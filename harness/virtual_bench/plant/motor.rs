//! Rotor and heat of the pump's motor.
//!
//! In: mean winding current of a step and the torque the pump asks for. Out: speed, angle turned, winding
//! temperature. Never: speed below zero; the chambers' valves keep pressure from driving the motor.

use super::STEP_S;
use super::winding::Mean;
use crate::virtual_bench::config::MotorConfig;

/// Rotor and winding heat.
#[derive(Clone, Debug)]
pub(crate) struct Motor {
    /// Torque constant, N m per A, and back-EMF, V s per rad.
    pub(crate) k: f64,
    inertia: f64,
    coulomb: f64,
    stiction: f64,
    fade: f64,
    viscous: f64,
    ohm_20: f64,
    copper: f64,
    k_per_w: f64,
    heating_s: f64,
    ambient_degc: f64,
    /// Speed, rad/s.
    pub(crate) speed: f64,
    /// Winding temperature, degC.
    pub(crate) winding_degc: f64,
    /// Factor on the Coulomb friction.
    pub(crate) flutter: f64,
    /// Heat since the last [`Motor::warm`], W times steps.
    heat: f64,
}

impl Motor {
    pub(crate) fn new(c: &MotorConfig) -> Self {
        Motor {
            k: c.torque_nm_per_a,
            inertia: c.inertia_g_cm2 * 1e-7,
            coulomb: c.coulomb_nm,
            stiction: c.coulomb_nm * (c.stiction_ratio - 1.0),
            fade: 1.0 / (c.stiction_fade_rad_s * c.stiction_fade_rad_s),
            viscous: c.viscous_nm_s,
            ohm_20: c.winding_ohm,
            copper: c.copper_per_k,
            k_per_w: c.heating_k_per_w,
            heating_s: c.heating_s,
            ambient_degc: c.ambient_degc,
            speed: 0.0,
            winding_degc: c.ambient_degc,
            flutter: 1.0,
            heat: 0.0,
        }
    }

    /// Resistance of the winding as warm as it is, ohm.
    pub(crate) fn ohm(&self) -> f64 {
        self.ohm_20 * (1.0 + self.copper * (self.winding_degc - 20.0))
    }

    /// One step; returns the angle turned, rad. Backward Euler, linearised at the speed before: the fixed point is
    /// the exact torque balance, and no gain of the motor makes it unstable.
    pub(crate) fn step(&mut self, electric: &Mean, load_nm: f64) -> f64 {
        self.heat += electric.square;
        let drive = self.k * electric.current;
        let friction =
            self.flutter * (self.coulomb + self.stiction / (1.0 + self.speed * self.speed * self.fade));
        let net = drive - load_nm - friction - self.viscous * self.speed;
        if self.speed <= 0.0 && net <= 0.0 {
            return 0.0;
        }
        let before = self.speed;
        let stiffness = self.k * self.k * electric.conductance + self.viscous;
        self.speed = (before + STEP_S * net / (self.inertia + STEP_S * stiffness)).max(0.0);
        0.5 * (before + self.speed) * STEP_S
    }

    /// Warms the winding by the losses of the last `steps` steps, `faster` times as fast as in reality.
    pub(crate) fn warm(&mut self, steps: u32, faster: f64) {
        let steps = f64::from(steps);
        let watts = self.heat / steps * self.ohm();
        self.heat = 0.0;
        let end = self.ambient_degc + self.k_per_w * watts;
        let part = 1.0 - (-steps * STEP_S * faster / self.heating_s).exp();
        self.winding_degc += (end - self.winding_degc) * part;
    }
}
