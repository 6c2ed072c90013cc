//! What bytes mean: one file a dialect, each a pure function of bytes.
//!
//! In: bytes from an instrument, or what is to be said to it. Out: lines, numbers, fields, frames, or why they
//! are none. Never: a port, a clock, a wait, or a panic on any bytes whatever.
//!
//! | file | what it knows |
//! |---|---|
//! | [`line`] | where a line of text ends |
//! | [`number`] | decimal and IEEE 488.2 numbers, and the values that are none |
//! | [`word`] | words scales and meters show in place of a number |
//! | [`template`] | a command with a value in it |
//! | [`pattern`] | the form of a text line, written by the user |
//! | [`text`] | a line read by a pattern |
//! | [`scpi`] | program messages, response fields and the error queue |
//! | [`block`] | IEEE 488.2 block data |
//! | [`modbus`] | Modbus RTU frames |
//! | [`register`] | registers as numbers |
//! | [`uart`] | how long characters take on a serial line |

pub mod block;
pub mod line;
pub mod modbus;
pub mod number;
pub mod pattern;
pub mod register;
pub mod scpi;
pub mod template;
pub mod text;
pub mod uart;
pub mod word;

/// What the bytes received so far are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decoded<M, W> {
    /// A whole message that took the first `used` bytes.
    Message {
        /// The message.
        message: M,
        /// Bytes it took, at least 1.
        used: usize,
    },
    /// The beginning of a message; nothing is wrong so far.
    NeedMore,
    /// No message starts here.
    Bad {
        /// Bytes to drop before looking again, at least 1.
        skip: usize,
        /// Why.
        why: W,
    },
}
