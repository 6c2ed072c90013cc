//! The states of an instrument.
//!
//! In: a rig, and that its port opened or went. Out: the state that the other files work on, and the next moment.
//! One request is under way at a time; queries keep a fixed grid of time, and slots that were missed are skipped.
//! Never: something told before a port was lost and sent after it came back.

use super::compile::{self, Compiled};
use super::event::{Counts, Discard, InstrumentEvent};
use super::exchange::{Dialect, Identity, Listen, Poll, Tell};
use super::limits::{DISCARDED_BYTES_SHOWN_MAX, OPENING_DRAIN};
use super::noise::{Flood, Garbage};
use crate::clock::Moment;
use crate::problem::Problems;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::rig::Rig;
use crate::wire::line::Lines;
use crate::wire::number::Numeric;
use crate::wire::text::Capture;
use std::collections::VecDeque;
use std::time::Duration;

/// What is under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// The identity, before the instrument is used.
    Identity,
    /// An entry of the error queue.
    Errors,
    /// A query.
    Poll(usize),
    /// A setting.
    Tell(usize),
    /// A request whose answer shows that the instrument is in step again.
    Probe,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    /// No port.
    Closed,
    /// The instrument could not be identified.
    Failed,
    /// What arrives is stale.
    Opening { until: Moment },
    /// Between two tries of the identity.
    Pausing { until: Moment },
    /// Nothing under way.
    Idle { not_before: Moment },
    /// An answer is awaited.
    Waiting { what: What, sent: Moment, deadline: Moment },
    /// Late answers are waited out.
    Quiet { until: Moment, at_most: Moment },
}

/// One instrument of the rig.
#[derive(Clone, Debug)]
pub struct Instrument {
    pub(super) name: String,
    pub(super) dialect: Dialect,
    pub(super) identity: Option<Identity>,
    pub(super) polls: Vec<Poll>,
    pub(super) listens: Vec<Listen>,
    pub(super) tells: Vec<Tell>,
    pub(super) character: Duration,
    pub(super) reply_within: Duration,
    pub(super) ready_within: Duration,

    pub(super) state: State,
    pub(super) wake: Moment,
    pub(super) ready: bool,
    pub(super) opened: Moment,
    /// Tries of the identity so far.
    pub(super) tries: u8,
    /// The last line that was not the expected identity.
    pub(super) wrong: Option<String>,
    /// Entries of the error queue that may still be read.
    pub(super) errors_left: u8,

    /// Polls asked for in the question that is open.
    pub(super) asked: Vec<usize>,
    pub(super) next_due: Moment,
    /// The query to be asked once more.
    pub(super) retry: Option<usize>,
    /// The query under way has been asked once more already.
    pub(super) retried: bool,
    /// The next answer might belong to an earlier request.
    pub(super) suspect: bool,
    pub(super) probes: u8,
    /// An answer has been thrown away to come back into step.
    pub(super) thrown_away: bool,
    /// Requests given up whose answers may still come, oldest first, and until when.
    pub(super) owed: Vec<(What, Moment)>,
    /// When answers were lost that came when asked again.
    pub(super) losses: Vec<Moment>,
    pub(super) identity_owed: u8,
    pub(super) identity_until: Moment,

    pub(super) safe: Option<usize>,
    pub(super) urgent: VecDeque<usize>,
    pub(super) queue: VecDeque<usize>,
    /// The last exchange was a setting: a query that is due goes first now.
    pub(super) told_last: bool,

    pub(super) lines: Lines,
    pub(super) frame: Vec<u8>,
    pub(super) capture: Capture,
    pub(super) values: Vec<Numeric>,
    pub(super) sent_bytes: Vec<u8>,
    /// Something arrived since the last request.
    pub(super) heard: bool,
    pub(super) echoed: bool,
    /// Why what arrived since the last request is not its answer.
    pub(super) difference: Option<String>,
    /// The last byte that was drained did not end a line.
    pub(super) mid_line: bool,
    pub(super) garbage: Garbage,
    pub(super) flood: Flood,
    pub(super) counts: Counts,
}

