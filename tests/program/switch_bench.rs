//! The whole path: the virtual bench plays the scenario of the pressure switch, and what the analysis makes of the
//! record is compared with the bench's own truth, which the analysis never sees. Then benches with bad parts: each ends
//! with a clear finding and the pump off.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use dutycup::door::judge::line_runs::{Outcome, dead_head, leak_down, switch_of_run, tank_level};
use dutycup::door::judge::window::{MARGIN_KPA, Switch, cells_from, window};
use dutycup::door::problem::Problems;
use dutycup::door::record::RunFolder;
use dutycup::door::reduce::switch_run;
use dutycup::door::script::rig::Rig;
use dutycup::door::script::{rig_file, yaml};
use dutycup::door::verdict::item::{Item, Verdict, Verdicts};
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The shipped virtual rig, with words of its bench replaced.
fn rig(dir: &Path, changes: &[(&str, &str)]) -> PathBuf {
    let mut text = std::fs::read_to_string(root().join("rigs/virtual.yaml")).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    let path = dir.join("rig.yaml");
    std::fs::write(&path, text).unwrap();
    path
}

/// Plays a shipped scenario on the virtual bench and opens the record.
fn played(dir: &Path, scenario: &str, rig: &Path, seed: u64) -> (RunFolder, Rig) {
    let out = dir.join(format!("run-{seed}"));
    let done = Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .current_dir(root())
        .args(["run", &format!("scenarios/{scenario}.yaml"), "--seed", &seed.to_string()])
        .arg("--rig")
        .arg(rig)
        .arg("--out")
        .arg(&out)
        .output()
        .unwrap();
    let folder =
        RunFolder::open(&out).unwrap_or_else(|e| panic!("{e}\n{}", String::from_utf8_lossy(&done.stderr)));
    let read = rig_file::read(&yaml::Text::new("rig.yaml".to_owned(), folder.rig_text.as_str())).unwrap();
    (folder, read)
}

/// Whether the run ended with the pump off, verified.
fn ended_safe(folder: &RunFolder) -> bool {
    let safe = folder.events().unwrap().filter_map(Result::ok).filter(|e| e.kind == "safe");
    safe.last().is_some_and(|e| e.detail.contains("pump off"))
}

fn switch(dir: &Path, changes: &[(&str, &str)], seed: u64) -> (Result<Outcome, Problems>, bool) {
    let (folder, read) = played(dir, "pressure-switch", &rig(dir, changes), seed);
    let outcome = switch_of_run(&folder, &read, None, None, None);
    (outcome, ended_safe(&folder))
}

#[test]
fn the_truth_of_the_bench_lies_in_the_intervals() {
    let mut off = Vec::new();
    for seed in 1..=3 {
        let dir = tempfile::tempdir().unwrap();
        let (outcome, safe) = switch(dir.path(), &[], seed);
        let outcome = outcome.unwrap();
        assert!(safe);
        // The rig's truth: trip 204 kPa, differential 26 kPa, drifting up by 0.02 kPa a cycle; about the 13th of 25
        // cycles is the middle one.
        for (place, truth) in [(0, 204.26), (1, 178.26), (2, 26.0)] {
            let item = judged(&outcome)[place].clone();
            let (value, u95) = (item.value.unwrap(), item.u95.unwrap());
            println!("seed {seed}: {} {value:.2} +- {u95:.2} kPa, truth {truth}", item.id);
            if (value - truth).abs() > u95 {
                off.push(format!("seed {seed}: {} {value} +- {u95}", item.id));
            }
        }
        assert_eq!(judged(&outcome)[0].verdict, Verdict::Pass);
    }
    assert!(off.is_empty(), "{off:#?}");
}

fn judged(outcome: &Outcome) -> Vec<Item> {
    Verdicts::judge(&outcome.subjects, &[]).items
}

/// A bad bench: its name, what is changed in the rig, the findings of which one must come.
type Case = (&'static str, &'static [(&'static str, &'static str)], &'static [&'static str]);

#[test]
fn bad_switches_are_named_and_the_pump_is_off() {
    let cases: [Case; 4] = [
        ("never trips", &[("trip_kpa: 204 ", "trip_kpa: 5000 ")], &["switch.never_trips"]),
        (
            "sticks",
            &[("trip_kpa: 204 ", "trip_kpa: 60 "), ("differential_kpa: 26 ", "differential_kpa: 200 ")],
            &["switch.never_resets", "switch.stuck_closed"],
        ),
        (
            "leak larger than the pump",
            &[("leak_ml_min_per_kpa: 0 ", "leak_ml_min_per_kpa: 3 ")],
            &["line.leak_larger_than_pump"],
        ),
        (
            "burst hose",
            &[("leak_ml_min_per_kpa: 0 ", "leak_ml_min_per_kpa: 40 ")],
            &["line.leak_larger_than_pump"],
        ),
    ];
    for (name, changes, ids) in cases {
        let dir = tempfile::tempdir().unwrap();
        let (outcome, safe) = switch(dir.path(), changes, 5);
        assert!(safe, "{name}");
        let outcome = outcome.unwrap_or_else(|e| panic!("{name}: {e}"));
        let found: Vec<&str> = outcome.findings.iter().map(|f| f.id).collect();
        println!("{name}: {found:?}");
        assert!(found.iter().any(|id| ids.contains(id)), "{name}: {found:?}");
        assert_ne!(judged(&outcome)[0].verdict, Verdict::Pass, "{name}");
    }
}

#[test]
fn leak_dead_head_and_level_are_read() {
    let dir = tempfile::tempdir().unwrap();
    let plain = rig(dir.path(), &[]);
    let (folder, read) = played(dir.path(), "leak-down", &plain, 1);
    let outcome = leak_down(&folder, &read, None).unwrap();
    assert_eq!(judged(&outcome)[0].id, "line.leak");
    assert_eq!(judged(&outcome)[0].verdict, Verdict::Pass, "{:?}", judged(&outcome)[0]);
    let (folder, read) = played(dir.path(), "dead-head", &plain, 2);
    let outcome = dead_head(&folder, &read).unwrap();
    assert!(judged(&outcome)[0].value.unwrap() > 500.0 && outcome.files[0].1.lines().count() > 10);
    let (folder, read) = played(dir.path(), "tank-level", &plain, 3);
    let outcome = tank_level(&folder, &read).unwrap();
    assert!(judged(&outcome)[0].value.unwrap() > 500.0, "{:?}", judged(&outcome));
}

#[test]
fn the_switch_of_a_run_goes_into_a_window() {
    let dir = tempfile::tempdir().unwrap();
    let (folder, read) = played(dir.path(), "pressure-switch", &rig(dir.path(), &[]), 9);
    let switch = Switch::of(&switch_run::from_run(&folder, &read).unwrap()).unwrap();
    // A pair whose line stands 4 kPa above boost for each per cent of duty.
    let pair = |duty_pct: f64, boost_kpa: f64| {
        Ok(dutycup::door::judge::window::LineAt {
            flow_ml_min: 6.0 * duty_pct,
            line_kpa: boost_kpa + 4.0 * duty_pct,
            line_u95_kpa: 2.0,
        })
    };
    let cells = cells_from(58.0, 60.0, 138.0);
    let answer = window(&pair, &switch, 138.0, &cells, MARGIN_KPA).unwrap();
    assert!(answer.above.0 > answer.above.1 && answer.below.0 > answer.below.1, "{answer:?}");
}
