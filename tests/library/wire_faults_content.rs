//! What an instrument says that is no reading: a restart, a refusal, no value, another unit, another decimal mark. Each
//! test names the fault it provokes.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::instrument::{Flag, InstrumentEvent};
use dutycup::door::problem::fault::FaultCode;
use dutycup::door::script::rig::{DialectSpec, ExchangeSpec, RegisterKind};
use wire_rig::*;

#[test]
fn device_rebooted_a_banner_in_mid_run() {
    for (banner, offset_ms) in
        [("ID dutycup virtual driver 1.0\r\n", 7), ("\0\0ID dutycup virtual driver 1.0\r\n", 1)]
    {
        let mut rig = polled(Some(ID));
        rig.channels.push(channel("pump_duty", tell("D {value:.2}", Some("OK"))));
        let mut line =
            Line::answering(&rig, &[("ID?", "ID dutycup virtual driver 1.0\r\n"), ("S?", "S duty=0\r\n")]);
        line.play(ms(2202 + offset_ms));
        line.instrument.tell(1, 45.0, line.now).unwrap();
        line.arrive(ms(2202 + offset_ms), banner.as_bytes());
        line.play(ms(2302));
        assert_eq!(line.fault_codes(), [FaultCode::DeviceRebooted]);
        assert!(line.faults()[0].0 <= ms(2302));
        let after =
            line.sent.iter().filter(|(at, c)| *at > ms(2203 + offset_ms) && c.starts_with('D')).count();
        assert_eq!(after, 0, "what was told before the restart is not sent after it");
        assert!(line.readings().len() > 100);
    }
}

#[test]
fn device_a_refused_command() {
    let mut rig = polled(Some(ID));
    rig.channels.push(channel("pump_duty", tell("D {value:.2}", Some("OK"))));
    let table = &[
        ("ID?", "ID dutycup virtual driver 1.0\r\n"),
        ("S?", "S duty=0\r\n"),
        ("D 45.00", "ERR tripped\r\n"),
    ];
    let mut line = Line::answering(&rig, table);
    line.play(ms(105));
    line.instrument.tell(1, 45.0, ms(105)).unwrap();
    line.play(ms(200));
    assert_eq!(line.fault_codes(), [FaultCode::Device]);
    assert!(line.faults()[0].1.seen.contains("ERR tripped") && line.faults()[0].1.seen.contains("D 45.00"));
    assert!(line.told().is_empty());
    assert_eq!(line.readings().len(), 5, "the queries go on");
}

#[test]
fn device_a_modbus_exception() {
    let register = ExchangeSpec::Register { function: 4, address: 0, kind: RegisterKind::U16 };
    let rig = rig(instrument(DialectSpec::Modbus { unit: 17 }, None), vec![channel("duty", register)]);
    let mut line = Line::new(&rig, |_, _| vec![(2, with_crc(vec![0x11, 0x84, 0x02, 0, 0]))]);
    line.play(ms(300));
    assert_eq!(line.fault_codes(), [FaultCode::Device], "said once until it answers again");
    assert!(line.faults()[0].1.seen.contains("illegal data address"));
    assert!(line.sent.len() >= 10, "no reply time is lost over it");
}

#[test]
fn frame_a_modbus_answer_with_any_bit_flipped_is_never_used() {
    let (rig, _, answer) = dialects().remove(2);
    for bit in 0..answer.len() * 8 {
        let mut bad = answer.clone();
        bad[bit / 8] ^= 1 << (bit % 8);
        let mut line = Line::new(&rig, move |_, _| vec![(2, bad.clone())]);
        line.play(ms(700));
        assert!(line.readings().is_empty(), "bit {bit}");
        let fault = line.faults()[0].1.clone();
        assert!(matches!(fault.code, FaultCode::Frame | FaultCode::Timeout), "bit {bit}: {fault}");
    }
}

