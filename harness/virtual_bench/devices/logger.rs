//! The logger: gauges, thermometer, contacts and the controller's outputs, all as volts.
//!
//! Channels: 101 line pressure (0.5 to 4.5 V for 0 to 300 psi), 102 back pressure (0.5 to 4.5 V for 0 to 100 psi),
//! 103 ambient (0.5 to 4.5 V for 0 to 150 kPa absolute), 104 pressure switch (0 or 5 V), 105 water temperature
//! (10 mV per degC), 106 tank level switch (0 or 5 V), 111.. duty outputs (1 V for 20 %), 121.. on-off outputs (0 or
//! 5 V), 131.. analogue outputs (V).

use super::scpi_device::{self, ErrorQueue, ILLEGAL_VALUE, MISSING_PARAMETER, OUT_OF_RANGE, ScpiError, Unit};
use super::{Answer, World, number};
use crate::virtual_bench::config::{LoggerConfig, OutputKind, TankConfig};
use crate::virtual_bench::noise::Source;

const IDENTITY: &str = "dutycup,virtual logger,L-0001,1.0";

/// Channels in one query at most.
const CHANNELS_MAX: usize = 32;

/// Volts per kPa of a gauge with 4 V over `psi`.
const fn volts_per_kpa(psi: f64) -> f64 {
    4.0 / (psi * 6.894_757_293_168_361)
}

/// How the line pressure gauge is, apart from its errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Gauge {
    /// Works.
    Good,
    /// Reads this voltage whatever the pressure, V.
    Stuck(f64),
}

/// Noise of each gauge, each from its own stream.
#[derive(Clone, Debug)]
pub(crate) struct LoggerNoise {
    pub(crate) gauge: Source,
    pub(crate) back_gauge: Source,
    pub(crate) barometer: Source,
    pub(crate) thermometer: Source,
    pub(crate) volts: Source,
}

/// Logger.
#[derive(Clone, Debug)]
pub(crate) struct Logger {
    c: LoggerConfig,
    tank: TankConfig,
    noise: LoggerNoise,
    errors: ErrorQueue,
    level_made: bool,
    ambient_kpa: f64,
    /// How the line pressure gauge is.
    pub(crate) gauge: Gauge,
    /// The last voltage of the line pressure gauge, V.
    pub(crate) last_gauge_v: f64,
}

impl Logger {
    pub(crate) fn new(c: &LoggerConfig, tank: &TankConfig, ambient_kpa: f64, noise: LoggerNoise) -> Self {
        Logger {
            c: c.clone(),
            tank: tank.clone(),
            noise,
            errors: ErrorQueue::default(),
            level_made: tank.volume_ml > tank.switch_ml,
            ambient_kpa,
            gauge: Gauge::Good,
            last_gauge_v: 0.5,
        }
    }

    /// A line too long for the input buffer came in.
    pub(crate) fn overrun(&mut self) {
        self.errors.push(scpi_device::INPUT_OVERRUN);
    }

    fn unit(&mut self, unit: &Unit<'_>, world: &mut World<'_>, out: &mut Vec<u8>) -> Result<(), ScpiError> {
        if unit.is("MEASure?").is_some() || unit.is("MEASure:VOLTage?").is_some() {
            return self.measure(unit.parameters, world, out);
        }
        if unit.is("*RST").is_some() {
            return Ok(());
        }
        Err(scpi_device::UNDEFINED_HEADER)
    }

