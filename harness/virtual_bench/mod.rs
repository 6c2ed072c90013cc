//! A bench made of physics and bytes: the plant in the time domain, and the far end of each dialect.
//!
//! In: the rig file's section `virtual_bench:`, a seed, bytes and the time. Out: bytes. Never: anything of `fluid`,
//! `wire`, `instrument`, `reduce` or `fit`; agreement between the two sides must mean something.

mod bench;
pub mod config;
mod devices;
mod firmware;
mod mishaps;
mod noise;
mod operator;
#[cfg(feature = "door")]
mod pairs;
mod plant;

pub use bench::Bench;
#[cfg(feature = "door")]
pub use bench::Truth;
#[cfg(feature = "door")]
pub use pairs::random_pair;
#[cfg(feature = "door")]
pub use plant::Settled;

use crate::chance::Seed;
use crate::clock::Moment;
use crate::problem::Problems;
use config::Config;

/// A device on the virtual bench, by its number in [`VirtualBench::devices`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Device(pub usize);

/// What the in-process shell and `emulate` need of a virtual bench. The bench is advanced lazily: every call brings
/// it to `now` first; `now` never goes back.
pub trait VirtualBench {
    /// Names of the devices, in order; the same names as the rig's instruments.
    fn devices(&self) -> &[String];
    /// Bytes arriving at a device at `now`.
    fn receive(&mut self, device: Device, bytes: &[u8], now: Moment);
    /// The next moment at which some device has bytes to send, without further input; never before the last call.
    fn next_output(&mut self) -> Moment;
    /// The operator is asked something at `now`, does it, and answers.
    fn operate(&mut self, request: &str, now: Moment) -> String;
    /// Bytes that devices send at or before `now`, oldest first, through `take(device, bytes)`.
    fn transmit(&mut self, now: Moment, take: &mut dyn FnMut(Device, &[u8]));
}

/// A bench as section `virtual_bench:` describes it, at rest.
///
/// # Errors
/// What the section has that it should not, or out of range.
pub fn build(section: &serde_yaml::Value, seed: Seed) -> Result<Bench, Problems> {
    Bench::new(Config::read(section)?, seed)
}

/// The steady state of the noise-free plant; see [`Settled`].
///
/// # Errors
/// Nozzles that the bench does not have; a number that is not finite.
#[cfg(feature = "door")]
pub fn settled_state(
    config: &Config,
    duty_pct: f64,
    supply_v: f64,
    mounted: &str,
    back_pressure_kpa: f64,
) -> Result<Settled, Problems> {
    plant::settled(config, duty_pct, supply_v, mounted, back_pressure_kpa)
}
