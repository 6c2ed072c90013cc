//! What is known at the end of a search: derivatives, one more step, whether it is a minimum, the covariance.
//!
//! In: a problem and parameters. Out: the fit there. Never: a covariance away from a minimum.

use super::{Fit, NumericsError, Options, Residuals, Setup, all_finite};
use nalgebra::{DMatrix, DVector};

/// Step of the central differences, relative to the parameter: near the cube root of the machine precision.
const RELATIVE_STEP: f64 = 6e-6;
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
/// Residuals below this share of the model's values are rounding: the fit is exact, whatever the last step says.
const EXACT: f64 = 1e-11;

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
    /// Largest change of a residual if every parameter went to zero, as far as the derivatives know.
    size: f64,
}

impl Place {
    fn new<R: Residuals>(setup: &Setup<'_, R>, params: Vec<f64>) -> Result<Self, NumericsError> {
        let Setup { problem, options, .. } = *setup;
        let points = problem.points();
        let mut residuals = vec![0.0; points];
        problem.residuals(&params, &mut residuals);
        all_finite(&residuals, "a residual at the end of the fit")?;
        let on_bound = |i: usize| params[i] <= options.bound(i).0 || params[i] >= options.bound(i).1;
        let bound: Vec<bool> = (0..params.len()).map(|i| !options.is_fixed(i) && on_bound(i)).collect();
        let free: Vec<usize> = (0..params.len()).filter(|&i| !options.is_fixed(i) && !bound[i]).collect();
        let mut columns = vec![vec![0.0; points]; params.len()];
        let exact = derivatives(setup, &params, &mut columns);
        let jacobian = DMatrix::from_fn(points, free.len(), |row, j| columns[free[j]][row]);
        let tolerance = if exact { RANK_TOLERANCE_EXACT } else { RANK_TOLERANCE_DIFFERENCES };
        let inner = inverse_of_normal(&jacobian, tolerance)?;
        let gradient = jacobian.tr_mul(&DVector::from_column_slice(&residuals));
        let step = -(&inner * &gradient);
        let gain = -gradient.dot(&step);
        let chi2 = residuals.iter().map(|r| r * r).sum();
        let size_of = |row: usize| free.iter().map(|&i| (columns[i][row] * params[i]).abs()).sum::<f64>();
        let size = (0..points).map(size_of).fold(0.0, f64::max);
        Ok(Self { params, residuals, chi2, bound, free, inner, step, gain, size })
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
        self.free.iter().zip(self.step.iter()).all(|(&i, s)| s.abs() <= share * self.params[i].abs())
    }

    fn is_minimum(&self) -> bool {
        let exact = self.chi2 <= self.residuals.len() as f64 * (EXACT * self.size).powi(2);
        exact || self.gain <= STATIONARY_GAIN * self.chi2 || self.moves_less_than(STATIONARY_STEP)
    }
}

/// Walks on by Gauss-Newton steps while they shrink (the search stops where chi-squared has settled, some digits
/// before the parameters have), then demands a minimum and takes the covariance there.
pub(super) fn finish<R: Residuals>(
    setup: &Setup<'_, R>,
    params: Vec<f64>,
    evaluations: usize,
) -> Result<Fit, NumericsError> {
    let Setup { problem, options, .. } = *setup;
    let count = params.len();
    let mut here = Place::new(setup, params)?;
    for _ in 0..LAST_STEPS_MAX {
        if here.moves_less_than(LAST_STEP) {
            break;
        }
        let Some(params) = here.next(options) else { break };
        match Place::new(setup, params) {
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
        return Err(NumericsError::RankDeficient { rank: columns - empty, columns });
    }
    let scaled = DMatrix::from_fn(jacobian.nrows(), columns, |i, j| jacobian[(i, j)] / lengths[j]);
    let svd = scaled.qr().r().svd(false, true);
    let largest = svd.singular_values.max();
    let rank = svd.singular_values.iter().filter(|s| **s > tolerance * largest).count();
    let Some(v_t) = svd.v_t.filter(|_| rank == columns) else {
        return Err(NumericsError::RankDeficient { rank, columns });
    };
    let half = DMatrix::from_fn(columns, columns, |k, j| v_t[(k, j)] / (svd.singular_values[k] * lengths[j]));
    Ok(half.transpose() * half)
}

/// Fills `columns` with derivatives; true where they are the model's own.
pub(super) fn derivatives<R: Residuals>(
    setup: &Setup<'_, R>,
    params: &[f64],
    columns: &mut [Vec<f64>],
) -> bool {
    let Setup { problem, options, .. } = *setup;
    if problem.jacobian(params, columns) {
        return true;
    }
    let mut at = params.to_vec();
    let mut other = vec![0.0; problem.points()];
    for (i, column) in columns.iter_mut().enumerate() {
        if options.is_fixed(i) {
            continue;
        }
        // Central, moved inside a bound that is closer than the step.
        let step = RELATIVE_STEP * params[i].abs().max(setup.size_least(i));
        let (low, high) = options.bound(i);
        let (below, above) = ((params[i] - step).max(low), (params[i] + step).min(high));
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
