//! A controller of the study's own: tables looked up, clamps, compensation, hysteresis, response, reactions; and a bench
//! that observes it with noise and with errors of its instruments.
//!
//! In: a controller, a seed. Out: what a run of it comes to. Shares nothing with the virtual bench or with the
//! diagnosis.

use dutycup::door::chance::{Seed, Stream, normal, uniform};
use dutycup::door::judge::baseline::{Baseline, Origin};
use dutycup::door::reduce::controller::{At, Kind, Observation, Way};

/// What an output does.
#[derive(Clone, Debug)]
pub(crate) struct Output {
    pub(crate) name: &'static str,
    pub(crate) unit: &'static str,
    pub(crate) boost: Vec<f64>,
    pub(crate) rpm: Vec<f64>,
    pub(crate) table: Vec<Vec<f64>>,
    pub(crate) held: bool,
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// Power of (13.8 V / supply).
    pub(crate) power: f64,
    pub(crate) play: f64,
    pub(crate) response_s: f64,
}

/// What a controller does.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    pub(crate) outputs: Vec<Output>,
    /// Whether a bad sensor switches off, or the last value is held.
    pub(crate) off_on_fault: bool,
}

pub(crate) fn controller() -> Controller {
    let pump = Output {
        name: "duty_output.pump",
        unit: "%",
        boost: vec![30.0, 55.0, 80.0, 105.0, 130.0],
        rpm: vec![1500.0, 3000.0, 4500.0, 6000.0],
        table: vec![
            vec![12.0, 14.0, 16.0, 18.0],
            vec![20.0, 27.0, 32.0, 30.0],
            vec![30.0, 40.0, 50.0, 46.0],
            vec![38.0, 55.0, 66.0, 70.0],
            vec![50.0, 68.0, 84.0, 92.0],
        ],
        held: false,
        low: 0.0,
        high: 100.0,
        power: 1.0,
        play: 0.0,
        response_s: 0.04,
    };
    let trim = Output {
        name: "analogue.trim",
        unit: "V",
        boost: vec![10.0, 60.0, 110.0, 140.0],
        rpm: vec![1500.0, 4500.0, 6000.0],
        table: vec![vec![0.6, 0.8, 1.1], vec![1.8, 2.2, 2.4], vec![3.0, 3.4, 3.9], vec![3.6, 4.3, 4.7]],
        held: false,
        high: 5.0,
        power: 0.0,
        response_s: 0.06,
        ..pump.clone()
    };
    let lamp = Output {
        name: "switched.lamp",
        unit: "on",
        boost: vec![0.0, 45.0, 70.0],
        rpm: vec![1000.0, 2800.0],
        table: vec![vec![0.0, 0.0], vec![0.0, 1.0], vec![1.0, 1.0]],
        held: true,
        high: 1.0,
        play: 2.0,
        response_s: 0.01,
        ..trim.clone()
    };
    Controller { outputs: vec![pump, trim, lamp], off_on_fault: true }
}

impl Output {
    fn raw(&self, boost: f64, rpm: f64) -> f64 {
        let find = |axis: &[f64], x: f64| {
            let x = x.clamp(axis[0], axis[axis.len() - 1]);
            let i = axis.iter().rposition(|a| *a <= x).unwrap_or(0).min(axis.len() - 2);
            let part = (x - axis[i]) / (axis[i + 1] - axis[i]);
            (i, if self.held { if part >= 1.0 { 1.0 } else { 0.0 } } else { part })
        };
        let ((i, u), (j, v)) = (find(&self.boost, boost), find(&self.rpm, rpm));
        let t = &self.table;
        (t[i][j] * (1.0 - u) + t[i + 1][j] * u) * (1.0 - v)
            + (t[i][j + 1] * (1.0 - u) + t[i + 1][j + 1] * u) * v
    }

    pub(crate) fn value(&self, believed: f64, rpm: f64, supply: f64) -> f64 {
        let v = self.raw(believed, rpm) * (13.8 / supply).powf(self.power);
        if v > 1e-9 { v.clamp(self.low, self.high) } else { 0.0 }
    }
}

