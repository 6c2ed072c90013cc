//! What was asked: the rig (what is on the bench), the scenario (what to play) and the plan made of both.
//!
//! In: YAML text. Out: checked values in internal units (kPa, mL/min, g, s, V, degC, %, rpm), or every problem
//! found, each at its place. Never: a port, a clock, or a value that was not checked.

mod by_hand;
pub mod check;
pub mod limits;
pub mod plan;
pub mod planner;
pub mod rig;
pub mod rig_file;
pub mod role;
pub mod scenario;
pub mod schema;
pub mod shape;
pub mod shipped;
pub mod yaml;

pub use planner::plan;
#[cfg(feature = "door")]
pub use planner::timeline::Timeline;
pub use planner::timeline::timeline;
pub use rig_file::load as load_rig;
pub use scenario::{Scenario, load as load_scenario};
