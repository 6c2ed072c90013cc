//! N3 and N4: the program's own loop on real ports, with set points played and instruments asked.
//!
//! In: how long. Out: lateness of each set point when it is handed to the system, beside a bare loop on absolute
//! deadlines before and after in the same run; samples taken beside what the lines can carry; round trips beside raw
//! blocking calls. The loop, the ports and the record are those of `dutycup run`; only a tap notes when bytes leave.

use super::far_end::{ANSWER, FarEnd, Kind, QUERY, exchange_time};
use super::lateness::{Lateness, bare_loop};
use super::table::{Line, Table, best};
use crate::wire_rig::{self, ask, channel, instrument, scpi};
use dutycup::door::clock::{Moment, SystemClock};
use dutycup::door::port::serial::SerialPorts;
use dutycup::door::port::{Arrival, Ports, priority};
use dutycup::door::problem::fault::Fault;
use dutycup::door::record::{Pace, Recorder};
use dutycup::door::run::bench::Bench;
use dutycup::door::run::drive::drive;
use dutycup::door::script::plan::{Op, Plan, Step};
use dutycup::door::script::rig::{ExchangeSpec, Rig};
use dutycup::door::script::role::Role;
use dutycup::door::verdict::purpose::Purpose;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Rate of the lines, bits a second.
const BAUD: u32 = 115_200;
/// Rate of the line that set points go out on: 1,000 of them a second do not fit the others' rate.
const SET_BAUD: u32 = 921_600;
/// Rate that an instrument without a wire may seem to have.
const FAST_BAUD: u32 = 4_000_000;
/// Instruments asked besides.
const ASKED: usize = 4;
/// Time between set points.
const PERIOD_S: f64 = 1e-3;

/// Ports with a note of when each set point left.
struct Tapped {
    inner: SerialPorts,
    /// Port that set points go to.
    set_port: usize,
    /// When the loop began its turn.
    turn: Moment,
    start: Option<Moment>,
    next: u64,
    late: Lateness,
    /// When each request left, for the first port.
    requests: Vec<Moment>,
}

impl Ports for Tapped {
    fn now(&self) -> Moment {
        self.inner.now()
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        self.turn = self.inner.wait(deadline, take);
        self.turn
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        let now = self.inner.now();
        if port == self.set_port {
            let start = *self.start.get_or_insert(self.turn);
            let text = String::from_utf8_lossy(bytes);
            let volts: f64 =
                text.trim().rsplit(' ').next().and_then(|v| v.parse().ok()).expect("a set point");
            let sent = (volts * 1000.0).round() as u64;
            // Set points that a newer one has overtaken were as late as that one.
            for k in self.next..=sent {
                let due = start + Duration::from_secs_f64(k as f64 * PERIOD_S);
                self.late.0.push(now.since(due).as_nanos() as u64);
            }
            self.next = sent + 1;
        } else if port == 0 {
            self.requests.push(now);
        }
        self.inner.send(port, bytes)
    }

    fn ask(&mut self, question: &str) {
        self.inner.ask(question);
    }

    fn show(&mut self, text: &str) {
        self.inner.show(text);
    }
}

/// What a played run showed.
struct Played {
    late: Lateness,
    /// Share of what the lines can carry that became samples.
    share: f64,
    /// Time between requests to the first instrument.
    period: Lateness,
}

/// Four instruments asked without pause and one that is set.
fn rig(far: &FarEnd, asked: usize, baud: u32) -> Rig {
    let roles = ["back_pressure", "ambient_pressure", "pump_current", "water_temperature", "sensor.played"];
    let mut rig = wire_rig::rig(instrument(scpi(), None), Vec::new());
    rig.instruments.clear();
    let set = ExchangeSpec::Tell { command: "VOLT {value:.3}".into(), reply: None };
    let set = std::iter::once(set).filter(|_| far.paths.len() > asked);
    let exchanges = std::iter::repeat_n(ask(QUERY, None, 0), asked).chain(set);
    for (i, exchange) in exchanges.enumerate() {
        let mut spec = instrument(scpi(), None);
        spec.name = format!("line {i}");
        spec.port.path = Some(far.paths[i].display().to_string());
        spec.port.baud = if i < asked { baud } else { SET_BAUD };
        rig.instruments.push(spec);
        let role = if matches!(exchange, ExchangeSpec::Tell { .. }) { roles[4] } else { roles[i] };
        let mut channel = channel(role, exchange);
        channel.instrument = i;
        channel.every = Duration::from_micros(20);
        rig.channels.push(channel);
    }
    rig
}

