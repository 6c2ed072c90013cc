//! Uncertainty after the GUM (JCGM 100:2008): type A and type B, combination, degrees of freedom, expansion.
//!
//! In: contributions in the unit of the result, each with its degrees of freedom and correlations. Out: combined
//! standard uncertainty, effective degrees of freedom, and the expanded uncertainty with t at those degrees, not
//! truncated: 18.99 degrees give t of 18.99, where a table would be read at 19 and truncating would read 18
//! (G.4.1). Never: an uncertainty without degrees of freedom.

use super::distribution::coverage;
use super::error::{NumericsError, all_finite, at_least, same_length};
use super::precise;
use statrs::function::gamma::ln_gamma;

/// Probability of the intervals that are reported.
pub const REPORTED_PROBABILITY: f64 = 0.95;

/// What is known of an input when limits or a certificate are all there is (JCGM 100:2008, 4.3).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TypeB {
    /// Anywhere within plus or minus this much with equal probability.
    Rectangular(f64),
    /// Within plus or minus this much, the middle likelier, the ends impossible.
    Triangular(f64),
    /// Swinging like a sine between plus and minus this much: the ends likelier.
    Arcsine(f64),
    /// Expanded uncertainty and the coverage factor it was stated with.
    Expanded(f64, f64),
    /// Standard uncertainty.
    Standard(f64),
}

impl TypeB {
    /// The standard uncertainty, in the unit of the limits.
    #[must_use]
    pub fn standard(self) -> f64 {
        match self {
            TypeB::Rectangular(half) => half / 3f64.sqrt(),
            TypeB::Triangular(half) => half / 6f64.sqrt(),
            TypeB::Arcsine(half) => half / 2f64.sqrt(),
            TypeB::Expanded(u, k) => u / k,
            TypeB::Standard(u) => u,
        }
    }
}

/// A contribution to a combined uncertainty: sensitivity times standard uncertainty, in the unit of the result. The
/// sign matters where contributions are correlated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Term {
    /// Sensitivity coefficient times standard uncertainty.
    pub u: f64,
    /// Degrees of freedom; infinite where the uncertainty itself is taken as exact.
    pub dof: f64,
}

impl Term {
    /// A contribution with its degrees of freedom.
    #[must_use]
    pub const fn new(u: f64, dof: f64) -> Self {
        Self { u, dof }
    }

    /// A contribution whose uncertainty is taken as exactly known.
    #[must_use]
    pub const fn known(u: f64) -> Self {
        Self { u, dof: f64::INFINITY }
    }
}

/// Two contributions that do not vary independently.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// Index of the one.
    pub first: usize,
    /// Index of the other.
    pub second: usize,
    /// Correlation coefficient, -1 to 1.
    pub r: f64,
}

/// A standard uncertainty with its effective degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combined {
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom, infinite or a real number above zero.
    pub dof: f64,
}

impl Combined {
    /// Coverage factor for 95 %.
    #[must_use]
    pub fn k95(&self) -> f64 {
        k95(self.dof)
    }

    /// Expanded uncertainty for 95 %.
    #[must_use]
    pub fn u95(&self) -> f64 {
        u95(self.u, self.dof)
    }

    /// Degrees of freedom as they are written to files: none for infinite.
    #[must_use]
    pub fn dof_written(&self) -> Option<f64> {
        self.dof.is_finite().then_some(self.dof)
    }
}

/// Coverage factor for 95 % at these degrees of freedom; 1.96 at infinity.
#[must_use]
pub fn k95(dof: f64) -> f64 {
    coverage(REPORTED_PROBABILITY, dof)
}

/// Expanded uncertainty for 95 %; zero stays zero whatever the degrees of freedom.
#[must_use]
pub fn u95(u: f64, dof: f64) -> f64 {
    if u == 0.0 { 0.0 } else { k95(dof) * u }
}

/// Combines independent contributions; degrees of freedom by Welch-Satterthwaite (JCGM 100:2008, G.4.1).
#[must_use]
pub fn combine(terms: &[Term]) -> Combined {
    let variance: f64 = terms.iter().map(|t| t.u * t.u).sum();
    Combined { u: variance.sqrt(), dof: welch_satterthwaite(variance, terms) }
}

/// Combines contributions of which some are correlated (JCGM 100:2008, 5.2). For the degrees of freedom,
/// contributions that are correlated with each other, directly or through others, count as one contribution with
/// the least degrees of freedom among them: exact where they were observed together, as in H.2, and careful
/// otherwise. A correlation that leads to a negative variance gives zero.
///
/// # Errors
/// `OutOfRange` for an index or a coefficient that cannot be.
pub fn combine_correlated(terms: &[Term], correlations: &[Correlation]) -> Result<Combined, NumericsError> {
    let mut group: Vec<usize> = (0..terms.len()).collect();
    let mut cross = vec![0.0; terms.len()];
    for c in correlations {
        if c.first >= terms.len() || c.second >= terms.len() || c.first == c.second {
            return Err(NumericsError::OutOfRange {
                what: "index of a correlated contribution",
                found: c.first.max(c.second) as f64,
                expected: "two different contributions of the budget",
            });
        }
        if !(-1.0..=1.0).contains(&c.r) {
            return Err(NumericsError::OutOfRange { what: "correlation", found: c.r, expected: "-1 to 1" });
        }
        let (from, to) = (group[c.second], group[c.first]);
        group.iter_mut().filter(|g| **g == from).for_each(|g| *g = to);
        cross[c.first] += 2.0 * c.r * terms[c.first].u * terms[c.second].u;
    }
    let groups: Vec<Term> = (0..terms.len())
        .filter(|g| group.contains(g))
        .map(|g| {
            let members = || (0..terms.len()).filter(|&i| group[i] == g);
            let variance: f64 = members().map(|i| terms[i].u * terms[i].u + cross[i]).sum();
            let dof = members().map(|i| terms[i].dof).fold(f64::INFINITY, f64::min);
            Term { u: variance.max(0.0).sqrt(), dof }
        })
        .collect();
    Ok(combine(&groups))
}

