//! From the record, or from points taken by hand, to collections with their uncertainty.
//!
//! In: samples and events of a run folder (streamed), or a CSV of points; the rig's uncertainties.
//! Out: [`collection::Collection`]s and the [`collection::Systematics`] common to them.
//! Never: a port, a run, a model of pump or nozzle.

pub mod collection;
pub mod noise;
pub mod slope;
