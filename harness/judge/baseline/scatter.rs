//! Repeatability, pooled over everything that an output does of one kind.
//!
//! In: observations. Out: a standard deviation of one repeat with its degrees of freedom an output and quantity. Points
//! that never scatter (off, or at a clamp) say nothing about those that do and are left out where some do. A point
//! that scatters far more than its like lies where its output steps: it is no part of the pool, and its own scatter
//! counts for it. Never: a scatter made of single measurements.

use crate::numerics::distribution::chi2_quantile;
use crate::reduce::controller::{Observation, Quantity};
use std::collections::BTreeMap;

/// Standard deviations of its like beyond which a point does not belong to the pool. Far beyond what noise that grows
/// with the slope of a map makes.
const WILD: f64 = 8.0;

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

impl Scatter {
    /// The scatter that counts for an observation: the pool's, or its own where it does not belong to the pool.
    #[must_use]
    pub fn of(self, o: &Observation) -> Scatter {
        let dof = f64::from(o.repeats.saturating_sub(1));
        if dof < 1.0 || self.dof < 1.0 {
            return self;
        }
        let sd = (o.squares / dof).sqrt();
        if sd > WILD * self.sd && self.sd > 0.0 { Scatter { sd, dof } } else { self }
    }
}

/// Pools: the square root of all squared deviations over all degrees of freedom (ISO 5725-2:2019, 7.4.4).
#[must_use]
pub fn pooled<'a>(observations: impl IntoIterator<Item = &'a Observation>) -> BTreeMap<Key, Scatter> {
    let mut groups: BTreeMap<Key, Vec<(f64, f64)>> = BTreeMap::new();
    for o in observations {
        let group = groups.entry((o.output.clone(), o.kind.quantity())).or_default();
        group.push((o.squares, f64::from(o.repeats.saturating_sub(1))));
    }
    groups.into_iter().map(|(key, points)| (key, pool(&points))).collect()
}

/// Of squared deviations with their degrees of freedom.
fn pool(points: &[(f64, f64)]) -> Scatter {
    let moving: Vec<(f64, f64)> = points.iter().copied().filter(|p| p.0 > 0.0 && p.1 > 0.0).collect();
    if moving.is_empty() {
        return Scatter { sd: 0.0, dof: points.iter().map(|p| p.1).sum() };
    }
    // The middle variance, each over the median of what its degrees of freedom make of one.
    let mut variances: Vec<f64> = moving.iter().map(|(s, dof)| s / chi2_quantile(0.5, *dof)).collect();
    variances.sort_by(f64::total_cmp);
    let middle = variances[variances.len() / 2];
    let tame = moving.iter().filter(|(s, dof)| s / dof <= WILD * WILD * middle);
    let (squares, dof) = tame.fold((0.0, 0.0), |sum, p| (sum.0 + p.0, sum.1 + p.1));
    Scatter { sd: if dof > 0.0 { (squares / dof).sqrt() } else { 0.0 }, dof }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_that_flickers_is_not_pooled() {
        // By hand: 1 + 4 + 1 over three degrees of freedom is 2; the flickering point would make it 626.5.
        let tame = [(1.0, 1.0), (4.0, 1.0), (0.0, 1.0), (1.0, 1.0)];
        let s = pool(&tame);
        assert!((s.sd - 2f64.sqrt()).abs() < 1e-12 && (s.dof - 3.0).abs() < 1e-12);
        let with: Vec<_> = tame.into_iter().chain([(2500.0, 1.0)]).collect();
        assert_eq!(pool(&with), s);
        assert_eq!(pool(&[(0.0, 2.0), (0.0, 1.0)]), Scatter { sd: 0.0, dof: 3.0 });
        assert_eq!(pool(&[(0.0, 0.0)]), Scatter::default());
    }
}
