//! N1 and N2: how fast the virtual bench is, alone and with the program's loop and the instruments' bytes before it.
//!
//! In: nothing. Out: how many times faster than real time, beside a five-state Runge-Kutta floor in the same run.

use super::table::{Line, Table, best};
use dutycup::door::chance::Seed;
use dutycup::door::clock::{Moment, SystemClock};
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::record::Recorder;
use dutycup::door::run::drive::drive;
use dutycup::door::script::plan::{Op, Plan, Step};
use dutycup::door::script::rig::{ExchangeSpec, Rig};
use dutycup::door::script::role::{Direction, Role};
use dutycup::door::verdict::purpose::Purpose;
use dutycup::door::virtual_bench::{Device, VirtualBench, build, random_pair, settled_state};
use std::hint::black_box;
use std::path::Path;
use std::time::Duration;

/// Bench time that the physics are measured over, s.
const SPAN_S: f64 = 5.0;

fn line(id: &'static str, what: &str, rate: f64, peer: String, ratio: Option<f64>, aim: f64) -> Line {
    Line {
        id,
        what: what.into(),
        ours: format!("{rate:.0} x real time"),
        peer,
        ratio,
        aim: format!(">= {aim:.0} x"),
        met: Some(rate >= aim),
    }
}

/// N2: physics alone, nobody looking, the watchdog far away.
pub(crate) fn physics(table: &mut Table, quick: bool) {
    let rounds = if quick { 20 } else { 60 };
    let section = serde_yaml::from_str("driver: {watchdog_ms: 60000}").unwrap();
    let (mut ours, mut floor) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..rounds {
        let mut bench = build(&section, Seed(1)).unwrap();
        bench.receive(Device(2), b"ARM\nD 60\n", Moment::START);
        bench.bring_to(Moment::from_ms(50));
        let clock = SystemClock::start();
        bench.bring_to(Moment::from_ms(5_050));
        ours = ours.min(clock.now().as_s());
        assert!(black_box(&bench).truth().flow_ml_min > 100.0);
        floor = floor.min(five_states());
    }
    let rate = SPAN_S / ours;
    let peer = format!("5-state Runge-Kutta {:.0} x", SPAN_S / floor);
    table.add(line("N2", "physics alone, 1 kHz", rate, peer, Some(rate * floor / SPAN_S), 10_000.0));
    settled(table, if quick { 10 } else { 50 });
}

/// Five states (motor current, speed, two pressures, mass) by classic Runge-Kutta at 1 kHz over [`SPAN_S`]; s.
fn five_states() -> f64 {
    let slope = |x: [f64; 5]| {
        let flow = 40.0 * (x[3].max(0.0)).sqrt();
        let pumped = 0.3 * x[1] - 0.1 * x[2];
        let over = 0.5 * (x[2] - x[3]);
        [
            (8.0 - 0.5 * x[0] - 0.02 * x[1]) * 50.0,
            (0.05 * x[0] - 0.0005 * x[2]) * 400.0,
            (pumped - over) * 20.0,
            (over - flow * 0.01) * 20.0,
            flow / 60.0,
        ]
    };
    let add = |x: [f64; 5], k: [f64; 5], h: f64| std::array::from_fn(|i| x[i] + h * k[i]);
    let (mut x, h) = (black_box([0.0; 5]), 1e-3);
    let clock = SystemClock::start();
    for _ in 0..(SPAN_S / h) as u32 {
        let k1 = slope(x);
        let k2 = slope(add(x, k1, h / 2.0));
        let k3 = slope(add(x, k2, h / 2.0));
        let k4 = slope(add(x, k3, h));
        x = std::array::from_fn(|i| x[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]));
    }
    let s = clock.now().as_s();
    assert!(black_box(x).iter().all(|v| v.is_finite()) && x[4] > 0.0, "{x:?}");
    s
}

