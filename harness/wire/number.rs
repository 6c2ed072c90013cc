//! Numbers as instruments write them.
//!
//! In: the bytes of one number. Out: a finite value, one of the values that are none, or why it is no number.
//! IEEE 488.2 calls the decimal forms NR1 (`12`), NR2 (`1.5`) and NR3 (`1.5E+03`), and what a device must accept
//! NRf; `#H`, `#Q`, `#B` start the non-decimal ones. SCPI-1999 writes infinity as 9.9E37 and "not a number" as
//! 9.91E37. Never: a guess. `1.234,5` is refused, not read as 1.234.

use std::fmt;

/// Longest number, bytes.
pub const NUMBER_BYTES_MAX: usize = 64;

/// The mark between whole digits and decimals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DecimalMark {
    /// `12.5`
    #[default]
    Point,
    /// `12,5`, only where the rig declares it.
    Comma,
}

/// A value, or what stands in the place of one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Numeric {
    /// A finite value.
    Finite(f64),
    /// Above what the instrument can show.
    Over,
    /// Below what the instrument can show.
    Under,
    /// The instrument has no value.
    Missing,
}

/// Why bytes are not a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NumberProblem {
    /// There is nothing.
    Empty,
    /// Something else than a number.
    NotANumber,
    /// A comma where a decimal point was expected, or the other way round.
    WrongMark,
    /// Both comma and point: one of them may be a thousands mark.
    ThousandsMark,
    /// Larger than a double can hold.
    TooLarge,
    /// Longer than [`NUMBER_BYTES_MAX`].
    TooLong,
}

impl fmt::Display for NumberProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NumberProblem::Empty => "a number is missing",
            NumberProblem::NotANumber => "not a number",
            NumberProblem::WrongMark => "the other decimal mark than the rig declares",
            NumberProblem::ThousandsMark => "both comma and point; one of them may be a thousands mark",
            NumberProblem::TooLarge => "larger than any instrument can mean",
            NumberProblem::TooLong => "longer than a number can be",
        })
    }
}

/// Powers of ten that a double holds exactly.
const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];
/// Mantissas up to here are exact in a double.
const MANTISSA_EXACT_MAX: u64 = 1 << 53;

/// What a scan over a decimal number found.
struct Scan {
    negative: bool,
    mantissa: u64,
    /// `mantissa` holds every digit.
    exact: bool,
    exponent: i32,
}

/// A decimal number of any form of NRf, with the declared decimal mark.
///
/// # Errors
/// Why it is none.
pub fn decimal(text: &[u8], mark: DecimalMark) -> Result<f64, NumberProblem> {
    let scan = scan(text, mark)?;
    let shift = scan.exponent.unsigned_abs() as usize;
    if scan.exact && scan.mantissa <= MANTISSA_EXACT_MAX && shift < TENS.len() {
        // One correctly rounded operation on two exact operands gives the correctly rounded result.
        let m = scan.mantissa as f64;
        let value = if scan.exponent < 0 { m / TENS[shift] } else { m * TENS[shift] };
        return Ok(if scan.negative { -value } else { value });
    }
    slow(text)
}

/// The same through the standard library, for long mantissas and far exponents.
fn slow(text: &[u8]) -> Result<f64, NumberProblem> {
    let text: String = text.iter().map(|&b| if b == b',' { '.' } else { char::from(b) }).collect();
    let value: f64 = text.parse().map_err(|_| NumberProblem::NotANumber)?;
    if value.is_finite() { Ok(value) } else { Err(NumberProblem::TooLarge) }
}

fn scan(text: &[u8], mark: DecimalMark) -> Result<Scan, NumberProblem> {
    if text.is_empty() {
        return Err(NumberProblem::Empty);
    }
    if text.len() > NUMBER_BYTES_MAX {
        return Err(NumberProblem::TooLong);
    }
    let point = if mark == DecimalMark::Point { b'.' } else { b',' };
    let mut s = Scan { negative: text[0] == b'-', mantissa: 0, exact: true, exponent: 0 };
    let mut i = usize::from(matches!(text[0], b'+' | b'-'));
    let (mut before, mut after, mut marked) = (0, 0, false);
    while i < text.len() {
        match text[i] {
            b @ b'0'..=b'9' => {
                if s.mantissa < 1_000_000_000_000_000_000 {
                    s.mantissa = s.mantissa * 10 + u64::from(b - b'0');
                } else {
                    s.exact = false;
                }
                s.exponent -= i32::from(marked);
                *(if marked { &mut after } else { &mut before }) += 1;
            }
            b if b == point && !marked => marked = true,
            b'.' | b',' => return Err(wrong_mark(text)),
            b'e' | b'E' => break,
            _ => return Err(NumberProblem::NotANumber),
        }
        i += 1;
    }
    if before + after == 0 {
        return Err(NumberProblem::NotANumber);
    }
    let powered = i < text.len();
    if powered {
        s.exponent = s.exponent.saturating_add(exponent(&text[i + 1..])?);
    }
    Ok(s)
}

