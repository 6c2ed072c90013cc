//! Scenario files: every shipped one is good and comes to a known plan; sweeps, cycles and the cup.

use dutycup::door::chance::Seed;
use dutycup::door::quantity::Units;
use dutycup::door::script::plan::{Op, Plan};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::role::Role;
use dutycup::door::script::{self, Scenario};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

fn house(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn rig(name: &str) -> Rig {
    script::load_rig(&house("rigs").join(format!("{name}.yaml"))).unwrap_or_else(|e| panic!("{e}"))
}

fn scenario(name: &str) -> Scenario {
    script::load_scenario(&house("scenarios").join(format!("{name}.yaml"))).unwrap_or_else(|e| panic!("{e}"))
}

fn plan(scenario: &Scenario, rig: &Rig, sets: &[(&str, &str)], seed: u64) -> Plan {
    let sets: Vec<_> = sets.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
    script::plan(scenario, rig, &sets, Seed(seed)).unwrap_or_else(|e| panic!("{e}"))
}

fn shipped() -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(house("scenarios"))
        .unwrap_or_else(|e| panic!("{e}"))
        .filter_map(|e| Some(e.ok()?.file_name().to_str()?.strip_suffix(".yaml")?.to_owned()))
        .collect();
    names.sort();
    names
}

#[test]
fn every_shipped_scenario_comes_to_a_plan() {
    let rigs = ["virtual", "serial-bench", "by-hand"].map(rig);
    let mut told = String::new();
    for name in shipped() {
        let scenario = scenario(&name);
        assert_eq!(scenario.name, name, "the file is named as the scenario");
        assert!(
            scenario.about.is_some() && !scenario.cautions.is_empty(),
            "{name} says what it does and its cautions"
        );
        for rig in &rigs {
            let _ = write!(told, "{name} on {}: ", rig.name);
            match script::plan(&scenario, rig, &[], Seed(1)) {
                Ok(plan) => {
                    let t = script::timeline(&plan, rig);
                    let _ = writeln!(
                        told,
                        "{} steps, {:.0} s (at most {:.0} s), {} collections, {} cups, {} asks",
                        t.steps, t.expected_s, t.longest_s, t.collections, t.cup_fillings, t.asks
                    );
                }
                Err(problems) => {
                    let whats: Vec<&str> = problems.0.iter().map(|p| p.what.as_str()).collect();
                    let _ = writeln!(told, "{}", whats.join("; "));
                }
            }
        }
    }
    insta::assert_snapshot!(told);
}

#[test]
fn pump_and_nozzle_reads_like_this() {
    let rig = rig("virtual");
    let short = [("repeats", "1"), ("duties", "30 %, 60 %, 100%"), ("dwell", "20 s")];
    let plan = plan(&scenario("pump-and-nozzle"), &rig, &short, 1);
    insta::assert_snapshot!(script::timeline(&plan, &rig).text(Units::Us));
}

fn duties(plan: &Plan) -> Vec<(u32, f64)> {
    let mut duty = 0.0;
    let mut collected = Vec::new();
    for step in &plan.steps {
        match &step.op {
            Op::Set(settings) => {
                duty = settings.iter().find(|(r, _)| *r == Role::PumpDuty).map_or(duty, |(_, v)| *v);
            }
            Op::Collect { repeat, weigh_at_rest: false, .. } => collected.push((*repeat, duty)),
            _ => {}
        }
    }
    collected
}

#[test]
fn a_shuffled_sweep_is_a_block_a_pass_and_its_first_point_comes_last() {
    let (rig, scenario) = (rig("virtual"), scenario("pump-and-nozzle"));
    let first = duties(&plan(&scenario, &rig, &[], 7));
    assert_eq!(first, duties(&plan(&scenario, &rig, &[], 7)), "the same seed gives the same order");
    assert_ne!(first, duties(&plan(&scenario, &rig, &[], 8)));
    assert_eq!(first.len(), 3 * 11 + 1);
    let block = |pass: usize| {
        let mut duties: Vec<f64> = first[pass * 11..(pass + 1) * 11].iter().map(|(_, d)| *d).collect();
        assert!(first[pass * 11..(pass + 1) * 11].iter().all(|(r, _)| *r as usize == pass + 1));
        let order = duties.clone();
        duties.sort_by(f64::total_cmp);
        (duties, order)
    };
    let (sorted, order) = block(0);
    assert_eq!(sorted, [15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0]);
    assert_eq!(sorted, block(1).0);
    assert_ne!(order, block(1).1, "each pass has its own order");
    assert_eq!(first[33], (4, first[0].1));
}

