//! Exchanges with an instrument in good order: identity, readings, settings, the safe state, questions to a person.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Discard, Flag, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::script::rig::Scaling;
use std::time::Duration;
use wire_rig::*;

const LOGGER: &[(&str, &str)] =
    &[("*IDN?", "dutycup,virtual logger,L-0001,1.0\r\n"), ("MEAS? (@101,102)", "+1.250E+00,+5.0E-01\r\n")];

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
    rig.channels[0].scaling = Scaling { gain: 517.1068, offset: -258.5534 };
    rig.channels[1].delay_s = 0.001;
    let mut line = Line::answering(&rig, LOGGER);
    line.play(ms(1102));
    assert_eq!(line.ready_at(), Some(ms(102)));
    let InstrumentEvent::Ready { identity } = &line.events[0].1 else { panic!("{:?}", line.events[0]) };
    assert_eq!(identity.as_deref(), Some("dutycup,virtual logger,L-0001,1.0"));
    let polls: Vec<Moment> = line.sent[1..].iter().map(|(at, _)| *at).collect();
    let grid: Vec<Moment> = (0..=50).map(|k| ms(102 + 20 * k)).collect();
    assert_eq!(polls, grid, "every 20 ms, for both channels at once");
    assert_eq!(line.readings().len(), 100);
    let InstrumentEvent::Reading { value, raw, at, round_trip, .. } = line.events[1].1 else { panic!() };
    assert!((value - (1.25 * 517.1068 - 258.5534)).abs() < 1e-9 && (raw - 1.25).abs() < 1e-12);
    assert_eq!(
        (at, round_trip),
        (ms(103), Some(Duration::from_millis(2))),
        "the middle of request and answer"
    );
    let InstrumentEvent::Reading { at, .. } = line.events[2].1 else { panic!() };
    assert_eq!(at, ms(102), "less the channel's own delay");
    assert!(line.faults().is_empty());
}

#[test]
fn missed_slots_are_skipped() {
    let rig = rig(instrument(scpi(), None), vec![channel("supply", ask("MEAS:VOLT?", None, 0))]);
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
    let table =
        &[("ID?", "ID dutycup virtual driver 1.0\r\n"), ("S?", "S duty=44.97 on=1 estop=0 tripped=0\r\n")];
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
    assert_eq!(values, expected, "all but the one that came before the port was drained");
    let flags: Vec<Flag> = line
        .events
        .iter()
        .filter_map(|(_, e)| if let InstrumentEvent::Flag { flag, .. } = e { Some(*flag) } else { None })
        .collect();
    assert_eq!(flags[..3], [Flag::Moving, Flag::Stable, Flag::Moving]);
    let last = line.events.iter().rev().find_map(|(at, e)| match e {
        InstrumentEvent::Reading { at: taken, round_trip, .. } => Some((*at, *taken, *round_trip)),
        _ => None,
    });
    assert_eq!(last, Some((ms(950), ms(700), None)), "arrival less the delay of the scale's filter");
}

/// A pump driver with a setting, a heartbeat, a safe state and a query.
fn driver() -> dutycup::door::script::rig::Rig {
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
    assert_eq!(round_trips.next_back(), Some((ms(107), Some(Duration::from_millis(2)))));
}

#[test]
fn values_that_may_not_be_sent_are_refused() {
    let mut line = Line::answering(&driver(), DRIVER);
    line.play(ms(110));
    for (channel, value) in [(0, 100.1), (0, -0.1), (0, f64::NAN), (0, f64::INFINITY), (3, 1.0), (99, 1.0)] {
        let fault = line.instrument.tell(channel, value, ms(110)).unwrap_err();
        assert_eq!(fault.code, FaultCode::Config, "{channel} {value}");
    }
    line.play(ms(119));
    assert_eq!(line.commands(), ["ID?", "S?"]);
    line.instrument.port_lost(ms(119));
    assert_eq!(line.instrument.tell(0, 45.0, ms(119)).unwrap_err().code, FaultCode::ControlLost);
    assert_eq!(line.instrument.tell_urgent(2, 1.0, ms(119)).unwrap_err().code, FaultCode::ControlLost);
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
        assert!(line.sent[off..].iter().all(|(_, c)| !c.starts_with(['D', 'V'])), "{:?}", line.commands());
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
            if offs < 3 { vec![] } else { vec![(2, b"OK\r\n".to_vec())] }
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
fn the_acknowledgement_of_an_overtaken_setting_is_not_that_of_the_safe_state() {
    let mut line = Line::new(&driver(), |_, command| match command {
        "ID?" => vec![(2, b"ID dutycup virtual driver 1.0\r\n".to_vec())],
        "S?" => vec![(2, b"S duty=0.0\r\n".to_vec())],
        "D 45.00" => vec![(4, b"OK\r\n".to_vec())],
        _ => vec![(10, b"OK\r\n".to_vec())],
    });
    line.play(ms(105));
    line.instrument.tell(0, 45.0, ms(105)).unwrap();
    line.play(ms(106));
    line.instrument.tell_urgent(2, 1.0, ms(106)).unwrap();
    line.play(ms(119));
    assert_eq!(line.commands(), ["ID?", "S?", "D 45.00", "OFF"]);
    let told: Vec<_> = line
        .events
        .iter()
        .filter(|(_, e)| matches!(e, InstrumentEvent::Told { channel: 2, .. }))
        .map(|(at, _)| *at)
        .collect();
    assert_eq!(told, [ms(116)], "not at 109 ms, when the overtaken setting is acknowledged");
    assert_eq!(line.discarded(Discard::Stale), ["OK"]);
    assert!(line.faults().is_empty());
}
