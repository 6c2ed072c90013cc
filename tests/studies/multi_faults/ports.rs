//! Ports to the virtual bench on which faults of the wire and of the loop come at given moments.
//!
//! In: what the bench says and is told. Out: the same with the faults on it, and when the pump was on in truth. Never:
//! real time, or a fault that its list does not hold.

use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::exit::Exit;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::port::{Arrival, Ports};
use dutycup::door::problem::fault::{Fault, FaultCode};
use dutycup::door::script::rig::Rig;
use dutycup::door::virtual_bench::{Bench, Device, VirtualBench};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How often the truth is looked at while nothing else happens.
pub(crate) const LOOK: Duration = Duration::from_millis(10);

/// What goes wrong on the wire of one instrument, or in the loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Wire {
    /// Nothing that the device says arrives.
    Mute,
    /// Nothing that the device is told arrives there.
    Deaf,
    /// Each byte is flipped in one bit, one in so many.
    Corrupt(u32),
    /// Everything arrives this much later, ms.
    Late(u64),
    /// Everything arrives twice.
    Twice,
    /// Everything arrives byte by byte, a millisecond each.
    Split,
    /// So many random bytes arrive.
    Garbage(usize),
    /// The banner of a start.
    Banner,
    /// The last line of each form is said again and again.
    Frozen,
    /// Another unit.
    Unit,
    /// What is sent comes back.
    Echo,
    /// The port is gone for good.
    Lost,
    /// So many bytes per second of plain text arrive.
    Flood(usize),
    /// The loop stands still for so long, ms.
    Stall(u64),
    /// The stop key.
    Stop,
    /// From here on the disk fails.
    Disk,
}

/// One fault: on which instrument, what, from when, until when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct OnWire {
    pub(crate) port: usize,
    pub(crate) what: Wire,
    pub(crate) from: Moment,
    pub(crate) until: Moment,
}

impl OnWire {
    fn active(&self, port: usize, now: Moment) -> bool {
        self.port == port && self.from <= now && now < self.until
    }
}

/// A virtual bench whose pump is watched.
pub(crate) struct Watched {
    pub(crate) bench: Bench,
    looked: Moment,
    /// Each moment at which the pump output went on or off in truth.
    pub(crate) switched: Vec<(Moment, bool)>,
}

impl Watched {
    fn look(&mut self, now: Moment) {
        self.looked = now;
        let on = self.bench.pump_is_on();
        if self.switched.last().is_some_and(|last| last.1) != on {
            self.switched.push((now, on));
        }
    }

    /// How long the pump was on from `from` to `to`.
    pub(crate) fn on_time(&self, from: Moment, to: Moment) -> Duration {
        let mut on = Duration::ZERO;
        for (i, (at, state)) in self.switched.iter().enumerate() {
            let end = self.switched.get(i + 1).map_or(to, |next| next.0).min(to);
            if *state {
                on += end.since((*at).max(from).min(end));
            }
        }
        on
    }
}

impl VirtualBench for Watched {
    fn devices(&self) -> &[String] {
        self.bench.devices()
    }

    fn receive(&mut self, device: Device, bytes: &[u8], now: Moment) {
        self.bench.receive(device, bytes, now);
        self.look(now);
    }

    fn next_output(&mut self) -> Moment {
        self.bench.next_output().min(self.looked + LOOK)
    }

    fn operate(&mut self, request: &str, now: Moment) -> String {
        self.bench.operate(request, now)
    }

    fn transmit(&mut self, now: Moment, take: &mut dyn FnMut(Device, &[u8])) {
        self.bench.transmit(now, take);
        self.look(now);
    }
}

/// Something on its way to the loop.
enum Coming {
    Bytes(usize, Vec<u8>),
    Answer(String),
    Lost(usize),
}

/// A line and its form.
type Said = ((usize, Option<u8>), Vec<u8>);

/// The ports.
pub(crate) struct Faulty {
    pub(crate) inner: InProcess<Watched>,
    faults: Vec<OnWire>,
    /// Faults that happen once and have happened.
    happened: Vec<bool>,
    coming: VecDeque<(Moment, Coming)>,
    names: Vec<String>,
    /// The last line of each form, for each port.
    last_lines: Vec<Vec<Said>>,
    lost: Vec<bool>,
    chance: Stream,
    /// Set once the disk fails.
    pub(crate) disk_fails: Arc<AtomicBool>,
    /// Bytes flooded so far.
    pub(crate) flooded: usize,
    /// Longest time the loop slept with the pump on, beside the stalls that were meant.
    pub(crate) longest_turn: Duration,
}

