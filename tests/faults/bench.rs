//! A bench on which things go wrong: the virtual one, with faults on its wires, its disk and its clock.
//!
//! In: what goes wrong, and when. Out: how the run ended, what the record says, and what was true at the pump. Never: real
//! time.

use dutycup::door::chance::Seed;
use dutycup::door::clock::Moment;
use dutycup::door::exit::Exit;
use dutycup::door::port::in_process::{InProcess, Pace, StopFlag};
use dutycup::door::port::{Arrival, Ports};
use dutycup::door::problem::fault::{Fault, FaultCode};
use dutycup::door::record::Recorder;
use dutycup::door::record::disk::Gate;
use dutycup::door::run::bench::Bench;
use dutycup::door::run::drive::drive_guarded;
use dutycup::door::run::ending::Ending;
use dutycup::door::script::plan::{CollectStop, Op, Plan, Step};
use dutycup::door::script::rig::Rig;
use dutycup::door::script::role::Role;
use dutycup::door::verdict::purpose::Purpose;
use dutycup::door::virtual_bench::{Bench as FarEnd, build};
use std::path::Path;
use std::time::Duration;

/// Instruments of the virtual rig, by number.
pub(crate) const DRIVER: usize = 2;
pub(crate) const LOGGER: usize = 3;
pub(crate) const SCALE: usize = 4;

/// What goes wrong outside of the plant.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Wrong {
    /// A port is gone.
    Gone(usize),
    /// Nothing reaches a device any more.
    Deaf(usize),
    /// Nothing comes from a device any more.
    Silent(usize),
    /// Heartbeats get lost, all else arrives.
    NoBeat,
    /// A device takes no bytes.
    Stalled(usize),
    /// Bytes of a wrong baud rate in place of answers.
    Garbage(usize),
    /// 256 KiB at once.
    Flood(usize),
    /// Each third answer goes to somebody else.
    Stolen(usize),
    /// One digit of the pressure is another in each third answer.
    Digits,
    /// The loop stands still.
    Stall(Duration),
    /// A signal.
    Stop(Exit),
    /// The computer slept.
    Slept,
    /// A thread fails.
    Panic,
    /// A write to the disk fails from the n-th on.
    Disk(usize, rustix::io::Errno),
}

/// Ports with what goes wrong on them.
struct Ill<'w> {
    inner: InProcess<FarEnd>,
    wrong: &'w [(Moment, Wrong)],
    done: Vec<bool>,
    count: usize,
    /// When each thing went wrong, for the time until the pump was off.
    pump_off: Option<Moment>,
}

impl Ill<'_> {
    fn on(&self, is: impl Fn(&Wrong) -> bool) -> bool {
        let now = self.inner.now();
        self.wrong.iter().any(|(at, w)| *at <= now && is(w))
    }

    /// What happens once, when its moment has come.
    fn once(&mut self, take: &mut dyn FnMut(Moment, Arrival<'_>)) {
        let now = self.inner.now();
        for (i, (at, wrong)) in self.wrong.iter().enumerate() {
            if *at > now || std::mem::replace(&mut self.done[i], true) {
                continue;
            }
            match wrong {
                Wrong::Gone(port) => {
                    let fault = Fault::new(FaultCode::PortGone, "device", "the device hung up", "");
                    take(now, Arrival::Lost(*port, fault));
                }
                Wrong::Flood(port) => {
                    let flood = vec![b'7'; 4096];
                    (0..64).for_each(|_| take(now, Arrival::Bytes(*port, &flood)));
                }
                Wrong::Stall(span) => {
                    while self.inner.now() < now + *span {
                        self.inner.wait(now + *span, take);
                    }
                }
                Wrong::Stop(exit) => take(now, Arrival::Stop(*exit)),
                Wrong::Slept => {
                    let fault = Fault::new(FaultCode::Suspended, "computer", "it slept for 3600 s", "");
                    take(now, Arrival::Lost(usize::MAX, fault));
                }
                _ => {}
            }
        }
    }
}

