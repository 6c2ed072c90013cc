//! Verdicts: values against limits under one decision rule, baselines, diagnosis.
//!
//! In: values with their uncertainty. Out: [`item::Item`]s and what they come to. Never: a port, a run.

pub mod decide;
pub mod item;
pub mod switch;
