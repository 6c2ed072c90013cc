//! Runs, reduced: a made-up bench with a known flow writes a record, and the reduction must find the flow, say what is
//! wrong where something is, and nothing where nothing is.
//!
//! The truth is a table of flow and pressure per duty and textbook relations (buoyancy, thrust of a jet, first-order
//! scale); nothing of it is taken from the reduction.

#![expect(clippy::unwrap_used, reason = "a failure here fails the test")]

mod common;
mod record_rig;

use dutycup::chance::*;
use dutycup::clock::Moment;
use dutycup::record::run_file::{ClockKind, RunFile};
use dutycup::record::{Recorder, RunFolder, write_whole};
use dutycup::reduce::collection::Source;
use dutycup::reduce::{Reduced, from_run};
use dutycup::script::rig::{Bound, ChannelSpec, ExchangeSpec, ReadingUncertainty, Rig, Scaling};
use dutycup::script::role::Role;
use std::time::Duration;

const COLUMNS: [Role; 6] = [
    Role::LinePressure,
    Role::CupMass,
    Role::Supply,
    Role::Duty,
    Role::WaterTemperature,
    Role::BackPressure,
];

/// A bench that is made up.
struct Bench {
    recorder: Recorder,
    rng: Stream,
    step: u32,
    ms: u64,
    duty: f64,
    /// True mass in the cup, g, and what the scale's filter has reached.
    cup_g: f64,
    shown_g: f64,
    noise_g: f64,
    faults: Faults,
}

/// What is wrong with it.
#[derive(Clone, Copy, Default)]
struct Faults {
    /// Sine on the pressure, fraction.
    ripple: f64,
    /// The gauge reads this much too much, kPa.
    gauge_zero_kpa: f64,
    /// So does the gauge in the outlet, where there is one.
    back_zero_kpa: Option<f64>,
    /// Drops that fall after each stop, g.
    drip_g: f64,
    /// Pressure (and flow with its root) changes by this fraction each second of spraying.
    drift_per_s: f64,
    /// Fraction of the ideal thrust that reaches the pan.
    jet_on_pan: f64,
    /// A splash of this size now and then, g.
    splash_g: f64,
    /// Flow changes by this fraction from start to end of the run.
    aging: f64,
}

const RUN_S: f64 = 700.0;

/// Pressure and mass flow at a duty: K = 9.9 g/s per sqrt(690 kPa).
fn truth(duty: f64) -> (f64, f64) {
    let kpa = 690.0 * (duty / 100.0).powi(2);
    (kpa, 9.9 * (kpa / 690.0).sqrt())
}

