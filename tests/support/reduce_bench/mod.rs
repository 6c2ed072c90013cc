//! A made-up bench that writes a record: known flow, known faults, nothing taken from the reduction.

#![allow(clippy::unwrap_used, reason = "a failure here fails the test")]

use crate::record_rig;
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::record::run_file::{ClockKind, RunFile};
use dutycup::door::record::{Recorder, RunFolder, write_whole};
use dutycup::door::reduce::{Reduced, from_run};
use dutycup::door::script::rig::{ChannelSpec, ExchangeSpec, ReadingUncertainty, Rig, Scaling};
use dutycup::door::script::role::Role;
use dutycup::door::uncertainty::Bound;
use std::time::Duration;

pub(crate) const COLUMNS: [Role; 6] =
    [Role::LinePressure, Role::CupMass, Role::Supply, Role::Duty, Role::WaterTemperature, Role::BackPressure];

/// A bench that is made up.
pub(crate) struct Bench {
    pub(crate) recorder: Recorder,
    pub(crate) rng: Stream,
    pub(crate) step: u32,
    pub(crate) ms: u64,
    pub(crate) duty: f64,
    /// True mass in the cup, g, and what the scale's filter has reached.
    pub(crate) cup_g: f64,
    pub(crate) shown_g: f64,
    pub(crate) noise_g: f64,
    pub(crate) faults: Faults,
}

/// What is wrong with it.
#[derive(Clone, Copy, Default)]
pub(crate) struct Faults {
    /// Sine on the pressure, fraction.
    pub(crate) ripple: f64,
    /// The gauge reads this much too much, kPa.
    pub(crate) gauge_zero_kpa: f64,
    /// So does the gauge in the outlet, where there is one.
    pub(crate) back_zero_kpa: Option<f64>,
    /// Drops that fall after each stop, g.
    pub(crate) drip_g: f64,
    /// Pressure (and flow with its root) changes by this fraction each second of spraying.
    pub(crate) drift_per_s: f64,
    /// Fraction of the ideal thrust that reaches the pan.
    pub(crate) jet_on_pan: f64,
    /// A splash of this size now and then, g.
    pub(crate) splash_g: f64,
    /// Flow changes by this fraction from start to end of the run.
    pub(crate) aging: f64,
}

pub(crate) const RUN_S: f64 = 700.0;

/// Pressure and mass flow at a duty: K = 9.9 g/s per sqrt(690 kPa).
pub(crate) fn truth(duty: f64) -> (f64, f64) {
    let kpa = 690.0 * (duty / 100.0).powi(2);
    (kpa, 9.9 * (kpa / 690.0).sqrt())
}

impl Bench {
    pub(crate) fn new(dir: &std::path::Path, rig: &Rig, faults: Faults) -> Self {
        let recorder = Recorder::create(dir, &COLUMNS).unwrap();
        let (_, plan) = record_rig::rig_and_plan();
        write_whole(&dir.join("rig.yaml"), rig.source.as_bytes()).unwrap();
        write_whole(&dir.join("scenario.yaml"), plan.source.as_bytes()).unwrap();
        let started = String::from("2000-01-01T00:00:00Z");
        RunFile::new(rig, &plan, 1, ClockKind::Virtual, None, started).write(dir).unwrap();
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

    pub(crate) fn event(&mut self, kind: &str, detail: &str) {
        self.recorder.event(Moment::from_ms(self.ms), kind, self.step, detail).unwrap();
    }

    pub(crate) fn set(&mut self, duty: f64) {
        if duty == 0.0 && self.duty > 0.0 {
            self.cup_g += self.faults.drip_g;
        }
        self.duty = duty;
        self.event("set", &format!("pump_duty={duty}"));
    }

    /// Ten milliseconds a turn: pressure each turn, the scale each tenth.
    pub(crate) fn run(&mut self, seconds: f64) {
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
            put(0, now_kpa + f.gauge_zero_kpa + 0.8 * standard_normal(&mut self.rng));
            if self.ms.is_multiple_of(100) {
                let splash = if self.ms.is_multiple_of(9_700) { f.splash_g } else { 0.0 };
                put(1, ((self.shown_g + self.noise_g + splash) * 10.0).round() / 10.0);
                put(2, 13.8 + 0.002 * standard_normal(&mut self.rng));
                put(3, self.duty);
                put(4, 20.0);
                f.back_zero_kpa.into_iter().for_each(|kpa| put(5, kpa));
            }
        }
    }

    pub(crate) fn collect(&mut self, duty: f64, repeat: u32, at_rest: bool) {
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

    pub(crate) fn dwell(&mut self, repeat: u32, seconds: f64) {
        let detail = format!("repeat={repeat};nozzle=A;duty_set_pct={}", self.duty);
        self.event("collect_start", &detail);
        self.run(seconds);
        self.event("collect_end", "reason=time");
    }

    pub(crate) fn rest(&mut self, which: &str) {
        let detail = format!("which={which};collection={}", self.step);
        self.event("rest_start", &detail);
        self.run(2.0);
        self.event("rest_end", &detail);
    }

    pub(crate) fn vented(&mut self) {
        self.set(0.0);
        self.run(3.0);
        self.event("mark", "kind=vented_zero");
        self.run(10.0);
        self.event("mark", "kind=end;of=vented_zero");
    }
}

pub(crate) fn channel(role: Role, zero: f64, gain: f64, resolution: f64, every_ms: u64) -> ChannelSpec {
    let bound = |half: f64| {
        if half > 0.0 { Bound::Limits(half) } else { Bound::None }
    };
    ChannelSpec {
        role,
        instrument: 0,
        exchange: ExchangeSpec::Fixed { value: 0.0 },
        scaling: Scaling { gain: 1.0, offset: 0.0 },
        range: (-1e9, 1e9),
        every: Duration::from_millis(every_ms),
        delay_s: 0.0,
        uncertainty: ReadingUncertainty { zero: bound(zero), gain: bound(gain), resolution },
        calibrated: None,
    }
}

pub(crate) fn rig() -> Rig {
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
pub(crate) fn reduce(rig: &Rig, faults: Faults, play: impl FnOnce(&mut Bench)) -> Reduced {
    let dir = tempfile::tempdir().unwrap();
    let mut bench = Bench::new(dir.path(), rig, faults);
    play(&mut bench);
    bench.recorder.finish().unwrap();
    from_run(&RunFolder::open(dir.path()).unwrap(), rig).unwrap()
}

/// The duty that is weighed at rest as well.
pub(crate) fn at_rest(duty: f64) -> bool {
    (duty - 60.0).abs() < 1.0
}

pub(crate) fn usual(bench: &mut Bench) {
    bench.vented();
    for repeat in 1..=3 {
        for duty in [30.0, 60.0, 100.0, 80.0, 45.0] {
            bench.collect(duty, repeat, at_rest(duty));
        }
    }
    bench.collect(30.0, 4, false);
    bench.vented();
}

pub(crate) fn ids(reduced: &Reduced) -> Vec<&'static str> {
    reduced.findings.iter().map(|f| f.id).collect()
}
