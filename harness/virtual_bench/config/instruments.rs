//! Parameters of the instruments: scale, gauges and their logger, generator, and the systematic errors of all.

use super::Check;
use serde::{Deserialize, Serialize};

/// Where the systematic errors come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ErrorsFrom {
    /// Every error is drawn once per seed, uniformly between minus and plus its limit.
    Drawn,
    /// The errors are those of `given`.
    Given,
    /// Every instrument is true.
    None,
}

/// Systematic errors of the instruments.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ErrorsConfig {
    /// Where they come from: `drawn` (once per seed, uniformly within the limits), `given` or `none`.
    pub from: ErrorsFrom,
    /// Limits for `drawn`, all positive; what is not listed is true.
    pub limits: ErrorSet,
    /// The errors for `given`; what is not listed is true.
    pub given: ErrorSet,
}

/// One number for each systematic error: the error itself, or its limit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ErrorSet {
    /// Line pressure gauge, zero, kPa.
    pub gauge_zero_kpa: f64,
    /// Line pressure gauge, gain, fraction.
    pub gauge_gain: f64,
    /// Back pressure gauge, zero, kPa.
    pub back_gauge_zero_kpa: f64,
    /// Back pressure gauge, gain, fraction.
    pub back_gauge_gain: f64,
    /// Barometer, zero, kPa.
    pub barometer_zero_kpa: f64,
    /// Thermometer, zero, K.
    pub thermometer_zero_k: f64,
    /// Scale, gain, fraction.
    pub scale_gain: f64,
    /// Clock of the harness against true time, fraction.
    pub clock_gain: f64,
    /// Voltmeter of the supply, zero, V.
    pub supply_meter_zero_v: f64,
    /// Voltmeter of the supply, gain, fraction.
    pub supply_meter_gain: f64,
    /// Output of the supply against its set point, gain, fraction.
    pub supply_set_gain: f64,
    /// Ammeter of the supply, gain, fraction.
    pub ammeter_gain: f64,
    /// Duty read-back, zero, %.
    pub duty_zero_pct: f64,
    /// Duty read-back, gain, fraction.
    pub duty_gain: f64,
    /// Output of the generator, zero, V.
    pub generator_zero_v: f64,
    /// Output of the generator, gain, fraction.
    pub generator_gain: f64,
}

impl Default for ErrorsConfig {
    fn default() -> Self {
        ErrorsConfig {
            from: ErrorsFrom::Drawn,
            limits: ErrorSet {
                gauge_zero_kpa: 1.0,
                gauge_gain: 0.002,
                back_gauge_zero_kpa: 0.7,
                back_gauge_gain: 0.002,
                barometer_zero_kpa: 0.3,
                thermometer_zero_k: 0.3,
                scale_gain: 0.0005,
                clock_gain: 2e-5,
                supply_meter_zero_v: 0.01,
                supply_meter_gain: 0.001,
                supply_set_gain: 0.002,
                ammeter_gain: 0.01,
                duty_zero_pct: 0.05,
                duty_gain: 0.001,
                generator_zero_v: 0.002,
                generator_gain: 0.0005,
            },
            given: ErrorSet::default(),
        }
    }
}

impl ErrorSet {
    /// The errors in a fixed order, each to be read or set.
    pub(crate) fn each_mut(&mut self) -> [(&'static str, &mut f64); 16] {
        [
            ("gauge_zero_kpa", &mut self.gauge_zero_kpa),
            ("gauge_gain", &mut self.gauge_gain),
            ("back_gauge_zero_kpa", &mut self.back_gauge_zero_kpa),
            ("back_gauge_gain", &mut self.back_gauge_gain),
            ("barometer_zero_kpa", &mut self.barometer_zero_kpa),
            ("thermometer_zero_k", &mut self.thermometer_zero_k),
            ("scale_gain", &mut self.scale_gain),
            ("clock_gain", &mut self.clock_gain),
            ("supply_meter_zero_v", &mut self.supply_meter_zero_v),
            ("supply_meter_gain", &mut self.supply_meter_gain),
            ("supply_set_gain", &mut self.supply_set_gain),
            ("ammeter_gain", &mut self.ammeter_gain),
            ("duty_zero_pct", &mut self.duty_zero_pct),
            ("duty_gain", &mut self.duty_gain),
            ("generator_zero_v", &mut self.generator_zero_v),
            ("generator_gain", &mut self.generator_gain),
        ]
    }
}

impl ErrorsConfig {
    pub(super) fn check(&self, c: &mut Check) {
        let (mut limits, mut given) = (self.limits, self.given);
        for (name, value) in limits.each_mut() {
            c.range(&format!("errors.limits.{name}"), *value, 0.0, 100.0);
        }
        for (name, value) in given.each_mut() {
            let most = if name.ends_with("_gain") { 0.5 } else { 100.0 };
            c.range(&format!("errors.given.{name}"), *value, -most, most);
        }
    }
}

/// Scale under the cup.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ScaleConfig {
    /// Step of the display, g.
    pub step_g: f64,
    /// Heaviest load shown, g.
    pub capacity_g: f64,
    /// Time constant of each of the two stages of its filter, s.
    pub lag_s: f64,
    /// Standard deviation of one reading at rest, before the display step, g.
    pub noise_g: f64,
    /// `stable` while the reading changes by no more than this from one line to the next, g.
    pub stable_within_g: f64,
    /// Creep under load, fraction of the load after a long time.
    pub creep: f64,
    /// Time constant of the creep, s.
    pub creep_s: f64,
    /// Density of the weights it was adjusted with, kg/m3.
    pub weights_kg_m3: f64,
    /// Density of the air, kg/m3.
    pub air_kg_m3: f64,
    /// Mass of the check weight that lies beside it, as its certificate gives it, g.
    pub check_weight_g: f64,
    /// Period of the lines it sends by itself, ms.
    pub period_ms: u32,
    /// Line speed, bits per second.
    pub baud: u32,
}

