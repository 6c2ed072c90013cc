//! How fast the virtual bench is: physics alone, physics with exchanges, and settled states.
//!
//! In: nothing. Out: figures on stdout. Run with `cargo bench --bench physics`.
#![expect(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a benchmark prints, and stops at the first surprise"
)]

use dutycup::chance::Seed;
use dutycup::clock::{Moment, SystemClock};
use dutycup::virtual_bench::{Bench, Device, VirtualBench, build, random_pair, settled_state};
use std::hint::black_box;

fn main() {
    physics();
    at_rest();
    exchanges();
    settled();
}

fn spraying() -> Bench {
    let mut bench = build(&serde_yaml::Value::Null, Seed(1)).unwrap();
    bench.receive(Device(2), b"ARM\nD 60\nB\n", Moment::START);
    bench
}

/// Physics alone: one hour with nobody looking, the watchdog far away.
fn physics() {
    let section = serde_yaml::from_str("driver: {watchdog_ms: 60000}").unwrap();
    let mut best = f64::INFINITY;
    for _ in 0..40 {
        let mut bench = build(&section, Seed(1)).unwrap();
        bench.receive(Device(2), b"ARM\nD 60\n", Moment::START);
        bench.bring_to(Moment::from_ms(50));
        let clock = SystemClock::start();
        bench.bring_to(Moment::from_ms(5_050));
        best = best.min(clock.now().as_s());
        assert!(black_box(&bench).truth().flow_ml_min > 100.0);
    }
    println!(
        "physics alone: {:.1} ns a step, {:.0} x real time",
        best / 5_000.0 * 1e9,
        5.0 / best
    );
}

/// The same after the pump has stopped and everything has come to rest.
fn at_rest() {
    let mut best = f64::INFINITY;
    for _ in 0..40 {
        let mut bench = spraying();
        bench.receive(Device(2), b"OFF\n", Moment::from_ms(300));
        bench.bring_to(Moment::from_ms(60_000));
        let clock = SystemClock::start();
        bench.bring_to(Moment::from_ms(65_000));
        best = best.min(clock.now().as_s());
        assert!(black_box(&bench).truth().flow_ml_min.abs() < 0.01);
    }
    println!(
        "at rest: {:.1} ns a step, {:.0} x real time",
        best / 5_000.0 * 1e9,
        5.0 / best
    );
}

/// Four instruments asked 100 times a second, heartbeat, scale listened to.
fn exchanges() {
    let mut best = f64::INFINITY;
    let mut count = 0_u64;
    for _ in 0..40 {
        let mut bench = spraying();
        count = 0;
        let mut bytes = 0;
        let clock = SystemClock::start();
        for k in 0..500_u64 {
            let now = Moment::from_ms(10 * k);
            bench.receive(Device(3), b"MEAS? (@101)\n", now);
            bench.receive(Device(2), b"S?\n", now);
            bench.receive(Device(1), b"MEAS:VOLT?\n", now);
            bench.receive(Device(0), b"SOUR1:VOLT?\n", now);
            if k % 10 == 0 {
                bench.receive(Device(2), b"B\n", now);
            }
            while bench.next_output() < Moment::from_ms(10 * k + 10) {
                let at = bench.next_output();
                bench.transmit(at, &mut |_, line| {
                    count += 1;
                    bytes += line.len();
                });
            }
        }
        best = best.min(clock.now().as_s());
        assert!(bench.pump_is_on() && black_box(bytes) > 0);
    }
    println!(
        "with exchanges: {count} answers in 5 s, {:.0} x real time, {:.0} ns an answer with its physics",
        5.0 / best,
        best / count as f64 * 1e9
    );
}

/// Settled states of random pairs, the fastest of several rounds each.
fn settled() {
    let clock = SystemClock::start();
    let (pairs, rounds) = (50, 5);
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
    println!(
        "settled states: {:.0} us each, {:.2} s for 1,000 pairs of 9 duties",
        pair / 9.0 * 1e6,
        pair * 1e3
    );
}
