//! The controller on the virtual bench, through the program itself: run, accept, compare, map, road trace.

use dutycup::door::virtual_bench::{config::Config, settled_state};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn dutycup(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program starts")
}

fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = fs::remove_dir_all(&dir);
    let _ = fs::remove_file(&dir);
    dir
}

fn text(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// Plays a scenario into a folder of its own.
fn run(scenario: &str, name: &str, more: &[&str]) -> String {
    let dir = scratch(name).display().to_string();
    let output = dutycup(&[&["run", scenario, "--out", &dir], more].concat());
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    dir
}

const CONTROLLER: &str = "scenarios/controller.yaml";

fn accepted(name: &str, seed: &str) -> String {
    let run = run(CONTROLLER, &format!("{name}-run"), &["--seed", seed]);
    let file = scratch(&format!("{name}.yaml")).display().to_string();
    let output = dutycup(&["accept", &run, "--as", &file, "--firmware", "1.0"]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    file
}

#[test]
fn unchanged_firmware_is_the_same_and_its_files_are_whole() {
    let baseline = accepted("controller-same", "1");
    for seed in ["2", "3"] {
        let run = run(CONTROLLER, &format!("controller-same-{seed}"), &["--seed", seed]);
        let out = scratch(&format!("controller-same-{seed}-out"));
        let output = dutycup(&["compare", &baseline, &run, "--out", &out.display().to_string()]);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output));
        let verdicts: serde_json::Value =
            serde_json::from_str(&fs::read_to_string(out.join("verdicts.json")).expect("verdicts"))
                .expect("JSON");
        assert_eq!(verdicts["verdict"], "same");
        assert!(verdicts["items"].as_array().is_some_and(|i| i.len() > 500));
        let page = fs::read_to_string(out.join("report.html")).expect("a report");
        let place = |heading: &str| page.find(heading).unwrap_or_else(|| panic!("{heading}"));
        assert!(place("What differs, worst first") < place("Old against new"));
        assert!(place("Old against new") < place("Where it changed"));
    }
}

/// A sample of seeded faults played in full; the study compares many more.
#[test]
fn firmware_faults_are_reported_and_named() {
    let baseline = accepted("controller-faults", "1");
    let rig = fs::read_to_string("rigs/virtual.yaml").expect("the virtual rig");
    for (fault, words) in [
        ("{kind: map_scaled, output: pump}", "map scaled"),
        ("{kind: compensation_reversed, output: pump}", "compensation reversed"),
        ("{kind: hysteresis_changed, output: valve}", "hysteresis changed"),
        ("{kind: slower, output: pump}", "response slower"),
        ("{kind: sensor_fault_changed}", "sensor fault"),
        ("{kind: clamp_moved, output: pump}", "maximum"),
        ("{kind: columns_swapped, output: pump}", "swapped"),
    ] {
        let file = scratch("controller-fault-rig.yaml");
        fs::write(&file, rig.replace("firmware_fault: null", &format!("firmware_fault: {fault}")))
            .expect("written");
        let path = file.display().to_string();
        let run = run(CONTROLLER, "controller-fault", &["--seed", "22", "--rig", &path]);
        let output = dutycup(&["compare", &baseline, &run]);
        let said = text(&output).split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(output.status.code(), Some(1), "{fault}: {said}");
        let first: Vec<&str> = said.split("ause").skip(1).take(2).collect();
        assert!(first.iter().any(|d| d.contains(words)), "{fault}: {said}");
    }
}

#[test]
fn what_was_not_measured_the_same_way_is_refused_with_the_lines() {
    let baseline = accepted("controller-alike", "1");
    let other = run(CONTROLLER, "controller-alike-other", &["--set", "rpm=3500 rpm", "--set", "repeats=1"]);
    let output = dutycup(&["compare", &baseline, &other]);
    let said = text(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(
        said.contains("- parameter rpm: 4000 rpm") && said.contains("+ parameter rpm: 3500 rpm"),
        "{said}"
    );
    assert!(!said.contains("repeats"), "{said}");
    let tight =
        dutycup(&["compare", &baseline, &other.replace("-other", "-run"), "--tolerance", "duty=0.001 %"]);
    let said = text(&tight);
    assert_eq!(tight.status.code(), Some(2), "{said}");
    assert!(said.contains("tighter than what can be told apart") && said.contains("at least"), "{said}");
}

/// The virtual controller's program runs each 10 ms, begins anywhere in that period, and its duty output has a dead
/// time of one run and follows with 1 - exp(-10/25) a run: half is passed on the second run that moves, 20 to 30 ms
/// after the step. The on-off output changes on the first run, 0 to 10 ms after it.
#[test]
fn percentiles_of_responses_hold_the_truth() {
    let dir = run(CONTROLLER, "controller-times", &["--seed", "5"]);
    let verdicts: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(Path::new(&dir).join("verdicts.json")).expect("verdicts"))
            .expect("JSON");
    let items = verdicts["items"].as_array().expect("items");
    for (output, from, to) in [("duty_output.pump", 0.020, 0.030), ("switched.valve", 0.0, 0.010)] {
        for (share, name) in [(0.5, "p50"), (0.95, "p95")] {
            for way in ["up", "down"] {
                let id = format!("controller.response.{output}.{way}.{name}");
                let item = items.iter().find(|i| i["id"] == id.as_str()).unwrap_or_else(|| panic!("{id}"));
                let (value, u) = (item["value"].as_f64().expect("value"), item["u95"].as_f64().expect("U"));
                let truth = from + share * (to - from);
                assert!((value - truth).abs() <= u, "{id}: {value} +- {u}, truth {truth}");
                assert!(u < 0.025, "{id}: U {u} says nothing");
            }
        }
    }
}

