//! Text to a value in the internal unit.
//!
//! In: what a person wrote, and the dimension wanted. Out: a finite number in the internal unit, or what is wrong
//! with it. Never: NaN, infinity, a guessed unit, a thousands mark, base 8 or 16, or a time of day.

use super::unit::{find_unit, units_of};
use super::{Dimension, Unit};
use crate::problem::nearest;
use std::fmt;

/// Longest text that is looked at.
const LONGEST: usize = 64;
/// Largest magnitude: whole numbers beyond are not exact (2^53).
const LARGEST: f64 = 9_007_199_254_740_992.0;

/// Why a text is not a quantity of the dimension wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum QuantityError {
    /// Nothing there.
    Empty,
    /// Does not begin with a decimal number; with what to do about it where that is clear.
    NotANumber(Option<&'static str>),
    /// Beyond 2^53, or so small that it would become 0.
    OutOfReach,
    /// A number without a unit.
    NoUnit,
    /// A unit of no dimension; with a near miss where there is one.
    UnknownUnit(String, Option<&'static str>),
    /// A unit of another dimension.
    OtherDimension(&'static str, Dimension),
    /// Absolute pressure where gauge pressure is wanted.
    AbsoluteGiven,
    /// Gauge pressure where absolute pressure is wanted.
    GaugeGiven,
    /// Neither `on` nor `off`.
    NotASwitch,
}

impl QuantityError {
    /// What is wrong with `text`, for the first line of a message.
    #[must_use]
    pub fn what(&self, text: &str) -> String {
        let text = shortened(text);
        match self {
            QuantityError::Empty => "a value is missing".to_owned(),
            QuantityError::NotANumber(_) => format!("\"{text}\" is not a number with a unit"),
            QuantityError::OutOfReach => format!("\"{text}\" is beyond what a number may be here"),
            QuantityError::NoUnit => format!("\"{text}\" has no unit"),
            QuantityError::UnknownUnit(unit, _) => {
                format!("\"{}\" is not a unit we know", shortened(unit))
            }
            QuantityError::OtherDimension(unit, is) => {
                format!("\"{text}\" is {}, since {unit} is its unit", is.noun())
            }
            QuantityError::AbsoluteGiven => format!("\"{text}\" is an absolute pressure"),
            QuantityError::GaugeGiven => format!("\"{text}\" is a gauge pressure"),
            QuantityError::NotASwitch => format!("\"{text}\" is neither on nor off"),
        }
    }

    /// What to do about it, where that is clear.
    #[must_use]
    pub fn help(&self) -> Option<String> {
        match self {
            QuantityError::NotANumber(hint) => hint.map(str::to_owned),
            QuantityError::UnknownUnit(_, near) => near.map(|n| format!("did you mean \"{n}\"?")),
            QuantityError::AbsoluteGiven => {
                Some("subtract the ambient pressure and leave \"abs\" out".to_owned())
            }
            QuantityError::GaugeGiven => {
                Some("add the ambient pressure and write \"abs\" behind the unit".to_owned())
            }
            _ => None,
        }
    }

    /// What was expected for a dimension: `a gauge pressure such as "8.4 psi"`.
    #[must_use]
    pub fn expected(dimension: Dimension) -> String {
        match dimension {
            Dimension::Switch => "on or off".to_owned(),
            _ => format!("{} such as \"{}\"", dimension.noun(), dimension.example()),
        }
    }
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what("the value"))?;
        self.help().map_or(Ok(()), |help| write!(f, "; {help}"))
    }
}

impl std::error::Error for QuantityError {}

/// Reads a value: `8.4 psi`, `14.7 psi abs`, `10 gal/h`, `30 %`; `on` and `off` (1 and 0) for a switch. The value
/// is in the internal unit of `dimension`.
///
/// # Errors
/// Why `text` is not such a value.
pub fn parse(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    if dimension == Dimension::Switch {
        return match text.trim() {
            "on" => Ok(1.0),
            "off" => Ok(0.0),
            "" => Err(QuantityError::Empty),
            _ => Err(QuantityError::NotASwitch),
        };
    }
    if dimension == Dimension::Number {
        return plain(text);
    }
    let (number, unit) = split(text, dimension)?;
    reachable(unit.to_internal(parse_number(number)?))
}

