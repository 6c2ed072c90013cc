//! Series: numbers taken one after the other, their scatter, their memory, and the slope of one over another.
//!
//! In: readings in order. Out: mean, standard deviation, autocorrelation; the slope of a straight line with standard
//! errors that survive correlated residuals. The ordinary standard error of a slope is far too small where an
//! instrument filters its readings. Never: a formula that loses digits on data far from zero.

use super::distribution::t_survival;
use super::error::{NumericsError, all_finite, at_least, same_length};
use super::linear::polynomial;
use super::{gum, precise};

/// Most points for the median of pairwise slopes, which takes the square of their number.
pub const THEIL_SEN_POINTS_MAX: usize = 4000;

/// Autocorrelation at lag one, about the mean (NIST/SEMATECH e-Handbook 1.3.5.12).
///
/// # Errors
/// `TooFewPoints` below two, `NotFinite`, `OutOfRange` where nothing varies.
pub fn lag1(y: &[f64]) -> Result<f64, NumericsError> {
    Ok(autocorrelations(y, 1)?[0])
}

/// Autocorrelations at lags 1 to `lags` (no more than the readings allow), about the mean.
///
/// # Errors
/// As [`lag1`].
pub fn autocorrelations(y: &[f64], lags: usize) -> Result<Vec<f64>, NumericsError> {
    let mean = gum::type_a(y)?.mean;
    let d: Vec<f64> = y.iter().map(|v| v - mean).collect();
    let total = precise::dot(d.iter().map(|v| (*v, *v)));
    if total <= 0.0 {
        return Err(NumericsError::OutOfRange {
            what: "scatter of the readings",
            found: 0.0,
            expected: "above zero",
        });
    }
    let at = |lag: usize| precise::dot(d.iter().copied().zip(d[lag..].iter().copied())) / total;
    Ok((1..=lags.min(y.len() - 1)).map(at).collect())
}

/// By what factor correlation makes the variance of a mean larger than that of independent readings: one plus twice
/// the autocorrelations, summed in pairs as long as a pair is above zero (Geyer 1992, Statist. Sci. 7, 473), never
/// below one.
///
/// # Errors
/// As [`lag1`].
pub fn variance_inflation(y: &[f64]) -> Result<f64, NumericsError> {
    let r = autocorrelations(y, y.len() / 2)?;
    let mut sum = -1.0;
    for k in (0..=r.len()).step_by(2) {
        let at = |lag: usize| {
            if lag == 0 { 1.0 } else { r.get(lag - 1).copied().unwrap_or(0.0) }
        };
        let pair = at(k) + at(k + 1);
        if pair <= 0.0 {
            break;
        }
        sum += 2.0 * pair;
    }
    Ok(sum.max(1.0))
}

/// How many independent readings these are worth.
///
/// # Errors
/// As [`lag1`].
pub fn effective_size(y: &[f64]) -> Result<f64, NumericsError> {
    Ok(y.len() as f64 / variance_inflation(y)?)
}

/// Middle value; the mean of the two in the middle of an even number.
///
/// # Errors
/// `TooFewPoints` without values, `NotFinite`.
pub fn median(y: &[f64]) -> Result<f64, NumericsError> {
    at_least(y.len(), 1)?;
    all_finite(y, "a value")?;
    let mut sorted = y.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    Ok(if sorted.len() % 2 == 1 { sorted[half] } else { 0.5 * (sorted[half - 1] + sorted[half]) })
}

/// A straight line through a series, by ordinary least squares, with several opinions on its standard error.
#[derive(Clone, Debug, PartialEq)]
pub struct Slope {
    /// Value at `t` = 0.
    pub intercept: f64,
    /// Slope.
    pub slope: f64,
    /// Ordinary standard error of the intercept.
    pub se_intercept: f64,
    /// Ordinary standard error of the slope: right only for independent residuals.
    pub se_independent: f64,
    /// Standard error of the slope, robust against unequal scatter (HC3, MacKinnon and White 1985).
    pub se_hc3: f64,
    /// Residuals, in order.
    pub residuals: Vec<f64>,
    /// Standard deviation of the residuals.
    pub residual_sd: f64,
    /// Degrees of freedom if the residuals were independent.
    pub dof: f64,
    /// Sum of squared steps of the residuals over their sum of squares, 2 without correlation (Durbin and Watson).
    pub durbin_watson: f64,
    t_centred: Vec<f64>,
    t_squares: f64,
}

