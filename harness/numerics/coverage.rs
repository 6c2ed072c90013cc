//! Intervals for single values and for shares: tolerance factors, and intervals of a proportion.
//!
//! In: numbers of readings, proportions, confidence. Out: by how many standard deviations an interval must be wider
//! than the mean to hold a proportion of all values with a confidence; limits of a share seen as k of n. Never: a
//! tolerance interval taken for an interval of the mean.

use super::distribution::{
    beta_quantile, chi2_quantile, chi2_survival, normal_cdf, normal_density, normal_quantile,
};
use super::error::NumericsError;
use super::quadrature::{integrate, root};
use statrs::function::gamma::ln_gamma;

/// Panels of the integrals over a normal or chi distribution.
const PANELS: usize = 16;
/// Standard deviations beyond which a normal density is nothing.
const REACH: f64 = 9.0;

/// Probability that noncentral t with these degrees of freedom and shift is at most `x`, by integration over the
/// standard deviation.
#[must_use]
pub fn noncentral_t_cdf(x: f64, dof: f64, shift: f64) -> f64 {
    // s, the standard deviation in units of sigma: density of sqrt(chi2 / dof).
    let log_scale = 0.5 * dof * (0.5 * dof).ln() - ln_gamma(0.5 * dof) + 2f64.ln();
    let density = |s: f64| (log_scale + (dof - 1.0) * s.ln() - 0.5 * dof * s * s).exp();
    let spread = REACH / (2.0 * dof).sqrt();
    integrate((1.0 - spread).max(0.0), 1.0 + spread.max(REACH / dof), PANELS, |s| {
        density(s) * normal_cdf(x * s - shift)
    })
}

/// Factor k: `mean + k sd` of `n` readings lies above this proportion of all values with this confidence (one side,
/// exact by noncentral t).
///
/// # Errors
/// `TooFewPoints` below two, `OutOfRange` for a proportion or confidence not between 0 and 1.
pub fn tolerance_one_sided(n: usize, proportion: f64, confidence: f64) -> Result<f64, NumericsError> {
    let count = checked(n, proportion, confidence)?;
    let shift = normal_quantile(proportion) * count.sqrt();
    let high = tolerance_limit(count, proportion, confidence) * count.sqrt();
    let t = root(shift.min(0.0) - high, high, |t| noncentral_t_cdf(t, count - 1.0, shift) - confidence)?;
    Ok(t / count.sqrt())
}

/// Factor k: `mean - k sd` to `mean + k sd` of `n` readings holds this proportion of all values with this confidence
/// (both sides, exact by integration over the mean).
///
/// # Errors
/// As [`tolerance_one_sided`].
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

/// The two-sided factor as Howe 1969 approximates it (J. Am. Stat. Assoc. 64, 610).
///
/// # Errors
/// As [`tolerance_one_sided`].
pub fn tolerance_howe(n: usize, proportion: f64, confidence: f64) -> Result<f64, NumericsError> {
    let count = checked(n, proportion, confidence)?;
    let z = normal_quantile(0.5 * (1.0 + proportion));
    let chi2 = chi2_quantile(1.0 - confidence, count - 1.0);
    Ok(z * ((count - 1.0) * (1.0 + 1.0 / count) / chi2).sqrt())
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

/// Interval of a proportion seen as `successes` of `n`, false alarm `alpha` on both sides together: exact (Clopper and
/// Pearson 1934), never too narrow.
#[must_use]
pub fn proportion_exact(successes: usize, n: usize, alpha: f64) -> (f64, f64) {
    let (all, k, n) = (successes >= n, successes as f64, n as f64);
    let low = if successes == 0 { 0.0 } else { beta_quantile(0.5 * alpha, k, n - k + 1.0) };
    let high = if all { 1.0 } else { beta_quantile(1.0 - 0.5 * alpha, k + 1.0, n - k) };
    (low, high)
}

/// The same as Wilson 1927 has it: narrower, right on average.
#[must_use]
pub fn proportion_wilson(successes: usize, n: usize, alpha: f64) -> (f64, f64) {
    let (k, n) = (successes as f64, n as f64);
    let z2 = normal_quantile(0.5 * alpha).powi(2);
    let middle = (k + 0.5 * z2) / (n + z2);
    let half = (z2 * (k * (n - k) / n + 0.25 * z2)).sqrt() / (n + z2);
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// Highest proportion that is still believable when none was seen in `n`, one side.
#[must_use]
pub fn proportion_if_none(n: usize, alpha: f64) -> f64 {
    1.0 - alpha.powf(1.0 / n as f64)
}
