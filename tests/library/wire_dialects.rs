//! What is particular to a dialect: the error queue of SCPI, registers, questions to a person; and what a dialect cannot
//! do.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Instrument, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::script::rig::{DialectSpec, ExchangeSpec, RegisterKind, Scaling};
use std::time::Duration;
use wire_rig::*;

#[test]
fn error_queue_after_each_setting() {
    let mut rig = rig(
        instrument(DialectSpec::Scpi { check_errors: true }, Some(("*IDN?", "virtual supply"))),
        vec![channel("supply_set", tell("VOLT {value:.3}", None))],
    );
    rig.channels[0].range = (0.0, 100.0);
    let mut queue = vec!["-350,\"Queue overflow\"", "-113,\"Undefined header\""];
    let mut line = Line::new(&rig, move |_, command| {
        if command == "VOLT 99.000" {
            queue.push("-222,\"Data out of range\"");
        }
        match command {
            "*IDN?" => vec![(1, b"dutycup,virtual supply,S-0001,1.0\n".to_vec())],
            "SYST:ERR?" => vec![(1, format!("{}\n", queue.pop().unwrap_or("0,\"No error\"")).into_bytes())],
            _ => vec![],
        }
    });
    line.play(ms(110));
    // Two old entries are read away before the instrument is ready, and blamed on nobody.
    assert_eq!(line.commands(), ["*IDN?", "SYST:ERR?", "SYST:ERR?", "SYST:ERR?"]);
    assert!(line.ready_at().is_some() && line.faults().is_empty());
    line.instrument.tell(0, 13.8, ms(110)).unwrap();
    line.play(ms(120));
    assert_eq!(line.told(), [(0, 13.8)]);
    line.instrument.tell(0, 99.0, ms(120)).unwrap();
    line.play(ms(130));
    assert_eq!(line.told(), [(0, 13.8)], "a refused setting is not told");
    let fault = line.faults()[0].1;
    assert_eq!(fault.code, FaultCode::Device);
    assert!(fault.seen.contains("-222") && fault.seen.contains("Data out of range"), "{fault}");
    assert_eq!(line.commands()[4..], ["VOLT 13.800", "SYST:ERR?", "VOLT 99.000", "SYST:ERR?", "SYST:ERR?"]);
}

#[test]
fn modbus_registers() {
    let register = |function, address, kind| ExchangeSpec::Register { function, address, kind };
    let mut rig = rig(
        instrument(DialectSpec::Modbus { unit: 17 }, None),
        vec![
            channel("line_pressure", register(3, 0x6B, RegisterKind::F32)),
            channel("pump_duty", register(6, 1, RegisterKind::U16)),
        ],
    );
    rig.channels[0].every = Duration::from_millis(50);
    // The register holds hundredths of a percent.
    rig.channels[1].scaling = Scaling { gain: 0.01, offset: 0.0 };
    // 42 C8 00 00 is 100.0 (table register_decode); checksums by the table's algorithm, CRC-16/MODBUS.
    let mut line = Line::new(&rig, |_, command| {
        let answer: &[u8] = match command {
            "11 03 00 6B 00 02 B7 47" => &[0x11, 0x03, 0x04, 0x42, 0xC8, 0x00, 0x00, 0x7E, 0x74],
            "11 06 00 01 00 03 9A 9B" => &[0x11, 0x06, 0x00, 0x01, 0x00, 0x03, 0x9A, 0x9B],
            other => panic!("{other}"),
        };
        // In two pieces, 1 ms apart.
        vec![(3, answer[..4].to_vec()), (4, answer[4..].to_vec())]
    });
    line.play(ms(103));
    line.instrument.tell(1, 0.03, ms(103)).unwrap();
    line.play(ms(120));
    assert_eq!(line.readings(), [(0, 100.0)]);
    assert_eq!(line.told(), [(1, 0.03)]);
    let gap = line.sent[1].0.since(ms(104));
    assert_eq!(
        gap,
        Duration::from_micros(1750),
        "3.5 characters of silence after an answer, above 19,200 baud"
    );
    assert_eq!(line.instrument.tell(1, 656.0, ms(120)).unwrap_err().code, FaultCode::Config);
    assert!(line.faults().is_empty());
}

