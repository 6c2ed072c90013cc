//! Parameters of what the water meets after the line: switch, cup, tank; and of the water itself.

use super::Check;
use serde::{Deserialize, Serialize};

/// Pressure switch.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct SwitchConfig {
    /// Mean rising pressure at which it makes, gauge kPa.
    pub trip_kpa: f64,
    /// How much lower it breaks, kPa.
    pub differential_kpa: f64,
    /// Standard deviation of single trips and resets, kPa.
    pub scatter_kpa: f64,
    /// Drift of both points per cycle, kPa.
    pub drift_kpa_per_cycle: f64,
    /// Longest bounce of the contact, ms.
    pub bounce_ms: f64,
}

impl Default for SwitchConfig {
    fn default() -> Self {
        SwitchConfig {
            trip_kpa: 204.0,
            differential_kpa: 26.0,
            scatter_kpa: 1.2,
            drift_kpa_per_cycle: 0.02,
            bounce_ms: 4.0,
        }
    }
}

impl SwitchConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "switch",
            &[
                ("trip_kpa", self.trip_kpa, 1.0, 5000.0),
                ("differential_kpa", self.differential_kpa, 0.0, 2000.0),
                ("scatter_kpa", self.scatter_kpa, 0.0, 100.0),
                ("drift_kpa_per_cycle", self.drift_kpa_per_cycle, -10.0, 10.0),
                ("bounce_ms", self.bounce_ms, 0.0, 100.0),
            ],
        );
    }
}

/// Cup under the nozzle.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CupConfig {
    /// Part of the jet's ideal vertical thrust that reaches the pan.
    pub jet_on_pan: f64,
    /// Part of the spray that leaves as mist.
    pub mist_lost: f64,
    /// What hangs on nozzle and rim while it sprays and drips into the cup afterwards, mL.
    pub drip_ml: f64,
    /// Time constant of the dripping, s.
    pub drip_s: f64,
    /// Standard deviation of the splash felt by the scale, g per mL/s of flow.
    pub splash_g_per_ml_s: f64,
    /// Mass of the empty cup, g.
    pub empty_g: f64,
}

impl Default for CupConfig {
    fn default() -> Self {
        CupConfig {
            jet_on_pan: 0.04,
            mist_lost: 0.0005,
            drip_ml: 0.25,
            drip_s: 1.2,
            splash_g_per_ml_s: 0.02,
            empty_g: 180.0,
        }
    }
}

impl CupConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "cup",
            &[
                ("jet_on_pan", self.jet_on_pan, -1.0, 1.0),
                ("mist_lost", self.mist_lost, 0.0, 0.5),
                ("drip_ml", self.drip_ml, 0.0, 100.0),
                ("drip_s", self.drip_s, 0.01, 100.0),
                ("splash_g_per_ml_s", self.splash_g_per_ml_s, 0.0, 10.0),
                ("empty_g", self.empty_g, 0.0, 10_000.0),
            ],
        );
    }
}

/// Supply tank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TankConfig {
    /// Content at the start, mL.
    pub volume_ml: f64,
    /// Content at which the level switch breaks, mL.
    pub switch_ml: f64,
    /// How much higher it makes again, mL.
    pub switch_differential_ml: f64,
}

impl Default for TankConfig {
    fn default() -> Self {
        TankConfig { volume_ml: 20_000.0, switch_ml: 17_600.0, switch_differential_ml: 60.0 }
    }
}

impl TankConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "tank",
            &[
                ("volume_ml", self.volume_ml, 0.0, 1e7),
                ("switch_ml", self.switch_ml, 0.0, 1e7),
                ("switch_differential_ml", self.switch_differential_ml, 0.0, 1e6),
            ],
        );
    }
}

/// The water.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct WaterConfig {
    /// Temperature at the start, degC.
    pub start_degc: f64,
    /// Temperature it tends to, degC.
    pub end_degc: f64,
    /// Time constant of that, s.
    pub warming_s: f64,
    /// Density above that of pure water by this fraction (dissolved salts).
    pub salts: f64,
}

impl Default for WaterConfig {
    fn default() -> Self {
        WaterConfig { start_degc: 19.0, end_degc: 22.0, warming_s: 5400.0, salts: 0.0001 }
    }
}

impl WaterConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "water",
            &[
                ("start_degc", self.start_degc, 0.5, 60.0),
                ("end_degc", self.end_degc, 0.5, 60.0),
                ("warming_s", self.warming_s, 1.0, 1e7),
                ("salts", self.salts, -0.001, 0.01),
            ],
        );
    }
}
