//! Every item of the catalogue, played on the virtual bench by a scenario that yields it, shortened, with a limit that
//! the item cannot meet: it fails, the command ends with 1, and the note names limit and value. And limits that may not
//! be stated: old names, units of something else, items of another measurement.

use crate::whole_path::{dutycup, scratch, text};
use dutycup::door::quantity::Dimension;
use dutycup::door::verdict::catalogue::{CATALOGUE, Entry, Giver, find, holds_for};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

/// A lower limit far beyond anything the item comes to, as people write it, and as notes show it.
fn beyond_reach(entry: &Entry) -> (&'static str, &'static str) {
    match (entry.dimension, entry.unit) {
        (Dimension::GaugePressure, _) => ("6000 kPa", "(6000 kPa)"),
        (Dimension::Flow, _) => ("19000 mL/min", "(19000 mL/min)"),
        (Dimension::Ratio, _) => ("105 %", "(105 %)"),
        (Dimension::Time, "min") => ("1200 min", "(1200 min)"),
        (Dimension::Time, _) => ("9000 s", "(9000 s)"),
        (Dimension::Volume, _) => ("900000 mL", "(900000 mL)"),
        (Dimension::Voltage, _) => ("29 V", "(29 V)"),
        (Dimension::Speed, _) => ("19000 rpm", "(19000 rpm)"),
        (Dimension::PressureRate, _) => ("6000 kPa/min", "(6000 kPa/min)"),
        (Dimension::NozzleCoefficient, _) => ("9000 mL/min/sqrt(kPa)", "(9000 mL/min/sqrt(kPa))"),
        (Dimension::Compliance, _) => ("90 mL/kPa", "(90 mL/kPa)"),
        (Dimension::Number, _) => ("900", "(900)"),
        other => panic!("no limit for {other:?}"),
    }
}

/// A shipped scenario with limits beyond reach for `ids` and `more` steps at its end.
fn scenario(dir: &Path, shipped: &str, more: &str, ids: &[&str]) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    fs::create_dir_all(dir).expect("a folder");
    let mut steps = fs::read_to_string(root.join(format!("{shipped}.yaml"))).expect("shipped");
    steps.push_str(more);
    for id in ids {
        let (limit, _) = beyond_reach(find(id).expect("an item"));
        steps.push_str(&format!("\n  - expect: {{item: {id}, lower: {limit}}}\n"));
    }
    let path = dir.join("scenario.yaml");
    fs::write(&path, steps).expect("written");
    for file in fs::read_dir(&root).expect("scenarios").flatten().map(|e| e.path()) {
        if file.extension().is_some_and(|e| e == "csv") {
            fs::copy(&file, dir.join(file.file_name().expect("a name"))).expect("copied");
        }
    }
    path
}

fn items(dir: &Path) -> Vec<serde_json::Value> {
    let text = fs::read_to_string(dir.join("verdicts.json")).expect("verdicts");
    let verdicts: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    verdicts["items"].as_array().expect("items").clone()
}

/// Three digits of a value, as notes show them.
fn three_digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Every item that begins with one of `ids` fails, with a note that names limit and value.
fn all_fail(dir: &Path, output: &Output, ids: &[&str]) {
    let said = format!("{}\n{}", text(&output.stdout), text(&output.stderr));
    assert_eq!(output.status.code(), Some(1), "{said}");
    let items = items(dir);
    for id in ids {
        let own = |i: &&serde_json::Value| holds_for(id, i["id"].as_str().unwrap_or_default());
        let given: Vec<_> = items.iter().filter(own).collect();
        assert!(!given.is_empty(), "{id} is not given: {items:#?}");
        let entry = find(id).expect("an item");
        for item in given {
            assert_eq!(item["verdict"], "fail", "{item:#}");
            assert_eq!(item["unit"], entry.unit, "{item:#}");
            let note = item["note"].as_str().expect("a note");
            let value = three_digits(item["value"].as_f64().expect("a value"));
            let (_, limit) = beyond_reach(entry);
            assert!(note.contains(limit) && note.contains(&value), "{id}: {value}, {limit}: {note}");
        }
    }
}

/// Runs a scenario whose limits cannot be met.
fn play(name: &str, shipped: &str, more: &str, ids: &[&str], arguments: &[&str]) -> PathBuf {
    let dir = scratch(&format!("catalogue-{name}"));
    let path = scenario(&dir, shipped, more, ids);
    let out = dir.join("run");
    let (path, shown) = (path.display().to_string(), out.display().to_string());
    let mut all = vec!["run", &path, "--seed", "4", "--out", &shown];
    all.extend(arguments);
    let output = dutycup(&all);
    all_fail(&out, &output, ids);
    speaks_true(&out);
    out
}

