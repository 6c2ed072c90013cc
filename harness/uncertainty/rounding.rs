//! The digits that are worth showing: U to two significant digits, the value to the same place (JCGM 100:2008, 7.2.6).

/// Significant digits of an uncertainty that are kept.
const DIGITS: usize = 2;

/// The place of the last digit to show beside an uncertainty: `-1` shows tenths. None where it is not positive and
/// finite.
#[must_use]
pub fn place(u95: f64) -> Option<i32> {
    if !(u95.is_finite() && u95 > 0.0) {
        return None;
    }
    // Rounding may carry into one digit more (0.0996 to 0.10): ask the formatter what it makes of the digits.
    let text = format!("{u95:.*e}", DIGITS - 1);
    let exponent: i32 = text.rsplit('e').next()?.parse().ok()?;
    Some(exponent + 1 - DIGITS as i32)
}

/// A number at a place, as a number.
#[must_use]
pub fn rounded(value: f64, place: i32) -> f64 {
    if place > 0 {
        let unit = 10f64.powi(place);
        return (value / unit).round() * unit;
    }
    let decimals = usize::try_from(-place).unwrap_or(0);
    // The formatter rounds decimals exactly; a factor of ten would round twice.
    format!("{value:.decimals$}").parse().unwrap_or(value)
}

/// An uncertainty as text that is never below it.
#[must_use]
pub fn raised(u95: f64) -> String {
    let Some(place) = place(u95) else { return format!("{u95}") };
    let unit = 10f64.powi(place);
    let decimals = usize::try_from(-place).unwrap_or(0);
    format!("{:.decimals$}", (u95 / unit - 1e-9).ceil() * unit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_place_is_that_of_the_second_digit_of_u() {
        for (u95, at) in [(6.21, -1), (0.0996, -2), (0.0994, -3), (62.1, 0), (124.0, 1), (9.96, 0)] {
            assert_eq!(place(u95), Some(at), "{u95}");
        }
        assert_eq!([0.0, -1.0, f64::NAN, f64::INFINITY].map(place), [None; 4]);
        // JCGM 100:2008, 7.2.6: 10.057 62 ohm with 27 milliohm is 10.058 ohm.
        assert!((rounded(10.057_62, -3) - 10.058).abs() < 1e-12);
        assert!((rounded(4123.4, 1) - 4120.0).abs() < 1e-9);
    }
}
