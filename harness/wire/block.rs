//! IEEE 488.2 block data: `#15HELLO`.
//!
//! In: bytes that start with `#`. Out: the payload, need for more, or what is wrong. A definite block says its
//! length in as many digits as the digit after `#` says; `#0` starts an indefinite one that ends with the message.
//! Never: a payload longer than [`PAYLOAD_BYTES_MAX`].

use super::Decoded;

/// Longest payload accepted, bytes.
pub const PAYLOAD_BYTES_MAX: usize = 1 << 20;

/// Why bytes are not a block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BlockProblem {
    /// The first byte is not `#`.
    NoHash,
    /// What follows `#`, or the length, is no digit.
    NotADigit,
    /// Longer than [`PAYLOAD_BYTES_MAX`].
    TooLong,
}

/// Decodes a block at the start of `bytes`; the line end that closes an indefinite block belongs to it.
#[must_use]
pub fn decode(bytes: &[u8]) -> Decoded<&[u8], BlockProblem> {
    let bad = |why| Decoded::Bad { skip: 1, why };
    let (count, rest) = match bytes {
        [] | [b'#'] => return Decoded::NeedMore,
        [b'#', digit @ b'0'..=b'9', rest @ ..] => (usize::from(digit - b'0'), rest),
        [b'#', ..] => return bad(BlockProblem::NotADigit),
        _ => return bad(BlockProblem::NoHash),
    };
    if count == 0 {
        return match rest.iter().position(|&b| b == b'\n') {
            Some(end) => Decoded::Message { message: &rest[..end], used: 3 + end },
            None if rest.len() > PAYLOAD_BYTES_MAX => bad(BlockProblem::TooLong),
            None => Decoded::NeedMore,
        };
    }
    let digits = &rest[..count.min(rest.len())];
    if !digits.iter().all(u8::is_ascii_digit) {
        return bad(BlockProblem::NotADigit);
    }
    if digits.len() < count {
        return Decoded::NeedMore;
    }
    let length = digits.iter().fold(0_usize, |n, b| n * 10 + usize::from(b - b'0'));
    if length > PAYLOAD_BYTES_MAX {
        return bad(BlockProblem::TooLong);
    }
    match rest.get(count..count + length) {
        Some(message) => Decoded::Message { message, used: 2 + count + length },
        None => Decoded::NeedMore,
    }
}
