//! What a scenario expects.

use crate::numerics::conformity::Zone;

/// Limits that a scenario states for an item, internal units.
#[derive(Clone, Debug, PartialEq)]
pub struct Expectation {
    /// Item, such as `duty.dead_band`.
    pub item: String,
    /// Limits.
    pub limits: Zone,
}