impl Default for ScaleConfig {
    fn default() -> Self {
        ScaleConfig {
            step_g: 0.1,
            capacity_g: 12_000.0,
            lag_s: 0.18,
            noise_g: 0.04,
            stable_within_g: 0.15,
            creep: 2e-5,
            creep_s: 300.0,
            weights_kg_m3: 8000.0,
            air_kg_m3: 1.2,
            check_weight_g: 500.0,
            period_ms: 100,
            baud: 9600,
        }
    }
}

impl ScaleConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "scale",
            &[
                ("step_g", self.step_g, 1e-4, 100.0),
                ("capacity_g", self.capacity_g, 1.0, 1e6),
                ("lag_s", self.lag_s, 0.0, 20.0),
                ("noise_g", self.noise_g, 0.0, 100.0),
                ("stable_within_g", self.stable_within_g, 0.0, 100.0),
                ("creep", self.creep, -0.01, 0.01),
                ("creep_s", self.creep_s, 1.0, 1e5),
                ("weights_kg_m3", self.weights_kg_m3, 1000.0, 22_000.0),
                ("air_kg_m3", self.air_kg_m3, 0.0, 2.0),
                ("period_ms", f64::from(self.period_ms), 10.0, 60_000.0),
                ("baud", f64::from(self.baud), 300.0, 4e6),
            ],
        );
    }
}

/// Gauges, thermometer, and the logger that reads them as volts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct LoggerConfig {
    /// Noise of one reading of the line pressure gauge, kPa.
    pub gauge_noise_kpa: f64,
    /// Bandwidth of the line pressure gauge, Hz.
    pub gauge_bandwidth_hz: f64,
    /// Height of the gauge above the nozzle, m.
    pub gauge_height_m: f64,
    /// Noise of one reading of the back pressure gauge, kPa.
    pub back_gauge_noise_kpa: f64,
    /// Noise of one reading of the barometer, kPa.
    pub barometer_noise_kpa: f64,
    /// Noise of one reading of the thermometer, K.
    pub thermometer_noise_k: f64,
    /// Noise of one reading of any channel, V.
    pub noise_v: f64,
    /// Step of a reading, V.
    pub step_v: f64,
    /// Line speed, bits per second.
    pub baud: u32,
}

impl Default for LoggerConfig {
    fn default() -> Self {
        LoggerConfig {
            gauge_noise_kpa: 0.8,
            gauge_bandwidth_hz: 250.0,
            gauge_height_m: 0.0,
            back_gauge_noise_kpa: 0.2,
            barometer_noise_kpa: 0.02,
            thermometer_noise_k: 0.03,
            noise_v: 0.0002,
            step_v: 0.0001,
            baud: 115_200,
        }
    }
}

impl LoggerConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "logger",
            &[
                ("gauge_noise_kpa", self.gauge_noise_kpa, 0.0, 100.0),
                ("gauge_bandwidth_hz", self.gauge_bandwidth_hz, 0.1, 1e5),
                ("gauge_height_m", self.gauge_height_m, -10.0, 10.0),
                ("back_gauge_noise_kpa", self.back_gauge_noise_kpa, 0.0, 100.0),
                ("barometer_noise_kpa", self.barometer_noise_kpa, 0.0, 10.0),
                ("thermometer_noise_k", self.thermometer_noise_k, 0.0, 10.0),
                ("noise_v", self.noise_v, 0.0, 1.0),
                ("step_v", self.step_v, 0.0, 0.1),
                ("baud", f64::from(self.baud), 300.0, 4e6),
            ],
        );
    }
}

/// Signal generator: sensor voltages and tach.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct GeneratorConfig {
    /// Step of a voltage, V.
    pub step_v: f64,
    /// Step of the tach frequency, Hz.
    pub step_hz: f64,
    /// Voltage that an open sensor line floats to at the controller, V.
    pub open_v: f64,
    /// Line speed, bits per second.
    pub baud: u32,
}

impl Default for GeneratorConfig {
    fn default() -> Self {
        GeneratorConfig { step_v: 0.0005, step_hz: 0.01, open_v: 4.98, baud: 115_200 }
    }
}

impl GeneratorConfig {
    pub(super) fn check(&self, c: &mut Check) {
        c.ranges(
            "generator",
            &[
                ("step_v", self.step_v, 0.0, 1.0),
                ("step_hz", self.step_hz, 0.0, 10.0),
                ("open_v", self.open_v, 0.0, 15.0),
                ("baud", f64::from(self.baud), 300.0, 4e6),
            ],
        );
    }
}
