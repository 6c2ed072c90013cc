//! A scripted person with a gauge, a kitchen scale, a voltmeter and a knob, at the virtual bench.
//!
//! In: the questions of a run by hand, in words. Out: what a person would do on the bench and answer, late, rounded, a
//! little wrong, and at times mistyped. The plant runs in the time domain under the virtual clock, so that starting and
//! stopping the spray cost what they cost on a bench. Never: an answer from the analysis.

use dutycup::door::chance::{Seed, Stream, standard_normal, uniform};
use dutycup::door::clock::Moment;
use dutycup::door::exit::Exit;
use dutycup::door::port::{Arrival, Ports};
use dutycup::door::problem::fault::Fault;
use dutycup::door::virtual_bench::{Bench, Device, VirtualBench as _};
use std::time::Duration;

/// The pump's driver and the supply, by their numbers on the virtual bench.
const DRIVER: Device = Device(2);
const SUPPLY: Device = Device(1);
/// Time between signs of life for the driver's watchdog.
const BEAT: Duration = Duration::from_millis(200);
/// Start and stop are pressed within about this, standard deviation, s.
const PRESS_S: f64 = 0.08;

/// A person at the virtual bench.
pub(crate) struct Person {
    bench: Bench,
    now: Moment,
    chance: Stream,
    /// What was asked last, and when it will be done.
    doing: Option<(Moment, String)>,
    /// Everything that was asked and shown, in order.
    pub(crate) heard: Vec<String>,
    /// Mistyped answers so far.
    pub(crate) mistyped: usize,
    /// How many of a hundred readings are mistyped first.
    pub(crate) mistypes: f64,
    /// Whether the spray is timed with a stopwatch whose seconds are typed.
    pub(crate) stopwatch: bool,
    /// Leaves the bench (Ctrl-C) at this moment.
    pub(crate) leaves: Moment,
    duty_pct: f64,
    dwell_s: f64,
    on_at: Moment,
    scale_gain: f64,
    gauge_gain: f64,
    gauge_zero_kpa: f64,
}

impl Person {
    pub(crate) fn new(mut bench: Bench, seed: u64, dwell_s: f64) -> Self {
        for (device, line) in
            [(SUPPLY, "VOLT 13.800\n"), (SUPPLY, "OUTP ON\n"), (DRIVER, "ARM\r\n"), (DRIVER, "V 1\r\n")]
        {
            bench.receive(device, line.as_bytes(), Moment::START);
        }
        let mut chance = Seed(seed).stream("person");
        Person {
            // Within the limits that the rig states: 0.3 %, 1.5 % and 1 psi.
            scale_gain: 1.0 + uniform(&mut chance, -0.003, 0.003),
            gauge_gain: 1.0 + uniform(&mut chance, -0.015, 0.015),
            gauge_zero_kpa: uniform(&mut chance, -6.9, 6.9),
            bench,
            now: Moment::START,
            chance,
            doing: None,
            heard: Vec::new(),
            mistyped: 0,
            mistypes: 10.0,
            stopwatch: false,
            leaves: Moment::NEVER,
            duty_pct: 0.0,
            dwell_s,
            on_at: Moment::START,
        }
    }

    fn say(&mut self, device: Device, line: &str) {
        self.bench.receive(device, format!("{line}\r\n").as_bytes(), self.now);
    }

    fn turn(&mut self, duty_pct: f64) {
        self.say(DRIVER, &format!("D {duty_pct:.2}"));
    }

    /// Lets time pass, with signs of life for the driver.
    fn pass_until(&mut self, to: Moment) {
        while self.now < to {
            self.now = to.min(self.now + BEAT);
            self.say(DRIVER, "B");
            self.bench.transmit(self.now, &mut |_, _| {});
        }
        self.bench.bring_to(self.now);
    }

    fn normal(&mut self, sd: f64) -> f64 {
        sd * standard_normal(&mut self.chance)
    }

    /// When a request will be done.
    fn takes(&mut self, question: &str) -> Duration {
        let seconds = if question.contains("Let it spray") {
            let until = self.on_at + Duration::from_secs_f64(self.dwell_s);
            until.since(self.now).as_secs_f64() + self.normal(0.5).abs()
        } else {
            uniform(&mut self.chance, 4.0, 9.0)
        };
        Duration::from_secs_f64(seconds)
    }

