//! dutycup: a bench test harness for water-injection pumps, nozzles, pressure switches and controllers.
//!
//! Modules in reading order. A module names only modules above it in this list, never one below;
//! `tests/tidy.rs` keeps that true.
//!
//! | module | what it holds |
//! |---|---|
//! | [`clock`] | the one place that knows the time |
//! | [`chance`] | seeded, named random streams |
//! | [`exit`] | exit codes and which one wins |
//! | [`problem`] | what is wrong and where: problems in files, faults of the bench |
//! | [`quantity`] | values with units, at the edge |
//! | [`numerics`] | least squares, distributions, interpolation |
//! | [`fluid`] | density, viscosity and buoyancy of what is sprayed |
//! | [`wire`] | what bytes mean: one file a dialect |
//! | [`script`] | what was asked: scenario, rig, checks, plan |
//! | [`instrument`] | exchanges with an instrument, as state machines without IO |
//! | [`virtual_bench`] | a bench made of physics and bytes |
//! | [`port`] | where bytes go: serial, pseudo-terminals |
//! | [`record`] | the run folder: written as it happens, read years later |
//! | [`calibration`] | the calibration file |
//! | [`run`] | the bench loop: play, sample, settle, collect, guard |
//! | [`reduce`] | from the record to collections with their uncertainty |
//! | [`fit`] | from collections to models, curves and predictions |
//! | [`judge`] | verdicts |
//! | [`report`] | what people and programs read |
//! | [`live`] | what people see while a bench runs |
//! | [`cli`] | one file a subcommand; the only place that chooses ports |

pub mod clock;
pub mod chance;
pub mod exit;
pub mod problem;
pub mod quantity;
pub mod numerics;
pub mod fluid;
pub mod wire;
pub mod script;
pub mod instrument;
pub mod virtual_bench;
pub mod port;
pub mod record;
pub mod calibration;
pub mod run;
pub mod reduce;
pub mod fit;
pub mod judge;
pub mod report;
pub mod live;
pub mod cli;
