//! What goes wrong with the form of what arrives: cuts, merged lines, line ends, endless lines, floods, echo. Each test
//! names the fault it provokes.
//!
//! In: a scripted line under scripted time. Never: a real port or real time.

use crate::wire_rig;
use dutycup::door::instrument::{Discard, InstrumentEvent, limits};
use dutycup::door::problem::fault::FaultCode;
use wire_rig::*;

#[test]
fn an_answer_cut_anywhere_is_the_same_answer() {
    for (rig, expected, answer) in dialects() {
        for first in 0..=answer.len() {
            for second in first..=answer.len() {
                let cut =
                    [answer[..first].to_vec(), answer[first..second].to_vec(), answer[second..].to_vec()];
                let mut line = Line::new(&rig, move |_, command| {
                    assert_eq!(command, expected);
                    cut.iter().zip([2, 3, 5]).map(|(piece, at)| (at, piece.clone())).collect()
                });
                line.play(ms(119));
                let values: Vec<f64> = line.readings().iter().map(|(_, v)| *v).collect();
                assert!(
                    matches!(values[..], [v] if (v - 44.97).abs() < 2e-6),
                    "{expected} cut {first}, {second}"
                );
                assert!(line.faults().is_empty() && line.instrument.counts().dropped_bytes == 0);
            }
        }
    }
}

#[test]
fn merged_lines_and_a_half_one() {
    let mut line = silent(&scale("m {value} {unit} {stable}"));
    let five: String = (1..=5).map(|k| format!("m +{k}.5 g stable\r\n")).collect();
    line.arrive(ms(200), format!("{five}m +6.5 g st").as_bytes());
    line.play(ms(250));
    assert_eq!(line.readings().len(), 5);
    line.arrive(ms(300), b"able\r\n");
    line.play(ms(350));
    assert_eq!(line.readings()[5], (0, 6.5));
    assert!(line.faults().is_empty());
}

#[test]
fn every_line_end_is_understood_and_none_is_a_timeout() {
    for end in ["\r", "\n", "\r\n", "\n\r"] {
        let mut line = polled_line(move |_, n| vec![(2, format!("S duty={n}{end}").into_bytes())]);
        line.play(ms(205));
        let expected: Vec<(usize, f64)> = (1..=6).map(|n| (0, f64::from(n))).collect();
        assert_eq!(line.readings(), expected, "{end:?}");
        assert!(line.faults().is_empty());
    }
    let mut line = polled_line(|_, _| vec![(2, b"S duty=\x0112.5".to_vec())]);
    line.play(ms(600));
    assert!(line.readings().is_empty());
    let (_, fault) = line.faults()[0];
    assert_eq!(fault.code, FaultCode::Timeout);
    assert!(fault.seen.contains("S duty=\\x0112.5"), "{fault}");
}

#[test]
fn frame_a_megabyte_without_a_line_end() {
    let mut line = silent(&scale("m {value}"));
    for k in 0..256_u64 {
        line.arrive(ms(200 + 40 * k), &[b'1'; 4096]);
    }
    line.arrive(ms(20_000), b"\r\nm 5.0\r\n");
    line.play(ms(20_100));
    let faults = line.faults();
    assert_eq!((faults[0].0, faults[0].1.code), (ms(240), FaultCode::Frame), "{:?}", faults[0]);
    assert_eq!(line.fault_codes().iter().filter(|c| **c == FaultCode::Frame).count(), 1);
    assert_eq!(line.readings(), [(0, 5.0)]);
    let kept: usize = line
        .events
        .iter()
        .map(|(_, e)| if let InstrumentEvent::Discarded { bytes, .. } = e { bytes.len() } else { 0 })
        .sum();
    assert!(kept <= 4 * limits::DISCARDED_BYTES_SHOWN_MAX, "{kept}");
}

#[test]
fn overrun_a_flood() {
    let mut line = silent(&scale("m {value} g"));
    // 1 MB/s for 3 s on a line that carries 11.5 kB/s.
    let piece = b"m 1.0 g\r\n".repeat(111);
    for k in 0..3000 {
        line.arrive(ms(200 + k), &piece);
    }
    line.play(ms(4000));
    assert_eq!(line.fault_codes(), [FaultCode::Overrun], "said once for the whole flood");
    let taken = line.readings().len() * 9;
    assert!(taken < 64 * 1024 + 4 * 3 * 11_520 + 4096, "{taken} bytes looked at");
    assert!(line.instrument.counts().dropped_bytes > 2_500_000);
    line.arrive(ms(8000), b"x\r\nm 2.0 g\r\n");
    line.play(ms(8001));
    assert_eq!(line.readings().last(), Some(&(0, 2.0)), "and it goes on after");
}

#[test]
fn echo_of_a_cooked_line() {
    let mut line = Line::answering(
        &polled(Some(ID)),
        &[("ID?", "ID?\r\nID dutycup virtual driver 1.0\r\n"), ("S?", "S?\r\nS duty=12\r\n")],
    );
    line.play(ms(110));
    assert_eq!(line.readings(), [(0, 12.0)]);
    assert_eq!(line.discarded(Discard::Echo), ["ID?", "S?"]);
    assert!(line.faults().is_empty());
    // Nothing but the echo: at the identity, and later. The identity's own query holds the expected text.
    let mut line = Line::answering(
        &polled(Some(("ID virtual driver?", "virtual driver"))),
        &[("ID virtual driver?", "ID virtual driver?\r\n")],
    );
    line.play(ms(3000));
    assert_eq!(line.fault_codes(), [FaultCode::Echo]);
    assert!(line.faults()[0].1.help.contains("echo"));
    let mut line = polled_line(|_, _| vec![(2, b"S?\r\n".to_vec())]);
    line.play(ms(600));
    assert_eq!(line.fault_codes()[0], FaultCode::Echo);
}
