//! How long characters take on a serial line.
//!
//! In: line settings. Out: durations. The silences of Modbus RTU are those of "Modbus over serial line V1.02",
//! 2.5.1.1: 1.5 and 3.5 characters of 11 bits up to 19,200 baud, fixed above. Never: a wait.

use std::time::Duration;

/// Bits of a character in Modbus RTU.
const MODBUS_BITS: u64 = 11;
/// Above this rate the silences are fixed, bits per second.
const MODBUS_FIXED_ABOVE_BAUD: u32 = 19_200;

/// Bits of one character: start, data, parity if any, stop.
#[must_use]
pub const fn bits_per_character(data_bits: u8, parity: bool, stop_bits: u8) -> u32 {
    1 + data_bits as u32 + parity as u32 + stop_bits as u32
}

/// Time of one character, rounded to a nanosecond; a rate of 0 counts as 1.
#[must_use]
pub fn character_time(baud: u32, bits: u32) -> Duration {
    rounded(u64::from(bits) * 1_000_000_000, baud)
}

/// Shortest silence between Modbus RTU frames.
#[must_use]
pub fn modbus_t3_5(baud: u32) -> Duration {
    if baud > MODBUS_FIXED_ABOVE_BAUD {
        return Duration::from_micros(1750);
    }
    rounded(MODBUS_BITS * 3_500_000_000, baud)
}

fn rounded(bit_nanoseconds: u64, baud: u32) -> Duration {
    let baud = u64::from(baud.max(1));
    Duration::from_nanos((bit_nanoseconds + baud / 2) / baud)
}
