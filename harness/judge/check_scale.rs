//! The check of scale and clock as items, in per cent of the reading.

use crate::numerics::distribution;
use crate::reduce::check_scale::{Check, Gain};
use crate::verdict::catalogue::{CLOCK_RATE_ERROR, Entry, SCALE_GAIN_ERROR};
use crate::verdict::subject::{Found, Subject};

/// Gain error of the scale and rate error of the clock, %: positive where too much is shown.
#[must_use]
pub fn items(check: &Check) -> Vec<Subject> {
    let of = |entry: &'static Entry, gain: Option<Gain>| {
        let found = gain.map_or_else(
            || Found::Nothing("the run holds no such check".into()),
            |g| Found::Value {
                value: 100.0 * g.error,
                u95: 100.0 * g.u * distribution::coverage(0.95, g.dof),
                dof: Some(g.dof).filter(|dof| dof.is_finite()),
            },
        );
        Subject::new(entry, found)
    };
    vec![of(&SCALE_GAIN_ERROR, check.scale), of(&CLOCK_RATE_ERROR, check.clock)]
}
