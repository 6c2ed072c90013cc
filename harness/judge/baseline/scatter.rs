//! Repeatability, pooled over everything that an output does of one kind.
//!
//! In: observations of both sides. Out: a standard deviation of one repeat with its degrees of freedom an output and
//! quantity. Points that never scatter (off, or at a clamp) say nothing about those that do and are left out where
//! some do. Never: a scatter made of single measurements.

use crate::reduce::controller::{Observation, Quantity};
use std::collections::BTreeMap;

/// Output and quantity.
pub type Key = (String, Quantity);

/// Standard deviation of one repeat.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scatter {
    /// In the unit of the quantity.
    pub sd: f64,
    /// Degrees of freedom; 0 where nothing was repeated.
    pub dof: f64,
}

/// Pools: the square root of all squared deviations over all degrees of freedom (ISO 5725-2:2019, 7.4.4).
#[must_use]
pub fn pooled<'a>(observations: impl IntoIterator<Item = &'a Observation>) -> BTreeMap<Key, Scatter> {
    let mut sums: BTreeMap<Key, [(f64, f64); 2]> = BTreeMap::new();
    for o in observations {
        let place = usize::from(o.squares > 0.0);
        let sum = &mut sums.entry((o.output.clone(), o.kind.quantity())).or_default()[place];
        sum.0 += o.squares;
        sum.1 += f64::from(o.repeats.saturating_sub(1));
    }
    let pool = |[still, moving]: [(f64, f64); 2]| {
        let (squares, dof) = if moving.1 > 0.0 { moving } else { still };
        Scatter {
            sd: if dof > 0.0 { (squares / dof).sqrt() } else { 0.0 },
            dof,
        }
    };
    sums.into_iter().map(|(key, sums)| (key, pool(sums))).collect()
}
