//! A hundred seeded virtual benches, and forty random pairs, each played in full through the byte protocols, reduced and fitted: does the
//! calibration recover the bench's truth within the uncertainty it states?
//!
//! The errors of every instrument are drawn anew for each bench from the limits that the rig states. The truth is the
//! settled state of the noise-free plant at the reference conditions of the calibration; it shares no formula with the
//! fit. A hundred benches are the long form.

use dutycup::door::chance::Seed;
use dutycup::door::fit::edges::Edges;
use dutycup::door::fit::facts::PairFacts;
use dutycup::door::fit::pair::fit;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::record::run_file::ClockKind;
use dutycup::door::record::{Recorder, RunFile, RunFolder, write_whole};
use dutycup::door::run::bench::Bench;
use dutycup::door::run::drive::drive;
use dutycup::door::script::rig::Rig;
use dutycup::door::script::{Scenario, load_rig, load_scenario, plan};
use dutycup::door::virtual_bench::config::Config;
use dutycup::door::virtual_bench::{build, random_pair, settled_state};
use std::fs;
use std::path::{Path, PathBuf};

/// The scenario shortened: the same steps, less of each.
const SHORT: [(&str, &str); 5] =
    [("dwell", "10 s"), ("rest", "3 s"), ("ramp", "60 s"), ("prime", "4 s"), ("weighed", "60 %")];
/// Temperature of the tables, degC.
const REFERENCE_DEGC: f64 = 20.0;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn benches() -> u64 {
    crate::study::rounds(30, 100)
}

