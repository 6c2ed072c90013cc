//! `dutycup manual [DIR]`: prints the manual, or writes the manual pages, one a command, from the definition of the command
//! line.

use super::output::write_text;
use super::{Failure, Outcome, data};
use crate::exit::Exit;
use clap::Args;
use clap_mangen::Man;
use std::path::{Path, PathBuf};

/// What to read first, and what stands nowhere else.
const MANUAL: &str = include_str!("manual.md");

/// Options of `manual`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Write manual pages into this folder, made where it is not there; read one with `man DIR/dutycup.1`. Without it the
    /// manual is printed.
    dir: Option<PathBuf>,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let Some(dir) = &options.dir else {
        data(MANUAL);
        return Ok(Exit::Pass);
    };
    std::fs::create_dir_all(dir).map_err(|e| Failure::write(dir, &e))?;
    let mut whole = super::command().disable_help_subcommand(true);
    whole.build();
    let name = whole.get_name().to_owned();
    page(dir, &name, whole.clone())?;
    for command in whole.get_subcommands() {
        let name = format!("{name}-{}", command.get_name());
        page(dir, &name, command.clone().display_name(&name))?;
    }
    Ok(Exit::Pass)
}

/// Writes one page and says where.
fn page(dir: &Path, name: &str, command: clap::Command) -> Result<(), Failure> {
    let path = dir.join(format!("{name}.1"));
    let mut text = Vec::new();
    Man::new(command).date("").manual("dutycup").render(&mut text).map_err(|e| Failure::write(&path, &e))?;
    write_text(&path, &String::from_utf8_lossy(&text))?;
    data(&format!("{}\n", path.display()));
    Ok(())
}
