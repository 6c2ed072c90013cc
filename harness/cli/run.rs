//! `dutycup run SCENARIO`: plays, records, reduces, fits, judges, writes.
//!
//! Without `--rig` the virtual bench runs in this process under the virtual clock. A rig with a real port runs on the
//! real clock, and energises nothing without `--arm` and its own name.

use super::analysis::{self, Display};
use super::line;
use super::signals::with_signals;
use super::{Failure, Outcome, data, say, watch};
use crate::chance::Seed;
use crate::clock::{Moment, SystemClock, WallTime};
use crate::exit::Exit;
use crate::live::watcher::Wants;
use crate::port::Ports;
use crate::port::in_process::{InProcess, Pace, StopFlag};
use crate::port::serial::SerialPorts;
use crate::problem::Problem;
use crate::quantity::Units;
use crate::record::disk::write_whole;
use crate::record::run_file::{FileRecord, RunFile, State};
use crate::record::writer::{self, Recorder};
use crate::run::bench::Bench;
use crate::run::drive::{drive, panicked};
use crate::run::ending::Ending;
use crate::script::plan::{Op, Plan, Purpose};
use crate::script::rig::{Rig, Watchdog};
use crate::script::yaml::Text;
use clap::{Args, ValueEnum};
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};

/// The rig that is used where none is named.
const VIRTUAL_RIG: &str = include_str!("../../rigs/virtual.yaml");
/// Its name in messages.
const VIRTUAL_RIG_NAME: &str = "rigs/virtual.yaml";

/// Options of `run`.
#[derive(Args, Debug)]
pub(super) struct Options {
    /// Scenario file.
    scenario: PathBuf,
    /// Rig file; the virtual bench if none is given.
    #[arg(long)]
    rig: Option<PathBuf>,
    /// Folder for the results, new or empty; `results/<time>-<scenario>-<id>` if none is given.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Set a parameter of the scenario.
    #[arg(long, value_name = "NAME=VALUE", value_parser = parse_set)]
    set: Vec<(String, String)>,
    /// Which clock; virtual for a bench in this process, real for real ports.
    #[arg(long)]
    clock: Option<ClockChoice>,
    /// Seed of everything random: order, and the virtual bench.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Print the steps, the bench time, the highest pressure, the fluid and the cup fillings; run nothing.
    #[arg(long)]
    dry_run: bool,
    /// The rig's own name: the bench is safe and may be energised.
    #[arg(long, value_name = "BENCH")]
    arm: Option<String>,
    /// Calibration of the pair, for what needs the nozzle's coefficient (leak, decay after stop).
    #[arg(long, value_name = "FILE")]
    calibration: Option<PathBuf>,
    /// Show the running bench on the whole screen: any key stops it. Without a terminal: plain lines on stderr.
    #[arg(long)]
    live: bool,
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
    let (name, value) = text
        .split_once('=')
        .ok_or("expected NAME=VALUE, such as dwell=\"10 s\"")?;
    Ok((name.trim().to_owned(), value.trim().to_owned()))
}

