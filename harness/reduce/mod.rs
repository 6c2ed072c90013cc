//! From the record, or from points taken by hand, to collections with their uncertainty.
//!
//! In: samples and events of a run folder (streamed), or a CSV of points; the rig's uncertainties.
//! Out: [`collection::Collection`]s and the [`collection::Systematics`] common to them.
//! Never: a port, a run, a model of pump or nozzle.
//!
//! | file | what it holds |
//! |---|---|
//! | [`collection`] | the types that the fit works from |
//! | [`stream`], [`windows`], [`spans`] | dwells, rests and marked spans cut out of the record |
//! | [`slope`], [`noise`], [`scale_step`] | mass flow from the scale's readings |
//! | [`bins`] | means of everything else |
//! | [`dwell`] | from a window to a collection |
//! | [`static_mass`] | the cross-check at rest |
//! | [`zero`], [`check_scale`] | the gauge read vented; scale and clock against known ones |
//! | [`instruments`] | what is known, or assumed, of the instruments |
//! | [`budget`] | common errors and what they add to a flow |
//! | [`table`], [`points`], [`by_hand`] | data taken elsewhere |
//! | [`replicates`], [`drift`], [`finding`] | repeats, drift, what a person should know |
//! | [`controller`], [`controller_run`], [`controller_times`], [`controller_csv`] | what a controller was seen to do |
//! | [`road`] | a road trace played through the controller |
//! | [`series`] | time series for plots |
//! | [`collections_csv`] | the file of collections |
//! | [`reduced`] | all of it together |
//! | [`ramps_csv`] | switch ramps recorded elsewhere |
//! | [`contact`], [`switch_ramps`] | what a contact did; where it made or broke on one ramp |
//! | [`switch_points`], [`switch_faults`] | trip, reset, differential; what is wrong with them |
//! | [`decay`], [`leak`], [`dead_head`], [`level`], [`solenoid`] | what else a run shows of line and tank |
//! | [`switch_run`], [`switch_cycles`] | all of it for a run or a file; the file of ramps |

pub mod bins;
pub mod budget;
pub mod by_hand;
pub mod check_scale;
pub mod collection;
pub mod collections_csv;
pub mod contact;
pub mod dead_head;
pub mod decay;
pub mod controller;
pub mod controller_csv;
pub mod controller_run;
pub mod controller_times;
pub mod drift;
pub mod dwell;
pub mod edge_duty;
pub mod finding;
pub mod gauge;
pub mod instruments;
pub mod leak;
pub mod level;
mod lines;
pub mod noise;
pub mod points;
pub mod pulsation;
pub mod ramp_lag;
pub mod ramps_csv;
pub mod reduced;
pub mod replicates;
pub mod road;
pub mod scale_step;
pub mod series;
pub mod slope;
pub mod solenoid;
pub mod spans;
pub mod static_mass;
pub mod stream;
pub mod switch_cycles;
pub mod switch_faults;
pub mod switch_points;
pub mod switch_ramps;
pub mod switch_run;
pub mod table;
pub mod windows;
pub mod zero;

pub use reduced::{Reduced, from_run, from_table};
