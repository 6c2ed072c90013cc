//! `dutycup run SCENARIO`: plays, records, reduces, fits, judges, writes.
//!
//! Without `--rig` the virtual bench runs in this process under the virtual clock. A rig with a real port, or one that
//! is worked by hand, runs on the real clock, and energises nothing without `--arm` and its own name. With `--resume`
//! a run that ended early goes on in its own folder.

mod arm;
mod earlier;
mod operator;
mod play;
mod resume;

use super::analysis::{self, Display};
use super::besides::{Against, Besides};
use super::check_by_hand::is_by_hand;
use super::{Failure, Outcome, data, say};
use crate::chance::Seed;
use crate::clock::WallTime;
use crate::exit::Exit;
use crate::problem::Problem;
use crate::quantity::Units;
use crate::record::run_file::{FileRecord, RunFile};
use crate::run::ending::Ending;
use crate::script::Scenario;
use crate::script::plan::{Op, Plan};
use crate::script::rig::Rig;
use crate::script::scenario::parameters::Parameter;
use crate::script::shipped;
use crate::script::yaml::Text;
use crate::verdict::purpose::Purpose;
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Options of `run`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Scenario file.
    #[arg(required_unless_present = "resume")]
    scenario: Option<PathBuf>,
    /// Rig file; the virtual bench if none is given.
    #[arg(long)]
    rig: Option<PathBuf>,
    /// Folder for the results, new or empty; `results/<time>-<scenario>-<id>` if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Set a parameter of the scenario.
    #[arg(long, value_name = "NAME=VALUE", value_parser = parse_set, conflicts_with = "resume")]
    set: Vec<(String, String)>,
    /// virtual: simulate as fast as possible; real: real time (default for real ports).
    #[arg(long)]
    clock: Option<ClockChoice>,
    /// Seed of everything random: order, and the virtual bench.
    #[arg(long, value_name = "N", default_value_t = 1, conflicts_with = "resume")]
    seed: u64,
    /// Continue an interrupted run from its next unfinished collection.
    #[arg(long, value_name = "DIR")]
    resume: Option<PathBuf>,
    /// Print the steps, the bench time, the highest pressure, the fluid and the cup fillings; run nothing.
    #[arg(long)]
    dry_run: bool,
    /// Confirm that the bench is safe to energise, by typing the rig's name.
    #[arg(long, value_name = "RIG_NAME")]
    arm: Option<String>,
    /// Confirm: the fluid contains methanol, the bench is suited to it, precautions are taken (printed at arming).
    #[arg(long)]
    methanol: bool,
    /// Show the running bench on the whole screen: a key stops it (the emergency stop is surer). Without a terminal: plain lines on stderr.
    #[arg(long)]
    live: bool,
    /// Calibration of the pair, for what needs the nozzle's coefficient (leak, decay after stop).
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    #[command(flatten)]
    against: Against,
    #[command(flatten)]
    display: Display,
}

/// Which clock a run goes by.
#[derive(ValueEnum, Clone, Copy, Debug, PartialEq)]
enum ClockChoice {
    Virtual,
    Real,
}

fn parse_set(text: &str) -> Result<(String, String), String> {
    let (name, value) = text.split_once('=').ok_or("expected NAME=VALUE, such as dwell=\"10 s\"")?;
    Ok((name.trim().to_owned(), value.trim().to_owned()))
}

/// A run about to be played: a new one, or one that goes on.
struct Job {
    rig: Rig,
    plan: Plan,
    /// What the scenario says before arming.
    cautions: Vec<String>,
    /// Folder of the results.
    dir: PathBuf,
    seed: u64,
    /// What the scenario lets be set.
    parameters: Vec<Parameter>,
    /// The traces that are replayed: name and text.
    traces: Vec<(String, String)>,
    /// Files that the run was made from, each with the hash of what was read.
    read: Vec<(PathBuf, FileRecord)>,
    /// Where it goes on; none for a new run.
    resumed: Option<resume::Resumed>,
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let job = match &options.resume {
        Some(dir) => resume::job(options, dir)?,
        None => fresh(options)?,
    };
    let besides = Besides::read(options.calibration.as_deref(), None, &options.against)?;
    besides.fits(job.plan.purpose)?;
    for step in &job.plan.steps {
        if let Op::Expect { item, .. } = &step.op {
            besides.serves(item)?;
        }
    }
    if options.dry_run {
        data(&crate::script::timeline(&job.plan, &job.rig).text(Units::Us));
        data(&parameters(&job));
        return Ok(Exit::Pass);
    }
    let clock = choose_clock(options.clock, energises(&job.rig))?;
    arm::fluid(options.methanol, &job.rig)?;
    if job.resumed.is_none() {
        arm::folder(&job.dir)?;
    }
    if energises(&job.rig)
        && let Err(refusal) = arm::arm(options.arm.as_deref(), &job)
    {
        if job.resumed.is_none() {
            // Only a folder that is still empty goes.
            let _ = std::fs::remove_dir(&job.dir);
        }
        return Err(refusal);
    }
    let ending = play::play(&job, options, clock)?;
    say_ending(&ending);
    judge(options, &job, &besides, &ending)
}

