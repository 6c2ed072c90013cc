//! The virtual bench in time: how long answers take, what its watchdog and its mishaps do when, and that nonsense does
//! no harm.

use crate::virtual_bench_support;
use dutycup::door::chance::{Seed, uniform};
use dutycup::door::clock::Moment;
use dutycup::door::virtual_bench::{Device, VirtualBench, build};
use std::time::Duration;
use virtual_bench_support::{DRIVER, GENERATOR, LOGGER, SCALE, SUPPLY, Shell};

#[test]
fn answers_take_their_time() {
    // Source: 8N1 is 10 bits a character, 86.8 us at 115,200 baud (arithmetic); thinking 0.5 to 2 ms.
    let mut s = Shell::new("{}", 3);
    for _ in 0..200 {
        let (text, took) = s.ask_timed(LOGGER, "MEAS? (@101,104)").unwrap();
        let wire = (17 + text.len() + 2) as f64 * 10.0 / 115_200.0;
        let thinking = took.as_secs_f64() - wire;
        assert!((0.000_49..0.002_01).contains(&thinking), "{thinking} {text}");
        s.wait(Duration::from_micros(3700));
    }
    // Two queries at once are answered one after the other.
    s.tell(SUPPLY, "VOLT?");
    let first = s.ask_timed(SUPPLY, "MEAS:VOLT?").unwrap();
    assert_eq!(first.0, "+1.380000E+01");
    let second = s.pass(s.now + Duration::from_millis(10), Some(SUPPLY)).unwrap();
    assert!(second.0.starts_with("+1.3"), "{second:?}");
}

#[test]
fn the_scale_talks_ten_times_a_second() {
    let mut s = Shell::quiet();
    s.wait(Duration::from_secs(3));
    assert_eq!(s.scale_lines.len(), 29, "{:?}", s.scale_lines.last());
    assert!(s.scale_lines.windows(2).all(|w| w[1].0.since(w[0].0) == Duration::from_millis(100)));
    assert_eq!(s.scale_lines[0].1, "m +0.0 g moving");
    assert_eq!(s.scale_lines[28].1, "m +0.0 g stable");
    assert_eq!(s.ask(SCALE, "W?"), "m +0.0 g stable");
}

#[test]
fn watchdog_trips_after_500_ms_and_not_before() {
    let trip = |gap_ms: u64| {
        let mut s = Shell::quiet();
        s.start("D 50.00");
        s.beat(Duration::from_secs(1));
        s.tell(DRIVER, "B");
        s.wait(Duration::from_millis(gap_ms));
        let on_before = s.bench.pump_is_on();
        let state = s.ask(DRIVER, "S?");
        (s, on_before, state)
    };
    let (s, on, state) = trip(300);
    assert!(on && state.ends_with("on=1 estop=0 tripped=0"), "{state}");
    assert!(s.bench.after_last_heartbeat() < Duration::from_millis(310));
    let (mut s, on, state) = trip(600);
    assert!(!on && state == "S duty=0.00 on=0 estop=0 tripped=1", "{state}");
    assert_eq!(s.bench.after_last_heartbeat(), Duration::from_millis(500));
    // A trip latches: neither a heartbeat nor a duty switches on again, only arming, and that at duty 0.
    assert_eq!(s.ask(DRIVER, "B"), "OK");
    assert_eq!(s.ask(DRIVER, "D 40"), "OK");
    assert!(s.ask(DRIVER, "S?").contains("on=0"));
    assert_eq!(s.ask(DRIVER, "ARM"), "OK");
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=0.00 on=0 estop=0 tripped=0");
    assert_eq!(s.ask(DRIVER, "D 40"), "OK");
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=40.00 on=1 estop=0 tripped=0");
    assert_eq!(s.ask(DRIVER, "OFF"), "OK");
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=0.00 on=0 estop=0 tripped=0");
    s.wait(Duration::from_secs(3));
    assert!((s.volts("101")[0] - 0.5).abs() < 5e-3, "the line empties after the pump stops");
}

#[test]
fn emergency_stop_latches() {
    let mut s = Shell::quiet();
    s.start("D 50.00");
    s.bench.press_emergency_stop(true, s.now);
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=0.00 on=0 estop=1 tripped=0");
    assert_eq!(s.ask(DRIVER, "ARM"), "ERR emergency stop is pressed");
    s.bench.press_emergency_stop(false, s.now);
    assert_eq!(s.ask(DRIVER, "D 50"), "OK");
    assert_eq!(s.ask(DRIVER, "S?"), "S duty=0.00 on=0 estop=0 tripped=0");
}

