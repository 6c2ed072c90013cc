//! The run: plays a plan on a bench, samples it, guards it, and always ends at the safe state.
//!
//! In: a plan, a rig, and ports. Out: the record, and how it ended. The loop is a state machine without IO
//! ([`bench::Bench`]); [`drive::drive`] moves bytes between it and the ports. Never: a choice of ports, or anything
//! that could tell a real bench from a virtual one.

pub mod act;
pub mod bench;
mod credible;
pub mod desk;
pub mod drive;
pub mod ending;
pub mod going_on;
pub mod guard;
mod intake;
pub mod log;
mod questions;
pub mod readings;
pub mod remarks;
pub mod shutdown;
pub mod snapshot;
pub mod survey;
pub mod timing;
