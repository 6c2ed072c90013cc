//! The virtual bench through its bytes: identities, errors, readings, the controller, repeatability.

use crate::virtual_bench_support;
use dutycup::door::chance::Seed;
use dutycup::door::clock::Moment;
use dutycup::door::virtual_bench::{VirtualBench, build};
use std::time::Duration;
use virtual_bench_support::{DRIVER, GENERATOR, LOGGER, SCALE, SUPPLY, Shell};

#[test]
fn devices_say_who_they_are() {
    let mut s = Shell::quiet();
    assert_eq!(s.bench.devices(), ["generator", "supply", "driver", "logger", "scale"]);
    for (device, line, expected) in [
        (GENERATOR, "*IDN?", "dutycup,virtual generator,G-0001,1.0"),
        (SUPPLY, "*idn?", "dutycup,virtual supply,S-0001,1.0"),
        (LOGGER, "*IDN?", "dutycup,virtual logger,L-0001,1.0"),
        (DRIVER, "ID?", "ID dutycup virtual driver 1.0"),
        (SCALE, "ID?", "ID dutycup virtual scale 1.0"),
        (DRIVER, "S?", "S duty=0.00 on=0 estop=0 tripped=0"),
        (DRIVER, "HELLO", "ERR unknown command"),
        (DRIVER, "D 1e999", "ERR duty is not a number"),
        (DRIVER, "D 101", "ERR duty is not within 0 to 100"),
        (SUPPLY, "VOLT?", "+1.380000E+01"),
        (SUPPLY, "VOLT 12.5;VOLT?;OUTP?", "+1.250000E+01;1"),
        (GENERATOR, "SOUR1:VOLT 2.500;:SOUR1:VOLT?", "+2.500000E+00"),
        (GENERATOR, "SOURCE9:FREQUENCY 100;SOUR9:FREQ?", "+1.000000E+02"),
        (GENERATOR, "*OPC?", "1"),
    ] {
        let mut answer = s.ask(device, line);
        if device == SCALE {
            // The scale talks by itself as well.
            while answer.starts_with("m ") {
                answer = s.pass(s.now + Duration::from_millis(200), Some(SCALE)).unwrap().0;
            }
        }
        assert_eq!(answer, expected, "{line}");
    }
}

#[test]
fn wrong_commands_land_in_the_error_queue() {
    // Source of numbers and texts: SCPI-1999 volume 2, chapter 21.
    for (device, line, expected) in [
        (LOGGER, "NONSENSE 1", "-113,\"Undefined header\""),
        (LOGGER, "MEAS?", "-109,\"Missing parameter\""),
        (LOGGER, "MEAS? (@999)", "-222,\"Data out of range\""),
        (LOGGER, "MEAS? 101", "-224,\"Illegal parameter value\""),
        (SUPPLY, "VOLT abc", "-104,\"Data type error\""),
        (SUPPLY, "VOLT 99", "-222,\"Data out of range\""),
        (SUPPLY, "VOLT 1,2", "-108,\"Parameter not allowed\""),
        (GENERATOR, "SOUR7:VOLT 1", "-114,\"Header suffix out of range\""),
        (GENERATOR, "SOUR1:STAT PERHAPS", "-224,\"Illegal parameter value\""),
    ] {
        let mut s = Shell::quiet();
        s.tell(device, line);
        s.wait(Duration::from_millis(50));
        assert_eq!(s.ask(device, "SYST:ERR?"), expected, "{line}");
        assert_eq!(s.ask(device, "SYST:ERR?"), "0,\"No error\"");
    }
    let mut s = Shell::quiet();
    s.tell(SUPPLY, &"X".repeat(1000));
    s.wait(Duration::from_millis(200));
    assert_eq!(s.ask(SUPPLY, "SYST:ERR?"), "-363,\"Input buffer overrun\"");
}

#[test]
fn what_the_scale_says_is_what_was_sprayed() {
    let mut s = Shell::quiet();
    s.start("D 60.00");
    s.beat(Duration::from_secs(4));
    let mass = |s: &Shell| -> (Moment, f64) {
        let (at, line) = s.scale_lines.last().unwrap().clone();
        (at, line.split(' ').nth(1).unwrap().parse().unwrap())
    };
    let (t0, m0) = mass(&s);
    s.bench.bring_to(s.now);
    let cup0 = s.bench.truth().cup_g;
    s.beat(Duration::from_secs(30));
    let (t1, m1) = mass(&s);
    let slope = (m1 - m0) / t1.since(t0).as_secs_f64();
    s.bench.bring_to(s.now);
    let true_slope = (s.bench.truth().cup_g - cup0) / 30.0;
    // Source: buoyancy factor 1.00105 for water at air 1.2 and weights 8000 kg/m3 (the scale shows less).
    assert!((slope * 1.001_05 / true_slope - 1.0).abs() < 2e-3, "{slope} {true_slope}");
    let flow = s.bench.truth().flow_ml_min;
    let settled = s.bench.settled_state(60.0, s.bench.truth().supply_v, "A", 0.0).unwrap();
    assert!((flow / settled.flow_ml_min - 1.0).abs() < 0.02, "{flow} {settled:?}");

    s.tell(SCALE, "Z");
    s.ask(DRIVER, "OFF");
    s.wait(Duration::from_secs(3));
    s.scale_lines.clear();
    s.wait(Duration::from_secs(1));
    assert!(s.scale_lines[0].1.ends_with("stable"), "{:?}", s.scale_lines);
    s.tell(SCALE, "EMPTY");
    s.wait(Duration::from_secs(3));
    assert!(mass(&s).1 < -200.0, "{:?}", mass(&s));
}