impl Ports for Ill<'_> {
    fn now(&self) -> Moment {
        self.inner.now()
    }

    fn wait(&mut self, deadline: Moment, take: &mut dyn FnMut(Moment, Arrival<'_>)) -> Moment {
        let next = self.wrong.iter().zip(&self.done).filter(|(_, done)| !**done);
        let next = next.map(|((at, _), _)| *at).min().unwrap_or(Moment::NEVER);
        let wrong = self.wrong;
        let (mut count, before) = (self.count, self.inner.now());
        self.inner.wait(deadline.min(next.max(before)), &mut |at, arrival| {
            let Arrival::Bytes(port, bytes) = arrival else {
                take(at, arrival);
                return;
            };
            let on = |w: &Wrong| wrong.iter().any(|(from, other)| *from <= at && other == w);
            if on(&Wrong::Gone(port)) || on(&Wrong::Silent(port)) {
                return;
            }
            count += 1;
            let mut bytes = bytes.to_vec();
            if on(&Wrong::Garbage(port)) {
                bytes.iter_mut().for_each(|b| *b = b.wrapping_mul(37) | 0x80);
            } else if on(&Wrong::Stolen(port)) && count % 60 == 0 {
                bytes.clear();
            } else if on(&Wrong::Digits) && port == LOGGER && count % 3 == 0 {
                // 2.345 becomes 4.345: another pressure, and a number as good as the right one.
                if let Some(b) = bytes.iter_mut().find(|b| b.is_ascii_digit()) {
                    *b = if *b == b'4' { b'0' } else { b'4' };
                }
            }
            take(at, Arrival::Bytes(port, &bytes));
        });
        self.count = count;
        self.once(take);
        self.pump_off = match self.pump_off {
            _ if self.inner.bench().pump_is_on() => None,
            None => Some(self.inner.now()),
            since => since,
        };
        self.inner.now()
    }

    fn send(&mut self, port: usize, bytes: &[u8]) -> Result<(), Fault> {
        if self.on(|w| *w == Wrong::Stalled(port)) {
            return Err(Fault::new(FaultCode::WriteStall, "device", "bytes not taken in time", ""));
        }
        let lost = self.on(|w| matches!(w, Wrong::Deaf(p) | Wrong::Gone(p) if *p == port));
        let beat = self.on(|w| *w == Wrong::NoBeat) && port == DRIVER && bytes == b"B\r\n";
        if lost || beat {
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

/// How a run ended, and what was true.
pub(crate) struct Ended {
    pub(crate) ending: Ending,
    pub(crate) events: String,
    /// When the pump went off for good.
    pub(crate) pump_off: Option<Moment>,
    /// Once watchdog and solenoid have had their time: whether pump output and solenoid were off and closed.
    pub(crate) safe: bool,
    pub(crate) dir: tempfile::TempDir,
}

impl Ended {
    pub(crate) fn code(&self) -> Option<FaultCode> {
        self.ending.fault.as_ref().map(|f| f.code)
    }

    /// Time from `at_s` until the pump was off, ms.
    pub(crate) fn off_after_ms(&self, at_s: f64) -> f64 {
        let off = self.pump_off.expect("the pump went off");
        (off.as_s() - at_s) * 1e3
    }
}

pub(crate) fn rig(mishaps: &[(f64, &str)]) -> Rig {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs/virtual.yaml");
    let mut rig = dutycup::door::script::load_rig(&path).unwrap_or_else(|e| panic!("{e}"));
    let list: Vec<String> =
        mishaps.iter().map(|(at_s, what)| format!("{{at_s: {at_s}, what: {what}}}")).collect();
    let value = serde_yaml::from_str(&format!("[{}]", list.join(", "))).expect("mishaps");
    if let Some(bench) = rig.virtual_bench.as_mut().and_then(|b| b.as_mapping_mut()) {
        bench.insert("mishaps".into(), value);
    }
    rig
}

/// Pump on from the start, one collection from about 18 to 34 s, weighed at rest before and after.
pub(crate) fn plan(rig: &Rig) -> Plan {
    let set = |role: Role, value: f64| Op::Set(vec![(role, value)]);
    let ops = vec![
        set(Role::SupplySet, 13.8),
        set(Role::PumpDuty, 60.0),
        Op::Hold { seconds: 4.0 },
        Op::Collect { repeat: 1, nozzle: "A".into(), stop: CollectStop::Seconds(20.0), weigh_at_rest: true },
        set(Role::PumpDuty, 0.0),
    ];
    let step =
        |(i, op)| Step { id: i as u32 + 1, label: format!("step {}", i + 1), op, traps_pressure: false };
    Plan {
        scenario: "faults".into(),
        source: String::new(),
        parameters: Vec::new(),
        steps: ops.into_iter().enumerate().map(step).collect(),
        limits: rig.limits,
        purpose: Purpose::Record,
    }
}

/// Plays the plan with `wrong` happening, on a bench of this seed.
pub(crate) fn play(rig: &Rig, plan: &Plan, wrong: &[(f64, Wrong)], seed: u64) -> Ended {
    let wrong: Vec<(Moment, Wrong)> =
        wrong.iter().map(|(at_s, w)| (Moment::from_s(*at_s), w.clone())).collect();
    let dir = tempfile::tempdir().expect("scratch");
    let gate = wrong.iter().find_map(|(_, w)| match w {
        Wrong::Disk(n, errno) => Some((*n, *errno)),
        _ => None,
    });
    let gate = gate.map_or_else(Gate::default, |(n, errno)| failing_writes(n, errno));
    let roles: Vec<Role> = rig.channels.iter().map(|c| c.role.clone()).collect();
    let mut recorder = Recorder::create_through(gate, dir.path(), &roles).unwrap_or_else(|e| panic!("{e}"));
    let section = rig.virtual_bench.as_ref().expect("a virtual bench");
    let far_end = build(section, Seed(seed)).unwrap_or_else(|e| panic!("{e}"));
    let names = rig.instruments.iter().map(|i| i.name.as_str());
    let mut ports = Ill {
        inner: InProcess::new(far_end, names, Pace::Virtual, StopFlag::default()),
        done: vec![false; wrong.len()],
        wrong: &wrong,
        count: 0,
        pump_off: None,
    };
    let ending = {
        let mut bench = Bench::new(rig, plan, &mut recorder).unwrap_or_else(|e| panic!("{e}"));
        let fails = |now: Moment| wrong.iter().any(|(at, w)| *at <= now && *w == Wrong::Panic);
        drive_guarded(&mut bench, &mut ports, &mut |now, _| {
            assert!(!fails(now), "a thread fails on purpose");
        })
    };
    let _ = recorder.finish();
    drop(recorder);
    // The watchdog takes 0.5 s, and the device closes its solenoid 1.5 s later.
    let end = ports.now() + Duration::from_millis(2100);
    let mut far_end = ports.inner.bench().clone();
    far_end.bring_to(end);
    let pump_off = ports.pump_off.or_else(|| (!far_end.pump_is_on()).then_some(ports.now()));
    Ended {
        safe: !far_end.pump_is_on() && !far_end.truth().solenoid_open,
        ending,
        events: std::fs::read_to_string(dir.path().join("events.csv")).expect("events"),
        pump_off,
        dir,
    }
}

/// A gate whose writes fail for good from the n-th on.
fn failing_writes(n: usize, errno: rustix::io::Errno) -> Gate {
    let count = std::sync::atomic::AtomicUsize::new(0);
    Gate::new(move |op| match op {
        dutycup::door::record::disk::Op::Write(bytes) => {
            let before = count.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            if before >= n { Err(errno.into()) } else { Ok(bytes) }
        }
        _ => Ok(0),
    })
}