#[test]
fn nonsense_does_no_harm() {
    let words: [&[u8]; 24] = [
        b"MEAS? (@",
        b"101",
        b",",
        b":",
        b")",
        b"SOUR",
        b"9:FREQ",
        b"VOLT",
        b"?",
        b"*",
        b"IDN?",
        b";",
        b" ",
        b"D ",
        b"-",
        b"1e308",
        b"nan",
        b"ARM",
        b"V 1",
        b"\r",
        b"\n",
        b"\0\xff\x80",
        b"SYST:ERR?",
        b"4294967295",
    ];
    for seed in 0..30 {
        let mut bench = build(&serde_yaml::Value::Null, Seed(seed)).unwrap();
        let mut s = Seed(seed).stream("nonsense");
        let mut now = Moment::START;
        let mut heard = 0;
        for _ in 0..2000 {
            now = now + Duration::from_micros(uniform(&mut s, 0.0, 5000.0) as u64);
            let device = Device(uniform(&mut s, 0.0, 7.0) as usize);
            let mut bytes = Vec::new();
            for _ in 0..uniform(&mut s, 0.0, 9.0) as usize {
                if uniform(&mut s, 0.0, 1.0) < 0.2 {
                    bytes.push(uniform(&mut s, 0.0, 256.0) as u8);
                } else {
                    bytes.extend_from_slice(words[uniform(&mut s, 0.0, 24.0) as usize]);
                }
            }
            bench.receive(device, &bytes, now);
            assert!(bench.next_output() >= now);
            bench.transmit(now, &mut |_, bytes| {
                assert!(bytes.ends_with(b"\r\n") && bytes.is_ascii() && bytes.len() < 1000);
                heard += 1;
            });
        }
        assert!(heard > 50, "{heard}");
        // Whatever was said, it still answers.
        let mut shell = Shell { bench, now, scale_lines: Vec::new() };
        for device in [GENERATOR, SUPPLY, LOGGER] {
            shell.tell(device, "");
            shell.wait(Duration::from_secs(1));
            shell.ask(device, "*CLS");
            assert!(shell.ask(device, "*IDN?").starts_with("dutycup,virtual"));
        }
    }
}

#[test]
fn mishaps_happen_at_their_time() {
    let with = |what: &str| {
        let mut s = Shell::new(
            &format!("{{noise: off, errors: {{from: none}}, mishaps: [{{at_s: 3, what: {what}}}]}}"),
            1,
        );
        s.start("D 70.00");
        s.beat(Duration::from_millis(2800));
        s
    };
    let after = |s: &mut Shell| {
        s.beat(Duration::from_secs(1));
        (s.volts("101")[0], s.ask(DRIVER, "S?"), s.scale_lines.last().unwrap().1.clone())
    };
    let mut s = with("gauge_open");
    assert!(s.volts("101")[0] > 1.0);
    assert!(after(&mut s).0 < 0.01);
    assert!(after(&mut with("gauge_short")).0 > 4.99);
    assert!(after(&mut with("hose_bursts")).0 < 0.6);
    let (volts, ..) = after(&mut with("nozzle_blocked"));
    assert!(volts > 2.0, "{volts}");
    assert!(after(&mut with("emergency_stop_pressed")).1.contains("on=0 estop=1"));
    let (_, _, line) = after(&mut with("cup_lifted"));
    let shown: f64 = line.split(' ').nth(1).unwrap().parse().unwrap();
    assert!(shown < -150.0, "{line}");
    let mut s = with("scale_silent");
    s.beat(Duration::from_secs(1));
    s.scale_lines.clear();
    s.beat(Duration::from_secs(2));
    assert!(s.scale_lines.is_empty());
    let mut s = with("relay_welded");
    s.beat(Duration::from_secs(1));
    s.ask(DRIVER, "OFF");
    s.wait(Duration::from_secs(1));
    assert!(s.volts("101")[0] > 1.0, "pressure stays although the output is off");
    assert!(s.ask(DRIVER, "S?").contains("on=0"));
    let mut s = with("driver_silent");
    s.wait(Duration::from_secs(1));
    assert_eq!(s.ask_timed(DRIVER, "S?"), None);
    assert!(!s.bench.pump_is_on(), "its watchdog still runs");
}
