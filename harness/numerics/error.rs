//! Why a calculation could not be done.
//!
//! In: the numbers that were found. Out: one sentence that says what was found and what was expected. Never: a
//! number in place of an answer.

use std::fmt;

/// A calculation that has no answer.
#[derive(Clone, Debug, PartialEq)]
pub enum NumericsError {
    /// Fewer points than the calculation needs.
    TooFewPoints {
        /// Points handed in.
        found: usize,
        /// Points needed.
        needed: usize,
    },
    /// Two inputs that belong together differ in length.
    LengthMismatch {
        /// Length of the first.
        first: usize,
        /// Length of the second.
        second: usize,
    },
    /// A number that is infinite or not a number.
    NotFinite {
        /// What it is.
        what: &'static str,
    },
    /// A number outside the range where the calculation is valid.
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// What was found.
        found: f64,
        /// The range, in words.
        expected: &'static str,
    },
    /// The data do not tell the parameters apart.
    RankDeficient {
        /// Independent columns found.
        rank: usize,
        /// Columns, that is parameters.
        columns: usize,
    },
    /// The limit of evaluations was reached before the answer settled.
    NotConverged {
        /// Evaluations spent.
        evaluations: usize,
    },
}

impl fmt::Display for NumericsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewPoints { found, needed } => {
                write!(f, "{found} points, at least {needed} are needed")
            }
            Self::LengthMismatch { first, second } => {
                write!(f, "{first} values of one kind but {second} of the other")
            }
            Self::NotFinite { what } => write!(f, "{what} is not a finite number"),
            Self::OutOfRange { what, found, expected } => {
                write!(f, "{what} is {found}, expected {expected}")
            }
            Self::RankDeficient { rank, columns } => write!(
                f,
                "the data determine only {rank} of {columns} parameters; vary what was kept constant or fit fewer"
            ),
            Self::NotConverged { evaluations } => {
                write!(f, "no convergence after {evaluations} evaluations; start closer to the answer")
            }
        }
    }
}

impl std::error::Error for NumericsError {}

/// Errs unless every value is finite.
pub(crate) fn all_finite(values: &[f64], what: &'static str) -> Result<(), NumericsError> {
    if values.iter().all(|v| v.is_finite()) { Ok(()) } else { Err(NumericsError::NotFinite { what }) }
}

/// Errs unless every value is finite and above zero.
pub(crate) fn all_positive(values: &[f64], what: &'static str) -> Result<(), NumericsError> {
    all_finite(values, what)?;
    match values.iter().find(|v| **v <= 0.0) {
        Some(&found) => Err(NumericsError::OutOfRange { what, found, expected: "above zero" }),
        None => Ok(()),
    }
}

/// Errs unless both have the same length.
pub(crate) fn same_length(first: usize, second: usize) -> Result<(), NumericsError> {
    if first == second { Ok(()) } else { Err(NumericsError::LengthMismatch { first, second }) }
}

/// Errs unless there are at least `needed` points.
pub(crate) fn at_least(found: usize, needed: usize) -> Result<(), NumericsError> {
    if found >= needed { Ok(()) } else { Err(NumericsError::TooFewPoints { found, needed }) }
}