/// Reads a number that has no unit.
fn plain(text: &str) -> Result<f64, QuantityError> {
    let text = text.trim();
    let (number, rest) = text.split_at(number_length(text));
    match rest.trim() {
        _ if number.is_empty() => parse_number(text),
        "" => parse_number(number),
        unit => Err(match wrong_unit(unit, Dimension::Number) {
            QuantityError::UnknownUnit(..) => {
                QuantityError::NotANumber(Some("leave out what follows the number"))
            }
            other => other,
        }),
    }
}

/// Reads a difference or a half-width: as [`parse`], but a temperature has no zero and pressures are neither gauge
/// nor absolute.
///
/// # Errors
/// Why `text` is not such a difference.
pub fn parse_difference(text: &str, dimension: Dimension) -> Result<f64, QuantityError> {
    let dimension = match dimension {
        Dimension::AbsolutePressure => Dimension::GaugePressure,
        other => other,
    };
    let (number, unit) = split(text, dimension)?;
    reachable(unit.difference_to_internal(parse_number(number)?))
}

/// Splits a value into the text of its number and its unit, both checked.
///
/// # Errors
/// As [`parse`].
pub fn split(text: &str, dimension: Dimension) -> Result<(&str, &'static Unit), QuantityError> {
    let text = text.trim();
    let length = number_length(text);
    let (number, rest) = text.split_at(length);
    let parted = length > 0 && (rest.starts_with(char::is_whitespace) || clean_break(rest));
    parse_number(if parted { number } else { text })?;
    let word = rest.trim();
    if word.is_empty() {
        return Err(QuantityError::NoUnit);
    }
    if matches!(dimension, Dimension::GaugePressure | Dimension::AbsolutePressure) {
        return Ok((number, pressure_unit(word, dimension)?));
    }
    find_unit(word, dimension).map(|unit| (number, unit)).ok_or_else(|| wrong_unit(word, dimension))
}

/// Reads a plain decimal number: digits with an optional point, sign and exponent.
///
/// # Errors
/// [`QuantityError::NotANumber`] and [`QuantityError::OutOfReach`].
pub fn parse_number(text: &str) -> Result<f64, QuantityError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(QuantityError::Empty);
    }
    if text.len() > LONGEST || number_length(text) != text.len() {
        return Err(QuantityError::NotANumber(hint(text)));
    }
    let digits = text.trim_start_matches(['+', '-']);
    if digits.len() > 1 && digits.starts_with('0') && digits.as_bytes()[1].is_ascii_digit() {
        return Err(QuantityError::NotANumber(Some("leave out the leading zero")));
    }
    let value: f64 = text.parse().map_err(|_| QuantityError::NotANumber(None))?;
    let written_zero =
        digits.split(['e', 'E']).next().is_some_and(|m| m.bytes().all(|b| b == b'0' || b == b'.'));
    if value == 0.0 && !written_zero {
        return Err(QuantityError::OutOfReach);
    }
    reachable(value)
}

/// Bytes of the decimal number at the start of a text; 0 where there is none.
fn number_length(text: &str) -> usize {
    let b = text.as_bytes();
    let digits = |from: usize| b[from..].iter().take_while(|c| c.is_ascii_digit()).count();
    let mut at = usize::from(matches!(b.first(), Some(b'+' | b'-')));
    let whole = digits(at);
    at += whole;
    let mut part = 0;
    if b.get(at) == Some(&b'.') {
        part = digits(at + 1);
        at += if whole + part > 0 { 1 + part } else { 0 };
    }
    if whole + part == 0 {
        return 0;
    }
    if matches!(b.get(at), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(b.get(at + 1), Some(b'+' | b'-')));
        let exponent = digits(at + 1 + sign);
        if exponent > 0 {
            at += 1 + sign + exponent;
        }
    }
    at
}

