//! The solenoid between line and nozzle: a command, a delay, open or closed.

use crate::virtual_bench::config::SolenoidConfig;

/// Solenoid valve.
#[derive(Clone, Debug)]
pub(crate) struct Solenoid {
    opens_after: u32,
    closes_after: u32,
    waited: u32,
    /// Whether water passes.
    pub(crate) open: bool,
}

impl Solenoid {
    pub(crate) fn new(c: &SolenoidConfig) -> Self {
        Solenoid {
            opens_after: c.opens_after_ms.round() as u32,
            closes_after: c.closes_after_ms.round() as u32,
            waited: 0,
            open: false,
        }
    }

    /// One step (1 ms) with the coil energised or not.
    pub(crate) fn step(&mut self, energised: bool) {
        if energised == self.open {
            self.waited = 0;
            return;
        }
        let delay = if energised { self.opens_after } else { self.closes_after };
        if self.waited >= delay {
            self.open = energised;
            self.waited = 0;
        } else {
            self.waited += 1;
        }
    }
}
