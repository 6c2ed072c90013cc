//! The bench loop on the virtual bench, with plans written here: what it plays, what it refuses, how it ends.

use dutycup::door::chance::Seed;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::record::writer::Recorder;
use dutycup::door::run::bench::Bench;
use dutycup::door::run::drive::drive;
use dutycup::door::run::ending::Ending;
use dutycup::door::script::plan::{CollectStop, Op, Plan, Step};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::role::Role;
use dutycup::door::verdict::purpose::Purpose;
use std::fs;
use std::path::{Path, PathBuf};

fn rig() -> Rig {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/virtual.yaml");
    dutycup::door::script::load_rig(&path).unwrap_or_else(|e| panic!("{e}"))
}

fn plan(rig: &Rig, ops: Vec<Op>) -> Plan {
    let step =
        |(i, op)| Step { id: i as u32 + 1, label: format!("step {}", i + 1), op, traps_pressure: false };
    Plan {
        scenario: "test".into(),
        source: String::new(),
        parameters: Vec::new(),
        steps: ops.into_iter().enumerate().map(step).collect(),
        limits: rig.limits,
        purpose: Purpose::Record,
    }
}

/// Plays `ops` on the virtual bench and returns the ending and the events.
fn play(name: &str, rig: &Rig, plan: &Plan) -> (Ending, String, PathBuf) {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("run-loop").join(name);
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(&dir).expect("scratch");
    let roles: Vec<Role> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut recorder = Recorder::create(&dir, &roles).unwrap_or_else(|e| panic!("{e}"));
    let section = rig.virtual_bench.as_ref().expect("a virtual bench");
    let far_end = dutycup::door::virtual_bench::build(section, Seed(1)).unwrap_or_else(|e| panic!("{e}"));
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = InProcess::new(far_end, names, Pace::Virtual, StopFlag::default());
    let ending = {
        let mut bench = Bench::new(rig, plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
        drive(&mut bench, &mut ports, 0, &mut |_, _| {})
    };
    recorder.finish().unwrap_or_else(|e| panic!("{e}"));
    let events = fs::read_to_string(dir.join("events.csv")).expect("events");
    (ending, events, dir)
}

fn set(role: Role, value: f64) -> Op {
    Op::Set(vec![(role, value)])
}

fn settle() -> Op {
    Op::Settle {
        role: Role::LinePressure,
        within: 1.0,
        within_fraction: 0.01,
        window_s: 1.0,
        at_most_s: 20.0,
    }
}

#[test]
fn a_collection_is_played_and_ends_safe() {
    let rig = rig();
    let collect =
        Op::Collect { repeat: 1, nozzle: "A".into(), stop: CollectStop::Seconds(5.0), weigh_at_rest: true };
    let ops = vec![
        Op::Expect { item: "duty.dead_band".into(), lower: None, upper: Some(12.5) },
        set(Role::SupplySet, 13.8),
        set(Role::PumpDuty, 60.0),
        settle(),
        collect,
        set(Role::PumpDuty, 0.0),
    ];
    let (ending, events, _) = play("collection", &rig, &plan(&rig, ops));
    assert!(ending.complete() && ending.verified, "{ending:?}\n{events}");
    assert!(events.contains(",expect,1,item=duty.dead_band;upper=12.5"), "{events}");
    for kind in
        ["identified", "armed", "settled", "rest_start", "collect_start", "collect_end", "rest_end", "safe"]
    {
        assert!(events.contains(&format!(",{kind},")), "{kind} in\n{events}");
    }
}

#[test]
fn a_limit_ends_the_run_safe() {
    let rig = rig();
    let mut low =
        plan(&rig, vec![set(Role::SupplySet, 13.8), set(Role::PumpDuty, 90.0), Op::Hold { seconds: 30.0 }]);
    low.limits.line_pressure_kpa = 100.0;
    let (ending, events, _) = play("limit", &rig, &low);
    let fault = ending.fault.clone().expect("a fault");
    assert_eq!(fault.code, FaultCode::Limit, "{ending:?}\n{events}");
    assert_eq!(ending.exit.code(), 5);
    assert!(ending.verified, "{ending:?}");
}

#[test]
fn a_set_point_outside_the_limits_never_leaves() {
    let rig = rig();
    let mut narrow = plan(&rig, vec![set(Role::PumpDuty, 80.0), Op::Hold { seconds: 5.0 }]);
    narrow.limits.duty_pct = (10.0, 50.0);
    let (ending, events, dir) = play("narrow", &rig, &narrow);
    assert_eq!(ending.fault.clone().expect("a fault").code, FaultCode::Config, "{events}");
    let samples = fs::read_to_string(dir.join("samples.csv")).expect("samples");
    assert!(!samples.contains(",80.00"), "no such duty was ever sent");
}
