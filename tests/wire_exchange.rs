//! Exchanges with an instrument in good order: identity, readings, settings, the safe state, questions to a person.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

mod wire_rig;

use dutycup::clock::Moment;
use dutycup::instrument::{Flag, Instrument, InstrumentEvent};
use dutycup::problem::fault::FaultCode;
use dutycup::script::rig::{DialectSpec, ExchangeSpec, RegisterKind, Scaling};
use std::time::Duration;
use wire_rig::*;

const LOGGER: &[(&str, &str)] = &[
    ("*IDN?", "dutycup,virtual logger,L-0001,1.0\r\n"),
    ("MEAS? (@101,102)", "+1.250E+00,+5.0E-01\r\n"),
];

#[test]
fn scpi_channels_share_a_query_and_keep_a_grid() {
    let mut rig = rig(
        instrument(scpi(), Some(("*IDN?", "virtual logger"))),
        vec![
            channel("line_pressure", ask("MEAS? (@101,102)", None, 0)),
            channel("back_pressure", ask("MEAS? (@101,102)", None, 1)),
        ],
    );
    // 0.5 to 4.5 V over 0 to 300 psi.
    rig.channels[0].scaling = Scaling {
        gain: 517.1068,
        offset: -258.5534,
    };
    rig.channels[1].delay_s = 0.001;
    let mut line = Line::answering(&rig, LOGGER);
    line.play(ms(1102));
    assert_eq!(line.ready_at(), Some(ms(102)));
    let InstrumentEvent::Ready { identity } = &line.events[0].1 else {
        panic!("{:?}", line.events[0])
    };
    assert_eq!(identity.as_deref(), Some("dutycup,virtual logger,L-0001,1.0"));
    let polls: Vec<Moment> = line.sent[1..].iter().map(|(at, _)| *at).collect();
    let grid: Vec<Moment> = (0..=50).map(|k| ms(102 + 20 * k)).collect();
    assert_eq!(polls, grid, "every 20 ms, for both channels at once");
    assert_eq!(line.readings().len(), 100);
    let InstrumentEvent::Reading {
        value,
        raw,
        at,
        round_trip,
        ..
    } = line.events[1].1
    else {
        panic!()
    };
    assert!((value - (1.25 * 517.1068 - 258.5534)).abs() < 1e-9 && (raw - 1.25).abs() < 1e-12);
    assert_eq!(
        (at, round_trip),
        (ms(103), Some(Duration::from_millis(2))),
        "the middle of request and answer"
    );
    let InstrumentEvent::Reading { at, .. } = line.events[2].1 else {
        panic!()
    };
    assert_eq!(at, ms(102), "less the channel's own delay");
    assert!(line.faults().is_empty());
}

#[test]
fn missed_slots_are_skipped() {
    let rig = rig(
        instrument(scpi(), None),
        vec![channel("supply", ask("MEAS:VOLT?", None, 0))],
    );
    // The third answer takes 70 ms: one query makes up for the slots at 160, 180 and 200, then the grid goes on.
    let mut n = 0;
    let mut line = Line::new(&rig, move |_, _| {
        n += 1;
        vec![(if n == 3 { 70 } else { 2 }, b"13.8\n".to_vec())]
    });
    line.play(ms(265));
    let at: Vec<u64> = line.sent.iter().map(|(at, _)| at.as_ns() / 1_000_000).collect();
    assert_eq!(at, [100, 120, 140, 210, 220, 240, 260]);
    assert!(line.faults().is_empty());
}

#[test]
fn text_lines_with_several_values() {
    let pattern = Some("S duty={value} on={value} estop={value} tripped={value}");
    let rig = rig(
        instrument(text(), Some(("ID?", "virtual driver"))),
        vec![
            channel("duty", ask("S?", pattern, 0)),
            channel("output_on", ask("S?", pattern, 1)),
            channel("emergency_stop", ask("S?", pattern, 2)),
        ],
    );
    let table = &[
        ("ID?", "ID dutycup virtual driver 1.0\r\n"),
        ("S?", "S duty=44.97 on=1 estop=0 tripped=0\r\n"),
    ];
    let mut line = Line::answering(&rig, table);
    line.play(ms(110));
    assert_eq!(line.readings(), [(0, 44.97), (1, 1.0), (2, 0.0)]);
    assert_eq!(line.commands(), ["ID?", "S?"]);
}

