//! A command with a value in it: `D {value:.2}`, `OUTP {value:ON|OFF}`.
//!
//! In: the user's text, once; then values. Out: the bytes to send. Never: a control character, a second line, an
//! exponent, or a value that is not finite.

use std::fmt;
use std::io::Write as _;

/// Longest command, bytes.
pub const COMMAND_BYTES_MAX: usize = 256;
/// Most decimals a template may ask for.
pub const DECIMALS_MAX: u8 = 9;

/// A command, with or without a place for a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    before: Box<[u8]>,
    place: Option<Place>,
    after: Box<[u8]>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Place {
    /// As many decimals as the value needs.
    Shortest,
    /// A fixed number of decimals.
    Decimals(u8),
    /// One word for on (more than a half), another for off.
    Words(Box<[u8]>, Box<[u8]>),
}

/// Why a text is not a command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TemplateProblem {
    /// There is nothing to send.
    Empty,
    /// Longer than [`COMMAND_BYTES_MAX`].
    TooLong,
    /// A character that may not be sent: only printable ASCII and blanks may.
    Character(char),
    /// A field that is not `{value}`, `{value:.N}` or `{value:ON|OFF}`; its text.
    Field(String),
    /// A brace without its partner.
    Brace,
    /// More than one `{value}`.
    TwoValues,
}

impl fmt::Display for TemplateProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TemplateProblem::Empty => write!(f, "a command is empty"),
            TemplateProblem::TooLong => write!(f, "a command is longer than {COMMAND_BYTES_MAX} bytes"),
            TemplateProblem::Character(c) => {
                write!(f, "a command holds the character {}", c.escape_default())
            }
            TemplateProblem::Field(text) => write!(f, "a command has a field {{{text}}} that is not known"),
            TemplateProblem::Brace => write!(f, "a command has a brace without its partner"),
            TemplateProblem::TwoValues => write!(f, "a command has two places for the value"),
        }
    }
}

impl Template {
    /// Reads a template; `{{` and `}}` stand for braces.
    ///
    /// # Errors
    /// Why it is none.
    pub fn parse(text: &str) -> Result<Template, TemplateProblem> {
        check_plain(text)?;
        let (mut before, mut after, mut place) = (Vec::new(), Vec::new(), None);
        let mut rest = text;
        while let Some(c) = rest.chars().next() {
            let out = if place.is_none() { &mut before } else { &mut after };
            if rest.starts_with("{{") || rest.starts_with("}}") {
                out.push(rest.as_bytes()[0]);
                rest = &rest[2..];
            } else if let Some(inner) = rest.strip_prefix('{') {
                let (field, tail) = inner.split_once('}').ok_or(TemplateProblem::Brace)?;
                let found = field_of(field).ok_or_else(|| TemplateProblem::Field(field.to_owned()))?;
                if place.replace(found).is_some() {
                    return Err(TemplateProblem::TwoValues);
                }
                rest = tail;
            } else if c == '}' {
                return Err(TemplateProblem::Brace);
            } else {
                out.push(c as u8);
                rest = &rest[1..];
            }
        }
        Ok(Template { before: before.into(), place, after: after.into() })
    }

    /// Whether the command has a place for a value.
    #[must_use]
    pub const fn has_value(&self) -> bool {
        self.place.is_some()
    }

    /// Appends the command with `value`, which must be finite, without a line end.
    pub fn write(&self, value: f64, out: &mut Vec<u8>) {
        debug_assert!(value.is_finite(), "checked before it is queued");
        out.extend_from_slice(&self.before);
        let start = out.len();
        // Writing to a vector cannot fail.
        let _ = match &self.place {
            None => Ok(()),
            Some(Place::Shortest) => write!(out, "{value}"),
            Some(Place::Decimals(n)) => write!(out, "{value:.*}", usize::from(*n)),
            Some(Place::Words(on, off)) => out.write_all(if value > 0.5 { on } else { off }),
        };
        let zero = out[start..].iter().all(|b| matches!(b, b'-' | b'0' | b'.'));
        if zero && out.get(start) == Some(&b'-') {
            out.remove(start);
        }
        out.extend_from_slice(&self.after);
    }
}

/// Only printable ASCII and blanks, not empty, not too long.
///
/// # Errors
/// What is wrong.
pub fn check_plain(text: &str) -> Result<(), TemplateProblem> {
    if text.trim().is_empty() {
        return Err(TemplateProblem::Empty);
    }
    if text.len() > COMMAND_BYTES_MAX {
        return Err(TemplateProblem::TooLong);
    }
    match text.chars().find(|c| !matches!(c, ' '..='~')) {
        Some(c) => Err(TemplateProblem::Character(c)),
        None => Ok(()),
    }
}

fn field_of(field: &str) -> Option<Place> {
    match field.strip_prefix("value")? {
        "" => Some(Place::Shortest),
        rest => match rest.strip_prefix(":.") {
            Some(digits) => {
                let n: u8 = digits.parse().ok()?;
                (n <= DECIMALS_MAX).then_some(Place::Decimals(n))
            }
            None => {
                let (on, off) = rest.strip_prefix(':')?.split_once('|')?;
                let word =
                    |text: &str| (!text.is_empty() && !text.contains('|')).then(|| text.as_bytes().into());
                Some(Place::Words(word(on)?, word(off)?))
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_written_plainly() {
        for (template, value, expected) in [
            ("D {value:.2}", 45.0, "D 45.00"),
            ("SOUR1:VOLT {value:.3}", 2.4996, "SOUR1:VOLT 2.500"),
            ("V {value:.0}", 1.0, "V 1"),
            ("{value}", 0.1, "0.1"),
            ("{value}", 1e-7, "0.0000001"),
            ("{value}", 1e21, "1000000000000000000000"),
            ("D {value:.1}%", -0.04, "D 0.0%"),
            ("D {value}", -0.0, "D 0"),
            ("D {value:.2}", -0.5, "D -0.50"),
            ("{{{value}}}", 3.0, "{3}"),
            ("OFF", 1.0, "OFF"),
            ("OUTP {value:ON|OFF}", 1.0, "OUTP ON"),
            ("OUTP {value:ON|OFF}", 0.0, "OUTP OFF"),
            ("V {value:1|0}", 0.0, "V 0"),
        ] {
            let mut out = Vec::new();
            Template::parse(template).unwrap().write(value, &mut out);
            assert_eq!(String::from_utf8(out).unwrap(), expected, "{template}");
        }
    }

    #[test]
    fn nothing_else_reaches_the_wire() {
        use TemplateProblem as P;
        for (template, expected) in [
            ("", P::Empty),
            ("  ", P::Empty),
            ("D 1\r\nON", P::Character('\r')),
            ("D\t1", P::Character('\t')),
            ("D \u{b5}", P::Character('\u{b5}')),
            ("D {valeu}", P::Field("valeu".into())),
            ("D {value:.10}", P::Field("value:.10".into())),
            ("D {value:3}", P::Field("value:3".into())),
            ("D {value:ON|}", P::Field("value:ON|".into())),
            ("D {value:A|B|C}", P::Field("value:A|B|C".into())),
            ("D {value", P::Brace),
            ("D value}", P::Brace),
            ("{value}{value}", P::TwoValues),
        ] {
            assert_eq!(Template::parse(template), Err(expected), "{template}");
        }
        assert_eq!(Template::parse(&"x".repeat(257)), Err(P::TooLong));
    }
}
