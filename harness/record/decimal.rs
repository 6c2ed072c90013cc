//! Decimal numbers as bytes: written with fixed decimals, read back exactly.
//!
//! In: a finite number and how many decimals; or the bytes of a CSV cell. Out: the bytes; or the nearest `f64`.
//! Never: `NaN`, `inf`, an exponent in what is written, or a last bit that depends on the platform.

/// Powers of ten that an `f64` holds exactly.
const POW10: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];

/// The same as whole numbers.
const POW10_WHOLE: [u64; 8] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000];

/// The largest scaled magnitude that is written: below it every integer is exact and the rounding below holds.
const SCALED_MAX: f64 = 2_251_799_813_685_248.0; // 2^51

/// `value` times 10^`decimals`, rounded to the nearest integer (ties of the product to even); none if it is not
/// finite or too large to be written exactly (2^51).
#[must_use]
#[inline]
pub fn scaled(value: f64, decimals: u8) -> Option<i64> {
    let x = value * POW10[usize::from(decimals)];
    // Adding 1.5 * 2^52 leaves no room for a fraction, so the addition itself rounds.
    const SHIFT: f64 = 6_755_399_441_055_744.0;
    (x.abs() < SCALED_MAX).then_some(((x + SHIFT) - SHIFT) as i64)
}

/// Every pair of digits, so that two are written for one division.
const PAIRS: [u8; 200] = {
    let mut table = [0; 200];
    let mut i = 0;
    while i < 100 {
        table[2 * i] = b'0' + (i / 10) as u8;
        table[2 * i + 1] = b'0' + (i % 10) as u8;
        i += 1;
    }
    table
};

/// Appends `scaled` / 10^`decimals` in plain digits: `-12.300` for (-12300, 3). Zero has no sign.
#[inline]
pub fn push_fixed(out: &mut Vec<u8>, scaled: i64, decimals: u8) {
    if scaled < 0 {
        out.push(b'-');
    }
    let n = scaled.unsigned_abs();
    if decimals == 0 {
        push_digits(out, n, 1);
    } else {
        let ten = POW10[usize::from(decimals)] as u64;
        push_digits(out, n / ten, 1);
        out.push(b'.');
        push_digits(out, n % ten, usize::from(decimals));
    }
}

/// Appends `n`, zero-padded to at least `width` digits.
#[inline]
pub fn push_digits(out: &mut Vec<u8>, mut n: u64, width: usize) {
    let mut text = [b'0'; 20];
    let mut at = text.len();
    while n >= 100 {
        let pair = 2 * (n % 100) as usize;
        at -= 2;
        text[at..at + 2].copy_from_slice(&PAIRS[pair..pair + 2]);
        n /= 100;
    }
    if n >= 10 {
        at -= 2;
        text[at..at + 2].copy_from_slice(&PAIRS[2 * n as usize..2 * n as usize + 2]);
    } else {
        at -= 1;
        text[at] = b'0' + n as u8;
    }
    out.extend_from_slice(&text[at.min(text.len() - width)..]);
}

/// Reads a number at the start of `bytes`: the number and how many bytes it took. None where there is no number.
/// Plain decimals of up to 15 digits take a fast path (an exact integer divided by an exact power of ten is correctly
/// rounded, IEEE 754); everything else goes through the standard library's parser.
#[must_use]
#[inline(always)]
pub fn read_number(bytes: &[u8]) -> Option<(f64, usize)> {
    let sign = usize::from(bytes.first() == Some(&b'-'));
    match read_eight(&bytes[sign..]) {
        Some((magnitude, used)) => Some((if sign > 0 { -magnitude } else { magnitude }, sign + used)),
        None => read_bytewise(bytes),
    }
}

