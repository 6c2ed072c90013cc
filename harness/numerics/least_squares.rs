//! Nonlinear weighted least squares by Levenberg-Marquardt (the MINPACK algorithm of the `rmpfit` crate).
//!
//! In: weighted residuals `(observed - model) / u` as a function of the parameters, a start, bounds. Out: parameters
//! with their covariance, or a typed error. The covariance takes the `u` as known (absolute); [`Fit::scaled`] is for
//! relative weights. Never: an answer that did not converge, a covariance of parameters that the data cannot tell
//! apart.

use super::error::{NumericsError, all_finite, at_least, same_length};
use nalgebra::{DMatrix, DVector};
use rmpfit::{MPConfig, MPError, MPFitter, MPMaxFev, MPPar, MPResult, MPSide, MPSuccess};

/// Step of the central differences, relative to the parameter: near the cube root of the machine precision.
const RELATIVE_STEP: f64 = 6e-6;
/// Convergence is asked to the last digit; the algorithm stops by itself when it can do no more.
const TOLERANCE: f64 = 1e-15;
/// Ratio of singular values below which parameters cannot be told apart: noise of central differences.
const RANK_TOLERANCE_DIFFERENCES: f64 = 1e-10;
/// The same where the derivatives are exact.
const RANK_TOLERANCE_EXACT: f64 = 1e-13;

/// At a minimum, another step would lower chi-squared by less than this share of it.
const STATIONARY_GAIN: f64 = 1e-6;
/// Or it would move no parameter by more than this share of it (chi-squared is rounding noise in a perfect fit).
const STATIONARY_STEP: f64 = 1e-8;
/// Limit of last steps after the search.
const LAST_STEPS_MAX: usize = 12;
/// A last step below this share of every parameter is the end.
const LAST_STEP: f64 = 1e-13;
/// Rounding of chi-squared, relative.
const CHI2_NOISE: f64 = 1e-12;

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
        Self {
            bounds: Vec::new(),
            fixed: Vec::new(),
            evaluations_max: 200_000,
            step_factor: 10.0,
        }
    }
}

impl Options {
    /// No fixed parameters, these bounds.
    #[must_use]
    pub fn bounded(bounds: &[(f64, f64)]) -> Self {
        Self {
            bounds: bounds.to_vec(),
            ..Self::default()
        }
    }