/// Everything after the recording.
fn judge(options: &Options, job: &Job, besides: &Besides, ending: &Ending) -> Outcome {
    let dir = &job.dir;
    let about_line = matches!(
        job.plan.purpose,
        Purpose::Switch | Purpose::LeakDown | Purpose::DeadHead | Purpose::TankLevel
    );
    // What ended a run over the line early (a burst hose, a leak larger than the pump) is a finding too.
    let tells = ending.complete() || (about_line && ending.fault.is_some());
    if !tells {
        say(&format!(
            "the record is in {}\ngo on with it: dutycup run --resume {}",
            dir.display(),
            dir.display()
        ));
        return Ok(ending.exit);
    }
    let judged = analysis::of_run(dir, dir, besides, &options.display);
    let exit = judged.as_ref().map_or_else(Failure::exit, |exit| *exit).and(ending.exit);
    keep_verdict(dir, exit)?;
    judged.map(|_| exit)
}

/// What `--set` may change, with what it is now.
fn parameters(job: &Job) -> String {
    if job.parameters.is_empty() {
        return String::new();
    }
    let mut text = String::from("\nparameters, changed with --set NAME=VALUE:\n");
    for declared in &job.parameters {
        let used = job.plan.parameters.iter().find(|(name, _)| *name == declared.name);
        let used = used.map_or(declared.default.as_str(), |(_, value)| value);
        let changed =
            if used == declared.default { String::new() } else { format!(", not {}", declared.default) };
        let about = declared.about.as_deref().map_or_else(String::new, |about| format!("  ({about})"));
        text += &format!("  {} = {used}{changed}{about}\n", declared.name);
    }
    text
}

/// The rig of a run that names none: as it comes with the program, whatever lies in the working folder.
fn virtual_rig() -> Result<Rig, Failure> {
    let (name, text) = shipped::named("rigs", Path::new(shipped::VIRTUAL_RIG))
        .ok_or_else(|| Problem::new("the program came without its virtual rig"))?;
    Ok(crate::script::rig_file::read(&Text::new(name, text))?)
}

/// The traces that a plan replays, from beside its scenario, each once.
fn traces(scenario: &Scenario, plan: &Plan) -> Result<Vec<(String, String)>, Failure> {
    let mut traces: Vec<(String, String)> = Vec::new();
    for step in &plan.steps {
        if let Op::Replay { file, .. } = &step.op
            && traces.iter().all(|(name, _)| name != file)
        {
            traces.push((file.clone(), scenario.file(file)?));
        }
    }
    Ok(traces)
}

/// A new run.
fn fresh(options: &Options) -> Result<Job, Failure> {
    let path = options.scenario.as_deref().ok_or_else(|| {
        Problem::new("a scenario is missing").help("name one, such as scenarios/pump-and-nozzle.yaml")
    })?;
    let scenario = crate::script::load_scenario(path)?;
    let rig = match &options.rig {
        Some(path) => crate::script::load_rig(path)?,
        None => virtual_rig()?,
    };
    let plan = crate::script::plan(&scenario, &rig, &options.set, Seed(options.seed))?;
    let traces = traces(&scenario, &plan)?;
    let mut read = vec![(path.to_owned(), FileRecord::of_text("scenario.yaml", &plan.source))];
    if let Some(path) = &options.rig {
        read.push((path.clone(), FileRecord::of_text("rig.yaml", &rig.source)));
    }
    // What comes with the program is no file that anybody edits.
    read.retain(|(path, _)| path.exists());
    let dir = match &options.out {
        Some(dir) => dir.clone(),
        None => results_folder(&plan, WallTime::now()),
    };
    let (cautions, parameters) = (scenario.cautions, scenario.parameters);
    Ok(Job { rig, plan, cautions, dir, seed: options.seed, parameters, traces, read, resumed: None })
}

/// Whether a rig has a pump made of metal: behind a port, or switched by the operator.
fn energises(rig: &Rig) -> bool {
    is_by_hand(rig) || rig.instruments.iter().any(|i| i.port.path.is_some())
}

/// Writes into the run file what the run came to.
fn keep_verdict(dir: &Path, exit: Exit) -> Result<(), Failure> {
    let path = dir.join("run.yaml");
    let text = std::fs::read_to_string(&path).map_err(|e| Failure::write(&path, &e))?;
    let mut file = RunFile::from_text(&text)?;
    file.exit_code = Some(exit.code());
    file.verdict = match exit {
        Exit::Pass => Some("pass".into()),
        Exit::Fail => Some("fail".into()),
        Exit::Undecided => Some("undecided".into()),
        _ => None,
    };
    Ok(file.write(dir)?)
}

/// The clock that was asked for, or the one that fits.
fn choose_clock(asked: Option<ClockChoice>, real: bool) -> Result<ClockChoice, Failure> {
    match (asked, real) {
        (Some(ClockChoice::Virtual), true) => {
            Err(Problem::new("a real bench cannot run on the virtual clock")
                .help(
                    "leave `--clock virtual` away, or use a rig with a virtual bench and without port paths",
                )
                .into())
        }
        (Some(choice), _) => Ok(choice),
        (None, true) => Ok(ClockChoice::Real),
        (None, false) => Ok(ClockChoice::Virtual),
    }
}

/// `results/<UTC time>-<scenario>-<short id>`, not there yet.
fn results_folder(plan: &Plan, now: WallTime) -> PathBuf {
    let tag = Seed(now.unix_ms.unsigned_abs()).nth(u64::from(std::process::id())).0 & 0xff_ffff;
    Path::new("results").join(format!("{}-{}-{tag:06x}", now.to_compact(), plan.scenario))
}

fn say_ending(ending: &Ending) {
    if let Some(fault) = &ending.fault {
        say(&format!("\nThe run was ended: {fault}"));
    }
    if !ending.complete() || !ending.verified {
        say(&format!("Safe state: {}", ending.safe_state));
    }
}
