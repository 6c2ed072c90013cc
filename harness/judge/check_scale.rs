//! The check of scale and clock as items.
//!
//! In: the gains found and what the scenario expects. Out: items in per cent of the reading. Never: a correction.

use crate::numerics::distribution;
use crate::reduce::check_scale::{Check, Gain};
use crate::verdict::decide::{Subject, judge};
use crate::verdict::expect::Expectation;
use crate::verdict::item::Item;

/// `scale.gain` and `clock.gain`: how much too much is shown, %.
#[must_use]
pub fn items(check: &Check, expected: &[Expectation]) -> Vec<Item> {
    let of = |id: &str, quantity: &str, gain: Option<Gain>| {
        let limits = expected.iter().find(|e| e.item == id).map(|e| e.limits).unwrap_or_default();
        judge(&Subject {
            id: id.into(),
            quantity: quantity.into(),
            unit: "%".into(),
            result: gain.map(|g| (100.0 * g.error, 100.0 * g.u * distribution::coverage(0.95, g.dof))),
            dof: gain.map(|g| g.dof).filter(|dof| dof.is_finite()),
            limits,
            effort: None,
        })
    };
    vec![
        of("scale.gain", "what the scale shows too much", check.scale),
        of("clock.gain", "what the clock counts too much", check.clock),
    ]
}
