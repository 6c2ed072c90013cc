//! `dutycup window CALIBRATION SWITCH_RUN --boost PEAK`: would the "spraying" lamp be right on the car?
//!
//! Without a bench: from a pair's calibration and what a switch run (or a file of ramps) found.

use super::analyse::fresh_folder;
use super::analysis::Display;
use super::predict::value;
use super::{Outcome, line};
use crate::fit::ask::Ask;
use crate::fit::store;
use crate::judge::line_runs::Outcome as Found;
use crate::judge::window::{Cell, MARGIN_KPA, Switch, cells_from, margin, window};
use crate::judge::window_pair::{Calibrated, cells};
use crate::judge::window_text::{sentences, to_csv};
use crate::problem::Problem;
use crate::quantity::Dimension;
use crate::record::RunFolder;
use crate::record::run_file::FileRecord;
use crate::reduce::gauge::Gauge;
use crate::reduce::switch_points::SwitchPoints;
use crate::reduce::{switch_run, table};
use crate::report::pages::subject::Subject;
use clap::Args;
use std::path::PathBuf;

/// Options of `window`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Calibration of the pair.
    calibration: PathBuf,
    /// Run folder of a switch run, or a CSV of ramps (`ramp, time_s, line_pressure_psi, switch`).
    switch_run: PathBuf,
    /// Peak boost, such as `"20 psi"`.
    #[arg(long, value_name = "PEAK")]
    boost: String,
    /// CSV of the table cells that spray (`boost_psi, duty_pct`).
    #[arg(long, value_name = "CELLS", conflicts_with_all = ["from", "lightest"])]
    cells: Option<PathBuf>,
    /// Boost at which spraying starts, such as `"8 psi"`.
    #[arg(long, value_name = "BOOST", requires = "lightest")]
    from: Option<String>,
    /// Lowest duty that is sprayed, such as `"15 %"`.
    #[arg(long, value_name = "DUTY", requires = "from")]
    lightest: Option<String>,
    /// Safety margin on both limits [default: 7 kPa, about 1 psi].
    #[arg(long, value_name = "PRESSURE")]
    margin: Option<String>,
    /// Supply on the car, such as `"13.2 V"`; the calibration's reference if not given.
    #[arg(long, value_name = "VOLTS")]
    supply: Option<String>,
    /// Nozzle, or several at once joined by `+`.
    #[arg(long)]
    nozzle: Option<String>,
    /// Folder for the results, new or empty; nothing is written if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    #[command(flatten)]
    display: Display,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let model = store::model(&line::calibration(&options.calibration)?)?;
    let points = switch(options)?;
    let Some(switch) = Switch::of(&points) else {
        let what = "the switch run found no trip and reset with an uncertainty";
        return Err(Problem::new(what).help("run more cycles; see its findings").into());
    };
    let pressure = |text: &str| value(text, Dimension::GaugePressure);
    let peak_kpa = pressure(&options.boost)?;
    let margin_kpa = match &options.margin {
        Some(text) => crate::quantity::parse_difference(text, Dimension::GaugePressure)
            .map_err(|e| Problem::new(e.what(text)))?,
        None => MARGIN_KPA,
    };
    let supply_v = options.supply.as_deref().map(|t| value(t, Dimension::Voltage)).transpose()?;
    let ask = Ask { nozzle: options.nozzle.clone(), supply_v, ..Ask::default() };
    let pair = Calibrated { model: &model, ask };
    let answer = window(&pair, &switch, peak_kpa, &sprayed(options, peak_kpa)?, margin_kpa);
    let (said, files) = match &answer {
        Ok(window) => (sentences(window), vec![("window_cells.csv", to_csv(window))]),
        Err(why) => (vec![why.to_string()], Vec::new()),
    };
    let found = Found { subjects: vec![margin(&answer)], files, ..Found::default() };
    let name = options.switch_run.display().to_string();
    let file = FileRecord { name, bytes: 0, sha256: None };
    let subject = Subject::of_file("Window of the pressure switch", &file, None);
    match &options.out {
        Some(out) => line::write(&subject, &found, &[], &said, None, &fresh_folder(out)?, &options.display),
        None => line::say(&subject, &found, &said, &options.display),
    }
}

/// The switch: from a run folder, or from a file of ramps.
fn switch(options: &Options) -> Result<SwitchPoints, super::Failure> {
    if !options.switch_run.is_dir() {
        return Ok(switch_run::from_csv(&options.switch_run, Gauge::assumed())?);
    }
    let folder = RunFolder::open(&options.switch_run)?;
    let name = options.switch_run.join("rig.yaml").display().to_string();
    let rig = crate::script::rig_file::read(&crate::script::yaml::Text::new(name, folder.rig_text.as_str()))?;
    Ok(switch_run::from_run(&folder, &rig)?)
}

/// The cells that spray.
fn sprayed(options: &Options, peak_kpa: f64) -> Result<Vec<Cell>, super::Failure> {
    match (&options.cells, &options.from, &options.lightest) {
        (Some(path), _, _) => Ok(cells(&table::read(path)?)?),
        (None, Some(from), Some(lightest)) => {
            let start = value(from, Dimension::GaugePressure)?;
            Ok(cells_from(start, value(lightest, Dimension::Ratio)?, peak_kpa))
        }
        _ => Err(Problem::new("which cells spray was not said")
            .help("give --cells, or --from BOOST and --lightest DUTY")
            .into()),
    }
}
