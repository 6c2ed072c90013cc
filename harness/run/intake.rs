//! What the bench loop takes in: readings, acknowledgements, flags, questions, faults.
//!
//! In: what instruments report. Out: samples and events in the record, the step and the guard told of each reading.

use super::act::Question;
use super::bench::Bench;
use super::desk::Events;
use super::readings::Reading;
use crate::clock::Moment;
use crate::instrument::InstrumentEvent;
use crate::script::role::Role;

impl Bench<'_> {
    pub(super) fn take_events(&mut self, events: &mut Events, now: Moment) {
        for (instrument, event) in events.drain(..) {
            self.take_event(instrument, event, now);
        }
    }

    fn take_event(&mut self, instrument: usize, event: InstrumentEvent, now: Moment) {
        let name = &self.rig.instruments[instrument].name;
        match event {
            InstrumentEvent::Ready { identity } => {
                let text = crate::problem::safe_text(identity.as_deref().unwrap_or_default());
                self.context
                    .log
                    .event(now, "identified", &[("instrument", name), ("identity", &text)]);
                self.ready[instrument] = true;
                self.identities[instrument] = text;
            }
            InstrumentEvent::Reading {
                channel,
                value,
                at,
                round_trip,
                ..
            } => {
                if let Some(span) = round_trip {
                    self.timing.count(name, span);
                }
                self.take_reading(channel, Reading { at, value });
            }
            InstrumentEvent::Told {
                channel, value, at, ..
            } => {
                self.context.desk.acknowledged(channel);
                let role = &self.rig.channels[channel].role;
                if !matches!(role, Role::Heartbeat | Role::SafeState) {
                    self.context.log.sample(at, channel, value);
                }
            }
            InstrumentEvent::Flag { channel, flag, .. } => {
                tracing::trace!(role = %self.rig.channels[channel].role, ?flag, "flag");
            }
            InstrumentEvent::Question { channel, text } => {
                self.context.questions.push((Question::Channel(channel), text));
            }
            InstrumentEvent::Discarded { bytes, why } => {
                let bytes = crate::problem::fault::shown_bytes(&bytes);
                self.context.log.event(
                    now,
                    "discarded",
                    &[("instrument", name), ("why", &why.words()), ("bytes", &bytes)],
                );
            }
            InstrumentEvent::Fault(fault) => self.fail(fault, now),
        }
    }

    fn take_reading(&mut self, channel: usize, reading: Reading) {
        let role = &self.rig.channels[channel].role;
        self.context.readings.take(channel, reading);
        self.context.log.sample(reading.at, channel, reading.value);
        if let Some(act) = &mut self.act {
            act.reading(role, reading.at, reading.value);
        }
        if self.is_live()
            && let Err(fault) = self.context.guard.reading(role, reading.value)
            && self.why.is_none()
        {
            self.fail(fault, reading.at);
        }
    }
}