#[test]
fn a_person_is_asked() {
    let mut rig = rig(
        instrument(DialectSpec::ByHand, None),
        vec![
            channel("cup_mass", ExchangeSpec::Operator { question: "Read the scale".into() }),
            channel("pump_duty", ExchangeSpec::Operator { question: "Set the duty to {value}.".into() }),
        ],
    );
    rig.channels[0].every = Duration::ZERO;
    let mut machine = Instrument::new(0, &rig).unwrap();
    let (mut tx, mut events) = (Vec::new(), Vec::new());
    machine.start(ms(0));
    machine.advance(ms(0), &mut tx, &mut events);
    assert_eq!(events, [InstrumentEvent::Ready { identity: None }]);
    events.clear();
    machine.request(0, ms(10));
    machine.advance(ms(10), &mut tx, &mut events);
    assert_eq!(events, [InstrumentEvent::Question { channel: 0, text: "Read the scale".into() }]);
    assert_eq!(machine.wake(), Moment::NEVER, "a person has no deadline");
    events.clear();
    for wrong in ["", "soon", "12", "12,5 g", "12 psi", "1.2.3 g"] {
        assert!(machine.answer(0, wrong, ms(20), &mut events).is_err(), "{wrong}");
    }
    assert!(machine.answer(1, "ok", ms(20), &mut events).is_err(), "not the open question");
    machine.answer(0, "0.5 kg", ms(30), &mut events).unwrap();
    assert!(
        matches!(events[..], [InstrumentEvent::Reading { channel: 0, value, at, .. }]
            if (value - 500.0).abs() < 1e-9 && at == ms(30)),
        "{events:?}"
    );
    events.clear();
    machine.tell(1, 40.0, ms(40)).unwrap();
    machine.advance(ms(40), &mut tx, &mut events);
    assert_eq!(events, [InstrumentEvent::Question { channel: 1, text: "Set the duty to 40 %.".into() }]);
    assert!(machine.answer(1, "no", ms(50), &mut events).is_err());
    machine.answer(1, "", ms(60), &mut events).unwrap();
    assert!(matches!(events[1..], [InstrumentEvent::Told { channel: 1, at, .. }] if at == ms(60)));
    assert!(tx.is_empty());
}

#[test]
fn what_a_dialect_cannot_do_is_said_all_at_once() {
    let mut rig = rig(
        instrument(DialectSpec::Text { line_end: ";".into(), decimal_comma: false }, Some(("ID?", " "))),
        vec![
            channel("supply", ask("V?", None, 0)),
            channel("duty", ask("S?", Some("S {valeu}"), 0)),
            channel("cup_mass", ask("W?", Some("m {value}"), 1)),
            channel("pump_duty", tell("D 45", None)),
            channel("solenoid", tell("V {value}\r\nARM", None)),
            channel("switch", ExchangeSpec::Register { function: 3, address: 0, kind: RegisterKind::U16 }),
            channel("tank_mass", listen("t {value}")),
        ],
    );
    rig.channels[2].every = Duration::ZERO;
    rig.channels[6].scaling.gain = 0.0;
    rig.channels[6].range = (1.0, 1.0);
    let problems = Instrument::new(0, &rig).unwrap_err();
    insta::assert_snapshot!(problems.to_string(), @r#"
    instrument device: ";" is not a line end
        expected CR LF, LF or CR

    instrument device: the text expected of the identity is empty

    instrument device: supply: the answer's pattern is missing
        expected a pattern such as `P {value} {unit}`

    instrument device: duty: a pattern has a field {valeu} that is not known
        did you mean {value}?

    instrument device: cup_mass: a sample period of 0
        expected a period such as "20 ms"

    instrument device: cup_mass: `m {value}` has no value number 1
        values are numbered from 0

    instrument device: pump_duty: `D 45` has no place for the value
        expected a command such as `D {value:.2}`

    instrument device: solenoid: a command holds the character \r
        expected a command such as `D {value:.2}`

    instrument device: switch cannot be read by a register in this dialect

    instrument device: tank_mass: scaling 0 x + 0 cannot be inverted

    instrument device: tank_mass: the range 1 to 1 is empty
    11 problems
    "#);
    assert!(Instrument::new(1, &rig).is_err());
}

#[test]
fn every_rig_of_the_house_can_be_spoken_to() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("rigs");
    let mut instruments = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "yaml") {
            continue;
        }
        let rig = dutycup::door::script::load_rig(&path).unwrap_or_else(|e| panic!("{e}"));
        for index in 0..rig.instruments.len() {
            Instrument::new(index, &rig).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            instruments += 1;
        }
    }
    assert!(instruments >= 10, "{instruments}");
}
