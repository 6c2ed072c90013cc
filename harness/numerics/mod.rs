//! Numbers: least squares, distributions, uncertainty, interpolation, series. Pure functions of their arguments.
//!
//! In: plain slices of numbers. Out: estimates with their uncertainty, or an [`error::NumericsError`] that says what
//! was wrong. Never: a unit, a clock, a file, a random number that was not handed in.
//!
//! | file | what it answers |
//! |---|---|
//! | [`error`] | why a calculation could not be done |
//! | [`least_squares`] | parameters of a nonlinear model, weighted |
//! | [`linear`] | parameters of a model linear in them; weights or a full covariance matrix |
//! | [`distribution`] | cdf and quantile of normal, t, F, chi-squared, beta |
//! | [`gum`] | type A, type B, combination, effective degrees of freedom, expanded uncertainty |
//! | [`quadrature`] | the integral and the root of a function |

pub mod distribution;
pub mod error;
pub mod gum;
pub mod least_squares;
pub mod linear;
pub(crate) mod precise;
pub mod quadrature;

pub use error::NumericsError;
pub use nalgebra::{DMatrix, DVector};
