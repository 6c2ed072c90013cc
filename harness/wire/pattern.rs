//! The form of a text line, as the user writes it: literal text with fields in braces.
//!
//! | field | matches |
//! |---|---|
//! | `{value}` | a number, or a word that stands for none (`over`, `OL`, `----`) |
//! | `{unit}` | the unit of the value before it, one word |
//! | `{stable}` | a flag: `stable`, `moving`, `over`, `under`, or a common short form |
//! | `{seq}` | a counter of the line, digits |
//! | `{_}` | any one word |
//!
//! A run of blanks matches a run of blanks; `{{` and `}}` stand for braces. Values are numbered from 0 in order.
//! In: the text, once. Out: a checked [`Pattern`]. Never: a regular expression, or a pattern with two readings.

use super::number::DecimalMark;
use std::fmt;

/// Longest pattern, bytes.
pub const PATTERN_BYTES_MAX: usize = 512;
/// Most values in one line.
pub const VALUES_MAX: usize = 64;

/// One part of a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// These bytes.
    Literal(Box<[u8]>),
    /// One or more blanks.
    Blank,
    Value,
    Unit,
    Stable,
    Sequence,
    Any,
}

/// A checked pattern; [`Pattern::read`](super::text) reads lines with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    pub(super) parts: Box<[Part]>,
    pub(super) mark: DecimalMark,
    values: usize,
    units: bool,
}

/// Why a text is not a pattern.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PatternProblem {
    /// There is nothing to match.
    Empty,
    /// Longer than [`PATTERN_BYTES_MAX`].
    TooLong,
    /// A control character; its code.
    Control(char),
    /// A field that is not known; its text.
    Field(String),
    /// A brace without its partner.
    Brace,
    /// Two fields with nothing between them that could tell where one ends.
    Adjacent(&'static str, &'static str),
    /// A `{unit}` that follows no `{value}`.
    UnitWithoutValue,
    /// Text after `{value}` that could belong to the number.
    NumberRunsOn(char),
    /// A field that may stand only once does so twice.
    Twice(&'static str),
    /// More than [`VALUES_MAX`] values.
    TooManyValues,
}

impl fmt::Display for PatternProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PatternProblem::Empty => write!(f, "a pattern is empty"),
            PatternProblem::TooLong => write!(f, "a pattern is longer than {PATTERN_BYTES_MAX} bytes"),
            PatternProblem::Control(c) => write!(f, "a pattern holds the character {}", c.escape_default()),
            PatternProblem::Field(text) => write!(f, "a pattern has a field {{{text}}} that is not known"),
            PatternProblem::Brace => write!(f, "a pattern has a brace without its partner"),
            PatternProblem::Adjacent(a, b) => {
                write!(f, "{{{a}}} and {{{b}}} stand together with nothing to tell where one ends")
            }
            PatternProblem::UnitWithoutValue => write!(f, "{{unit}} follows no {{value}}"),
            PatternProblem::NumberRunsOn(c) => {
                write!(f, "the text after {{value}} starts with {c}, which a number may hold")
            }
            PatternProblem::Twice(field) => write!(f, "{{{field}}} stands twice"),
            PatternProblem::TooManyValues => write!(f, "a pattern has more than {VALUES_MAX} values"),
        }
    }
}

/// The fields by name.
const FIELDS: &[(&str, Part)] = &[
    ("value", Part::Value),
    ("unit", Part::Unit),
    ("stable", Part::Stable),
    ("seq", Part::Sequence),
    ("_", Part::Any),
];

impl Part {
    fn name(&self) -> &'static str {
        FIELDS.iter().find(|(_, part)| part == self).map_or("text", |(name, _)| name)
    }

    fn is_field(&self) -> bool {
        !matches!(self, Part::Literal(_) | Part::Blank)
    }
}

impl Pattern {
    /// The names of the fields, for near-miss suggestions.
    pub fn fields() -> impl Iterator<Item = &'static str> {
        FIELDS.iter().map(|(name, _)| *name)
    }

    /// Reads a pattern; numbers in its lines use `mark`. Blanks at either end do not count.
    ///
    /// # Errors
    /// Why it is none.
    pub fn parse(text: &str, mark: DecimalMark) -> Result<Pattern, PatternProblem> {
        let text = text.trim_matches(' ');
        if text.is_empty() {
            return Err(PatternProblem::Empty);
        }
        if text.len() > PATTERN_BYTES_MAX {
            return Err(PatternProblem::TooLong);
        }
        if let Some(c) = text.chars().find(|c| c.is_control()) {
            return Err(PatternProblem::Control(c));
        }
        let parts = parts_of(text)?;
        let values = parts.iter().filter(|p| **p == Part::Value).count();
        let units = parts.contains(&Part::Unit);
        check(&parts, mark)?;
        Ok(Pattern { parts: parts.into(), mark, values, units })
    }

    /// How many values a line has.
    #[must_use]
    pub const fn values(&self) -> usize {
        self.values
    }

    /// Whether a line tells a unit.
    #[must_use]
    pub const fn has_unit(&self) -> bool {
        self.units
    }
}

