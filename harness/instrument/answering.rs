//! Lines as answers.
//!
//! In: a line and the moment it came. Out: readings, acknowledgements, an instrument back in step; or the line goes
//! on to [`super::straying`]. Never: a line taken for the answer to a request it does not fit.

use super::deliver::{Occasion, deliver};
use super::event::{Discard, InstrumentEvent};
use super::exchange::{Ack, Reply};
use super::limits::SEQUENCE_BACK_MAX;
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::wire::number::Numeric;
use crate::wire::scpi;
use crate::wire::text::Capture;
use std::time::Duration;

impl Instrument {
    /// Takes a line.
    pub(super) fn line(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) {
        if let State::Waiting { what, sent, .. } = self.state {
            if !self.owed.is_empty() && self.is_owed(now, line) {
                self.discard(line, Discard::Stale, events);
                return;
            }
            let taken = match what {
                What::Poll(i) => self.poll_line(i, sent, now, line, events),
                What::Tell(i) => self.tell_line(i, sent, now, line, events),
                What::Identity => self.identity_line(now, line, events),
                What::Errors => self.error_queue_line(now, line, events),
                What::Probe => self.probe_line(now, line, events),
            };
            if taken {
                return;
            }
        }
        if !self.listen(now, line, events) {
            self.stray(now, line, events);
        }
    }

    /// Whether a line is the answer to the oldest request that was given up.
    fn is_owed(&mut self, now: Moment, line: &[u8]) -> bool {
        self.owed.retain(|(_, until)| now <= *until);
        let Some((what, _)) = self.owed.first().copied() else {
            return false;
        };
        let owed = self.fits(what, line);
        if owed {
            self.owed.remove(0);
        }
        owed
    }

    /// Whether a line has the form of the answer to a request.
    pub(super) fn fits(&mut self, what: What, line: &[u8]) -> bool {
        match what {
            What::Poll(i) => match &self.polls[i].reply {
                Reply::Fields(count) => scpi::numbers(line, *count, &mut self.values).is_ok(),
                Reply::Line(pattern) => pattern.read(line, &mut self.capture).is_ok(),
                Reply::Registers(_) | Reply::Person => false,
            },
            What::Tell(i) => match &self.tells[i].ack {
                Ack::Line(pattern) => pattern.read(line, &mut self.capture).is_ok(),
                Ack::ErrorQueue => scpi::error_entry(line).is_some(),
                Ack::None | Ack::Repeat(_) | Ack::Person => false,
            },
            What::Errors => scpi::error_entry(line).is_some(),
            What::Identity | What::Probe => self.identity.as_ref().is_some_and(|i| i.is_in(line)),
        }
    }

    /// An exchange is over: when its values were taken, and the round trip.
    pub(super) fn answered(&mut self, sent: Moment, now: Moment) -> (Moment, Duration) {
        self.counts.answered += 1;
        self.garbage.good();
        self.state = State::Idle { not_before: self.after_silence(now) };
        (Moment::from_ns(sent.as_ns().midpoint(now.as_ns())), now.since(sent))
    }

    fn poll_line(
        &mut self,
        i: usize,
        sent: Moment,
        now: Moment,
        line: &[u8],
        events: &mut Vec<InstrumentEvent>,
    ) -> bool {
        if !self.fits(What::Poll(i), line) {
            return false;
        }
        let fields = matches!(self.polls[i].reply, Reply::Fields(_));
        let (flag, sequence) = if fields { (None, None) } else { (self.capture.flag, self.capture.sequence) };
        if !is_new(&mut self.polls[i].sequence, sequence) {
            self.discard(line, Discard::Duplicate, events);
            return true;
        }
        let (at, round_trip) = self.answered(sent, now);
        let occasion = Occasion { at, round_trip: Some(round_trip), flag };
        let targets = &mut self.polls[i].targets;
        if fields {
            let values = &self.values;
            deliver(targets, occasion, |t| values.get(t.field).map(|v| (*v, None)), events);
        } else {
            let capture = &self.capture;
            deliver(targets, occasion, |t| captured(capture, line, t.field), events);
        }
        true
    }

    /// Takes a line that is listened for; whether it is one.
    fn listen(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) -> bool {
        for listen in &mut self.listens {
            if listen.pattern.read(line, &mut self.capture).is_err() {
                continue;
            }
            if !self.ready {
                return true;
            }
            self.garbage.good();
            if is_new(&mut listen.sequence, self.capture.sequence) {
                let occasion = Occasion { at: now, round_trip: None, flag: self.capture.flag };
                let capture = &self.capture;
                deliver(&mut listen.targets, occasion, |t| captured(capture, line, t.field), events);
            } else {
                self.discard(line, Discard::Duplicate, events);
            }
            return true;
        }
        false
    }

    fn identity_line(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) -> bool {
        let is_it = self.fits(What::Identity, line) && !self.is_echo(line);
        if is_it {
            self.identified(now, Some(line), events);
        }
        is_it
    }
}

fn captured<'l>(capture: &Capture, line: &'l [u8], field: usize) -> Option<(Numeric, Option<&'l [u8]>)> {
    let value = capture.values.get(field)?;
    Some((value.value, value.unit.clone().map(|u| &line[u])))
}

/// Whether a sample's counter has moved on; a sample without a counter always has.
fn is_new(last: &mut Option<u64>, sequence: Option<u64>) -> bool {
    let Some(sequence) = sequence else { return true };
    let back = last.map(|l| l.wrapping_sub(sequence));
    let new = back.is_none_or(|b| b > SEQUENCE_BACK_MAX);
    if new {
        *last = Some(sequence);
    }
    new
}
