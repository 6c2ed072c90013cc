//! Two sets of readings: whether they differ, and whether they are equivalent within a tolerance.
//!
//! In: readings, or differences of readings taken in pairs. Out: difference, its standard uncertainty with degrees of
//! freedom, t and probabilities. Never: equal variances assumed unless asked for.

use super::distribution::{coverage, t_survival};
use super::error::NumericsError;
use super::gum::{Term, combine, pooled, type_a};

/// A difference with what is known about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// Mean of the first less mean of the second.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

/// Probabilities that a difference is as seen though it lies at or beyond either end of a tolerance (two one-sided
/// tests, Schuirmann 1987).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Equivalence {
    /// t and probability against the lower end.
    pub lower: (f64, f64),
    /// t and probability against the upper end.
    pub upper: (f64, f64),
}

impl Equivalence {
    /// The larger of both probabilities: below 0.05 the difference lies within the tolerance.
    #[must_use]
    pub fn p(&self) -> f64 {
        self.lower.1.max(self.upper.1)
    }
}

impl Difference {
    /// Difference over its standard uncertainty.
    #[must_use]
    pub fn t(&self) -> f64 {
        self.value / self.u
    }

    /// Probability of a difference at least as large, on either side, if there were none.
    #[must_use]
    pub fn p(&self) -> f64 {
        2.0 * t_survival(self.t().abs(), self.dof)
    }

    /// Interval that covers the true difference with this probability.
    #[must_use]
    pub fn interval(&self, probability: f64) -> (f64, f64) {
        let half = coverage(probability, self.dof) * self.u;
        (self.value - half, self.value + half)
    }

    /// Tests against both ends of a tolerance.
    #[must_use]
    pub fn equivalence(&self, low: f64, high: f64) -> Equivalence {
        let (lower, upper) = ((self.value - low) / self.u, (self.value - high) / self.u);
        Equivalence {
            lower: (lower, t_survival(lower, self.dof)),
            upper: (upper, t_survival(-upper, self.dof)),
        }
    }
}

/// Difference of two sets with scatter of their own (Welch 1947).
///
/// # Errors
/// `TooFewPoints` below two readings, `NotFinite`.
pub fn welch(first: &[f64], second: &[f64]) -> Result<Difference, NumericsError> {
    let (a, b) = (type_a(first)?, type_a(second)?);
    let (ua, ub) = (a.of_mean(), b.of_mean());
    let both = combine(&[Term::new(ua.u, ua.dof), Term::new(ub.u, ub.dof)]);
    Ok(Difference { value: a.mean - b.mean, u: both.u, dof: both.dof })
}

/// Difference of two sets that share one scatter.
///
/// # Errors
/// As [`welch`].
pub fn equal_scatter(first: &[f64], second: &[f64]) -> Result<Difference, NumericsError> {
    let (a, b) = (type_a(first)?, type_a(second)?);
    let all = pooled(&[first, second])?;
    let u = all.u * (1.0 / a.n as f64 + 1.0 / b.n as f64).sqrt();
    Ok(Difference { value: a.mean - b.mean, u, dof: all.dof })
}

/// Mean of the differences of readings taken in pairs.
///
/// # Errors
/// As [`welch`], and `LengthMismatch`.
pub fn paired(first: &[f64], second: &[f64]) -> Result<Difference, NumericsError> {
    super::error::same_length(first.len(), second.len())?;
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    let d = type_a(&differences)?;
    let u = d.of_mean();
    Ok(Difference { value: d.mean, u: u.u, dof: u.dof })
}
