//! Nonlinear weighted least squares by Levenberg-Marquardt (the MINPACK algorithm of the `rmpfit` crate).
//!
//! In: weighted residuals `(observed - model) / u` as a function of the parameters, a start, bounds. Out: parameters
//! with their covariance, or a typed error. The covariance takes the `u` as known (absolute); [`Fit::scaled`] is for
//! relative weights. Never: an answer that did not converge, a covariance of parameters that the data cannot tell
//! apart.

mod place;
mod search;

use super::error::{NumericsError, all_finite, at_least, same_length};
use nalgebra::{DMatrix, DVector};

/// Share of its start below which a parameter counts as near zero.
const NEAR_ZERO: f64 = 1e-4;

/// Weighted residuals of a model, and their derivatives where they are known.
pub trait Residuals {
    /// Number of residuals.
    fn points(&self) -> usize;
    /// Writes the weighted residuals at `params`; a value that is not finite makes the trial step fail.
    fn residuals(&self, params: &[f64], out: &mut [f64]);
    /// Writes the derivative of every residual by each parameter, one column a parameter, and says true;
    /// says false (and writes nothing) where central differences are wanted.
    fn jacobian(&self, _params: &[f64], _columns: &mut [Vec<f64>]) -> bool {
        false
    }
}

/// Residuals given as a closure; derivatives by central differences.
pub struct FromFn<F> {
    points: usize,
    write: F,
}

/// Residuals from a closure that writes `points` weighted residuals.
pub fn from_fn<F: Fn(&[f64], &mut [f64])>(points: usize, write: F) -> FromFn<F> {
    FromFn { points, write }
}

impl<F: Fn(&[f64], &mut [f64])> Residuals for FromFn<F> {
    fn points(&self) -> usize {
        self.points
    }
    fn residuals(&self, params: &[f64], out: &mut [f64]) {
        (self.write)(params, out);
    }
}

/// What may move and how long to try.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Lowest and highest value of each parameter, infinite where free; empty means all free.
    pub bounds: Vec<(f64, f64)>,
    /// Parameters held at their start; empty means none.
    pub fixed: Vec<bool>,
    /// Limit of residual evaluations.
    pub evaluations_max: usize,
    /// First step, in units of the scaled start; smaller is more careful.
    pub step_factor: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self { bounds: Vec::new(), fixed: Vec::new(), evaluations_max: 200_000, step_factor: 10.0 }
    }
}

impl Options {
    /// No fixed parameters, these bounds.
    #[must_use]
    pub fn bounded(bounds: &[(f64, f64)]) -> Self {
        Self { bounds: bounds.to_vec(), ..Self::default() }
    }

    fn bound(&self, i: usize) -> (f64, f64) {
        self.bounds.get(i).copied().unwrap_or((f64::NEG_INFINITY, f64::INFINITY))
    }

    fn is_fixed(&self, i: usize) -> bool {
        self.fixed.get(i).copied().unwrap_or(false)
    }
}

/// A converged fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// Estimates, in the order of the start.
    pub params: Vec<f64>,
    /// Covariance with the `u` of the residuals taken as known. Rows of fixed and bound parameters are zero.
    pub covariance: DMatrix<f64>,
    /// Sum of squared weighted residuals.
    pub chi2: f64,
    /// Residuals less parameters that moved.
    pub dof: usize,
    /// Weighted residuals at the estimates.
    pub residuals: Vec<f64>,
    /// Evaluations of the residuals during the search.
    pub evaluations: usize,
    /// Parameters that ended on a bound: their uncertainty is not zero, the fit does not know it.
    pub at_bound: Vec<bool>,
}

impl Fit {
    /// Chi-squared per degree of freedom; none without degrees of freedom.
    #[must_use]
    pub fn reduced_chi2(&self) -> Option<f64> {
        (self.dof > 0).then(|| self.chi2 / self.dof as f64)
    }

    /// The covariance times chi-squared per degree of freedom, for weights known only relative to each other;
    /// none without degrees of freedom.
    #[must_use]
    pub fn scaled(&self) -> Option<DMatrix<f64>> {
        self.reduced_chi2().map(|s2| &self.covariance * s2)
    }

    /// Standard uncertainty of parameter `i`, with known `u`.
    #[must_use]
    pub fn sd(&self, i: usize) -> f64 {
        self.covariance[(i, i)].sqrt()
    }

    /// Standard uncertainty of a function of the parameters with this gradient, with known `u`.
    #[must_use]
    pub fn sd_of(&self, gradient: &[f64]) -> f64 {
        propagate(&self.covariance, gradient)
    }
}

/// Standard uncertainty of a function with this gradient under this covariance.
#[must_use]
pub fn propagate(covariance: &DMatrix<f64>, gradient: &[f64]) -> f64 {
    let g = DVector::from_column_slice(gradient);
    g.dot(&(covariance * &g)).max(0.0).sqrt()
}

/// Finds the parameters that make the sum of squared residuals least, from `start`.
///
/// # Errors
/// `TooFewPoints` with fewer residuals than parameters to move, `LengthMismatch`, `OutOfRange` for a start outside
/// its bounds, `NotFinite` where the residuals at the start or at the end are not finite, `NotConverged`,
/// `RankDeficient` where the data cannot tell the parameters apart.
pub fn solve<R: Residuals>(problem: &R, start: &[f64], options: &Options) -> Result<Fit, NumericsError> {
    check(problem, start, options)?;
    let setup = Setup { problem, start, options };
    let (params, evaluations) = search::search(&setup)?;
    place::finish(&setup, params, evaluations)
}

/// What a fit is asked.
struct Setup<'a, R> {
    problem: &'a R,
    start: &'a [f64],
    options: &'a Options,
}

impl<R> Setup<'_, R> {
    /// Size below which parameter `i` counts as near zero: steps of differences do not shrink with it any further.
    fn size_least(&self, i: usize) -> f64 {
        let start = self.start[i].abs();
        NEAR_ZERO * if start > 0.0 { start } else { 1.0 }
    }
}

/// Everything that can be refused before the first step.
fn check<R: Residuals>(problem: &R, start: &[f64], options: &Options) -> Result<(), NumericsError> {
    let moving = (0..start.len()).filter(|&i| !options.is_fixed(i)).count();
    at_least(problem.points(), moving.max(1))?;
    all_finite(start, "start of the fit")?;
    for given in [options.bounds.len(), options.fixed.len()] {
        if given > 0 {
            same_length(start.len(), given)?;
        }
    }
    for (i, &value) in start.iter().enumerate() {
        let (low, high) = options.bound(i);
        if !(low <= value && value <= high && low < high) {
            return Err(NumericsError::OutOfRange {
                what: "start of the fit",
                found: value,
                expected: "within its bounds",
            });
        }
    }
    let mut out = vec![0.0; problem.points()];
    problem.residuals(start, &mut out);
    all_finite(&out, "a residual at the start of the fit")
}
