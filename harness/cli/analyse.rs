//! `dutycup analyse PATH`: redoes everything after the recording from a run folder, or from points taken elsewhere.

use super::analysis::{self, Display, Source};
use super::besides::{Against, Besides};
use super::line;
use super::predict::value;
use super::{Failure, Outcome};
use crate::clock::WallTime;
use crate::fit::facts::PairFacts;
use crate::problem::Problem;
use crate::quantity::{Dimension, parse_difference};
use crate::record::run_file::FileRecord;
use crate::reduce::gauge::Gauge;
use crate::reduce::ramps_csv;
use crate::report::pages::subject::Subject;
use crate::script::rig::{Rig, SwitchSpec};
use crate::verdict::purpose::Purpose;
use clap::Args;
use std::path::{Path, PathBuf};

/// Most bytes read of a file to see what kind it is.
const HEADER_BYTES: u64 = 65_536;

/// Options of `analyse`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// A run folder, or a CSV of points taken by hand (`duty_pct, supply_v, line_pressure_psi, collected_g, collect_s`).
    path: PathBuf,
    /// Rig file with the instruments' uncertainties, for data taken elsewhere.
    #[arg(long)]
    rig: Option<PathBuf>,
    /// Set point of the pressure switch, for ramps taken elsewhere, such as `"30 psi"`.
    #[arg(long, value_name = "PRESSURE", requires = "tolerance")]
    set_point: Option<String>,
    /// Allowed deviation from the set point, such as `"3 psi"`.
    #[arg(long, value_name = "PRESSURE", requires = "set_point")]
    tolerance: Option<String>,
    /// Where the switch should break, falling; judged with the same tolerance.
    #[arg(long, value_name = "PRESSURE", requires = "set_point")]
    reset_point: Option<String>,
    /// Calibration of the pair, for leak and decay.
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Use the errors found by this scale-and-clock check instead of the rig's.
    #[arg(long, value_name = "RUN")]
    checked: Option<PathBuf>,
    #[command(flatten)]
    against: Against,
    /// Folder for the results, new or empty; beside the data if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    display: Display,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let besides =
        Besides::read(options.calibration.as_deref(), options.checked.as_deref(), &options.against)?;
    if options.path.is_dir() {
        let out = match &options.out {
            Some(out) => fresh_folder(out)?,
            None => options.path.clone(),
        };
        return analysis::of_run(&options.path, &out, &besides, &options.display);
    }
    let rig = options.rig.as_deref().map(crate::script::load_rig).transpose()?;
    let name = options.path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    if is_ramps(&options.path)? {
        // A file of ramps holds no stops of the pump: there is nothing to compare.
        besides.fits(Purpose::Record)?;
        return ramps(options, &name, rig.as_ref());
    }
    besides.fits(Purpose::Pair)?;
    let table = crate::reduce::table::read(&options.path)?;
    let mut reduced = crate::reduce::from_table(&table, rig.as_ref())?;
    if let Some(check) = &besides.checked {
        check.apply(&mut reduced.systematics);
    }
    let out = match &options.out {
        Some(out) => fresh_folder(out)?,
        None => fresh_folder(&options.path.with_extension("calibration"))?,
    };
    let text = std::fs::read_to_string(&options.path).map_err(|e| Failure::write(&options.path, &e))?;
    let facts = rig.as_ref().map_or_else(PairFacts::unknown, |r| PairFacts::from_rig(&r.pair, &r.fluid));
    let file = FileRecord::of_text(&name, &text);
    let source = Source {
        subject: Subject::of_file("Pump and nozzle", &file, rig.as_ref()),
        reduced,
        facts,
        expected: Vec::new(),
        files: vec![file],
        wiring: rig.as_ref().and_then(|r| r.pair.wiring.clone()),
        written: WallTime::now().to_rfc3339(),
        folder: None,
        out: &out,
        besides: &besides,
    };
    analysis::pair(&source, &options.display)
}

/// Whether a file holds ramps over a switch, by its header.
fn is_ramps(path: &Path) -> Result<bool, Failure> {
    use std::io::{BufRead as _, BufReader, Read as _};
    let mut header = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| BufReader::new(file.take(HEADER_BYTES)).read_until(b'\n', &mut header))
        .map_err(|e| {
            Problem::new(format!("{}: {e}", path.display())).expected("a run folder, or a CSV file")
        })?;
    Ok(ramps_csv::is_ramps(&String::from_utf8_lossy(&header)))
}

/// Judges ramps taken elsewhere.
fn ramps(options: &Options, name: &str, rig: Option<&Rig>) -> Outcome {
    let wanted = wanted(options)?.or(rig.and_then(|r| r.pair.switch));
    let gauge = rig.map_or_else(Gauge::assumed, Gauge::of_rig);
    let text = std::fs::read_to_string(&options.path).map_err(|e| Failure::write(&options.path, &e))?;
    let outcome = crate::judge::line_runs::switch_of_file(&options.path, gauge, wanted.as_ref())?;
    let out = match &options.out {
        Some(out) => fresh_folder(out)?,
        None => fresh_folder(&options.path.with_extension("switch"))?,
    };
    line::write(
        &Subject::of_file("Pressure switch", &FileRecord::of_text(name, &text), rig),
        &outcome,
        &[],
        &[],
        None,
        &out,
        &options.display,
    )
}

/// What the command line wants of the switch.
fn wanted(options: &Options) -> Result<Option<SwitchSpec>, Failure> {
    let (Some(set_point), Some(tolerance)) = (&options.set_point, &options.tolerance) else {
        return Ok(None);
    };
    let tolerance_kpa = parse_difference(tolerance, Dimension::GaugePressure)
        .map_err(|e| Problem::new(e.what(tolerance)).expected("a pressure such as \"3 psi\""))?;
    let reset = options.reset_point.as_deref().map(|text| value(text, Dimension::GaugePressure));
    Ok(Some(SwitchSpec {
        set_point_kpa: value(set_point, Dimension::GaugePressure)?,
        tolerance_kpa,
        reset_kpa: reset.transpose()?,
    }))
}

/// A folder for results: made, or empty.
pub(super) fn fresh_folder(dir: &Path) -> Result<PathBuf, Failure> {
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
