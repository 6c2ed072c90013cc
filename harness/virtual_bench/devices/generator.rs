//! The signal generator: manifold sensor voltages and the tach.

use super::scpi_device::{
    self, ErrorQueue, ILLEGAL_VALUE, OUT_OF_RANGE, SUFFIX_OUT_OF_RANGE, ScpiError, Unit,
};
use super::{Answer, World, number};
use crate::virtual_bench::config::GeneratorConfig;
use crate::virtual_bench::plant::Plant;

const IDENTITY: &str = "dutycup,virtual generator,G-0001,1.0";

/// Number of the channel that makes the tach.
const TACH: u32 = 9;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Normal,
    Open,
    Short,
}

/// Signal generator with voltage channels 1 to 4 and the tach on channel 9.
#[derive(Clone, Debug)]
pub(crate) struct Generator {
    c: GeneratorConfig,
    volts: [f64; 4],
    states: [State; 4],
    hertz: f64,
    errors: ErrorQueue,
}

impl Generator {
    pub(crate) fn new(c: &GeneratorConfig) -> Self {
        Generator {
            c: c.clone(),
            volts: [0.0; 4],
            states: [State::Normal; 4],
            hertz: 0.0,
            errors: ErrorQueue::default(),
        }
    }

    /// A line too long for the input buffer came in.
    pub(crate) fn overrun(&mut self) {
        self.errors.push(scpi_device::INPUT_OVERRUN);
    }

    fn apply(&self, world: &mut World<'_>) {
        let signal = match self.states[0] {
            State::Normal => {
                step(self.volts[0], self.c.step_v) * (1.0 + world.errors.generator_gain)
                    + world.errors.generator_zero_v
            }
            State::Open => self.c.open_v,
            State::Short => 0.0,
        };
        let plant: &mut Plant = world.plant;
        plant.inputs.sensor_v = signal;
        plant.inputs.tach_hz = step(self.hertz, self.c.step_hz);
    }

    fn unit(&mut self, unit: &Unit<'_>, out: &mut Vec<u8>) -> Result<(), ScpiError> {
        if let Some(n) = unit.is("SOURce#:VOLTage") {
            let volts = unit.number()?;
            let channel = channel(n)?;
            if !(0.0..=10.0).contains(&volts) {
                return Err(OUT_OF_RANGE);
            }
            self.volts[channel] = volts;
        } else if let Some(n) = unit.is("SOURce#:VOLTage?") {
            number::exponent(out, self.volts[channel(n)?]);
        } else if let Some(n) = unit.is("SOURce#:FREQuency") {
            let hertz = unit.number()?;
            if n != TACH {
                return Err(SUFFIX_OUT_OF_RANGE);
            }
            if !(0.0..=10_000.0).contains(&hertz) {
                return Err(OUT_OF_RANGE);
            }
            self.hertz = hertz;
        } else if let Some(n) = unit.is("SOURce#:FREQuency?") {
            if n != TACH {
                return Err(SUFFIX_OUT_OF_RANGE);
            }
            number::exponent(out, self.hertz);
        } else if let Some(n) = unit.is("SOURce#:STATe") {
            let state = match unit.parameters.to_ascii_uppercase().as_str() {
                "NORM" | "NORMAL" => State::Normal,
                "OPEN" => State::Open,
                "SHORT" => State::Short,
                _ => return Err(ILLEGAL_VALUE),
            };
            self.states[channel(n)?] = state;
        } else if unit.is("*RST").is_some() {
            *self = Generator { errors: std::mem::take(&mut self.errors), ..Generator::new(&self.c) };
        } else {
            return Err(scpi_device::UNDEFINED_HEADER);
        }
        Ok(())
    }
}

fn channel(number: u32) -> Result<usize, ScpiError> {
    if (1..=4).contains(&number) { Ok(number as usize - 1) } else { Err(SUFFIX_OUT_OF_RANGE) }
}

/// The nearest whole number of steps.
fn step(value: f64, step: f64) -> f64 {
    if step > 0.0 { (value / step).round() * step } else { value }
}

impl Answer for Generator {
    fn expected(&self, line: &str) -> usize {
        scpi_device::expected(line, 13)
    }

    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>) {
        let mut errors = std::mem::take(&mut self.errors);
        scpi_device::message(line, IDENTITY, &mut errors, out, |unit, out| self.unit(unit, out));
        self.errors = errors;
        self.apply(world);
    }
}
