//! Modbus RTU against the server of the pymodbus library: functions 3, 4, 6 and 16, refusals, silence, spoilt and late
//! answers, and an answer of another unit.

use super::far_end::{FarEnd, check, mean};
use dutycup::door::instrument::{Discard, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use std::time::Duration;

/// The instrument's numbers in a volt.
const SCALE: f64 = 10_000.0;

/// A rig with the unit at 17 and the given channels, each `role function address kind`.
fn rig(unit: u8, channels: &[&str]) -> String {
    let mut text = format!(
        "instruments: [{{name: unit, port: {{path: PORT, baud: 115200}}, dialect: modbus, unit_address: {unit}, \
         reply_within: 100 ms}}]\nchannels:\n"
    );
    for channel in channels {
        let part: Vec<&str> = channel.split(' ').collect();
        text += &format!(
            "  - {{role: {}, instrument: unit, register: {{function: {}, address: {}, kind: {}}}, \
             points: [{{reads: -100000, is: -10 V}}, {{reads: 100000, is: 10 V}}], range: [-10 V, 10 V], every: 50 ms}}\n",
            part[0], part[1], part[2], part[3]
        );
    }
    text
}

const SECONDS: Duration = Duration::from_secs(2);

/// Bit patterns of IEEE 754 and two's complement: the server packs them with Python's `struct`.
#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn registers_are_read_and_written() {
    let far = FarEnd::start("modbus_server.py");
    let read = [
        "analogue.float 3 0 f32",
        "analogue.word 3 2 u16",
        "analogue.negative 3 3 i16",
        "analogue.long 3 4 i32",
        "analogue.swapped 3 6 f32_swapped",
        "analogue.input 4 0 u16",
        "analogue.input_float 4 1 f32",
    ];
    let written = [
        "analogue.one 3 10 i16",
        "analogue.two 3 12 f32",
        "analogue.three 3 14 i32",
        "sensor.one 6 10 i16",
        "sensor.two 16 12 f32",
        "sensor.three 16 14 i32",
    ];
    let heard = far.play(
        &rig(17, &[&read[..], &written[..]].concat()),
        &[
            ("sensor.one", -321.0 / SCALE),
            ("sensor.two", 13.8125 / SCALE),
            ("sensor.three", -70_001.0 / SCALE),
        ],
        2 * SECONDS,
    );
    assert!(heard.faults().is_empty(), "{:?}", heard.faults());
    for (role, value) in [
        ("analogue.float", 2.5),
        ("analogue.word", 4660.0),
        ("analogue.negative", -1234.0),
        ("analogue.long", -70_000.0),
        ("analogue.swapped", -12.75),
        ("analogue.input", 513.0),
        ("analogue.input_float", -0.125),
    ] {
        heard.reads(role, value);
    }
    for (role, back, value) in [
        ("sensor.one", "analogue.one", -321.0),
        ("sensor.two", "analogue.two", 13.8125),
        ("sensor.three", "analogue.three", -70_001.0),
    ] {
        assert!(heard.told(role), "{role} acknowledged");
        let seen = heard.readings(back);
        assert!(seen.contains(&0.0), "{back} before: {seen:?}");
        assert_eq!(seen.last(), Some(&value), "{back} after");
        assert!(seen.iter().all(|v| [0.0, value].contains(v)), "{back}: {seen:?}");
    }
}

#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn refusals_and_spoilt_answers_are_named_and_give_no_reading() {
    let far = FarEnd::start("modbus_server.py");
    for (channel, code, words) in [
        ("analogue.x 3 99 u16", FaultCode::Device, "address"),
        ("analogue.x 3 40 u16", FaultCode::Frame, "a checksum that differs"),
        ("analogue.x 3 50 u16", FaultCode::Frame, "an answer of unit 18"),
    ] {
        let heard = far.play(&rig(17, &[channel, "analogue.word 3 2 u16"]), &[], 2 * SECONDS);
        heard.fault(code, words);
        assert!(heard.readings("analogue.x").is_empty(), "{channel}");
        heard.reads("analogue.word", 4660.0);
    }
    let nobody = far.play(&rig(16, &["analogue.x 3 0 u16"]), &[], SECONDS);
    nobody.fault(FaultCode::Timeout, "within 100 ms");
    assert!(nobody.readings("analogue.x").is_empty());
    let refused =
        far.play(&rig(17, &["analogue.word 3 2 u16", "sensor.x 6 99 u16"]), &[("sensor.x", 1.0)], SECONDS);
    assert!(!refused.told("sensor.x"));
    refused.fault(FaultCode::Device, "address");
}

/// Every sixth answer of register 30 comes after 150 ms, the patience ends after 100 ms.
#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn a_late_answer_is_never_taken_for_the_next() {
    let far = FarEnd::start("modbus_server.py");
    let heard = far.play(&rig(17, &["analogue.late 3 30 u16", "analogue.word 3 2 u16"]), &[], 2 * SECONDS);
    let stale = |e: &&InstrumentEvent| matches!(e, InstrumentEvent::Discarded { why: Discard::Stale, .. });
    let stale = heard.events.iter().filter(stale).count();
    assert!(stale >= 2, "{stale} late answers were thrown away");
    heard.reads("analogue.word", 4660.0);
    heard.reads("analogue.late", 7.0);
}

#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn check_shows_what_it_reads() {
    let far = FarEnd::start("modbus_server.py");
    let (code, found, said) = check(&far, &rig(17, &["analogue.word 3 2 u16", "analogue.input 4 0 u16"]));
    assert_eq!(code, Some(0), "{found} {said}");
    for (column, value) in [("analogue_word_v", 4660.0), ("analogue_input_v", 513.0)] {
        let seen = mean(&found, column).expect("readings");
        assert!((seen * SCALE - value).abs() < 1e-6, "{column}: {seen}");
    }
    let (code, found, said) = check(&far, &rig(16, &["analogue.float 3 0 f32"]));
    assert_eq!(code, Some(4), "{found} {said}");
    assert!(said.contains("TIMEOUT"), "{said}");
    assert_eq!(mean(&found, "analogue_float_v"), None);
}