#[test]
fn pressure_comes_as_volts() {
    let mut s = Shell::quiet();
    let rest = s.volts("101,102,103,104,105,106");
    // Source: the channel list: 0.5 to 4.5 V over 300 psi, 100 psi, 150 kPa; 5 V contacts; 10 mV/degC.
    for (got, expected) in rest.iter().zip([0.5, 0.5, 0.5 + 101.325 * 4.0 / 150.0, 0.0, 0.19, 5.0]) {
        assert!((got - expected).abs() < 2e-4, "{rest:?}");
    }
    s.start("D 80.00");
    s.beat(Duration::from_secs(2));
    let running = s.volts("101,104");
    s.bench.bring_to(s.now);
    let kpa = (running[0] - 0.5) * 75.0 * 6.894_757;
    assert!((kpa / s.bench.truth().line_pressure_kpa - 1.0).abs() < 0.01, "{running:?}");
    assert!(running[1] > 4.9, "switch made");
    // The supply sags by current times source resistance.
    let volts: f64 = s.ask(SUPPLY, "MEAS:VOLT?").parse().unwrap();
    let amps: f64 = s.ask(SUPPLY, "MEAS:CURR?").parse().unwrap();
    assert!((13.8 - volts - 0.02 * amps).abs() < 2e-3 && amps > 0.5, "{volts} {amps}");
}

#[test]
fn the_controller_answers_the_generator() {
    let mut s = Shell::quiet();
    s.tell(GENERATOR, "SOUR1:VOLT 3.0");
    s.tell(GENERATOR, "SOUR9:FREQ 140");
    s.wait(Duration::from_secs(2));
    let on = s.volts("111,121,131");
    assert!((on[0] * 20.0 - 43.6).abs() < 0.5 && on[1] > 4.9 && on[2] > 2.4, "{on:?}");
    // The controller drives the pump only where it is told to.
    s.start("SRC CTRL");
    s.beat(Duration::from_secs(1));
    assert!(s.ask(DRIVER, "S?").starts_with("S duty=43."), "{}", s.ask(DRIVER, "S?"));
    // Lost tach: the controller's duty goes to 0, the output stays live.
    s.tell(GENERATOR, "SOUR9:FREQ 0");
    s.beat(Duration::from_millis(600));
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=0.00 on=1 estop=0 tripped=0");
    s.tell(GENERATOR, "SOUR9:FREQ 140");
    s.beat(Duration::from_millis(600));
    for fault in ["SOUR1:STAT OPEN", "SOUR1:STAT SHORT"] {
        s.tell(GENERATOR, fault);
        s.beat(Duration::from_millis(600));
        assert!(s.volts("111")[0] < 0.01, "{fault}");
        s.tell(GENERATOR, "SOUR1:STAT NORM");
        s.beat(Duration::from_millis(600));
        assert!(s.volts("111")[0] > 2.0, "{fault}");
    }
    s.tell(SUPPLY, "OUTP OFF");
    s.beat(Duration::from_millis(500));
    assert_eq!(s.ask(SUPPLY, "MEAS:VOLT?"), "+0.000000E+00");
    s.tell(SUPPLY, "OUTP ON");
    s.beat(Duration::from_millis(250));
    assert!(s.volts("111")[0] < 0.01, "booting");
    s.beat(Duration::from_secs(1));
    assert!(s.volts("111")[0] > 2.0, "booted");
}

/// Bytes of a minute of mixed work, with the moments they came at.
fn minute(section: &str, seed: u64) -> Vec<u8> {
    let section = serde_yaml::from_str(section).expect("a section");
    let mut bench = build(&section, Seed(seed)).expect("a bench");
    let mut record = Vec::new();
    bench.receive(DRIVER, b"ARM\rD 55\rB\r", Moment::START);
    for k in 1..3000_u64 {
        let now = Moment::from_ms(20 * k);
        bench.receive(LOGGER, b"MEAS? (@101,104,105)\r\n", now);
        bench.receive(SUPPLY, b"MEAS:CURR?\n", now);
        if k % 5 == 0 {
            bench.receive(DRIVER, b"B\nS?\n", now);
        }
        bench.transmit(now, &mut |device, bytes| {
            record.push(device.0 as u8);
            record.extend_from_slice(bytes);
        });
    }
    record
}

#[test]
fn same_seed_same_bytes() {
    let first = minute("{}", 42);
    assert!(first.len() > 100_000);
    assert_eq!(first, minute("{}", 42));
    assert_ne!(first, minute("{}", 43));
    // A source that is switched on or off by a parameter moves no other: only the scale's lines differ.
    let calm = minute("{scale: {noise_g: 0.0}}", 42);
    let without_scale = |record: &[u8]| -> Vec<u8> {
        record.split_inclusive(|b| *b == b'\n').filter(|l| l[0] != SCALE.0 as u8).flatten().copied().collect()
    };
    assert_ne!(first, calm);
    assert_eq!(without_scale(&first), without_scale(&calm));
}
