//! `dutycup accept RUN... --as FILE`: makes a baseline from runs of a controller, or from points taken elsewhere.
//!
//! The baseline is a text to be reviewed and kept beside the firmware it describes.

use super::output::{data, write_text};
use super::{Failure, Outcome};
use crate::exit::Exit;
use crate::judge::baseline::compare::reach;
use crate::judge::baseline::origin::{Origin, line_of_parameter, lines_of_scenario};
use crate::judge::baseline::{Baseline, merge, text};
use crate::problem::Problem;
use crate::record::RunFolder;
use crate::record::run_file::{ClockKind, FileRecord, RunFile, State};
use crate::reduce::{controller_csv, controller_run, table};
use crate::script::rig::Rig;
use crate::script::yaml::Text;
use crate::uncertainty::rounding;
use crate::verdict::purpose::Purpose;
use clap::Args;
use std::path::{Path, PathBuf};

/// Options of `accept`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Run folders of one controller, or CSV files of points (`output, boost_v, rpm, supply_v, value, unit, repeat`).
    #[arg(required = true, value_name = "RUN")]
    runs: Vec<PathBuf>,
    /// Where the baseline goes.
    #[arg(long = "as", value_name = "FILE")]
    to: PathBuf,
    /// Version of the firmware, to be noted in the baseline.
    #[arg(long, value_name = "TEXT")]
    firmware: Option<String>,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    refuse_foreign(&options.to)?;
    let parts: Result<Vec<Baseline>, Failure> = options.runs.iter().map(|p| load(p)).collect();
    let mut baseline = merge(parts?)?;
    baseline.firmware = options.firmware.clone();
    write_text(&options.to, &text::write(&baseline)?)?;
    data(&format!(
        "{} observations accepted as {}\n\nWhat a comparison can tell apart, with the same instruments:\n",
        baseline.observations.len(),
        options.to.display()
    ));
    for r in reach(&baseline, true) {
        let told = if r.unit == "on" {
            "any change of on and off is told".to_owned()
        } else {
            let (u95, tightest) = (rounding::raised(r.u95), rounding::raised(r.tightest));
            format!("U {u95:>8} {}; tolerances of {tightest} {} and wider", r.unit, r.unit)
        };
        data(&format!("  {:<24} {:<12} {told}\n", r.key.0, r.key.1.word()));
    }
    Ok(Exit::Pass)
}

/// A file that is there already is replaced only where it is a baseline.
fn refuse_foreign(path: &Path) -> Result<(), Failure> {
    let name = path.display().to_string();
    let read = match std::fs::metadata(path) {
        Ok(old) if old.len() > text::LENGTH_MAX as u64 => Ok(String::new()),
        _ => std::fs::read_to_string(path),
    };
    match read {
        Ok(old) if text::read(&name, &old).is_ok() => Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(()),
        Ok(_) | Err(_) => Err(Problem::new(format!("{name} is there and is no baseline"))
            .help("name another file with --as")
            .into()),
    }
}

/// What a path holds: a run folder, or a file of points.
pub(super) fn load(path: &Path) -> Result<Baseline, Failure> {
    if path.is_dir() {
        let folder = RunFolder::open(path)?;
        return of_folder(&folder).map(|b| b.0);
    }
    let name = path.display().to_string();
    let table = table::read(path)?;
    let observations = controller_csv::from_table(&table)?;
    let bytes = std::fs::read_to_string(path).map_err(|e| Problem::new(format!("{name}: {e}")))?;
    let hash = FileRecord::of_text(&name, &bytes).sha256.unwrap_or_default();
    Ok(Baseline {
        origin: Origin {
            sources: vec![format!("points taken elsewhere: {name}")],
            hashes: vec![(name, hash)],
            ..Origin::default()
        },
        firmware: None,
        observations: observations.list,
    })
}

/// A run folder's observations with its rig.
pub(super) fn of_folder(folder: &RunFolder) -> Result<(Baseline, Rig), Failure> {
    let (run, dir) = (&folder.run, folder.dir.display().to_string());
    if run.purpose != Purpose::Controller {
        return Err(Problem::new(format!(
            "{dir}: is a run of scenario {}, which is not about a controller",
            run.scenario
        ))
        .expected("a run of a scenario with `purpose: controller`")
        .into());
    }
    if run.state != State::Complete {
        return Err(Problem::new(format!("{dir}: this run did not come to its end"))
            .help("a part of a controller is not compared with a whole one; run it again")
            .into());
    }
    let rig = crate::script::rig_file::read(&Text::new(format!("{dir}/rig.yaml"), folder.rig_text.as_str()))?;
    let observations = controller_run::from_run(folder, &rig)?;
    let hashed = run.files.iter().filter_map(|f| Some((format!("{dir}/{}", f.name), f.sha256.clone()?)));
    let mut alike = lines_of_scenario(&folder.scenario_text);
    alike.extend(run.parameters.iter().filter_map(|(n, v)| line_of_parameter(n, v)));
    alike.extend(lines_of_rig(run, &rig));
    let origin = Origin {
        sources: vec![format!(
            "{dir}: scenario {}, rig {}, seed {}, {}, {}",
            run.scenario, run.rig, run.seed, run.started, run.program
        )],
        hashes: hashed.collect(),
        alike,
        instruments: lines_of_instruments(run),
    };
    let baseline = Baseline { origin, firmware: None, observations: observations.list };
    Ok((baseline, rig))
}

/// What of a rig must be alike: sensor, tach, outputs, fluid.
fn lines_of_rig(run: &RunFile, rig: &Rig) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(sensor) = rig.engine.boost_sensor {
        let points = sensor.points.map(|(v, p)| format!("{v} V at {:.3} kPa abs", p.0));
        lines.push(format!("rig  manifold sensor: {}", points.join(", ")));
    }
    lines.push(format!("rig  ratiometric: {}", rig.engine.ratiometric));
    lines.push(format!("rig  pulses per revolution: {}", rig.engine.pulses_per_rev));
    let outputs = run.channels.iter().filter(|c| c.every_s > 0.0);
    let named =
        outputs.filter(|c| ["duty_output.", "switched.", "analogue."].iter().any(|p| c.role.starts_with(p)));
    lines.extend(named.map(|c| format!("rig  output {}", c.role)));
    lines.push(format!("fluid  methanol mass fraction: {}", run.fluid.methanol_mass_fraction));
    lines
}

/// Instruments with serial numbers, calibrations and what is stated of their errors.
fn lines_of_instruments(run: &RunFile) -> Vec<String> {
    let told = |t: &Option<String>| t.clone().unwrap_or_else(|| "-".into());
    let mut lines: Vec<String> = (run.instruments.iter())
        .map(|i| format!("{}: {}; serial {}", i.name, told(&i.identity), told(&i.serial)))
        .collect();
    lines.extend(run.channels.iter().filter_map(|c| {
        let date = c.calibrated.as_ref()?;
        Some(format!("{} on {}: calibrated {date}", c.role, c.instrument))
    }));
    if run.clock == ClockKind::Virtual {
        // The errors of a virtual bench's instruments are drawn from its seed: another seed is another bench.
        lines.push(format!("virtual bench of seed {}", run.seed));
    }
    lines
}
