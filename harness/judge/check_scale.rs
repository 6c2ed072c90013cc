//! The check of scale and clock as items, in per cent of the reading.

use crate::reduce::check_scale::Check;
use crate::uncertainty::Uncertain;
use crate::verdict::catalogue::{CLOCK_RATE_ERROR, Entry, SCALE_GAIN_ERROR};
use crate::verdict::subject::{Found, Subject};

/// Gain error of the scale and rate error of the clock, %: positive where too much is shown.
#[must_use]
pub fn items(check: &Check) -> Vec<Subject> {
    let of = |entry: &'static Entry, gain: Option<&Uncertain>| {
        let found = gain.map_or_else(
            || Found::Nothing("the run holds no such check".into()),
            |g| Found::from(&g.times(100.0)),
        );
        Subject::new(entry, found)
    };
    vec![of(&SCALE_GAIN_ERROR, check.scale.as_ref()), of(&CLOCK_RATE_ERROR, check.clock.as_ref())]
}
