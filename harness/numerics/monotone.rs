//! Monotone interpolation: a cubic through points that never overshoots them (PCHIP).
//!
//! In: points with rising `x`. Out: value. Slopes are
//! those of Fritsch and Butland 1984 (SIAM J. Sci. Stat. Comput. 5, 300) with three-point ends, as in SLATEC and scipy.
//! Never: a value outside the points.

use super::error::{NumericsError, all_finite, at_least, same_length};

/// A piecewise cubic that is monotone wherever its points are.
#[derive(Clone, Debug, PartialEq)]
pub struct Pchip {
    x: Vec<f64>,
    y: Vec<f64>,
    slopes: Vec<f64>,
}

impl Pchip {
    /// Interpolant through at least two points.
    ///
    /// # Errors
    /// `TooFewPoints`, `LengthMismatch`, `NotFinite`, `OutOfRange` where `x` does not rise strictly.
    pub fn new(x: &[f64], y: &[f64]) -> Result<Self, NumericsError> {
        same_length(x.len(), y.len())?;
        at_least(x.len(), 2)?;
        all_finite(x, "x of an interpolation")?;
        all_finite(y, "y of an interpolation")?;
        if let Some(pair) = x.windows(2).find(|p| p[1] <= p[0]) {
            return Err(NumericsError::OutOfRange {
                what: "x of an interpolation",
                found: pair[1],
                expected: "above the one before",
            });
        }
        Ok(Self { x: x.to_vec(), y: y.to_vec(), slopes: slopes(x, y) })
    }

    /// Lowest and highest `x`.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }

    /// Value at `x`; none outside the points.
    #[must_use]
    pub fn value(&self, x: f64) -> Option<f64> {
        let (i, t) = self.place(x)?;
        Some(self.value_in(i, t))
    }

    /// Segment that holds `x`, and the place within it, 0 to 1.
    fn place(&self, x: f64) -> Option<(usize, f64)> {
        let (low, high) = self.range();
        if !(x >= low && x <= high) {
            return None;
        }
        let i = self.x.partition_point(|v| *v <= x).clamp(1, self.x.len() - 1) - 1;
        Some((i, (x - self.x[i]) / (self.x[i + 1] - self.x[i])))
    }

    fn value_in(&self, i: usize, t: f64) -> f64 {
        let h = self.x[i + 1] - self.x[i];
        let (s, u) = (t * t * (3.0 - 2.0 * t), 1.0 - t);
        let bend = t * u * (u * self.slopes[i] - t * self.slopes[i + 1]);
        self.y[i] + s * (self.y[i + 1] - self.y[i]) + h * bend
    }
}

fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let h: Vec<f64> = x.windows(2).map(|p| p[1] - p[0]).collect();
    let m: Vec<f64> = (0..h.len()).map(|i| (y[i + 1] - y[i]) / h[i]).collect();
    let last = m.len() - 1;
    if last == 0 {
        return vec![m[0]; 2];
    }
    let mut out = vec![end(h[0], h[1], m[0], m[1])];
    out.extend((1..=last).map(|i| inner(h[i - 1], h[i], m[i - 1], m[i])));
    out.push(end(h[last], h[last - 1], m[last], m[last - 1]));
    out
}

/// Weighted harmonic mean of the slopes to both sides; zero at a turn.
fn inner(h0: f64, h1: f64, m0: f64, m1: f64) -> f64 {
    if m0 * m1 <= 0.0 {
        return 0.0;
    }
    let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
    (w0 + w1) / (w0 / m0 + w1 / m1)
}

/// Slope at an end from three points, kept from overshooting.
fn end(h0: f64, h1: f64, m0: f64, m1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * m0 - h0 * m1) / (h0 + h1);
    if slope * m0 <= 0.0 {
        0.0
    } else if m0 * m1 <= 0.0 && slope.abs() > 3.0 * m0.abs() {
        3.0 * m0
    } else {
        slope
    }
}