#[test]
fn frame_another_number_of_values() {
    let rig = rig(instrument(scpi(), None), vec![channel("supply", ask("MEAS:VOLT?", None, 0))]);
    let mut line = Line::answering(&rig, &[("MEAS:VOLT?", "1.234,5\n")]);
    line.play(ms(600));
    assert!(line.readings().is_empty(), "never 1.234");
    assert_eq!(line.fault_codes()[0], FaultCode::Frame);
    assert!(line.faults()[0].1.seen.contains("2 values in place of 1"), "{}", line.faults()[0].1);
}

#[test]
fn frame_decimal_comma_and_thousands_mark() {
    for (declared, text, expected) in [
        (false, "m 1.234,5 g", None),
        (false, "m 1234,5 g", None),
        (true, "m 1.234,5 g", None),
        (true, "m 1234,5 g", Some(1234.5)),
        (true, "m 1234.5 g", None),
        (false, "m 1234.5 g", Some(1234.5)),
    ] {
        let dialect = || DialectSpec::Text { line_end: "\n".into(), decimal_comma: declared };
        for asked in [false, true] {
            let exchange =
                if asked { ask("W?", Some("m {value} {unit}"), 0) } else { listen("m {value} {unit}") };
            let rig = rig(instrument(dialect(), None), vec![channel("cup_mass", exchange)]);
            let mut line = Line::new(&rig, move |_, _| vec![(2, format!("{text}\r\n").into_bytes())]);
            if !asked {
                (0..5).for_each(|k| line.arrive(ms(200 + 100 * k), format!("{text}\r\n").as_bytes()));
            }
            line.play(ms(1000));
            let values: Vec<f64> = line.readings().iter().map(|(_, v)| *v).collect();
            match expected {
                Some(value) => {
                    assert!(values.len() >= 5 && values.iter().all(|v| (v - value).abs() < 1e-9), "{text}")
                }
                None => {
                    assert!(values.is_empty(), "{text} gave {values:?}");
                    assert_eq!(line.fault_codes()[0], FaultCode::Frame, "{text}");
                    assert!(line.faults()[0].0 <= ms(210), "said with the first such line");
                }
            }
        }
    }
}

#[test]
fn range_overload_and_everything_that_is_no_value() {
    for (line_text, flag) in [
        ("m over", Some(Flag::Over)),
        ("m under", Some(Flag::Under)),
        ("m OL g moving", Some(Flag::Moving)),
        ("m ------ g moving", Some(Flag::Moving)),
        ("m inf g stable", Some(Flag::Stable)),
        ("m nan g stable", Some(Flag::Stable)),
        ("m +999.9 g over", Some(Flag::Over)),
        ("m 4321.0 g stable", Some(Flag::Stable)),
    ] {
        let mut rig = scale("m {value} {unit} {stable}");
        rig.channels[0].range = (-100.0, 3000.0);
        let mut line = silent(&rig);
        for k in 0..5 {
            line.arrive(ms(200 + 100 * k), format!("{line_text}\r\n").as_bytes());
        }
        line.arrive(ms(800), b"m 12.0 g stable\r\n");
        line.arrive(ms(900), format!("{line_text}\r\n").as_bytes());
        line.play(ms(1000));
        assert_eq!(line.readings(), [(0, 12.0)], "{line_text}");
        assert_eq!(
            line.fault_codes(),
            [FaultCode::Range; 2],
            "{line_text}: once before the good reading, once after"
        );
        let first = line
            .events
            .iter()
            .find_map(|(_, e)| if let InstrumentEvent::Flag { flag, .. } = e { Some(*flag) } else { None });
        assert_eq!(first, flag, "{line_text}");
    }
    // SCPI: 9.9E37, -9.9E37 and 9.91E37 (SCPI-1999, by table scpi_numbers).
    for answer in ["9.9E37\n", "-9.9E37\n", "9.91E37\n", "+9.90000000E+37\n"] {
        let rig = rig(instrument(scpi(), None), vec![channel("supply", ask("MEAS:VOLT?", None, 0))]);
        let mut line = Line::new(&rig, move |_, _| vec![(2, answer.as_bytes().to_vec())]);
        line.play(ms(300));
        assert!(line.readings().is_empty());
        assert_eq!(line.fault_codes(), [FaultCode::Range]);
    }
}