fn plan(rig: &Rig, op: Op) -> Plan {
    Plan {
        scenario: "bench".into(),
        source: String::new(),
        parameters: Vec::new(),
        steps: vec![Step { id: 1, label: "play".into(), op, traps_pressure: false }],
        limits: rig.limits,
        purpose: Purpose::Record,
    }
}

/// A trace whose set points carry their own number, mV.
fn trace(seconds: f64) -> Op {
    let role = Role::parse("sensor.played").expect("a role");
    let count = (seconds / PERIOD_S) as u64;
    let row = |k: u64| (k as f64 * PERIOD_S, vec![(role.clone(), k as f64 / 1000.0)]);
    Op::Replay { file: "trace.csv".into(), rows: (0..count).map(row).collect() }
}

/// Time of a round with nothing but blocking reads and writes, a line's own rate at the far end.
fn bare_round() -> f64 {
    let far = FarEnd::start(&[Kind::Answers(BAUD)]);
    raw_calls(&far, 300).us(0.5)
}

/// Plays on real ports, as `dutycup run` does.
fn play(dir: &Path, far: &FarEnd, asked: usize, op: Op, real_time: bool) -> Played {
    let baud = if asked == 1 { FAST_BAUD } else { BAUD };
    let rig = rig(far, asked, baud);
    let plan = plan(&rig, op);
    let roles: Vec<Role> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let folder = tempfile::tempdir_in(dir).expect("a folder");
    let mut recorder = Recorder::create(&folder.path().join("run"), &roles)
        .and_then(|r| r.at_pace(Pace::Real))
        .unwrap_or_else(|e| panic!("{e}"));
    let (inner, failed) =
        SerialPorts::open(&rig, SystemClock::start(), Box::new(|_| {})).unwrap_or_else(|e| panic!("{e}"));
    assert!(failed.is_empty(), "{failed:?}");
    let mut ports = Tapped {
        inner,
        set_port: asked,
        turn: Moment::START,
        start: None,
        next: 0,
        late: Lateness::default(),
        requests: Vec::new(),
    };
    let mut played_s = 0.0;
    std::thread::scope(|scope| {
        let loop_thread = scope.spawn(|| {
            if real_time {
                priority::raise().expect("real-time priority was permitted before");
            }
            let mut bench = Bench::new(&rig, &plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
            let ending = drive(&mut bench, &mut ports, 0, &mut |_, _| {});
            assert!(ending.complete(), "{ending:?}");
            played_s = ports.now().as_s();
        });
        loop_thread.join().expect("the loop");
    });
    let done = recorder.finish().unwrap_or_else(|e| panic!("{e}"));
    let first = ports.requests.first().copied().unwrap_or_default();
    let last = ports.requests.last().copied().unwrap_or_default();
    let possible = asked as f64 * last.since(first).as_secs_f64() / exchange_time(BAUD).as_secs_f64();
    let told = ports.late.0.len() as u64;
    let period = ports.requests.windows(2).map(|w| w[1].since(w[0]).as_nanos() as u64).collect();
    Played {
        share: (done.counts.samples - told) as f64 / possible,
        late: ports.late,
        period: Lateness(period),
    }
}

/// Runs with one core kept busy where wanted.
fn beside<T>(busy: bool, work: impl FnOnce() -> T) -> T {
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        if busy {
            scope.spawn(|| {
                while !stop.load(Ordering::Relaxed) {
                    std::hint::spin_loop();
                }
            });
        }
        let value = work();
        stop.store(true, Ordering::Relaxed);
        value
    })
}

/// A bare loop on a thread of its own, with real-time priority where wanted.
fn floor(ticks: u64, real_time: bool) -> Lateness {
    let run = move || {
        if real_time {
            priority::raise().expect("real-time priority was permitted before");
        }
        bare_loop(ticks)
    };
    std::thread::spawn(run).join().expect("the bare loop")
}