/// Whether a unit may begin right behind a number: `5psi`, `30%`; not `1:30`, `1_000`, `0x7f`, `1,5`.
fn clean_break(rest: &str) -> bool {
    rest.chars().next().is_none_or(|c| c.is_alphabetic() && c != 'x' && c != 'X' || c == '%' || c == '°')
}

/// What to do about a text that is not a number.
fn hint(text: &str) -> Option<&'static str> {
    let has = |c: char| text.contains(c);
    let digit = text.bytes().any(|b| b.is_ascii_digit());
    if digit && has(',') {
        Some("write a decimal point, and no marks between thousands")
    } else if digit && has('_') {
        Some("leave out the underscores")
    } else if digit && has(':') {
        Some("write a time with one unit: \"90 s\"")
    } else if digit && (has('x') || has('X')) {
        Some("write it in decimal digits")
    } else if has('\u{2212}') {
        Some("write the minus sign as \"-\"")
    } else {
        None
    }
}

fn reachable(value: f64) -> Result<f64, QuantityError> {
    if value.is_finite() && value.abs() <= LARGEST { Ok(value) } else { Err(QuantityError::OutOfReach) }
}

/// A pressure unit, with its words for gauge and absolute: `psi`, `psig`, `psi gauge`, `psia`, `psi abs`.
fn pressure_unit(word: &str, wanted: Dimension) -> Result<&'static Unit, QuantityError> {
    let lower = word.to_ascii_lowercase();
    let stem = |ends: &[&str]| {
        ends.iter()
            .filter(|end| lower.ends_with(**end))
            .map(|end| word[..word.len() - end.len()].trim_end())
            .find_map(|stem| find_unit(stem, Dimension::GaugePressure))
    };
    let glued = |letter: char| {
        let stem = lower.strip_suffix(letter)?;
        let short = matches!(stem, "psi" | "bar");
        short.then(|| find_unit(stem, Dimension::GaugePressure)).flatten()
    };
    let absolute = stem(&[" abs", " absolute"]).or_else(|| glued('a'));
    let gauge =
        find_unit(word, Dimension::GaugePressure).or_else(|| stem(&[" gauge", " g"])).or_else(|| glued('g'));
    match (wanted, gauge, absolute) {
        (Dimension::GaugePressure, Some(unit), _) | (Dimension::AbsolutePressure, _, Some(unit)) => Ok(unit),
        (Dimension::GaugePressure, _, Some(_)) => Err(QuantityError::AbsoluteGiven),
        (_, Some(_), _) => Err(QuantityError::GaugeGiven),
        _ => Err(wrong_unit(word, Dimension::GaugePressure)),
    }
}

/// Why a unit word does not fit: it belongs to another dimension, or to none.
fn wrong_unit(word: &str, wanted: Dimension) -> QuantityError {
    let other = Dimension::ALL.iter().filter(|d| **d != wanted).find_map(|d| find_unit(word, *d));
    if let Some(unit) = other {
        return QuantityError::OtherDimension(unit.symbol, unit.dimension);
    }
    let names = units_of(wanted).flat_map(|u| std::iter::once(u.symbol).chain(u.also.iter().copied()));
    let names: Vec<&'static str> = names.collect();
    let near = names
        .iter()
        .find(|n| n.eq_ignore_ascii_case(word))
        .copied()
        .or_else(|| nearest(word, names.iter().copied()));
    QuantityError::UnknownUnit(word.to_owned(), near)
}

/// A text short enough for one line of a message.
fn shortened(text: &str) -> String {
    let text = text.trim();
    match text.char_indices().nth(LONGEST) {
        Some((at, _)) => format!("{}...", &text[..at]),
        None => text.to_owned(),
    }
}