/// Steps over supply and sensor voltage, which the shipped scenario of a controller does not bisect.
const MORE_OF_A_CONTROLLER: &str = "
  - set: {boost: 16 psi, rpm: $rpm}
  - hold: 1 s
  - bisect: {input: supply_set, from: 9 V, to: 14 V, resolution: 0.1 V, output: duty_output.pump, level: 70 %}
  - bisect: {input: supply_set, from: 14 V, to: 9 V, resolution: 0.1 V, output: duty_output.pump, level: 70 %}
  - set: {supply_set: $supply}
  - hold: 1 s
  - bisect: {input: sensor.manifold, from: 1.5 V, to: 4 V, resolution: 0.02 V, output: switched.valve, level: on}
  - bisect: {input: sensor.manifold, from: 4 V, to: 1.5 V, resolution: 0.02 V, output: switched.valve, level: on}
  - set: {boost: 0 psi, rpm: 0 rpm}
";

#[test]
fn every_item_fails_a_limit_it_cannot_meet() {
    let short = ["--set", "dwell=8 s", "--set", "rest=5 s", "--set", "repeats=2"];
    let first = scratch("catalogue-first");
    let out = first.display().to_string();
    let run = ["run", "scenarios/pump-and-nozzle.yaml", "--seed", "3", "--out", &out];
    let earlier = dutycup(&[&run[..], &short].concat());
    assert_eq!(earlier.status.code(), Some(0), "{}", text(&earlier.stderr));
    let calibration = first.join("calibration.yaml").display().to_string();

    let mut seen = BTreeSet::new();
    let mut all = |name: &str, more: &str, ids: &[&'static str], arguments: &[&str]| {
        let dir = play(name, name, more, ids, arguments);
        seen.extend(ids.iter().copied());
        dir
    };
    let pair = [&short[..], &["--against", &calibration]].concat();
    let of_pair = [
        "nozzle.rating",
        "nozzle.k",
        "nozzle.exponent",
        "nozzle.clogging",
        "duty.dead_band",
        "duty.breakaway",
        "flow.full_duty",
        "line.full_duty",
    ];
    all("pump-and-nozzle", "", &of_pair, &pair);
    let of_switch = [
        "switch.trip",
        "switch.reset",
        "switch.differential",
        "switch.repeatability",
        "switch.chatter",
        "switch.release_time",
        "line.compliance",
    ];
    let switch =
        all("pressure-switch", "", &of_switch, &["--set", "cycles=2", "--calibration", &calibration]);
    all(
        "leak-down",
        "",
        &["line.leak", "line.compliance", "solenoid.opening_time", "solenoid.closing_time"],
        &["--set", "watch=30 s", "--calibration", &calibration],
    );
    all("dead-head", "", &["line.dead_head"], &["--set", "in=30 s"]);
    let of_tank = ["tank.drawn_volume", "tank.remaining_volume", "tank.remaining_spray_time"];
    all("tank-level", "", &of_tank, &[]);
    let of_controller = [
        "controller.threshold.boost",
        "controller.threshold.rpm",
        "controller.threshold.supply",
        "controller.threshold.sensor",
        "controller.hysteresis.boost",
        "controller.hysteresis.rpm",
        "controller.hysteresis.supply",
        "controller.hysteresis.sensor",
        "controller.response",
    ];
    all(
        "controller",
        MORE_OF_A_CONTROLLER,
        &of_controller,
        &["--set", "boosts=0 psi, 10 psi, 16 psi", "--set", "speeds=2000 rpm, 4000 rpm", "--set", "steps=4"],
    );
    all("road-trace", "", &["road.volume", "road.tank_endurance"], &[]);
    let of_scale = ["scale.gain_error", "clock.rate_error"];
    all("check-scale", "", &of_scale, &["--set", "interval=60 s", "--set", "repeats=2"]);

    // The window is a command's: no set point is right where boost peaks above all that the pair makes.
    let out = scratch("catalogue-window");
    let shown = out.display().to_string();
    let run = switch.display().to_string();
    let window = dutycup(&[
        "window",
        &calibration,
        &run,
        "--boost",
        "40 psi",
        "--from",
        "8 psi",
        "--lightest",
        "30 %",
        "--out",
        &shown,
    ]);
    assert_eq!(window.status.code(), Some(1), "{}\n{}", text(&window.stdout), text(&window.stderr));
    let margin = items(&out).into_iter().find(|i| i["id"] == "switch.window").expect("an item");
    assert!(
        margin["verdict"] == "fail" && margin["note"].as_str().expect("note").contains("lower limit (0 kPa)")
    );
    seen.insert("switch.window");
    // Items of a comparison carry the observation's name, and are tested in `controller_bench`; a fit that fails has no
    // value that a limit could be held against, and is tested below.
    seen.extend(["controller.observation", "pair.fit"]);
    let known: BTreeSet<&str> = CATALOGUE.iter().map(|e| e.id).collect();
    assert_eq!(seen, known);
}

