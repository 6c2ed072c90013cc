//! Unit words on the wire.
//!
//! In: a word beside a number, what the channel measures, and its scaling. Out: whether the word is the unit that the
//! scaling means. Never: a conversion; a wrong unit is a fault, because nobody may change it during a run.

use crate::problem::fault::shown_bytes;
use crate::quantity::{Dimension, Unit, find_unit, units_of};

/// A scaling may differ this much from a unit's factor, because it may hold a calibration besides.
const GAIN_TOLERANCE: f64 = 0.1;

fn means(gain: f64, unit: &Unit) -> bool {
    (gain.abs() / unit.difference_to_internal(1.0) - 1.0).abs() <= GAIN_TOLERANCE
}

/// Whether a word is a unit of any kind, or several joined by colons (`lb:oz`).
fn is_known(word: &str) -> bool {
    let known = |part: &str| Dimension::ALL.iter().any(|d| find_unit(part, *d).is_some());
    !word.is_empty() && word.split(':').all(known)
}

/// The first word of a line that is a unit and stands behind a word with a digit, but is not the unit that `gain`
/// means; what was seen, and what to do.
pub(super) fn other_in(line: &[u8], dimension: Dimension, gain: f64) -> Option<(String, String)> {
    let line = String::from_utf8_lossy(line);
    let mut after_number = false;
    for word in line.split_whitespace() {
        if after_number && is_known(word) {
            return check(word.as_bytes(), dimension, gain).err();
        }
        after_number = word.bytes().any(|b| b.is_ascii_digit());
    }
    None
}

/// Checks that `word` is the unit that `gain` turns into internal units.
///
/// # Errors
/// What was seen, and what to do.
pub(super) fn check(word: &[u8], dimension: Dimension, gain: f64) -> Result<(), (String, String)> {
    let unit = std::str::from_utf8(word).ok().and_then(|w| find_unit(w, dimension));
    if unit.is_some_and(|u| means(gain, u)) {
        return Ok(());
    }
    let seen = format!("the unit {}", shown_bytes(word));
    let meant = units_of(dimension).find(|u| means(gain, u));
    Err(match meant {
        Some(unit) => (seen, format!("set the instrument to {}", unit.symbol)),
        None => (seen, "give the channel the unit that the instrument shows".into()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_right_when_the_scaling_means_it() {
        for (word, dimension, gain, good) in [
            ("g", Dimension::Mass, 1.0, true),
            ("g", Dimension::Mass, 0.9995, true),
            ("kg", Dimension::Mass, 1.0, false),
            ("kg", Dimension::Mass, 1000.0, true),
            ("lb:oz", Dimension::Mass, 1.0, false),
            ("psi", Dimension::GaugePressure, 6.894757, true),
            ("psi", Dimension::GaugePressure, 1.0, false),
            ("bar", Dimension::Mass, 100.0, false),
            ("%", Dimension::Ratio, 1.0, true),
            ("V", Dimension::Voltage, 1.0, true),
            ("\u{b0}F", Dimension::Temperature, 5.0 / 9.0, true),
        ] {
            assert_eq!(check(word.as_bytes(), dimension, gain).is_ok(), good, "{word} {gain}");
        }
    }

    #[test]
    fn another_unit_is_found_behind_a_number() {
        let seen = |line: &str| other_in(line.as_bytes(), Dimension::Mass, 1.0).map(|(seen, _)| seen);
        assert_eq!(seen("m 0:04.2 lb:oz stable").as_deref(), Some("the unit lb:oz"));
        assert_eq!(seen("m 0.4 oz stable").as_deref(), Some("the unit oz"));
        assert_eq!(seen("m 1.2.3 g stable"), None);
        assert_eq!(seen("m kg V"), None);
    }
}
