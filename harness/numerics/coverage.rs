//! Intervals for single values: tolerance factors.
//!
//! In: numbers of readings, proportions, confidence. Out: by how many standard deviations an interval must be wider than
//! the mean to hold a proportion of all values with a confidence. Never: a tolerance interval taken for an interval of
//! the mean.

use super::distribution::{chi2_quantile, chi2_survival, normal_cdf, normal_density, normal_quantile};
use super::error::NumericsError;
use super::quadrature::{integrate, root};

/// Panels of the integrals over a normal or chi distribution.
const PANELS: usize = 16;
/// Standard deviations beyond which a normal density is nothing.
const REACH: f64 = 9.0;

/// Factor k: `mean - k sd` to `mean + k sd` of `n` readings holds this proportion of all values with this confidence
/// (both sides, exact by integration over the mean).
///
/// # Errors
/// `TooFewPoints` below two, `OutOfRange` for a proportion or confidence not between 0 and 1.
pub fn tolerance_two_sided(n: usize, proportion: f64, confidence: f64) -> Result<f64, NumericsError> {
    let count = checked(n, proportion, confidence)?;
    let dof = count - 1.0;
    let reached = |k: f64| {
        let part = |z: f64| {
            let half = half_width(z / count.sqrt(), proportion);
            normal_density(z) * chi2_survival(dof * (half / k).powi(2), dof)
        };
        2.0 * integrate(0.0, REACH, PANELS, part)
    };
    root(1e-3, tolerance_limit(count, proportion, confidence), |k| reached(k) - confidence)
}

/// Half width of an interval that is off the middle by `shift` and holds this proportion of a standard normal.
fn half_width(shift: f64, proportion: f64) -> f64 {
    let z = normal_quantile(0.5 * (1.0 + proportion));
    let held = |half: f64| normal_cdf(half - shift) - normal_cdf(-half - shift) - proportion;
    root(0.0, z + shift.abs() + 1.0, held).unwrap_or(f64::NAN)
}

/// Above every tolerance factor: all of the standard deviation's doubt and the mean's, added.
fn tolerance_limit(count: f64, proportion: f64, confidence: f64) -> f64 {
    let z = normal_quantile(0.5 * (1.0 + proportion)) + REACH / count.sqrt();
    4.0 * z * ((count - 1.0) / chi2_quantile(0.5 * (1.0 - confidence), count - 1.0)).sqrt()
}

fn checked(n: usize, proportion: f64, confidence: f64) -> Result<f64, NumericsError> {
    super::error::at_least(n, 2)?;
    for (what, found) in [("proportion", proportion), ("confidence", confidence)] {
        if !(found > 0.0 && found < 1.0) {
            return Err(NumericsError::OutOfRange { what, found, expected: "between 0 and 1" });
        }
    }
    Ok(n as f64)
}