#[test]
fn a_limit_that_may_not_be_stated_is_bad_input_with_its_place_and_the_good_names() {
    let refused = |name: &str, shipped: &str, step: &str, more: &[&str]| {
        let dir = scratch(&format!("catalogue-refused-{name}"));
        let path = scenario(&dir, shipped, &format!("\n  - expect: {step}\n"), &[]);
        let (path, out) = (path.display().to_string(), dir.join("run").display().to_string());
        let mut all = vec!["run", &path, "--out", &out];
        all.extend(more);
        let output = dutycup(&all);
        assert_eq!(output.status.code(), Some(2), "{name}: {}", text(&output.stdout));
        text(&output.stderr)
    };
    let other = refused("other", "dead-head", "{item: switch.trip, upper: 30 psi}", &[]);
    assert!(other.contains("scenario.yaml:") && other.contains("expected one of line.dead_head"), "{other}");
    let old = refused("old", "dead-head", "{item: pump.dead_head, upper: 150 psi}", &[]);
    assert!(old.contains("did you mean \"line.dead_head\"?"), "{old}");
    let unit = refused("unit", "pump-and-nozzle", "{item: nozzle.exponent, upper: 52 %}", &[]);
    assert!(unit.contains("expected a plain number such as \"0.5\""), "{unit}");
    let earlier = refused("earlier", "pump-and-nozzle", "{item: nozzle.clogging, upper: 3 %}", &[]);
    assert!(earlier.contains("--against FILE"), "{earlier}");
    let wrong = refused(
        "wrong",
        "dead-head",
        "{item: line.dead_head, upper: 9 bar}",
        &["--against", "results/example"],
    );
    assert!(wrong.contains("is not compared with such an earlier result"), "{wrong}");
}

/// What a tuner does: a dead-head that must stay below 150 psi, measured above it.
#[test]
fn a_dead_head_above_its_limit_fails() {
    let dir = scratch("catalogue-dead-head");
    let path = scenario(&dir, "dead-head", "\n  - expect: {item: line.dead_head, upper: 100 psi}\n", &[]);
    let out = dir.join("run");
    let output = dutycup(&["run", &path.display().to_string(), "--out", &out.display().to_string()]);
    assert_eq!(output.status.code(), Some(1), "{}\n{}", text(&output.stdout), text(&output.stderr));
    let item = items(&out).into_iter().find(|i| i["id"] == "line.dead_head").expect("an item");
    assert_eq!(item["verdict"], "fail", "{item:#}");
}

/// Rig and scenario both state a limit for the trip: the tighter holds, and the report says so.
#[test]
fn the_tighter_of_rig_and_scenario_holds_and_the_report_says_so() {
    let dir = scratch("catalogue-tighter");
    let path = scenario(&dir, "pressure-switch", "\n  - expect: {item: switch.trip, upper: 25 psi}\n", &[]);
    let out = dir.join("run");
    let arguments =
        ["run", &path.display().to_string(), "--out", &out.display().to_string(), "--set", "cycles=2"];
    let output = dutycup(&arguments);
    assert_eq!(output.status.code(), Some(1), "{}\n{}", text(&output.stdout), text(&output.stderr));
    let item = items(&out).into_iter().find(|i| i["id"] == "switch.trip").expect("an item");
    let note = item["note"].as_str().expect("a note");
    assert!(note.contains("the tighter holds") && item["lower"].as_f64().is_some(), "{item:#}");
    let page = fs::read_to_string(out.join("report.html")).expect("a page");
    assert!(page.contains("the tighter holds"));
}