impl Faulty {
    pub(crate) fn new(bench: Bench, rig: &Rig, faults: Vec<OnWire>, seed: Seed) -> Faulty {
        let watched = Watched { bench, looked: Moment::START, switched: Vec::new() };
        let names: Vec<String> = rig.instruments.iter().map(|i| i.name.clone()).collect();
        let inner =
            InProcess::new(watched, names.iter().map(String::as_str), Pace::Virtual, StopFlag::default());
        Faulty {
            inner,
            happened: vec![false; faults.len()],
            faults,
            coming: VecDeque::new(),
            last_lines: vec![Vec::new(); names.len()],
            lost: vec![false; names.len()],
            names,
            chance: seed.stream("wire"),
            disk_fails: Arc::default(),
            flooded: 0,
            longest_turn: Duration::ZERO,
        }
    }

    /// The bench as it is at `now`, after the loop has ended.
    pub(crate) fn truth_at(&mut self, now: Moment) -> &Watched {
        while self.inner.now() < now {
            self.inner_wait(now);
        }
        self.inner.bench()
    }

    fn active(&self, port: usize, now: Moment) -> Vec<Wire> {
        let on = |f: &&OnWire| f.active(port, now);
        self.faults.iter().filter(on).map(|f| f.what).collect()
    }

    fn later(&mut self, at: Moment, coming: Coming) {
        let place = self.coming.partition_point(|(other, _)| *other <= at);
        self.coming.insert(place, (at, coming));
    }

    /// What the device said passes the faults of its wire.
    fn pass(&mut self, port: usize, mut bytes: Vec<u8>, now: Moment) {
        if self.lost[port] {
            return;
        }
        let (mut delay, mut times, mut split) = (Duration::ZERO, 1, false);
        let faults = self.active(port, now);
        if !faults.contains(&Wire::Frozen) {
            self.remember(port, &bytes);
        }
        for fault in faults {
            match fault {
                Wire::Mute => return,
                Wire::Late(ms) => delay = Duration::from_millis(ms),
                Wire::Twice => times = 2,
                Wire::Split => split = true,
                Wire::Corrupt(one_in) => {
                    for byte in &mut bytes {
                        if self.chance.random_range(0..one_in) == 0 {
                            *byte ^= 1 << self.chance.random_range(0..8);
                        }
                    }
                }
                Wire::Frozen => bytes = self.frozen(port, &bytes),
                Wire::Unit => {
                    let text = String::from_utf8_lossy(&bytes).replace(" g ", " oz ");
                    bytes = text.into_bytes();
                }
                _ => {}
            }
        }
        let bytes = bytes.repeat(times);
        if split {
            for (i, byte) in bytes.iter().enumerate() {
                let at = now + delay + Duration::from_millis(i as u64);
                self.later(at, Coming::Bytes(port, vec![*byte]));
            }
        } else {
            self.later(now + delay, Coming::Bytes(port, bytes));
        }
    }

    fn remember(&mut self, port: usize, bytes: &[u8]) {
        let form = form(bytes);
        let lines = &mut self.last_lines[port];
        match lines.iter_mut().find(|(f, _)| *f == form) {
            Some((_, line)) => bytes.clone_into(line),
            None => lines.push((form, bytes.to_vec())),
        }
    }

    fn frozen(&self, port: usize, bytes: &[u8]) -> Vec<u8> {
        let form = form(bytes);
        let line = self.last_lines[port].iter().find(|(f, _)| *f == form);
        line.map_or_else(|| bytes.to_vec(), |(_, line)| line.clone())
    }

    /// Faults that happen once, and floods, up to `now`.
    fn happen(&mut self, now: Moment) -> Option<Wire> {
        for i in 0..self.faults.len() {
            let fault = self.faults[i];
            if let Wire::Flood(rate) = fault.what
                && fault.active(fault.port, now)
            {
                self.flood(fault.port, (rate, fault.from), now);
            }
            if now < fault.from || std::mem::replace(&mut self.happened[i], true) {
                continue;
            }
            match fault.what {
                Wire::Garbage(bytes) => {
                    let noise = (0..bytes).map(|_| self.chance.random()).collect();
                    self.later(now, Coming::Bytes(fault.port, noise));
                }
                Wire::Banner => {
                    let banner = banner(&self.names[fault.port]);
                    self.later(now, Coming::Bytes(fault.port, banner));
                }
                Wire::Lost => {
                    self.lost[fault.port] = true;
                    self.later(now, Coming::Lost(fault.port));
                }
                Wire::Disk => self.disk_fails.store(true, Ordering::Relaxed),
                Wire::Stall(_) | Wire::Stop => return Some(fault.what),
                _ => {}
            }
        }
        None
    }

