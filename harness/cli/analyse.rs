//! `dutycup analyse PATH`: redoes everything after the recording from a run folder, or from points taken elsewhere.

use super::analysis::{self, Display, Source};
use super::{Failure, Outcome};
use crate::clock::WallTime;
use crate::fit::facts::PairFacts;
use crate::problem::Problem;
use crate::record::run_file::FileRecord;
use crate::report::pages::pair::Subject;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `analyse`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// A run folder, or a CSV of points taken by hand (`duty_pct, supply_v, line_pressure_psi, collected_g, collect_s`).
    path: PathBuf,
    /// Rig file with the instruments' uncertainties, for data taken elsewhere.
    #[arg(long)]
    rig: Option<PathBuf>,
    /// Folder for the results, new or empty; beside the data if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    display: Display,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    if options.path.is_dir() {
        let out = match &options.out {
            Some(out) => fresh_folder(out)?,
            None => options.path.clone(),
        };
        return analysis::of_run(&options.path, &out, &options.display);
    }
    let rig = options.rig.as_deref().map(crate::script::load_rig).transpose()?;
    let table = crate::reduce::table::read(&options.path)?;
    let reduced = crate::reduce::from_table(&table, rig.as_ref())?;
    let out = match &options.out {
        Some(out) => fresh_folder(out)?,
        None => fresh_folder(&options.path.with_extension("calibration"))?,
    };
    let name = options
        .path
        .file_name()
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default();
    let text = std::fs::read_to_string(&options.path).map_err(|e| Failure::write(&options.path, &e))?;
    let facts = rig
        .as_ref()
        .map_or_else(PairFacts::unknown, |r| PairFacts::from_rig(&r.pair, &r.fluid));
    let source = Source {
        subject: Subject::of_points(&name, rig.as_ref()),
        reduced,
        facts,
        expected: Vec::new(),
        files: vec![FileRecord::of_text(&name, &text)],
        wiring: rig.as_ref().and_then(|r| r.pair.wiring.clone()),
        written: WallTime::now().to_rfc3339(),
        out: &out,
    };
    analysis::pair(&source, &options.display)
}

/// A folder for results: made, or empty.
fn fresh_folder(dir: &Path) -> Result<PathBuf, Failure> {
    let refused = |what: String| Failure::from(Problem::new(what).help("name another folder with --out"));
    if dir.is_symlink() {
        return Err(refused(format!("{} is a symbolic link", dir.display())));
    }
    match std::fs::read_dir(dir) {
        Ok(mut entries) => match entries.next() {
            Some(_) => Err(refused(format!("{} is not empty", dir.display()))),
            None => Ok(dir.to_owned()),
        },
        Err(_) => {
            std::fs::create_dir_all(dir).map_err(|e| Failure::write(dir, &e))?;
            Ok(dir.to_owned())
        }
    }
}