#[test]
fn hysteresis_is_measured_from_both_sides() {
    let dir = run(CONTROLLER, "controller-edges", &["--seed", "9"]);
    let csv = fs::read_to_string(Path::new(&dir).join("observations.csv")).expect("observations");
    // The valve's row lies at 60 kPa and its input has a play of 3 kPa to each side.
    for (kind, truth) in [("edge_up.boost", 63.0), ("edge_down.boost", 57.0)] {
        let line = csv.lines().find(|l| l.contains("switched.valve") && l.contains(kind)).expect(kind);
        let cells: Vec<&str> = line.split(',').collect();
        let (value, u): (f64, f64) = (cells[6].parse().expect("value"), cells[8].parse().expect("U"));
        assert!((value - truth).abs() <= u, "{kind}: {value} +- {u}, truth {truth}");
    }
}

#[test]
fn a_grid_of_any_size_is_walked() {
    let list = |from: f64, step: f64, unit: &str| {
        let values: Vec<String> = (0..16).map(|i| format!("{} {unit}", from + step * f64::from(i))).collect();
        values.join(", ")
    };
    let boosts = format!("boosts={}", list(1.0, 1.25, "psi"));
    let speeds = format!("speeds={}", list(1000.0, 400.0, "rpm"));
    let dry = dutycup(&["run", CONTROLLER, "--dry-run", "--set", &boosts, "--set", &speeds]);
    assert!(text(&dry).contains("bench time"), "{}", text(&dry));
    let dir = run(CONTROLLER, "controller-large", &["--set", &boosts, "--set", &speeds]);
    let csv = fs::read_to_string(Path::new(&dir).join("observations.csv")).expect("observations");
    let points = csv.lines().filter(|l| l.starts_with("duty_output.pump,steady_up")).count();
    assert_eq!(points, 256);
}

/// Each point of the map against the settled state of the virtual bench at that duty, supply and back pressure. The
/// bench's gauges have errors drawn from the seed, which U covers; one point in twenty may lie beyond its U.
#[test]
fn the_map_agrees_with_the_bench_driven_at_those_points() {
    let pair = run("scenarios/pump-and-nozzle.yaml", "map-pair", &["--seed", "4"]);
    let controller = run(CONTROLLER, "map-controller", &["--seed", "4"]);
    let out = scratch("map-out").display().to_string();
    let output = dutycup(&["map", &format!("{pair}/calibration.yaml"), &controller, "--out", &out]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert!(fs::metadata(format!("{out}/report.html")).is_ok_and(|m| m.len() > 0));
    let csv = fs::read_to_string(format!("{out}/map.csv")).expect("a map");
    let (mut within, mut all) = (0, 0);
    let mut worst = String::new();
    for line in csv.lines().skip(1).filter(|l| l.contains(",below,")) {
        let cells: Vec<&str> = line.split(',').collect();
        let at = |i: usize| cells[i].parse::<f64>().expect("a number");
        let (boost, supply, duty, flow, u) = (at(2), at(4), at(5), at(7), at(8));
        if duty < 1.0 {
            assert!(flow.abs() < 1e-9, "{line}");
            continue;
        }
        let settle = |set: f64| settled_state(&Config::default(), duty, set, "A", boost).expect("a state");
        // The map's supply is that at the driver's terminals; the bench's sags below what it is set to.
        let truth = settle(supply + (supply - settle(supply).supply_v));
        all += 1;
        if (truth.flow_ml_min - flow).abs() <= u {
            within += 1;
        } else {
            worst += &format!("{line}: truth {:.1}\n", truth.flow_ml_min);
        }
    }
    println!("map: {within} of {all} points within U");
    assert!(all > 30 && within * 20 >= all * 19, "{within} of {all} within U\n{worst}");
}

#[test]
fn a_road_trace_says_what_was_sprayed() {
    let dir = run("scenarios/road-trace.yaml", "road", &["--seed", "3"]);
    let csv = fs::read_to_string(Path::new(&dir).join("road.csv")).expect("a table");
    assert!(csv.starts_with("time_s,boost_v,rpm,duty_pct,line_pressure_kpa,used_ml\n"));
    let verdicts: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(Path::new(&dir).join("verdicts.json")).expect("verdicts"))
            .expect("JSON");
    let value = |id: &str| {
        let items = verdicts["items"].as_array().expect("items");
        let item = items.iter().find(|i| i["id"] == id).unwrap_or_else(|| panic!("{id}"));
        (item["value"].as_f64().expect("value"), item["u95"].as_f64().expect("U"))
    };
    let ((ml, u), (minutes, _)) = (value("road.volume"), value("road.tank_endurance"));
    let last: f64 = (csv.lines().last())
        .and_then(|l| l.rsplit(',').next())
        .and_then(|c| c.parse().ok())
        .expect("the last volume");
    // The cup read on while it sprayed ends near what two weighings at rest say: drip and thrust lie between.
    assert!((last - ml).abs() < 2.0 && u > 0.0 && u < 0.01 * ml, "{last} {ml} {u}");
    // By hand: 0.75 US gal are 2839.06 mL; the trace takes 90 s.
    assert!((minutes - 1.5 * 2839.06 / ml).abs() < 0.05, "{minutes}");
    let again = scratch("road-again").display().to_string();
    let redone = dutycup(&["analyse", &dir, "--out", &again]);
    assert_eq!(redone.status.code(), Some(0), "{}", text(&redone));
    assert_eq!(fs::read(format!("{again}/road.csv")).expect("again"), csv.as_bytes());
}
