//! Parameters of what drives the pump: supply, output stage, motor.

use super::{Check, OnOff};
use serde::{Deserialize, Serialize};

/// Laboratory supply: source, its resistance, its accuracy, and the meter built in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SupplyConfig {
    /// Set point after power-on, V.
    pub start_v: f64,
    /// Output after power-on.
    pub start: OnOff,
    /// Resistance behind the terminals, ohm: the sag.
    pub source_ohm: f64,
    /// Highest set point taken, V.
    pub highest_v: f64,
    /// Time constant of the output capacitor, ms.
    pub capacitor_ms: f64,
    /// Noise of one reading of the voltmeter, V.
    pub meter_noise_v: f64,
    /// Noise of one reading of the ammeter, A.
    pub meter_noise_a: f64,
    /// Line speed, bits per second.
    pub baud: u32,
}

impl Default for SupplyConfig {
    fn default() -> Self {
        SupplyConfig {
            start_v: 13.8,
            start: OnOff::On,
            source_ohm: 0.02,
            highest_v: 20.0,
            capacitor_ms: 4.0,
            meter_noise_v: 0.002,
            meter_noise_a: 0.005,
            baud: 115_200,
        }
    }
}

impl SupplyConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "supply",
            &[
                ("start_v", self.start_v, 0.0, 60.0),
                ("source_ohm", self.source_ohm, 0.0, 2.0),
                ("highest_v", self.highest_v, 1.0, 60.0),
                ("capacitor_ms", self.capacitor_ms, 0.0, 1000.0),
                ("meter_noise_v", self.meter_noise_v, 0.0, 1.0),
                ("meter_noise_a", self.meter_noise_a, 0.0, 10.0),
                ("baud", f64::from(self.baud), 300.0, 4e6),
            ],
        );
    }
}

/// Side of the motor that is switched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DriveSide {
    /// Positive side: the free-wheeling current runs through the lead alone.
    High,
    /// Ground side: the free-wheeling current runs through feed and lead.
    Low,
}

/// Output stage with its free-wheel diode, wiring, read-back and watchdog.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DriverConfig {
    /// PWM frequency, Hz.
    pub pwm_hz: f64,
    /// Side of the motor that is switched: `high` (positive) or `low` (ground).
    pub side: DriveSide,
    /// Resistance of the switch when on, ohm.
    pub switch_ohm: f64,
    /// Wiring from the supply terminals to the driver, both ways, ohm.
    pub feed_ohm: f64,
    /// Wiring from the driver to the pump, both ways, ohm.
    pub lead_ohm: f64,
    /// Forward voltage of the free-wheel diode, V.
    pub freewheel_v: f64,
    /// Step of the timer that makes the duty, %.
    pub duty_step_pct: f64,
    /// Noise of one reading of the duty read-back, %.
    pub readback_noise_pct: f64,
    /// The output goes off this long after the last heartbeat, ms.
    pub watchdog_ms: u32,
    /// After the output is switched off the solenoid closes this much later, ms, so that the line empties first.
    pub solenoid_delay_ms: u32,
    /// Line speed, bits per second.
    pub baud: u32,
}

impl Default for DriverConfig {
    fn default() -> Self {
        DriverConfig {
            pwm_hz: 1000.0,
            side: DriveSide::High,
            switch_ohm: 0.02,
            feed_ohm: 0.03,
            lead_ohm: 0.05,
            freewheel_v: 0.45,
            duty_step_pct: 0.05,
            readback_noise_pct: 0.02,
            watchdog_ms: 500,
            solenoid_delay_ms: 1500,
            baud: 115_200,
        }
    }
}