/// Grid of the study: on the points of the tables and between them.
pub(crate) const BOOSTS: [f64; 11] = [20.0, 30.0, 42.0, 55.0, 62.0, 67.5, 80.0, 92.5, 105.0, 117.5, 130.0];
pub(crate) const SPEEDS: [f64; 7] = [1500.0, 2250.0, 3000.0, 3750.0, 4500.0, 5250.0, 6000.0];
const EDGE_SPEEDS: [f64; 4] = [2000.0, 3000.0, 4000.0, 5500.0];
const FIXED: (f64, f64) = (105.0, 4500.0);
const SUPPLIES: [f64; 8] = [9.0, 10.0, 11.0, 12.0, 13.0, 14.4, 15.0, 16.0];

/// Errors of a bench's instruments, drawn once: half-widths of limits.
const BOOST_ZERO_KPA: f64 = 0.3;
const READ_GAIN: f64 = 0.001;
const NOISE_KPA: f64 = 0.03;

struct Bench {
    zero: f64,
    gain: f64,
    noise: Stream,
}

impl Bench {
    fn new(seed: Seed) -> Self {
        let mut errors = seed.stream("study.errors");
        let zero = uniform(&mut errors, -BOOST_ZERO_KPA, BOOST_ZERO_KPA);
        let gain = 1.0 + uniform(&mut errors, -READ_GAIN, READ_GAIN);
        Bench { zero, gain, noise: seed.stream("study.noise") }
    }

    fn boost(&mut self, asked: f64) -> f64 {
        asked + self.zero + normal(&mut self.noise, 0.0, NOISE_KPA)
    }

    fn read(&mut self, o: &Output, value: f64) -> f64 {
        match o.unit {
            "on" => value.round(),
            "%" => value * self.gain + normal(&mut self.noise, 0.0, 0.03),
            _ => value * self.gain + normal(&mut self.noise, 0.0, 0.001),
        }
    }
}

fn observation(o: &Output, kind: Kind, at: At, values: &[f64], unit: &str) -> Observation {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    Observation {
        output: o.name.into(),
        kind,
        at,
        value: (n > 0.0).then_some(mean),
        unit: unit.into(),
        repeats: values.len() as u32,
        squares: values.iter().map(|v| (v - mean).powi(2)).sum(),
        u_common: 0.0,
        u_own: 0.0,
        per_boost_v: 0.0,
        per_supply_v: 0.0,
        supply_read_v: None,
    }
}

fn at(boost: Option<f64>, rpm: Option<f64>, supply: f64) -> At {
    At { boost_kpa: boost, boost_v: None, rpm, supply_v: Some(supply) }
}

/// Standard uncertainty that a bench states for a value: gain, and the boost played through the steepest slope nearby.
fn stated(o: &Output, boost: f64, rpm: f64, value: f64) -> f64 {
    if o.unit == "on" {
        return 0.0;
    }
    let slope = (o.value(boost + 5.0, rpm, 13.8) - o.value(boost - 5.0, rpm, 13.8)) / 10.0;
    (READ_GAIN * value).hypot(slope * BOOST_ZERO_KPA) / 3f64.sqrt()
}

/// A whole run of a controller on a bench of its own.
pub(crate) fn observe(c: &Controller, seed: Seed) -> Baseline {
    let mut bench = Bench::new(seed);
    let mut list = Vec::new();
    for o in &c.outputs {
        steady(o, &mut bench, &mut list);
        supplies(o, &mut bench, &mut list);
        edges(o, &mut bench, &mut list);
        responses(o, &mut bench, &mut list);
        faults(c, o, &mut bench, &mut list);
    }
    Baseline { origin: Origin::default(), firmware: None, observations: list }
}

