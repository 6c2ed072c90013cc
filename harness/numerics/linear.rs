//! Linear weighted least squares: models linear in their parameters.
//!
//! In: a design matrix (or the points of a polynomial), observations, standard uncertainties. Out: parameters with their covariance. Columns are centred and scaled, factored by QR with
//! column pivoting, and refined once with residuals in twice the precision. Never: digits where the columns cannot
//! be told apart; that is [`NumericsError::RankDeficient`].

use super::error::{NumericsError, all_finite, all_positive, at_least, same_length};
use super::precise;
use nalgebra::{DMatrix, DVector};

/// Ratio of pivots below which columns of length one count as dependent.
const RANK_TOLERANCE: f64 = 1e-13;
/// Rounds of refinement; the first does the work, the second confirms it.
const REFINEMENTS: usize = 2;

/// A linear fit.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearFit {
    /// Estimates, in the order of the columns (of the powers, from the lowest).
    pub params: Vec<f64>,
    /// Covariance with the uncertainties taken as known (1 where none were given).
    pub covariance: DMatrix<f64>,
    /// Sum of squared weighted residuals.
    pub chi2: f64,
    /// Points less parameters.
    pub dof: usize,
    /// Weighted residuals.
    pub residuals: Vec<f64>,
}

impl LinearFit {
    /// Chi-squared per degree of freedom; none without degrees of freedom.
    #[must_use]
    pub fn reduced_chi2(&self) -> Option<f64> {
        (self.dof > 0).then(|| self.chi2 / self.dof as f64)
    }

    /// Value of the model for this row of the design matrix.
    #[must_use]
    pub fn predict(&self, row: &[f64]) -> f64 {
        precise::dot(row.iter().copied().zip(self.params.iter().copied()))
    }
}

/// Fits `design * params = y`. A column of equal values is taken as the intercept, and the others are centred.
///
/// # Errors
/// `TooFewPoints` with fewer rows than columns, `LengthMismatch`, `NotFinite`, `OutOfRange` for an uncertainty that
/// is not above zero, `RankDeficient`.
pub fn weighted(design: &DMatrix<f64>, y: &[f64], u: Option<&[f64]>) -> Result<LinearFit, NumericsError> {
    let weights = inverse_uncertainties(y.len(), u)?;
    check(design, y)?;
    let (rows, columns) = design.shape();
    let intercept = (0..columns).find(|&j| is_constant(design, j));
    let shift: Vec<f64> = (0..columns)
        .map(|j| match intercept {
            Some(one) if one != j => weighted_mean(design.column(j).iter(), &weights) / design[(0, one)],
            _ => 0.0,
        })
        .collect();
    let centred = DMatrix::from_fn(rows, columns, |i, j| match intercept {
        Some(one) => (design[(i, j)] - shift[j] * design[(i, one)]) * weights[i],
        None => design[(i, j)] * weights[i],
    });
    let target: Vec<f64> = y.iter().zip(&weights).map(|(y, w)| y * w).collect();
    let inner = solve(&centred, &target)?;
    // With centred columns c_j = x_j - shift_j * one, the parameter of `one` takes up -sum(shift_j * b_j).
    let back = DMatrix::from_fn(columns, columns, |i, j| {
        if i == j {
            1.0
        } else if Some(i) == intercept {
            -shift[j]
        } else {
            0.0
        }
    });
    Ok(inner.into_fit(&back))
}

/// Fits a polynomial of this degree, with or without the constant term. The parameters are the coefficients of the
/// powers of `x` itself, from the lowest; inside, `x` is centred (with a constant term) and scaled.
///
/// # Errors
/// As [`weighted`].
pub fn polynomial(
    x: &[f64],
    y: &[f64],
    u: Option<&[f64]>,
    degree: usize,
    intercept: bool,
) -> Result<LinearFit, NumericsError> {
    same_length(x.len(), y.len())?;
    all_finite(x, "x of the polynomial")?;
    let lowest = usize::from(!intercept);
    at_least(x.len(), degree + 1 - lowest)?;
    let weights = inverse_uncertainties(y.len(), u)?;
    let (low, high) = x.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let centre = if intercept { 0.5 * (low + high) } else { 0.0 };
    let half = (high - centre).abs().max((low - centre).abs());
    let scale = if half > 0.0 { half } else { 1.0 };
    let powers = degree + 1 - lowest;
    let design = DMatrix::from_fn(x.len(), powers, |i, j| {
        ((x[i] - centre) / scale).powi(exponent(j + lowest)) * weights[i]
    });
    check(&design, y)?;
    let target: Vec<f64> = y.iter().zip(&weights).map(|(y, w)| y * w).collect();
    let inner = solve(&design, &target)?;
    let back = DMatrix::from_fn(powers, powers, |k, j| expansion(k + lowest, j + lowest, centre, scale));
    Ok(inner.into_fit(&back))
}

/// A least squares problem solved as it stands.
#[derive(Clone, Debug)]
pub struct Solution {
    /// Parameters.
    pub params: DVector<f64>,
    /// Root of their covariance for rows of unit variance: that is `root * root'`.
    pub root: DMatrix<f64>,
    /// Residuals of the rows.
    pub residuals: Vec<f64>,
    /// Logarithm of the determinant of the normal matrix.
    pub log_det: f64,
}

