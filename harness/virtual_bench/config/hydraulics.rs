//! Parameters of what carries the water: pump, check valve, line, solenoid, nozzles.

use super::Check;
use serde::{Deserialize, Serialize};

/// Positive-displacement pump with a few chambers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct PumpConfig {
    /// Volume displaced per revolution, mL.
    pub displacement_ml_per_rev: f64,
    /// Chambers, each with one stroke per revolution: the order of the pulsation.
    pub chambers: u32,
    /// Amplitude of the pulsation, fraction of the mean displacement.
    pub pulsation: f64,
    /// Torque the pressure asks of the shaft, ideal over real.
    pub mechanical_efficiency: f64,
    /// Chambers fill less at speed: fraction lost at 1000 rpm, growing in proportion.
    pub filling_loss_at_1000_rpm: f64,
    /// Laminar slip from outlet to inlet, mL/min per kPa, for water at 20 degC; goes with 1/viscosity.
    pub slip_ml_min_per_kpa: f64,
    /// Compliance of the pump head, mL/kPa.
    pub head_compliance_ml_per_kpa: f64,
    /// Internal bypass; none where the pump has none.
    pub bypass: Option<BypassConfig>,
}

/// Spring-loaded bypass from outlet to inlet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BypassConfig {
    /// Pressure at which it opens, kPa at the pump outlet.
    pub opens_kpa: f64,
    /// Flow per pressure above that, mL/min per kPa.
    pub slope_ml_min_per_kpa: f64,
    /// Half-width of the range over which it opens, kPa: the corner is a parabola, not a kink.
    pub softness_kpa: f64,
}

impl Default for PumpConfig {
    fn default() -> Self {
        PumpConfig {
            displacement_ml_per_rev: 0.2,
            chambers: 3,
            pulsation: 0.3,
            mechanical_efficiency: 0.5,
            filling_loss_at_1000_rpm: 0.004,
            slip_ml_min_per_kpa: 0.11,
            head_compliance_ml_per_kpa: 4e-5,
            bypass: Some(BypassConfig::default()),
        }
    }
}

impl Default for BypassConfig {
    fn default() -> Self {
        BypassConfig { opens_kpa: 900.0, slope_ml_min_per_kpa: 2.5, softness_kpa: 25.0 }
    }
}

impl PumpConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "pump",
            &[
                ("displacement_ml_per_rev", self.displacement_ml_per_rev, 0.001, 100.0),
                ("chambers", f64::from(self.chambers), 1.0, 12.0),
                ("pulsation", self.pulsation, 0.0, 0.95),
                ("mechanical_efficiency", self.mechanical_efficiency, 0.1, 1.0),
                ("filling_loss_at_1000_rpm", self.filling_loss_at_1000_rpm, 0.0, 0.1),
                ("slip_ml_min_per_kpa", self.slip_ml_min_per_kpa, 1e-6, 10.0),
                ("head_compliance_ml_per_kpa", self.head_compliance_ml_per_kpa, 1e-6, 1.0),
            ],
        );
        if let Some(b) = &self.bypass {
            c.ranges(
                "pump.bypass",
                &[
                    ("opens_kpa", b.opens_kpa, 10.0, 5000.0),
                    ("slope_ml_min_per_kpa", b.slope_ml_min_per_kpa, 0.0, 100.0),
                    ("softness_kpa", b.softness_kpa, 0.1, 1000.0),
                ],
            );
        }
    }
}

/// Spring-loaded check valve.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CheckValveConfig {
    /// Pressure difference at which it opens, kPa.
    pub cracking_kpa: f64,
    /// Further pressure difference per flow, kPa per mL/min.
    pub drop_kpa_per_ml_min: f64,
    /// Leak in either direction, mL/min per kPa.
    pub leak_ml_min_per_kpa: f64,
}

impl Default for CheckValveConfig {
    fn default() -> Self {
        CheckValveConfig { cracking_kpa: 18.0, drop_kpa_per_ml_min: 0.02, leak_ml_min_per_kpa: 2e-5 }
    }
}

impl CheckValveConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "check_valve",
            &[
                ("cracking_kpa", self.cracking_kpa, 0.0, 500.0),
                ("drop_kpa_per_ml_min", self.drop_kpa_per_ml_min, 1e-4, 10.0),
                ("leak_ml_min_per_kpa", self.leak_ml_min_per_kpa, 0.0, 10.0),
            ],
        );
    }
}

/// Hose and fittings between check valve and nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LineConfig {
    /// Stretch of the hose, mL/kPa.
    pub compliance_ml_per_kpa: f64,
    /// Air trapped in the line, mL at ambient pressure.
    pub air_ml: f64,
    /// Leak from the line past the cup, mL/min per kPa.
    pub leak_ml_min_per_kpa: f64,
}

impl Default for LineConfig {
    fn default() -> Self {
        LineConfig { compliance_ml_per_kpa: 0.0017, air_ml: 0.0, leak_ml_min_per_kpa: 0.0 }
    }
}

impl LineConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "line",
            &[
                ("compliance_ml_per_kpa", self.compliance_ml_per_kpa, 5e-5, 10.0),
                ("air_ml", self.air_ml, 0.0, 1000.0),
                ("leak_ml_min_per_kpa", self.leak_ml_min_per_kpa, 0.0, 100.0),
            ],
        );
    }
}

/// Solenoid that closes the line before the nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SolenoidConfig {
    /// Delay from current to open, ms.
    pub opens_after_ms: f64,
    /// Delay from no current to closed, ms.
    pub closes_after_ms: f64,
}

impl Default for SolenoidConfig {
    fn default() -> Self {
        SolenoidConfig { opens_after_ms: 8.0, closes_after_ms: 14.0 }
    }
}

impl SolenoidConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "solenoid",
            &[
                ("opens_after_ms", self.opens_after_ms, 0.0, 1000.0),
                ("closes_after_ms", self.closes_after_ms, 0.0, 1000.0),
            ],
        );
    }
}

/// A nozzle: a sharp orifice whose discharge falls at low Reynolds number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct NozzleConfig {
    /// Name, as in `mounted`.
    pub name: String,
    /// Diameter of the orifice, mm.
    pub diameter_mm: f64,
    /// Discharge coefficient at high Reynolds number.
    pub discharge: f64,
    /// Reynolds number at which the laminar loss equals the kinetic one.
    pub laminar_re: f64,
    /// Fraction of the orifice that is blocked.
    pub blocked: f64,
}

impl Default for NozzleConfig {
    fn default() -> Self {
        NozzleConfig {
            name: "A".to_owned(),
            diameter_mm: 0.711,
            discharge: 0.72,
            laminar_re: 40.0,
            blocked: 0.0,
        }
    }
}

impl NozzleConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            &format!("nozzles.{}", self.name),
            &[
                ("diameter_mm", self.diameter_mm, 0.05, 20.0),
                ("discharge", self.discharge, 0.05, 1.0),
                ("laminar_re", self.laminar_re, 0.0, 10_000.0),
                ("blocked", self.blocked, 0.0, 0.999),
            ],
        );
    }
}