/// Settled states of random pairs, the fastest of several rounds each.
fn settled(table: &mut Table, pairs: u64) {
    let clock = SystemClock::start();
    let rounds = 5;
    let mut sum = 0.0;
    for k in 0..pairs {
        let config = random_pair(Seed(5).nth(k));
        let mut best = f64::INFINITY;
        for _ in 0..rounds {
            let begin = clock.now().as_s();
            for tenth in 2..=10 {
                black_box(settled_state(&config, 10.0 * f64::from(tenth), 13.8, "A", 0.0).unwrap());
            }
            best = best.min(clock.now().as_s() - begin);
        }
        sum += best;
    }
    let pair = sum / pairs as f64;
    table.add(Line {
        id: "N2",
        what: "settled states, 1,000 pairs of 9 duties".into(),
        ours: format!("{:.2} s, {:.0} us each", pair * 1e3, pair / 9.0 * 1e6),
        peer: String::new(),
        ratio: None,
        aim: String::new(),
        met: None,
    });
}

/// The shipped virtual rig with one query at 100 Hz for each of four instruments.
fn rig() -> Rig {
    let mut rig = super::record::virtual_rig();
    let generator = rig.instruments.iter().position(|i| i.name == "generator").unwrap();
    for channel in &mut rig.channels {
        if channel.role == Role::PumpCurrent {
            // A fourth instrument to ask: what the generator plays, in place of the supply's current.
            channel.instrument = generator;
            channel.exchange = ExchangeSpec::Ask { query: "SOUR1:VOLT?".into(), pattern: None, field: 0 };
        }
        channel.every = Duration::from_millis(10);
    }
    let asked = [
        Role::LinePressure,
        Role::Switch,
        Role::Duty,
        Role::OutputOn,
        Role::EmergencyStop,
        Role::Supply,
        Role::PumpCurrent,
        Role::CupMass,
    ];
    rig.channels.retain(|c| c.role.direction() == Direction::Set || asked.contains(&c.role));
    rig
}

/// N1: the program's loop, byte protocols, plant and record under the virtual clock.
pub(crate) fn whole_bench(table: &mut Table, dir: &Path, quick: bool) {
    let rig = rig();
    let seconds = if quick { 120.0 } else { 600.0 };
    let step = |id, op| Step { id, label: "bench".into(), op, traps_pressure: false };
    let plan = Plan {
        scenario: "bench".into(),
        source: String::new(),
        parameters: Vec::new(),
        steps: vec![step(1, Op::Set(vec![(Role::PumpDuty, 60.0)])), step(2, Op::Hold { seconds })],
        limits: rig.limits,
        purpose: Purpose::Record,
    };
    let roles: Vec<Role> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut round = 0;
    let s = best(3, || {
        round += 1;
        let mut recorder =
            Recorder::create(&dir.join(format!("n1-{round}")), &roles).unwrap_or_else(|e| panic!("{e}"));
        let far = build(rig.virtual_bench.as_ref().unwrap(), Seed(1)).unwrap();
        let names = rig.instruments.iter().map(|i| i.name.as_str());
        let mut ports = InProcess::new(far, names, Pace::Virtual, StopFlag::default());
        let clock = SystemClock::start();
        {
            let mut bench = dutycup::door::run::bench::Bench::new(&rig, &plan, &mut recorder).unwrap();
            let ending = drive(&mut bench, &mut ports, 0, &mut |_, _| {});
            assert!(ending.complete(), "{ending:?}");
        }
        let done = recorder.finish().unwrap_or_else(|e| panic!("{e}"));
        let s = clock.now().as_s();
        assert!(done.counts.samples as f64 > 7.0 * 100.0 * seconds, "{:?}", done.counts);
        s
    });
    let rate = seconds / s;
    let peer = format!("an hour in {:.2} s", 3600.0 / rate);
    let what = "virtual bench by byte protocols, 4 instruments at 100 Hz, recorded";
    table.add(line("N1", what, rate, peer.clone(), None, 1000.0));
    table.add(line("N1", "the same, aimed at", rate, peer, None, 2000.0));
}
