//! `dutycup examples DIR`: writes the scenarios and rigs that come with the program, to copy from.
//!
//! In: a folder. Out: `scenarios/` and `rigs/` in it. Never: a file that is there already written over.

use super::{Failure, Outcome, data};
use crate::exit::Exit;
use crate::problem::Problem;
use crate::script::shipped::FILES;
use clap::Args;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::PathBuf;

/// Options of `examples`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Folder for the files; made where it is not there.
    dir: PathBuf,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let there: Vec<&str> = FILES
        .iter()
        .map(|(name, _)| *name)
        .filter(|name| options.dir.join(name).symlink_metadata().is_ok())
        .collect();
    if !there.is_empty() {
        return Err(Problem::new(format!("{}: there already: {}", options.dir.display(), there.join(", ")))
            .help("nothing was written; name another folder, or move these away")
            .into());
    }
    for (name, text) in FILES {
        let path = options.dir.join(name);
        let failed = |e: std::io::Error| Failure::write(&path, &e);
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(failed)?;
        }
        let mut file = OpenOptions::new().write(true).create_new(true).open(&path).map_err(failed)?;
        file.write_all(text.as_bytes()).map_err(failed)?;
        data(&format!("{}\n", path.display()));
    }
    Ok(Exit::Pass)
}