#[test]
fn a_scale_that_speaks_by_itself() {
    let mut rig = rig(
        instrument(text(), Some(("ID?", "virtual scale"))),
        vec![channel("cup_mass", listen("m {value} {unit} {stable}"))],
    );
    rig.channels[0].delay_s = 0.25;
    let mut line = Line::answering(&rig, &[("ID?", "ID dutycup virtual scale 1.0\r\n")]);
    for k in 0..10_u64 {
        let word = if k % 2 == 0 { "stable" } else { "moving" };
        line.arrive(ms(50 + 100 * k), format!("m +12{k}.4 g {word}\r\n").as_bytes());
    }
    line.play(ms(1000));
    assert_eq!(line.commands(), ["ID?"]);
    let values: Vec<f64> = line.readings().into_iter().map(|(_, v)| v).collect();
    let expected: Vec<f64> = (1..10).map(|k| 120.4 + f64::from(k)).collect();
    assert_eq!(
        values, expected,
        "all but the one that came before the port was drained"
    );
    let flags: Vec<Flag> = line
        .events
        .iter()
        .filter_map(|(_, e)| {
            if let InstrumentEvent::Flag { flag, .. } = e {
                Some(*flag)
            } else {
                None
            }
        })
        .collect();
    assert_eq!(flags[..3], [Flag::Moving, Flag::Stable, Flag::Moving]);
    let last = line.events.iter().rev().find_map(|(at, e)| match e {
        InstrumentEvent::Reading {
            at: taken,
            round_trip,
            ..
        } => Some((*at, *taken, *round_trip)),
        _ => None,
    });
    assert_eq!(
        last,
        Some((ms(950), ms(700), None)),
        "arrival less the delay of the scale's filter"
    );
}

/// A pump driver with a setting, a heartbeat, a safe state and a query.
fn driver() -> dutycup::script::rig::Rig {
    let mut rig = rig(
        instrument(text(), Some(("ID?", "virtual driver"))),
        vec![
            channel("pump_duty", tell("D {value:.2}", Some("OK"))),
            channel("heartbeat", tell("B", Some("OK"))),
            channel("safe_state", tell("OFF", Some("OK"))),
            channel("duty", ask("S?", Some("S duty={value}"), 0)),
            channel("solenoid", tell("V {value:.0}", Some("OK"))),
        ],
    );
    rig.channels[0].range = (0.0, 100.0);
    rig
}

const DRIVER: &[(&str, &str)] = &[
    ("ID?", "ID dutycup virtual driver 1.0\r\n"),
    ("D 45.00", "OK\r\n"),
    ("D 50.00", "OK\r\n"),
    ("V 1", "OK\r\n"),
    ("B", "OK\r\n"),
    ("OFF", "OK\r\n"),
    ("S?", "S duty=0.0\r\n"),
];

#[test]
fn settings_are_sent_in_order_and_newer_ones_replace_unsent_older_ones() {
    let mut line = Line::answering(&driver(), DRIVER);
    line.play(ms(103));
    let now = line.now;
    for (channel, value) in [(0, 40.0), (4, 1.0), (0, 45.0)] {
        line.instrument.tell(channel, value, now).unwrap();
    }
    assert!(!line.instrument.is_idle());
    line.play(ms(115));
    assert_eq!(line.commands(), ["ID?", "S?", "D 45.00", "V 1"]);
    assert_eq!(line.told(), [(0, 45.0), (4, 1.0)]);
    assert!(line.instrument.is_idle());
    let mut round_trips = line.events.iter().filter_map(|(_, e)| match e {
        InstrumentEvent::Told { at, round_trip, .. } => Some((*at, *round_trip)),
        _ => None,
    });
    assert_eq!(
        round_trips.next_back(),
        Some((ms(107), Some(Duration::from_millis(2))))
    );
}