/// Why a number with a comma or a second point is refused.
fn wrong_mark(text: &[u8]) -> NumberProblem {
    match (text.contains(&b'.'), text.contains(&b',')) {
        (true, true) => NumberProblem::ThousandsMark,
        _ if text.iter().filter(|&&b| matches!(b, b'.' | b',')).count() > 1 => NumberProblem::NotANumber,
        _ => NumberProblem::WrongMark,
    }
}

fn exponent(text: &[u8]) -> Result<i32, NumberProblem> {
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        rest => (false, rest),
    };
    if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
        return Err(NumberProblem::NotANumber);
    }
    let size = digits.iter().fold(0_i32, |e, b| e.saturating_mul(10).saturating_add(i32::from(b - b'0')));
    Ok(if negative { -size } else { size })
}

/// SCPI-1999 positive infinity (volume 1, 7.2.1.4; from memory).
const SCPI_INFINITY: f64 = 9.9e37;
/// SCPI-1999 "not a number" (volume 1, 7.2.1.5; from memory).
const SCPI_NAN: f64 = 9.91e37;

/// One number of a SCPI answer: any decimal form, `#H`, `#Q`, `#B`, `ON`, `OFF`, and the values that are none.
///
/// # Errors
/// Why it is none of these.
pub fn scpi(text: &[u8]) -> Result<Numeric, NumberProblem> {
    if let [b'#', base, digits @ ..] = text {
        return based(*base, digits).map(Numeric::Finite);
    }
    match decimal(text, DecimalMark::Point) {
        Ok(value) => Ok(special(value)),
        Err(NumberProblem::NotANumber) => scpi_word(text).ok_or(NumberProblem::NotANumber),
        Err(problem) => Err(problem),
    }
}

fn special(value: f64) -> Numeric {
    if value.abs() < SCPI_INFINITY {
        Numeric::Finite(value)
    } else if (value.abs() / SCPI_NAN - 1.0).abs() < 1e-6 {
        Numeric::Missing
    } else if value > 0.0 {
        Numeric::Over
    } else {
        Numeric::Under
    }
}

fn scpi_word(text: &[u8]) -> Option<Numeric> {
    const WORDS: &[(&[u8], Numeric)] = &[
        (b"ON", Numeric::Finite(1.0)),
        (b"OFF", Numeric::Finite(0.0)),
        (b"INF", Numeric::Over),
        (b"+INF", Numeric::Over),
        (b"-INF", Numeric::Under),
        (b"NINF", Numeric::Under),
        (b"NAN", Numeric::Missing),
    ];
    WORDS.iter().find(|(word, _)| text.eq_ignore_ascii_case(word)).map(|(_, value)| *value)
}

/// Digits of `#H`, `#Q` or `#B` up to 2^53, where a double is still exact.
fn based(base: u8, digits: &[u8]) -> Result<f64, NumberProblem> {
    let radix = match base.to_ascii_uppercase() {
        b'H' => 16,
        b'Q' => 8,
        b'B' => 2,
        _ => return Err(NumberProblem::NotANumber),
    };
    if digits.is_empty() {
        return Err(NumberProblem::NotANumber);
    }
    let mut value: u64 = 0;
    for &digit in digits {
        let digit = char::from(digit).to_digit(radix).ok_or(NumberProblem::NotANumber)?;
        value = value * u64::from(radix) + u64::from(digit);
        if value > MANTISSA_EXACT_MAX {
            return Err(NumberProblem::TooLarge);
        }
    }
    Ok(value as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commas_only_where_declared_and_thousands_marks_never() {
        use DecimalMark::{Comma, Point};
        for (text, mark, expected) in [
            ("1.234,5", Point, Err(NumberProblem::ThousandsMark)),
            ("1.234,5", Comma, Err(NumberProblem::ThousandsMark)),
            ("1,234.5", Point, Err(NumberProblem::ThousandsMark)),
            ("12,5", Point, Err(NumberProblem::WrongMark)),
            ("12,5", Comma, Ok(12.5)),
            ("-0,25", Comma, Ok(-0.25)),
            ("12.5", Comma, Err(NumberProblem::WrongMark)),
            ("1,234,5", Comma, Err(NumberProblem::NotANumber)),
            ("1.2.3", Point, Err(NumberProblem::NotANumber)),
            ("nan", Point, Err(NumberProblem::NotANumber)),
            ("inf", Point, Err(NumberProblem::NotANumber)),
            ("1e999", Point, Err(NumberProblem::TooLarge)),
            ("1e99999999999", Point, Err(NumberProblem::TooLarge)),
            ("1e-99999999999", Point, Ok(0.0)),
            ("0x7f", Point, Err(NumberProblem::NotANumber)),
            ("1_000", Point, Err(NumberProblem::NotANumber)),
            ("", Point, Err(NumberProblem::Empty)),
            (".", Point, Err(NumberProblem::NotANumber)),
            ("+", Point, Err(NumberProblem::NotANumber)),
        ] {
            assert_eq!(decimal(text.as_bytes(), mark), expected, "{text} {mark:?}");
        }
        assert_eq!(decimal(&[b'1'; 65], Point), Err(NumberProblem::TooLong));
    }
}
