//! What the bench loop takes in: readings, acknowledgements, flags, questions, faults.
//!
//! In: what instruments report. Out: samples and events in the record, the step and the guard told of each reading.

use super::act::Question;
use super::bench::Bench;
use super::credible::Verdict;
use super::desk::Events;
use super::guard::Guard;
use super::readings::Reading;
use super::snapshot::Stage;
use crate::clock::Moment;
use crate::instrument::InstrumentEvent;
use crate::script::role::Role;
use std::time::Duration;

/// A loop turn later than this excuses readings that nobody asked for meanwhile.
const STALL: Duration = Duration::from_millis(40);
/// A loop turn later than this voids what is being collected.
const GAP: Duration = Duration::from_millis(200);

impl Bench<'_> {
    /// Takes note of how late this turn of the loop is.
    pub(super) fn watch_the_loop(&mut self, now: Moment) {
        let late = now.since(self.wake);
        self.timing.count("loop lateness", late);
        if late > STALL {
            self.context.readings.stood_still(now);
        }
        if late > GAP && self.stage() == Stage::Playing {
            self.context.log.event(now, "gap", &[("seconds", &late.as_secs_f64())]);
            if let Some(act) = &mut self.act {
                act.gap(late);
            }
        }
    }

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
                self.context.log.event(now, "identified", &[("instrument", name), ("identity", &text)]);
                self.ready[instrument] = true;
                self.identities[instrument] = text;
            }
            InstrumentEvent::Reading { channel, value, at, round_trip, .. } => {
                if let Some(span) = round_trip {
                    self.timing.count(name, span);
                }
                self.take_reading(channel, Reading { at, value });
            }
            InstrumentEvent::Told { channel, value, at, .. } => {
                self.context.desk.acknowledged(channel);
                let role = &self.rig.channels[channel].role;
                if !matches!(role, Role::Heartbeat | Role::SafeState) {
                    self.context.log.sample(at, channel, value);
                }
            }
            InstrumentEvent::Flag { channel, flag, .. } => {
                let role = &self.rig.channels[channel].role;
                tracing::trace!(role = %role, ?flag, "flag");
                if let Some(act) = &mut self.act {
                    act.flag(role, flag);
                }
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
        let steadily = self.context.guard.steadily_on(reading.at);
        let verdict = self.credible.look(role, reading, steadily);
        if verdict == Verdict::Held {
            self.context.log.event(reading.at, "rejected", &[("role", role), ("value", &reading.value)]);
            self.context.readings.heard(channel, reading.at);
            self.limits(channel, reading);
            return;
        }
        self.context.readings.take(channel, reading);
        self.context.log.sample(reading.at, channel, reading.value);
        if let Some(act) = &mut self.act {
            act.reading(role, reading.at, reading.value);
        }
        if let (Verdict::Step(by_g), Role::CupMass) = (verdict, role) {
            self.fail(Guard::cup_step(by_g), reading.at);
        }
        self.limits(channel, reading);
    }

    /// Looks at the limits, whether the reading is credible or not.
    fn limits(&mut self, channel: usize, reading: Reading) {
        let role = &self.rig.channels[channel].role;
        if self.is_live()
            && self.why.is_none()
            && let Err(fault) = self.context.guard.reading(role, reading.value)
        {
            self.fail(fault, reading.at);
        }
    }
}