    fn bound(&self, i: usize) -> (f64, f64) {
        self.bounds
            .get(i)
            .copied()
            .unwrap_or((f64::NEG_INFINITY, f64::INFINITY))
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
    /// Evaluations of the residuals.
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
    let mut params = start.to_vec();
    let moving = (0..start.len()).filter(|&i| !options.is_fixed(i)).count();
    let mut evaluations = 0;
    if moving > 0 {
        let mut search = Search::new(problem, start, options);
        let status = search.mpfit(&mut params).map_err(|e| refused(&e))?;
        evaluations = search.evaluations;
        if status.success == MPSuccess::MaxIter || status.success == MPSuccess::NotDone {
            return Err(NumericsError::NotConverged { evaluations });
        }
    }
    finish(problem, params, options, evaluations)
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

fn refused(error: &MPError) -> NumericsError {
    match error {
        MPError::Nan | MPError::Eval => NumericsError::NotFinite {
            what: "a residual or derivative of the fit",
        },
        MPError::DoF | MPError::Empty => NumericsError::TooFewPoints { found: 0, needed: 1 },
        MPError::Input | MPError::NoFree | MPError::InitBounds | MPError::Bounds => {
            NumericsError::NotFinite {
                what: "start or bound of the fit",
            }
        }
    }
}

/// What is known at one place: residuals, their derivatives by the parameters that are free, and one more step.
struct Place {
    params: Vec<f64>,
    residuals: Vec<f64>,
    chi2: f64,
    bound: Vec<bool>,
    free: Vec<usize>,
    inner: DMatrix<f64>,
    /// Gauss-Newton step of the free parameters.
    step: DVector<f64>,
    /// By how much the step would lower chi-squared if the model were linear.
    gain: f64,
}

impl Place {
    fn new<R: Residuals>(problem: &R, params: Vec<f64>, options: &Options) -> Result<Self, NumericsError> {
        let points = problem.points();
        let mut residuals = vec![0.0; points];
        problem.residuals(&params, &mut residuals);
        all_finite(&residuals, "a residual at the end of the fit")?;
        let on_bound = |i: usize| params[i] <= options.bound(i).0 || params[i] >= options.bound(i).1;
        let bound: Vec<bool> = (0..params.len())
            .map(|i| !options.is_fixed(i) && on_bound(i))
            .collect();
        let free: Vec<usize> = (0..params.len())
            .filter(|&i| !options.is_fixed(i) && !bound[i])
            .collect();
        let mut columns = vec![vec![0.0; points]; params.len()];
        let exact = derivatives(problem, &params, options, &mut columns);
        let jacobian = DMatrix::from_fn(points, free.len(), |row, j| columns[free[j]][row]);
        let tolerance = if exact {
            RANK_TOLERANCE_EXACT
        } else {
            RANK_TOLERANCE_DIFFERENCES
        };
        let inner = inverse_of_normal(&jacobian, tolerance)?;
        let gradient = jacobian.tr_mul(&DVector::from_column_slice(&residuals));
        let step = -(&inner * &gradient);
        let gain = -gradient.dot(&step);
        let chi2 = residuals.iter().map(|r| r * r).sum();
        Ok(Self {
            params,
            residuals,
            chi2,
            bound,
            free,
            inner,
            step,
            gain,
        })
    }

    /// One step on, if it stays inside the bounds.
    fn next(&self, options: &Options) -> Option<Vec<f64>> {
        let mut params = self.params.clone();
        for (&i, step) in self.free.iter().zip(self.step.iter()) {
            params[i] += step;
            let (low, high) = options.bound(i);
            if !(params[i] > low && params[i] < high) {
                return None;
            }
        }
        Some(params)
    }

    /// Whether the step would move no parameter by more than this share of it.
    fn moves_less_than(&self, share: f64) -> bool {
        self.free
            .iter()
            .zip(self.step.iter())
            .all(|(&i, s)| s.abs() <= share * self.params[i].abs())
    }

    fn is_minimum(&self) -> bool {
        self.gain <= STATIONARY_GAIN * self.chi2 || self.moves_less_than(STATIONARY_STEP)
    }
}

/// Walks on by Gauss-Newton steps while they shrink (the search stops where chi-squared has settled, some digits
/// before the parameters have), then demands a minimum and takes the covariance there.
fn finish<R: Residuals>(
    problem: &R,
    params: Vec<f64>,
    options: &Options,
    evaluations: usize,
) -> Result<Fit, NumericsError> {
    let count = params.len();
    let mut here = Place::new(problem, params, options)?;
    for _ in 0..LAST_STEPS_MAX {
        if here.moves_less_than(LAST_STEP) {
            break;
        }
        let Some(params) = here.next(options) else { break };
        match Place::new(problem, params, options) {
            Ok(next) if next.gain < here.gain && next.chi2 <= here.chi2 * (1.0 + CHI2_NOISE) => here = next,
            _ => break,
        }
    }
    if !here.is_minimum() {
        return Err(NumericsError::NotConverged { evaluations });
    }
    let mut covariance = DMatrix::zeros(count, count);
    for (a, &i) in here.free.iter().enumerate() {
        for (b, &j) in here.free.iter().enumerate() {
            covariance[(i, j)] = here.inner[(a, b)];
        }
    }
    let moving = (0..count).filter(|&i| !options.is_fixed(i)).count();
    Ok(Fit {
        params: here.params,
        covariance,
        chi2: here.chi2,
        dof: problem.points() - moving,
        residuals: here.residuals,
        evaluations,
        at_bound: here.bound,
    })
}

/// `(J' J)^-1` through the singular values of J with its columns scaled to length one.
fn inverse_of_normal(jacobian: &DMatrix<f64>, tolerance: f64) -> Result<DMatrix<f64>, NumericsError> {
    let columns = jacobian.ncols();
    if columns == 0 {
        return Ok(DMatrix::zeros(0, 0));
    }
    all_finite(jacobian.as_slice(), "a derivative of the fit")?;
    let lengths: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    let empty = lengths.iter().filter(|l| **l <= 0.0).count();
    if empty > 0 {
        return Err(NumericsError::RankDeficient {
            rank: columns - empty,
            columns,
        });
    }
    let scaled = DMatrix::from_fn(jacobian.nrows(), columns, |i, j| jacobian[(i, j)] / lengths[j]);
    let svd = scaled.qr().r().svd(false, true);
    let largest = svd.singular_values.max();
    let rank = svd
        .singular_values
        .iter()
        .filter(|s| **s > tolerance * largest)
        .count();
    let Some(v_t) = svd.v_t.filter(|_| rank == columns) else {
        return Err(NumericsError::RankDeficient { rank, columns });
    };
    let half = DMatrix::from_fn(columns, columns, |k, j| {
        v_t[(k, j)] / (svd.singular_values[k] * lengths[j])
    });
    Ok(half.transpose() * half)
}

/// Fills `columns` with derivatives; true where they are the model's own.
fn derivatives<R: Residuals>(
    problem: &R,
    params: &[f64],
    options: &Options,
    columns: &mut [Vec<f64>],
) -> bool {
    if problem.jacobian(params, columns) {
        return true;
    }
    let mut at = params.to_vec();
    let mut other = vec![0.0; problem.points()];
    for (i, column) in columns.iter_mut().enumerate() {
        if options.is_fixed(i) {
            continue;
        }
        let (below, above) = ends(params[i], options.bound(i));
        at[i] = above;
        problem.residuals(&at, column);
        at[i] = below;
        problem.residuals(&at, &mut other);
        at[i] = params[i];
        for (c, o) in column.iter_mut().zip(&other) {
            *c = (*c - o) / (above - below);
        }
    }
    false
}

/// Where the differences are taken: central, moved inside a bound that is closer than the step.
fn ends(value: f64, (low, high): (f64, f64)) -> (f64, f64) {
    let step = if value == 0.0 {
        RELATIVE_STEP * 1e-3
    } else {
        RELATIVE_STEP * value.abs()
    };
    ((value - step).max(low), (value + step).min(high))
}

/// The search as the crate wants it: derivatives always from here, evaluations counted here.
struct Search<'a, R> {
    problem: &'a R,
    options: &'a Options,
    config: MPConfig,
    pars: Vec<MPPar>,
    columns: Vec<Vec<f64>>,
    evaluations: usize,
}

impl<'a, R: Residuals> Search<'a, R> {
    fn new(problem: &'a R, start: &[f64], options: &'a Options) -> Self {
        let config = MPConfig {
            ftol: TOLERANCE,
            xtol: TOLERANCE,
            gtol: TOLERANCE,
            covtol: 0.0,
            step_factor: options.step_factor,
            max_iter: options.evaluations_max,
            max_fev: MPMaxFev::Limited(options.evaluations_max),
            ..MPConfig::default()
        };
        let pars = (0..start.len()).map(|i| par(options, i)).collect();
        let columns = vec![vec![0.0; problem.points()]; start.len()];
        Self {
            problem,
            options,
            config,
            pars,
            columns,
            evaluations: 0,
        }
    }
}

fn par(options: &Options, i: usize) -> MPPar {
    let (low, high) = options.bound(i);
    MPPar {
        fixed: options.is_fixed(i),
        limited_low: low.is_finite(),
        limit_low: low,
        limited_up: high.is_finite(),
        limit_up: high,
        side: MPSide::User,
        ..MPPar::default()
    }
}

impl<R: Residuals> MPFitter for Search<'_, R> {
    fn eval(&mut self, params: &[f64], deviates: &mut [f64]) -> MPResult<()> {
        self.evaluations += 1;
        self.problem.residuals(params, deviates);
        Ok(())
    }

    fn number_of_points(&self) -> usize {
        self.problem.points()
    }

    fn config(&self) -> &MPConfig {
        &self.config
    }

    fn parameters(&self) -> &[MPPar] {
        &self.pars
    }

    fn jacobian(
        &mut self,
        params: &[f64],
        deviates: &mut [f64],
        derivs: &mut [Option<Vec<f64>>],
    ) -> MPResult<()> {
        self.problem.residuals(params, deviates);
        let exact = derivatives(self.problem, params, self.options, &mut self.columns);
        self.evaluations += if exact { 2 } else { 1 + 2 * params.len() };
        for (wanted, column) in derivs.iter_mut().zip(&self.columns) {
            if let Some(wanted) = wanted {
                wanted.copy_from_slice(column);
            }
        }
        Ok(())
    }
}