/// N3.
pub(crate) fn playback(table: &mut Table, dir: &Path, quick: bool) {
    let permitted = std::thread::spawn(priority::raise).join().expect("a thread");
    if let Err(why) = &permitted {
        table.note(&format!("real-time priority is not permitted here: {why}"));
    }
    for real_time in [false, true] {
        if real_time && permitted.is_err() {
            continue;
        }
        for busy in [false, true] {
            let seconds = match (quick, real_time && !busy) {
                (true, _) => 3.0,
                (false, true) => 60.0,
                (false, false) => 10.0,
            };
            // Half of the bare loop before, half after.
            let ticks = (f64::min(seconds, 20.0) * 500.0) as u64;
            let (floor, ours) = beside(busy, || {
                let before = floor(ticks, real_time);
                let far = FarEnd::start(&[[Kind::Answers(BAUD); ASKED].as_slice(), &[Kind::Silent]].concat());
                let ours = play(dir, &far, ASKED, trace(seconds), real_time);
                drop(far);
                (before.with(floor(ticks, real_time)), ours)
            });
            lines(table, &floor, &ours, real_time, busy);
        }
    }
}

fn lines(table: &mut Table, floor: &Lateness, ours: &Played, real_time: bool, busy: bool) {
    let how = match (real_time, busy) {
        (false, false) => "idle",
        (false, true) => "other core busy",
        (true, false) => "priority, idle",
        (true, true) => "priority, other core busy",
    };
    let ratio = |p: f64| ours.late.us(p) / floor.us(p);
    table.add(Line {
        id: "N3",
        what: format!("1,000 set points/s, {how}: p99 late"),
        ours: format!("{}", ours.late),
        peer: format!("bare loop {floor}"),
        ratio: Some(ratio(0.99)),
        aim: "p99 <= 1.3 x".into(),
        met: Some(ratio(0.99) <= 1.3),
    });
    table.add(Line {
        id: "N3",
        what: format!("the same, {how}: p99.9 late"),
        ours: format!("{:.0} us", ours.late.us(0.999)),
        peer: format!("{:.0} us", floor.us(0.999)),
        ratio: Some(ratio(0.999)),
        aim: if real_time { "<= 2 x and < 300 us" } else { "<= 2 x" }.into(),
        met: Some(ratio(0.999) <= 2.0 && (!real_time || ours.late.us(0.999) < 300.0)),
    });
    if real_time && !busy {
        table.add(Line {
            id: "N3",
            what: format!("the same, {how}: longest of {}", ours.late.0.len()),
            ours: format!("{:.0} us", ours.late.us(1.0)),
            peer: format!("{:.0} us", floor.us(1.0)),
            ratio: None,
            aim: "< 2,000 us".into(),
            met: Some(ours.late.us(1.0) < 2000.0),
        });
    }
    table.add(Line {
        id: "N3",
        what: format!("samples of what four lines can carry, {how}"),
        ours: format!("{:.1} %", 100.0 * ours.share),
        peer: format!(
            "a round {:.0}, raw {:.0} of {:.0} us",
            ours.period.us(0.5),
            bare_round(),
            1e6 * exchange_time(BAUD).as_secs_f64()
        ),
        ratio: None,
        aim: ">= 97 %".into(),
        met: Some(ours.share >= 0.97),
    });
}

/// N4: a request and its answer, at once.
pub(crate) fn round_trip(table: &mut Table, dir: &Path, quick: bool) {
    let count = if quick { 3_000 } else { 20_000 };
    let rounds = if quick { 1 } else { 3 };
    let far = || FarEnd::start(&[Kind::AtOnce]);
    let raw = best(rounds, || raw_calls(&far(), count).us(0.5));
    let ours = best(rounds, || {
        let far = far();
        let hold = Op::Hold { seconds: count as f64 * 100e-6 };
        let played = play(dir, &far, 1, hold, false);
        assert!(far.answered() > 1000);
        played.period.us(0.5)
    });
    table.add(Line {
        id: "N4",
        what: "request and reply over a pseudo-terminal, p50".into(),
        ours: format!("{ours:.1} us"),
        peer: format!("raw blocking calls {raw:.1} us"),
        ratio: Some(ours / raw),
        aim: "<= 1.5 x".into(),
        met: Some(ours / raw <= 1.5),
    });
}

/// The same with nothing but blocking reads and writes.
fn raw_calls(far: &FarEnd, count: usize) -> Lateness {
    let mut port = std::fs::File::options().read(true).write(true).open(&far.paths[0]).expect("the line");
    let (clock, mut spans) = (SystemClock::start(), Lateness::default());
    let mut answer = [0; 64];
    for _ in 0..count {
        let start = clock.now();
        port.write_all(format!("{QUERY}\n").as_bytes()).expect("written");
        let mut got = 0;
        while got < ANSWER.len() {
            got += port.read(&mut answer[got..]).expect("read");
        }
        spans.0.push(clock.now().since(start).as_nanos() as u64);
    }
    spans
}
