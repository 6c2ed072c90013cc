//! Verdicts: what may be judged, the one rule that judges, and what comes out.
//!
//! In: values with their uncertainty, limits. Out: [`item::Item`]s and what they come to. Never: a measurement.

pub mod decide;
pub mod expect;
pub mod item;
