//! Shared by the tests of instruments: a rig with one instrument, and a line on which everything is scripted.
//!
//! In: what the far end says, and when. Out: what was sent and what the instrument reported, each with its moment.
//! Never: real time; the script's moments are all there is.

#![allow(dead_code, reason = "every test file uses its own part")]

use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Discard, Instrument, InstrumentEvent};
use dutycup::door::problem::fault::{Fault, FaultCode};
use dutycup::door::script::rig::{
    ChannelSpec, DialectSpec, DriveSide, EngineSpec, ExchangeSpec, FluidSpec, IdentitySpec, InstrumentSpec,
    Limits, MethodSpec, NozzleSpec, PairSpec, Parity, PortSpec, ReadingUncertainty, RegisterKind, Rig,
    Scaling, Watchdog,
};
use dutycup::door::script::role::Role;
use dutycup::door::uncertainty::Bound;
use std::time::Duration;

/// Time for a reply in the tests, ms.
pub(crate) const REPLY_MS: u64 = 100;

pub(crate) fn ms(ms: u64) -> Moment {
    Moment::from_ms(ms)
}

/// An instrument that answers within [`REPLY_MS`] at 115,200 baud.
pub(crate) fn instrument(dialect: DialectSpec, identity: Option<(&str, &str)>) -> InstrumentSpec {
    InstrumentSpec {
        name: "device".into(),
        port: PortSpec {
            path: None,
            baud: 115_200,
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
            ready_within: Duration::ZERO,
        },
        dialect,
        identity: identity.map(|(ask, expect)| IdentitySpec {
            ask: ask.into(),
            expect: expect.into(),
            version: None,
        }),
        reply_within: Duration::from_millis(REPLY_MS),
        serial: None,
    }
}

pub(crate) fn text() -> DialectSpec {
    DialectSpec::Text { line_end: "\n".into(), decimal_comma: false }
}

pub(crate) fn scpi() -> DialectSpec {
    DialectSpec::Scpi { check_errors: false }
}

/// A channel over a wide range, every 20 ms, without scaling.
pub(crate) fn channel(role: &str, exchange: ExchangeSpec) -> ChannelSpec {
    ChannelSpec {
        role: Role::parse(role).expect("a role"),
        instrument: 0,
        exchange,
        scaling: Scaling { gain: 1.0, offset: 0.0 },
        range: (-1e6, 1e6),
        every: Duration::from_millis(20),
        delay_s: 0.0,
        uncertainty: ReadingUncertainty { zero: Bound::None, gain: Bound::None, resolution: 0.0 },
        calibrated: None,
    }
}

pub(crate) fn ask(query: &str, pattern: Option<&str>, field: usize) -> ExchangeSpec {
    ExchangeSpec::Ask { query: query.into(), pattern: pattern.map(Into::into), field }
}

pub(crate) fn listen(pattern: &str) -> ExchangeSpec {
    ExchangeSpec::Listen { pattern: pattern.into(), field: 0 }
}

pub(crate) fn tell(command: &str, reply: Option<&str>) -> ExchangeSpec {
    ExchangeSpec::Tell { command: command.into(), reply: reply.map(Into::into) }
}

/// A rig with one instrument.
pub(crate) fn rig(instrument: InstrumentSpec, channels: Vec<ChannelSpec>) -> Rig {
    Rig {
        name: "test".into(),
        source: String::new(),
        instruments: vec![instrument],
        channels,
        pair: PairSpec {
            pump: "pump".into(),
            nozzles: vec![NozzleSpec { name: "A".into(), serial: None, rating: None }],
            pwm_hz: 1000.0,
            drive_side: DriveSide::Low,
            wiring: None,
            check_valve_kpa: None,
            switch: None,
            freewheel_v: (0.7, 0.1),
        },
        fluid: FluidSpec {
            methanol_mass_fraction: 0.0,
            temperature_degc: (20.0, 1.0),
            methanol_permitted: false,
        },
        engine: EngineSpec {
            boost_sensor: None,
            ratiometric: false,
            pulses_per_rev: 2.0,
            ambient: dutycup::door::quantity::Absolute(101.3),
        },
        limits: Limits {
            line_pressure_kpa: 1700.0,
            cup_mass_g: 1000.0,
            supply_v: (9.0, 16.0),
            on_time_s: 100.0,
            duty_pct: (10.0, 100.0),
        },
        watchdog: Watchdog::None,
        method: MethodSpec {
            clock_gain: Bound::None,
            mist_lost: (0.0, 0.0),
            leak_lost: (0.0, 0.0),
            jet_on_pan: 0.0,
            tap_loss: (0.0, 0.0),
            tap_height_m: (0.0, 0.0),
            place: None,
        },
        virtual_bench: None,
    }
}