#[test]
fn values_that_may_not_be_sent_are_refused() {
    let mut line = Line::answering(&driver(), DRIVER);
    line.play(ms(110));
    for (channel, value) in [
        (0, 100.1),
        (0, -0.1),
        (0, f64::NAN),
        (0, f64::INFINITY),
        (3, 1.0),
        (99, 1.0),
    ] {
        let fault = line.instrument.tell(channel, value, ms(110)).unwrap_err();
        assert_eq!(fault.code, FaultCode::Config, "{channel} {value}");
    }
    line.play(ms(119));
    assert_eq!(line.commands(), ["ID?", "S?"]);
    line.instrument.port_lost(ms(119));
    assert_eq!(
        line.instrument.tell(0, 45.0, ms(119)).unwrap_err().code,
        FaultCode::ControlLost
    );
    assert_eq!(
        line.instrument.tell_urgent(2, 1.0, ms(119)).unwrap_err().code,
        FaultCode::ControlLost
    );
    assert_eq!(line.instrument.wake(), Moment::NEVER);
}

#[test]
fn a_heartbeat_goes_before_queries_and_settings() {
    let mut line = Line::answering(&driver(), DRIVER);
    line.play(ms(119));
    line.instrument.tell(0, 45.0, ms(119)).unwrap();
    line.instrument.tell_urgent(1, 1.0, ms(119)).unwrap();
    line.play(ms(125));
    assert_eq!(line.commands()[2..], ["B", "D 45.00", "S?"]);
}

#[test]
fn settings_do_not_starve_queries() {
    let mut line = Line::answering(&driver(), DRIVER);
    line.play(ms(104));
    for k in 0..500_u64 {
        let value = if k % 2 == 0 { 45.0 } else { 50.0 };
        let now = line.now;
        line.instrument.tell(0, value, now).unwrap();
        line.play(ms(105 + k));
    }
    let polls = line.commands().iter().filter(|c| **c == "S?").count();
    assert!((24..=26).contains(&polls), "{polls} queries in half a second");
}

#[test]
fn the_safe_state_overtakes_everything() {
    // Wherever in time it falls, the safe state leaves at that moment, and no setting follows it.
    for at_us in (100_000..125_000).step_by(250) {
        let mut line = Line::answering(&driver(), DRIVER);
        let at = Moment::from_ns(at_us * 1000);
        line.play(ms(103).min(at));
        line.instrument.tell(0, 45.0, ms(103)).unwrap();
        line.instrument.tell(4, 1.0, ms(103)).unwrap();
        line.play(at);
        line.instrument.tell(0, 50.0, at).unwrap();
        line.instrument.tell_urgent(2, 1.0, at).unwrap();
        assert!(line.instrument.wake() <= at);
        line.play(at + Duration::from_millis(300));
        let off = line.sent.iter().position(|(_, c)| c == "OFF").unwrap();
        assert_eq!(line.sent[off].0, at, "sent at once");
        assert!(
            line.sent[off..].iter().all(|(_, c)| !c.starts_with(['D', 'V'])),
            "{:?}",
            line.commands()
        );
        if line.ready_at().unwrap() <= at {
            assert_eq!(line.told().last(), Some(&(2, 1.0)), "acknowledged, at {at_us} us");
        }
        assert!(line.faults().is_empty(), "at {at_us} us: {:?}", line.faults());
        let status = line.readings();
        assert!(status.iter().all(|r| *r == (3, 0.0)) && status.len() >= 10);
    }
}

#[test]
fn the_safe_state_is_repeated_until_it_is_acknowledged() {
    let mut offs = 0;
    let mut line = Line::new(&driver(), move |_, command| match command {
        "ID?" => vec![(2, b"ID dutycup virtual driver 1.0\r\n".to_vec())],
        "S?" => vec![(2, b"S duty=0.0\r\n".to_vec())],
        "OFF" => {
            offs += 1;
            if offs < 3 {
                vec![]
            } else {
                vec![(2, b"OK\r\n".to_vec())]
            }
        }
        _ => vec![],
    });
    line.play(ms(110));
    line.instrument.tell_urgent(2, 1.0, ms(110)).unwrap();
    line.play(ms(400));
    assert_eq!(line.commands().iter().filter(|c| **c == "OFF").count(), 3);
    assert_eq!(line.told(), [(2, 1.0)]);
    assert_eq!(line.fault_codes(), [FaultCode::Timeout, FaultCode::Timeout]);
    assert!(line.faults()[0].1.help.contains("12 V"));
}