fn parts_of(text: &str) -> Result<Vec<Part>, PatternProblem> {
    let mut parts = Vec::new();
    let mut literal = Vec::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        if rest.starts_with("{{") || rest.starts_with("}}") {
            literal.push(c as u8);
            rest = &rest[2..];
            continue;
        }
        match c {
            '{' => {
                let (field, tail) = rest[1..].split_once('}').ok_or(PatternProblem::Brace)?;
                let (_, part) = FIELDS
                    .iter()
                    .find(|(name, _)| *name == field)
                    .ok_or_else(|| PatternProblem::Field(field.to_owned()))?;
                flush(&mut literal, &mut parts);
                parts.push(part.clone());
                rest = tail;
            }
            '}' => return Err(PatternProblem::Brace),
            ' ' => {
                flush(&mut literal, &mut parts);
                parts.push(Part::Blank);
                rest = rest.trim_start_matches(' ');
            }
            _ => {
                let n = c.len_utf8();
                literal.extend_from_slice(&rest.as_bytes()[..n]);
                rest = &rest[n..];
            }
        }
    }
    flush(&mut literal, &mut parts);
    Ok(parts)
}

fn flush(literal: &mut Vec<u8>, parts: &mut Vec<Part>) {
    if !literal.is_empty() {
        parts.push(Part::Literal(std::mem::take(literal).into()));
    }
}

/// Everything that would make a pattern ambiguous.
fn check(parts: &[Part], mark: DecimalMark) -> Result<(), PatternProblem> {
    for pair in parts.windows(2) {
        let (a, b) = (&pair[0], &pair[1]);
        if a.is_field() && b.is_field() && (a, b) != (&Part::Value, &Part::Unit) {
            return Err(PatternProblem::Adjacent(a.name(), b.name()));
        }
        if let (Part::Value | Part::Sequence, Part::Literal(text)) = (a, b) {
            let first = text[0];
            let comma_separates = first == b',' && mark == DecimalMark::Point;
            if first.is_ascii_digit() || (matches!(first, b'.' | b',') && !comma_separates) {
                return Err(PatternProblem::NumberRunsOn(char::from(first)));
            }
        }
    }
    for single in [Part::Stable, Part::Sequence] {
        if parts.iter().filter(|p| **p == single).count() > 1 {
            return Err(PatternProblem::Twice(single.name()));
        }
    }
    let (mut open, mut values) = (false, 0);
    for part in parts {
        match part {
            Part::Value => {
                open = true;
                values += 1;
            }
            Part::Unit if !std::mem::take(&mut open) => return Err(PatternProblem::UnitWithoutValue),
            _ => {}
        }
    }
    if values > VALUES_MAX { Err(PatternProblem::TooManyValues) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns_with_two_readings_are_refused() {
        use DecimalMark::{Comma, Point};
        use PatternProblem as P;
        for (text, mark, expected) in [
            ("", Point, P::Empty),
            ("m\t{value}", Point, P::Control('\t')),
            ("m {valeu}", Point, P::Field("valeu".into())),
            ("m {name=value}", Point, P::Field("name=value".into())),
            ("m {value", Point, P::Brace),
            ("m value}", Point, P::Brace),
            ("{value}{value}", Point, P::Adjacent("value", "value")),
            ("{_}{unit}", Point, P::Adjacent("_", "unit")),
            ("{unit} {value}", Point, P::UnitWithoutValue),
            ("{value} {unit} {unit}", Point, P::UnitWithoutValue),
            ("{value}5", Point, P::NumberRunsOn('5')),
            ("{value}.", Point, P::NumberRunsOn('.')),
            ("{value},{value}", Comma, P::NumberRunsOn(',')),
            ("{stable} {stable}", Point, P::Twice("stable")),
        ] {
            assert_eq!(Pattern::parse(text, mark), Err(expected), "{text}");
        }
        let many = "{value} ".repeat(VALUES_MAX + 1);
        assert_eq!(Pattern::parse(&many, Point), Err(P::TooLong));
    }

    #[test]
    fn patterns_know_what_they_hold() {
        let p = Pattern::parse("S duty={value} on={value} {{x}} {unit}", DecimalMark::Point).unwrap();
        assert_eq!((p.values(), p.has_unit()), (2, true));
        assert!(Pattern::parse("{value},{value}", DecimalMark::Point).is_ok());
        assert!(Pattern::parse("{value}{unit}", DecimalMark::Comma).is_ok());
    }
}
