//! Exchanges a second: one instrument against canned answers, no port and no plant, under scripted time.
//!
//! In: nothing. Out: a line a dialect, with the time of an exchange beside a floor taken in the same run: cutting the
//! same answer at its line end and reading its numbers with the standard library. Aim: exchange and virtual bench
//! together about 1.2 us, so that four instruments at 100 Hz run 2,000 times faster than real time.

#![expect(clippy::print_stdout, reason = "a benchmark prints what it measured")]

#[path = "../support/wire_rig/mod.rs"]
mod wire_rig;

use dutycup::door::clock::{Moment, SystemClock};
use dutycup::door::instrument::{Instrument, InstrumentEvent};
use dutycup::door::script::rig::{DialectSpec, ExchangeSpec, RegisterKind, Rig};
use std::hint::black_box;
use std::time::Duration;
use wire_rig::{ask, channel, instrument, rig, scpi, tell, text};

/// Exchanges of one measurement.
const EXCHANGES: u64 = 1_000_000;
/// Measurements, of which the fastest counts.
const ROUNDS: usize = 5;

fn main() {
    let pattern = Some("S duty={value} on={value} estop={value} tripped={value}");
    let status = |role: &str, field| channel(role, ask("S?", pattern, field));
    let four = vec![
        status("duty", 0),
        status("output_on", 1),
        status("emergency_stop", 2),
        channel("switch", ask("S?", pattern, 3)),
    ];
    let register = ExchangeSpec::Register { function: 3, address: 0x6B, kind: RegisterKind::F32 };
    let volts = |role: &str, field| channel(role, ask("MEAS? (@101,104)", None, field));
    println!("{:<34}{:>12}{:>10}{:>10}{:>8}", "", "exchanges/s", "ns each", "floor ns", "ratio");
    report(
        "text, 1 value",
        &rig(instrument(text(), None), vec![status("duty", 0)]),
        b"S duty=44.97 on=1 estop=0 tripped=0\r\n",
    );
    report(
        "text, 4 values",
        &rig(instrument(text(), None), four),
        b"S duty=44.97 on=1 estop=0 tripped=0\r\n",
    );
    report(
        "SCPI, 2 values",
        &rig(instrument(scpi(), None), vec![volts("line_pressure", 0), volts("switch", 1)]),
        b"+2.345678E+00,+5.000000E+00\r\n",
    );
    let modbus = rig(instrument(DialectSpec::Modbus { unit: 17 }, None), vec![channel("duty", register)]);
    report("Modbus, 1 value", &modbus, &[0x11, 0x03, 0x04, 0x42, 0xC8, 0x00, 0x00, 0x7E, 0x74]);
    let heartbeat = rig(instrument(text(), None), vec![channel("heartbeat", tell("B", Some("OK")))]);
    report("text, heartbeat", &heartbeat, b"OK\r\n");
}

fn report(name: &str, rig: &Rig, answer: &[u8]) {
    let best = |measure: &dyn Fn() -> Duration| (0..ROUNDS).map(|_| measure()).min().unwrap_or_default();
    let ours = best(&|| exchanges(rig, answer)).as_secs_f64() / EXCHANGES as f64;
    let floor = best(&|| floor(answer)).as_secs_f64() / EXCHANGES as f64;
    println!("{name:<34}{:>12.0}{:>10.0}{:>10.0}{:>8.1}", 1.0 / ours, ours * 1e9, floor * 1e9, ours / floor);
}

/// Time for [`EXCHANGES`] exchanges, 1 ms of scripted time from request to answer.
fn exchanges(rig: &Rig, answer: &[u8]) -> Duration {
    let mut machine = Instrument::new(0, rig).unwrap_or_else(|e| panic!("{e}"));
    let (mut tx, mut events, mut now) = (Vec::new(), Vec::new(), Moment::START);
    machine.start(now);
    now = machine.wake();
    machine.advance(now, &mut tx, &mut events);
    let tells = machine.tell_urgent(0, 1.0, now).is_ok();
    let clock = SystemClock::start();
    let (start, mut sum, mut got) = (clock.now(), 0.0, 0);
    while got < EXCHANGES {
        if !tx.is_empty() {
            tx.clear();
            machine.receive(now + Duration::from_millis(1), answer, &mut events);
        }
        for event in events.drain(..) {
            match event {
                InstrumentEvent::Reading { value, .. } => sum += value,
                InstrumentEvent::Fault(fault) => panic!("{fault}"),
                _ => {}
            }
        }
        if tells {
            now = now + Duration::from_millis(100);
            machine.tell_urgent(0, 1.0, now).unwrap_or_else(|e| panic!("{e}"));
        } else {
            now = machine.wake();
        }
        machine.advance(now, &mut tx, &mut events);
        got += 1;
    }
    black_box(sum);
    assert!(machine.counts().answered >= EXCHANGES - 2, "{:?}", machine.counts());
    clock.now().since(start)
}

/// Time for finding the line end of the answer and reading its numbers, [`EXCHANGES`] times.
fn floor(answer: &[u8]) -> Duration {
    let clock = SystemClock::start();
    let (start, mut sum) = (clock.now(), 0.0);
    for _ in 0..EXCHANGES {
        let answer = black_box(answer);
        let end = answer.iter().position(|b| *b == b'\r').unwrap_or(answer.len());
        let line = std::str::from_utf8(&answer[..end]).unwrap_or_default();
        for word in line.split([',', ' ', '=']) {
            sum += word.parse::<f64>().unwrap_or(0.0);
        }
    }
    black_box(sum);
    clock.now().since(start)
}
