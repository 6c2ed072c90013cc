//! Targets of the wire dialects, and of the instruments behind them.

use super::targets::{file, safe};
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Instrument, InstrumentEvent};
use dutycup::door::problem::safe_text;
use dutycup::door::script::rig::Rig;
use dutycup::door::wire::number::{self, DecimalMark, NUMBER_BYTES_MAX, Numeric};
use dutycup::door::wire::pattern::Pattern;
use dutycup::door::wire::register::Kind;
use dutycup::door::wire::template::{self, Template};
use dutycup::door::wire::text::Capture;
use dutycup::door::wire::{self, Decoded, modbus, word};
use std::sync::OnceLock;
use std::time::Duration;

fn is_number(value: Numeric) {
    if let Numeric::Finite(value) = value {
        assert!(value.is_finite(), "{value}");
    }
}

pub(crate) fn number(bytes: &[u8]) {
    for mark in [DecimalMark::Point, DecimalMark::Comma] {
        if let Ok(value) = number::decimal(bytes, mark) {
            assert!(value.is_finite() && bytes.len() <= NUMBER_BYTES_MAX, "{value}");
        }
    }
    let _ = word::flag(bytes);
    number::scpi(bytes).ok().into_iter().chain(word::no_value(bytes)).for_each(is_number);
}

/// The first line is a pattern, the rest lines to read with it.
pub(crate) fn text(bytes: &[u8]) {
    let mut lines = bytes.split(|b| *b == b'\n');
    let pattern = String::from_utf8_lossy(lines.next().unwrap_or_default()).into_owned();
    let marks = [DecimalMark::Point, DecimalMark::Comma];
    let patterns = marks.map(|mark| Pattern::parse(&pattern, mark));
    let mut capture = Capture::default();
    for line in lines {
        for pattern in patterns.iter().flatten() {
            match pattern.read(line, &mut capture) {
                Ok(()) => capture.values.iter().for_each(|v| is_number(v.value)),
                Err(mismatch) => assert!(mismatch.at <= line.len()),
            }
        }
    }
    patterns.iter().filter_map(|p| p.as_ref().err()).for_each(|e| safe(&safe_text(&e.to_string())));
}

pub(crate) fn template(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let plain = |out: &[u8]| assert!(out.iter().all(|b| (b' '..=b'~').contains(b)), "{out:?}");
    match Template::parse(&text) {
        Ok(template) => {
            for value in [0.0, 1.0, -0.0, 45.678_912_345, -1e300, f64::MIN_POSITIVE] {
                let mut out = Vec::new();
                template.write(value, &mut out);
                plain(&out);
                assert!(out.len() < 1024);
            }
        }
        Err(problem) => safe(&safe_text(&problem.to_string())),
    }
    let _ = template::check_plain(&text);
}

pub(crate) fn scpi(bytes: &[u8]) {
    let fields = wire::scpi::Fields::of(bytes).count();
    assert!((1..=bytes.len() + 1).contains(&fields));
    let mut values = Vec::new();
    for count in 0..5 {
        if wire::scpi::numbers(bytes, count, &mut values).is_ok() {
            assert_eq!(values.len(), count);
            values.iter().for_each(|v| is_number(*v));
        }
    }
    if let Some(entry) = wire::scpi::error_entry(bytes) {
        assert!((-32768..=32767).contains(&entry.code));
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        let most = wire::scpi::CHANNELS_MAX;
        assert!(wire::scpi::channel_count(text).is_none_or(|n| (1..=most).contains(&n)));
    }
}

pub(crate) fn block(bytes: &[u8]) {
    match wire::block::decode(bytes) {
        Decoded::Message { message, used } => {
            assert!((2..=bytes.len()).contains(&used) && message.len() <= used);
            assert!(message.len() <= wire::block::PAYLOAD_BYTES_MAX);
        }
        Decoded::Bad { skip, .. } => assert!((1..=bytes.len()).contains(&skip)),
        Decoded::NeedMore => {}
    }
}

pub(crate) fn modbus(bytes: &[u8]) {
    let unit = bytes.first().copied().unwrap_or(17);
    let requests = [
        modbus::Request::Read { input: false, address: 0, count: 2 },
        modbus::Request::Read { input: true, address: 1, count: modbus::READ_REGISTERS_MAX },
        modbus::Request::WriteOne { address: 10, value: 5 },
        modbus::Request::WriteSome { address: 10, values: [1, 2], count: 2 },
    ];
    // With its check sum, so that what stands behind it is reached too.
    let summed = [bytes, &modbus::crc16(bytes).to_le_bytes()].concat();
    for bytes in [bytes, &summed] {
        for request in requests {
            match request.decode(unit, bytes) {
                Decoded::Message { message, used } => {
                    assert!((5..=bytes.len()).contains(&used));
                    if let modbus::Response::Registers(registers) = message {
                        let kinds = [Kind::U16, Kind::I16, Kind::I32, Kind::F32, Kind::F32Swapped];
                        kinds.iter().filter_map(|k| k.number(registers)).for_each(is_number);
                    }
                }
                Decoded::Bad { skip, why } => {
                    assert!((1..=bytes.len()).contains(&skip));
                    safe(&why.to_string());
                }
                Decoded::NeedMore => assert!(bytes.len() < modbus::FRAME_BYTES_MAX),
            }
        }
    }
}

/// Rigs whose instruments speak every dialect.
fn rigs() -> &'static [Rig] {
    static RIGS: OnceLock<Vec<Rig>> = OnceLock::new();
    RIGS.get_or_init(|| {
        let load = |name| dutycup::door::script::load_rig(&file(name)).unwrap_or_else(|e| panic!("{e}"));
        vec![load("rigs/virtual.yaml"), load("rigs/serial-bench.yaml")]
    })
}

/// Bytes in pieces, to every instrument: 20 ms between pieces, whatever it sends goes nowhere.
pub(crate) fn instruments(bytes: &[u8]) {
    for rig in rigs() {
        for index in 0..rig.instruments.len() {
            let Ok(mut instrument) = Instrument::new(index, rig) else {
                continue;
            };
            let (mut now, mut events, mut out) = (Moment::START, Vec::new(), Vec::new());
            instrument.start(now);
            for piece in bytes.chunks(40).chain([&b"\n"[..]; 20]) {
                for _ in 0..8 {
                    instrument.advance(now, &mut out, &mut events);
                    assert!(out.len() < 4096, "{} bytes at once", out.len());
                    out.clear();
                    if instrument.wake() > now {
                        break;
                    }
                }
                instrument.receive(now, piece, &mut events);
                now = now + Duration::from_millis(20);
            }
            events.iter().for_each(|e| event(e, rig));
        }
    }
}

fn event(event: &InstrumentEvent, rig: &Rig) {
    match event {
        InstrumentEvent::Reading { channel, value, raw, .. } => {
            let (low, high) = rig.channels[*channel].range;
            assert!((low..=high).contains(value) && raw.is_finite(), "{event:?}");
        }
        InstrumentEvent::Fault(fault) => safe(&fault.to_string()),
        InstrumentEvent::Discarded { bytes, .. } => assert!(bytes.len() <= 1024),
        _ => {}
    }
}