impl Solution {
    /// The fit in the caller's parameters: `back` times the inner ones.
    fn into_fit(self, back: &DMatrix<f64>) -> LinearFit {
        let columns = self.params.len();
        let params = (0..columns)
            .map(|k| precise::dot((0..columns).map(|j| (back[(k, j)], self.params[j]))))
            .collect();
        let chi2 = precise::dot(self.residuals.iter().map(|r| (*r, *r)));
        LinearFit {
            params,
            covariance: {
                let root = back * &self.root;
                &root * root.transpose()
            },
            chi2,
            dof: self.residuals.len() - columns,
            residuals: self.residuals,
        }
    }
}

/// Solves the least squares problem by pivoted QR of columns of length one, refined with precise residuals.
///
/// # Errors
/// `RankDeficient`.
pub fn solve(design: &DMatrix<f64>, y: &[f64]) -> Result<Solution, NumericsError> {
    let (rows, columns) = design.shape();
    let lengths: Vec<f64> = design.column_iter().map(|c| c.norm()).collect();
    let empty = lengths.iter().filter(|l| **l <= 0.0).count();
    if empty > 0 {
        return Err(NumericsError::RankDeficient { rank: columns - empty, columns });
    }
    let scaled = DMatrix::from_fn(rows, columns, |i, j| design[(i, j)] / lengths[j]);
    let factors = scaled.clone().col_piv_qr();
    let (q, r) = (factors.q(), factors.r());
    let largest = r[(0, 0)].abs();
    let rank = (0..columns).filter(|&k| r[(k, k)].abs() > RANK_TOLERANCE * largest).count();
    let deficient = NumericsError::RankDeficient { rank, columns };
    if rank < columns {
        return Err(deficient);
    }
    // Parameters and residuals together, against the equations `r + A x = y`, `A' r = 0`, each taken with precise sums
    // (Bjorck 1967, BIT 7, 257, from memory): large residuals then cost no digits of the parameters.
    let (mut params, mut residuals) = (DVector::<f64>::zeros(columns), DVector::<f64>::zeros(rows));
    for _ in 0..=REFINEMENTS {
        let left = DVector::from_fn(rows, |i, _| {
            let terms = (0..columns).map(|j| (-scaled[(i, j)], params[j]));
            precise::dot(terms.chain([(y[i], 1.0), (-1.0, residuals[i])]))
        });
        let mut slant = DVector::from_fn(columns, |j, _| {
            -precise::dot((0..rows).map(|i| (scaled[(i, j)], residuals[i])))
        });
        factors.p().permute_rows(&mut slant);
        let along = r.tr_solve_upper_triangular(&slant).ok_or_else(|| deficient.clone())?;
        let projected = q.tr_mul(&left) - along;
        let mut step = r.solve_upper_triangular(&projected).ok_or_else(|| deficient.clone())?;
        factors.p().inv_permute_rows(&mut step);
        params += step;
        residuals += left - &q * projected;
    }
    let mut inverse =
        r.solve_upper_triangular(&DMatrix::identity(columns, columns)).ok_or_else(|| deficient.clone())?;
    factors.p().inv_permute_rows(&mut inverse);
    let root = DMatrix::from_fn(columns, columns, |i, j| inverse[(i, j)] / lengths[i]);
    let params = DVector::from_fn(columns, |j, _| params[j] / lengths[j]);
    let log_det = 2.0 * (0..columns).map(|k| (r[(k, k)].abs() * lengths[k]).ln()).sum::<f64>();
    Ok(Solution { params, root, residuals: residuals.iter().copied().collect(), log_det })
}

fn check(design: &DMatrix<f64>, y: &[f64]) -> Result<(), NumericsError> {
    same_length(design.nrows(), y.len())?;
    at_least(design.nrows(), design.ncols().max(1))?;
    at_least(design.ncols(), 1)?;
    all_finite(design.as_slice(), "an element of the design matrix")?;
    all_finite(y, "an observation")
}

fn inverse_uncertainties(points: usize, u: Option<&[f64]>) -> Result<Vec<f64>, NumericsError> {
    let Some(u) = u else {
        return Ok(vec![1.0; points]);
    };
    same_length(points, u.len())?;
    all_positive(u, "uncertainty of an observation")?;
    Ok(u.iter().map(|u| 1.0 / u).collect())
}

fn is_constant(design: &DMatrix<f64>, column: usize) -> bool {
    let first = design[(0, column)];
    first != 0.0 && design.column(column).iter().all(|v| v.to_bits() == first.to_bits())
}

/// Mean with weights `1/u^2`, from the inverse uncertainties.
fn weighted_mean<'a>(values: impl Iterator<Item = &'a f64> + Clone, inverse_u: &[f64]) -> f64 {
    let total = precise::sum(inverse_u.iter().map(|w| w * w));
    precise::dot(values.zip(inverse_u).map(|(v, w)| (*v, w * w))) / total
}

/// Coefficient of `x^k` in `((x - centre) / scale)^j`.
fn expansion(k: usize, j: usize, centre: f64, scale: f64) -> f64 {
    if k > j {
        return 0.0;
    }
    let binomial = (0..k).fold(1.0, |c, i| c * (j - i) as f64 / (i + 1) as f64);
    binomial * (-centre / scale).powi(exponent(j - k)) / scale.powi(exponent(k))
}

fn exponent(power: usize) -> i32 {
    i32::try_from(power).unwrap_or(i32::MAX)
}
