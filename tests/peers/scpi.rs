//! SCPI against instruments simulated by PyVISA-sim: identity, number forms, values that are none, block data beside a
//! number, settings and the error queue.

use super::far_end::{FarEnd, check, mean};
use dutycup::door::problem::fault::FaultCode;
use std::time::Duration;

const SECONDS: Duration = Duration::from_secs(2);

/// A rig with the instrument and the given channels, each `role QUERY field` or `role COMMAND {value}`.
fn rig(expect: &str, channels: &[(&str, &str)]) -> String {
    let mut text = format!(
        "instruments: [{{name: meter, port: {{path: PORT, baud: 115200}}, dialect: scpi, \
         identity: {{ask: \"*IDN?\", expect: \"{expect}\"}}, reply_within: 200 ms}}]\nchannels:\n"
    );
    for (role, exchange) in channels {
        text += &format!(
            "  - {{role: {role}, instrument: meter, {exchange}, unit: V, range: [-30 V, 30 V]{}}}\n",
            if exchange.starts_with("ask") { ", every: 50 ms" } else { "" }
        );
    }
    text
}

#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn every_form_of_number_is_read() {
    let far = FarEnd::start("scpi_instrument.py");
    let heard = far.play(
        &rig(
            "simulated meter",
            &[
                ("analogue.nr1", "ask: {query: \"MEAS:COUN?\"}"),
                ("analogue.nr2", "ask: {query: \"MEAS:VOLT?\"}"),
                ("analogue.nr3", "ask: {query: \"MEAS:CURR?\"}"),
                ("analogue.first", "ask: {query: \"MEAS:ALL?\", field: 0}"),
                ("analogue.third", "ask: {query: \"MEAS:ALL?\", field: 2}"),
            ],
        ),
        &[],
        SECONDS,
    );
    assert_eq!(heard.identity(), Some("peer,simulated meter,M-0001,1.0"));
    assert!(heard.faults().is_empty(), "{:?}", heard.faults());
    for (role, value) in [
        ("analogue.nr1", 12.0),
        ("analogue.nr2", -12.345),
        ("analogue.nr3", 1.234_567_89e-2),
        ("analogue.first", 1.0),
        ("analogue.third", 25.0),
    ] {
        heard.reads(role, value);
    }
}

/// 9.91E+37 stands for "not a number" and 9.9E+37 for infinity (SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5).
#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn what_is_no_number_gives_no_reading() {
    let far = FarEnd::start("scpi_instrument.py");
    let heard = far.play(
        &rig(
            "simulated meter",
            &[
                ("analogue.over", "ask: {query: \"MEAS:OVER?\"}"),
                ("analogue.none", "ask: {query: \"MEAS:NONE?\"}"),
                ("analogue.block", "ask: {query: \"DATA?\", field: 1}"),
                ("analogue.nr1", "ask: {query: \"MEAS:COUN?\"}"),
            ],
        ),
        &[],
        2 * SECONDS,
    );
    for role in ["analogue.over", "analogue.none", "analogue.block"] {
        assert!(heard.readings(role).is_empty(), "{role}");
    }
    heard.fault(FaultCode::Range, "analogue.over");
    heard.fault(FaultCode::Frame, "DATA?");
    heard.reads("analogue.nr1", 12.0);
}

#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn settings_arrive_and_the_error_queue_is_read() {
    let far = FarEnd::start("scpi_instrument.py");
    let channels = [
        ("analogue.level", "ask: {query: \"VOLT?\"}"),
        ("supply_set", "tell: {command: \"VOLT {value:.3}\"}"),
        ("sensor.unknown", "tell: {command: \"LEVEL {value:.3}\"}"),
    ];
    let good = far.play(&rig("simulated meter", &channels), &[("supply_set", 13.8)], SECONDS);
    assert!(good.faults().is_empty(), "{:?}", good.faults());
    assert!(good.told("supply_set"));
    let seen = good.readings("analogue.level");
    assert_eq!((seen.first(), seen.last()), (Some(&1.0), Some(&13.8)), "{seen:?}");
    let bad = far.play(&rig("simulated meter", &channels), &[("sensor.unknown", 1.0)], SECONDS);
    bad.fault(FaultCode::Device, "Undefined header");
    assert!(!bad.told("sensor.unknown"));
    bad.reads("analogue.level", 13.8);
}

#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn check_identifies_it_and_refuses_another() {
    let far = FarEnd::start("scpi_instrument.py");
    let channels = [("analogue.nr2", "ask: {query: \"MEAS:VOLT?\"}")];
    let (code, found, said) = check(&far, &rig("peer,simulated meter", &channels));
    assert_eq!(code, Some(0), "{found} {said}");
    assert_eq!(found["instruments"][0]["identity"], "peer,simulated meter,M-0001,1.0");
    let seen = mean(&found, "analogue_nr2_v").expect("readings");
    assert!((seen + 12.345).abs() < 1e-9, "{seen}");
    let (code, found, said) = check(&far, &rig("another meter", &channels));
    assert_eq!(code, Some(4), "{found} {said}");
    assert!(said.contains("WRONG_DEVICE") && said.contains("simulated meter"), "{said}");
    assert_eq!(mean(&found, "analogue_nr2_v"), None, "nothing is read from it");
}

/// Nothing but whole commands of the rig leaves, each with one line end.
#[test]
#[ignore = "a far end that others wrote: tests/peers/requirements.txt"]
fn only_the_commands_of_the_rig_are_sent() {
    let far = FarEnd::start("scpi_instrument.py");
    let channels = [
        ("analogue.level", "ask: {query: \"VOLT?\"}"),
        ("supply_set", "tell: {command: \"VOLT {value:.3}\"}"),
    ];
    let heard = far.play(&rig("simulated meter", &channels), &[("supply_set", 12.0)], SECONDS);
    let sent = String::from_utf8(heard.sent).expect("ASCII");
    for line in sent.lines() {
        assert!(["*IDN?", "SYST:ERR?", "VOLT?", "VOLT 12.000"].contains(&line), "{line:?}");
    }
    assert_eq!(sent.matches("VOLT 12.000\n").count(), 1);
    assert!(sent.ends_with('\n'));
}