#[test]
fn catalogued_ids_are_the_only_ones_given_and_commands_say_so() {
    for entry in CATALOGUE {
        let expectable = matches!(entry.giver, Giver::Runs(purposes) if !purposes.is_empty());
        assert!(expectable || matches!(entry.giver, Giver::Command(_)), "{} is given by nobody", entry.id);
        assert!(entry.line().contains(entry.meaning), "{}", entry.id);
    }
    // Help and schema are written from the same table.
    let help = text(&dutycup(&["run", "--help"]).stdout);
    let schema = text(&dutycup(&["schema", "scenario"]).stdout);
    for entry in CATALOGUE.iter().filter(|e| matches!(e.giver, Giver::Runs(_))) {
        let flat = help.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(&format!("{}: {}", entry.id, entry.line())), "{}", entry.id);
        assert!(
            schema.contains(&format!("\"{}\"", entry.id)) && schema.contains(entry.meaning),
            "{}",
            entry.id
        );
    }
}

/// What a page of the virtual bench says of itself: no date, a length, its record's hash, one decision rule, and no
/// number that reads as nonsense.
fn speaks_true(dir: &Path) {
    let page = fs::read_to_string(dir.join("report.html")).expect("a page");
    let place = dir.display();
    for wrong in ["made from sha256 .", "2000-01-01", "not stated", "from 0 on on", "It looks like this"] {
        assert!(!page.contains(wrong), "{place}: {wrong}");
    }
    let summed = fs::read(dir.join("run.yaml")).map(|b| text(&b)).expect("run.yaml");
    let sums =
        summed.split("name: sums.csv").nth(1).and_then(|t| t.split("sha256: ").nth(1)).expect("a hash");
    assert!(page.contains(&sums[..16]), "{place}: the record's hash");
    assert!(page.contains("simulated on the virtual clock") && page.contains("bench time"), "{place}");
    assert_eq!(page.matches("ecision rule").count(), 1, "{place}");
    for zero in ["-0 ", "\u{2212}0 ", "-0<", "\u{2212}0<", "-0.0 ", "(95 %) (k"] {
        assert!(!page.contains(zero), "{place}: {zero}");
    }
}

#[test]
fn data_without_pressure_publish_no_pressure_and_nothing_made_of_it() {
    let dir = scratch("catalogue-no-pressure");
    fs::create_dir_all(&dir).expect("a folder");
    let rows = [
        (20, 45.0),
        (30, 120.1),
        (40, 200.4),
        (50, 270.2),
        (60, 331.8),
        (70, 385.0),
        (83, 450.0),
        (20, 45.4),
        (50, 269.8),
        (83, 450.6),
    ];
    let mut table = String::from("duty_pct,supply_v,line_pressure_kpa,collected_g,collect_s\n");
    for (duty, collected) in rows {
        table.push_str(&format!("{duty},13.8,,{collected},60\n"));
    }
    let data = dir.join("points.csv");
    fs::write(&data, table).expect("written");
    let out = dir.join("out");
    let output = dutycup(&["analyse", &data.display().to_string(), "--out", &out.display().to_string()]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let ids: Vec<String> = items(&out).iter().map(|i| i["id"].as_str().expect("id").to_owned()).collect();
    assert!(!ids.iter().any(|id| id.starts_with("line.") || id.starts_with("nozzle.")), "{ids:?}");
    let said = text(&output.stdout).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(!said.contains("line pressure at full"), "{said}");
    assert!(said.contains("line pressure was not measured"), "{said}");
    let full = items(&out).into_iter().find(|i| i["id"] == "flow.full_duty").expect("an item");
    assert!(full["note"].as_str().expect("a note").contains("the highest duty measured is 83 %"), "{full:#}");
    // 450.3 g in 60 s at 83 %, 120.1 g at 30 %.
    assert!(said.contains("26.7 % of that"), "{said}");
    let calibration = fs::read_to_string(out.join("calibration.yaml")).expect("a calibration");
    for absent in [
        "k_ml_min_per_sqrt_kpa",
        "exponent",
        "full_duty_kpa",
        "slip_ml_min_per_kpa",
        "displacement_ml_min_per_v",
    ] {
        assert!(calibration.contains(&format!("{absent}: null")), "{absent}: {calibration}");
    }
    assert!(calibration.contains("line_kpa: null"), "{calibration}");
    let page = fs::read_to_string(out.join("report.html")).expect("a page");
    assert!(!page.contains("line pressure at full") && page.contains("made from sha256 "));
}
