//! The virtual bench through its bytes: dialects, timing, watchdog, repeatability, and what it makes of nonsense.

use dutycup::chance::{Seed, uniform};
use dutycup::clock::Moment;
use dutycup::virtual_bench::{Bench, Device, VirtualBench, build};
use std::time::Duration;

const GENERATOR: Device = Device(0);
const SUPPLY: Device = Device(1);
const DRIVER: Device = Device(2);
const LOGGER: Device = Device(3);
const SCALE: Device = Device(4);

/// A bench and the time it is at.
struct Shell {
    bench: Bench,
    now: Moment,
    scale_lines: Vec<(Moment, String)>,
}

impl Shell {
    fn new(section: &str, seed: u64) -> Self {
        let section = serde_yaml::from_str(section).unwrap();
        Shell {
            bench: build(&section, Seed(seed)).unwrap(),
            now: Moment::START,
            scale_lines: Vec::new(),
        }
    }

    fn quiet() -> Self {
        Shell::new("{noise: off, errors: {from: none}}", 1)
    }

    /// Lets time pass; collects what the scale says, drops the rest.
    fn wait(&mut self, span: Duration) {
        let until = self.now + span;
        self.pass(until, None);
    }

    fn pass(&mut self, until: Moment, device: Option<Device>) -> Option<(String, Moment)> {
        loop {
            let at = self.bench.next_output();
            if at > until {
                self.now = until;
                return None;
            }
            self.now = at;
            let mut heard = None;
            let lines = &mut self.scale_lines;
            self.bench.transmit(at, &mut |from, bytes| {
                let text = String::from_utf8(bytes.to_vec()).unwrap();
                let line = text.strip_suffix("\r\n").expect("line end").to_owned();
                if from == SCALE && line.starts_with("m ") && device != Some(SCALE) {
                    lines.push((at, line));
                } else if Some(from) == device && heard.is_none() {
                    heard = Some((line, at));
                }
            });
            if heard.is_some() {
                return heard;
            }
        }
    }

    /// Sends a line and waits for the answer; none within 200 ms.
    fn ask_timed(&mut self, device: Device, line: &str) -> Option<(String, Duration)> {
        let sent = self.now;
        self.bench.receive(device, format!("{line}\n").as_bytes(), sent);
        self.pass(sent + Duration::from_millis(200), Some(device))
            .map(|(text, at)| (text, at.since(sent)))
    }

    fn ask(&mut self, device: Device, line: &str) -> String {
        self.ask_timed(device, line)
            .map_or_else(String::new, |(text, _)| text)
    }

    fn tell(&mut self, device: Device, line: &str) {
        self.bench
            .receive(device, format!("{line}\n").as_bytes(), self.now);
    }

    /// Beats every 100 ms for a time.
    fn beat(&mut self, span: Duration) {
        let until = self.now + span;
        while self.now < until {
            assert_eq!(self.ask(DRIVER, "B"), "OK");
            self.wait(Duration::from_millis(100));
        }
    }

    fn start(&mut self, duty: &str) {
        for line in ["ARM", duty, "B"] {
            assert_eq!(self.ask(DRIVER, line), "OK");
        }
    }

    fn volts(&mut self, channels: &str) -> Vec<f64> {
        let answer = self.ask(LOGGER, &format!("MEAS? (@{channels})"));
        answer.split(',').map(|t| t.parse().unwrap()).collect()
    }
}

