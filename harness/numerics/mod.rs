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
//! | [`monotone`] | a curve through points that does not overshoot, and its inverse |
//! | [`isotonic`] | the monotone sequence closest to the data |
//! | [`series`] | mean, memory and slope of readings taken one after the other |
//! | [`variance`] | scatter between and within groups, lack of fit, outliers |
//! | [`compare`] | whether two sets differ, or are equivalent |
//! | [`coverage`] | tolerance factors, intervals of a proportion |
//! | [`conformity`] | probability of lying within limits, risks of deciding |
//! | [`monte_carlo`] | distributions through a function, seeded |
//! | [`errors_in_variables`] | a line where both coordinates are uncertain |

pub mod compare;
pub mod conformity;
pub mod coverage;
pub mod distribution;
pub mod error;
pub mod errors_in_variables;
pub mod gum;
pub mod isotonic;
pub mod least_squares;
pub mod linear;
pub mod monotone;
pub mod monte_carlo;
pub(crate) mod precise;
pub mod quadrature;
pub mod series;
pub mod variance;

pub use error::NumericsError;
pub use nalgebra::{DMatrix, DVector};