impl Bench {
    fn new(dir: &std::path::Path, rig: &Rig, faults: Faults) -> Self {
        let recorder = Recorder::create(dir, &COLUMNS).unwrap();
        let (_, plan) = record_rig::rig_and_plan();
        write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).unwrap();
        write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).unwrap();
        let started = String::from("2000-01-01T00:00:00Z");
        RunFile::new(rig, &plan, 1, ClockKind::Virtual, None, started)
            .write(dir)
            .unwrap();
        Bench {
            recorder,
            rng: Seed(21).stream("bench"),
            step: 0,
            ms: 0,
            duty: 0.0,
            cup_g: 100.0,
            shown_g: 100.0,
            noise_g: 0.0,
            faults,
        }
    }

    fn event(&mut self, kind: &str, detail: &str) {
        self.recorder
            .event(Moment::from_ms(self.ms), kind, self.step, detail)
            .unwrap();
    }

    fn set(&mut self, duty: f64) {
        if duty == 0.0 && self.duty > 0.0 {
            self.cup_g += self.faults.drip_g;
        }
        self.duty = duty;
        self.event("set", &format!("pump_duty={duty}"));
    }

    /// Ten milliseconds a turn: pressure each turn, the scale each tenth.
    fn run(&mut self, seconds: f64) {
        let start = self.ms;
        for _ in 0..(seconds * 100.0) as u64 {
            self.ms += 10;
            let (at, t) = (Moment::from_ms(self.ms), self.ms as f64 / 1000.0);
            let f = self.faults;
            let on_s = (self.ms - start) as f64 / 1000.0;
            let (mut kpa, _) = truth(self.duty);
            kpa *= (1.0 + f.drift_per_s * on_s) * (1.0 + f.aging * t / RUN_S).powi(2);
            let now_kpa = kpa * (1.0 + f.ripple * (t * 37.7).sin());
            let flow = 9.9 * (now_kpa / 690.0).max(0.0).sqrt();
            self.cup_g += 0.01 * flow;
            let thrust_g = f.jet_on_pan * flow * (2e3 * now_kpa / 998.2).sqrt() / 9.80665;
            self.shown_g += (self.cup_g + thrust_g - self.shown_g) * 0.01 / 0.4;
            self.noise_g = 0.975 * self.noise_g + 0.012 * standard_normal(&mut self.rng);
            let mut put = |column, value| self.recorder.sample(at, self.step, column, value).unwrap();
            put(
                0,
                now_kpa + f.gauge_zero_kpa + 0.8 * standard_normal(&mut self.rng),
            );
            if self.ms.is_multiple_of(100) {
                let splash = if self.ms.is_multiple_of(9_700) {
                    f.splash_g
                } else {
                    0.0
                };
                put(1, ((self.shown_g + self.noise_g + splash) * 10.0).round() / 10.0);
                put(2, 13.8 + 0.002 * standard_normal(&mut self.rng));
                put(3, self.duty);
                put(4, 20.0);
                f.back_zero_kpa.into_iter().for_each(|kpa| put(5, kpa));
            }
        }
    }

    fn collect(&mut self, duty: f64, repeat: u32, at_rest: bool) {
        self.step += 1;
        if at_rest {
            self.set(0.0);
            self.run(4.0);
            self.rest("before");
        }
        self.set(duty);
        self.run(4.0);
        self.dwell(repeat, 30.0);
        if at_rest {
            self.set(0.0);
            self.run(4.0);
            self.rest("after");
        }
    }

    fn dwell(&mut self, repeat: u32, seconds: f64) {
        let detail = format!("repeat={repeat};nozzle=A;duty_set_pct={}", self.duty);
        self.event("collect_start", &detail);
        self.run(seconds);
        self.event("collect_end", "reason=time");
    }

    fn rest(&mut self, which: &str) {
        let detail = format!("which={which};collection={}", self.step);
        self.event("rest_start", &detail);
        self.run(2.0);
        self.event("rest_end", &detail);
    }

    fn vented(&mut self) {
        self.set(0.0);
        self.run(3.0);
        self.event("mark", "kind=vented_zero");
        self.run(10.0);
        self.event("mark", "kind=end;of=vented_zero");
    }
}

fn channel(role: Role, zero: f64, gain: f64, resolution: f64, every_ms: u64) -> ChannelSpec {
    let bound = |half: f64| {
        if half > 0.0 {
            Bound::Limits(half)
        } else {
            Bound::None
        }
    };
    ChannelSpec {
        role,
        instrument: 0,
        exchange: ExchangeSpec::Fixed { value: 0.0 },
        scaling: Scaling {
            gain: 1.0,
            offset: 0.0,
        },
        range: (-1e9, 1e9),
        every: Duration::from_millis(every_ms),
        delay_s: 0.0,
        uncertainty: ReadingUncertainty {
            zero: bound(zero),
            gain: bound(gain),
            resolution,
        },
        calibrated: None,
    }
}

fn rig() -> Rig {
    let (mut rig, _) = record_rig::rig_and_plan();
    rig.channels = vec![
        channel(Role::LinePressure, 2.0, 0.002, 0.05, 10),
        channel(Role::CupMass, 0.1, 0.0005, 0.1, 100),
        channel(Role::Supply, 0.01, 0.001, 0.001, 100),
        channel(Role::Duty, 0.05, 0.001, 0.01, 100),
        channel(Role::WaterTemperature, 0.3, 0.0, 0.01, 200),
    ];
    rig.method.clock_gain = Bound::Limits(2e-5);
    rig
}

/// A run on a bench, reduced.
fn reduce(rig: &Rig, faults: Faults, play: impl FnOnce(&mut Bench)) -> Reduced {
    let dir = tempfile::tempdir().unwrap();
    let mut bench = Bench::new(dir.path(), rig, faults);
    play(&mut bench);
    bench.recorder.finish().unwrap();
    from_run(&RunFolder::open(dir.path()).unwrap(), rig).unwrap()
}

