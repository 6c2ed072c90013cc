//! A study over 500 benches: are the stated intervals of trip and reset right, and the verdicts?
//!
//! Each bench has a switch of its own (mean trip, differential, scatter of 0.3 psi), a 300 psi transducer of 0.25 %
//! class whose error is drawn once, a line whose pressure at the switch follows the gauge as a first-order lag, contacts
//! that bounce, readings every 10 ms with noise, and 12 cycles. The generator is a page of arithmetic of its own: it
//! shares nothing with the virtual bench or with the reduction. Numbers to reach are stated beside each check.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a failure fails the test; a study prints")]

use dutycup::door::chance::{Seed, Stream, normal, uniform};
use dutycup::door::judge::switch;
use dutycup::door::reduce::gauge::Gauge;
use dutycup::door::reduce::switch_points::{Point, SwitchPoints};
use dutycup::door::reduce::switch_ramps::{Ramp, reduce};
use dutycup::door::script::rig::SwitchSpec;
use dutycup::door::uncertainty::Bound;
use dutycup::door::verdict::item::{Verdict, Verdicts};

const PSI: f64 = 6.894_757_293_168_361;
const BENCHES: u64 = 500;
const CYCLES: usize = 12;
const SCATTER_PSI: f64 = 0.3;
const CLASS_PSI: f64 = 0.75;
const STEP_S: f64 = 0.01;

/// Rates of the fine ramps, psi/s, cycle by cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Rates {
    /// One rate: the lag can only be bounded.
    One(f64),
    /// Two rates in turn: the lag can be found.
    Two(f64, f64),
}

impl Rates {
    fn of(self, cycle: usize) -> f64 {
        match self {
            Rates::One(rate) => rate,
            Rates::Two(slow, fast) => {
                if cycle.is_multiple_of(2) {
                    slow
                } else {
                    fast
                }
            }
        }
    }
}

/// What is true of a bench, psi and s.
struct Truth {
    trip: f64,
    reset: f64,
    gauge_error: f64,
    lag_s: f64,
    noise: f64,
    bounce_s: f64,
    swing: f64,
}

fn truth(stream: &mut Stream) -> Truth {
    let trip = uniform(stream, 24.5, 35.5);
    Truth {
        trip,
        reset: trip - uniform(stream, 2.0, 6.0),
        gauge_error: uniform(stream, -CLASS_PSI, CLASS_PSI),
        lag_s: uniform(stream, 0.0, 0.15),
        noise: uniform(stream, 0.02, 0.15),
        bounce_s: uniform(stream, 0.0, 0.03),
        swing: 0.0,
    }
}

/// One rise or fall, psi. The pressure at the switch follows the gauge's with a first-order lag; ramps begin far
/// enough away for its start to have died out, so that it runs behind by rate times lag. A pump's pulsation rides on
/// both alike.
fn ramp(t: &Truth, rate: f64, up: bool, label: usize, stream: &mut Stream) -> Ramp {
    let (from, to) = if up { (t.reset - 3.0, t.trip + 3.0) } else { (t.trip + 3.0, t.reset - 3.0) };
    let at = normal(stream, if up { t.trip } else { t.reset }, SCATTER_PSI);
    let sign = if up { rate } else { -rate };
    let (hz, phase) = (uniform(stream, 40.0, 200.0), uniform(stream, 0.0, std::f64::consts::TAU));
    let swing = |time_s: f64| t.swing * (std::f64::consts::TAU * hz * time_s + phase).sin();
    let mut crossed_s = (at - from).abs() / rate + t.lag_s - 2.0 * t.swing / rate;
    while t.swing > 0.0 && ((from + sign * (crossed_s - t.lag_s) + swing(crossed_s) < at) == up) {
        crossed_s += 5e-4;
    }
    let mut ramp = Ramp { label: label.to_string(), ..Ramp::default() };
    let mut time_s = uniform(stream, 0.0, STEP_S);
    while time_s * rate <= (to - from).abs() {
        let pressure = from + sign * time_s + swing(time_s);
        let bouncing = (crossed_s..crossed_s + t.bounce_s).contains(&time_s);
        let made = if bouncing { uniform(stream, 0.0, 1.0) < 0.5 } else { (time_s >= crossed_s) == up };
        ramp.push_pressure(time_s, (pressure + t.gauge_error + normal(stream, 0.0, t.noise)) * PSI);
        ramp.contact.push(time_s, made);
        time_s += STEP_S;
    }
    ramp
}

fn bench(seed: Seed, rates: Rates, swing: f64) -> (Truth, SwitchPoints) {
    let mut stream = seed.stream("bench");
    let mut t = truth(&mut stream);
    t.swing = swing;
    let gauge = Gauge { zero: Bound::Limits(CLASS_PSI * PSI), from: "rig file".into(), ..Gauge::assumed() };
    let mut results = Vec::new();
    for cycle in 0..CYCLES {
        for up in [true, false] {
            let one = ramp(&t, rates.of(cycle), up, results.len() + 1, &mut stream);
            results.push(reduce(&one, 0.0));
        }
    }
    (t, SwitchPoints::new(results, gauge))
}

