//! A shell around the virtual bench for tests: sends lines, waits for answers, lets virtual time pass.
#![expect(unreachable_pub, clippy::unwrap_used, reason = "helpers of tests stop at the first surprise")]

use dutycup::door::chance::Seed;
use dutycup::door::clock::Moment;
use dutycup::door::virtual_bench::{Bench, Device, VirtualBench, build};
use std::time::Duration;

pub const GENERATOR: Device = Device(0);
pub const SUPPLY: Device = Device(1);
pub const DRIVER: Device = Device(2);
pub const LOGGER: Device = Device(3);
pub const SCALE: Device = Device(4);

/// A bench and the time it is at.
pub struct Shell {
    /// The bench.
    pub bench: Bench,
    /// The time it is at.
    pub now: Moment,
    /// What the scale said by itself.
    pub scale_lines: Vec<(Moment, String)>,
}

impl Shell {
    pub fn new(section: &str, seed: u64) -> Self {
        let section = serde_yaml::from_str(section).unwrap();
        Shell { bench: build(&section, Seed(seed)).unwrap(), now: Moment::START, scale_lines: Vec::new() }
    }

    pub fn quiet() -> Self {
        Shell::new("{noise: off, errors: {from: none}}", 1)
    }

    /// Lets time pass; collects what the scale says, drops the rest.
    pub fn wait(&mut self, span: Duration) {
        let until = self.now + span;
        self.pass(until, None);
    }

    pub fn pass(&mut self, until: Moment, device: Option<Device>) -> Option<(String, Moment)> {
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
    pub fn ask_timed(&mut self, device: Device, line: &str) -> Option<(String, Duration)> {
        let sent = self.now;
        self.bench.receive(device, format!("{line}\n").as_bytes(), sent);
        self.pass(sent + Duration::from_millis(200), Some(device)).map(|(text, at)| (text, at.since(sent)))
    }

    pub fn ask(&mut self, device: Device, line: &str) -> String {
        self.ask_timed(device, line).map_or_else(String::new, |(text, _)| text)
    }

    pub fn tell(&mut self, device: Device, line: &str) {
        self.bench.receive(device, format!("{line}\n").as_bytes(), self.now);
    }

    /// Beats every 100 ms for a time.
    pub fn beat(&mut self, span: Duration) {
        let until = self.now + span;
        while self.now < until {
            assert_eq!(self.ask(DRIVER, "B"), "OK");
            self.wait(Duration::from_millis(100));
        }
    }

    pub fn start(&mut self, duty: &str) {
        for line in ["ARM", duty, "B"] {
            assert_eq!(self.ask(DRIVER, line), "OK");
        }
    }

    pub fn volts(&mut self, channels: &str) -> Vec<f64> {
        let answer = self.ask(LOGGER, &format!("MEAS? (@{channels})"));
        answer.split(',').map(|t| t.parse().unwrap()).collect()
    }
}
