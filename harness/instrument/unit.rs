//! Unit words on the wire.
//!
//! In: a word beside a number, what the channel measures, and its scaling. Out: whether the word is the unit that the
//! scaling means. Never: a conversion; a wrong unit is a fault, because nobody may change it during a run.

use crate::problem::fault::shown_bytes;
use crate::quantity::Dimension;

/// Unit words of one dimension with what one of each is in internal units.
type Words = &'static [(&'static str, f64)];

/// Exact factors: 1 lb = 453.59237 g and 1 psi = 6.894757293168361 kPa (NIST SP 811, appendix B).
const MASS: Words = &[
    ("g", 1.0),
    ("kg", 1000.0),
    ("mg", 0.001),
    ("oz", 28.349_523_125),
    ("lb", 453.592_37),
];
const PRESSURE: Words = &[
    ("kPa", 1.0),
    ("psi", 6.894_757_293_168_361),
    ("bar", 100.0),
    ("mbar", 0.1),
    ("Pa", 0.001),
    ("MPa", 1000.0),
];
const VOLTAGE: Words = &[("V", 1.0), ("mV", 0.001)];
const CURRENT: Words = &[("A", 1.0), ("mA", 0.001)];
const TEMPERATURE: Words = &[
    ("degC", 1.0),
    ("C", 1.0),
    ("\u{b0}C", 1.0),
    ("degF", 5.0 / 9.0),
    ("F", 5.0 / 9.0),
];
const RATIO: Words = &[("%", 1.0)];
const SPEED: Words = &[("rpm", 1.0)];
const FREQUENCY: Words = &[("Hz", 1.0), ("kHz", 1000.0)];
const NONE: Words = &[];
const ALL: &[Words] = &[
    MASS,
    PRESSURE,
    VOLTAGE,
    CURRENT,
    TEMPERATURE,
    RATIO,
    SPEED,
    FREQUENCY,
];

/// A scaling may differ this much from a unit's factor, because it may hold a calibration besides.
const GAIN_TOLERANCE: f64 = 0.1;

const fn words(dimension: Dimension) -> Words {
    match dimension {
        Dimension::Mass => MASS,
        Dimension::GaugePressure | Dimension::AbsolutePressure => PRESSURE,
        Dimension::Voltage => VOLTAGE,
        Dimension::Current => CURRENT,
        Dimension::Temperature => TEMPERATURE,
        Dimension::Ratio => RATIO,
        Dimension::Speed => SPEED,
        Dimension::Frequency => FREQUENCY,
        _ => NONE,
    }
}

fn factor(words: Words, word: &[u8]) -> Option<f64> {
    words
        .iter()
        .find(|(w, _)| word.eq_ignore_ascii_case(w.as_bytes()))
        .map(|(_, factor)| *factor)
}

/// Whether a word is a unit of any kind, or several joined by colons (`lb:oz`).
pub(super) fn is_known(word: &[u8]) -> bool {
    !word.is_empty()
        && word
            .split(|b| *b == b':')
            .all(|part| ALL.iter().any(|w| factor(w, part).is_some()))
}

/// Checks that `word` is the unit that `gain` turns into internal units.
///
/// # Errors
/// What was seen, and what to do.
pub(super) fn check(word: &[u8], dimension: Dimension, gain: f64) -> Result<(), (String, String)> {
    let close = |factor: f64| (gain.abs() / factor - 1.0).abs() <= GAIN_TOLERANCE;
    if factor(words(dimension), word).is_some_and(close) {
        return Ok(());
    }
    let seen = format!("the unit {}", shown_bytes(word));
    let meant = words(dimension).iter().find(|(_, factor)| close(*factor));
    Err(match meant {
        Some((meant, _)) => (seen, format!("set the instrument to {meant}")),
        None => (
            seen,
            "give the channel a scaling that fits the instrument's unit".into(),
        ),
    })
}

/// A value in a unit of `dimension`, in internal units; none if the word is no such unit, or one with an offset.
pub(super) fn in_internal(value: f64, word: &str, dimension: Dimension) -> Option<f64> {
    let factor = factor(words(dimension), word.as_bytes())?;
    (dimension != Dimension::Temperature || factor >= 1.0).then_some(value * factor)
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
        ] {
            assert_eq!(
                check(word.as_bytes(), dimension, gain).is_ok(),
                good,
                "{word} {gain}"
            );
        }
        assert!(is_known(b"lb:oz") && !is_known(b"lb:") && !is_known(b"stable"));
    }
}
