//! The far end of each dialect: what each device does with a line it is sent.
//!
//! In: a line, the plant. Out: the bytes of the answer. Parsing and formatting are of this module alone; the
//! drivers' side shares none of it.

mod driver;
mod generator;
mod logger;
pub(crate) mod port;
mod scale;
mod scpi_device;
mod supply;
mod number;

pub(crate) use driver::Driver;
pub(crate) use generator::Generator;
pub(crate) use logger::{Gauge, Logger, LoggerNoise};
pub(crate) use scale::{LINE_BYTES as SCALE_LINE_BYTES, Scale, State as ScaleState};
pub(crate) use supply::Supply;

use super::config::ErrorSet;
use super::plant::Plant;
use crate::clock::Moment;

/// What a device can see and touch while it works on a line.
pub(crate) struct World<'a> {
    /// The plant, brought to `now`.
    pub(crate) plant: &'a mut Plant,
    /// The instruments' systematic errors.
    pub(crate) errors: &'a ErrorSet,
    /// When the line is worked on.
    pub(crate) now: Moment,
}

/// A device at the end of a line.
pub(crate) trait Answer {
    /// About how many bytes the answer to `line` will have, without its end; 0 for no answer. It times the answer.
    fn expected(&self, line: &str) -> usize;
    /// Does what `line` says and appends the answer, without its end; nothing where there is none.
    fn answer(&mut self, line: &str, world: &mut World<'_>, out: &mut Vec<u8>);
}