    /// Reads the channels of a list such as `(@101,102)` or `(@101:103)`.
    fn measure(&mut self, list: &str, world: &mut World<'_>, out: &mut Vec<u8>) -> Result<(), ScpiError> {
        if list.is_empty() {
            return Err(MISSING_PARAMETER);
        }
        let inside = list.strip_prefix("(@").and_then(|l| l.strip_suffix(')')).ok_or(ILLEGAL_VALUE)?;
        let mut count = 0;
        for item in inside.split(',') {
            let parse = |text: &str| text.trim().parse::<u32>().map_err(|_| ILLEGAL_VALUE);
            let (first, last) = match item.split_once(':') {
                Some((a, b)) => (parse(a)?, parse(b)?),
                None => (parse(item)?, parse(item)?),
            };
            for channel in first..=last {
                count += 1;
                if count > CHANNELS_MAX {
                    return Err(OUT_OF_RANGE);
                }
                if count > 1 {
                    out.push(b',');
                }
                let volts = self.channel(channel, world).ok_or(OUT_OF_RANGE)?;
                number::exponent(out, self.digitise(volts));
            }
        }
        Ok(())
    }

    /// What the converter makes of a voltage; it knows none below 0.
    fn digitise(&mut self, volts: f64) -> f64 {
        let noisy = (volts + self.noise.volts.normal(self.c.noise_v)).max(0.0);
        if self.c.step_v > 0.0 { (noisy / self.c.step_v).round() * self.c.step_v } else { noisy }
    }

    /// The voltage at a channel; none for a channel that is not there.
    fn channel(&mut self, channel: u32, world: &World<'_>) -> Option<f64> {
        let contact = |made: bool| if made { 5.0 } else { 0.0 };
        let controller = |kind, first| world.plant.controller.value(kind, (channel - first) as usize);
        Some(match channel {
            101 => self.line_gauge(world),
            102 => {
                let kpa = world.plant.inputs.back_kpa * (1.0 + world.errors.back_gauge_gain)
                    + world.errors.back_gauge_zero_kpa
                    + self.noise.back_gauge.normal(self.c.back_gauge_noise_kpa);
                (0.5 + kpa * volts_per_kpa(100.0)).clamp(0.0, 5.0)
            }
            103 => {
                let kpa = self.ambient_kpa
                    + world.errors.barometer_zero_kpa
                    + self.noise.barometer.normal(self.c.barometer_noise_kpa);
                0.5 + kpa * 4.0 / 150.0
            }
            104 => contact(world.plant.switch.contact),
            105 => {
                let degc = world.plant.water.degc
                    + world.errors.thermometer_zero_k
                    + self.noise.thermometer.normal(self.c.thermometer_noise_k);
                0.01 * degc
            }
            106 => contact(self.level(world.plant.tank_ml)),
            111..=116 => controller(OutputKind::Duty, 111)? / 20.0,
            121..=126 => 5.0 * controller(OutputKind::Switched, 121)?,
            131..=136 => controller(OutputKind::Analogue, 131)?,
            _ => return None,
        })
    }

    fn line_gauge(&mut self, world: &World<'_>) -> f64 {
        if let Gauge::Stuck(volts) = self.gauge {
            return volts;
        }
        // A gauge above the nozzle reads less by the column between: rho g h, kPa.
        let column = world.plant.water.density * 9.80665e-3 * self.c.gauge_height_m;
        let kpa = (world.plant.gauge_kpa - column) * (1.0 + world.errors.gauge_gain)
            + world.errors.gauge_zero_kpa
            + self.noise.gauge.normal(self.c.gauge_noise_kpa);
        self.last_gauge_v = (0.5 + kpa * volts_per_kpa(300.0)).clamp(0.0, 5.0);
        self.last_gauge_v
    }

    fn level(&mut self, tank_ml: f64) -> bool {
        let makes = self.tank.switch_ml + self.tank.switch_differential_ml;
        self.level_made = if self.level_made { tank_ml > self.tank.switch_ml } else { tank_ml > makes };
        self.level_made
    }
}

impl Answer for Logger {
    fn expected(&self, line: &str) -> usize {
        let channels = 1 + line.bytes().filter(|b| *b == b',').count();
        scpi_device::expected(line, 14 * channels - 1)
    }

    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>) {
        let mut errors = std::mem::take(&mut self.errors);
        scpi_device::message(line, IDENTITY, &mut errors, out, |unit, out| self.unit(unit, world, out));
        self.errors = errors;
    }
}
