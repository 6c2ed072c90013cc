//! A person walks through the scenarios: the questions, the calibration that comes of them, and what is refused.

use super::person::Person;
use super::record::{plan, play, rig};
use super::{dutycup, measured, said, scratch};
use dutycup::door::chance::Seed;
use dutycup::door::clock::Moment;
use dutycup::door::exit::Exit;
use dutycup::door::record::RunFolder;
use dutycup::door::virtual_bench::{Bench, build};
use std::fs;
use std::path::Path;

const SCENARIO: &str = "scenarios/pump-and-nozzle.yaml";

fn virtual_bench(seed: u64) -> Bench {
    let rig = rig("rigs/virtual.yaml");
    build(rig.virtual_bench.as_ref().expect("a virtual bench"), Seed(seed)).unwrap_or_else(|e| panic!("{e}"))
}

/// Analyses a run and returns its flows: duty, flow, U, basis.
fn flows(dir: &Path) -> Vec<(f64, f64, f64)> {
    let output = dutycup(&["analyse", &dir.display().to_string()]);
    assert!(matches!(output.status.code(), Some(0 | 1 | 3)), "{}", said(&output));
    let text = fs::read_to_string(dir.join("duty_flow.csv"))
        .unwrap_or_else(|e| panic!("{}: {e}\n{}", dir.display(), said(&output)));
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |i: usize| cells[i].parse::<f64>().unwrap_or_else(|e| panic!("{line}: {e}"));
        (number(1), number(2), number(3))
    };
    text.lines().skip(1).map(row).collect()
}

/// The worst difference from the plant's truth, in U, and the mean U in % of the flow.
fn against_truth(dir: &Path, bench: &Bench) -> (f64, String, f64) {
    let calibration: serde_yaml::Value =
        serde_yaml::from_str(&fs::read_to_string(dir.join("calibration.yaml")).expect("a calibration"))
            .expect("yaml");
    let supply = &calibration["reference"]["supply_v"];
    let supply_v =
        supply.as_f64().or_else(|| supply["value"].as_f64()).unwrap_or_else(|| panic!("{calibration:?}"));
    let mut worst = (0.0_f64, String::new());
    let mut of_flow = Vec::new();
    for (duty, flow, u) in flows(dir) {
        let truth =
            bench.settled_state(duty, supply_v, "A", 0.0).unwrap_or_else(|e| panic!("{e}")).flow_ml_min;
        let ratio = (flow - truth).abs() / u;
        of_flow.push(100.0 * u / flow);
        if ratio > worst.0 {
            worst = (ratio, format!("{duty} %: {flow} +- {u}, truth {truth:.1}"));
        }
    }
    (worst.0, worst.1, of_flow.iter().sum::<f64>() / of_flow.len() as f64)
}

#[test]
fn a_person_walks_through_pump_and_nozzle() {
    let rig = rig("rigs/by-hand.yaml");
    for (seed, stopwatch) in [(1, false), (2, true), (3, false)] {
        let plan = plan(&rig, SCENARIO, &[("repeats", "2")], seed);
        let dir = scratch(&format!("by-hand-{seed}"));
        let mut person = Person::new(virtual_bench(seed), seed, 30.0);
        person.stopwatch = stopwatch;
        let ending = play(&dir, (&rig, &plan), seed, &mut person, false, &mut |_| {});
        assert_eq!(ending.exit, Exit::Pass, "{ending:?}\n{}", person.heard.join("\n"));
        let folder = RunFolder::open(&dir).unwrap_or_else(|e| panic!("{e}"));
        let kinds: Vec<String> =
            folder.events().expect("events").map(|e| e.expect("an event").kind).collect();
        let count = |kind: &str| kinds.iter().filter(|k| *k == kind).count();
        assert_eq!(count("collect_end"), 26, "22 points, the first again, and three weighed at rest");
        assert_eq!((count("rest_start"), count("rest_end")), (52, 52));
        assert_eq!(count("seen_by_eye"), 2);
        assert!(person.mistyped > 5, "{} mistyped", person.mistyped);
        flows(&dir);
        let (worst, where_, mean) = against_truth(&dir, &virtual_bench(seed));
        measured(&format!(
            "by hand, seed {seed}: worst difference from the truth {worst:.2} of U ({where_}); U {mean:.1} % of flow on average; \
             {} questions, {} of them mistyped first",
            person.heard.iter().filter(|h| !h.starts_with("note: ")).count(),
            person.mistyped
        ));
        assert!(worst < 1.0, "seed {seed}: {where_}");
        assert!(dir.join("report.html").exists());
    }
}

