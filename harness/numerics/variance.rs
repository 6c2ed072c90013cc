//! The reading that stands out.
//!
//! In: readings. Out: the one farthest from the mean, and whether it stands out too far. Never: a reading dropped; that
//! is the caller's to label.

use super::distribution::t_quantile;
use super::error::{NumericsError, all_finite, at_least};
use super::precise;

/// The reading farthest from the mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// Its place.
    pub index: usize,
    /// Its distance from the mean in standard deviations (Grubbs' G).
    pub g: f64,
    /// Largest G to be expected.
    pub critical: f64,
}

impl Extreme {
    /// Whether it stands out too far.
    #[must_use]
    pub fn is_outlier(&self) -> bool {
        self.g > self.critical
    }
}

/// Grubbs' test of the most distant of at least three readings, both sides, false alarm `alpha`.
///
/// # Errors
/// `TooFewPoints`, `NotFinite`, `OutOfRange` where nothing varies.
pub fn grubbs(readings: &[f64], alpha: f64) -> Result<Extreme, NumericsError> {
    at_least(readings.len(), 3)?;
    all_finite(readings, "a reading")?;
    let n = readings.len() as f64;
    let mean = precise::sum(readings.iter().copied()) / n;
    let sd = (precise::sum(readings.iter().map(|v| (v - mean).powi(2))) / (n - 1.0)).sqrt();
    if sd <= 0.0 {
        return Err(NumericsError::OutOfRange {
            what: "scatter of the readings",
            found: sd,
            expected: "above zero",
        });
    }
    let distance = |v: f64| (v - mean).abs() / sd;
    let first = (0, distance(readings[0]));
    let (index, g) = readings
        .iter()
        .map(|v| distance(*v))
        .enumerate()
        .fold(first, |best, here| if here.1 > best.1 { here } else { best });
    Ok(Extreme { index, g, critical: critical(readings.len(), alpha) })
}

/// Largest G of `n` readings with false alarm `alpha`, on both sides (Grubbs 1969, ASTM E178).
fn critical(n: usize, alpha: f64) -> f64 {
    let count = n as f64;
    let t2 = t_quantile(alpha / (2.0 * count), count - 2.0).powi(2);
    (count - 1.0) / count.sqrt() * (t2 / (count - 2.0 + t2)).sqrt()
}
