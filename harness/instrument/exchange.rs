//! What is exchanged with an instrument, in the form the machine uses.
//!
//! In: the rig's channels, compiled by [`super::compile`]. Out: requests as bytes, answers as patterns, targets with
//! their scaling. Never: a decision about when.

use crate::clock::Moment;
use crate::problem::fault::FaultCode;
use crate::quantity::Dimension;
use crate::wire::modbus::Request;
use crate::wire::number::DecimalMark;
use crate::wire::pattern::Pattern;
use crate::wire::register::Kind;
use crate::wire::template::Template;
use std::time::Duration;

/// How the instrument speaks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Dialect {
    /// Lines of text.
    Lines {
        end: Vec<u8>,
        mark: DecimalMark,
        /// The error queue is read after each setting (SCPI).
        check_errors: bool,
    },
    /// Modbus RTU.
    Modbus { unit: u8, silence: Duration },
    /// A person.
    ByHand,
}

/// Where a value of an answer goes.
#[derive(Clone, Debug)]
pub(super) struct Target {
    pub(super) channel: usize,
    pub(super) field: usize,
    /// How registers become the value (Modbus).
    pub(super) kind: Kind,
    pub(super) gain: f64,
    pub(super) offset: f64,
    pub(super) range: (f64, f64),
    pub(super) delay: Duration,
    pub(super) dimension: Dimension,
    /// Instrument and role, for messages.
    pub(super) who: String,
    /// The last unit word that was found right.
    pub(super) unit: Vec<u8>,
    /// The unit that a question to a person states for its answer.
    pub(super) stated: Option<String>,
    /// The fault reported last, so that each is reported once until a good reading comes.
    pub(super) latched: Option<FaultCode>,
}

/// How an answer is read.
#[derive(Clone, Debug)]
pub(super) enum Reply {
    /// So many numbers (SCPI).
    Fields(usize),
    /// A line of this form.
    Line(Pattern),
    /// The answer to this request (Modbus).
    Registers(Request),
    /// What the operator says.
    Person,
}

/// A query on a fixed grid of time.
#[derive(Clone, Debug)]
pub(super) struct Poll {
    /// Bytes to send, with their end.
    pub(super) request: Vec<u8>,
    /// The query, for messages; the question, by hand.
    pub(super) shown: String,
    pub(super) reply: Reply,
    pub(super) targets: Vec<Target>,
    pub(super) period: Duration,
    /// Next moment on the grid.
    pub(super) due: Moment,
    pub(super) sequence: Option<u64>,
}

impl Poll {
    /// Moves to the first moment of the grid after `now`: slots that were missed are skipped, never made up.
    pub(super) fn next_slot(&mut self, now: Moment) {
        let next = self.due + self.period;
        if next > now || self.period.is_zero() {
            self.due = next;
            return;
        }
        let period_ns = u64::try_from(self.period.as_nanos()).unwrap_or(u64::MAX);
        let missed = (now.as_ns() - self.due.as_ns()) / period_ns;
        self.due = Moment::from_ns(self.due.as_ns() + (missed + 1) * period_ns);
    }
}

/// Lines that come by themselves.
#[derive(Clone, Debug)]
pub(super) struct Listen {
    pub(super) pattern: Pattern,
    pub(super) targets: Vec<Target>,
    pub(super) sequence: Option<u64>,
}

/// What a setting is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Purpose {
    Setting,
    Heartbeat,
    SafeState,
}

/// How a setting is sent.
#[derive(Clone, Debug)]
pub(super) enum Command {
    /// A line.
    Line(Template),
    /// Function 6 or 16 (Modbus).
    Register { single: bool, address: u16, kind: Kind },
    /// A request to the operator, and what its value is.
    Person { request: String, dimension: Dimension },
}

/// How a setting is acknowledged.
#[derive(Clone, Debug)]
pub(super) enum Ack {
    /// Not at all.
    None,
    /// By a line of this form.
    Line(Pattern),
    /// By an empty error queue (SCPI).
    ErrorQueue,
    /// By the repeated request (Modbus).
    Repeat(Request),
    /// By the operator.
    Person,
}

/// A setting.
#[derive(Clone, Debug)]
pub(super) struct Tell {
    pub(super) channel: usize,
    pub(super) who: String,
    pub(super) purpose: Purpose,
    pub(super) command: Command,
    pub(super) ack: Ack,
    pub(super) gain: f64,
    pub(super) offset: f64,
    pub(super) range: (f64, f64),
    /// Value waiting to be sent, role units.
    pub(super) queued: Option<f64>,
    /// Value on its way, role units.
    pub(super) sent: f64,
    /// Acknowledgements missed in a row.
    pub(super) missed: u8,
}

impl Tell {
    /// The instrument's number for a value in role units.
    pub(super) fn raw(&self, value: f64) -> f64 {
        (value - self.offset) / self.gain
    }

    /// The request that writes `value` (Modbus); none if it does not fit the registers or is no register.
    pub(super) fn request(&self, value: f64) -> Option<Request> {
        let Command::Register { single, address, kind } = self.command else {
            return None;
        };
        let values = kind.registers_of(self.raw(value))?;
        Some(if single {
            Request::WriteOne { address, value: values[0] }
        } else {
            Request::WriteSome { address, values, count: kind.registers() }
        })
    }
}

/// How to tell the instrument from others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Identity {
    /// Bytes to send, with their end.
    pub(super) request: Vec<u8>,
    /// The query, for messages.
    pub(super) shown: String,
    /// What the answer must contain.
    pub(super) expect: String,
    /// The firmware version it must contain besides.
    pub(super) version: Option<String>,
}

impl Identity {
    /// Whether a line is the answer of the expected instrument.
    pub(super) fn is_in(&self, line: &[u8]) -> bool {
        line.windows(self.expect.len()).any(|w| w == self.expect.as_bytes())
    }
}
