//! A run that ended early goes on: the record stays one record, and the calibration is that of a run without a break.

use super::record::{plan, play, rig};
use super::{dutycup, measured, said, scratch};
use dutycup::door::chance::Seed;
use dutycup::door::exit::Exit;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::record::RunFolder;
use dutycup::door::record::run_file::State;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::Path;

const SETS: [(&str, &str); 2] = [("dwell", "10 s"), ("repeats", "2")];

/// How the first part of a run ends.
#[derive(Clone, Copy, Debug, PartialEq)]
enum End {
    /// A signal, and the safe state.
    Stopped,
    /// A kill: the run file still says that it is running, and the last line is torn.
    Killed,
}

/// Plays the beginning of a scenario on the virtual bench, up to `stop_s`.
fn begin(dir: &Path, scenario: &str, sets: &[(&str, &str)], seed: u64, stop_s: f64, end: End) {
    let rig = rig("rigs/virtual.yaml");
    let plan = plan(&rig, scenario, sets, seed);
    let section = rig.virtual_bench.as_ref().expect("a virtual bench");
    let far_end = dutycup::door::virtual_bench::build(section, Seed(seed)).unwrap_or_else(|e| panic!("{e}"));
    let stop = StopFlag::default();
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = InProcess::new(far_end, names, Pace::Virtual, stop.clone());
    let killed = end == End::Killed;
    let ending = play(dir, (&rig, &plan), seed, &mut ports, killed, &mut |now_s| {
        if now_s >= stop_s {
            stop.set(Exit::Interrupt);
        }
    });
    assert_eq!(ending.exit, Exit::Interrupt, "stopped at {stop_s} s: {ending:?}");
    if !killed {
        return;
    }
    for (name, torn) in [("samples.csv", "1234.567,9,1.0,"), ("sums.csv", "samples.csv,99")] {
        let mut file = fs::OpenOptions::new().append(true).open(dir.join(name)).expect("open");
        file.write_all(torn.as_bytes()).expect("torn");
    }
}

/// Values with their U by name: what a calibration publishes.
fn published(dir: &Path) -> BTreeMap<String, (f64, f64)> {
    let text =
        fs::read_to_string(dir.join("duty_flow.csv")).unwrap_or_else(|e| panic!("{}: {e}", dir.display()));
    let mut found: BTreeMap<String, (f64, f64)> = text
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |i: usize| cells[i].parse::<f64>().unwrap_or_else(|e| panic!("{line}: {e}"));
            (format!("flow at {} %", cells[1]), (number(2), number(3)))
        })
        .collect();
    let calibration: serde_yaml::Value =
        serde_yaml::from_str(&fs::read_to_string(dir.join("calibration.yaml")).expect("a calibration"))
            .expect("yaml");
    let k = &calibration["nozzles"]["A"]["k_ml_min_per_sqrt_kpa"];
    let of = |name: &str| k[name].as_f64().unwrap_or_else(|| panic!("{name} in {k:?}"));
    found.insert("K".into(), (of("value"), of("u95")));
    found
}

/// A resumed run is whole, reads well, and publishes what the run without a break does, within the U of both.
fn check_resumed(dir: &Path, whole: &Path, parts: usize) {
    let folder = RunFolder::open(dir).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(folder.run.state, State::Complete);
    assert_eq!(folder.run.resumed.len(), parts - 1, "{:?}", folder.run.resumed);
    assert!(folder.run.warnings.iter().any(|w| w.contains("resumed")), "{:?}", folder.run.warnings);
    let mut last_s = 0.0_f64;
    let mut back_s = 0.0_f64;
    folder
        .samples(&mut |row| {
            back_s = back_s.max(last_s - row.time_s);
            last_s = last_s.max(row.time_s);
        })
        .unwrap_or_else(|e| panic!("{e}"));
    assert!(back_s < 0.5, "time goes back by {back_s} s");
    let events: Vec<_> = folder.events().expect("events").map(|e| e.expect("an event")).collect();
    let resumed = events.iter().filter(|e| e.kind == "resumed");
    assert_eq!(resumed.filter(|e| e.number("gap_s").is_some_and(|s| s > 0.0)).count(), parts - 1);
    // No good collection was taken twice, none is missing.
    let collections = |dir: &Path| -> Vec<String> {
        let text = fs::read_to_string(dir.join("collections.csv")).expect("collections");
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let void = reader.headers().expect("a header").iter().position(|h| h == "void").expect("void");
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
        let good = |row: &&csv::StringRecord| row[void].is_empty() || &row[void] == "0";
        rows.iter().filter(good).map(|row| format!("{}/{}", &row[0], &row[1])).collect()
    };
    assert_eq!(collections(dir), collections(whole));
    let (with, without) = (published(dir), published(whole));
    let mut worst = (0.0_f64, String::new());
    for (name, (value, u)) in &without {
        let Some((other, other_u)) = with.get(name) else {
            continue;
        };
        let ratio = (value - other).abs() / u.hypot(*other_u);
        if ratio > worst.0 {
            worst = (ratio, format!("{name}: {other} against {value} +- {u}"));
        }
    }
    measured(&format!("{}: worst difference {:.2} of U, {}", dir.display(), worst.0, worst.1));
    assert!(worst.0 < 1.0, "{}", worst.1);
}

