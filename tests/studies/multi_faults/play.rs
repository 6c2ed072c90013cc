//! One run with drawn faults: drawn from a seed, played on the virtual bench, and judged by what was true.
//!
//! In: a seed. Out: how it ended and what the bench says of it. Never: a judgement that looks only at what the harness
//! believes.

use super::kinds::{KINDS, Kind, What};
use super::ports::{Faulty, OnWire, Wire};
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::exit::Exit;
use dutycup::door::record::disk::{Gate, Op};
use dutycup::door::record::run_file::{ClockKind, RunFile, State};
use dutycup::door::record::writer::Recorder;
use dutycup::door::record::{RunFolder, write_whole};
use dutycup::door::run::bench;
use dutycup::door::run::drive::drive;
use dutycup::door::run::ending::Ending;
use dutycup::door::script::plan::Plan;
use dutycup::door::script::rig::Rig;
use dutycup::door::virtual_bench::Bench;
use dutycup::door::virtual_bench::config::{Config, Mishap, MishapKind};
use rustix::io::Errno;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// A plan that sprays, weighs and ramps within a minute or two of bench time.
const SHORT: [(&str, &str); 9] = [
    ("duties", "25 %, 45 %, 70 %, 100 %"),
    ("repeats", "1"),
    ("dwell", "4 s"),
    ("rest", "1 s"),
    ("prime", "3 s"),
    ("zero", "1 s"),
    ("window", "1 s"),
    ("weighed", "60 %"),
    ("ramp", "6 s"),
];

/// No run takes longer than this, s of bench time: the undisturbed one takes about 80 s.
const LONGEST_S: f64 = 400.0;

/// From when faults come, s; the first moments open the ports and identify the instruments.
const FROM_S: f64 = 0.2;
/// Until when they come, s.
const UNTIL_S: f64 = 75.0;
/// Not before the instruments are known does a banner mean a restart, s.
const KNOWN_S: f64 = 6.0;

/// The shipped virtual rig and a short plan for it.
pub(crate) fn rig_and_plan(seed: Seed) -> (Rig, Plan) {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rig =
        dutycup::door::script::load_rig(&home.join("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let scenario = dutycup::door::script::load_scenario(&home.join("scenarios/pump-and-nozzle.yaml"))
        .unwrap_or_else(|e| panic!("{e}"));
    let sets: Vec<_> = SHORT.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
    let plan = dutycup::door::script::plan(&scenario, &rig, &sets, seed).unwrap_or_else(|e| panic!("{e}"));
    (rig, plan)
}

/// A fault and when it comes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Drawn<'k> {
    pub(crate) kind: &'k Kind,
    pub(crate) at: Moment,
}

/// Two to four faults of different kinds; in every second run all of them within three seconds.
pub(crate) fn draw(seed: Seed) -> Vec<Drawn<'static>> {
    let mut chance = seed.stream("faults");
    let mut kinds: Vec<&'static Kind> = KINDS.iter().collect();
    shuffle(&mut chance, &mut kinds);
    let count = chance.random_range(2..=4);
    let first_s = uniform(&mut chance, FROM_S, UNTIL_S);
    let together = chance.random::<bool>();
    let mut drawn: Vec<Drawn<'static>> = kinds[..count]
        .iter()
        .map(|kind| {
            let at_s = if together {
                first_s + uniform(&mut chance, 0.0, 3.0)
            } else {
                uniform(&mut chance, FROM_S, UNTIL_S)
            };
            let banner = matches!(kind.what, What::Wire(_, Wire::Banner | Wire::Unit, _));
            let at = Moment::from_s(if banner { at_s.max(KNOWN_S) } else { at_s });
            Drawn { kind, at }
        })
        .collect();
    drawn.sort_by_key(|d| d.at);
    drawn
}

/// What a run came to.
pub(crate) struct Played {
    pub(crate) ending: Ending,
    pub(crate) ports: Faulty,
    /// When the loop ended.
    pub(crate) ended: Moment,
    /// When the first fault was noticed.
    pub(crate) noticed: Option<Moment>,
    pub(crate) rows: usize,
    pub(crate) events: String,
}

