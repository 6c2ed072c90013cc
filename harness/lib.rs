//! dutycup: a bench test harness for water-injection pumps, nozzles, pressure switches and controllers.
//!
//! Modules in reading order. A module names only modules above it in this list, never one below;
//! `tests/tidy.rs` keeps that true.
//!
//! | module | what it holds |
//! |---|---|
//! | `system` | what only one system gives, with a portable way beside it |
//! | `clock` | the one place that knows the time |
//! | `chance` | seeded, named random streams |
//! | `exit` | exit codes and which one wins |
//! | `problem` | what is wrong and where: problems in files, faults of the bench |
//! | `quantity` | values with units, at the edge |
//! | `numerics` | least squares, distributions, interpolation |
//! | `fluid` | density, viscosity and buoyancy of what is sprayed |
//! | `wire` | what bytes mean: one file a dialect |
//! | `uncertainty` | a value with what it is uncertain by, and the rule from that to U |
//! | `verdict` | the decision rule and what it is put to |
//! | `table` | one writer for every table that is a file |
//! | `script` | what was asked: scenario, rig, checks, plan |
//! | `instrument` | exchanges with an instrument, as state machines without IO |
//! | `virtual_bench` | a bench made of physics and bytes |
//! | `port` | where bytes go: serial, pseudo-terminals |
//! | `record` | the run folder: written as it happens, read years later |
//! | `calibration` | the calibration file |
//! | `run` | the bench loop: play, sample, settle, collect, guard |
//! | `reduce` | from the record to collections with their uncertainty |
//! | `fit` | from collections to models, curves and predictions |
//! | `judge` | verdicts |
//! | `report` | what people and programs read |
//! | `live` | what people see while a bench runs |
//! | `cli` | one file a subcommand; the only place that chooses ports |

mod system;
mod clock;
mod chance;
mod exit;
mod problem;
mod quantity;
mod numerics;
mod fluid;
mod wire;
mod uncertainty;
mod verdict;
mod table;
mod script;
mod instrument;
mod virtual_bench;
mod port;
mod record;
mod calibration;
mod run;
mod reduce;
mod fit;
mod judge;
mod report;
mod live;
mod cli;

pub use cli::main;

/// The one way in for tests, benches and fuzzers. Not there in the program people use, so that what no command reaches is
/// reported by the compiler.
#[cfg(feature = "door")]
pub mod door {
    /// See the table above: the one place that knows the time.
    pub mod clock {
        pub use crate::clock::*;
    }
    /// See the table above: seeded, named random streams.
    pub mod chance {
        pub use crate::chance::*;
    }
    /// See the table above: exit codes and which one wins.
    pub mod exit {
        pub use crate::exit::*;
    }
    /// See the table above: what is wrong and where: problems in files, faults of the bench.
    pub mod problem {
        pub use crate::problem::*;
    }
    /// See the table above: values with units, at the edge.
    pub mod quantity {
        pub use crate::quantity::*;
    }
    /// See the table above: least squares, distributions, interpolation.
    pub mod numerics {
        pub use crate::numerics::*;
    }
    /// See the table above: density, viscosity and buoyancy of what is sprayed.
    pub mod fluid {
        pub use crate::fluid::*;
    }
    /// See the table above: what bytes mean: one file a dialect.
    pub mod wire {
        pub use crate::wire::*;
    }
    /// See the table above: a value with what it is uncertain by, and the rule from that to U.
    pub mod uncertainty {
        pub use crate::uncertainty::*;
    }
    /// See the table above: the decision rule and what it is put to.
    pub mod verdict {
        pub use crate::verdict::*;
    }
    /// See the table above: one writer for every table that is a file.
    pub mod table {
        pub use crate::table::*;
    }
    /// See the table above: what was asked: scenario, rig, checks, plan.
    pub mod script {
        pub use crate::script::*;
    }
    /// See the table above: exchanges with an instrument, as state machines without IO.
    pub mod instrument {
        pub use crate::instrument::*;
    }
    /// See the table above: a bench made of physics and bytes.
    pub mod virtual_bench {
        pub use crate::virtual_bench::*;
    }
    /// See the table above: where bytes go: serial, pseudo-terminals.
    pub mod port {
        pub use crate::port::*;
    }
    /// See the table above: the run folder: written as it happens, read years later.
    pub mod record {
        pub use crate::record::*;
    }
    /// See the table above: the calibration file.
    pub mod calibration {
        pub use crate::calibration::*;
    }
    /// See the table above: the bench loop: play, sample, settle, collect, guard.
    pub mod run {
        pub use crate::run::*;
    }
    /// See the table above: from the record to collections with their uncertainty.
    pub mod reduce {
        pub use crate::reduce::*;
    }
    /// See the table above: from collections to models, curves and predictions.
    pub mod fit {
        pub use crate::fit::*;
    }
    /// See the table above: verdicts.
    pub mod judge {
        pub use crate::judge::*;
    }
    /// See the table above: what people and programs read.
    pub mod report {
        pub use crate::report::*;
    }
    /// See the table above: what people see while a bench runs.
    pub mod live {
        pub use crate::live::*;
    }
    /// See the table above: one file a subcommand; the only place that chooses ports.
    pub mod cli {
        pub use crate::cli::*;
    }
}
