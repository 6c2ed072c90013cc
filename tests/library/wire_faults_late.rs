//! Late, lost, dripping and repeated answers. None of them may be taken for the answer to another request.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Discard, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::script::rig::{DialectSpec, ExchangeSpec, RegisterKind, Rig};
use std::time::Duration;
use wire_rig::*;

/// A far end that answers each query with its number, the `late`-th of them `by_ms` later than the rest. It answers in
/// order: what is asked while an answer is late is answered after it.
fn numbered(rig: &Rig, late: u64, by_ms: u64) -> Line {
    let (mut n, mut busy) = (0_u64, Moment::START);
    Line::new(rig, move |now, command| {
        n += u64::from(command != "ID?");
        let late_by = if n == late && command != "ID?" { by_ms } else { 0 };
        busy = (now + Duration::from_millis(2 + late_by)).max(busy);
        let answer = match command {
            "ID?" => ID_LINE.to_vec(),
            "S?" => format!("S duty={n}\r\n").into_bytes(),
            "MEAS?" => format!("{n}\n").into_bytes(),
            _ => with_crc(vec![17, 4, 2, (n >> 8) as u8, n as u8, 0, 0]),
        };
        vec![(busy.since(now).as_micros().div_ceil(1000) as u64, answer)]
    })
}

#[test]
fn stale_a_late_answer_is_never_taken_for_the_next_one() {
    let register = ExchangeSpec::Register { function: 4, address: 8, kind: RegisterKind::U16 };
    let modbus = rig(instrument(DialectSpec::Modbus { unit: 17 }, None), vec![channel("duty", register)]);
    let scpi = rig(instrument(scpi(), None), vec![channel("duty", ask("MEAS?", None, 0))]);
    for (what, rig) in
        [("identity", polled(Some(ID))), ("text", polled(None)), ("scpi", scpi), ("modbus", modbus)]
    {
        for by_ms in (90..400).chain([600, 1000, 3000]) {
            let mut line = numbered(&rig, 5, by_ms);
            line.play(ms(4000));
            let mut queries = 0_u32;
            let mut current = Vec::new();
            for (at, command) in &line.sent {
                queries += u32::from(command != "ID?");
                current.push((*at, queries));
            }
            for (at, event) in &line.events {
                let InstrumentEvent::Reading { value, .. } = event else {
                    continue;
                };
                let asked = current.iter().rev().find(|(sent, _)| sent < at).map_or(0, |(_, n)| *n);
                let fresh = (value - f64::from(asked)).abs() < 1e-9;
                // Modbus read answers carry nothing that tells them apart: an answer later than the silence, the
                // discarded request and its reply time together cannot be known. That is three reply times.
                let beyond = what != "identity" && by_ms > 3 * REPLY_MS;
                assert!(fresh || beyond, "{what}, {by_ms} ms late: answer {value} to request {asked}");
            }
            let counts = line.instrument.counts();
            if by_ms > REPLY_MS && by_ms < 3000 {
                assert!(counts.stale >= 1, "{what}, {by_ms} ms late: {counts:?}");
                assert!(counts.resyncs >= 1);
            }
            if by_ms <= 98 {
                assert_eq!(counts.missed, 0, "{what}, {by_ms} ms late");
            }
            if by_ms < 240 {
                assert!(line.faults().is_empty(), "{what}, {by_ms} ms late: {:?}", line.faults());
            }
        }
    }
}

#[test]
fn resynchronising_takes_at_most_two_requests() {
    // One answer is lost; then the instrument works again.
    for (identity, at_most_ms) in [(Some(ID), 160), (None, 310)] {
        let mut n = 0;
        let mut line = Line::new(&polled(identity), move |_, command| {
            n += u32::from(command == "S?");
            match command {
                "ID?" => vec![(2, ID_LINE.to_vec())],
                _ if n == 3 => vec![],
                _ => vec![(2, format!("S duty={n}\r\n").into_bytes())],
            }
        });
        line.play(ms(1000));
        assert!(line.faults().is_empty(), "one lost answer is no fault");
        let lost = line.sent.iter().filter(|(_, c)| c == "S?").nth(2).unwrap().0;
        let back = line
            .events
            .iter()
            .find(|(at, e)| *at > lost && matches!(e, InstrumentEvent::Reading { .. }))
            .unwrap();
        let between = line.sent.iter().filter(|(at, _)| *at > lost && *at < back.0).count();
        assert!(between <= 2, "{between} requests, the repeated one included");
        assert!(back.0.since(lost) <= Duration::from_millis(at_most_ms), "{:?}", back.0.since(lost));
    }
}

#[test]
fn timeout_a_device_that_falls_silent() {
    for identity in [Some(ID), None] {
        let mut line = Line::new(&polled(identity), |now, command| match command {
            _ if now > ms(500) => vec![],
            "ID?" => vec![(2, ID_LINE.to_vec())],
            _ => vec![(2, b"S duty=1\r\n".to_vec())],
        });
        line.play(ms(3000));
        let (at, fault) = line.faults()[0];
        assert_eq!(fault.code, FaultCode::Timeout);
        assert!(at <= ms(500 + 20 + 350), "{at:?}");
        assert!(fault.seen.contains("S?") && fault.who.contains("duty"), "{fault}");
        assert!(line.faults().len() <= 20, "a dead line does not flood the events");
    }
}