/// Runs the command.
pub(super) fn main(options: &Options) -> Outcome {
    let scenario = crate::script::load_scenario(&options.scenario)?;
    let rig = match &options.rig {
        Some(path) => crate::script::load_rig(path)?,
        None => crate::script::rig_file::read(&Text::new(VIRTUAL_RIG_NAME, VIRTUAL_RIG))?,
    };
    let plan = crate::script::plan(&scenario, &rig, &options.set, Seed(options.seed))?;
    if options.dry_run {
        data(&crate::script::timeline(&plan, &rig).text(Units::Us));
        return Ok(Exit::Pass);
    }
    let real_ports = rig.instruments.iter().any(|i| i.port.path.is_some());
    let clock = choose_clock(options.clock, real_ports)?;
    if real_ports {
        arm(options.arm.as_deref(), &rig, &plan)?;
    }
    let started = if clock == ClockChoice::Virtual {
        WallTime::VIRTUAL_START
    } else {
        WallTime::now()
    };
    let dir = match &options.out {
        Some(dir) => dir.clone(),
        None => results_folder(&plan, WallTime::now())?,
    };
    let played = play(options, &rig, &plan, &dir, clock, started)?;
    say_ending(&played.ending);
    let coefficient = options
        .calibration
        .as_deref()
        .map(line::coefficient)
        .transpose()?;
    let about_line = matches!(
        plan.purpose,
        Purpose::Switch | Purpose::LeakDown | Purpose::DeadHead | Purpose::TankLevel
    );
    // What ended a run over the line early (a burst hose, a leak larger than the pump) is a finding too.
    let tells = played.ending.complete() || (about_line && played.ending.fault.is_some());
    if !tells {
        say(&format!("the record is in {}", dir.display()));
        return Ok(played.ending.exit);
    }
    let judged = analysis::of_run(&dir, &dir, coefficient, None, &options.display);
    let exit = judged
        .as_ref()
        .map_or_else(Failure::exit, |exit| *exit)
        .and(played.ending.exit);
    keep_verdict(&dir, exit)?;
    judged.map(|_| exit)
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
fn choose_clock(asked: Option<ClockChoice>, real_ports: bool) -> Result<ClockChoice, Failure> {
    match (asked, real_ports) {
        (Some(ClockChoice::Virtual), true) => Err(Problem::new("real ports cannot run on the virtual clock")
            .help("leave `--clock virtual` away, or use a rig without port paths")
            .into()),
        (Some(choice), _) => Ok(choice),
        (None, true) => Ok(ClockChoice::Real),
        (None, false) => Ok(ClockChoice::Virtual),
    }
}

/// Nothing is energised on real ports without the rig's own name.
fn arm(given: Option<&str>, rig: &Rig, plan: &Plan) -> Result<(), Failure> {
    let limits = plan.limits;
    say(&format!(
        "Bench `{}` will be energised: up to {:.0} kPa line pressure, {:.0} to {:.0} % duty, {:.0} s without a pause.\n\
         Relief valve set, hose rated for it, fuse and emergency stop in the 12 V feed, eye protection on, \
         electronics away from the spray? Bench with water.",
        rig.name, limits.line_pressure_kpa, limits.duty_pct.0, limits.duty_pct.1, limits.on_time_s
    ));
    if rig.watchdog == Watchdog::None {
        say(
            "WATCHDOG: NONE. If this computer or its cable fails, nothing but the emergency stop ends the spraying. \
             Stay at the bench with a hand on it.",
        );
    }
    let typed = match given {
        Some(name) => name.to_owned(),
        None if std::io::stdin().is_terminal() => {
            say("Type the bench's name to arm it:");
            let mut line = String::new();
            std::io::stdin()
                .read_line(&mut line)
                .map_err(|e| Problem::new(e.to_string()))?;
            line.trim().to_owned()
        }
        None => String::new(),
    };
    if typed == rig.name {
        return Ok(());
    }
    let what = if typed.is_empty() {
        "a bench with real ports is not energised unasked".to_owned()
    } else {
        format!("\"{typed}\" is not the name of this bench")
    };
    Err(Problem::new(what).help(format!("say --arm {}", rig.name)).into())
}

/// `results/<UTC time>-<scenario>-<short id>`, not there yet.
fn results_folder(plan: &Plan, now: WallTime) -> Result<PathBuf, Failure> {
    let tag = Seed(now.unix_ms.unsigned_abs())
        .nth(u64::from(std::process::id()))
        .0
        & 0xff_ffff;
    let dir = Path::new("results").join(format!("{}-{}-{tag:06x}", now.to_compact(), plan.scenario));
    std::fs::create_dir_all("results").map_err(|e| Failure::write(Path::new("results"), &e))?;
    Ok(dir)
}

/// What a played run left.
struct Played {
    ending: Ending,
}

/// Plays the plan into `dir`.
fn play(
    options: &Options,
    rig: &Rig,
    plan: &Plan,
    dir: &Path,
    clock: ClockChoice,
    started: WallTime,
) -> Result<Played, Failure> {
    let roles: Vec<_> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let pace = if clock == ClockChoice::Virtual {
        writer::Pace::Virtual
    } else {
        writer::Pace::Real
    };
    let mut recorder = Recorder::create(dir, &roles)?.at_pace(pace)?;
    let kind = match clock {
        ClockChoice::Virtual => crate::record::run_file::ClockKind::Virtual,
        ClockChoice::Real => crate::record::run_file::ClockKind::Real,
    };
    let operator = std::env::var("USER").ok().filter(|_| clock == ClockChoice::Real);
    let mut file = RunFile::new(rig, plan, options.seed, kind, operator, started.to_rfc3339());
    write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes())?;
    write_whole(&dir.join("rig.yaml"), rig.source.as_bytes())?;
    keep_traces(options, plan, dir, &mut file)?;
    file.write(dir)?;
    let (ending, timing, identities) = {
        let mut bench = Bench::new(rig, plan, &mut recorder)?;
        let ending = on_ports(&mut bench, options, rig, plan, clock)?;
        (ending, bench.timing().clone(), bench.identities().to_vec())
    };
    let finished = recorder.finish();
    write_whole(&dir.join("timing.hlog"), &timing.to_hlog())?;
    for (instrument, identity) in file.instruments.iter_mut().zip(identities) {
        instrument.identity = (!identity.is_empty()).then_some(identity);
    }
    if let Ok(record) = &finished {
        file.finished(record);
    }
    let ended = if clock == ClockChoice::Virtual {
        started
    } else {
        WallTime::now()
    };
    close(&mut file, &ending, ended);
    file.write(dir)?;
    finished?;
    Ok(Played { ending })
}

