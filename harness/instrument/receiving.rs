//! What is done with bytes that arrive.
//!
//! In: bytes and the moment they came. Out: lines or frames to the right place, stale and excess bytes as events.
//! Never: more kept than one line or frame.

use super::event::{Discard, InstrumentEvent};
use super::exchange::Dialect;
use super::limits::FLOOD_BURST_BYTES;
use super::machine::{Instrument, State};
use super::noise;
use crate::clock::Moment;
use crate::problem::fault::{FaultCode, shown_bytes};
use crate::wire::line::{LINE_BYTES_MAX, Piece};

impl Instrument {
    /// Takes bytes that arrived at `now`.
    pub fn receive(&mut self, now: Moment, bytes: &[u8], events: &mut Vec<InstrumentEvent>) {
        if bytes.is_empty() || matches!(self.state, State::Closed | State::Failed) {
            self.counts.dropped_bytes += bytes.len() as u64;
            return;
        }
        if let State::Waiting { what, deadline, .. } = self.state
            && now > deadline
        {
            self.expired(what, now, events);
            self.plan_wake();
            if self.state == State::Failed {
                return;
            }
        }
        let bytes = self.admitted(now, bytes, events);
        self.heard = true;
        match self.dialect {
            _ if matches!(self.state, State::Opening { .. }) => self.drain(now, bytes, events),
            Dialect::Lines { .. } => self.receive_lines(now, bytes, events),
            Dialect::Modbus { .. } => self.receive_frames(now, bytes, events),
            Dialect::ByHand => self.discard(bytes, Discard::Unasked, events),
        }
        let quiet = self.late_quiet();
        if let State::Quiet { until, at_most } = &mut self.state {
            *until = (now + quiet).max(*until).min(*at_most);
        }
        self.check_garbage(now, events);
        self.plan_wake();
    }

    /// The part of `bytes` that a line can carry; the rest is dropped.
    fn admitted<'b>(&mut self, now: Moment, bytes: &'b [u8], events: &mut Vec<InstrumentEvent>) -> &'b [u8] {
        let admission = self.flood.admit(bytes.len(), now);
        let (taken, dropped) = bytes.split_at(admission.taken);
        if !dropped.is_empty() {
            self.lines.skip_line();
            self.frame.clear();
            self.counts.dropped_bytes += dropped.len() as u64;
        }
        if admission.begins {
            let kib = FLOOD_BURST_BYTES / 1024;
            let seen = format!("more than {kib} KiB and more than its line can carry");
            self.fault(FaultCode::Overrun, seen, "see what else sends on this port", events);
            self.discard(dropped, Discard::Flood, events);
        }
        taken
    }

    fn drain(&mut self, now: Moment, bytes: &[u8], events: &mut Vec<InstrumentEvent>) {
        if let Some(last) = bytes.last() {
            self.mid_line = !matches!(last, b'\r' | b'\n');
        }
        if matches!(self.dialect, Dialect::Lines { .. }) {
            let senseless = noise::senseless(bytes);
            self.garbage.add(senseless, senseless, now);
        }
        self.discard(bytes, Discard::Early, events);
    }

    fn receive_lines(&mut self, now: Moment, mut bytes: &[u8], events: &mut Vec<InstrumentEvent>) {
        let mut lines = std::mem::take(&mut self.lines);
        while let Some(piece) = lines.next(&mut bytes) {
            match piece {
                Piece::Line(line) => self.line(now, line, events),
                Piece::TooLong(start) => {
                    let shown = shown_bytes(&start[..40.min(start.len())]);
                    let seen = format!("{LINE_BYTES_MAX} bytes without a line end, from {shown}");
                    self.fault(FaultCode::Frame, seen, "check the line end and the baud rate", events);
                    self.discard(start, Discard::Unasked, events);
                }
            }
        }
        let tail = lines.tail();
        if !tail.is_empty() {
            self.garbage.set_pending(noise::senseless(tail), now);
        }
        self.lines = lines;
    }

    pub(super) fn check_garbage(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        if self.state == State::Failed {
            return;
        }
        let Some(bytes) = self.garbage.verdict(now) else {
            return;
        };
        let seen = format!("{bytes} bytes in a row that mean nothing");
        self.fault(FaultCode::Garbage, seen, "check baud rate, parity and wiring", events);
        if !self.ready {
            self.state = State::Failed;
        }
    }
}
