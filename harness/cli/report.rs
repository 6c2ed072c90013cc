//! `dutycup report RUN`: makes `report.html` again, from the run folder alone.
//!
//! In: a run folder, of whatever age. Out: `report.html` in it, and where that is. Never: a change of anything else in
//! the folder; results that are computed anew go no further than the page.

use super::analysis::{self, Display, UnitChoice};
use super::besides::{Against, Besides};
use super::{Failure, Outcome, data};
use crate::exit::Exit;
use crate::problem::Problem;
use crate::record::disk::write_whole;
use clap::Args;
use std::path::PathBuf;

/// Options of `report`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Run folder.
    run: PathBuf,
    /// Units shown in the report.
    #[arg(long, value_enum, default_value_t)]
    units: UnitChoice,
    /// Calibration of the pair, for leak and decay.
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    #[command(flatten)]
    against: Against,
    /// Write the report to this file instead.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    if !options.run.is_dir() {
        let what = format!("{} is not a folder", options.run.display());
        return Err(Problem::new(what).expected("a run folder, such as results/example").into());
    }
    let display = Display { units: options.units, quiet: true, ..Display::default() };
    let besides = Besides::read(options.calibration.as_deref(), None, &options.against)?;
    let scratch = tempfile::tempdir().map_err(|e| Failure::write(&std::env::temp_dir(), &e))?;
    // What the run came to is on the page; this command says only whether there is one.
    analysis::of_run(&options.run, scratch.path(), &besides, &display)?;
    let made = scratch.path().join("report.html");
    let text = std::fs::read(&made).map_err(|_| {
        Problem::new(format!("{} was only recorded, nothing was to be judged", options.run.display()))
            .help("read samples.csv and events.csv; there is no report of such a run")
    })?;
    let to = options.out.clone().unwrap_or_else(|| options.run.join("report.html"));
    write_whole(&to, &text)?;
    data(&format!("{}\n", to.display()));
    Ok(Exit::Pass)
}
