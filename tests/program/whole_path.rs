//! The whole path through the program itself: scenario to calibration, in process.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub(crate) fn dutycup(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts")
}

pub(crate) fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&dir);
    dir
}

pub(crate) fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Runs the first scenario on the virtual bench into a folder of its own.
fn run_pair(name: &str, more: &[&str]) -> (PathBuf, Output) {
    let dir = scratch(name);
    let out = dir.display().to_string();
    let mut arguments = vec!["run", "scenarios/pump-and-nozzle.yaml", "--out", &out];
    arguments.extend(more);
    let output = dutycup(&arguments);
    (dir, output)
}

const RUN_FILES: [&str; 15] = [
    "run.yaml",
    "scenario.yaml",
    "rig.yaml",
    "samples.csv",
    "events.csv",
    "sums.csv",
    "collections.csv",
    "duty_flow.csv",
    "flow_duty.csv",
    "boost_flow.csv",
    "boost_duty.csv",
    "calibration.yaml",
    "verdicts.json",
    "junit.xml",
    "report.html",
];

#[test]
fn one_command_from_scenario_to_calibration() {
    let (dir, output) = run_pair("one-command", &["--seed", "7"]);
    assert_eq!(output.status.code(), Some(0), "{}\n{}", text(&output.stdout), text(&output.stderr));
    for file in RUN_FILES.iter().chain(&["timing.hlog"]) {
        let size = fs::metadata(dir.join(file)).map(|m| m.len()).unwrap_or(0);
        assert!(size > 0, "{file} is written and not empty");
    }
}

#[test]
fn same_seed_same_bytes() {
    let short = ["--seed", "11", "--set", "dwell=6 s", "--set", "repeats=2"];
    let (first, a) = run_pair("same-seed-1", &short);
    let (second, b) = run_pair("same-seed-2", &short);
    assert_eq!(a.status.code(), b.status.code());
    for file in [
        "samples.csv",
        "events.csv",
        "collections.csv",
        "duty_flow.csv",
        "flow_duty.csv",
        "boost_flow.csv",
        "boost_duty.csv",
        "calibration.yaml",
    ] {
        let read = |dir: &Path| fs::read(dir.join(file)).unwrap_or_else(|e| panic!("{file}: {e}"));
        assert_eq!(read(&first), read(&second), "{file}");
    }
    let (other, _) = run_pair("same-seed-3", &["--seed", "12", "--set", "dwell=6 s", "--set", "repeats=2"]);
    assert_ne!(
        fs::read(first.join("samples.csv")).expect("samples"),
        fs::read(other.join("samples.csv")).expect("samples")
    );
}

#[test]
fn everything_after_the_recording_can_be_redone() {
    let (dir, output) = run_pair("redo", &["--seed", "5", "--set", "dwell=6 s", "--set", "repeats=2"]);
    let again = scratch("redo-again");
    let redone = dutycup(&["analyse", &dir.display().to_string(), "--out", &again.display().to_string()]);
    assert_eq!(redone.status.code(), output.status.code(), "{}", text(&redone.stderr));
    for file in ["collections.csv", "duty_flow.csv", "calibration.yaml", "verdicts.json"] {
        assert_eq!(fs::read(dir.join(file)).expect(file), fs::read(again.join(file)).expect(file), "{file}");
    }
}

#[test]
fn predict_answers_both_ways() {
    let (dir, _) = run_pair("predict", &["--seed", "3"]);
    let calibration = dir.join("calibration.yaml").display().to_string();
    let ask = |more: &[&str]| {
        let output = dutycup(&[&["predict", &calibration, "--json"], more].concat());
        let value: serde_json::Value = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|e| panic!("{e}: {}{}", text(&output.stdout), text(&output.stderr)));
        (output.status.code(), value)
    };
    let (code, flow) = ask(&["--duty", "60 %"]);
    assert_eq!(code, Some(0));
    let flow_ml_min = flow["value"].as_f64().expect("a flow");
    let (code, duty) = ask(&["--flow", &format!("{flow_ml_min} mL/min")]);
    assert_eq!(code, Some(0));
    let back = duty["value"].as_f64().expect("a duty");
    assert!((back - 60.0).abs() < 0.05, "{flow_ml_min} mL/min needs {back} %");
    let (code, reason) = ask(&["--flow", "5000 mL/min"]);
    assert_eq!(code, Some(3), "out of reach: {reason}");
    assert!(reason["reason"].as_str().is_some_and(|r| !r.is_empty()));
}

/// Value and U of an item of a `verdicts.json`.
fn item(dir: &Path, id: &str) -> (f64, f64) {
    let text = fs::read_to_string(dir.join("verdicts.json")).expect("verdicts.json");
    let verdicts: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let items = verdicts["items"].as_array().expect("items");
    let item = items.iter().find(|i| i["id"] == id).unwrap_or_else(|| panic!("{id} in {text}"));
    (item["value"].as_f64().expect("a value"), item["u95"].as_f64().expect("a U"))
}

#[test]
fn a_check_of_scale_and_clock_finds_the_drawn_errors() {
    let dir = scratch("check-scale");
    let out = dir.display().to_string();
    let output = dutycup(&["run", "scenarios/check-scale.yaml", "--seed", "4", "--out", &out]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    // The rig states limits of 0.05 % for the scale and 0.002 % for the clock; the errors are drawn from them.
    let (scale, u) = item(&dir, "scale.gain_error");
    assert!(scale.abs() <= 0.05 + u && u < 0.03, "{scale} {u}");
    let (clock, u) = item(&dir, "clock.rate_error");
    assert!(clock.abs() <= 0.002 + u && u < 0.1, "{clock} {u}");
}

#[test]
fn the_line_scenarios_end_with_their_items() {
    for (scenario, id) in [
        ("pressure-switch", "switch.trip"),
        ("leak-down", "line.leak"),
        ("dead-head", "line.dead_head"),
        ("tank-level", "tank.drawn_volume"),
        ("road-trace", "road.volume"),
    ] {
        let dir = scratch(scenario);
        let file = format!("scenarios/{scenario}.yaml");
        let output = dutycup(&["run", &file, "--seed", "4", "--out", &dir.display().to_string()]);
        assert_eq!(output.status.code(), Some(0), "{scenario}: {}", text(&output.stderr));
        let (value, u) = item(&dir, id);
        assert!(value > 0.0 && u > 0.0 && u < 0.2 * value, "{scenario}: {value} {u}");
    }
}

#[test]
fn a_window_is_answered_without_a_bench() {
    let (pair, _) = run_pair("window-pair", &["--seed", "3"]);
    let switch = scratch("window-switch");
    let out = switch.display().to_string();
    dutycup(&["run", "scenarios/pressure-switch.yaml", "--seed", "3", "--out", &out]);
    let calibration = pair.join("calibration.yaml").display().to_string();
    let ask = |lightest: &str| {
        let output = dutycup(&[
            "window",
            &calibration,
            &out,
            "--boost",
            "20 psi",
            "--from",
            "8 psi",
            "--lightest",
            lightest,
            "--json",
        ]);
        (output.status.code(), text(&output.stdout))
    };
    // A switch set to 30 psi is dark under the lightest spray and right for a heavy one.
    let (code, light) = ask("15 %");
    assert_eq!(code, Some(1), "{light}");
    let (code, heavy) = ask("70 %");
    assert_eq!(code, Some(0), "{heavy}");
}