/// Bytes of `word` that are digits, from its first (lowest) byte on, and the word with digits as 0 to 9.
#[inline(always)]
fn leading_digits(word: u64) -> (u32, u64) {
    let digits = word ^ 0x3030_3030_3030_3030;
    // A byte of 10 and more gets its top bit; a carry only reaches bytes behind the first of those.
    let others = (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & 0x8080_8080_8080_8080;
    (others.trailing_zeros() / 8, digits)
}

/// The number that eight digits (first digit in the lowest byte) stand for.
#[inline(always)]
fn eight_digits(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let low = (pairs & 0x0000_00ff_0000_00ff).wrapping_mul(0x000f_4240_0000_0064);
    let high = ((pairs >> 16) & 0x0000_00ff_0000_00ff).wrapping_mul(0x0000_2710_0000_0001);
    low.wrapping_add(high) >> 32
}

/// Numbers of at most seven digits before the point and seven behind it, eight bytes at a time; none for anything
/// else.
#[inline(always)]
fn read_eight(bytes: &[u8]) -> Option<(f64, usize)> {
    let word = u64::from_le_bytes(*bytes.first_chunk::<8>()?);
    let (whole, digits) = leading_digits(word);
    if whole == 0 || whole > 7 {
        return None;
    }
    let at = whole as usize;
    // Shifted up, so that zeros come before the first digit.
    let up = |digits: u64, count: u32| eight_digits(digits.wrapping_shl(64_u32.wrapping_sub(8 * count)));
    if bytes[at] != b'.' {
        let ended = !matches!(bytes[at], b'e' | b'E');
        return ended.then(|| (up(digits, whole) as f64, at));
    }
    let behind = u64::from_le_bytes(*bytes.get(at + 1..)?.first_chunk::<8>()?);
    let (part, behind) = leading_digits(behind);
    if part > 7 || matches!(bytes[at + 1 + part as usize], b'e' | b'E') {
        return None;
    }
    let n = if whole + part <= 8 {
        let before = digits & (u64::MAX >> (8 * (8 - whole)));
        up(before | behind.wrapping_shl(8 * whole), whole + part)
    } else {
        up(digits, whole).wrapping_mul(POW10_WHOLE[part as usize]).wrapping_add(up(behind, part))
    };
    Some((n as f64 / POW10[part as usize], at + 1 + part as usize))
}

/// The same a byte at a time.
#[cold]
fn read_bytewise(bytes: &[u8]) -> Option<(f64, usize)> {
    let negative = bytes.first() == Some(&b'-');
    let start = usize::from(negative);
    let mut at = start;
    let mut n: u64 = 0;
    let mut point = None;
    while let Some(&b) = bytes.get(at) {
        let digit = b.wrapping_sub(b'0');
        if digit < 10 {
            n = n.wrapping_mul(10).wrapping_add(u64::from(digit));
        } else if b == b'.' && point.is_none() {
            point = Some(at);
        } else {
            break;
        }
        at += 1;
    }
    let digits = at - start - usize::from(point.is_some());
    let more = matches!(bytes.get(at), Some(b'e' | b'E'));
    if digits == 0 || digits > 15 || more {
        return read_slowly(bytes);
    }
    let decimals = point.map_or(0, |p| at - p - 1);
    let magnitude = n as f64 / POW10[decimals];
    Some((if negative { -magnitude } else { magnitude }, at))
}

/// The same for numbers with an exponent or more than 15 digits; words such as `inf` are not numbers here.
#[cold]
fn read_slowly(bytes: &[u8]) -> Option<(f64, usize)> {
    let end = bytes
        .iter()
        .position(|b| !matches!(b, b'0'..=b'9' | b'.' | b'-' | b'+' | b'e' | b'E'))
        .unwrap_or(bytes.len());
    if bytes.first() == Some(&b'+') {
        return None;
    }
    let text = std::str::from_utf8(&bytes[..end]).ok()?;
    text.parse().ok().filter(|v: &f64| v.is_finite()).map(|v| (v, end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::*;

    fn fixed(value: f64, decimals: u8) -> Option<String> {
        let mut out = Vec::new();
        push_fixed(&mut out, scaled(value, decimals)?, decimals);
        Some(String::from_utf8(out).unwrap())
    }

    #[test]
    fn fixed_decimals_as_written() {
        for (value, decimals, text) in [
            (0.0, 3, "0.000"),
            (-0.0, 3, "0.000"),
            (-0.0004, 3, "0.000"),
            (-12.3, 1, "-12.3"),
            (0.05, 2, "0.05"),
            (99.995, 1, "100.0"),
            (1.0, 0, "1"),
            (9_999_999_999.0, 0, "9999999999"),
            (123_456.789_012, 6, "123456.789012"),
            (2.5, 0, "2"),
            (3.5, 0, "4"),
        ] {
            assert_eq!(fixed(value, decimals).as_deref(), Some(text));
        }
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e12] {
            assert_eq!(fixed(bad, 4), None, "{bad}");
        }
    }

    /// Against the standard library's formatter and parser, which are correctly rounded.
    #[test]
    fn agrees_with_the_standard_library() {
        let mut rng = Seed(1).stream("decimal");
        let mut read = 0;
        for _ in 0..200_000 {
            let decimals = rng.random_range(0..=8_u8);
            let value = rng.random_range(-1.0..1.0) * 10_f64.powi(rng.random_range(-6..=6));
            let text = format!("{value:.*}", usize::from(decimals));
            let ours = fixed(value, decimals).unwrap();
            let off = (ours.parse::<f64>().unwrap() - value).abs();
            assert!(
                off <= 0.500_001 * 10_f64.powi(-i32::from(decimals)) + value.abs() * 2e-16,
                "{ours} {text}"
            );
            for t in [text, ours, format!("{value}"), format!("{value:e}")] {
                let right = t.parse::<f64>().unwrap();
                // Alone, and with more behind it, as in a line.
                for text in [t.clone(), format!("{t},17.25,-3"), format!("{t}\n0.010000,1,,")] {
                    let (back, used) = read_number(text.as_bytes()).unwrap();
                    assert_eq!((back.to_bits(), used), (right.to_bits(), t.len()), "{text}");
                    read += 1;
                }
            }
        }
        println!("{read} numbers read as the standard library reads them, bit for bit");
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for bad in ["", "-", ".", "-.", "nan", "inf", "-inf", "+1", "x", ",", "1e999", "e5", "--1", "0x7f\0"]
        {
            let got = read_number(bad.as_bytes()).filter(|(_, used)| *used == bad.len());
            assert_eq!(got, None, "{bad}");
        }
        for bad in
            ["nan,1.5,2.5,3.5", "-,1.5,2.5,3.5,4", ".,1.5,2.5,3.5", "x1.5,2.5,3.5", "\u{0661},1.5,2.5,3"]
        {
            assert_eq!(read_number(bad.as_bytes()), None, "{bad}");
        }
        assert_eq!(read_number(b"1.5e3,2.5,3.5,4.5,5.5"), Some((1500.0, 5)));
        assert_eq!(read_number(b"12345678,2.5,3.5,4.5,5.5"), Some((12_345_678.0, 8)));
        assert_eq!(read_number(b"1.5,2"), Some((1.5, 3)));
        assert_eq!(read_number(b"1.5.2"), Some((1.5, 3)));
    }
}
