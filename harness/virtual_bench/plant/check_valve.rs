//! The check valve between pump and line.
//!
//! In: pressure difference across it. Out: flow. Straight on either side of the cracking pressure; a leak in
//! either direction beside it.

use crate::virtual_bench::config::CheckValveConfig;

/// Check valve.
#[derive(Clone, Debug)]
pub(crate) struct CheckValve {
    /// Opens at this difference, kPa.
    pub(crate) cracking_kpa: f64,
    open: f64,
    leak: f64,
}

impl CheckValve {
    pub(crate) fn new(c: &CheckValveConfig) -> Self {
        CheckValve {
            cracking_kpa: c.cracking_kpa,
            open: 1.0 / (60.0 * c.drop_kpa_per_ml_min),
            leak: c.leak_ml_min_per_kpa / 60.0,
        }
    }

    /// Slope of the flow over pressure, mL/s per kPa.
    pub(crate) fn slope(&self, open: bool) -> f64 {
        if open { self.open + self.leak } else { self.leak }
    }

    /// Flow at a pressure difference, mL/s, on the branch `open`.
    pub(crate) fn flow(&self, difference_kpa: f64, open: bool) -> f64 {
        let leak = self.leak * difference_kpa;
        if open { leak + self.open * (difference_kpa - self.cracking_kpa) } else { leak }
    }
}
