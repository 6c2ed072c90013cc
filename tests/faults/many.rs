//! Several faults of different kinds at once, at seeded moments: each run ends safe, under a name that one of them has.
//!
//! `DUTYCUP_FAULT_RUNS` says how many runs (200 where it says nothing); the seed of a run that fails is printed.

use crate::bench::{COLLECTING_S, DRIVER, LOGGER, SCALE, Wrong, plan, play, rig};
use dutycup::chance::*;
use dutycup::exit::Exit;
use dutycup::problem::fault::FaultCode;
use rustix::io::Errno;
use std::time::Duration;

/// A fault of the wire, the disk or the clock, or of the plant by its name in the rig file.
#[derive(Clone, Debug)]
enum Kind {
    Outside(Wrong),
    Plant(&'static str),
}

/// Every kind, with the names a run that meets it may end under; empty where it may also pass unseen.
fn kinds() -> Vec<(Kind, Vec<FaultCode>)> {
    use FaultCode::*;
    use Kind::{Outside, Plant};
    let lost = vec![SensorLost, Timeout, Stale, Garbage, Frame];
    let s = Duration::from_millis;
    vec![
        (Outside(Wrong::Gone(DRIVER)), vec![ControlLost]),
        (Outside(Wrong::Gone(LOGGER)), vec![SensorLost]),
        (Outside(Wrong::Gone(SCALE)), vec![SensorLost]),
        (
            Outside(Wrong::Deaf(DRIVER)),
            vec![Timeout, SensorLost, Heartbeat, ControlLost],
        ),
        (Outside(Wrong::Deaf(LOGGER)), lost.clone()),
        (Outside(Wrong::Silent(LOGGER)), lost.clone()),
        (
            Outside(Wrong::Silent(DRIVER)),
            vec![Timeout, SensorLost, Heartbeat, ControlLost],
        ),
        (Outside(Wrong::NoBeat), vec![Heartbeat]),
        (Outside(Wrong::Stalled(DRIVER)), vec![ControlLost]),
        (Outside(Wrong::Garbage(LOGGER)), lost.clone()),
        (Outside(Wrong::Garbage(SCALE)), lost.clone()),
        (Outside(Wrong::Flood(SCALE)), vec![Overrun, Frame]),
        (
            Outside(Wrong::Stolen(LOGGER)),
            vec![SharedPort, SensorLost, Timeout, Stale],
        ),
        (
            Outside(Wrong::Digits),
            vec![Limit, SensorFault, Range, SensorLost, NoPressure],
        ),
        (Outside(Wrong::Stall(s(250))), vec![]),
        (Outside(Wrong::Stall(s(700))), vec![Heartbeat]),
        (Outside(Wrong::Slept), vec![Suspended]),
        (Outside(Wrong::Disk(7, Errno::NOSPC)), vec![DiskFull]),
        (Outside(Wrong::Disk(7, Errno::IO)), vec![Io]),
        (Plant("emergency_stop_pressed"), vec![EStop]),
        (Plant("gauge_open"), vec![SensorFault]),
        (Plant("gauge_short"), vec![SensorFault, Limit]),
        (Plant("scale_frozen"), vec![Frozen]),
        (Plant("scale_silent"), vec![SensorLost, Timeout]),
        (Plant("cup_lifted"), vec![ScaleStep, Range]),
        (Plant("cup_bumped"), vec![]),
        (Plant("hose_bursts"), vec![NoPressure, Frozen]),
        (Plant("nozzle_blocked"), vec![Limit, Frozen]),
        (Plant("tank_empty"), vec![NoPressure, Frozen]),
        (Plant("driver_restarts"), vec![DeviceRebooted, Heartbeat]),
        (
            Plant("driver_silent"),
            vec![Timeout, SensorLost, Heartbeat, ControlLost],
        ),
    ]
}

fn runs() -> u64 {
    std::env::var("DUTYCUP_FAULT_RUNS").map_or(200, |n| n.parse().expect("a number of runs"))
}

/// Plays one seed; what is wrong with how it ended.
fn run(seed: u64) -> Result<String, String> {
    let mut stream = Seed(seed).stream("faults");
    let all = kinds();
    let (mut mishaps, mut wrong, mut drawn) = (Vec::new(), Vec::new(), Vec::new());
    let count = stream.random_range(2..=4);
    while drawn.len() < count {
        let i = stream.random_range(0..all.len());
        if drawn.contains(&i) {
            continue;
        }
        drawn.push(i);
        let at_s = stream.random_range(COLLECTING_S.0..COLLECTING_S.1 - 7.0);
        match &all[i].0 {
            Kind::Outside(what) => wrong.push((at_s, what.clone())),
            Kind::Plant(what) => mishaps.push((at_s, *what)),
        }
    }
    let rig = rig(&mishaps);
    let ended = play(&rig, &plan(&rig), &wrong, seed);
    let what = format!("{mishaps:?} {wrong:?}: {:?}", ended.ending);
    if !ended.safe {
        return Err(format!("not safe: {what}"));
    }
    let mut names: Vec<FaultCode> = drawn.iter().flat_map(|i| all[*i].1.clone()).collect();
    // A fault met on the way to the safe state is named where it is graver, or nothing else was met.
    names.extend([FaultCode::ControlLost, FaultCode::RelayStuck]);
    let right = match ended.code() {
        Some(code) => names.contains(&code),
        None => ended.ending.exit == Exit::Pass && drawn.iter().all(|i| all[*i].1.is_empty()),
    };
    if !right {
        return Err(format!("wrong name: {what}\n{}", ended.events));
    }
    let exits = ended
        .code()
        .map_or(vec![Exit::Pass], |_| names.iter().map(|n| n.exit()).collect());
    if !exits.contains(&ended.ending.exit) {
        return Err(format!("wrong exit: {what}"));
    }
    let rows = std::fs::read_to_string(ended.dir.path().join("samples.csv")).map_err(|e| e.to_string())?;
    if rows.lines().count() < 10 {
        return Err(format!("hardly a record: {what}"));
    }
    Ok(ended.code().map_or("pass", FaultCode::name).to_owned())
}

#[test]
fn several_faults_at_once_end_safe() {
    let mut bad = Vec::new();
    let mut met = std::collections::BTreeMap::<String, usize>::new();
    for seed in 1..=runs() {
        match run(seed) {
            Ok(name) => *met.entry(name).or_default() += 1,
            Err(why) => bad.push(format!("seed {seed}: {why}")),
        }
    }
    println!("{} runs ended by {met:?}", runs());
    assert!(bad.is_empty(), "{} bad:\n{}", bad.len(), bad.join("\n"));
}
