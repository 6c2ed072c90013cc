//! Numbers: linear least squares, distributions, interpolation. Pure functions of their arguments.
//!
//! In: plain slices of numbers. Out: estimates with their uncertainty, or an [`error::NumericsError`] that says what
//! was wrong. Never: a unit, a clock, a file, a random number that was not handed in.
//!
//! | file | what it answers |
//! |---|---|
//! | [`error`] | why a calculation could not be done |
//! | [`linear`] | parameters of a model linear in them, weighted |
//! | [`distribution`] | cdf and quantile of normal, t, F, chi-squared |
//! | [`quadrature`] | the integral and the root of a function |
//! | [`monotone`] | a curve through points that does not overshoot |
//! | [`isotonic`] | the monotone sequence closest to the data |
//! | [`variance`] | the reading that stands out |
//! | [`coverage`] | tolerance factors |
//! | [`conformity`] | limits, and the zone within them |

pub mod conformity;
pub mod coverage;
pub mod distribution;
pub mod error;
pub mod isotonic;
pub mod linear;
pub mod monotone;
pub(crate) mod precise;
pub mod quadrature;
pub mod variance;

pub use error::NumericsError;
