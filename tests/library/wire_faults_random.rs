//! Altered lines and random bytes at random moments: no reading that is not finite and within its range, no panic, no
//! endless wake.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::chance::*;
use dutycup::door::clock::Moment;
use dutycup::door::instrument::{Instrument, InstrumentEvent};
use dutycup::door::script::rig::Rig;
use std::time::Duration;
use wire_rig::*;

#[test]
fn an_altered_digit_is_refused_or_within_the_range() {
    // A text line has no checksum: a digit that turned into another digit shows only by the channel's range and by
    // the guard over rates of change. Every other alteration is refused.
    let good = b"m +123.4 g stable";
    let mut used = 0;
    for i in 0..good.len() {
        for byte in 0..=255_u8 {
            if matches!(byte, b'\r' | b'\n') {
                continue;
            }
            let mut text = good.to_vec();
            text[i] = byte;
            let mut rig = scale("m {value} {unit} {stable}");
            rig.channels[0].range = (-10.0, 500.0);
            let mut line = silent(&rig);
            line.arrive(ms(200), &[&text[..], b"\r\n"].concat());
            line.play(ms(250));
            for (_, value) in line.readings() {
                assert!((-10.0..=500.0).contains(&value));
                let in_number = (2..8).contains(&i) && (byte.is_ascii_digit() || b"+- \t.eE".contains(&byte));
                let same = (value - 123.4).abs() < 1e-9;
                assert!(in_number || same, "{} gave {value}", text.escape_ascii());
                used += usize::from(!same);
            }
        }
    }
    assert!((10..100).contains(&used), "{used} altered lines still read as another number within the range");
}

#[test]
fn no_bytes_at_any_time_upset_an_instrument() {
    let mut chance = Seed(34).stream("fuzz");
    let alphabet: &[u8] =
        b"S duty=m +123.4g stable over OK\r\nERR ID dutycup virtual driver,\"0#\x11\x03\x04";
    let (mut answered, mut faults) = (0, 0);
    for round in 0..600_u64 {
        let mut rigs: Vec<Rig> = dialects().into_iter().map(|(rig, ..)| rig).collect();
        let mut driver = polled(Some(ID));
        driver.channels.push(channel("pump_duty", tell("D {value:.2}", Some("OK"))));
        driver.channels.push(channel("safe_state", tell("OFF", Some("OK"))));
        driver.channels.push(channel("heartbeat", tell("B", Some("OK"))));
        driver.channels.push(channel("cup_mass", listen("m {value} {unit} {stable}")));
        rigs.push(driver);
        let rig = &rigs[round as usize % rigs.len()];
        let mut machine = Instrument::new(0, rig).unwrap();
        let (mut now, mut tx, mut events) = (Moment::START, Vec::new(), Vec::new());
        machine.start(now);
        for _ in 0..200 {
            now = now + Duration::from_micros(chance.random_range(0..30_000));
            if chance.random_range(0..3) == 0 {
                now = now.max(machine.wake().min(now + Duration::from_secs(1)));
            }
            tx.clear();
            match chance.random_range(0..10) {
                0..4 => {
                    let length = chance.random_range(0..40);
                    let bytes: Vec<u8> =
                        (0..length).map(|_| alphabet[chance.random_range(0..alphabet.len())]).collect();
                    machine.receive(now, &bytes, &mut events);
                }
                4 => machine.receive(now, &[chance.random_range(0..=255)], &mut events),
                5 => machine.receive(now, ID_LINE, &mut events),
                6 => machine.receive(now, b"S duty=1.5 on=1\r\nS duty=2\r\nOK\r\n", &mut events),
                7 => drop(machine.tell_urgent(chance.random_range(0..4), 1.0, now)),
                8 => drop(machine.tell(1, 20.0, now)),
                _ if chance.random_range(0..20) == 0 => machine.start(now),
                _ => {}
            }
            machine.advance(now, &mut tx, &mut events);
            assert!(
                tx.len() < 1000 && machine.wake() > now,
                "asked at {now:?} to be called at {:?}",
                machine.wake()
            );
        }
        for event in &events {
            match event {
                InstrumentEvent::Reading { value, raw, .. } => assert!(value.is_finite() && raw.is_finite()),
                InstrumentEvent::Fault(_) => faults += 1,
                _ => {}
            }
        }
        answered += machine.counts().answered;
    }
    assert!(answered > 100 && faults > 100, "{answered} answers, {faults} faults");
}