fn steady(o: &Output, bench: &mut Bench, list: &mut Vec<Observation>) {
    let mut values = vec![[(); SPEEDS.len()].map(|()| [Vec::new(), Vec::new()]); BOOSTS.len()];
    let mut believed: f64 = 0.0;
    for _ in 0..2 {
        for way in [0, 1] {
            for step in 0..BOOSTS.len() {
                let i = if way == 0 { step } else { BOOSTS.len() - 1 - step };
                for j in 0..SPEEDS.len() {
                    let boost = bench.boost(BOOSTS[i]);
                    believed = believed.clamp(boost - o.play, boost + o.play);
                    let value = bench.read(o, o.value(believed, SPEEDS[j], 13.8));
                    values[i][j][way].push(value);
                }
            }
        }
        believed = believed.clamp(-o.play, o.play);
    }
    for (row, boost) in values.iter().zip(BOOSTS) {
        for (cell, rpm) in row.iter().zip(SPEEDS) {
            for (found, kind) in cell.iter().zip([Kind::SteadyUp, Kind::SteadyDown]) {
                let mut seen = observation(o, kind, at(Some(boost), Some(rpm), 13.8), found, o.unit);
                seen.u_common = stated(o, boost, rpm, seen.value.unwrap_or(0.0));
                list.push(seen);
            }
        }
    }
}

fn supplies(o: &Output, bench: &mut Bench, list: &mut Vec<Observation>) {
    for supply in SUPPLIES {
        let boost = bench.boost(FIXED.0) - o.play;
        let value = bench.read(o, o.value(boost, FIXED.1, supply));
        let mut seen =
            observation(o, Kind::Supply(Way::Up), at(Some(FIXED.0), Some(FIXED.1), supply), &[value], o.unit);
        seen.u_common = stated(o, FIXED.0, FIXED.1, value);
        list.push(seen);
    }
}

/// Where an on-off output steps over boost, by trying every tenth of a kPa.
fn edges(o: &Output, bench: &mut Bench, list: &mut Vec<Observation>) {
    if o.unit != "on" {
        return;
    }
    for rpm in EDGE_SPEEDS {
        for (way, sign) in [(Way::Up, -1.0), (Way::Down, 1.0)] {
            let on = |asked: f64| o.value(asked + bench.zero + sign * o.play, rpm, 13.8) >= 0.5;
            let step = (0..1400).map(|i| 0.1 * f64::from(i)).find(|x| on(*x) != on(x + 0.1));
            let kind = Kind::Edge(way, "boost".into());
            let found: Vec<f64> = step.map(|x| x + 0.05).into_iter().collect();
            let mut seen = observation(o, kind, at(None, Some(rpm), 13.8), &found, "kPa");
            seen.u_common = BOOST_ZERO_KPA / 3f64.sqrt();
            seen.u_own = 0.1 / 12f64.sqrt();
            list.push(seen);
        }
    }
}

fn responses(o: &Output, bench: &mut Bench, list: &mut Vec<Observation>) {
    for way in [Way::Up, Way::Down] {
        let times: Vec<f64> = (0..20)
            .map(|_| {
                o.response_s + uniform(&mut bench.noise, 0.0, 0.01) + uniform(&mut bench.noise, -0.005, 0.005)
            })
            .collect();
        let mut seen = observation(o, Kind::Response(way), at(None, Some(FIXED.1), 13.8), &times, "s");
        seen.u_common = 0.002;
        list.push(seen);
    }
}

fn faults(c: &Controller, o: &Output, bench: &mut Bench, list: &mut Vec<Observation>) {
    let boost = bench.boost(FIXED.0) - o.play;
    let good = o.value(boost, FIXED.1, 13.8);
    let held = if c.off_on_fault { 0.0 } else { good };
    for (name, value) in [("open", held), ("short", held), ("tach_lost", 0.0)] {
        for (kind, value) in [(Kind::Fault(name.into()), value), (Kind::After(name.into()), good)] {
            let value = bench.read(o, value);
            let mut seen = observation(o, kind, at(Some(FIXED.0), Some(FIXED.1), 13.8), &[value], o.unit);
            seen.u_common = stated(o, FIXED.0, FIXED.1, value);
            list.push(seen);
        }
    }
}