/// Effective degrees of freedom; infinite where every contribution is known or zero.
fn welch_satterthwaite(variance: f64, terms: &[Term]) -> f64 {
    let lost: f64 =
        terms.iter().filter(|t| t.dof.is_finite() && t.u != 0.0).map(|t| t.u.powi(4) / t.dof).sum();
    if lost > 0.0 { variance * variance / lost } else { f64::INFINITY }
}

/// Mean and scatter of readings taken alike (JCGM 100:2008, 4.2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TypeA {
    /// Arithmetic mean.
    pub mean: f64,
    /// Experimental standard deviation of a single reading.
    pub sd: f64,
    /// Readings.
    pub n: usize,
}

impl TypeA {
    /// Standard uncertainty of the mean, with its degrees of freedom.
    #[must_use]
    pub fn of_mean(&self) -> Combined {
        Combined { u: self.sd / (self.n as f64).sqrt(), dof: (self.n - 1) as f64 }
    }
}

/// Mean and experimental standard deviation of at least two readings.
///
/// # Errors
/// `TooFewPoints`, `NotFinite`.
pub fn type_a(readings: &[f64]) -> Result<TypeA, NumericsError> {
    at_least(readings.len(), 2)?;
    all_finite(readings, "a reading")?;
    let n = readings.len() as f64;
    let rough = precise::sum(readings.iter().copied()) / n;
    let deviations = || readings.iter().map(|r| r - rough);
    let mean_deviation = precise::sum(deviations()) / n;
    let squares = precise::sum(deviations().map(|d| (d - mean_deviation).powi(2)));
    Ok(TypeA { mean: rough + mean_deviation, sd: (squares / (n - 1.0)).sqrt(), n: readings.len() })
}

/// Correlation coefficient of two quantities read together (JCGM 100:2008, 5.2.3).
///
/// # Errors
/// As [`type_a`], and `LengthMismatch`; `OutOfRange` where one of them does not vary.
pub fn correlation(first: &[f64], second: &[f64]) -> Result<f64, NumericsError> {
    same_length(first.len(), second.len())?;
    let (a, b) = (type_a(first)?, type_a(second)?);
    if a.sd == 0.0 || b.sd == 0.0 {
        return Err(NumericsError::OutOfRange {
            what: "standard deviation",
            found: 0.0,
            expected: "above zero",
        });
    }
    let products = first.iter().zip(second).map(|(x, y)| (x - a.mean, y - b.mean));
    Ok(precise::dot(products) / ((a.n - 1) as f64 * a.sd * b.sd))
}

/// Scatter pooled from several sets of readings: standard deviation and degrees of freedom. Sets of one reading add
/// nothing.
///
/// # Errors
/// `TooFewPoints` where no set has two readings, `NotFinite`.
pub fn pooled(sets: &[&[f64]]) -> Result<Combined, NumericsError> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for set in sets.iter().filter(|s| s.len() > 1) {
        let a = type_a(set)?;
        let own = (a.n - 1) as f64;
        squares += a.sd * a.sd * own;
        dof += own;
    }
    if dof == 0.0 {
        return Err(NumericsError::TooFewPoints { found: 1, needed: 2 });
    }
    Ok(Combined { u: (squares / dof).sqrt(), dof })
}

/// Relative scatter of a standard deviation that comes from `n` readings, 0.24 for ten (JCGM 100:2008, Table E.1);
/// infinite for fewer than two.
#[must_use]
pub fn doubt_of_sd(n: usize) -> f64 {
    if n < 2 {
        return f64::INFINITY;
    }
    let half = 0.5 * (n as f64 - 1.0);
    let mean_of_square = half * (2.0 * (ln_gamma(half) - ln_gamma(half + 0.5))).exp();
    (mean_of_square - 1.0).sqrt()
}

/// Degrees of freedom of an uncertainty that is itself believed to this relative doubt, 8 for a quarter
/// (JCGM 100:2008, G.4.2); infinite without doubt.
#[must_use]
pub fn dof_from_doubt(relative: f64) -> f64 {
    0.5 / (relative * relative)
}

/// Derivative of `f` by each input at `inputs`, by central differences of one standard uncertainty (JCGM 100:2008,
/// 5.1.3 note 2) where `steps` holds the standard uncertainties. A step of zero gives zero.
pub fn sensitivities(inputs: &[f64], steps: &[f64], f: impl Fn(&[f64]) -> f64) -> Vec<f64> {
    let mut at = inputs.to_vec();
    inputs
        .iter()
        .zip(steps)
        .enumerate()
        .map(|(i, (&value, &step))| {
            if step == 0.0 {
                return 0.0;
            }
            at[i] = value + step;
            let above = f(&at);
            at[i] = value - step;
            let below = f(&at);
            at[i] = value;
            (above - below) / (2.0 * step)
        })
        .collect()
}
