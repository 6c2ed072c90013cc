//! Several faults in one run: on the wires, on the bench, in the loop, on the disk, at drawn moments under the virtual
//! clock. However they fall together, the run ends, with the pump off in truth, a name that fits and a record that
//! reads.
//!
//! `DUTYCUP_MULTI_FAULTS` says how many runs are drawn, `DUTYCUP_MULTI_FAULTS_FIRST` from which seed on; a run that
//! fails prints its own.

#![expect(clippy::print_stdout, reason = "a test says what it measured")]

mod kinds;
mod play;
mod ports;

use crate::study::rounds;
use dutycup::door::chance::Seed;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Instrument, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use kinds::{Kind, What};
use play::{Drawn, complaints, draw, play, rig_and_plan};
use ports::Wire;
use std::collections::BTreeMap;
use std::time::Duration;

/// Most resident memory that the process may gain, MiB.
const MEMORY_MIB: f64 = 64.0;

fn number(variable: &str, default: u64) -> u64 {
    std::env::var(variable)
        .map_or(default, |text| text.parse().unwrap_or_else(|e| panic!("{variable}={text}: {e}")))
}

/// Most resident memory of this process so far, MiB (proc(5): `VmHWM`, in kB); none where the system does not say.
fn memory_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    Some(line.trim().trim_end_matches(" kB").parse::<f64>().ok()? / 1024.0)
}

/// Runs a test of this file again in a process of its own, where nothing else takes memory; whether this is that process.
fn alone(test: &str) -> bool {
    const ALONE: &str = "DUTYCUP_ALONE";
    let name = format!("multi_faults::{test}");
    if std::env::var(ALONE).is_ok_and(|there| there == name) {
        return true;
    }
    let mut again = std::process::Command::new(std::env::current_exe().unwrap());
    let done = again.args(["--exact", &name, "--nocapture"]).env(ALONE, &name).output().unwrap();
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    println!("{}", said(&done.stdout));
    assert!(done.status.success(), "{}{}", said(&done.stdout), said(&done.stderr));
    false
}

fn within_memory(before: Option<f64>) {
    if let (Some(before), Some(after)) = (before, memory_mib()) {
        println!("memory: {before:.1} MiB before, {after:.1} MiB at most");
        assert!(after - before < MEMORY_MIB, "{after} MiB after {before} MiB");
    }
}

/// A device that sends 1 MB/s, whichever it is and whenever it begins: the flood has a name, the loop keeps its
/// period, the pump goes off.
#[test]
fn a_flood_has_a_name_and_the_loop_its_period() {
    if !alone("a_flood_has_a_name_and_the_loop_its_period") {
        return;
    }
    let before = memory_mib();
    for name in ["generator", "supply", "driver", "logger", "scale"] {
        for (at_s, while_opening) in [(0.0, true), (0.15, true), (4.0, false), (30.0, false)] {
            let kind = Kind {
                name: "flood",
                what: What::Wire(name, Wire::Flood(1_000_000), 0),
                seen_as: &[],
                may_go_on: false,
                on_ms_max: Some(600),
                blinds: false,
            };
            let drawn = [Drawn { kind: &kind, at: Moment::from_s(at_s) }];
            let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
            let mut played = play(dir.path(), Seed(1), &drawn);
            let code = played.ending.fault.as_ref().map(|f| f.code);
            let shown = format!("{name} from {at_s} s: {:?}", played.ending);
            // Where the lines answer nothing that was asked, a few hundred bytes of them already have a name.
            let codes: &[FaultCode] = match (while_opening, name) {
                (false, "scale") => &[FaultCode::Overrun],
                (false, _) => &[FaultCode::Overrun, FaultCode::Garbage],
                (true, _) => &[FaultCode::Overrun, FaultCode::Garbage, FaultCode::WrongDevice],
            };
            assert!(code.is_some_and(|code| codes.contains(&code)), "{shown}");
            assert!(
                played.ports.longest_turn <= Duration::from_millis(50),
                "{:?}",
                played.ports.longest_turn
            );
            let later = played.ended + Duration::from_secs(3);
            let watched = played.ports.truth_at(later);
            assert!(!watched.bench.pump_is_on() && !watched.bench.solenoid_is_open(), "{shown}");
            assert!(watched.on_time(Moment::from_s(at_s), later) <= Duration::from_millis(600), "{shown}");
        }
    }
    within_memory(before);
}