/// What the far end does with a command: bytes to send back, and after how many ms.
pub(crate) type Answers = Box<dyn FnMut(Moment, &str) -> Vec<(u64, Vec<u8>)>>;

/// One instrument and the far end of its line.
pub(crate) struct Line {
    pub(crate) instrument: Instrument,
    pub(crate) now: Moment,
    /// Commands as they were sent, without their end.
    pub(crate) sent: Vec<(Moment, String)>,
    pub(crate) events: Vec<(Moment, InstrumentEvent)>,
    arriving: Vec<(Moment, Vec<u8>)>,
    answers: Answers,
}

impl Line {
    /// A line that is open since moment 0; `answers` is the far end.
    pub(crate) fn new(rig: &Rig, answers: impl FnMut(Moment, &str) -> Vec<(u64, Vec<u8>)> + 'static) -> Line {
        let mut instrument = Instrument::new(0, rig).unwrap_or_else(|e| panic!("{e}"));
        instrument.start(Moment::START);
        Line {
            instrument,
            now: Moment::START,
            sent: Vec::new(),
            events: Vec::new(),
            arriving: Vec::new(),
            answers: Box::new(answers),
        }
    }

    /// A far end that answers each command by a table, after 2 ms.
    pub(crate) fn answering(rig: &Rig, table: &'static [(&'static str, &'static str)]) -> Line {
        Line::new(rig, move |_, command| {
            let found = table.iter().find(|(c, _)| *c == command);
            found.map(|(_, answer)| vec![(2, answer.as_bytes().to_vec())]).unwrap_or_default()
        })
    }

    /// Has bytes arrive at a moment.
    pub(crate) fn arrive(&mut self, at: Moment, bytes: &[u8]) {
        self.arriving.push((at, bytes.to_vec()));
    }

    /// Plays until `until`.
    pub(crate) fn play(&mut self, until: Moment) {
        let mut events = Vec::new();
        for _ in 0..2_000_000 {
            self.arriving.sort_by_key(|(at, _)| *at);
            let arrival = self.arriving.first().map_or(Moment::NEVER, |(at, _)| *at);
            let next = arrival.min(self.instrument.wake()).max(self.now);
            if next > until {
                self.now = until;
                return;
            }
            self.now = next;
            if arrival <= next {
                let (_, bytes) = self.arriving.remove(0);
                self.instrument.receive(next, &bytes, &mut events);
            }
            let mut tx = Vec::new();
            self.instrument.advance(next, &mut tx, &mut events);
            self.events.extend(events.drain(..).map(|e| (next, e)));
            self.deliver(next, &tx);
        }
        panic!("the instrument never comes to rest");
    }

    fn deliver(&mut self, now: Moment, tx: &[u8]) {
        let commands: Vec<String> = if tx.first().is_some_and(|b| *b < 0x20) {
            vec![tx.iter().map(|b| format!("{b:02X}")).collect::<Vec<_>>().join(" ")]
        } else {
            String::from_utf8_lossy(tx).lines().map(str::to_owned).collect()
        };
        for command in commands {
            for (after_ms, bytes) in (self.answers)(now, &command) {
                self.arriving.push((now + Duration::from_millis(after_ms), bytes));
            }
            self.sent.push((now, command));
        }
    }

    /// Readings so far: channel and value.
    pub(crate) fn readings(&self) -> Vec<(usize, f64)> {
        let reading = |e: &InstrumentEvent| match e {
            InstrumentEvent::Reading { channel, value, .. } => Some((*channel, *value)),
            _ => None,
        };
        self.events.iter().filter_map(|(_, e)| reading(e)).collect()
    }