#[test]
fn questions_say_what_they_want_and_wrong_answers_why() {
    let rig = rig("rigs/by-hand.yaml");
    let sets = [("repeats", "1"), ("duties", "40 %, 70 %"), ("weighed", "60 %"), ("dwell", "10 s")];
    let plan = plan(&rig, SCENARIO, &sets, 4);
    let dir = scratch("by-hand-words");
    let mut person = Person::new(virtual_bench(4), 4, 10.0);
    person.mistypes = 60.0;
    let ending = play(&dir, (&rig, &plan), 4, &mut person, false, &mut |_| {});
    assert_eq!(ending.exit, Exit::Pass, "{ending:?}");
    assert!(ending.safe_state.contains("the operator switched the pump off"), "{}", ending.safe_state);
    let heard = person.heard.join("\n");
    for expected in [
        "Switch the pump off and make sure that the gauge falls.",
        "Set the pump to this duty. (40 %)",
        "Read the pressure gauge [psi].\nRead the voltmeter at the supply terminals of the pump [V].\nAnswer with the values in this order",
        "Switch the pump on at 40 %, and press Enter at the same moment.",
        "after about 10 s switch the pump off",
        "Turn pump_duty slowly and evenly down, from 25 % to 2 %",
        "in \"4o psi\": \"o psi\" is not a unit we know",
        "a value is missing",
        "\"9999\" is not a reading this instrument can show",
        "\"13,8\" is not a number with a unit",
        "\"nan\"",
    ] {
        assert!(heard.contains(expected), "expected \"{expected}\" in:\n{heard}");
    }
    // Twenty wrong answers in a row end the run, safe.
    let mut person = Person::new(virtual_bench(4), 4, 10.0);
    person.mistypes = 101.0;
    let ending = play(&scratch("by-hand-wrong"), (&rig, &plan), 4, &mut person, false, &mut |_| {});
    assert_eq!(ending.exit, Exit::BenchFault, "{ending:?}");
    assert!(ending.verified && ending.fault.is_some_and(|f| f.seen.contains("20 answers in a row")));
}

#[test]
fn a_run_by_hand_that_was_left_goes_on() {
    let rig = rig("rigs/by-hand.yaml");
    let sets = [("repeats", "1")];
    let plan = plan(&rig, SCENARIO, &sets, 6);
    let dir = scratch("by-hand-left");
    let mut person = Person::new(virtual_bench(6), 6, 30.0);
    person.leaves = Moment::from_s(400.0);
    let ending = play(&dir, (&rig, &plan), 6, &mut person, false, &mut |_| {});
    assert_eq!(ending.exit, Exit::Interrupt, "{ending:?}");
    // Nothing goes on by itself: without its name the bench is not armed, and the folder stays as it is.
    let before = fs::read(dir.join("events.csv")).expect("events");
    let output = dutycup(&["run", "--resume", &dir.display().to_string()]);
    assert_eq!(output.status.code(), Some(2), "{}", said(&output));
    assert!(said(&output).contains("not energised unasked"), "{}", said(&output));
    assert_eq!(fs::read(dir.join("events.csv")).expect("events"), before);
    // With it, and nobody to answer, it ends at once, safe or saying that it is not.
    let output = dutycup(&["run", "--resume", &dir.display().to_string(), "--arm", "by-hand"]);
    assert_eq!(output.status.code(), Some(129), "{}", said(&output));
    let folder = RunFolder::open(&dir).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(folder.run.resumed.len(), 1);
}

#[test]
fn what_a_person_cannot_do_is_refused_with_what_would_do() {
    for (scenario, says, instead) in [
        (
            "dead-head",
            "the end of a ramp at a level of line_pressure cannot be done by hand",
            "pressure transducer",
        ),
        ("leak-down", "the leak span of line_pressure cannot be done by hand", "pressure transducer"),
        (
            "pressure-switch",
            "the ramp span of line_pressure cannot be done by hand",
            "dutycup analyse ramps.csv",
        ),
    ] {
        let path = format!("scenarios/{scenario}.yaml");
        let output = dutycup(&["run", &path, "--rig", "rigs/by-hand.yaml", "--dry-run"]);
        let words = said(&output);
        assert_eq!(output.status.code(), Some(2), "{words}");
        assert!(words.contains(says) && words.contains(instead), "{scenario}: {words}");
    }
}

#[test]
fn check_says_what_will_be_asked() {
    let output = dutycup(&["check", "rigs/by-hand.yaml", "--units", "us"]);
    let words = said(&output);
    assert_eq!(output.status.code(), Some(0), "{words}");
    for expected in [
        "worked by a person",
        "Read the pressure gauge [psi].",
        "answers from -5 psi to 300 psi; zero within 1 psi, gain within 1.50 %",
        "NO WATCHDOG",
    ] {
        assert!(words.contains(expected), "expected \"{expected}\" in:\n{words}");
    }
    let output = dutycup(&["check", "rigs/by-hand.yaml", "--json"]);
    let json: serde_json::Value =
        serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{e}: {}", said(&output)));
    assert_eq!(json["by_hand"].as_array().map(Vec::len), Some(5), "{json}");
}
