//! A value with its terms.

use super::convolution;
use super::{Cause, Origin, Shape, Term};

/// A value with everything it is uncertain by, and what that comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct Uncertain {
    /// Best value.
    pub value: f64,
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom; infinite where every term is known or zero.
    pub dof: f64,
    /// Expanded uncertainty at 95 %.
    pub u95: f64,
    /// Terms, in a fixed order.
    pub terms: Vec<Term>,
}

impl Uncertain {
    /// From a value and independent terms.
    #[must_use]
    pub fn new(value: f64, terms: Vec<Term>) -> Self {
        let (u, dof) = combined(terms.iter().map(|t| (t.u, t.dof())));
        let u95 = convolution::u95(terms.iter().map(|t| (t.u, t.shape)));
        Uncertain { value, u, dof, u95, terms }
    }

    /// Degrees of freedom as files hold them: none for infinite.
    #[must_use]
    pub fn dof_written(&self) -> Option<f64> {
        self.dof.is_finite().then_some(self.dof)
    }

    /// Value and terms times a factor.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        let size = factor.abs();
        Uncertain {
            value: self.value * factor,
            u: self.u * size,
            dof: self.dof,
            u95: self.u95 * size,
            terms: self.terms.iter().map(|t| t.times(factor)).collect(),
        }
    }

    /// Terms times a factor, about the same value.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Uncertain { value: self.value, ..self.times(factor) }
    }

    /// With an expanded uncertainty that is wider than the terms come to, because the value does not follow them in
    /// proportion; never narrower.
    #[must_use]
    pub fn widened(self, u95: f64) -> Self {
        Uncertain { u95: self.u95.max(u95), ..self }
    }

    /// The same terms about another value.
    #[must_use]
    pub fn about(self, value: f64) -> Self {
        Uncertain { value, ..self }
    }

    /// This less another that shares nothing with it.
    #[must_use]
    pub fn less(&self, other: &Uncertain) -> Self {
        let theirs = other.terms.iter().map(|t| t.times(-1.0));
        Uncertain::new(self.value - other.value, self.terms.iter().cloned().chain(theirs).collect())
    }

    /// As one term of another value, that changes by `sensitivity` for each unit of this one.
    #[must_use]
    pub fn term(&self, cause: Cause, sensitivity: f64) -> Term {
        let shape = Shape::of_dof(self.dof);
        Term { cause, u: self.u * sensitivity, of_cause: Some(self.u), shape, origin: Origin::Common }
    }
}

/// Combined standard uncertainty of independent contributions, each with its degrees of freedom, and the effective
/// degrees of freedom (Welch-Satterthwaite, JCGM 100:2008, G.4.1), not truncated.
#[must_use]
pub fn combined(terms: impl Iterator<Item = (f64, f64)>) -> (f64, f64) {
    let (mut variance, mut lost) = (0.0, 0.0);
    for (u, dof) in terms {
        variance += u * u;
        if u != 0.0 && dof.is_finite() {
            lost += u.powi(4) / dof;
        }
    }
    (f64::sqrt(variance), if lost > 0.0 { variance * variance / lost } else { f64::INFINITY })
}

/// Mean of readings taken alike with its scatter: value, standard deviation of the mean with one degree of freedom less
/// than readings (JCGM 100:2008, 4.2). None for fewer than two.
#[must_use]
pub fn type_a(cause: Cause, readings: &[f64]) -> Option<Uncertain> {
    if readings.len() < 2 {
        return None;
    }
    let n = readings.len() as f64;
    let rough = readings.iter().sum::<f64>() / n;
    // Deviations from the rounded mean, and what they miss of zero: no digits are lost to a large offset.
    let missed = readings.iter().map(|r| r - rough).sum::<f64>() / n;
    let squares = readings.iter().map(|r| (r - rough - missed).powi(2)).sum::<f64>();
    let u = (squares / (n - 1.0) / n).sqrt();
    Some(Uncertain::new(rough + missed, vec![Term::observed(cause, u, n - 1.0)]))
}
