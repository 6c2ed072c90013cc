//! Section `virtual_bench:` of a rig file: every part's true parameters.
//!
//! In: the section as a YAML value; what is left out takes the default. Out: a checked [`Config`]. Never: a number
//! that is not finite or lies outside its range, and never anything the analysis may see: this is the truth.

mod collection;
mod controller;
mod hydraulics;
mod instruments;
mod motor;

pub use collection::*;
pub use controller::*;
pub use hydraulics::*;
pub use instruments::*;
pub use motor::*;

use crate::problem::{Problem, Problems};
use serde::{Deserialize, Serialize};

/// A switch in a file: `on` or `off`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OnOff {
    /// `on`.
    On,
    /// `off`.
    Off,
}

impl OnOff {
    /// Whether it is on.
    #[must_use]
    pub fn is_on(self) -> bool {
        self == OnOff::On
    }
}

/// The whole section.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Random noise of every instrument and part; `off` gives the noise-free plant.
    pub noise: OnOff,
    /// Systematic errors of the instruments.
    pub errors: ErrorsConfig,
    /// Supply of the pump driver and the controller.
    pub supply: SupplyConfig,
    /// The output stage that switches the pump, and its watchdog.
    pub driver: DriverConfig,
    /// The pump's motor.
    pub motor: MotorConfig,
    /// The pump.
    pub pump: PumpConfig,
    /// Check valve between pump and line.
    pub check_valve: CheckValveConfig,
    /// Line between check valve and nozzle.
    pub line: LineConfig,
    /// Solenoid between line and nozzle.
    pub solenoid: SolenoidConfig,
    /// Every nozzle that can be mounted, by name.
    pub nozzles: Vec<NozzleConfig>,
    /// Nozzles mounted at the start, joined by `+`: `A` or `A+B`.
    pub mounted: String,
    /// Pressure the nozzle sprays into, gauge kPa; below 0 is manifold vacuum.
    pub back_pressure_kpa: f64,
    /// Absolute ambient pressure, kPa.
    pub ambient_kpa: f64,
    /// Pressure switch on the line.
    pub switch: SwitchConfig,
    /// Cup under the nozzle.
    pub cup: CupConfig,
    /// Supply tank and its level switch.
    pub tank: TankConfig,
    /// What is pumped.
    pub water: WaterConfig,
    /// Scale under the cup.
    pub scale: ScaleConfig,
    /// Pressure gauges, thermometer and the logger that reads them.
    pub logger: LoggerConfig,
    /// Signal generator.
    pub generator: GeneratorConfig,
    /// Controller under test.
    pub controller: ControllerConfig,
    /// One seeded difference in the controller's firmware, such as `{kind: map_scaled, output: pump, size: 1}`; the
    /// seed draws what is not given.
    pub firmware_fault: Option<FirmwareFault>,
    /// Things that go wrong at a given time, such as `{at_s: 12.5, what: hose_bursts}`.
    pub mishaps: Vec<Mishap>,
}

impl Default for Config {
    fn default() -> Self {
        Config {
            noise: OnOff::On,
            errors: ErrorsConfig::default(),
            supply: SupplyConfig::default(),
            driver: DriverConfig::default(),
            motor: MotorConfig::default(),
            pump: PumpConfig::default(),
            check_valve: CheckValveConfig::default(),
            line: LineConfig::default(),
            solenoid: SolenoidConfig::default(),
            nozzles: vec![NozzleConfig::default()],
            mounted: "A".to_owned(),
            back_pressure_kpa: 0.0,
            ambient_kpa: 101.325,
            switch: SwitchConfig::default(),
            cup: CupConfig::default(),
            tank: TankConfig::default(),
            water: WaterConfig::default(),
            scale: ScaleConfig::default(),
            logger: LoggerConfig::default(),
            generator: GeneratorConfig::default(),
            controller: ControllerConfig::default(),
            firmware_fault: None,
            mishaps: Vec::new(),
        }
    }
}

impl Config {
    /// Reads and checks the section; an empty section (`{}` or nothing) is the default bench.
    ///
    /// # Errors
    /// Every number outside its range, or the first thing that is not of the section's form.
    pub fn read(section: &serde_yaml::Value) -> Result<Config, Problems> {
        let config = if section.is_null() {
            Config::default()
        } else {
            serde_yaml::from_value(section.clone()).map_err(|e| {
                Problem::new(format!("virtual_bench: {e}"))
                    .expected("the parts and parameters of the shipped virtual rig")
            })?
        };
        config.check()?;
        Ok(config)
    }

    /// Checks every number against its range, and every name.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn check(&self) -> Result<(), Problems> {
        let mut c = Check::default();
        c.range("back_pressure_kpa", self.back_pressure_kpa, -95.0, 500.0);
        c.range("ambient_kpa", self.ambient_kpa, 50.0, 120.0);
        self.errors.check(&mut c);
        self.supply.check(&mut c);
        self.driver.check(&mut c);
        self.motor.check(&mut c);
        self.pump.check(&mut c);
        self.check_valve.check(&mut c);
        self.line.check(&mut c);
        self.solenoid.check(&mut c);
        for nozzle in &self.nozzles {
            nozzle.check(&mut c);
        }
        self.switch.check(&mut c);
        self.cup.check(&mut c);
        self.tank.check(&mut c);
        self.water.check(&mut c);
        self.scale.check(&mut c);
        self.logger.check(&mut c);
        self.generator.check(&mut c);
        self.controller.check(&mut c);
        for mishap in &self.mishaps {
            c.range("mishaps.at_s", mishap.at_s, 0.0, 1e7);
        }
        if let Err(problems) = self.nozzle_indices(&self.mounted) {
            c.problems.0.extend(problems.0);
        }
        c.problems.into_result()
    }

    /// Which of [`Config::nozzles`] the words of `mounted` name, in the order named.
    ///
    /// # Errors
    /// A name that no nozzle has, or the same nozzle twice.
    pub fn nozzle_indices(&self, mounted: &str) -> Result<Vec<usize>, Problems> {
        let known = || self.nozzles.iter().map(|n| n.name.as_str()).collect::<Vec<_>>().join(", ");
        let mut found = Vec::new();
        for name in mounted.split('+').map(str::trim) {
            let index = self.nozzles.iter().position(|n| n.name == name);
            match index {
                Some(i) if !found.contains(&i) => found.push(i),
                _ => {
                    return Err(Problem::new(format!(
                        "virtual_bench: cannot mount nozzle {name:?} of {mounted:?}"
                    ))
                    .expected(format!("each of these at most once, joined by \"+\": {}", known()))
                    .into());
                }
            }
        }
        Ok(found)
    }
}

/// Collects what is out of range.
#[derive(Default)]
pub(crate) struct Check {
    pub(crate) problems: Problems,
}

impl Check {
    /// `value` must lie in `[low, high]`.
    pub(crate) fn range(&mut self, name: &str, value: f64, low: f64, high: f64) {
        if !(low..=high).contains(&value) {
            self.problems.push(
                Problem::new(format!("virtual_bench.{name}: {value}"))
                    .expected(format!("a number from {low} to {high}")),
            );
        }
    }

    /// Several at once, all of the part `part`.
    pub(crate) fn ranges(&mut self, part: &str, rows: &[(&str, f64, f64, f64)]) {
        for &(name, value, low, high) in rows {
            self.range(&format!("{part}.{name}"), value, low, high);
        }
    }
}
