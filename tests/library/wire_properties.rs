//! Properties of the wire dialects over seeded random bytes: the same result for every cut, agreement with the
//! standard library's number parser, and no panic on any bytes whatever.
//!
//! Never: a random number without a seed.

use dutycup::door::chance::*;
use dutycup::door::wire::line::{Lines, Piece};
use dutycup::door::wire::modbus::Request;
use dutycup::door::wire::number::{self, DecimalMark, NumberProblem};
use dutycup::door::wire::pattern::Pattern;
use dutycup::door::wire::template::Template;
use dutycup::door::wire::text::Capture;
use dutycup::door::wire::{Decoded, block, scpi};

/// Lines of bytes fed in pieces; the mark shows a line that was too long.
fn lines<'a>(pieces: impl IntoIterator<Item = &'a [u8]>) -> Vec<(bool, Vec<u8>)> {
    let mut splitter = Lines::default();
    let mut out = Vec::new();
    for piece in pieces {
        let mut input = piece;
        while let Some(found) = splitter.next(&mut input) {
            out.push(match found {
                Piece::Line(line) => (false, line.to_vec()),
                Piece::TooLong(line) => (true, line.to_vec()),
            });
        }
    }
    out.push((false, splitter.tail().to_vec()));
    out
}

/// Cuts `bytes` at random into pieces of up to `longest`.
fn cut<'a>(chance: &mut Stream, mut bytes: &'a [u8], longest: usize) -> Vec<&'a [u8]> {
    let mut pieces = Vec::new();
    while !bytes.is_empty() {
        let (piece, rest) = bytes.split_at(chance.random_range(0..=bytes.len().min(longest)));
        pieces.push(piece);
        bytes = rest;
    }
    pieces
}

/// Random bytes, half of them from `alphabet`.
fn noise(chance: &mut Stream, alphabet: &[u8], length: usize) -> Vec<u8> {
    let pick = |chance: &mut Stream| {
        if chance.random_range(0..2) == 0 {
            alphabet[chance.random_range(0..alphabet.len())]
        } else {
            chance.random_range(0..=255)
        }
    };
    (0..length).map(|_| pick(chance)).collect()
}

#[test]
fn lines_do_not_depend_on_cuts() {
    let mut chance = Seed(20).stream("cuts");
    for round in 0..400 {
        let longest = if round % 10 == 0 { 20_000 } else { 300 };
        let bytes = noise(&mut chance, b"ab\r\n", longest);
        let whole = lines([&bytes[..]]);
        let pieces = cut(&mut chance, &bytes, longest / 30);
        assert_eq!(lines(pieces), whole);
    }
    let unbroken: Vec<u8> = vec![b'x'; 30_000];
    let pieces = cut(&mut chance, &unbroken, 5_000);
    assert_eq!(lines(pieces), lines([&unbroken[..]]));
}

#[test]
fn numbers_agree_with_the_standard_parser_to_the_last_bit() {
    let mut chance = Seed(7).stream("numbers");
    for _ in 0..20_000 {
        let length = chance.random_range(0..60_u32);
        let digits: u64 = chance.random_range(0..=u64::MAX >> length);
        let power: i32 = chance.random_range(-320..=300);
        let decimals = (power % 9).unsigned_abs() as usize;
        for text in [format!("{digits}E{power}"), format!("-{:.*}", decimals, digits as f64 * 1e-6)] {
            let expected: f64 = text.parse().unwrap();
            match number::decimal(text.as_bytes(), DecimalMark::Point) {
                Ok(value) => assert_eq!(value.to_bits(), expected.to_bits(), "{text}"),
                Err(problem) => {
                    assert!(problem == NumberProblem::TooLarge && expected.is_infinite(), "{text}")
                }
            }
        }
    }
}

#[test]
fn an_altered_line_is_refused_or_read_but_never_upsets() {
    let pattern = Pattern::parse("m{value} {unit} {stable} {_}={seq}", DecimalMark::Point).unwrap();
    let mut chance = Seed(3).stream("bytes");
    let mut capture = Capture::default();
    let mut read = 0;
    for _ in 0..20_000 {
        let mut line = b"m+12.5 g stable x=12".to_vec();
        for _ in 0..chance.random_range(1..4) {
            let i = chance.random_range(0..line.len());
            match chance.random_range(0..3) {
                0 => line[i] = chance.random_range(0..=255),
                1 => drop(line.remove(i)),
                _ => line.insert(i, chance.random_range(0..=255)),
            }
        }
        if pattern.read(&line, &mut capture).is_ok() {
            assert_eq!(capture.values.len(), 1);
            read += 1;
        }
    }
    assert!((100..10_000).contains(&read), "{read} of 20,000 altered lines could be read");
}

#[test]
fn no_bytes_whatever_upset_a_parser() {
    let mut chance = Seed(11).stream("noise");
    let mut values = Vec::new();
    let requests = [
        Request::Read { input: false, address: 1, count: 2 },
        Request::Read { input: true, address: 0, count: u16::MAX },
        Request::WriteOne { address: 1, value: 2 },
        Request::WriteSome { address: 1, values: [1, 2], count: 2 },
    ];
    for _ in 0..50_000 {
        let length = chance.random_range(0..40);
        let bytes = noise(&mut chance, b"#0129,;\"'+-.eE{}[]:?*@() \x01\x03\x10", length);
        let text = String::from_utf8_lossy(&bytes);
        if let Ok(value) = number::decimal(&bytes, DecimalMark::Comma) {
            assert!(value.is_finite());
        }
        let _ = number::scpi(&bytes);
        let _ = scpi::numbers(&bytes, 3, &mut values);
        let _ = scpi::error_entry(&bytes);
        let _ = scpi::channel_count(&text);
        let _ = Pattern::parse(&text, DecimalMark::Point);
        let _ = Template::parse(&text);
        if let Decoded::Message { used, .. } = block::decode(&bytes) {
            assert!((1..=bytes.len()).contains(&used));
        }
        for request in &requests {
            match request.decode(1, &bytes) {
                Decoded::Message { used, .. } | Decoded::Bad { skip: used, .. } => {
                    assert!((1..=bytes.len()).contains(&used));
                }
                Decoded::NeedMore => {}
            }
        }
    }
}
