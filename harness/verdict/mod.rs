//! Verdicts: every item there is, the one rule that judges, and what comes out.
//!
//! | file | what it holds |
//! |---|---|
//! | [`purpose`] | the measurements there are |
//! | [`catalogue`] | every item: id, unit, meaning, who gives it |
//! | [`expect`] | limits that a scenario states |
//! | [`subject`] | what a measurement found, and the limits it brings along |
//! | [`decide`] | the rule, and the note that goes with its answer |
//! | [`item`] | what comes out |
//!
//! Limits are known here alone: a measurement hands over what it found, and [`item::Verdicts::judge`] holds it against
//! whatever limits there are. Every limit stated comes out judged, or undecided with the reason why there is no value.

pub mod catalogue;
pub mod decide;
pub mod expect;
pub mod item;
pub mod purpose;
pub mod subject;
