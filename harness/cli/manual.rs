//! `dutycup manual DIR`: writes the manual pages, one a command.
//!
//! In: a folder. Out: `dutycup.1`, `dutycup-run.1`, ... in it, from the definition of the command line.
//! Never: a page that says something else than `--help`.

use super::output::write_text;
use super::{Failure, Outcome, data};
use crate::exit::Exit;
use clap::Args;
use clap_mangen::Man;
use std::path::PathBuf;

/// Options of `manual`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Folder for the pages; made where it is not there. Read one with `man DIR/dutycup.1`.
    dir: PathBuf,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    std::fs::create_dir_all(&options.dir).map_err(|e| Failure::write(&options.dir, &e))?;
    let mut whole = super::command().disable_help_subcommand(true);
    whole.build();
    let name = whole.get_name().to_owned();
    page(options, &name, whole.clone())?;
    for command in whole.get_subcommands() {
        let name = format!("{name}-{}", command.get_name());
        page(options, &name, command.clone().display_name(&name))?;
    }
    Ok(Exit::Pass)
}

/// Writes one page and says where.
fn page(options: &Options, name: &str, command: clap::Command) -> Result<(), Failure> {
    let path = options.dir.join(format!("{name}.1"));
    let mut text = Vec::new();
    Man::new(command).date("").manual("dutycup").render(&mut text).map_err(|e| Failure::write(&path, &e))?;
    write_text(&path, &String::from_utf8_lossy(&text))?;
    data(&format!("{}\n", path.display()));
    Ok(())
}