/// The same for ten minutes, with the instrument never taken off the line: what it holds does not grow.
#[test]
fn ten_minutes_of_flood_take_no_memory() {
    if !alone("ten_minutes_of_flood_take_no_memory") {
        return;
    }
    let rig = rig_and_plan(Seed(1)).0;
    let before = memory_mib();
    for (index, spec) in rig.instruments.iter().enumerate() {
        let mut instrument = Instrument::new(index, &rig).unwrap_or_else(|e| panic!("{e}"));
        instrument.start(Moment::START);
        let (mut events, mut sent, mut overruns, mut ready) = (Vec::new(), Vec::new(), 0, false);
        for turn in 0..60_200 {
            let now = Moment::from_ms(10 * turn);
            if turn >= 200 {
                // A text without an end, then nothing but ends.
                let bytes = if turn % 2 == 0 { [b'x'; 10_000] } else { [b'\n'; 10_000] };
                instrument.receive(now, &bytes, &mut events);
            } else if !sent.is_empty() {
                let banner = ports::banner(&spec.name);
                let asks_errors = sent.windows(4).any(|w| w == b"ERR?");
                let answer = if asks_errors {
                    b"0,\"No error\"
"
                } else {
                    banner.trim_ascii_start()
                };
                instrument.receive(now, answer, &mut events);
            }
            sent.clear();
            instrument.advance(now, &mut sent, &mut events);
            ready |= turn < 200 && events.iter().any(|e| matches!(e, InstrumentEvent::Ready { .. }));
            overruns += events.drain(..).filter(is_overrun).count();
        }
        assert!(ready, "{} was to be ready first", spec.name);
        println!("{}: {overruns} times OVERRUN in 600 MB", spec.name);
        assert!(overruns > 0, "{}", spec.name);
    }
    within_memory(before);
}

fn is_overrun(event: &InstrumentEvent) -> bool {
    matches!(event, InstrumentEvent::Fault(fault) if fault.code == FaultCode::Overrun)
}

#[test]
fn drawn_faults_end_safe() {
    let before = memory_mib();
    let first = number("DUTYCUP_MULTI_FAULTS_FIRST", 1);
    let (mut wrong, mut endings) = (Vec::new(), BTreeMap::new());
    for seed in (first..).take(number("DUTYCUP_MULTI_FAULTS", rounds(30, 1500)) as usize) {
        let drawn = draw(Seed(seed));
        let dir = tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"));
        let mut played = play(dir.path(), Seed(seed), &drawn);
        let name = match &played.ending.fault {
            Some(fault) => fault.code.name().to_owned(),
            None => format!("{:?}", played.ending.exit),
        };
        *endings.entry(name).or_insert(0_u32) += 1;
        let complaints = complaints(&drawn, &mut played);
        if !complaints.is_empty() {
            let faults: Vec<_> =
                drawn.iter().map(|d| format!("{:.3} s {}", d.at.as_s(), d.kind.name)).collect();
            let tail: Vec<&str> = played.events.lines().rev().take(8).collect();
            let tail: Vec<&str> = tail.into_iter().rev().collect();
            wrong.push(format!(
                "seed {seed}: {}\n  drawn: {}\n  ended at {:.3} s: {:?}\n  {}",
                complaints.join("; "),
                faults.join(", "),
                played.ended.as_s(),
                played.ending,
                tail.join("\n  ")
            ));
        }
    }
    println!("endings: {endings:?}");
    within_memory(before);
    assert!(wrong.is_empty(), "{} runs:\n{}", wrong.len(), wrong.join("\n"));
}
