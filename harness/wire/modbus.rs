//! Modbus RTU: requests to read and write registers, and the answers to them.
//!
//! In: what is asked of which unit, and the bytes received since. Out: the frame to send; a message, need for more,
//! or what is bad and how much to skip. Source: Modbus Application Protocol V1.1b3 sections 6.3, 6.4, 6.6, 6.12
//! and 7, Modbus over Serial Line V1.02 section 2.5 (from memory, checked against outside frames). Never: an
//! answer to something else than what was asked. Reading answers do not repeat the address, so a late one cannot
//! be told from its successor by its bytes: only silence and a discarded request can do that.

use super::Decoded;
use std::fmt;

/// Unit addresses of single devices.
pub const UNITS: std::ops::RangeInclusive<u8> = 1..=247;
/// Most registers one read may ask for (section 6.3).
#[cfg(feature = "door")]
pub const READ_REGISTERS_MAX: u16 = 125;
/// Longest RTU frame, bytes.
#[cfg(feature = "door")]
pub const FRAME_BYTES_MAX: usize = 256;
/// Marks the function code of an exception.
const EXCEPTION: u8 = 0x80;
/// Unit, function, exception code, CRC.
const EXCEPTION_BYTES: usize = 5;

/// What is asked of a unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request {
    /// Function 3 or 4: read registers.
    Read {
        /// Whether they are input registers (function 4).
        input: bool,
        /// First register, from 0.
        address: u16,
        /// How many, 1 to [`READ_REGISTERS_MAX`].
        count: u16,
    },
    /// Function 6: write one register.
    WriteOne {
        /// Register, from 0.
        address: u16,
        /// Its new content.
        value: u16,
    },
    /// Function 16: write one or two registers.
    WriteSome {
        /// First register, from 0.
        address: u16,
        /// Their new content; only the first `count` count.
        values: [u16; 2],
        /// How many, 1 or 2.
        count: u16,
    },
}

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response<'a> {
    /// The content of the registers asked for.
    Registers(&'a [u8]),
    /// The write was done.
    Written,
    /// The unit refuses, and why.
    Refused(Exception),
}

/// The exception code of a refusal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exception(pub u8);

impl fmt::Display for Exception {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.0 {
            0x01 => "illegal function",
            0x02 => "illegal data address",
            0x03 => "illegal data value",
            0x04 => "server device failure",
            0x05 => "acknowledge",
            0x06 => "server device busy",
            0x08 => "memory parity error",
            0x0A => "gateway path unavailable",
            0x0B => "gateway target device failed to respond",
            _ => "not a standard code",
        };
        write!(f, "exception {:02X}, {name}", self.0)
    }
}

/// Why no answer starts at a byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BadFrame {
    /// Another unit's address.
    Unit(u8),
    /// Another function code.
    Function(u8),
    /// Another number of bytes than was asked for.
    Length(u8),
    /// The checksum differs.
    Crc,
    /// Address or quantity are not those written.
    Echo,
}

impl fmt::Display for BadFrame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            BadFrame::Unit(unit) => write!(f, "an answer of unit {unit}"),
            BadFrame::Function(code) => write!(f, "an answer to function {code}"),
            BadFrame::Length(n) => write!(f, "an answer with {n} bytes of registers"),
            BadFrame::Crc => write!(f, "a checksum that differs"),
            BadFrame::Echo => write!(f, "an answer for another register or quantity"),
        }
    }
}

impl Request {
    /// Function code.
    #[must_use]
    pub const fn function(&self) -> u8 {
        match self {
            Request::Read { input: false, .. } => 3,
            Request::Read { input: true, .. } => 4,
            Request::WriteOne { .. } => 6,
            Request::WriteSome { .. } => 16,
        }
    }

    /// Appends the frame that asks this of `unit`.
    pub fn encode(&self, unit: u8, out: &mut Vec<u8>) {
        let start = out.len();
        out.extend_from_slice(&[unit, self.function()]);
        match *self {
            Request::Read { address, count, .. } => put(out, &[address, count]),
            Request::WriteOne { address, value } => put(out, &[address, value]),
            Request::WriteSome { address, values, count } => {
                put(out, &[address, count]);
                out.push(count.min(2) as u8 * 2);
                put(out, &values[..usize::from(count.min(2))]);
            }
        }
        let crc = crc16(&out[start..]);
        out.extend_from_slice(&crc.to_le_bytes());
    }

    /// Looks for `unit`'s answer to this request at the start of `bytes`.
    #[must_use]
    pub fn decode<'a>(&self, unit: u8, bytes: &'a [u8]) -> Decoded<Response<'a>, BadFrame> {
        let Some(&first) = bytes.first() else {
            return Decoded::NeedMore;
        };
        let bad = |why| Decoded::Bad { skip: to_next(unit, bytes), why };
        if first != unit {
            return bad(BadFrame::Unit(first));
        }
        let Some(&function) = bytes.get(1) else {
            return Decoded::NeedMore;
        };
        let refused = function == self.function() | EXCEPTION;
        if !refused && function != self.function() {
            return bad(BadFrame::Function(function));
        }
        let Some(&third) = bytes.get(2) else {
            return Decoded::NeedMore;
        };
        let length = match *self {
            _ if refused => EXCEPTION_BYTES,
            Request::Read { count, .. } if u32::from(third) != u32::from(count) * 2 => {
                return bad(BadFrame::Length(third));
            }
            Request::Read { count, .. } => 5 + usize::from(count) * 2,
            _ => 8,
        };
        let Some(frame) = bytes.get(..length) else {
            return Decoded::NeedMore;
        };
        let (body, sum) = frame.split_at(length - 2);
        if crc16(body).to_le_bytes() != *sum {
            return bad(BadFrame::Crc);
        }
        let message = match *self {
            _ if refused => Response::Refused(Exception(third)),
            Request::Read { .. } => Response::Registers(&body[3..]),
            Request::WriteOne { address, value } if body[2..] != pair(address, value) => {
                return bad(BadFrame::Echo);
            }
            Request::WriteSome { address, count, .. } if body[2..] != pair(address, count) => {
                return bad(BadFrame::Echo);
            }
            _ => Response::Written,
        };
        Decoded::Message { message, used: length }
    }
}

/// How many bytes to drop to come to the next one that may start an answer.
fn to_next(unit: u8, bytes: &[u8]) -> usize {
    bytes[1..].iter().position(|&b| b == unit).map_or(bytes.len(), |n| n + 1)
}

fn put(out: &mut Vec<u8>, registers: &[u16]) {
    for register in registers {
        out.extend_from_slice(&register.to_be_bytes());
    }
}

fn pair(a: u16, b: u16) -> [u8; 4] {
    let ([a, b], [c, d]) = (a.to_be_bytes(), b.to_be_bytes());
    [a, b, c, d]
}

/// One step of the checksum for each byte: polynomial 0xA001 (0x8005 reflected).
const CRC_TABLE: [u16; 256] = {
    let mut table = [0_u16; 256];
    let mut i = 0;
    while i < 256 {
        let (mut crc, mut bit) = (i as u16, 0);
        while bit < 8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xA001 } else { crc >> 1 };
            bit += 1;
        }
        table[i] = crc;
        i += 1;
    }
    table
};

/// The checksum of Modbus RTU; on the wire its low byte comes first.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, &b| (crc >> 8) ^ CRC_TABLE[usize::from((crc as u8) ^ b)])
}