#[test]
fn units_that_change_in_mid_run() {
    for (other, named) in [
        ("m 0.4 oz stable", "oz"),
        ("m 0:04.2 lb:oz stable", "lb:oz"),
        ("m 0.1 kg stable", "kg"),
        ("m 12.0 psi stable", "psi"),
    ] {
        let mut line = silent(&scale("m {value} {unit} {stable}"));
        line.arrive(ms(200), b"m 12.0 g stable\r\n");
        for k in 0..3 {
            line.arrive(ms(300 + 100 * k), format!("{other}\r\n").as_bytes());
        }
        line.arrive(ms(700), b"m 13.0 g stable\r\n");
        line.play(ms(1000));
        assert_eq!(line.readings(), [(0, 12.0), (0, 13.0)], "{other}");
        assert_eq!(line.fault_codes(), [FaultCode::Units], "{other}");
        let fault = line.faults()[0].1;
        assert!(fault.seen.contains(named) && fault.help.contains(" g"), "{fault}");
    }
}

#[test]
fn how_faults_read() {
    let mut all = Vec::new();
    let mut collect = |mut line: Line| {
        line.play(ms(1500));
        all.push(line.faults()[0].1.to_string());
    };
    collect(Line::new(&polled(Some(ID)), |_, _| vec![(2, b"\x1b[2JERROR\r\n".to_vec())]));
    collect(silent(&polled(Some(ID))));
    collect(silent(&polled(None)));
    collect(Line::new(&polled(None), |_, _| vec![(2, b"S duty=4\x00.5\r\n".to_vec())]));
    collect(Line::new(&polled(None), |_, _| vec![(2, b"S duty=45".to_vec())]));
    collect(Line::new(&polled(None), |_, _| vec![(2, b"ERR tripped\r\n".to_vec())]));
    let scale_shows = |text: &str| {
        let mut line = silent(&scale("m {value} {unit} {stable}"));
        line.arrive(ms(200), text.as_bytes());
        line
    };
    collect(scale_shows("m 4.2 oz stable\r\n"));
    collect(scale_shows("m 1.234,5 g stable\r\n"));
    collect(scale_shows("m over\r\n"));
    collect(scale_shows("m 12345678 g stable\r\n"));
    collect(scale_shows(&"\u{7f}".repeat(300)));
    insta::assert_snapshot!(all.join("\n"), @r#"
    WRONG_DEVICE (device): "\x1b[2JERROR" in answer to `ID?`, asked 4 times; expected an answer with "virtual driver"; see which port is which
    TIMEOUT (device): nothing answers to `ID?`, asked 4 times; check power, cable and baud rate; some devices need DTR or longer to start (ready_within)
    TIMEOUT (device, duty): no answer to `S?` within 100 ms, nor to a second request; check power and cable
    FRAME (device, duty): in answer to `S?`: "S duty=4\x00.5": more than the pattern has at character 9; compare the rig with what the instrument sends
    TIMEOUT (device, duty): only "S duty=45" in answer to `S?` within 100 ms; an answer ends with CR or LF: see what the instrument ends it with
    DEVICE (device, duty): "ERR tripped" in answer to `S?`; compare the command with the instrument's manual
    UNITS (device, cup_mass): the unit oz; set the instrument to g
    FRAME (device): "m 1.234,5 g stable": both comma and point; one of them may be a thousands mark at character 3; declare the decimal mark the instrument uses
    RANGE (device, cup_mass): the instrument shows overload; see whether the instrument is overloaded or its sensor open
    RANGE (device, cup_mass): 12345678 is outside the channel's range -1000000 to 1000000; see whether the instrument is overloaded or its sensor open
    GARBAGE (device): 300 bytes in a row that mean nothing; check baud rate, parity and wiring
    "#);
}
