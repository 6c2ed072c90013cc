//! Cumulative distribution functions and quantiles: normal, Student's t, F, chi-squared.
//!
//! In: a point or a probability, and degrees of freedom (t takes any positive number and infinity). Out: about 14
//! digits: the `statrs` crate's values, its quantiles polished by Newton steps on its cdf. Outside the domain the
//! answer is not a number. Never: truncated degrees of freedom.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, FisherSnedecor, Normal, StudentsT};
use statrs::function::gamma;

/// From these degrees of freedom on, t comes from its expansion about the normal distribution.
const EXPANSION_DOF: f64 = 1e5;

/// Probability that a standard normal variable is at most `x`, through the incomplete gamma function (the crate's
/// own error function has ten digits only).
#[must_use]
pub fn normal_cdf(x: f64) -> f64 {
    if x == 0.0 || x.is_nan() {
        return if x.is_nan() { f64::NAN } else { 0.5 };
    }
    let tail = if x.is_infinite() { 0.0 } else { 0.5 * gamma::gamma_ur(0.5, 0.5 * x * x) };
    if x < 0.0 { tail } else { 1.0 - tail }
}

/// Density of the standard normal distribution.
#[must_use]
pub fn normal_density(x: f64) -> f64 {
    Normal::standard().pdf(x)
}

/// Point that a standard normal variable does not exceed with this probability.
#[must_use]
pub fn normal_quantile(probability: f64) -> f64 {
    if (0.0..=1.0).contains(&probability) { Normal::standard().inverse_cdf(probability) } else { f64::NAN }
}

/// Probability that Student's t with these degrees of freedom is at most `x`.
#[must_use]
pub fn t_cdf(x: f64, dof: f64) -> f64 {
    if dof >= EXPANSION_DOF {
        return normal_cdf(normal_from_t(x, dof));
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| d.cdf(x))
}

/// Probability that Student's t exceeds `x`.
#[must_use]
pub fn t_survival(x: f64, dof: f64) -> f64 {
    t_cdf(-x, dof)
}

/// Point that Student's t does not exceed with this probability.
#[must_use]
pub fn t_quantile(probability: f64, dof: f64) -> f64 {
    if dof >= EXPANSION_DOF {
        return t_from_normal(normal_quantile(probability), dof);
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| quantile(&d, probability))
}

/// Coverage factor k of a two-sided interval: `coverage(0.95, inf)` is 1.96. Without degrees of freedom nothing is
/// known: infinite.
#[must_use]
pub fn coverage(probability: f64, dof: f64) -> f64 {
    if dof <= 0.0 {
        return f64::INFINITY;
    }
    // The upper tail is exact where 1 - (1 - p)/2 would round.
    -t_quantile(0.5 * (1.0 - probability), dof)
}

/// Probability that F exceeds `x`.
#[must_use]
pub fn f_survival(x: f64, dof_numerator: f64, dof_denominator: f64) -> f64 {
    FisherSnedecor::new(dof_numerator, dof_denominator).map_or(f64::NAN, |d| d.sf(x))
}

/// Probability that chi-squared exceeds `x`: the p-value of a fit.
#[must_use]
pub fn chi2_survival(x: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(f64::NAN, |d| d.sf(x))
}

/// Point that chi-squared does not exceed with this probability.
#[must_use]
pub fn chi2_quantile(probability: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(f64::NAN, |d| quantile(&d, probability))
}

/// The crate's quantile, then Newton steps in the tail that holds `p` with more digits.
fn quantile<D: ContinuousCDF<f64, f64> + Continuous<f64, f64>>(distribution: &D, p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let mut x = distribution.inverse_cdf(p);
    for _ in 0..3 {
        let excess = if p <= 0.5 { distribution.cdf(x) - p } else { (1.0 - p) - distribution.sf(x) };
        let step = excess / distribution.pdf(x);
        if !step.is_finite() || step.abs() > 1e-3 * x.abs().max(1e-3) {
            break;
        }
        x -= step;
    }
    x
}

/// t from the normal quantile for many degrees of freedom (Abramowitz and Stegun 26.7.5; the next term is below
/// 1e-14 from 1e5 on).
fn t_from_normal(z: f64, dof: f64) -> f64 {
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    z + first / dof + second / (dof * dof)
}

/// The normal deviate with the same tail as `x` (inverse of [`t_from_normal`], to the same order).
fn normal_from_t(x: f64, dof: f64) -> f64 {
    let first = -(x.powi(3) + x) / 4.0;
    let second = (13.0 * x.powi(5) + 8.0 * x.powi(3) + 3.0 * x) / 96.0;
    x + first / dof + second / (dof * dof)
}