#[test]
fn timeout_a_drip_does_not_extend_the_deadline() {
    let drip: Vec<(u64, Vec<u8>)> =
        b"S duty=12.5\r\n".iter().enumerate().map(|(k, b)| (109 * (k as u64 + 1), vec![*b])).collect();
    let mut line =
        polled_line(move |_, n| if n == 2 { drip.clone() } else { vec![(2, b"S duty=1\r\n".to_vec())] });
    line.play(ms(2500));
    let second = line.sent.iter().filter(|(_, c)| c == "S?").nth(1).unwrap().0;
    let next = line.sent.iter().find(|(at, _)| *at > second).unwrap().0;
    assert!(next.since(second) <= Duration::from_millis(REPLY_MS * 2), "{:?}", next.since(second));
    assert!(line.readings().iter().all(|(_, v)| (v - 1.0).abs() < 1e-12), "what dripped is never used");
}

#[test]
fn a_slow_but_valid_answer_is_taken() {
    let mut line = polled_line(|_, _| vec![(REPLY_MS * 9 / 10, b"S duty=12.5\r\n".to_vec())]);
    line.play(ms(1000));
    assert!(line.readings().len() >= 8 && line.faults().is_empty());
    assert!(line.events.iter().any(|(_, e)| matches!(e, InstrumentEvent::Reading { round_trip: Some(t), .. } if *t == Duration::from_millis(90))));
}

#[test]
fn duplicated_and_reordered_samples_are_dropped_by_their_counter() {
    let mut line = silent(&scale("n={seq} m={value}"));
    for (k, n) in [7, 8, 8, 9, 11, 10, 11, 12, 3000, 1].into_iter().enumerate() {
        line.arrive(ms(200 + 10 * k as u64), format!("n={n} m={n}.5\r\n").as_bytes());
    }
    line.play(ms(1000));
    let values: Vec<f64> = line.readings().iter().map(|(_, v)| *v).collect();
    assert_eq!(values, [7.5, 8.5, 9.5, 11.5, 12.5, 3000.5, 1.5], "3000 and 1: the counter started anew");
    assert_eq!(line.instrument.counts().duplicates, 3);
}

#[test]
fn a_repeated_answer_brings_the_instrument_back_into_step() {
    // Each answer comes twice, the second time while nothing is awaited.
    let mut line = polled_line(|_, n| {
        let answer = format!("S duty={n}\r\n").into_bytes();
        if n == 4 { vec![(2, answer.clone()), (9, answer)] } else { vec![(2, answer)] }
    });
    line.play(ms(500));
    let values: Vec<f64> = line.readings().iter().map(|(_, v)| *v).collect();
    let expected: Vec<f64> = (1..=values.len()).map(|n| n as f64).collect();
    assert_eq!(values, expected);
    assert_eq!(line.discarded(Discard::Unasked), ["S duty=4"]);
    assert_eq!(line.instrument.counts().resyncs, 1);
    assert!(line.faults().is_empty());
}

#[test]
fn an_answer_seen_too_late_is_stale_even_if_nobody_looked_at_the_clock() {
    // The loop was held up: request at 102 ms, nothing was advanced until an answer of unknown age is seen at 260 ms.
    let rig = polled(Some(ID));
    let mut machine = dutycup::door::instrument::Instrument::new(0, &rig).unwrap();
    let (mut tx, mut events) = (Vec::new(), Vec::new());
    machine.start(ms(0));
    machine.advance(ms(100), &mut tx, &mut events);
    machine.receive(ms(101), ID_LINE, &mut events);
    machine.advance(ms(102), &mut tx, &mut events);
    assert!(tx.ends_with(b"S?\n"));
    machine.receive(ms(260), b"S duty=5\r\n", &mut events);
    assert!(!events.iter().any(|e| matches!(e, InstrumentEvent::Reading { .. })), "{events:?}");
    assert_eq!(machine.counts().stale, 1);
}

#[test]
fn shared_port_answers_that_somebody_else_reads() {
    // Each tenth answer goes to somebody else and comes when asked again.
    let mut line = polled_line(|_, n| match n % 10 {
        0 => vec![],
        _ => vec![(2, b"S duty=0\r\n".to_vec())],
    });
    line.play(ms(4000));
    assert_eq!(line.fault_codes().first(), Some(&FaultCode::SharedPort));
    assert!(line.readings().len() > 30);
    // One lost answer now and then is none.
    let mut line = polled_line(|_, n| match n % 200 {
        0 => vec![],
        _ => vec![(2, b"S duty=0\r\n".to_vec())],
    });
    line.play(ms(30_000));
    assert_eq!(line.fault_codes(), []);
}
