//! What goes wrong before an instrument is used: noise, restarts, silence, a wrong rate, stale data. Each test names the
//! fault it provokes.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::chance::*;
use dutycup::door::instrument::{Discard, limits};
use dutycup::door::problem::fault::FaultCode;
use std::time::Duration;
use wire_rig::*;

#[test]
fn wrong_device_noise_before_the_identity() {
    // Another program's modem probe, then a device that knows no such query.
    let mut line = Line::new(&polled(Some(ID)), |_, _| vec![(2, b"ERROR\r\n".to_vec())]);
    line.arrive(ms(1), b"AT\r\r\nERROR\r\n");
    line.play(ms(2000));
    assert_eq!(line.commands(), ["ID?"; 4], "asked once and three times again");
    assert_eq!(line.fault_codes(), [FaultCode::WrongDevice]);
    let fault = line.faults()[0].1;
    assert!(fault.seen.contains("ERROR") && fault.help.contains("virtual driver"), "{fault}");
    assert!(line.ready_at().is_none() && !line.instrument.is_ready());

    // The same noise before the right device does no harm.
    let mut line =
        Line::answering(&polled(Some(ID)), &[("ID?", "ERROR\r\nID dutycup virtual driver 1.0\r\n")]);
    line.arrive(ms(1), b"AT\r\r\nERROR\r\n");
    line.play(ms(115));
    assert_eq!(line.ready_at(), Some(ms(102)));
    assert!(line.faults().is_empty());
    assert_eq!(line.discarded(Discard::Early), ["AT\r\r\nERROR\r\n", "ERROR"]);
}

#[test]
fn a_device_that_restarts_when_its_port_opens() {
    for deaf_ms in [0, 800, 1500, 3000, 4500] {
        let mut rig = polled(Some(ID));
        rig.instruments[0].port.ready_within = Duration::from_secs(5);
        rig.channels.push(channel("pump_duty", tell("D {value:.2}", Some("OK"))));
        let mut line = Line::new(&rig, move |now, command| {
            let answer: &[u8] = match command {
                _ if now < ms(deaf_ms) => return vec![],
                "ID?" => ID_LINE,
                "S?" => b"S duty=0\r\n",
                _ => b"OK\r\n",
            };
            vec![(2, answer.to_vec())]
        });
        line.arrive(ms(20), b"\xff\x00boot v1.2\r\n");
        line.arrive(ms(deaf_ms.max(150)), b"starting up, please wait\r\n");
        line.play(ms(1));
        line.instrument.tell(1, 45.0, ms(1)).unwrap();
        line.play(ms(5200));
        let ready = line.ready_at().unwrap_or_else(|| panic!("deaf for {deaf_ms} ms"));
        assert!(ready <= ms(5200) && line.faults().is_empty(), "{:?}", line.faults());
        let first_other = line.sent.iter().position(|(_, c)| c != "ID?").unwrap();
        assert!(line.sent[first_other].0 >= ready && first_other <= 4, "nothing else is sent before");
        assert_eq!(line.told(), [(1, 45.0)]);
    }
}

#[test]
fn timeout_nothing_answers() {
    let mut line = silent(&polled(Some(ID)));
    line.play(ms(3000));
    assert_eq!(line.fault_codes(), [FaultCode::Timeout]);
    let (at, fault) = line.faults()[0];
    assert!(at <= ms(1000), "{at:?}");
    assert!(fault.help.contains("DTR"), "{fault}");
    assert_eq!(line.commands(), ["ID?"; 4]);
    // A port that comes back is identified anew.
    line.instrument.start(ms(3000));
    line.play(ms(3100));
    assert_eq!(line.commands().len(), 5);
}

#[test]
fn garbage_at_a_wrong_baud_rate() {
    for (pieces, gap_ms) in [(vec![10_000], 0), (vec![1; 400], 1), (vec![16; 100], 20), (vec![3; 40], 40)] {
        for identity in [Some(ID), None] {
            let mut chance = Seed(18).stream("garbage");
            let rig = rig(instrument(text(), identity), vec![channel("cup_mass", listen("m {value}"))]);
            let mut line = silent(&rig);
            let start = 150_u64;
            let mut sent = Vec::new();
            for (k, size) in pieces.iter().enumerate() {
                // Framing errors at a wrong rate give any byte, 0x00 and 0xFF often.
                let piece: Vec<u8> = (0..*size)
                    .map(|_| match chance.random_range(0..4) {
                        0 => 0x00,
                        1 => 0xFF,
                        _ => chance.random_range(0..=255),
                    })
                    .collect();
                let at = ms(start + k as u64 * gap_ms);
                line.arrive(at, &piece);
                sent.push((at, piece.len()));
            }
            line.play(ms(5000));
            let faults = line.faults();
            let (at, _) = faults.iter().find(|(_, f)| f.code == FaultCode::Garbage).expect("GARBAGE");
            let before: usize = sent.iter().take_while(|(t, _)| t < at).map(|(_, n)| n).sum();
            // A line that happens to look like text may add its length before it is known for what it is.
            assert!(
                at.since(ms(start)) <= limits::GARBAGE_WITHIN || before <= 256,
                "{at:?} after {before} bytes"
            );
            assert!(line.readings().is_empty());
            let garbage = line.fault_codes().iter().filter(|c| **c == FaultCode::Garbage).count();
            assert_eq!(garbage, 1, "said once: {faults:?}");
        }
    }
}

#[test]
fn stale_data_before_the_first_command() {
    // Answers and lines of an earlier session, some of them 50 ms after opening, one of them cut by the opening.
    let mut rig = scale("m {value} {unit} {stable}");
    rig.channels.push(channel("tank_mass", ask("W?", Some("w {value}"), 0)));
    let mut line = Line::new(&rig, |_, command| match command {
        "W?" => vec![(2, b"w 7.0\r\n".to_vec())],
        _ => vec![],
    });
    line.arrive(ms(0), b"w 1.0\r\nm +1.0 g stable\r\n");
    line.arrive(ms(50), b"w 2.0\r\nm +2.0 g stable\r\nm +3.");
    line.arrive(ms(101), b"5 g stable\r\nm +4.0 g stable\r\n");
    line.play(ms(115));
    assert_eq!(line.readings(), [(0, 4.0), (1, 7.0)]);
    let kept = line.discarded(Discard::Early);
    assert_eq!(kept, ["w 1.0\r\nm +1.0 g stable\r\n", "w 2.0\r\nm +2.0 g stable\r\nm +3."]);
}

#[test]
fn version_another_firmware_is_refused() {
    for (version, codes) in [("1.0", vec![]), ("2.1", vec![FaultCode::Version])] {
        let mut rig = polled(Some(ID));
        if let Some(identity) = &mut rig.instruments[0].identity {
            identity.version = Some(version.into());
        }
        let table = &[("ID?", "ID dutycup virtual driver 1.0\r\n"), ("S?", "S duty=0\r\n")];
        let mut line = Line::answering(&rig, table);
        line.play(ms(1000));
        assert_eq!(line.fault_codes(), codes, "{version}");
        assert_eq!(line.readings().is_empty(), !codes.is_empty(), "nothing is asked of another firmware");
    }
}