#[test]
fn a_small_cup_is_emptied_in_time() {
    let (mut rig, scenario) = (rig("virtual"), scenario("pump-and-nozzle"));
    rig.limits.cup_mass_g = 2000.0;
    let plan = plan(&scenario, &rig, &[], 1);
    let timeline = script::timeline(&plan, &rig);
    // By the rating, 10 US gal/h: 7.1 L, with a margin of a quarter 8.9 kg: five cups of 2 kg, emptied between.
    assert_eq!((timeline.cup_fillings, timeline.asks), (5, 4));
    assert_eq!(
        plan.steps.iter().map(|s| s.id).collect::<Vec<_>>(),
        (1..=plan.steps.len() as u32).collect::<Vec<_>>()
    );
    for (i, step) in plan.steps.iter().enumerate().filter(|(_, s)| matches!(s.op, Op::Ask { .. })) {
        let before = &plan.steps[i - 1].op;
        assert_eq!(
            *before,
            Op::Set(vec![(Role::PumpDuty, 0.0)]),
            "{}: the pump is off while someone reaches in",
            step.label
        );
    }
    rig.limits.cup_mass_g = 200.0;
    let refused = script::plan(&scenario, &rig, &[], Seed(1)).expect_err("one point fills the cup");
    assert!(refused.0[0].what.contains("into the cup"), "{refused}");
}

#[test]
fn trapped_pressure_is_said_and_vented() {
    let plan = plan(&scenario("leak-down"), &rig("virtual"), &[], 1);
    let trapped: Vec<&Op> = plan.steps.iter().filter(|s| s.traps_pressure).map(|s| &s.op).collect();
    let shut = Op::Set(vec![(Role::Solenoid, 0.0), (Role::PumpDuty, 0.0)]);
    assert!(trapped.contains(&&shut), "shut in with the pump off");
    assert_eq!(trapped.last(), Some(&&Op::Vent { at_most_s: 30.0 }));
}

#[test]
fn spans_carry_what_describes_them() {
    let plan = plan(&scenario("pressure-switch"), &rig("virtual"), &[("cycles", "2")], 1);
    let marks: Vec<String> = plan
        .steps
        .iter()
        .filter_map(|s| match &s.op {
            Op::Mark { kind, values } => {
                let values: Vec<String> = values.iter().map(|(n, v)| format!("{n}={v}")).collect();
                Some(format!("{kind} {}", values.join(" ")))
            }
            _ => None,
        })
        .collect();
    insta::assert_snapshot!(marks.join("\n"));
}

#[test]
fn a_grid_is_walked_from_both_sides() {
    let sets =
        [("boosts", "8.4 psi, 20 psi"), ("speeds", "2000 rpm, 4000 rpm"), ("repeats", "1"), ("steps", "1")];
    let plan = plan(&scenario("controller"), &rig("virtual"), &sets, 1);
    let points: Vec<String> = plan
        .steps
        .iter()
        .filter_map(|s| match &s.op {
            Op::Mark { kind, values } if kind == "point" && values.len() == 4 => {
                Some(values.iter().map(|(n, v)| format!("{n}={v}")).collect::<Vec<_>>().join(" "))
            }
            _ => None,
        })
        .collect();
    insta::assert_snapshot!(points.join("\n"));
}

#[test]
fn waits_at_random_phase_come_from_the_seed() {
    let (rig, scenario) = (rig("virtual"), scenario("controller"));
    let holds = |seed| -> Vec<u64> {
        let plan = plan(&scenario, &rig, &[], seed);
        let random = |op: &Op| match op {
            Op::Hold { seconds } if (0.6..0.7).contains(seconds) && *seconds > 0.6 => Some(seconds.to_bits()),
            _ => None,
        };
        plan.steps.iter().filter_map(|s| random(&s.op)).collect()
    };
    let one = holds(1);
    assert!(one.len() >= 40);
    assert_eq!(one, holds(1));
    assert_ne!(one, holds(2));
}
