//! A straight line where both coordinates are uncertain.
//!
//! In: points with the standard uncertainties of x and y and their correlation. Out: slope and intercept with their
//! covariance: York, Evensen, Lopez Martinez and De Basabe Delgado 2004, Am. J. Phys. 72, 367. Never: x taken as exact.

use super::error::{NumericsError, all_finite, at_least};
use super::linear::polynomial;

/// Limit of iterations; a well-posed line needs about ten.
const ITERATIONS_MAX: usize = 200;
/// Change of the slope, relative to it and its uncertainty, at which the iteration has settled.
const SETTLED: f64 = 1e-14;

/// A line with uncertain points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Standard uncertainty of the intercept, uncertainties of the points taken as known.
    pub u_intercept: f64,
    /// Standard uncertainty of the slope.
    pub u_slope: f64,
    /// Correlation of both.
    pub correlation: f64,
    /// Sum of squared weighted residuals.
    pub chi2: f64,
    /// Points less two.
    pub dof: usize,
}

/// A point with its uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// First coordinate.
    pub x: f64,
    /// Second coordinate.
    pub y: f64,
    /// Standard uncertainty of x, zero or more.
    pub u_x: f64,
    /// Standard uncertainty of y, above zero.
    pub u_y: f64,
    /// Correlation of the errors of x and y.
    pub r: f64,
}

/// Weight of the points about a slope, their weighted mean, and their deviations from it with York's beta.
struct About {
    weights: Vec<f64>,
    mean: (f64, f64),
    deviations: Vec<(f64, f64, f64)>,
}

/// Fits the line.
///
/// # Errors
/// `TooFewPoints` below two, `NotFinite`, `OutOfRange` for uncertainties that cannot be, `RankDeficient` where x does
/// not vary, `NotConverged`.
pub fn line(points: &[Point]) -> Result<Line, NumericsError> {
    at_least(points.len(), 2)?;
    for p in points {
        all_finite(&[p.x, p.y, p.u_x, p.u_y, p.r], "a point of the line")?;
        if p.u_x < 0.0 || p.u_y <= 0.0 || p.r.abs() >= 1.0 {
            return Err(NumericsError::OutOfRange {
                what: "uncertainty of a point",
                found: p.u_x.min(p.u_y),
                expected: "u_x not below zero, u_y above zero, correlation within -1 to 1",
            });
        }
    }
    let column = |f: fn(&Point) -> f64| points.iter().map(f).collect::<Vec<f64>>();
    let plain = polynomial(&column(|p| p.x), &column(|p| p.y), Some(&column(|p| p.u_y)), 1, true)?;
    let mut slope = plain.params[1];
    for _ in 0..ITERATIONS_MAX {
        let about = About::slope(points, slope);
        let sum = |f: fn(&(f64, f64, f64)) -> f64| {
            about.weights.iter().zip(&about.deviations).map(|(w, d)| w * f(d)).sum::<f64>()
        };
        let next = sum(|d| d.2 * d.1) / sum(|d| d.2 * d.0);
        all_finite(&[next], "slope of the line")?;
        let u_slope = 1.0 / sum(|d| d.0 * d.0).sqrt();
        let moved = (next - slope).abs();
        slope = next;
        if moved <= SETTLED * (slope.abs() + u_slope) {
            return Ok(finish(points, slope));
        }
    }
    Err(NumericsError::NotConverged { evaluations: ITERATIONS_MAX })
}

/// Intercept, uncertainties and chi-squared at the slope (York et al. 2004, section IV).
fn finish(points: &[Point], slope: f64) -> Line {
    let about = About::slope(points, slope);
    let total: f64 = about.weights.iter().sum();
    let intercept = about.mean.1 - slope * about.mean.0;
    let betas = || about.weights.iter().zip(about.deviations.iter().map(|d| d.2));
    let mean_beta = betas().map(|(w, b)| w * b).sum::<f64>() / total;
    let adjusted_mean = about.mean.0 + mean_beta;
    let spread: f64 = betas().map(|(w, b)| w * (b - mean_beta).powi(2)).sum();
    let u_slope = 1.0 / spread.sqrt();
    let u_intercept = (1.0 / total + adjusted_mean.powi(2) / spread).sqrt();
    let residual = |(p, w): (&Point, &f64)| w * (p.y - slope * p.x - intercept).powi(2);
    Line {
        intercept,
        slope,
        u_intercept,
        u_slope,
        correlation: -adjusted_mean * u_slope / u_intercept,
        chi2: points.iter().zip(&about.weights).map(residual).sum(),
        dof: points.len() - 2,
    }
}

impl About {
    fn slope(points: &[Point], slope: f64) -> Self {
        let weights: Vec<f64> = points.iter().map(|p| 1.0 / variance(p, slope)).collect();
        let total: f64 = weights.iter().sum();
        let mean_of =
            |f: fn(&Point) -> f64| points.iter().zip(&weights).map(|(p, w)| w * f(p)).sum::<f64>() / total;
        let mean = (mean_of(|p| p.x), mean_of(|p| p.y));
        let deviations = points
            .iter()
            .zip(&weights)
            .map(|(p, w)| {
                let (u, v) = (p.x - mean.0, p.y - mean.1);
                let cross = p.r * p.u_x * p.u_y;
                let beta = w * (u * p.u_y * p.u_y + slope * v * p.u_x * p.u_x - (slope * u + v) * cross);
                (u, v, beta)
            })
            .collect();
        Self { weights, mean, deviations }
    }
}

/// Variance of `y - slope x` of a point.
fn variance(p: &Point, slope: f64) -> f64 {
    p.u_y * p.u_y + slope * slope * p.u_x * p.u_x - 2.0 * slope * p.r * p.u_x * p.u_y
}