#[test]
fn devices_say_who_they_are() {
    let mut s = Shell::quiet();
    assert_eq!(
        s.bench.devices(),
        ["generator", "supply", "driver", "logger", "scale"]
    );
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
        (
            GENERATOR,
            "SOUR1:STAT PERHAPS",
            "-224,\"Illegal parameter value\"",
        ),
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
    assert!(
        s.scale_lines
            .windows(2)
            .all(|w| w[1].0.since(w[0].0) == Duration::from_millis(100))
    );
    assert_eq!(s.scale_lines[0].1, "m +0.0 g moving");
    assert_eq!(s.scale_lines[28].1, "m +0.0 g stable");
    assert_eq!(s.ask(SCALE, "W?"), "m +0.0 g stable");
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
    assert!(
        (slope * 1.001_05 / true_slope - 1.0).abs() < 2e-3,
        "{slope} {true_slope}"
    );
    let flow = s.bench.truth().flow_ml_min;
    let settled = s
        .bench
        .settled_state(60.0, s.bench.truth().supply_v, "A", 0.0)
        .unwrap();
    assert!(
        (flow / settled.flow_ml_min - 1.0).abs() < 0.02,
        "{flow} {settled:?}"
    );

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
    for (got, expected) in rest
        .iter()
        .zip([0.5, 0.5, 0.5 + 101.325 * 4.0 / 150.0, 0.0, 0.19, 5.0])
    {
        assert!((got - expected).abs() < 2e-4, "{rest:?}");
    }
    s.start("D 80.00");
    s.beat(Duration::from_secs(2));
    let running = s.volts("101,104");
    s.bench.bring_to(s.now);
    let kpa = (running[0] - 0.5) * 75.0 * 6.894_757;
    assert!(
        (kpa / s.bench.truth().line_pressure_kpa - 1.0).abs() < 0.01,
        "{running:?}"
    );
    assert!(running[1] > 4.9, "switch made");
    // The supply sags by current times source resistance.
    let volts: f64 = s.ask(SUPPLY, "MEAS:VOLT?").parse().unwrap();
    let amps: f64 = s.ask(SUPPLY, "MEAS:CURR?").parse().unwrap();
    assert!(
        (13.8 - volts - 0.02 * amps).abs() < 2e-3 && amps > 0.5,
        "{volts} {amps}"
    );
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
    assert!(
        (s.volts("101")[0] - 0.5).abs() < 5e-3,
        "the line empties after the pump stops"
    );
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
fn the_controller_answers_the_generator() {
    let mut s = Shell::quiet();
    s.tell(GENERATOR, "SOUR1:VOLT 3.0");
    s.tell(GENERATOR, "SOUR9:FREQ 140");
    s.wait(Duration::from_secs(2));
    let on = s.volts("111,121,131");
    assert!(
        (on[0] * 20.0 - 43.6).abs() < 0.5 && on[1] > 4.9 && on[2] > 2.4,
        "{on:?}"
    );
    // The controller drives the pump only where it is told to.
    s.start("SRC CTRL");
    s.beat(Duration::from_secs(1));
    assert!(
        s.ask(DRIVER, "S?").starts_with("S duty=43."),
        "{}",
        s.ask(DRIVER, "S?")
    );
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
    s.tell(SUPPLY, "OUTP ON");
    s.beat(Duration::from_millis(250));
    assert!(s.volts("111")[0] < 0.01, "booting");
    s.beat(Duration::from_secs(1));
    assert!(s.volts("111")[0] > 2.0, "booted");
}

/// Bytes of a minute of mixed work, with the moments they came at.
fn minute(section: &str, seed: u64) -> Vec<u8> {
    let section = serde_yaml::from_str(section).unwrap();
    let mut bench = build(&section, Seed(seed)).unwrap();
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
        record
            .split_inclusive(|b| *b == b'\n')
            .filter(|l| l[0] != SCALE.0 as u8)
            .flatten()
            .copied()
            .collect()
    };
    assert_ne!(first, calm);
    assert_eq!(without_scale(&first), without_scale(&calm));
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
        let mut shell = Shell {
            bench,
            now,
            scale_lines: Vec::new(),
        };
        shell.tell(LOGGER, "");
        shell.wait(Duration::from_secs(1));
        shell.ask(LOGGER, "*CLS");
        assert_eq!(shell.ask(LOGGER, "*IDN?"), "dutycup,virtual logger,L-0001,1.0");
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
        (
            s.volts("101")[0],
            s.ask(DRIVER, "S?"),
            s.scale_lines.last().unwrap().1.clone(),
        )
    };
    let mut s = with("gauge_open");
    assert!(s.volts("101")[0] > 1.0);
    assert!(after(&mut s).0 < 0.01);
    assert!(after(&mut with("gauge_short")).0 > 4.99);
    assert!(after(&mut with("hose_bursts")).0 < 0.6);
    let (volts, ..) = after(&mut with("nozzle_blocked"));
    assert!(volts > 2.0, "{volts}");
    assert!(
        after(&mut with("emergency_stop_pressed"))
            .1
            .contains("on=0 estop=1")
    );
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
    assert!(
        s.volts("101")[0] > 1.0,
        "pressure stays although the output is off"
    );
    assert!(s.ask(DRIVER, "S?").contains("on=0"));
    let mut s = with("driver_silent");
    s.wait(Duration::from_secs(1));
    assert_eq!(s.ask_timed(DRIVER, "S?"), None);
    assert!(!s.bench.pump_is_on(), "its watchdog still runs");
}
