//! Words that scales and meters show beside a number or in place of one.
//!
//! In: one word of a line. Out: what it says. The words are those that scales and panel meters commonly print
//! (common practice, no source). Never: a value made of a word.

use super::number::Numeric;

/// What an instrument says about a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flag {
    /// The reading has come to rest.
    Stable,
    /// The reading still moves.
    Moving,
    /// Above the instrument's range.
    Over,
    /// Below the instrument's range.
    Under,
}

const FLAGS: &[(&[u8], Flag)] = &[
    (b"stable", Flag::Stable),
    (b"moving", Flag::Moving),
    (b"over", Flag::Over),
    (b"under", Flag::Under),
    (b"st", Flag::Stable),
    (b"s", Flag::Stable),
    (b"us", Flag::Moving),
    (b"u", Flag::Moving),
    (b"d", Flag::Moving),
    (b"unstable", Flag::Moving),
    (b"ol", Flag::Over),
    (b"ul", Flag::Under),
];

const NO_VALUE: &[(&[u8], Numeric)] = &[
    (b"over", Numeric::Over),
    (b"overload", Numeric::Over),
    (b"overrange", Numeric::Over),
    (b"ol", Numeric::Over),
    (b"+ol", Numeric::Over),
    (b"inf", Numeric::Over),
    (b"+inf", Numeric::Over),
    (b"under", Numeric::Under),
    (b"underload", Numeric::Under),
    (b"underrange", Numeric::Under),
    (b"ul", Numeric::Under),
    (b"-ol", Numeric::Under),
    (b"-inf", Numeric::Under),
    (b"nan", Numeric::Missing),
];

/// Marks that displays fill a field with when they have no value; at least two of the same.
const FILLERS: &[(u8, Numeric)] =
    &[(b'-', Numeric::Missing), (b'*', Numeric::Missing), (b'^', Numeric::Over), (b'_', Numeric::Under)];

/// What a flag word says; case does not matter.
#[must_use]
pub fn flag(word: &[u8]) -> Option<Flag> {
    FLAGS.iter().find(|(w, _)| word.eq_ignore_ascii_case(w)).map(|(_, flag)| *flag)
}

/// What a word in the place of a number says; case does not matter.
#[must_use]
pub fn no_value(word: &[u8]) -> Option<Numeric> {
    if let [first, second, rest @ ..] = word
        && first == second
        && rest.iter().all(|b| b == first)
        && let Some((_, value)) = FILLERS.iter().find(|(mark, _)| mark == first)
    {
        return Some(*value);
    }
    NO_VALUE.iter().find(|(w, _)| word.eq_ignore_ascii_case(w)).map(|(_, value)| *value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_in_place_of_a_number() {
        for (word, expected) in [
            ("OL", Some(Numeric::Over)),
            ("over", Some(Numeric::Over)),
            ("-OL", Some(Numeric::Under)),
            ("----", Some(Numeric::Missing)),
            ("^^^^^^", Some(Numeric::Over)),
            ("_____", Some(Numeric::Under)),
            ("inf", Some(Numeric::Over)),
            ("-", None),
            ("-_-", None),
            ("12", None),
            ("", None),
        ] {
            assert_eq!(no_value(word.as_bytes()), expected, "{word}");
        }
        assert_eq!(flag(b"ST"), Some(Flag::Stable));
        assert_eq!(flag(b"moving"), Some(Flag::Moving));
        assert_eq!(flag(b"g"), None);
    }
}