#[test]
fn a_run_goes_on_from_wherever_it_ended() {
    let whole = scratch("whole");
    let arguments = |dir: &Path| -> Vec<String> {
        let mut all: Vec<String> =
            ["run", "scenarios/pump-and-nozzle.yaml", "--seed", "3", "--out"].map(String::from).into();
        all.push(dir.display().to_string());
        for (name, value) in SETS {
            all.extend(["--set".to_owned(), format!("{name}={value}")]);
        }
        all
    };
    let all = arguments(&whole);
    let output = dutycup(&all.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    // Before the prime is over, in the gauge's zero, in collections, in the weighing at rest, in the ramp, near the end.
    for (i, stop_s) in [6.0, 22.0, 61.0, 203.0, 430.0, 505.0, 590.0].into_iter().enumerate() {
        let end = if i % 2 == 0 { End::Killed } else { End::Stopped };
        let dir = scratch(&format!("stopped-{i}"));
        begin(&dir, "scenarios/pump-and-nozzle.yaml", &SETS, 3, stop_s, end);
        let output = dutycup(&["run", "--resume", &dir.display().to_string()]);
        assert_eq!(output.status.code(), Some(0), "stopped at {stop_s} s:\n{}", said(&output));
        check_resumed(&dir, &whole, 2);
    }
}

#[test]
fn only_an_unfinished_and_unaltered_run_goes_on() {
    let dir = scratch("refused");
    begin(&dir, "scenarios/pump-and-nozzle.yaml", &SETS, 3, 70.0, End::Stopped);
    let shown = dir.display().to_string();
    let refused = |arguments: &[&str], says: &str| {
        let mut all = vec!["run", "--resume", &shown];
        all.extend(arguments);
        let output = dutycup(&all);
        let words = said(&output);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {words}");
        assert!(words.contains(says), "{arguments:?}: expected \"{says}\" in: {words}");
    };
    let before = fs::read(dir.join("samples.csv")).expect("samples");
    refused(&["scenarios/pressure-switch.yaml"], "is not the scenario that the run");
    refused(&["--rig", "rigs/by-hand.yaml"], "is not the rig that the run");
    refused(&["--out", "elsewhere"], "is not the folder that is gone on with");
    refused(&["--set", "dwell=5 s"], "cannot be used with");
    refused(&["--seed", "9"], "cannot be used with");
    let scenario = fs::read_to_string(dir.join("scenario.yaml")).expect("a scenario");
    fs::write(dir.join("scenario.yaml"), scenario.replace("default: 3", "default: 4")).expect("edited");
    refused(&[], "was altered after it was written");
    fs::write(dir.join("scenario.yaml"), &scenario).expect("restored");
    let rig = fs::read_to_string(dir.join("rig.yaml")).expect("a rig");
    fs::write(dir.join("rig.yaml"), format!("{rig}# edited\n")).expect("edited");
    refused(&[], "was altered after it was written");
    fs::write(dir.join("rig.yaml"), &rig).expect("restored");
    assert_eq!(fs::read(dir.join("samples.csv")).expect("samples"), before, "nothing was touched");
    // The same files by name are no others.
    let output =
        dutycup(&["run", "scenarios/pump-and-nozzle.yaml", "--resume", &shown, "--rig", "rigs/virtual.yaml"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    refused(&[], "is complete");
}

#[test]
fn a_run_goes_on_twice_and_without_collections_too() {
    let whole = scratch("switch-whole");
    let shown = whole.display().to_string();
    let output = dutycup(&["run", "scenarios/pressure-switch.yaml", "--seed", "5", "--out", &shown]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let dir = scratch("switch-resumed");
    begin(&dir, "scenarios/pressure-switch.yaml", &[], 5, 120.0, End::Killed);
    let output = dutycup(&["run", "--resume", &dir.display().to_string()]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let trip = |dir: &Path| -> (f64, f64) {
        let text = fs::read_to_string(dir.join("verdicts.json")).expect("verdicts");
        let value: serde_json::Value = serde_json::from_str(&text).expect("json");
        let items = value["items"].as_array().expect("items");
        let item = items.iter().find(|i| i["id"] == "switch.trip").expect("a trip");
        (item["value"].as_f64().expect("a value"), item["u95"].as_f64().expect("U"))
    };
    let ((a, ua), (b, ub)) = (trip(&dir), trip(&whole));
    measured(&format!("trip {a} +- {ua} resumed, {b} +- {ub} in one go"));
    assert!((a - b).abs() < ua.hypot(ub), "{a} +- {ua} against {b} +- {ub}");
}