/// Fits a line to `y` over `t`.
///
/// # Errors
/// `TooFewPoints` below three, `LengthMismatch`, `NotFinite`, `RankDeficient` where `t` does not vary.
pub fn slope(t: &[f64], y: &[f64]) -> Result<Slope, NumericsError> {
    at_least(t.len(), 3)?;
    let line = polynomial(t, y, None, 1, true)?;
    let mean = gum::type_a(t)?.mean;
    let t_centred: Vec<f64> = t.iter().map(|v| v - mean).collect();
    let t_squares = precise::dot(t_centred.iter().map(|v| (*v, *v)));
    let variance = line.reduced_chi2().unwrap_or(f64::NAN);
    let steps: f64 = line.residuals.windows(2).map(|p| (p[1] - p[0]).powi(2)).sum();
    let n = t.len() as f64;
    let hc3: f64 = t_centred
        .iter()
        .zip(&line.residuals)
        .map(|(d, e)| (d * e / (1.0 - 1.0 / n - d * d / t_squares)).powi(2))
        .sum();
    Ok(Slope {
        intercept: line.params[0],
        slope: line.params[1],
        se_intercept: (line.covariance[(0, 0)] * variance).sqrt(),
        se_independent: (variance / t_squares).sqrt(),
        se_hc3: hc3.sqrt() / t_squares,
        residual_sd: variance.sqrt(),
        dof: n - 2.0,
        durbin_watson: steps / line.chi2,
        residuals: line.residuals,
        t_centred,
        t_squares,
    })
}

impl Slope {
    /// Standard error of the slope that allows for residuals correlated over up to `lags` readings (Newey and West
    /// 1987, Econometrica 55, 703; no correction for small samples).
    #[must_use]
    pub fn se_newey_west(&self, lags: usize) -> f64 {
        let scores: Vec<f64> = self.t_centred.iter().zip(&self.residuals).map(|(d, e)| d * e).collect();
        let at = |lag: usize| scores.iter().zip(&scores[lag..]).map(|(a, b)| a * b).sum::<f64>();
        let most = lags.min(scores.len() - 1);
        let weighted = |lag: usize| 2.0 * (1.0 - lag as f64 / (lags + 1) as f64) * at(lag);
        (at(0) + (1..=most).map(weighted).sum::<f64>()).max(0.0).sqrt() / self.t_squares
    }

    /// Standard error of the slope with its degrees of freedom, for residuals with memory: the ordinary one times the
    /// square root of the variance inflation of the residuals, and as many degrees of freedom as independent readings
    /// less two (at least one). Residuals that are all zero give zero.
    #[must_use]
    pub fn correlated(&self) -> gum::Combined {
        let inflation = variance_inflation(&self.residuals).unwrap_or(1.0);
        gum::Combined {
            u: self.se_independent * inflation.sqrt(),
            dof: ((self.dof + 2.0) / inflation - 2.0).max(1.0),
        }
    }
}

/// How curved a series is: the coefficient of `t^2` of a parabola, with the probability of one at least as large if
/// there were none (independent residuals).
///
/// # Errors
/// `TooFewPoints` below four, and as [`slope`].
pub fn curvature(t: &[f64], y: &[f64]) -> Result<(f64, f64, f64), NumericsError> {
    at_least(t.len(), 4)?;
    let parabola = polynomial(t, y, None, 2, true)?;
    let variance = parabola.reduced_chi2().unwrap_or(f64::NAN);
    let (c2, se) = (parabola.params[2], (parabola.covariance[(2, 2)] * variance).sqrt());
    Ok((c2, se, 2.0 * t_survival((c2 / se).abs(), parabola.dof as f64)))
}

/// Median of the slopes between all pairs with different `t` (Theil 1950, Sen 1968): a slope that a few wild readings
/// do not move.
///
/// # Errors
/// `TooFewPoints` without such a pair, `LengthMismatch`, `NotFinite`, `OutOfRange` above
/// [`THEIL_SEN_POINTS_MAX`] points.
pub fn theil_sen(t: &[f64], y: &[f64]) -> Result<f64, NumericsError> {
    same_length(t.len(), y.len())?;
    all_finite(t, "t of a series")?;
    if t.len() > THEIL_SEN_POINTS_MAX {
        return Err(NumericsError::OutOfRange {
            what: "number of points for pairwise slopes",
            found: t.len() as f64,
            expected: "at most 4000; thin the series",
        });
    }
    let pairs = (0..t.len()).flat_map(|i| (i + 1..t.len()).map(move |j| (i, j)));
    let slopes: Vec<f64> = pairs
        .filter(|&(i, j)| (t[j] - t[i]).abs() > 0.0)
        .map(|(i, j)| (y[j] - y[i]) / (t[j] - t[i]))
        .collect();
    at_least(if slopes.is_empty() { t.len().min(1) } else { 2 }, 2)?;
    median(&slopes)
}