/// A gate that is open until `broken`, and then fails every write and sync.
fn gate(broken: &Arc<AtomicBool>, full: bool) -> Gate {
    let broken = Arc::clone(broken);
    Gate::new(move |op| {
        let errno = if full { Errno::NOSPC } else { Errno::IO };
        match op {
            Op::Write(_) | Op::Sync if broken.load(Ordering::Relaxed) => Err(errno.into()),
            Op::Write(bytes) => Ok(bytes),
            _ => Ok(0),
        }
    })
}

/// Plays the plan with the faults into `dir`.
pub(crate) fn play(dir: &Path, seed: Seed, drawn: &[Drawn<'_>]) -> Played {
    let (rig, plan) = rig_and_plan(seed);
    let section = rig.virtual_bench.as_ref().unwrap_or_else(|| panic!("no virtual bench"));
    let mut config = Config::read(section).unwrap_or_else(|e| panic!("{e}"));
    let mut on_wire = Vec::new();
    for d in drawn {
        match d.kind.what {
            What::Plant(what) => config.mishaps.push(Mishap { at_s: d.at.as_s(), what }),
            What::Disk { .. } => on_wire.push(OnWire { port: 0, what: Wire::Disk, from: d.at, until: d.at }),
            What::Wire(name, what, lasts_ms) => on_wire.push(OnWire {
                port: rig.instruments.iter().position(|i| i.name == name).unwrap_or_else(|| panic!("{name}")),
                what,
                from: d.at,
                until: if lasts_ms == 0 { Moment::NEVER } else { d.at + Duration::from_millis(lasts_ms) },
            }),
        }
    }
    let full = drawn.iter().find_map(|d| match d.kind.what {
        What::Disk { full } => Some(full),
        _ => None,
    });
    let bench = Bench::new(config, seed).unwrap_or_else(|e| panic!("{e}"));
    let mut ports = Faulty::new(bench, &rig, on_wire, seed);
    let roles: Vec<_> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut recorder = Recorder::create_through(gate(&ports.disk_fails, full == Some(true)), dir, &roles)
        .unwrap_or_else(|e| panic!("{e}"));
    let start = "2000-01-01T00:00:00Z";
    let mut file = RunFile::new(&rig, &plan, seed.0, ClockKind::Virtual, None, start.into());
    for (name, text) in [("scenario.yaml", &plan.source), ("rig.yaml", &rig.source)] {
        write_whole(&dir.join(name), text.as_bytes()).unwrap_or_else(|e| panic!("{e}"));
    }
    file.write(dir).unwrap_or_else(|e| panic!("{e}"));
    let ending = {
        let mut bench = bench::Bench::new(&rig, &plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
        drive(&mut bench, &mut ports, 0, &mut |now, _| {
            assert!(now.as_s() < LONGEST_S, "still running at {} s", now.as_s());
        })
    };
    let ended = dutycup::door::port::Ports::now(&ports);
    // Where the disk failed the run file stays as it is while a run goes on.
    if let Ok(record) = recorder.finish() {
        file.finished(&record);
        let complete = ending.exit == Exit::Pass;
        file.state = if complete { State::Complete } else { State::Aborted };
        file.exit_code = Some(ending.exit.code());
        file.ended = Some(start.into());
        file.write(dir).unwrap_or_else(|e| panic!("{e}"));
    }
    let (rows, noticed, events) = read_back(dir);
    Played { ending, ports, ended, noticed, rows, events }
}

/// Rows of samples, the moment of the first fault, and the events as text.
fn read_back(dir: &Path) -> (usize, Option<Moment>, String) {
    let folder = RunFolder::open(dir).unwrap_or_else(|e| panic!("{e}"));
    let mut rows = 0;
    folder.samples(&mut |_| rows += 1).unwrap_or_else(|e| panic!("{e}"));
    let (mut noticed, mut text) = (None, String::new());
    for event in folder.events().unwrap_or_else(|e| panic!("{e}")) {
        let event = event.unwrap_or_else(|e| panic!("{e}"));
        text += &format!("{:.3} {} {}\n", event.time_s, event.kind, event.detail);
        if matches!(event.kind.as_str(), "fault" | "stop") {
            noticed = noticed.or(Some(Moment::from_s(event.time_s)));
        }
    }
    (rows, noticed, text)
}

/// Longest the pump stays on once a fault was noticed.
const AFTER_NOTICE: Duration = Duration::from_millis(600);
/// The solenoid closes by itself this long after the output went off, with what it takes itself.
const SOLENOID: Duration = Duration::from_millis(2600);

/// Whether another fault of the same instrument may hide this one.
fn hidden(d: &Drawn<'_>, met: &[&Drawn<'_>]) -> bool {
    let instrument = d.kind.instrument();
    let other = |o: &&Drawn<'_>| o.kind.name != d.kind.name && o.kind.instrument() == instrument;
    instrument.is_some() && met.iter().any(other)
}

/// Everything that must be true of a run; the complaints.
pub(crate) fn complaints(drawn: &[Drawn<'_>], played: &mut Played) -> Vec<String> {
    let mut wrong = Vec::new();
    let ended = played.ended;
    let met: Vec<&Drawn<'_>> = drawn.iter().filter(|d| d.at <= ended).collect();
    let disk = met.iter().any(|d| matches!(d.kind.what, What::Disk { .. }));
    if played.rows == 0 && !disk && !drawn.iter().any(|d| d.at.as_s() < KNOWN_S) {
        wrong.push("no sample was kept".into());
    }
    let blind = met.iter().any(|d| d.kind.blinds);
    let is = |what: What| met.iter().any(|d| d.kind.what == what);
    let ending = &played.ending;

    let mut codes: Vec<_> = met.iter().flat_map(|d| d.kind.seen_as).copied().collect();
    if blind {
        codes.extend([
            dutycup::door::problem::fault::FaultCode::ControlLost,
            dutycup::door::problem::fault::FaultCode::RelayStuck,
        ]);
    }
    let mut exits: Vec<Exit> = codes.iter().map(|c| c.exit()).collect();
    let stopped = is(What::Wire("driver", Wire::Stop, 1));
    if stopped {
        exits.push(Exit::Interrupt);
    }
    if met.iter().all(|d| d.kind.may_go_on || hidden(d, &met) || ended.since(d.at) < Duration::from_secs(8)) {
        exits.push(Exit::Pass);
    }
    if !exits.contains(&ending.exit) {
        wrong.push(format!("exit {:?} is none of {exits:?}", ending.exit));
    }
    match &ending.fault {
        Some(fault) if !codes.contains(&fault.code) => {
            wrong.push(format!("{fault} is none of {codes:?}"));
        }
        None if !matches!(ending.exit, Exit::Pass | Exit::Interrupt) => {
            wrong.push("an exit without a fault".into())
        }
        _ => {}
    }
    if !ending.verified && !blind {
        wrong.push(format!("not verified: {}", ending.safe_state));
    }

    // What still happens on the bench may switch off once more, and then the solenoid begins to close anew.
    let soon = drawn.iter().map(|d| d.at).filter(|at| *at <= ended + 4 * SOLENOID);
    let later = soon.max().unwrap_or(ended).max(ended) + SOLENOID;
    let watched = played.ports.truth_at(later);
    let welded = met.iter().any(|d| d.kind.what == What::Plant(MishapKind::RelayWelded))
        || drawn.iter().any(|d| d.kind.what == What::Plant(MishapKind::RelayWelded) && d.at <= later);
    if watched.bench.pump_is_on() {
        wrong.push("the pump output is on after the end".into());
    }
    if !welded && watched.bench.truth().duty_pct > 0.0 {
        wrong.push(format!("the pump runs after the end at {} %", watched.bench.truth().duty_pct));
    }
    if watched.bench.solenoid_is_open() {
        wrong.push("the solenoid is open after the end".into());
    }
    let kept = watched.bench.after_last_heartbeat();
    if kept > Duration::from_millis(501) {
        wrong.push(format!("pump on for {kept:?} after the last heartbeat"));
    }
    if let Some(noticed) = played.noticed {
        let on = watched.on_time(noticed, later);
        if on > AFTER_NOTICE {
            wrong.push(format!("pump on for {on:?} after the fault was noticed"));
        }
    }
    for d in met.iter().filter(|d| !hidden(d, &met)) {
        let on = watched.on_time(d.at, later);
        if let Some(most) = d.kind.on_ms_max.map(Duration::from_millis)
            && on > most
        {
            wrong.push(format!("pump on for {on:?} after {}", d.kind.name));
        }
    }
    if played.ports.longest_turn > Duration::from_millis(50) {
        wrong.push(format!("the loop slept for {:?}", played.ports.longest_turn));
    }
    wrong
}
