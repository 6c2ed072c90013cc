//! Arming: what is said, and what is refused, before anything is energised.

use super::{dutycup, measured, said, scratch};
use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::Path;

/// Runs a scenario by hand and expects a refusal; returns what was said.
fn refused(arguments: &[&str], code: i32) -> String {
    let mut all = vec!["run", "scenarios/pump-and-nozzle.yaml"];
    all.extend(arguments);
    let output = dutycup(&all);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {}", said(&output));
    said(&output)
}

fn by_hand() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/by-hand.yaml");
    fs::read_to_string(path).expect("a rig")
}

#[test]
fn nothing_is_energised_without_the_name_of_the_bench() {
    let out = scratch("unarmed");
    let shown = out.display().to_string();
    for (arm, says) in [(None, "not energised unasked"), (Some("other"), "is not the name of this bench")] {
        let mut arguments = vec!["--rig", "rigs/by-hand.yaml", "--out", &shown];
        if let Some(name) = arm {
            arguments.extend(["--arm", name]);
        }
        let words = refused(&arguments, 2);
        for expected in [
            says,
            "--arm by-hand",
            "WATCHDOG: NONE",
            "Eye protection; nobody in line with it",
            "The relief valve is set below the hose rating",
            "line pressure, highest",
            "150 psi",
            "highest pressure",
            "fluid             water",
            "pump on",
        ] {
            assert!(words.contains(expected), "expected \"{expected}\" in:\n{words}");
        }
        assert!(!out.exists(), "an unarmed run leaves no folder");
    }
}

#[test]
fn methanol_needs_the_rig_and_the_command_line() {
    let dir = scratch("methanol");
    fs::create_dir_all(&dir).expect("scratch");
    let rig = dir.join("rig.yaml");
    let shown = rig.display().to_string();
    let out = dir.join("out").display().to_string();
    let with = |more: &str| {
        let text = by_hand();
        assert!(text.contains("fluid:\n"));
        fs::write(&rig, text.replace("fluid:\n", &format!("fluid:\n  methanol_by_mass: 44 %\n{more}")))
            .expect("a rig");
    };
    with("");
    let words = refused(&["--rig", &shown, "--out", &out, "--arm", "by-hand", "--methanol"], 2);
    assert!(words.contains("methanol is not permitted on this bench"), "{words}");
    with("  methanol_permitted: on\n");
    let words = refused(&["--rig", &shown, "--out", &out, "--arm", "by-hand"], 2);
    for expected in [
        "44 % methanol by mass",
        "--methanol",
        "flammable",
        "toxic",
        "hardly visible",
        "Ventilate",
        "source of ignition",
        "predict calibration.yaml --fluid",
    ] {
        assert!(words.contains(expected), "expected \"{expected}\" in:\n{words}");
    }
    assert!(!Path::new(&out).exists());
    // With both consents it comes to arming, and no further without the bench's name.
    let words = refused(&["--rig", &shown, "--out", &out, "--methanol"], 2);
    assert!(words.contains("METHANOL by mass") && words.contains("not energised unasked"), "{words}");
}

#[test]
fn the_folder_is_looked_at_before_arming() {
    let dir = scratch("folders");
    fs::create_dir_all(dir.join("full")).expect("scratch");
    fs::write(dir.join("full/file"), "x").expect("scratch");
    fs::create_dir_all(dir.join("target")).expect("scratch");
    symlink(dir.join("target"), dir.join("link")).expect("a link");
    fs::create_dir_all(dir.join("locked")).expect("scratch");
    fs::set_permissions(dir.join("locked"), fs::Permissions::from_mode(0o555)).expect("scratch");
    fs::write(dir.join("plain"), "x").expect("scratch");
    let mut cases =
        vec![("full", "is not empty"), ("link", "is a symbolic link"), ("plain", "is not a folder")];
    // Whoever may write everywhere (root) cannot see this one refused.
    if fs::write(dir.join("locked/probe"), "x").is_err() {
        cases.push(("locked", "cannot write"));
    } else {
        measured("skipped: a read-only folder, since this user may write into it");
    }
    for (name, says) in cases {
        let out = dir.join(name).display().to_string();
        let words = refused(&["--rig", "rigs/by-hand.yaml", "--out", &out, "--arm", "by-hand"], 74);
        assert!(words.contains(says), "{name}: {words}");
        assert!(!words.contains("WATCHDOG"), "{name}: refused before arming: {words}");
    }
}

