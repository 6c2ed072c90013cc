//! The program away from its checkout: what comes with it is found by name, and can be written out to copy from.

use dutycup::door::script::shipped::FILES;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Runs the program in a folder that holds nothing of ours.
fn there(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_dutycup"));
    command.args(arguments).current_dir(folder).output().unwrap()
}

#[test]
fn every_scenario_and_rig_of_the_repository_comes_with_the_program() {
    let mut found = BTreeSet::new();
    for folder in ["scenarios", "rigs"] {
        for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)).unwrap() {
            let entry = entry.unwrap();
            if entry.file_type().unwrap().is_file() {
                found.insert(format!("{folder}/{}", entry.file_name().to_string_lossy()));
            }
        }
    }
    let kept: BTreeSet<String> = FILES.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(kept, found);
}

#[test]
fn scenarios_run_by_name_where_no_checkout_lies() {
    let folder = tempfile::tempdir().unwrap();
    for (n, name) in ["leak-down", "leak-down.yaml", "scenarios/leak-down.yaml"].into_iter().enumerate() {
        let done = there(folder.path(), &["run", name, "--out", &format!("run-{n}")]);
        assert!(done.status.success(), "{name}: {}", String::from_utf8_lossy(&done.stderr));
    }
    // A trace that a shipped scenario names comes along, and the copy in the run folder is made from it.
    let done = there(folder.path(), &["run", "road-trace", "--rig", "virtual", "--out", "road"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    assert!(folder.path().join("road/road-trace.csv").exists());
    // A file of that name in the working folder is the one that is meant.
    fs::write(folder.path().join("leak-down.yaml"), "scenario: mine\n").unwrap();
    let done = there(folder.path(), &["run", "leak-down.yaml", "--dry-run"]);
    assert_eq!(done.status.code(), Some(2));
    let done = there(folder.path(), &["run", "leek-down"]);
    assert_eq!(done.status.code(), Some(2));
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(said.contains("leek-down") && said.contains("leak-down, pressure-switch"), "{said}");
}

#[test]
fn examples_are_written_once_and_never_over_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let done = there(folder.path(), &["examples", "bench"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    for (name, text) in FILES {
        assert_eq!(fs::read_to_string(folder.path().join("bench").join(name)).unwrap(), *text);
    }
    let rig = folder.path().join("bench/rigs/virtual.yaml");
    fs::write(&rig, "mine").unwrap();
    fs::remove_file(folder.path().join("bench/scenarios/leak-down.yaml")).unwrap();
    let done = there(folder.path(), &["examples", "bench"]);
    assert_eq!(done.status.code(), Some(2));
    assert_eq!(fs::read_to_string(&rig).unwrap(), "mine");
    assert!(!folder.path().join("bench/scenarios/leak-down.yaml").exists(), "nothing was written");
}