#[derive(Default)]
struct Tally {
    inside: usize,
    intervals: usize,
    random: Vec<f64>,
    gauge: Vec<f64>,
    lag: Vec<f64>,
    whole: Vec<f64>,
    false_pass: (usize, usize),
    false_fail: (usize, usize),
    decided: (usize, usize),
}

impl Tally {
    fn interval(&mut self, point: &Point, truth_psi: f64) {
        let u95 = point.all.as_ref().unwrap().u95;
        self.intervals += 1;
        self.inside += usize::from((point.value_kpa - truth_psi * PSI).abs() <= u95);
        self.random.push(point.random.as_ref().unwrap().u95 / PSI);
        self.gauge.push(point.gauge.u95 / PSI);
        self.lag.push(point.lag.u95 / PSI);
        self.whole.push(u95 / PSI);
    }

    fn verdict(&mut self, verdict: Verdict, truth_psi: f64, limits: (f64, f64), u95_psi: f64) {
        let margin = (truth_psi - limits.0).min(limits.1 - truth_psi);
        let count = |of: &mut (usize, usize), hit: bool| *of = (of.0 + usize::from(hit), of.1 + 1);
        if margin >= 0.0 {
            count(&mut self.false_fail, verdict == Verdict::Fail);
        } else {
            count(&mut self.false_pass, verdict == Verdict::Pass);
        }
        if margin.abs() > 2.0 * u95_psi {
            count(&mut self.decided, matches!(verdict, Verdict::Pass | Verdict::Fail));
        }
    }

    fn add(&mut self, t: &Truth, points: &SwitchPoints) {
        let (trip, reset) = (points.trip.as_ref().unwrap(), points.reset.as_ref().unwrap());
        self.interval(trip, t.trip);
        self.interval(reset, t.reset);
        let wanted =
            SwitchSpec { set_point_kpa: 30.0 * PSI, tolerance_kpa: 3.0 * PSI, reset_kpa: Some(26.0 * PSI) };
        let u = |p: &Point| p.all.as_ref().unwrap().u95 / PSI;
        self.verdict(
            Verdicts::judge(&[switch::trip(points, Some(&wanted))], &[]).verdict,
            t.trip,
            (27.0, 33.0),
            u(trip),
        );
        self.verdict(
            Verdicts::judge(&[switch::reset(points, Some(&wanted))], &[]).verdict,
            t.reset,
            (23.0, 29.0),
            u(reset),
        );
    }

    fn report(&mut self, name: &str) {
        let median = |v: &mut Vec<f64>| {
            v.sort_by(f64::total_cmp);
            v[v.len() / 2]
        };
        let share = |c: (usize, usize)| 100.0 * c.0 as f64 / c.1 as f64;
        let coverage = 100.0 * self.inside as f64 / self.intervals as f64;
        let (random, gauge) = (median(&mut self.random), median(&mut self.gauge));
        println!(
            "{name}: {} intervals, {coverage:.1} % hold the truth; median U: random {random:.3}, lag {:.3}, gauge \
             {gauge:.3}, whole {:.3} psi; false pass {:.2} %, false fail {:.2} %, decided {:.1} % beyond 2 U",
            self.intervals,
            median(&mut self.lag),
            median(&mut self.whole),
            share(self.false_pass),
            share(self.false_fail),
            share(self.decided),
        );
        assert!((93.0..=99.0).contains(&coverage), "{name}: coverage {coverage}");
        assert!(random <= 0.2, "{name}: random part {random}");
        assert!((0.69..0.73).contains(&gauge), "{name}: systematic part {gauge}");
        assert!(share(self.false_pass) <= 2.5 && share(self.false_fail) <= 2.5, "{name}");
        assert!(share(self.decided) >= 95.0, "{name}");
        assert!(self.decided.1 > 200 && self.false_pass.1 > 200 && self.false_fail.1 > 200);
    }
}

fn study(name: &str, rates: Rates, swing: f64, seed: u64) {
    let half = |from: u64| {
        let mut tally = Vec::new();
        for i in (from..BENCHES).step_by(2) {
            tally.push(bench(Seed(seed).nth(i), rates, swing));
        }
        tally
    };
    let mut tally = Tally::default();
    std::thread::scope(|scope| {
        let other = scope.spawn(|| half(1));
        half(0).iter().for_each(|(t, p)| tally.add(t, p));
        other.join().unwrap().iter().for_each(|(t, p)| tally.add(t, p));
    });
    tally.report(name);
}

#[test]
fn one_slow_rate() {
    study("one rate, 0.5 psi/s", Rates::One(0.5), 0.0, 1);
}

#[test]
fn two_rates_far_apart() {
    study("two rates, 0.3 and 3 psi/s", Rates::Two(0.3, 3.0), 0.0, 2);
}

#[test]
fn two_rates_close_together() {
    study("two rates, 0.5 and 1 psi/s", Rates::Two(0.5, 1.0), 0.0, 3);
}

#[test]
fn a_pump_that_pulsates() {
    study("two rates, a swing of 0.3 psi", Rates::Two(0.5, 2.0), 0.3, 4);
}