/// The duty that is weighed at rest as well.
fn at_rest(duty: f64) -> bool {
    (duty - 60.0).abs() < 1.0
}

fn usual(bench: &mut Bench) {
    bench.vented();
    for repeat in 1..=3 {
        for duty in [30.0, 60.0, 100.0, 80.0, 45.0] {
            bench.collect(duty, repeat, at_rest(duty));
        }
    }
    bench.collect(30.0, 4, false);
    bench.vented();
}

fn ids(reduced: &Reduced) -> Vec<&'static str> {
    reduced.findings.iter().map(|f| f.id).collect()
}

#[test]
fn a_healthy_bench_gives_its_flow_and_no_findings() {
    let reduced = reduce(&rig(), Faults::default(), usual);
    assert_eq!(ids(&reduced), [] as [&str; 0], "{:#?}", reduced.findings);
    assert_eq!(reduced.collections.len(), 16);
    let mut worst = 0.0_f64;
    for c in &reduced.collections {
        let duty = c.duty_set_pct.unwrap();
        let (kpa, g_s) = truth(duty);
        // Design: 1.00105 for air at 1.2 kg/m3; water at 20 degC 998.2 kg/m3.
        let flow = g_s * 60.0 * 1.001_053 / 0.998_207;
        let off = (c.flow_ml_min - flow) / c.flow_random_ml_min;
        worst = worst.max(off.abs());
        assert!(
            (c.flow_ml_min / flow - 1.0).abs() < 1e-3,
            "{duty} %: {} {flow}",
            c.flow_ml_min
        );
        assert!(
            (c.line_pressure_kpa.unwrap() - kpa).abs() < 0.5,
            "{:?} {kpa}",
            c.line_pressure_kpa
        );
        assert_eq!((c.void.as_deref(), c.note.as_str()), (None, ""));
        assert!((c.duty_pct.unwrap() - duty).abs() < 1e-9 && (c.supply_v - 13.8).abs() < 2e-3);
        let rest = c.static_flow_ml_min;
        assert_eq!(rest.is_some(), at_rest(duty));
        if let Some((rest, u)) = rest {
            assert!(
                (rest - flow).abs() < 2.0 * u && u < 0.01 * flow,
                "{rest} {u} {flow}"
            );
        }
    }
    assert!(worst < 4.0, "{worst} standard uncertainties off");
    let (mass, time) = (
        reduced.systematics.u(Source::ScaleGain),
        reduced.systematics.u(Source::ClockGain),
    );
    assert!((mass - 0.0005 / 3.0_f64.sqrt()).abs() < 1e-12 && (time - 2e-5 / 3.0_f64.sqrt()).abs() < 1e-12);
    assert!(reduced.budget.len() >= 4 && reduced.series.len() == 5);
    assert_eq!(reduced.stretches.iter().filter(|s| s.kind == "dwell").count(), 16);
    assert_eq!(reduced.stretches.iter().filter(|s| s.kind == "rest").count(), 6);
}

/// Design: with a ripple of 50 % the mean root of the pressure lies 1.7 % below the root of the mean.
#[test]
fn ripple_is_averaged_as_a_root() {
    let faults = Faults {
        ripple: 0.5,
        ..Faults::default()
    };
    let reduced = reduce(&rig(), faults, |b| b.collect(80.0, 1, false));
    let c = &reduced.collections[0];
    let (kpa, _) = truth(80.0);
    let root = (c.line_pressure_kpa.unwrap() / kpa).sqrt();
    assert!((root - (1.0 - 0.0165)).abs() < 1e-3, "{root}");
    let mut slow = rig();
    slow.channels[0].every = Duration::from_secs(1);
    let blind = reduce(&slow, faults, |b| b.collect(80.0, 1, false));
    assert!((blind.collections[0].line_pressure_kpa.unwrap() / kpa - 1.0).abs() < 4e-3);
    assert!(blind.systematics.u(Source::TapLoss) > reduced.systematics.u(Source::TapLoss));
}