    /// What is due of a flood of plain text since `from`.
    fn flood(&mut self, port: usize, (rate, from): (usize, Moment), now: Moment) {
        let due = (rate as f64 * now.since(from).as_secs_f64()) as usize;
        let line = b"m  +1.0 g moving\r\n";
        let bytes: Vec<u8> = line
            .iter()
            .copied()
            .cycle()
            .skip(self.flooded % line.len())
            .take(due.saturating_sub(self.flooded))
            .collect();
        if !bytes.is_empty() {
            self.flooded += bytes.len();
            self.later(now, Coming::Bytes(port, bytes));
        }
    }

    /// Brings the bench to at most `deadline` and takes over what it says.
    fn inner_wait(&mut self, deadline: Moment) -> Moment {
        let mut heard = Vec::new();
        let now = self.inner.wait(deadline, &mut |_, arrival| match arrival {
            Arrival::Bytes(port, bytes) => heard.push(Coming::Bytes(port, bytes.to_vec())),
            Arrival::Answer(text) => heard.push(Coming::Answer(text.to_owned())),
            Arrival::Lost(..) | Arrival::Stop(_) => {}
        });
        for coming in heard {
            match coming {
                Coming::Bytes(port, bytes) => self.pass(port, bytes, now),
                other => self.later(now, other),
            }
        }
        now
    }

    fn gone(&self, port: usize) -> Fault {
        let help = "check the adapter and its cable";
        Fault::new(FaultCode::PortGone, &self.names[port], "the port is gone", help)
    }
}

/// Lines of one form answer the same question: as many values, the same first letter.
fn form(line: &[u8]) -> (usize, Option<u8>) {
    let values = line.iter().filter(|b| **b == b',').count();
    (values, line.first().copied().filter(u8::is_ascii_alphabetic))
}

/// What a device says when it starts.
pub(crate) fn banner(name: &str) -> Vec<u8> {
    match name {
        "driver" | "scale" => format!("\r\nID dutycup virtual {name} 1.0\r\n"),
        _ => {
            let letter = name[..1].to_uppercase();
            format!("\r\ndutycup,virtual {name},{letter}-0001,1.0\r\n")
        }
    }
    .into_bytes()
}

impl Ports for Faulty {
    fn now(&self) -> Moment {
        self.inner.now()
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        let (began, on) = (self.inner.now(), self.inner.bench().bench.pump_is_on());
        let (mut now, mut stalled) = (began, false);
        loop {
            match self.happen(now) {
                Some(Wire::Stall(ms)) => {
                    stalled = true;
                    let over = now + Duration::from_millis(ms);
                    while now < over {
                        now = self.inner_wait(over);
                    }
                }
                Some(Wire::Stop) => {
                    take(now, Arrival::Stop(Exit::Interrupt));
                    break;
                }
                _ => {}
            }
            let mut arrived = false;
            while self.coming.front().is_some_and(|(at, _)| *at <= now)
                && let Some((_, coming)) = self.coming.pop_front()
            {
                arrived = true;
                match coming {
                    Coming::Bytes(port, bytes) => take(now, Arrival::Bytes(port, &bytes)),
                    Coming::Answer(text) => take(now, Arrival::Answer(&text)),
                    Coming::Lost(port) => take(now, Arrival::Lost(port, self.gone(port))),
                }
            }
            if arrived || now >= deadline {
                break;
            }
            let next = self.coming.front().map_or(deadline, |(at, _)| *at);
            now = self.inner_wait(deadline.min(next));
        }
        if !stalled && on {
            self.longest_turn = self.longest_turn.max(now.since(began));
        }
        now
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        if self.lost[port] {
            return Err(self.gone(port));
        }
        let now = self.inner.now();
        let faults = self.active(port, now);
        if faults.contains(&Wire::Echo) {
            self.later(now + Duration::from_millis(1), Coming::Bytes(port, bytes.to_vec()));
        }
        if faults.contains(&Wire::Deaf) {
            return Ok(());
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
