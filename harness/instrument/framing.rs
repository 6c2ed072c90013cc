//! Modbus frames as answers.
//!
//! In: bytes in any pieces. Out: readings, acknowledgements, refusals. Never: an answer of another unit, function,
//! length or register.

use super::deliver::{Occasion, deliver};
use super::event::{Discard, InstrumentEvent};
use super::exchange::{Ack, Dialect, Reply};
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::wire::Decoded;
use crate::wire::modbus::{Exception, Request, Response};

impl Instrument {
    /// Takes bytes of a Modbus line.
    pub(super) fn receive_frames(&mut self, now: Moment, bytes: &[u8], events: &mut Vec<InstrumentEvent>) {
        let Dialect::Modbus { unit, .. } = self.dialect else {
            return;
        };
        let mut frame = std::mem::take(&mut self.frame);
        frame.extend_from_slice(bytes);
        let mut start = 0;
        while start < frame.len() {
            let rest = &frame[start..];
            let State::Waiting { what, sent, .. } = self.state else {
                break;
            };
            let Some(request) = self.request_of(what) else {
                break;
            };
            match request.decode(unit, rest) {
                Decoded::NeedMore => break,
                Decoded::Bad { skip, why } => {
                    self.difference = Some(why.to_string());
                    self.garbage.add(skip, skip, now);
                    self.discard(&rest[..skip], Discard::Frame, events);
                    start += skip;
                }
                Decoded::Message { message, used } => {
                    self.message(what, sent, now, message, events);
                    start += used;
                }
            }
        }
        match self.state {
            State::Waiting { what: What::Poll(_) | What::Tell(_), .. } => drop(frame.drain(..start)),
            State::Waiting { what: What::Probe, .. } | State::Quiet { .. } => {
                self.discard(&frame[start..], Discard::Stale, events);
                frame.clear();
            }
            _ => {
                let excess = frame.len() - start;
                self.garbage.add(excess, excess, now);
                self.discard(&frame[start..], Discard::Unasked, events);
                frame.clear();
            }
        }
        self.frame = frame;
    }

    fn request_of(&self, what: What) -> Option<Request> {
        match what {
            What::Poll(i) => match self.polls[i].reply {
                Reply::Registers(request) => Some(request),
                Reply::Fields(_) | Reply::Line(_) | Reply::Person => None,
            },
            What::Tell(i) => match self.tells[i].ack {
                Ack::Repeat(request) => Some(request),
                Ack::None | Ack::Line(_) | Ack::ErrorQueue | Ack::Person => None,
            },
            What::Identity | What::Errors | What::Probe => None,
        }
    }

    fn message(
        &mut self,
        what: What,
        sent: Moment,
        now: Moment,
        message: Response<'_>,
        events: &mut Vec<InstrumentEvent>,
    ) {
        match (what, message) {
            (What::Poll(i), Response::Registers(registers)) => {
                let (at, round_trip) = self.answered(sent, now);
                let occasion = Occasion { at, round_trip: Some(round_trip), flag: None };
                let value = |t: &super::exchange::Target| Some((t.kind.number(registers)?, None));
                deliver(&mut self.polls[i].targets, occasion, value, events);
            }
            (What::Tell(i), Response::Written) => self.told(i, sent, now, events),
            (What::Poll(i), Response::Refused(exception)) => {
                self.answered(sent, now);
                let target = &mut self.polls[i].targets[0];
                if target.latched != Some(FaultCode::Device) {
                    target.latched = Some(FaultCode::Device);
                    let (who, asked) = (target.who.clone(), self.polls[i].shown.clone());
                    events.push(refusal(who, exception, &asked));
                }
            }
            (What::Tell(i), Response::Refused(exception)) => {
                self.answered(sent, now);
                let tell = &self.tells[i];
                events.push(refusal(tell.who.clone(), exception, &format!("setting {}", tell.sent)));
            }
            // A request decides what its answer can be; nothing else comes out of its decoder.
            _ => {}
        }
    }
}

fn refusal(who: String, exception: Exception, asked: &str) -> InstrumentEvent {
    let seen = format!("{exception}, in answer to {asked}");
    let help = "compare register and function with the instrument's manual";
    InstrumentEvent::Fault(Fault::new(FaultCode::Device, who, seen, help))
}
