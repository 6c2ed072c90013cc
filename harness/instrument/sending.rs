//! What is sent when.
//!
//! In: the moment. Out: the bytes of the most pressing request: the safe state, the error queue, a heartbeat, a query
//! asked once more, then settings and queries that are due, in turn. Never: two requests under way.

use super::event::InstrumentEvent;
use super::exchange::{Dialect, Poll};
use super::machine::{Instrument, State, What};
use crate::clock::Moment;

/// Reads an entry of the error queue.
pub(super) const ERROR_REQUEST: &[u8] = b"SYST:ERR?\n";

impl Instrument {
    /// Does what is due at `now`: appends bytes to send to `tx`.
    pub fn advance(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) {
        if now < self.wake {
            return;
        }
        self.check_garbage(now, events);
        // Every step either sends, which ends in waiting, or brings the machine nearer to it.
        let steps_max = 16 + self.tells.len();
        for _ in 0..steps_max {
            if !self.step(now, tx, events) {
                break;
            }
        }
        self.plan_wake();
    }

    /// One step; whether another may follow.
    fn step(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) -> bool {
        if self.safe.is_some() && self.preempt(now, tx, events) {
            return true;
        }
        match self.state {
            State::Opening { until } if now >= until => {
                if self.mid_line && !self.listens.is_empty() {
                    self.lines.skip_line();
                }
                self.first_command(now, tx, events);
            }
            State::Pausing { until } if now >= until => self.ask_identity(now, tx, events),
            State::Waiting { what, deadline, .. } if now >= deadline => self.expired(what, now, events),
            State::Quiet { until, .. } if now >= until => self.probe(now, tx, events),
            State::Idle { not_before } if now >= not_before => return self.next(now, tx, events),
            _ => return false,
        }
        true
    }

    /// Sends the most pressing of what waits; whether there was any.
    fn next(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) -> bool {
        let Some(what) = self.choose(now) else {
            return false;
        };
        if self.suspect {
            self.begin_quiet(now);
            return true;
        }
        match what {
            What::Tell(i) => {
                if self.urgent.front() == Some(&i) {
                    self.urgent.pop_front();
                } else {
                    self.queue.pop_front();
                    self.told_last = true;
                }
            }
            What::Poll(i) if self.retry == Some(i) => self.retry = None,
            What::Poll(i) => {
                self.retried = false;
                self.told_last = false;
                self.polls[i].next_slot(now);
                self.find_next_due();
            }
            What::Identity | What::Errors | What::Probe => {}
        }
        self.send(what, now, tx, events);
        true
    }

    pub(super) fn find_next_due(&mut self) {
        self.next_due = self.polls.iter().map(|p| p.due).min().unwrap_or(Moment::NEVER);
    }

    /// Has the query of `channel` asked now, out of its grid; the grid goes on from here.
    pub fn request(&mut self, channel: usize, now: Moment) {
        let serves = |poll: &&mut Poll| poll.targets.iter().any(|t| t.channel == channel);
        if let Some(poll) = self.polls.iter_mut().find(serves) {
            poll.due = now;
        }
        self.find_next_due();
        self.plan_wake();
    }

    fn choose(&self, now: Moment) -> Option<What> {
        if self.errors_left > 0 {
            return Some(What::Errors);
        }
        if let Some(&tell) = self.urgent.front() {
            return Some(What::Tell(tell));
        }
        if let Some(poll) = self.retry {
            return Some(What::Poll(poll));
        }
        let due = now >= self.next_due;
        match self.queue.front() {
            Some(&tell) if !(due && self.told_last) => Some(What::Tell(tell)),
            _ if due => {
                let first = (0..self.polls.len()).min_by_key(|&i| self.polls[i].due)?;
                Some(What::Poll(first))
            }
            _ => None,
        }
    }

    /// Sends a request and waits for its answer, if it has one.
    pub(super) fn send(
        &mut self,
        what: What,
        now: Moment,
        tx: &mut Vec<u8>,
        events: &mut Vec<InstrumentEvent>,
    ) {
        let start = tx.len();
        let mut answered = true;
        match what {
            What::Identity | What::Probe => self.write_probe(tx),
            What::Errors => tx.extend_from_slice(ERROR_REQUEST),
            What::Poll(i) if self.dialect == Dialect::ByHand => self.ask_person(i, now, events),
            What::Poll(i) => tx.extend_from_slice(&self.polls[i].request),
            What::Tell(i) => answered = self.write_tell(i, now, tx, events),
        }
        self.sent_bytes.clear();
        self.sent_bytes.extend_from_slice(&tx[start..]);
        self.heard = false;
        self.echoed = false;
        self.difference = None;
        self.frame.clear();
        let gone = now + self.character * (tx.len() - start) as u32;
        self.state = match (answered, &self.dialect) {
            (false, _) => State::Idle { not_before: gone },
            (true, Dialect::ByHand) => State::Waiting { what, sent: now, deadline: Moment::NEVER },
            (true, _) => State::Waiting { what, sent: now, deadline: gone + self.reply_within },
        };
    }

    /// The silence that has to pass before the next request.
    pub(super) fn after_silence(&self, now: Moment) -> Moment {
        match self.dialect {
            Dialect::Modbus { silence, .. } => now + silence,
            Dialect::Lines { .. } | Dialect::ByHand => now,
        }
    }
}
