//! Exact decimals: the points of a sweep, without accumulated binary error.
//!
//! In: numbers as written. Out: whole numbers over a power of ten. Never: a point reached by adding floats.

use super::parse::parse_number;
use std::fmt;

/// Most digits behind the point.
const SCALE_MAX: i32 = 12;
/// Largest magnitude of the digits: 15 significant digits.
const DIGITS_MAX: i64 = 999_999_999_999_999;

/// A decimal number: `digits` over ten to the `scale`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    digits: i64,
    scale: u32,
}

/// Why points cannot be listed from a start, an end and a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AxisError {
    /// The step is zero or negative, so the end is never reached.
    NeverEnds,
    /// More points than allowed: that many.
    TooMany(i64),
    /// A number has more than 15 significant digits or 12 decimals.
    TooFine,
}

impl fmt::Display for AxisError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AxisError::NeverEnds => {
                f.write_str("the step must be more than zero, or the end is never reached")
            }
            AxisError::TooMany(n) => write!(f, "that makes {n} points"),
            AxisError::TooFine => f.write_str("at most 15 significant digits and 12 decimals are exact"),
        }
    }
}

impl std::error::Error for AxisError {}

impl Decimal {
    /// Reads a decimal number as written; none where it is not one, or not exact in 15 digits.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        parse_number(text).ok()?;
        let (mantissa, exponent) = match text.split_once(['e', 'E']) {
            Some((m, e)) => (m, e.parse::<i32>().ok()?),
            None => (text, 0),
        };
        let decimals = mantissa.split_once('.').map_or(0, |(_, part)| part.len());
        let mut digits: i64 = mantissa.replace('.', "").parse().ok()?;
        let mut scale = i32::try_from(decimals).ok()?.checked_sub(exponent)?;
        while scale > 0 && digits % 10 == 0 {
            digits /= 10;
            scale -= 1;
        }
        while scale < 0 {
            digits = digits.checked_mul(10)?;
            scale += 1;
        }
        let fits = digits.abs() <= DIGITS_MAX && scale <= SCALE_MAX;
        fits.then(|| Decimal { digits, scale: scale.unsigned_abs() })
    }

    /// The nearest binary number: one rounding, since digits and power of ten are exact.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        self.digits as f64 / 10_i64.pow(self.scale) as f64
    }

    /// The digits at a common scale.
    fn digits_at(self, scale: u32) -> Option<i64> {
        let digits = self.digits.checked_mul(10_i64.checked_pow(scale - self.scale)?)?;
        (digits.abs() <= DIGITS_MAX).then_some(digits)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let scale = self.scale as usize;
        let text = format!("{:0>width$}", self.digits.unsigned_abs(), width = scale + 1);
        let (whole, part) = text.split_at(text.len() - scale);
        let sign = if self.digits < 0 { "-" } else { "" };
        let dot = if scale > 0 { "." } else { "" };
        write!(f, "{sign}{whole}{dot}{part}")
    }
}

/// The points from `from` towards `to`, `step` apart, ending at `to` where it is hit exactly and before it otherwise.
///
/// # Errors
/// The step is not positive, or more than `most` points would come of it.
pub fn axis(from: Decimal, to: Decimal, step: Decimal, most: usize) -> Result<Vec<Decimal>, AxisError> {
    let scale = from.scale.max(to.scale).max(step.scale);
    let at = |d: Decimal| d.digits_at(scale).ok_or(AxisError::TooFine);
    let (first, last, step) = (at(from)?, at(to)?, at(step)?);
    if step <= 0 {
        return Err(AxisError::NeverEnds);
    }
    let count = (last - first).abs() / step + 1;
    if usize::try_from(count).map_or(true, |n| n > most) {
        return Err(AxisError::TooMany(count));
    }
    let signed = if last < first { -step } else { step };
    Ok((0..count).map(|i| Decimal { digits: first + i * signed, scale }).collect())
}
