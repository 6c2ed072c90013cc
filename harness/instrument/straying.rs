//! Lines that nobody asked for, or that are not what was asked for.
//!
//! In: a line that is no answer and is not listened for. Out: a restart, a refusal, another unit, an echo, a stale
//! answer, or garbage. Never: a reading.

use super::deliver::other_unit;
use super::event::{Discard, InstrumentEvent};
use super::exchange::{Ack, Reply};
use super::machine::{Instrument, State, What};
use super::noise;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode, shown_bytes};
use crate::wire::number::NumberProblem;
use crate::wire::pattern::Pattern;
use crate::wire::scpi::{self, FieldsProblem};
use crate::wire::text::{Capture, Expected, Mismatch};

impl Instrument {
    /// Takes a line that is no answer and is not listened for.
    pub(super) fn stray(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) {
        if self.is_echo(line) {
            self.echoed = true;
            self.discard(line, Discard::Echo, events);
        } else if self.identity.as_ref().is_some_and(|i| i.is_in(line)) {
            self.identity_unasked(now, line, events);
        } else if !self.ready {
            self.wrong = Some(shown_bytes(line));
            let senseless = noise::senseless(line);
            self.garbage.add(senseless, senseless, now);
            self.discard(line, Discard::Early, events);
        } else if matches!(self.state, State::Quiet { .. } | State::Waiting { what: What::Probe, .. }) {
            self.discard(line, Discard::Stale, events);
        } else {
            self.unexpected(now, line, events);
        }
    }

    /// The identity that nobody asked for: the instrument has restarted, unless it is an answer that comes late.
    fn identity_unasked(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) {
        if !self.ready {
            if self.errors_left == 0 {
                self.identified(now, Some(line), events);
            } else {
                self.discard(line, Discard::Stale, events);
            }
        } else if self.identity_owed > 0 && now <= self.identity_until {
            self.identity_owed -= 1;
            self.discard(line, Discard::Stale, events);
        } else {
            self.identity_owed = 0;
            let seen = format!("its banner \"{}\" came unasked", shown_bytes(line));
            let help = "look for a dip of the supply when the pump starts; its outputs are to be armed again";
            self.fault(FaultCode::DeviceRebooted, seen, help, events);
            self.after_restart(now);
        }
    }

    /// Whether a line is what was sent last.
    pub(super) fn is_echo(&self, line: &[u8]) -> bool {
        let ends = |b: &u8| matches!(b, b'\r' | b'\n');
        let line = line.trim_ascii();
        !line.is_empty() && self.sent_bytes.split(ends).any(|sent| sent.trim_ascii() == line)
    }

    fn unexpected(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) {
        let waiting = match self.state {
            State::Waiting { what: what @ (What::Poll(_) | What::Tell(_)), .. } => Some(what),
            _ => None,
        };
        if let Some(what) = waiting
            && is_refusal(line)
        {
            self.refused(what, now, line, events);
            return;
        }
        self.discard(line, Discard::Unasked, events);
        if let Some(fault) = self.wrong_unit(line) {
            if self.is_fresh_fault(fault.code) {
                events.push(InstrumentEvent::Fault(fault));
            }
            return;
        }
        self.garbage.add(line.len(), noise::senseless(line), now);
        if let Some((difference, marks)) = self.difference_of(waiting, line) {
            if marks && self.is_fresh_fault(FaultCode::Frame) {
                let seen = format!("\"{}\": {difference}", shown_bytes(line));
                self.fault(FaultCode::Frame, seen, "declare the decimal mark the instrument uses", events);
            }
            self.difference = Some(format!("\"{}\": {difference}", shown_bytes(line)));
        }
        if waiting.is_none() && (0..self.polls.len()).any(|i| self.fits(What::Poll(i), line)) {
            self.suspect = true;
        }
    }

    /// The instrument refuses what was asked.
    fn refused(&mut self, what: What, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) {
        let (who, asked) = match what {
            What::Poll(i) => (self.polls[i].targets[0].who.clone(), self.polls[i].shown.clone()),
            What::Tell(i) => (self.tells[i].who.clone(), shown_bytes(self.sent_bytes.trim_ascii())),
            What::Identity | What::Errors | What::Probe => return,
        };
        let seen = format!("\"{}\" in answer to `{asked}`", shown_bytes(line));
        let help = "compare the command with the instrument's manual";
        events.push(InstrumentEvent::Fault(Fault::new(FaultCode::Device, who, seen, help)));
        self.garbage.good();
        self.state = State::Idle { not_before: self.after_silence(now) };
    }

    /// The fault for a line that shows another unit than a pattern with `{unit}` is scaled for.
    fn wrong_unit(&self, line: &[u8]) -> Option<Fault> {
        let polled = self.polls.iter().filter_map(|p| match &p.reply {
            Reply::Line(pattern) if pattern.has_unit() => Some(&p.targets),
            _ => None,
        });
        let heard = self.listens.iter().filter(|l| l.pattern.has_unit()).map(|l| &l.targets);
        polled.chain(heard).find_map(|targets| other_unit(targets, line))
    }

    /// How a line differs from what is awaited, or else listened for; and whether it is by the decimal mark.
    fn difference_of(&self, waiting: Option<What>, line: &[u8]) -> Option<(String, bool)> {
        let by_pattern = |pattern: &Pattern| {
            let mismatch = pattern.read(line, &mut Capture::default()).err()?;
            Some((mismatch.to_string(), is_mark(mismatch)))
        };
        match waiting {
            Some(What::Poll(i)) => match &self.polls[i].reply {
                Reply::Line(pattern) => by_pattern(pattern),
                Reply::Fields(count) => match scpi::numbers(line, *count, &mut Vec::new()) {
                    Err(FieldsProblem::Count(n)) => Some((format!("{n} values in place of {count}"), false)),
                    Err(FieldsProblem::Number(_, why)) => Some((why.to_string(), false)),
                    Ok(()) => None,
                },
                Reply::Registers(_) | Reply::Person => None,
            },
            Some(What::Tell(i)) => match &self.tells[i].ack {
                Ack::Line(pattern) => by_pattern(pattern),
                Ack::ErrorQueue => Some(("no entry of an error queue".to_owned(), false)),
                Ack::None | Ack::Repeat(_) | Ack::Person => None,
            },
            _ => self.listens.iter().find_map(|l| by_pattern(&l.pattern).filter(|(_, mark)| *mark)),
        }
    }

    /// Whether a fault of the whole line has not been reported since the last good reading; marks it as reported.
    fn is_fresh_fault(&mut self, code: FaultCode) -> bool {
        let polled = self.polls.iter_mut().flat_map(|p| &mut p.targets);
        let heard = self.listens.iter_mut().flat_map(|l| &mut l.targets);
        let mut fresh = false;
        for target in polled.chain(heard) {
            fresh |= target.latched != Some(code);
            target.latched = Some(code);
        }
        fresh
    }
}

/// Whether a number is refused for its decimal mark alone.
fn is_mark(mismatch: Mismatch) -> bool {
    matches!(mismatch.expected, Expected::Number(NumberProblem::WrongMark | NumberProblem::ThousandsMark))
}

/// Words with which text devices refuse a command (common practice, no source).
fn is_refusal(line: &[u8]) -> bool {
    let line = line.trim_ascii();
    let starts = |word: &[u8]| line.get(..word.len()).is_some_and(|l| l.eq_ignore_ascii_case(word));
    line == b"?" || starts(b"ERR") || starts(b"NAK")
}