#[test]
fn what_a_run_raises_against_the_last_one_is_shown() {
    use super::person::Person;
    use super::record::{plan, play, rig};
    let folder = scratch("raised");
    fs::create_dir_all(&folder).expect("scratch");
    let bench = rig("rigs/virtual.yaml");
    let section = bench.virtual_bench.as_ref().expect("a virtual bench");
    let far_end = dutycup::door::virtual_bench::build(section, dutycup::door::chance::Seed(8))
        .unwrap_or_else(|e| panic!("{e}"));
    let rig = rig("rigs/by-hand.yaml");
    let before = [("repeats", "1"), ("duties", "30 %, 60 %"), ("weighed", "60 %"), ("dwell", "20 s")];
    let plan = plan(&rig, "scenarios/pump-and-nozzle.yaml", &before, 1);
    let mut person = Person::new(far_end, 8, 20.0);
    let ending = play(&folder.join("one"), (&rig, &plan), 1, &mut person, false, &mut |_| {});
    assert_eq!(ending.exit, dutycup::door::exit::Exit::Pass, "{ending:?}");
    let unarmed = |sets: [&str; 4]| {
        let out = folder.join("two").display().to_string();
        let mut all = vec!["--rig", "rigs/by-hand.yaml", "--out", &out];
        all.extend(sets.iter().flat_map(|set| ["--set", set]));
        refused(&all, 2)
    };
    let same = unarmed(["repeats=1", "duties=30 %, 60 %", "weighed=60 %", "dwell=20 s"]);
    assert!(!same.contains("RAISED"), "{same}");
    let more = unarmed(["repeats=1", "duties=30 %, 90 %", "weighed=60 %", "dwell=40 s"]);
    for expected in [
        "RAISED against the last complete run",
        "highest line pressure expected",
        "longest time with the pump on",
        " -> ",
    ] {
        assert!(more.contains(expected), "expected \"{expected}\" in:\n{more}");
    }
}

#[test]
fn a_plan_edited_during_the_run_is_noted_and_not_used() {
    use std::io::{BufRead as _, BufReader, Read as _};
    use std::process::{Command, Stdio};
    let dir = scratch("edited");
    fs::create_dir_all(&dir).expect("scratch");
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let scenario = dir.join("scenario.yaml");
    let text = fs::read_to_string(home.join("scenarios/pump-and-nozzle.yaml")).expect("a scenario");
    fs::write(&scenario, &text).expect("a copy");
    let out = dir.join("out");
    let mut child = Command::new(env!("CARGO_BIN_EXE_dutycup"))
        .args(["run", "--rig", "rigs/by-hand.yaml", "--arm", "by-hand", "--out"])
        .args([&out, &scenario])
        .current_dir(home)
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut said = BufReader::new(child.stderr.take().expect("stderr"));
    let mut line = String::new();
    while !line.contains("make sure that the gauge falls") {
        line.clear();
        assert!(said.read_line(&mut line).expect("readable") > 0, "the first question comes");
    }
    fs::write(&scenario, text.replace("default: 30 s", "default: 300 s")).expect("edited");
    drop(child.stdin.take());
    let mut rest = String::new();
    said.read_to_string(&mut rest).expect("readable");
    assert_eq!(child.wait().expect("ended").code(), Some(129), "{rest}");
    assert!(rest.contains("was changed or removed while the run was going on"), "{rest}");
    let folder = dutycup::door::record::RunFolder::open(&out).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(folder.scenario_text, text, "the run keeps what it had read");
    assert!(folder.run.warnings.iter().any(|w| w.contains("was changed")), "{:?}", folder.run.warnings);
}