impl Instrument {
    /// Compiles instrument `index` of the rig.
    ///
    /// # Errors
    /// Everything its dialect cannot do, all at once.
    pub fn new(index: usize, rig: &Rig) -> Result<Instrument, Problems> {
        let Compiled { dialect, identity, polls, listens, tells, character } = compile::compile(index, rig)?;
        let spec = &rig.instruments[index];
        Ok(Instrument {
            name: spec.name.clone(),
            dialect,
            identity,
            polls,
            listens,
            tells,
            character,
            reply_within: spec.reply_within,
            ready_within: spec.port.ready_within,
            state: State::Closed,
            wake: Moment::NEVER,
            ready: false,
            opened: Moment::START,
            tries: 0,
            wrong: None,
            errors_left: 0,
            asked: Vec::new(),
            next_due: Moment::NEVER,
            retry: None,
            retried: false,
            suspect: false,
            probes: 0,
            thrown_away: false,
            owed: Vec::new(),
            losses: Vec::new(),
            identity_owed: 0,
            identity_until: Moment::START,
            safe: None,
            urgent: VecDeque::new(),
            queue: VecDeque::new(),
            told_last: false,
            lines: Lines::default(),
            frame: Vec::new(),
            capture: Capture::default(),
            values: Vec::new(),
            sent_bytes: Vec::new(),
            heard: false,
            echoed: false,
            difference: None,
            mid_line: false,
            garbage: Garbage::default(),
            flood: Flood::new(character),
            counts: Counts::default(),
        })
    }

    /// Its name in the rig.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it has seen so far.
    #[must_use]
    #[cfg(feature = "door")]
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// Whether it has been identified and may be used.
    #[must_use]
    #[cfg(feature = "door")]
    pub const fn is_ready(&self) -> bool {
        self.ready
    }

    /// Whether nothing is under way and nothing waits to be sent; queries of the grid do not count.
    #[must_use]
    #[cfg(feature = "door")]
    pub fn is_idle(&self) -> bool {
        matches!(self.state, State::Idle { .. }) && !self.has_pending()
    }

    pub(super) fn has_pending(&self) -> bool {
        self.safe.is_some()
            || self.retry.is_some()
            || self.errors_left > 0
            || !self.urgent.is_empty()
            || !self.queue.is_empty()
    }

    /// The moment at which [`Instrument::advance`] is to be called, if nothing arrives before.
    #[must_use]
    pub const fn wake(&self) -> Moment {
        self.wake
    }

    /// The port is open: drains it, identifies the instrument, and then uses it. Whatever was under way before is
    /// forgotten, and nothing that was told before is sent.
    pub fn start(&mut self, now: Moment) {
        self.forget();
        self.opened = now;
        self.flood = Flood::new(self.character);
        let drain = if self.dialect == Dialect::ByHand { Duration::ZERO } else { OPENING_DRAIN };
        self.state = State::Opening { until: now + drain };
        self.plan_wake();
    }

    /// The port is gone: forgets what was under way and what was to be told.
    pub fn port_lost(&mut self, _now: Moment) {
        self.forget();
        self.state = State::Closed;
        self.plan_wake();
    }

    fn forget(&mut self) {
        self.ready = false;
        self.tries = 0;
        self.wrong = None;
        self.errors_left = 0;
        self.retry = None;
        self.retried = false;
        self.suspect = false;
        self.owed.clear();
        self.losses.clear();
        self.identity_owed = 0;
        self.clear_tells();
        self.safe = None;
        self.urgent.clear();
        self.lines.clear();
        self.frame.clear();
        self.difference = None;
        self.echoed = false;
        self.mid_line = false;
        self.garbage = Garbage::default();
    }

    pub(super) fn plan_wake(&mut self) {
        let own = match self.state {
            State::Closed | State::Failed => Moment::NEVER,
            State::Opening { until } | State::Pausing { until } | State::Quiet { until, .. } => until,
            State::Waiting { deadline, .. } => deadline,
            State::Idle { not_before } if self.has_pending() => not_before,
            State::Idle { not_before } => self.next_due.max(not_before),
        };
        let asleep = matches!(self.state, State::Closed | State::Failed);
        self.wake = if asleep { own } else { own.min(self.garbage.wake()) };
        if self.safe.is_some_and(|i| !self.is_under_way(i)) {
            self.wake = Moment::START;
        }
    }

    pub(super) fn fault(
        &self,
        code: FaultCode,
        seen: impl Into<String>,
        help: &str,
        events: &mut Vec<InstrumentEvent>,
    ) {
        events.push(InstrumentEvent::Fault(Fault::new(code, &self.name, seen, help)));
    }

    pub(super) fn discard(&mut self, bytes: &[u8], why: Discard, events: &mut Vec<InstrumentEvent>) {
        if bytes.is_empty() {
            return;
        }
        self.counts.dropped_bytes += bytes.len() as u64;
        match why {
            Discard::Stale => self.counts.stale += 1,
            Discard::Duplicate => self.counts.duplicates += 1,
            _ => {}
        }
        if self.state != State::Failed {
            let bytes = bytes[..bytes.len().min(DISCARDED_BYTES_SHOWN_MAX)].to_vec();
            events.push(InstrumentEvent::Discarded { bytes, why });
        }
    }
}
