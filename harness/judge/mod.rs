//! Verdicts: values against limits under one decision rule, baselines, diagnosis.
//!
//! In: values with their uncertainty. Out: [`crate::verdict::item::Item`]s and what they come to. Never: a port, a run.

pub mod baseline;
pub mod clogging;
pub mod check_scale;
pub mod controller;
pub mod diagnosis;
pub mod line;
pub mod line_runs;
pub mod map;
pub mod pair;
pub mod road;
pub mod switch;
pub mod window;
pub mod window_pair;
pub mod window_text;