/// Copies the traces that are replayed into the run folder, where the copy of the scenario looks for them.
fn keep_traces(options: &Options, plan: &Plan, dir: &Path, file: &mut RunFile) -> Result<(), Failure> {
    let beside = options.scenario.parent().unwrap_or(Path::new(""));
    for step in &plan.steps {
        let Op::Replay { file: name, .. } = &step.op else {
            continue;
        };
        if file.files.iter().any(|f| f.name == *name) {
            continue;
        }
        let (from, to) = (beside.join(name), dir.join(name));
        let text = std::fs::read_to_string(&from).map_err(|e| {
            Problem::new(format!("{}: {e}", from.display())).expected("the trace to be played")
        })?;
        if let Some(folder) = to.parent() {
            std::fs::create_dir_all(folder).map_err(|e| Failure::write(folder, &e))?;
        }
        write_whole(&to, text.as_bytes())?;
        file.files.push(FileRecord::of_text(name, &text));
    }
    Ok(())
}

/// Writes into the run file how the run ended; the verdict comes with the analysis.
fn close(file: &mut RunFile, ending: &Ending, ended: WallTime) {
    file.state = if ending.complete() {
        State::Complete
    } else {
        State::Aborted
    };
    file.exit_code = Some(ending.exit.code());
    file.ended = Some(ended.to_rfc3339());
    file.safe_state = Some(ending.safe_state.clone());
    file.fault = ending.fault.as_ref().map(Into::into);
}

/// Chooses the ports and drives the bench on them.
fn on_ports(
    bench: &mut Bench<'_>,
    options: &Options,
    rig: &Rig,
    plan: &Plan,
    clock: ClockChoice,
) -> Result<Ending, Failure> {
    let mut watcher = watch::watcher(options.live);
    let view = watch::view(plan, rig, options.display.units, clock == ClockChoice::Virtual);
    if rig.instruments.iter().any(|i| i.port.path.is_some()) {
        let system = SystemClock::start();
        let (mut ports, mut failed) = SerialPorts::open(rig, system, watch::asker(&watcher));
        if !failed.is_empty() {
            failed
                .iter()
                .skip(1)
                .for_each(|(_, fault)| say(&fault.to_string()));
            return Err(failed.swap_remove(0).1.into());
        }
        let handle = ports.handle();
        if std::io::stdin().is_terminal() && !watcher.takes_keys() {
            read_answers(handle.clone());
        }
        let (stop, answer) = (handle.clone(), handle.clone());
        let wants = Wants {
            stop: Box::new(move || stop.stop(Exit::Interrupt)),
            answer: Box::new(move |text| answer.answer(text)),
        };
        watcher.begin(view, wants);
        return with_signals(
            move |exit| handle.stop(exit),
            || guarded(bench, &mut ports, &mut |now, bench| watcher.look(now, bench)),
        );
    }
    let section = rig.virtual_bench.as_ref().ok_or_else(|| {
        Problem::new(format!(
            "rig {} has neither port paths nor a `virtual_bench:` section",
            rig.name
        ))
        .help("name the instruments' ports, or copy the section from rigs/virtual.yaml")
    })?;
    let far_end = crate::virtual_bench::build(section, Seed(options.seed))?;
    let pace = if clock == ClockChoice::Virtual {
        Pace::Virtual
    } else {
        Pace::Real(SystemClock::start())
    };
    let stop = StopFlag::default();
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = InProcess::new(far_end, names, pace, stop.clone());
    let wish = stop.clone();
    let wants = Wants {
        stop: Box::new(move || wish.set(Exit::Interrupt)),
        answer: Box::new(|_| {}),
    };
    watcher.begin(view, wants);
    with_signals(
        move |exit| stop.set(exit),
        || guarded(bench, &mut ports, &mut |now, bench| watcher.look(now, bench)),
    )
}

/// Drives the bench; a panic still sends the off command.
fn guarded<P: Ports>(
    bench: &mut Bench<'_>,
    ports: &mut P,
    watch: &mut dyn FnMut(Moment, &Bench<'_>),
) -> Ending {
    let run = std::panic::AssertUnwindSafe(|| drive(bench, ports, 0, watch));
    match std::panic::catch_unwind(run) {
        Ok(ending) => ending,
        Err(_) => {
            for (port, bytes) in bench.off_commands() {
                // The port may be the very thing that failed; every port is tried.
                let _ = ports.send(port, &bytes);
            }
            panicked("the program failed while the bench was running")
        }
    }
}

/// Hands lines typed at the terminal to the bench.
fn read_answers(handle: crate::port::serial::Handle) {
    let read = move || {
        for line in std::io::stdin().lines() {
            let Ok(line) = line else { return };
            handle.answer(line);
        }
    };
    // Without this thread the operator's answers do not arrive, and the run says so by waiting.
    let _ = std::thread::Builder::new().name("answers".into()).spawn(read);
}

fn say_ending(ending: &Ending) {
    if let Some(fault) = &ending.fault {
        say(&format!("\nThe run was ended: {fault}"));
    }
    if !ending.complete() || !ending.verified {
        say(&format!("Safe state: {}", ending.safe_state));
    }
}