    /// Faults so far, with their moment.
    pub(crate) fn faults(&self) -> Vec<(Moment, &Fault)> {
        let fault = |(at, e): &'_ (Moment, InstrumentEvent)| match e {
            InstrumentEvent::Fault(_) => Some(*at),
            _ => None,
        };
        let moments: Vec<Moment> = self.events.iter().filter_map(fault).collect();
        let faults = self.events.iter().filter_map(|(_, e)| match e {
            InstrumentEvent::Fault(fault) => Some(fault),
            _ => None,
        });
        moments.into_iter().zip(faults).collect()
    }

    /// The names of the faults so far.
    pub(crate) fn fault_codes(&self) -> Vec<FaultCode> {
        self.faults().iter().map(|(_, f)| f.code).collect()
    }

    /// What was dropped so far for a reason.
    pub(crate) fn discarded(&self, reason: Discard) -> Vec<String> {
        let dropped = |e: &InstrumentEvent| match e {
            InstrumentEvent::Discarded { bytes, why } if *why == reason => {
                Some(String::from_utf8_lossy(bytes).into_owned())
            }
            _ => None,
        };
        self.events.iter().filter_map(|(_, e)| dropped(e)).collect()
    }

    /// The moment the instrument became ready.
    pub(crate) fn ready_at(&self) -> Option<Moment> {
        let ready =
            |(at, e): &(Moment, InstrumentEvent)| matches!(e, InstrumentEvent::Ready { .. }).then_some(*at);
        self.events.iter().find_map(ready)
    }

    /// What was told so far: channel and value.
    pub(crate) fn told(&self) -> Vec<(usize, f64)> {
        let told = |e: &InstrumentEvent| match e {
            InstrumentEvent::Told { channel, value, .. } => Some((*channel, *value)),
            _ => None,
        };
        self.events.iter().filter_map(|(_, e)| told(e)).collect()
    }

    /// Commands sent so far, without their moments.
    pub(crate) fn commands(&self) -> Vec<&str> {
        self.sent.iter().map(|(_, c)| c.as_str()).collect()
    }
}

pub(crate) const ID: (&str, &str) = ("ID?", "virtual driver");
pub(crate) const ID_LINE: &[u8] = b"ID dutycup virtual driver 1.0\r\n";

/// A text instrument with one query.
pub(crate) fn polled(identity: Option<(&str, &str)>) -> Rig {
    rig(instrument(text(), identity), vec![channel("duty", ask("S?", Some("S duty={value}"), 0))])
}

/// A text instrument with a query, and a far end that answers its identity after 2 ms and the query as told.
pub(crate) fn polled_line(mut answer: impl FnMut(Moment, u64) -> Vec<(u64, Vec<u8>)> + 'static) -> Line {
    let mut n = 0;
    Line::new(&polled(Some(ID)), move |now, command| match command {
        "ID?" => vec![(2, ID_LINE.to_vec())],
        "S?" => {
            n += 1;
            answer(now, n)
        }
        _ => vec![],
    })
}

/// A scale that speaks by itself.
pub(crate) fn scale(pattern: &str) -> Rig {
    rig(instrument(text(), None), vec![channel("cup_mass", listen(pattern))])
}

pub(crate) fn silent(rig: &Rig) -> Line {
    Line::new(rig, |_, _| vec![])
}

/// Every dialect with one exchange: rig, command as shown, answer.
pub(crate) fn dialects() -> Vec<(Rig, &'static str, Vec<u8>)> {
    let pattern = Some("S duty={value} on={_}");
    let one = |spec: InstrumentSpec, channel: ChannelSpec| rig(spec, vec![channel]);
    let register = ExchangeSpec::Register { function: 3, address: 0x6B, kind: RegisterKind::F32 };
    vec![
        (
            one(instrument(text(), None), channel("duty", ask("S?", pattern, 0))),
            "S?",
            b"S duty=44.97 on=1\r\n".to_vec(),
        ),
        (
            one(instrument(scpi(), None), channel("supply", ask("MEAS? (@1,2)", None, 1))),
            "MEAS? (@1,2)",
            b"+1.0E+00,44.97\n".to_vec(),
        ),
        (
            // Registers 42 33 E1 48 are 44.97 in single precision (IEEE 754); CRC-16/MODBUS 67 6F.
            one(instrument(DialectSpec::Modbus { unit: 17 }, None), channel("duty", register)),
            "11 03 00 6B 00 02 B7 47",
            vec![0x11, 0x03, 0x04, 0x42, 0x33, 0xE1, 0x48, 0x00, 0x00],
        ),
    ]
    .into_iter()
    .map(|(rig, command, answer)| (rig, command, with_crc(answer)))
    .collect()
}

/// A Modbus answer with its checksum, bit by bit as the serial line specification describes it.
pub(crate) fn with_crc(mut answer: Vec<u8>) -> Vec<u8> {
    if answer[0] == 0x11 {
        answer.truncate(answer.len() - 2);
        let crc = answer.iter().fold(0xFFFF_u16, |crc, byte| {
            (0..8).fold(crc ^ u16::from(*byte), |c, _| if c & 1 == 1 { (c >> 1) ^ 0xA001 } else { c >> 1 })
        });
        answer.extend_from_slice(&crc.to_le_bytes());
    }
    answer
}
