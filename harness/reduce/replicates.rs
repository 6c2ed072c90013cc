//! Replicates: collections taken at the same setting.
//!
//! In: collections. Out: which belong together, repeat numbers, and the scatter of repeats beyond what resolution
//! explains. Never: two nozzles taken for one.

use super::collection::Collection;

/// Duties closer than this are one setting, %.
pub const SAME_DUTY_PCT: f64 = 0.25;

/// Whether two collections were taken at the same setting: same nozzle, same duty (the commanded one, where both
/// have it).
#[must_use]
pub fn same_setting(a: &Collection, b: &Collection) -> bool {
    let duties = a.duty_set_pct.zip(b.duty_set_pct).or(a.duty().zip(b.duty()));
    a.nozzle == b.nozzle && duties.is_some_and(|(x, y)| (x - y).abs() <= SAME_DUTY_PCT)
}

/// Supplies closer than this, as a fraction, and back pressures closer than [`SAME_BACK_KPA`] are the same conditions.
const SAME_SUPPLY: f64 = 0.003;
/// Back pressures closer than this are the same conditions, kPa.
const SAME_BACK_KPA: f64 = 1.0;

/// Whether two collections were taken at the same setting under the same conditions, so that they differ by chance or
/// by drift alone.
#[must_use]
pub fn same_conditions(a: &Collection, b: &Collection) -> bool {
    same_setting(a, b)
        && (a.supply_v - b.supply_v).abs() <= SAME_SUPPLY * a.supply_v
        && (a.back_pressure_kpa - b.back_pressure_kpa).abs() <= SAME_BACK_KPA
}

/// Groups in order of their first appearance: indices of the collections that are `same` as the first of each.
#[must_use]
pub fn groups(collections: &[Collection], same: fn(&Collection, &Collection) -> bool) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (i, c) in collections.iter().enumerate() {
        match groups.iter_mut().find(|g| same(&collections[g[0]], c)) {
            Some(group) => group.push(i),
            None => groups.push(vec![i]),
        }
    }
    groups
}

/// Numbers repeats from 1 in the order they were taken.
pub fn number(collections: &mut [Collection]) {
    for group in groups(collections, same_setting) {
        for (repeat, i) in group.into_iter().enumerate() {
            collections[i].repeat = repeat as u32 + 1;
        }
    }
}

/// Relative scatter of flow between repeats beyond `explained` (a relative variance of each collection), pooled over
/// equal conditions, with its degrees of freedom; none without repeats.
#[must_use]
pub fn relative_scatter(
    collections: &[Collection],
    explained: impl Fn(&Collection) -> f64,
) -> Option<(f64, f64)> {
    let (mut squares, mut known, mut free) = (0.0, 0.0, 0.0);
    for group in groups(collections, same_conditions) {
        let good: Vec<&Collection> = group
            .iter()
            .map(|i| &collections[*i])
            .filter(|c| c.void.is_none() && c.flow_ml_min > 0.0)
            .collect();
        if good.len() < 2 {
            continue;
        }
        let n = good.len() as f64;
        let mean = good.iter().map(|c| c.flow_ml_min).sum::<f64>() / n;
        squares += good.iter().map(|c| (c.flow_ml_min / mean - 1.0).powi(2)).sum::<f64>();
        known += (n - 1.0) / n * good.iter().map(|c| explained(c)).sum::<f64>();
        free += n - 1.0;
    }
    (free > 0.0).then(|| (((squares - known) / free).max(0.0).sqrt(), free))
}
