//! The wire dialects against tables from outside: IEEE 488.2 and SCPI-1999 rules, the Modbus specifications and
//! the CRC catalogue. Each table names its source in a column, or it is named beside the check.
//!
//! In: `reference/protocol/*.csv`. Never: a number computed by the code under test.

use dutycup::door::wire::modbus::{self, Request, Response};
use dutycup::door::wire::number::{self, DecimalMark, Numeric};
use dutycup::door::wire::register::Kind;
use dutycup::door::wire::{Decoded, block, scpi, uart};

/// The rows of a table, each as the texts of the named columns.
fn table<const N: usize>(name: &str, columns: [&str; N]) -> Vec<[String; N]> {
    let path = format!("{}/tests/reference/protocol/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let header = reader.headers().expect("a header line").clone();
    let at = columns
        .map(|c| header.iter().position(|h| h == c).unwrap_or_else(|| panic!("{path}: no column {c}")));
    let rows: Vec<_> =
        reader.records().map(|r| at.map(|i| r.as_ref().expect("a row")[i].to_owned())).collect();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace().map(|b| u8::from_str_radix(b, 16).expect("two hex digits")).collect()
}

#[test]
fn modbus_checksums() {
    for [id, data, crc, wire] in
        table("modbus_crc", ["case_id", "bytes_hex", "crc16_modbus_hex", "wire_low_byte_first_hex"])
    {
        let found = modbus::crc16(&bytes(&data));
        assert_eq!(format!("{found:04X}"), crc, "{id}");
        assert_eq!(found.to_le_bytes().to_vec(), bytes(&wire), "{id}");
    }
}

/// The request that the specification's example of a function is about.
fn example(function: &str) -> Option<Request> {
    Some(match function {
        "3" => Request::Read { input: false, address: 0x6B, count: 3 },
        "4" => Request::Read { input: true, address: 8, count: 1 },
        "6" => Request::WriteOne { address: 1, value: 3 },
        "16" => Request::WriteSome { address: 1, values: [0x000A, 0x0102], count: 2 },
        _ => return None,
    })
}

#[test]
fn modbus_frames_of_the_specification() {
    let columns = ["case_id", "function", "kind", "unit_address", "pdu_hex", "rtu_frame_hex"];
    let mut seen = [0; 3];
    for [id, function, kind, unit, pdu, frame] in table("modbus_frames", columns) {
        let (unit, frame, pdu) = (unit.parse::<u8>().unwrap(), bytes(&frame), bytes(&pdu));
        assert!(frame.len() <= modbus::FRAME_BYTES_MAX);
        let Some(request) = example(&function) else {
            continue;
        };
        assert_eq!(request.function().to_string(), function);
        if kind.starts_with("request") {
            let mut sent = Vec::new();
            request.encode(unit, &mut sent);
            assert_eq!(sent, frame, "{id}");
            seen[0] += 1;
        }
        if kind.ends_with("echo") || kind == "response" {
            let message = match request {
                Request::Read { .. } => Response::Registers(&pdu[2..]),
                _ => Response::Written,
            };
            check_answer(&id, request, unit, &frame, message);
            seen[1] += 1;
        }
        if kind == "exception" {
            check_answer(&id, request, unit, &frame, Response::Refused(modbus::Exception(pdu[1])));
            seen[2] += 1;
        }
    }
    assert_eq!(seen, [4, 4, 3], "requests, answers and exceptions of functions 3, 4, 6 and 16");
}

/// The whole frame is the message, every prefix of it needs more, and no flipped bit and no other unit passes.
fn check_answer(id: &str, request: Request, unit: u8, frame: &[u8], message: Response<'_>) {
    assert_eq!(request.decode(unit, frame), Decoded::Message { message, used: frame.len() }, "{id}");
    let longer = [frame, &[0x55]].concat();
    assert_eq!(request.decode(unit, &longer), Decoded::Message { message, used: frame.len() }, "{id}");
    for end in 0..frame.len() {
        assert_eq!(request.decode(unit, &frame[..end]), Decoded::NeedMore, "{id} cut at {end}");
    }
    for bit in 0..frame.len() * 8 {
        let mut bad = frame.to_vec();
        bad[bit / 8] ^= 1 << (bit % 8);
        match request.decode(unit, &bad) {
            Decoded::Bad { skip, .. } => assert!((1..=bad.len()).contains(&skip)),
            // An exception without its mark looks like the start of a longer answer; the deadline ends that.
            Decoded::NeedMore => assert!(bit == 15 && frame.len() == 5, "{id} with bit {bit} flipped"),
            other => panic!("{id} with bit {bit} flipped: {other:?}"),
        }
    }
    assert!(matches!(request.decode(unit + 1, frame), Decoded::Bad { .. }), "{id}");
    let noisy = [&[0x00, 0xFF][..], frame].concat();
    let Decoded::Bad { skip, .. } = request.decode(unit, &noisy) else {
        panic!("{id}: noise taken for an answer")
    };
    assert_eq!(request.decode(unit, &noisy[skip..]), Decoded::Message { message, used: frame.len() }, "{id}");
}

#[test]
fn modbus_answers_to_something_else_are_refused() {
    // The frames of the specification, each offered to the requests of the others.
    let frames = table("modbus_frames", ["function", "kind", "unit_address", "rtu_frame_hex"]);
    for [function, kind, unit, frame] in &frames {
        for other in ["3", "4", "6", "16"] {
            let is_own = other == function && kind != "request";
            if is_own || kind == "exception" && other == function {
                continue;
            }
            let frame = bytes(frame);
            let found = example(other).unwrap().decode(unit.parse().unwrap(), &frame);
            assert!(
                !matches!(found, Decoded::Message { .. }),
                "{function} {kind} taken for an answer to {other}"
            );
        }
    }
    // A write whose echo names another register or value.
    let mut echo = Vec::new();
    Request::WriteOne { address: 1, value: 4 }.encode(17, &mut echo);
    let found = Request::WriteOne { address: 1, value: 3 }.decode(17, &echo);
    assert!(matches!(found, Decoded::Bad { why: modbus::BadFrame::Echo, .. }));
}

#[test]
fn modbus_limits_and_names() {
    for [fact, value] in table("modbus_facts", ["fact", "value"]) {
        match &*fact {
            "max_rtu_frame_bytes" => assert_eq!(modbus::FRAME_BYTES_MAX.to_string(), value),
            "max_read_holding_registers" => assert_eq!(modbus::READ_REGISTERS_MAX.to_string(), value),
            "unit_addresses" => {
                assert_eq!(format!("{}-{}", modbus::UNITS.start(), modbus::UNITS.end()), value)
            }
            "t3_5_fixed_us_above_19200_baud" => {
                assert_eq!(uart::modbus_t3_5(38_400).as_micros().to_string(), value);
            }
            _ => {
                if let Some(code) = fact.strip_prefix("exception_") {
                    let exception = modbus::Exception(u8::from_str_radix(code, 16).unwrap());
                    assert_eq!(exception.to_string(), format!("exception {code}, {value}"));
                }
            }
        }
    }
}

#[test]
fn registers_as_numbers() {
    let columns = ["bytes_hex", "u16_be", "i16_be", "i32_be", "f32_abcd", "f32_cdab_word_swapped"];
    let kinds = [Kind::U16, Kind::I16, Kind::I32, Kind::F32, Kind::F32Swapped];
    let mut seen = 0;
    for row in table("register_decode", columns) {
        let data = bytes(&row[0]);
        for (kind, expected) in kinds.into_iter().zip(&row[1..]) {
            if expected.is_empty() {
                assert_eq!(kind.number(&data), None);
                continue;
            }
            seen += 1;
            let expected: f64 = expected.parse().unwrap();
            let found = kind.number(&data).unwrap();
            if expected.is_nan() {
                assert_eq!(found, Numeric::Missing);
                continue;
            }
            assert_eq!(found, Numeric::Finite(expected), "{kind:?} {data:02X?}");
            let back: Vec<u8> = kind.registers_of(expected).unwrap()[..usize::from(kind.registers())]
                .iter()
                .flat_map(|r| r.to_be_bytes())
                .collect();
            assert_eq!(back, data, "{kind:?}");
        }
    }
    assert_eq!(seen, 27);
    for (kind, value) in [
        (Kind::U16, -0.6),
        (Kind::U16, 65_535.6),
        (Kind::I16, -32_769.0),
        (Kind::I32, 2_147_483_648.0),
        (Kind::F32, 1e39),
        (Kind::F32, f64::NAN),
        (Kind::U16, f64::NAN),
    ] {
        assert_eq!(kind.registers_of(value), None, "{kind:?} {value}");
    }
}

#[test]
fn scpi_numbers_by_the_rules_of_ieee_488_2() {
    for [kind, text, value, valid] in table("scpi_numbers", ["kind", "text", "value", "valid"]) {
        let found = number::scpi(text.as_bytes());
        if kind == "special" {
            let expected = match &*value {
                "infinity" => Numeric::Over,
                "-infinity" => Numeric::Under,
                _ => Numeric::Missing,
            };
            assert_eq!(found, Ok(expected), "{text}");
        } else if value.is_empty() {
            assert_eq!(valid, "no");
            assert!(found.is_err(), "{text:?} gave {found:?}");
        } else {
            assert_eq!(found, Ok(Numeric::Finite(value.parse().unwrap())), "{text}");
        }
    }
    assert_eq!(number::decimal(b"+12.", DecimalMark::Point), Ok(12.0));
}

#[test]
fn scpi_blocks_by_the_rules_of_ieee_488_2() {
    for [data, payload, length, valid] in
        table("scpi_blocks", ["block_hex", "payload_hex", "payload_length", "valid"])
    {
        let (data, payload) = (bytes(&data), bytes(&payload));
        if valid == "yes" {
            assert_eq!(payload.len().to_string(), length);
            let Decoded::Message { message, used } = block::decode(&data) else { panic!("{data:02X?}") };
            assert_eq!((message, used), (&payload[..], data.len()));
            for end in 0..data.len() {
                assert_eq!(block::decode(&data[..end]), Decoded::NeedMore, "{data:02X?} cut at {end}");
            }
        } else {
            assert!(!matches!(block::decode(&data), Decoded::Message { .. }), "{data:02X?}");
        }
    }
}

#[test]
fn scpi_error_entries_of_the_standard() {
    let mut seen = 0;
    for [code, text, line] in table("scpi_errors", ["code", "text", "response_line"]) {
        let entry = scpi::error_entry(line.as_bytes()).unwrap_or_else(|| panic!("{line}"));
        assert_eq!((entry.code.to_string(), &*entry.text), (code, &*text));
        for end in 0..line.len() {
            assert_eq!(scpi::error_entry(&line.as_bytes()[..end]), None, "{line} cut at {end}");
        }
        seen += 1;
    }
    assert!(seen > 90);
    let facts = table("ieee4882_facts", ["topic", "item", "value"]);
    let empty = facts.iter().find(|[t, i, _]| t == "SYST:ERR?" && i == "empty").unwrap();
    assert_eq!(scpi::error_entry(empty[2].as_bytes()).unwrap().code, 0);
}

#[test]
fn serial_line_timing() {
    let columns = ["baud", "format", "bits_per_char", "char_time_us", "modbus_t3_5_us"];
    for [baud, format, bits, char_time, t3_5] in table("uart_timing", columns) {
        let baud: u32 = baud.parse().unwrap();
        let f = format.as_bytes();
        let found = uart::bits_per_character(f[0] - b'0', f[1] != b'N', f[2] - b'0');
        assert_eq!(found.to_string(), bits, "{format}");
        for (span, expected) in
            [(uart::character_time(baud, found), char_time), (uart::modbus_t3_5(baud), t3_5)]
        {
            let expected_ns = expected.parse::<f64>().unwrap() * 1e3;
            assert!((span.as_nanos() as f64 - expected_ns).abs() <= 0.5, "{baud} {format}: {span:?}");
        }
    }
}
