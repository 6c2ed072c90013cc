//! The integral and the root of a function.
//!
//! In: a smooth function and an interval. Out: its integral by Gauss-Legendre panels, or where it crosses zero.
//! Never: a root where the function does not change sign.

use super::error::NumericsError;

/// Points of the rule within one panel.
const POINTS: usize = 24;
/// Limit of steps of the root search; halving alone needs about 60 to 1100.
const STEPS_MAX: usize = 1200;

/// Integral of `f` over `[low, high]` in `panels` equal panels of 24 points each: exact for polynomials of degree 47.
pub fn integrate(low: f64, high: f64, panels: usize, f: impl Fn(f64) -> f64) -> f64 {
    let rule = legendre_rule();
    let half = 0.5 * (high - low) / panels as f64;
    (0..panels)
        .map(|panel| {
            let middle = low + half * (2 * panel + 1) as f64;
            rule.iter().map(|(x, w)| w * f(middle + half * x)).sum::<f64>() * half
        })
        .sum()
}

/// Abscissae and weights on [-1, 1]: roots of the Legendre polynomial by Newton's method.
fn legendre_rule() -> [(f64, f64); POINTS] {
    std::array::from_fn(|i| {
        let n = POINTS as f64;
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..6 {
            let (mut before, mut value) = (1.0, x);
            for k in 2..=POINTS {
                let k = k as f64;
                (before, value) = (value, ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k);
            }
            slope = n * (x * value - before) / (x * x - 1.0);
            x -= value / slope;
        }
        (x, 2.0 / ((1.0 - x * x) * slope * slope))
    })
}

/// The point of `[low, high]` where `f` crosses zero, to the last digits (regula falsi with the Illinois rule,
/// and halving where that is slow).
///
/// # Errors
/// `OutOfRange` where `f` has the same sign at both ends, `NotFinite` where it is not a number.
pub fn root(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> Result<f64, NumericsError> {
    let (mut f_low, mut f_high) = (f(low), f(high));
    if !(f_low.is_finite() && f_high.is_finite()) {
        return Err(NumericsError::NotFinite { what: "function at an end of the interval" });
    }
    if f_low == 0.0 || f_high == 0.0 {
        return Ok(if f_low == 0.0 { low } else { high });
    }
    if (f_low > 0.0) == (f_high > 0.0) {
        return Err(NumericsError::OutOfRange {
            what: "function at the end of the interval",
            found: f_high,
            expected: "the sign opposite to the start",
        });
    }
    for step in 0..STEPS_MAX {
        let falsi = (low * f_high - high * f_low) / (f_high - f_low);
        let middle = 0.5 * (low + high);
        let between = middle > low.min(high) && middle < low.max(high);
        if !between || (high - low).abs() <= f64::EPSILON * middle.abs() {
            return Ok(middle);
        }
        let inside = falsi > low.min(high) && falsi < low.max(high);
        let x = if step % 3 == 2 || !inside { middle } else { falsi };
        let value = f(x);
        if !value.is_finite() {
            return Err(NumericsError::NotFinite { what: "function inside the interval" });
        }
        if value == 0.0 {
            return Ok(x);
        }
        if (value > 0.0) == (f_high > 0.0) {
            (high, f_high) = (x, value);
            f_low *= 0.5;
        } else {
            (low, f_low) = (high, f_high);
            (high, f_high) = (x, value);
        }
    }
    Err(NumericsError::NotConverged { evaluations: STEPS_MAX })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed forms.
    #[test]
    fn integrals_and_roots_of_known_functions() {
        let close =
            |got: f64, want: f64| assert!((got - want).abs() <= 1e-14 * want.abs().max(1.0), "{got} {want}");
        close(integrate(0.0, std::f64::consts::PI, 1, f64::sin), 2.0);
        close(integrate(-1.0, 2.0, 3, |x| x.powi(5)), 10.5);
        close(root(0.0, 2.0, |x| x * x - 2.0).unwrap(), 2f64.sqrt());
        close(root(2.0, 0.0, |x| x * x - 2.0).unwrap(), 2f64.sqrt());
        close(root(-1e9, 1.0, |x| x.exp() - 0.5).unwrap(), 0.5f64.ln());
        close(root(0.0, 1.0, |x| x).unwrap(), 0.0);
        close(root(-1.0, 5.0, |x| if x < 3.0 { -1.0 } else { 1.0 }).unwrap(), 3.0);
        assert!(root(1.0, 2.0, |x| x).is_err());
        assert!(root(0.0, 1.0, |_| f64::NAN).is_err());
    }
}
