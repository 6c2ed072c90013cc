//! The run folder: written as it happens, read years later.
//!
//! In: samples and events of a run; later the folder alone. Out: `samples.csv`, `events.csv` and `sums.csv` beside
//! `run.yaml`, `rig.yaml` and `scenario.yaml`; and the same, checked, read back as a stream. Never: a number that is
//! not finite, a missing value written as 0, a line rewritten, a write failure that passes unseen, or an altered
//! record read as if it were whole.

pub mod columns;
pub mod decimal;
pub mod disk;
pub mod events;
mod journal;
mod keeping;
pub mod reader;
pub mod run_file;
mod run_start;
mod run_text;
mod samples;
pub mod sums;
pub mod writer;

pub use events::Event;
pub use reader::{RunFolder, SampleRow};
pub use run_file::RunFile;
pub use writer::Finished;
#[cfg(feature = "door")]
pub use {
    disk::write_whole,
    events::EventReader,
    writer::{Pace, Recorder},
};

/// Name of the file of samples in a run folder.
pub const SAMPLES: &str = "samples.csv";
/// Name of the file of events in a run folder.
pub const EVENTS: &str = "events.csv";
/// Name of the file of check sums in a run folder.
pub const SUMS: &str = "sums.csv";
