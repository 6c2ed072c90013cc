//! Scenario files: every shipped one is good and can be planned, bad ones say what is wrong.

use dutycup::chance::Seed;
use dutycup::quantity::Units;
use dutycup::script;
use std::path::{Path, PathBuf};

fn house(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

#[test]
fn pump_and_nozzle_comes_to_this() {
    let rig = script::load_rig(&house("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let scenario =
        script::load_scenario(&house("scenarios/pump-and-nozzle.yaml")).unwrap_or_else(|e| panic!("{e}"));
    let short = [
        ("repeats", "1"),
        ("duties", "30 %, 60 %, 100%"),
        ("dwell", "20 s"),
    ];
    let sets: Vec<_> = short
        .iter()
        .map(|(n, v)| ((*n).to_owned(), (*v).to_owned()))
        .collect();
    let plan = script::plan(&scenario, &rig, &sets, Seed(1)).unwrap_or_else(|e| panic!("{e}"));
    insta::assert_snapshot!(script::timeline(&plan, &rig).text(Units::Us));
}