    /// Does what was asked, and answers.
    fn act(&mut self, question: &str) -> String {
        let has = |words: &str| question.contains(words);
        if has("Set the pump to this duty") {
            self.duty_pct = shown_percent(question);
            self.turn(self.duty_pct);
        } else if has("make sure that the gauge falls") {
            self.turn(0.0);
        } else if has("leave its setting as it is") {
            // What was sprayed since the duty was set went into a bucket.
            self.turn(0.0);
            self.pass_until(self.now + Duration::from_secs(4));
            self.bench.empty_cup(self.now);
        } else if has("Switch the pump on at") {
            self.turn(self.duty_pct);
            self.on_at = self.now;
            self.press();
        } else if has("Let it spray") {
            self.turn(0.0);
            let sprayed_s = self.now.since(self.on_at).as_secs_f64();
            self.press();
            if self.stopwatch {
                let seconds = sprayed_s + self.normal(PRESS_S) + self.normal(PRESS_S);
                return format!("{seconds:.1}");
            }
        } else if has("Turn pump_duty slowly") {
            return self.search(question);
        } else if has("Read the") {
            return self.readings(question);
        } else {
            return self.bench.operate(question, self.now);
        }
        String::new()
    }

    /// Enter comes a little after, or before, what it belongs to; never before now.
    fn press(&mut self) {
        let late_s = 0.15 + self.normal(PRESS_S);
        self.pass_until(self.now + Duration::from_secs_f64(late_s.max(0.0)));
    }

    fn readings(&mut self, question: &str) -> String {
        if uniform(&mut self.chance, 0.0, 100.0) < self.mistypes {
            self.mistyped += 1;
            let wrong = ["4o psi", "", "13,8", "9999", "12 kg", "nan"];
            return wrong[self.mistyped % wrong.len()].into();
        }
        let truth = self.bench.truth();
        let mut values = Vec::new();
        for line in question.lines() {
            if line.contains("pressure gauge") {
                let kpa = truth.line_pressure_kpa * self.gauge_gain + self.gauge_zero_kpa + self.normal(1.0);
                values.push(format!("{:.0}", kpa / 6.894_757));
            } else if line.contains("scale") {
                values.push(format!("{:.0} g", truth.cup_g * self.scale_gain));
            } else if line.contains("voltmeter") {
                values.push(format!("{:.2} V", truth.supply_v + self.normal(0.01)));
            }
        }
        values.join(", ")
    }

    /// Turns the knob slowly and watches the spray.
    fn search(&mut self, question: &str) -> String {
        let numbers: Vec<f64> = question.split_whitespace().filter_map(|word| word.parse().ok()).collect();
        let (from, to, seconds) = (numbers[0], numbers[1], numbers[2]);
        let steps = (seconds * 2.0) as u32;
        let mut seen = None;
        for i in 0..=steps {
            let duty = from + (to - from) * f64::from(i) / f64::from(steps);
            self.turn(duty);
            self.pass_until(self.now + Duration::from_millis(500));
            let sprays = self.bench.truth().flow_ml_min > 3.0;
            if sprays == (to > from) {
                seen.get_or_insert(duty);
            }
        }
        self.turn(0.0);
        seen.map_or_else(|| "none".into(), |duty: f64| format!("{:.1}", duty + self.normal(0.2)))
    }
}

/// The number before the last per cent sign.
fn shown_percent(question: &str) -> f64 {
    let before = question.rsplit_once('%').expect("a duty").0.trim_end();
    let number = before.rsplit(|c: char| !(c.is_ascii_digit() || c == '.')).next();
    number.and_then(|n| n.parse().ok()).unwrap_or_else(|| panic!("no duty in: {question}"))
}

impl Ports for Person {
    fn now(&self) -> Moment {
        self.now
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        if self.now >= self.leaves {
            self.leaves = Moment::NEVER;
            take(self.now, Arrival::Stop(Exit::Interrupt));
            return self.now;
        }
        match self.doing.take() {
            Some((at, question)) if at <= deadline || deadline == Moment::NEVER => {
                self.pass_until(at);
                let answer = self.act(&question);
                take(self.now, Arrival::Answer(&answer));
            }
            doing => {
                assert!(deadline != Moment::NEVER, "nobody was asked, and nothing will happen");
                self.doing = doing;
                self.pass_until(deadline);
            }
        }
        self.now
    }

    fn send(&mut self, _port: usize, bytes: &[u8]) -> Result<(), Fault> {
        assert!(bytes.is_empty(), "a person is sent no bytes");
        Ok(())
    }

    fn ask(&mut self, question: &str) {
        self.heard.push(question.to_owned());
        let span = self.takes(question);
        self.doing = Some((self.now + span, question.to_owned()));
    }

    fn show(&mut self, text: &str) {
        self.heard.push(format!("note: {text}"));
    }
}
