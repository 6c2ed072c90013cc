//! `dutycup schema scenario|rig|calibration` and `dutycup completions SHELL`.

use super::output::data_as_is;
use super::{Outcome, data};
use crate::exit::Exit;
use clap::{Args, ValueEnum};
use clap_complete::Shell;

/// Options of `schema`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Which file format.
    format: Format,
}

#[derive(ValueEnum, Clone, Copy, Debug)]
enum Format {
    Scenario,
    Rig,
    Calibration,
}

/// Options of `completions`.
#[derive(Args, Debug)]
pub(super) struct Completions {
    /// Which shell.
    shell: Shell,
}

/// Prints a schema.
pub(super) fn main(options: &Options) -> Outcome {
    let schema = match options.format {
        Format::Scenario => crate::script::schema::scenario(),
        Format::Rig => crate::script::schema::rig(),
        Format::Calibration => crate::calibration::schema(),
    };
    data(&format!("{schema:#}\n"));
    Ok(Exit::Pass)
}

/// Prints completions.
pub(super) fn completions(options: &Completions) -> Outcome {
    let mut text = Vec::new();
    clap_complete::generate(options.shell, &mut super::command(), "dutycup", &mut text);
    data_as_is(&String::from_utf8_lossy(&text));
    Ok(Exit::Pass)
}