#[test]
fn error_queue_after_each_setting() {
    let mut rig = rig(
        instrument(
            DialectSpec::Scpi { check_errors: true },
            Some(("*IDN?", "virtual supply")),
        ),
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
            "SYST:ERR?" => vec![(
                1,
                format!("{}\n", queue.pop().unwrap_or("0,\"No error\"")).into_bytes(),
            )],
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
    assert!(
        fault.seen.contains("-222") && fault.seen.contains("Data out of range"),
        "{fault}"
    );
    assert_eq!(
        line.commands()[4..],
        [
            "VOLT 13.800",
            "SYST:ERR?",
            "VOLT 99.000",
            "SYST:ERR?",
            "SYST:ERR?"
        ]
    );
}

#[test]
fn modbus_registers() {
    let register = |function, address, kind| ExchangeSpec::Register {
        function,
        address,
        kind,
    };
    let mut rig = rig(
        instrument(DialectSpec::Modbus { unit: 17 }, None),
        vec![
            channel("line_pressure", register(3, 0x6B, RegisterKind::F32)),
            channel("pump_duty", register(6, 1, RegisterKind::U16)),
        ],
    );
    rig.channels[0].every = Duration::from_millis(50);
    // The register holds hundredths of a percent.
    rig.channels[1].scaling = Scaling {
        gain: 0.01,
        offset: 0.0,
    };
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
    assert_eq!(
        line.instrument.tell(1, 656.0, ms(120)).unwrap_err().code,
        FaultCode::Config
    );
    assert!(line.faults().is_empty());
}

#[test]
fn a_person_is_asked() {
    let mut rig = rig(
        instrument(DialectSpec::ByHand, None),
        vec![
            channel(
                "cup_mass",
                ExchangeSpec::Operator {
                    question: "Read the scale".into(),
                },
            ),
            channel(
                "pump_duty",
                ExchangeSpec::Operator {
                    question: "Set the duty to {value:.0} %".into(),
                },
            ),
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
    assert_eq!(
        events,
        [InstrumentEvent::Question {
            channel: 0,
            text: "Read the scale".into()
        }]
    );
    assert_eq!(machine.wake(), Moment::NEVER, "a person has no deadline");
    events.clear();
    for wrong in ["", "soon", "12,5 g", "12 psi", "1.2.3 g"] {
        assert!(machine.answer(0, wrong, ms(20), &mut events).is_err(), "{wrong}");
    }
    assert!(
        machine.answer(1, "ok", ms(20), &mut events).is_err(),
        "not the open question"
    );
    machine.answer(0, "0.5 kg", ms(30), &mut events).unwrap();
    assert!(
        matches!(events[..], [InstrumentEvent::Reading { channel: 0, value, at, .. }]
            if (value - 500.0).abs() < 1e-9 && at == ms(30)),
        "{events:?}"
    );
    events.clear();
    machine.tell(1, 40.0, ms(40)).unwrap();
    machine.advance(ms(40), &mut tx, &mut events);
    assert_eq!(
        events,
        [InstrumentEvent::Question {
            channel: 1,
            text: "Set the duty to 40 %".into()
        }]
    );
    assert!(machine.answer(1, "no", ms(50), &mut events).is_err());
    machine.answer(1, "", ms(60), &mut events).unwrap();
    assert!(matches!(events[1..], [InstrumentEvent::Told { channel: 1, at, .. }] if at == ms(50)));
    assert!(tx.is_empty());
}

#[test]
fn what_a_dialect_cannot_do_is_said_all_at_once() {
    let mut rig = rig(
        instrument(
            DialectSpec::Text {
                line_end: ";".into(),
                decimal_comma: false,
            },
            Some(("ID?", " ")),
        ),
        vec![
            channel("supply", ask("V?", None, 0)),
            channel("duty", ask("S?", Some("S {valeu}"), 0)),
            channel("cup_mass", ask("W?", Some("m {value}"), 1)),
            channel("pump_duty", tell("D 45", None)),
            channel("solenoid", tell("V {value}\r\nARM", None)),
            channel(
                "switch",
                ExchangeSpec::Register {
                    function: 3,
                    address: 0,
                    kind: RegisterKind::U16,
                },
            ),
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