#[test]
fn the_vented_gauge_gives_its_zero() {
    let zero = |kpa| Faults {
        gauge_zero_kpa: kpa,
        ..Faults::default()
    };
    let reduced = reduce(&rig(), zero(1.4), usual);
    assert_eq!(ids(&reduced), [] as [&str; 0]);
    for c in &reduced.collections {
        let (kpa, _) = truth(c.duty_set_pct.unwrap());
        assert!(
            (c.line_pressure_kpa.unwrap() - kpa).abs() < 0.5,
            "{:?} {kpa}",
            c.line_pressure_kpa
        );
    }
    assert!(reduced.systematics.u(Source::GaugeZero) < 0.3);
    let outlet = Faults {
        back_zero_kpa: Some(-0.6),
        ..zero(1.4)
    };
    let mut two_gauges = rig();
    two_gauges
        .channels
        .push(channel(Role::BackPressure, 1.0, 0.002, 0.02, 200));
    let both = reduce(&two_gauges, outlet, usual);
    assert_eq!(ids(&both), [] as [&str; 0]);
    for c in &both.collections {
        let (kpa, _) = truth(c.duty_set_pct.unwrap());
        assert!(
            (c.line_pressure_kpa.unwrap() - kpa).abs() < 0.5 && c.back_pressure_kpa.abs() < 0.05,
            "{c:?}"
        );
    }
    assert!(both.systematics.u(Source::BackGaugeZero) < 0.3);
    // Far beyond what is stated: not taken for the zero, but told, and the term widened.
    let wrong = reduce(&rig(), zero(9.0), usual);
    assert_eq!(ids(&wrong), ["gauge.zero"]);
    let (kpa, _) = truth(30.0);
    assert!((wrong.collections[0].line_pressure_kpa.unwrap() - kpa - 9.0).abs() < 0.5);
    assert!((wrong.systematics.u(Source::GaugeZero) - 9.0 / 3.0_f64.sqrt()).abs() < 0.1);
}

/// Source: weighing/jet_force_offset.csv (momentum of the jet) and the design's figure: 1 % of pressure in 30 s is
/// about 0.4 g, 0.13 % of the flow, where the whole thrust reaches the pan.
#[test]
fn drifting_thrust_stands_in_the_budget() {
    let row = &common::table("weighing/jet_force_offset.csv")[0];
    let (offset, flow) = (
        row.num("apparent_mass_offset_while_flowing_g"),
        row.num("flow_mL_s_as_g_s"),
    );
    let expected = offset * 0.01 / 30.0 / flow;
    assert!((expected - 0.0013).abs() < 1e-4, "{expected}");
    let mut on_pan = rig();
    on_pan.method.jet_on_pan = 1.0;
    let faults = Faults {
        drift_per_s: 0.01 / 30.0,
        jet_on_pan: 1.0,
        ..Faults::default()
    };
    let reduced = reduce(&on_pan, faults, |b| b.collect(100.0, 1, false));
    let c = &reduced.collections[0];
    let u = c.flow_random_ml_min / c.flow_ml_min;
    // 690 kPa and 9.9 g/s are 100.1 psi and nearly the flow of the table.
    assert!(
        (u * 3.0_f64.sqrt() / expected - 1.0).abs() < 0.12,
        "{u} {expected}"
    );
    // The flow really rose by half the drift on average; what the thrust adds to it lies within twice its limits.
    let (_, g_s) = truth(100.0);
    let really = g_s * (1.0 + 0.5 * 0.01 / 30.0 * 15.0);
    assert!(
        (c.mass_flow_g_s / really - 1.0).abs() < 2.0 * expected,
        "{}",
        c.mass_flow_g_s / really - 1.0
    );
}

#[test]
fn what_goes_wrong_is_said() {
    let dripping = reduce(
        &rig(),
        Faults {
            drip_g: 3.0,
            ..Faults::default()
        },
        usual,
    );
    let finding = dripping
        .findings
        .iter()
        .find(|f| f.id == "static.disagrees")
        .unwrap();
    assert!(finding.likely_cause.contains("drops"), "{finding:?}");
    let aging = reduce(
        &rig(),
        Faults {
            aging: -0.03,
            ..Faults::default()
        },
        usual,
    );
    assert!(
        ids(&aging).contains(&"drift.over_run") && ids(&aging).contains(&"drift.first_and_last"),
        "{:?}",
        ids(&aging)
    );
    let splashed = reduce(
        &rig(),
        Faults {
            splash_g: 7.0,
            ..Faults::default()
        },
        |b| b.collect(60.0, 1, false),
    );
    assert!(
        splashed.collections[0]
            .note
            .contains("readings of the scale stand out"),
        "{}",
        splashed.collections[0].note
    );
    assert!((splashed.collections[0].mass_flow_g_s / truth(60.0).1 - 1.0).abs() < 1e-3);
    let mut silent = rig();
    silent.channels[1].uncertainty.gain = Bound::None;
    let unstated = reduce(&silent, Faults::default(), |b| b.collect(60.0, 1, false));
    assert_eq!(ids(&unstated), ["budget.unstated"]);
    assert!(unstated.findings[0].what.contains("gain of the scale"));
}

