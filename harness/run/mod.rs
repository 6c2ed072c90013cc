//! The run: plays a plan on a bench, samples it, guards it, and always ends at the safe state.
//!
//! In: a plan, a rig, and ports. Out: the record, and how it ended. The loop is a state machine without IO
//! . Never: a choice of ports, or anything
//! that could tell a real bench from a virtual one.

pub mod ending;
pub mod readings;
pub mod timing;
