//! Verdicts on a road trace: volume sprayed, minutes a tank.
//!
//! In: a reduced trace, limits that the scenario states. Out: items. Never: minutes of a tank from a trace that did
//! not spray.

use crate::numerics::gum::u95;
use crate::quantity::{Dimension, parse};
use crate::reduce::road::Road;
use crate::verdict::decide::{Subject, judge};
use crate::verdict::expect::Expectation;
use crate::verdict::item::Item;

/// Tank where the scenario states none, mL: 0.75 US gal (common practice, no source).
const TANK_ML: f64 = 2839.06;

/// Volume, minutes a tank, highest pressure.
#[must_use]
pub fn items(road: &Road, expected: &[Expectation]) -> Vec<Item> {
    let (ml, u, dof) = road.volume_ml;
    let mut all = Vec::new();
    let mut add = |id: &str, quantity: String, unit: &str, value: f64, u: f64, dof: f64| {
        let limits = expected.iter().find(|e| e.item == id).map(|e| e.limits);
        all.push(judge(&Subject {
            id: id.into(),
            quantity,
            unit: unit.into(),
            result: Some((value, u95(u, dof))),
            dof: dof.is_finite().then_some(dof),
            limits: limits.unwrap_or_default(),
            effort: None,
        }));
    };
    add("road.volume", "volume sprayed over the trace".into(), "mL", ml, u, dof);
    let tank = road.tank.as_deref().and_then(|t| parse(t, Dimension::Volume).ok()).unwrap_or(TANK_ML);
    if ml > 2.0 * u95(u, dof) && ml > 0.0 {
        let minutes = road.seconds / 60.0 * tank / ml;
        let words = format!("time a tank of {tank:.0} mL lasts on such a road");
        add("road.minutes_per_tank", words, "min", minutes, minutes * u / ml, dof);
    }
    all
}