impl DriverConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "driver",
            &[
                ("pwm_hz", self.pwm_hz, 10.0, 100_000.0),
                ("switch_ohm", self.switch_ohm, 0.0, 1.0),
                ("feed_ohm", self.feed_ohm, 0.0, 2.0),
                ("lead_ohm", self.lead_ohm, 0.0, 2.0),
                ("freewheel_v", self.freewheel_v, 0.0, 2.0),
                ("duty_step_pct", self.duty_step_pct, 0.0, 5.0),
                ("readback_noise_pct", self.readback_noise_pct, 0.0, 5.0),
                ("watchdog_ms", f64::from(self.watchdog_ms), 10.0, 60_000.0),
                ("solenoid_delay_ms", f64::from(self.solenoid_delay_ms), 0.0, 60_000.0),
                ("baud", f64::from(self.baud), 300.0, 4e6),
            ],
        );
    }
}

/// Brushed permanent-magnet motor.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct MotorConfig {
    /// Winding resistance at 20 degC, ohm.
    pub winding_ohm: f64,
    /// Winding inductance, mH.
    pub inductance_mh: f64,
    /// Torque constant, N m per A; in these units also the back-EMF constant, V s per rad.
    pub torque_nm_per_a: f64,
    /// Voltage lost at the brushes while current flows, V.
    pub brush_drop_v: f64,
    /// Inertia of rotor and crank, g cm2.
    pub inertia_g_cm2: f64,
    /// Coulomb friction, N m.
    pub coulomb_nm: f64,
    /// Torque needed to break away from rest, as a multiple of the Coulomb friction.
    pub stiction_ratio: f64,
    /// Speed over which stiction fades into Coulomb friction, rad/s.
    pub stiction_fade_rad_s: f64,
    /// Viscous friction, N m s per rad.
    pub viscous_nm_s: f64,
    /// Slow random variation of the Coulomb friction, fraction.
    pub friction_flutter: f64,
    /// Winding resistance rises by this fraction per K (copper: 0.0039).
    pub copper_per_k: f64,
    /// Temperature rise of the winding per watt lost in it, K.
    pub heating_k_per_w: f64,
    /// Time constant of that rise, s.
    pub heating_s: f64,
    /// Temperature of the motor's surroundings, degC.
    pub ambient_degc: f64,
}

impl Default for MotorConfig {
    fn default() -> Self {
        MotorConfig {
            winding_ohm: 0.9,
            inductance_mh: 2.5,
            torque_nm_per_a: 0.03,
            brush_drop_v: 0.3,
            inertia_g_cm2: 110.0,
            coulomb_nm: 0.0115,
            stiction_ratio: 1.6,
            stiction_fade_rad_s: 0.8,
            viscous_nm_s: 1.5e-5,
            friction_flutter: 0.01,
            copper_per_k: 0.0039,
            heating_k_per_w: 2.2,
            heating_s: 140.0,
            ambient_degc: 21.0,
        }
    }
}

impl MotorConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "motor",
            &[
                ("winding_ohm", self.winding_ohm, 0.02, 50.0),
                ("inductance_mh", self.inductance_mh, 0.01, 100.0),
                ("torque_nm_per_a", self.torque_nm_per_a, 0.001, 1.0),
                ("brush_drop_v", self.brush_drop_v, 0.0, 3.0),
                ("inertia_g_cm2", self.inertia_g_cm2, 1.0, 100_000.0),
                ("coulomb_nm", self.coulomb_nm, 0.0, 1.0),
                ("stiction_ratio", self.stiction_ratio, 1.0, 5.0),
                ("stiction_fade_rad_s", self.stiction_fade_rad_s, 0.1, 100.0),
                ("viscous_nm_s", self.viscous_nm_s, 0.0, 0.01),
                ("friction_flutter", self.friction_flutter, 0.0, 0.5),
                ("copper_per_k", self.copper_per_k, 0.0, 0.01),
                ("heating_k_per_w", self.heating_k_per_w, 0.0, 100.0),
                ("heating_s", self.heating_s, 1.0, 10_000.0),
                ("ambient_degc", self.ambient_degc, -40.0, 120.0),
            ],
        );
    }
}
