//! The laboratory supply: set point, output, meters.

use super::scpi_device::{self, ErrorQueue, OUT_OF_RANGE, ScpiError, Unit};
use super::{Answer, World, number};
use crate::virtual_bench::config::SupplyConfig;
use crate::virtual_bench::noise::Source;

const IDENTITY: &str = "dutycup,virtual supply,S-0001,1.0";

/// Supply with its meters.
#[derive(Clone, Debug)]
pub(crate) struct Supply {
    c: SupplyConfig,
    volts: f64,
    noise: Source,
    errors: ErrorQueue,
}

impl Supply {
    pub(crate) fn new(c: &SupplyConfig, noise: Source) -> Self {
        Supply { volts: c.start_v, c: c.clone(), noise, errors: ErrorQueue::default() }
    }

    /// A line too long for the input buffer came in.
    pub(crate) fn overrun(&mut self) {
        self.errors.push(scpi_device::INPUT_OVERRUN);
    }

    fn unit(&mut self, unit: &Unit<'_>, world: &mut World<'_>, out: &mut Vec<u8>) -> Result<(), ScpiError> {
        let e = world.errors;
        if unit.is("MEASure:VOLTage?").is_some() {
            let read = world.plant.supply.volts * (1.0 + e.supply_meter_gain)
                + e.supply_meter_zero_v
                + self.noise.normal(self.c.meter_noise_v);
            // The converter of the meter knows no voltage below 0.
            number::exponent(out, read.max(0.0));
        } else if unit.is("MEASure:CURRent?").is_some() {
            let read =
                world.plant.supply.amps * (1.0 + e.ammeter_gain) + self.noise.normal(self.c.meter_noise_a);
            number::exponent(out, read);
        } else if unit.is("VOLTage").is_some() {
            let volts = unit.number()?;
            if !(0.0..=self.c.highest_v).contains(&volts) {
                return Err(OUT_OF_RANGE);
            }
            self.volts = volts;
            world.plant.supply.source_v = volts * (1.0 + e.supply_set_gain);
        } else if unit.is("VOLTage?").is_some() {
            number::exponent(out, self.volts);
        } else if unit.is("OUTPut").is_some() {
            world.plant.supply.on = unit.boolean()?;
        } else if unit.is("OUTPut?").is_some() {
            out.push(if world.plant.supply.on { b'1' } else { b'0' });
        } else if unit.is("*RST").is_some() {
            self.volts = 0.0;
            world.plant.supply.source_v = 0.0;
            world.plant.supply.on = false;
        } else {
            return Err(scpi_device::UNDEFINED_HEADER);
        }
        Ok(())
    }
}

impl Answer for Supply {
    fn expected(&self, line: &str) -> usize {
        scpi_device::expected(line, 13)
    }

    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>) {
        let mut errors = std::mem::take(&mut self.errors);
        scpi_device::message(line, IDENTITY, &mut errors, out, |unit, out| self.unit(unit, world, out));
        self.errors = errors;
    }
}