/// Plays one bench and returns its record's folder and the plant's parameters.
fn play(seed: u64, rig: &Rig, scenario: &Scenario) -> (PathBuf, Config) {
    let dir =
        Path::new(env!("CARGO_TARGET_TMPDIR")).join("study-benches").join(format!("{}-{seed}", rig.name));
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(dir.parent().expect("a parent")).expect("scratch");
    let sets: Vec<(String, String)> = SHORT.iter().map(|(n, v)| ((*n).into(), (*v).into())).collect();
    let plan = plan(scenario, rig, &sets, Seed(seed)).unwrap_or_else(|e| panic!("{e}"));
    let roles: Vec<_> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut recorder = Recorder::create(&dir, &roles).unwrap_or_else(|e| panic!("{e}"));
    let mut file = RunFile::new(rig, &plan, seed, ClockKind::Virtual, None, "2000-01-01T00:00:00Z".into());
    for (name, text) in [("scenario.yaml", &plan.source), ("rig.yaml", &rig.source)] {
        write_whole(&dir.join(name), text.as_bytes()).unwrap_or_else(|e| panic!("{e}"));
    }
    let section = rig.virtual_bench.as_ref().expect("a virtual bench");
    let far_end = build(section, Seed(seed)).unwrap_or_else(|e| panic!("{e}"));
    let truth = far_end.config().clone();
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = InProcess::new(far_end, names, Pace::Virtual, StopFlag::default());
    let ending = {
        let mut bench = Bench::new(rig, &plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
        drive(&mut bench, &mut ports, 0, &mut |_, _| {})
    };
    assert!(ending.complete(), "seed {seed}: {ending:?}");
    file.finished(&recorder.finish().unwrap_or_else(|e| panic!("{e}")));
    file.write(&dir).unwrap_or_else(|e| panic!("{e}"));
    (dir, truth)
}

/// What one bench came to: rows of the curve, rows whose truth lies within U, U and error in % of full flow.
struct Outcome {
    seed: u64,
    rows: usize,
    inside: usize,
    u_pct: Vec<f64>,
    error_pct: Vec<f64>,
    /// Dead band on the ramp: found less true, and U, % of duty; none where the ramp showed none.
    stall_pct: Option<(f64, f64)>,
}

/// The lowest duty at which the noise-free plant still flows once it runs, %.
fn stall_of(truth: &Config, supply_v: f64) -> f64 {
    let flows = |duty: f64| settled_state(truth, duty, supply_v, "A", 0.0).is_ok_and(|s| s.flow_ml_min > 0.5);
    let (mut low, mut high) = (0.0, 40.0);
    while high - low > 0.01 {
        let middle = 0.5 * (low + high);
        if flows(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

fn one(seed: u64, rig: &Rig, scenario: &Scenario) -> Outcome {
    let (dir, mut truth) = play(seed, rig, scenario);
    let folder = RunFolder::open(&dir).unwrap_or_else(|e| panic!("{e}"));
    let reduced = dutycup::door::reduce::from_run(&folder, rig).unwrap_or_else(|e| panic!("{e}"));
    let facts = PairFacts::from_rig(&rig.pair, &rig.fluid);
    let fitted = fit(&reduced.collections, &reduced.systematics, &facts)
        .unwrap_or_else(|e| panic!("seed {seed}: {e}"));
    let reference = &fitted.model.reference;
    truth.water.start_degc = REFERENCE_DEGC;
    let rows = fitted.tables().duty_flow;
    let full = rows.last().expect("a curve").flow_ml_min;
    let mut outcome = Outcome {
        seed,
        rows: rows.len(),
        inside: 0,
        u_pct: Vec::new(),
        error_pct: Vec::new(),
        stall_pct: None,
    };
    let edges = Edges::new(&reduced.edges, &reduced.systematics);
    if let Some(stall) = edges.stall {
        let error = stall.value - stall_of(&truth, reference.supply_v);
        outcome.stall_pct = Some((error, stall.u95));
    }
    for row in &rows {
        let there = settled_state(&truth, row.duty_pct, reference.supply_v, "A", 0.0)
            .unwrap_or_else(|e| panic!("{e}"));
        let error = row.flow_ml_min - there.flow_ml_min;
        outcome.inside += usize::from(error.abs() <= row.u95_ml_min);
        outcome.u_pct.push(100.0 * row.u95_ml_min / full);
        outcome.error_pct.push(100.0 * error / full);
    }
    let _ = fs::remove_dir_all(dir);
    outcome
}

/// Plays seeds 1 to `count`, each on the rig that `rig_of` gives, on two threads.
fn study(count: u64, rig_of: impl Fn(u64) -> Rig + Sync) -> Vec<Outcome> {
    let path = root().join("scenarios/pump-and-nozzle.yaml");
    let scenario = load_scenario(&path).unwrap_or_else(|e| panic!("{e}"));
    let half =
        |from: u64| (from..=count).step_by(2).map(|s| one(s, &rig_of(s), &scenario)).collect::<Vec<_>>();
    std::thread::scope(|scope| {
        let (a, b) = (scope.spawn(|| half(1)), scope.spawn(|| half(2)));
        let join = |t: std::thread::ScopedJoinHandle<'_, Vec<Outcome>>| t.join().expect("a study thread");
        join(a).into_iter().chain(join(b)).collect()
    })
}

/// Prints what a study came to and returns the share of rows within U, %.
#[expect(clippy::print_stdout, reason = "the figures are what a study is for")]
fn figures(name: &str, outcomes: &[Outcome]) -> f64 {
    let rows: usize = outcomes.iter().map(|o| o.rows).sum();
    let inside: usize = outcomes.iter().map(|o| o.inside).sum();
    let cover_pct = 100.0 * inside as f64 / rows as f64;
    let mut u: Vec<f64> = outcomes.iter().flat_map(|o| o.u_pct.clone()).collect();
    u.sort_by(f64::total_cmp);
    let errors: Vec<f64> = outcomes.iter().flat_map(|o| o.error_pct.clone()).collect();
    let rms = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    println!(
        "{} {name}, {rows} rows: truth within U in {cover_pct:.1} %; median U {:.3} % of full flow; error mean \
         {mean:.3} %, rms {rms:.3} %; U over twice the error {:.2}",
        outcomes.len(),
        u[u.len() / 2],
        u[u.len() / 2] / (2.0 * rms)
    );
    for o in outcomes.iter().filter(|o| 10 * o.inside < 9 * o.rows) {
        println!("seed {}: {} of {} rows within U", o.seed, o.inside, o.rows);
    }
    let stalls: Vec<(f64, f64)> = outcomes.iter().filter_map(|o| o.stall_pct).collect();
    let inside = stalls.iter().filter(|(error, u)| error.abs() <= *u).count();
    let mean = |value: fn(&(f64, f64)) -> f64| stalls.iter().map(value).sum::<f64>() / stalls.len() as f64;
    println!(
        "{name}: dead band seen on {} ramps, truth within U in {inside}; error mean {:.2} %, U mean {:.2} % of duty",
        stalls.len(),
        mean(|s| s.0),
        mean(|s| s.1)
    );
    assert!(stalls.len() * 2 > outcomes.len(), "most ramps show where flow stops");
    assert!(inside * 100 >= stalls.len() * 92, "dead band within U on {inside} of {} ramps", stalls.len());
    cover_pct
}

fn virtual_rig() -> Rig {
    load_rig(&root().join("rigs/virtual.yaml")).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn calibrations_recover_the_truth_within_their_uncertainty() {
    let outcomes = study(benches(), |_| virtual_rig());
    let cover_pct = figures("benches", &outcomes);
    assert!(cover_pct >= 92.0, "truth within U in {cover_pct:.1} % of the rows");
}

/// The virtual rig with another pair behind it; the pair's own pressure is allowed, everything else stays.
fn random_rig(seed: u64) -> Rig {
    let config = random_pair(Seed(seed));
    let mut rig = virtual_rig();
    rig.name = "random".into();
    rig.pair.pwm_hz = config.driver.pwm_hz;
    rig.pair.nozzles.iter_mut().for_each(|n| n.rating = None);
    rig.limits.line_pressure_kpa = 2000.0;
    rig.limits.cup_mass_g = 11_000.0;
    rig.virtual_bench = Some(serde_yaml::to_value(&config).unwrap_or_else(|e| panic!("{e}")));
    rig
}

#[test]
fn random_pairs_played_in_full_agree_with_their_settled_states() {
    let outcomes = study(40, random_rig);
    let cover_pct = figures("random pairs", &outcomes);
    assert!(cover_pct >= 90.0, "truth within U in {cover_pct:.1} % of the rows");
}
