//! What an instrument reports to whoever drives it.
//!
//! In: nothing. Out: the types of the reports. Never: a reading that is not finite.

use crate::clock::Moment;
use crate::problem::fault::Fault;
use std::time::Duration;

pub use crate::wire::word::Flag;

/// Something an instrument reports. `channel` is the channel's number in the rig.
#[derive(Clone, Debug, PartialEq)]
pub enum InstrumentEvent {
    /// The instrument is the expected one and may be used.
    Ready {
        /// What it answered to the identity query; none where it has none.
        identity: Option<String>,
    },
    /// A reading.
    Reading {
        /// Channel of the rig.
        channel: usize,
        /// Value, role units, within the channel's range.
        value: f64,
        /// The instrument's own number.
        raw: f64,
        /// When it was taken: the middle of request and answer, or the arrival, less the channel's known delay.
        at: Moment,
        /// Time from request to answer; none for what comes unasked.
        round_trip: Option<Duration>,
    },
    /// What the instrument says about its reading.
    Flag {
        /// Channel of the rig.
        channel: usize,
        /// What it says.
        flag: Flag,
        /// When.
        at: Moment,
    },
    /// A setting has reached the instrument.
    Told {
        /// Channel of the rig.
        channel: usize,
        /// Value as told, role units.
        value: f64,
        /// When: the middle of command and acknowledgement, or the sending where there is none.
        at: Moment,
        /// Time from command to acknowledgement; none where the instrument gives none.
        round_trip: Option<Duration>,
    },
    /// The operator is to be asked.
    Question {
        /// Channel of the rig.
        channel: usize,
        /// The question.
        text: String,
    },
    /// Bytes that were not used.
    Discarded {
        /// The bytes, the first [`super::limits::DISCARDED_BYTES_SHOWN_MAX`] of them.
        bytes: Vec<u8>,
        /// Why.
        why: Discard,
    },
    /// A fault.
    Fault(Fault),
}

/// Why bytes were not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Discard {
    /// They were there before anything was asked, or come from an instrument that still starts.
    Early,
    /// An answer to a request that had been given up.
    Stale,
    /// Nothing that was asked for or listened for.
    Unasked,
    /// What we sent came back.
    Echo,
    /// A sample that had come before, or one older than the last.
    Duplicate,
    /// More than the line can carry.
    Flood,
    /// A frame that is not the awaited answer.
    Frame,
}

impl Discard {
    /// In words, for events and messages.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Discard::Early => "before the first command",
            Discard::Stale => "answer to a request given up",
            Discard::Unasked => "not asked for",
            Discard::Echo => "echo of a command",
            Discard::Duplicate => "sample repeated or out of order",
            Discard::Flood => "more than the line can carry",
            Discard::Frame => "not the awaited answer",
        }
    }
}

/// What an instrument has seen so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Exchanges answered.
    pub answered: u64,
    /// Requests without a usable answer in time.
    pub missed: u64,
    /// Times the instrument was brought back into step.
    pub resyncs: u64,
    /// Answers to requests given up.
    pub stale: u64,
    /// Samples repeated or out of order.
    pub duplicates: u64,
    /// Bytes dropped for any reason.
    pub dropped_bytes: u64,
}