#[test]
fn void_dwells_keep_their_reason() {
    let reduced = reduce(&rig(), Faults::default(), |b| {
        b.set(60.0);
        b.run(4.0);
        b.step = 1;
        b.event("collect_start", "repeat=1;nozzle=A;duty_set_pct=60");
        b.run(10.0);
        b.event("gap", "seconds=0.31");
        b.run(10.0);
        b.event("collect_end", "reason=time");
        b.step = 2;
        b.event("collect_start", "repeat=1;nozzle=A+B;duty_set_pct=60");
        b.run(10.0);
        b.cup_g -= 300.0;
        b.run(10.0);
        b.event("collect_end", "reason=time");
        b.step = 3;
        b.event("not_settled", "role=line_pressure;after_s=20");
        b.dwell(1, 20.0);
        b.step = 4;
        b.event("collect_start", "repeat=1;nozzle=A;duty_set_pct=60");
        b.run(5.0);
        b.event("gap", "seconds=0.05");
        b.event("void", "reason=the loop stood still for 300 ms");
        b.event("collect_end", "reason=time");
        b.step = 5;
        b.event("collect_start", "repeat=1;nozzle=A;duty_set_pct=60");
        b.run(0.4);
        b.event("collect_end", "reason=time");
        b.step = 6;
        b.event("collect_start", "repeat=1;nozzle=A;duty_set_pct=60");
        b.run(12.0);
    });
    let voids: Vec<_> = reduced
        .collections
        .iter()
        .map(|c| c.void.as_deref().unwrap_or(""))
        .collect();
    assert_eq!(voids[0], "a gap of 0.31 s in the readings");
    assert!(voids[1].starts_with("the scale stepped by -"), "{}", voids[1]);
    assert_eq!(
        (voids[2], reduced.collections[2].note.as_str()),
        ("", "line_pressure had not settled")
    );
    assert_eq!(voids[3], "the loop stood still for 300 ms");
    assert_eq!(reduced.collections[1].nozzle, "A+B");
    assert!(
        reduced.collections[4].note.contains("two readings") || !voids[4].is_empty(),
        "{:?}",
        reduced.collections[4]
    );
    assert_eq!(voids[5], "the record ends within it");
}

#[test]
fn a_known_weight_and_a_known_interval() {
    let reduced = reduce(&rig(), Faults::default(), |b| {
        let weigh = |b: &mut Bench, nominal: f64| {
            b.cup_g = 100.0 + nominal * 1.0012;
            b.run(5.0);
            b.event("mark", &format!("kind=weigh;nominal={nominal} g"));
            b.run(15.0);
            b.event("mark", "kind=end;of=weigh");
        };
        weigh(b, 0.0);
        for _ in 0..3 {
            weigh(b, 500.0);
            weigh(b, 0.0);
        }
        b.event("answered", "Answer at a full minute of the reference clock.");
        b.event("mark", "kind=interval;nominal=120 s");
        b.run(120.0);
        b.event("mark", "kind=end;of=interval");
        b.event("answered", "seconds=119.9");
    });
    let scale = reduced.check.scale.unwrap();
    assert!(
        (scale.error - 0.0012).abs() < 2.0 * scale.u && scale.u < 3e-4,
        "{scale:?}"
    );
    let clock = reduced.check.clock.unwrap();
    assert!((clock.error - 0.1 / 119.9).abs() < 1e-9, "{clock:?}");
    assert!((reduced.systematics.u(Source::ScaleGain) - scale.u.hypot(scale.error)).abs() < 1e-12);
    assert_eq!(ids(&reduced), ["scale.gain", "clock.rate"]);
}
