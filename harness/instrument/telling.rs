//! Settings, heartbeat, safe state.
//!
//! In: values in role units. Out: commands and their acknowledgements. A newer value replaces one of the same channel
//! that was not sent yet. The safe state is sent at once, whatever is under way, and forgets every setting that was
//! to be sent. Never: a value that is not finite or outside its channel's range; a setting sent after a safe state
//! that came later than it.

use super::event::InstrumentEvent;
use super::exchange::{Ack, Command, Dialect, Purpose, Tell};
use super::limits::OLD_ERRORS_MAX;
use super::machine::{Instrument, State, What};
use super::sending::ERROR_REQUEST;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::quantity::{self, Units};
use crate::wire::scpi;

impl Instrument {
    /// Queues a setting, role units.
    ///
    /// # Errors
    /// `CONFIG` for a value that may not be sent, `CONTROL_LOST` without a port.
    pub fn tell(&mut self, channel: usize, value: f64, _now: Moment) -> Result<(), Fault> {
        let i = self.checked(channel, value)?;
        if self.tells[i].queued.replace(value).is_none() {
            self.queue.push_back(i);
        }
        self.plan_wake();
        Ok(())
    }

    /// Queues a setting before all queries and other settings; the safe state is sent with the next
    /// [`Instrument::advance`], even while an answer is awaited.
    ///
    /// # Errors
    /// `CONFIG` for a value that may not be sent, `CONTROL_LOST` without a port.
    pub fn tell_urgent(&mut self, channel: usize, value: f64, _now: Moment) -> Result<(), Fault> {
        let i = self.checked(channel, value)?;
        let waited = self.tells[i].queued.replace(value).is_some();
        if self.tells[i].purpose == Purpose::SafeState {
            self.tells[i].missed = 0;
            self.queue.retain(|&queued| queued != i);
            self.safe = Some(i);
        } else if !(waited && self.urgent.contains(&i)) {
            self.queue.retain(|&queued| queued != i);
            self.urgent.push_back(i);
        }
        self.plan_wake();
        Ok(())
    }

    /// The bytes that set a channel, whatever the state of the exchange: for the moment when nothing else works any
    /// more. Empty for a channel that it does not set.
    #[must_use]
    pub fn command_bytes(&self, channel: usize, value: f64) -> Vec<u8> {
        let mut bytes = Vec::new();
        if let Some(tell) = self.tells.iter().find(|t| t.channel == channel) {
            put(tell, &self.dialect, value, &mut bytes);
        }
        bytes
    }

    fn checked(&self, channel: usize, value: f64) -> Result<usize, Fault> {
        let config =
            |who: &str, seen: String, help: &str| Err(Fault::new(FaultCode::Config, who, seen, help));
        let Some(i) = self.tells.iter().position(|t| t.channel == channel) else {
            return config(
                &self.name,
                format!("channel {channel} is not set by it"),
                "see the rig's channels",
            );
        };
        let tell = &self.tells[i];
        let (low, high) = tell.range;
        if tell.purpose == Purpose::Setting && !(low..=high).contains(&value) {
            let seen = format!("{value} may not be sent");
            return config(&tell.who, seen, &format!("the channel's range is {low} to {high}"));
        }
        if !tell.raw(value).is_finite() {
            return config(&tell.who, format!("{value} may not be sent"), "only finite values may");
        }
        if matches!(tell.command, Command::Register { .. }) && tell.request(value).is_none() {
            return config(
                &tell.who,
                format!("{value} does not fit its register"),
                "see the register's kind",
            );
        }
        if matches!(self.state, State::Closed | State::Failed) && tell.purpose != Purpose::SafeState
            || self.state == State::Closed
        {
            let help = "cut the 12 V feed by hand if the pump runs";
            return Err(Fault::new(FaultCode::ControlLost, &tell.who, "no instrument to send it to", help));
        }
        Ok(i)
    }

    /// Forgets every setting that was to be sent, except heartbeats.
    pub(super) fn clear_tells(&mut self) {
        for &i in &self.queue {
            self.tells[i].queued = None;
        }
        self.queue.clear();
        let tells = &mut self.tells;
        self.urgent.retain(|&i| {
            let keep = tells[i].purpose == Purpose::Heartbeat;
            if !keep {
                tells[i].queued = None;
            }
            keep
        });
    }

    /// Whether the answer to setting `i` is awaited.
    pub(super) fn is_under_way(&self, i: usize) -> bool {
        matches!(self.state, State::Waiting { what: What::Tell(j), .. } if i == j)
    }

    /// Sends the safe state over whatever is under way; whether something was sent. An instrument that is not
    /// identified yet is sent it too, without waiting for an answer.
    pub(super) fn preempt(
        &mut self,
        now: Moment,
        tx: &mut Vec<u8>,
        events: &mut Vec<InstrumentEvent>,
    ) -> bool {
        let Some(i) = self.safe.filter(|i| !self.is_under_way(*i)) else {
            return false;
        };
        self.safe = None;
        self.clear_tells();
        if !self.ready {
            self.write_tell(i, now, tx, &mut Vec::new());
            return true;
        }
        self.abandon(now);
        self.retry = None;
        self.retried = false;
        self.errors_left = 0;
        self.send(What::Tell(i), now, tx, events);
        if matches!(self.tells[i].ack, Ack::None) && !self.owed.is_empty() {
            self.suspect = true;
        }
        true
    }

    /// Appends the command of setting `i`; whether an acknowledgement follows. Without one it counts as told.
    pub(super) fn write_tell(
        &mut self,
        i: usize,
        now: Moment,
        tx: &mut Vec<u8>,
        events: &mut Vec<InstrumentEvent>,
    ) -> bool {
        let tell = &mut self.tells[i];
        let value = tell.queued.take().unwrap_or(tell.sent);
        tell.sent = value;
        match &tell.command {
            Command::Person { request, dimension } => {
                let shown = quantity::show(value, *dimension, Units::Metric);
                let text = if request.contains("{value}") {
                    request.replace("{value}", &shown)
                } else if tell.purpose == Purpose::Setting {
                    format!("{request} ({shown})")
                } else {
                    request.clone()
                };
                let channel = tell.channel;
                events.push(InstrumentEvent::Question { channel, text });
            }
            Command::Line(_) | Command::Register { .. } => {
                put(tell, &self.dialect, value, tx);
                if let Some(request) = tell.request(value) {
                    tell.ack = Ack::Repeat(request);
                }
            }
        }
        match tell.ack {
            Ack::None => {
                let (channel, round_trip) = (tell.channel, None);
                events.push(InstrumentEvent::Told { channel, value, at: now, round_trip });
                return false;
            }
            Ack::ErrorQueue => tx.extend_from_slice(ERROR_REQUEST),
            Ack::Line(_) | Ack::Repeat(_) | Ack::Person => {}
        }
        true
    }

    /// A line while an acknowledgement is awaited; whether it is one.
    pub(super) fn tell_line(
        &mut self,
        i: usize,
        sent: Moment,
        now: Moment,
        line: &[u8],
        events: &mut Vec<InstrumentEvent>,
    ) -> bool {
        if !self.fits(What::Tell(i), line) {
            return false;
        }
        if matches!(self.tells[i].ack, Ack::ErrorQueue)
            && let Some(entry) = scpi::error_entry(line)
            && entry.code != 0
        {
            self.answered(sent, now);
            self.errors_left = OLD_ERRORS_MAX;
            let tell = &self.tells[i];
            let seen = format!("error {}, \"{}\" after setting {}", entry.code, entry.text, tell.sent);
            let fault = Fault::new(FaultCode::Device, &tell.who, seen, "see the instrument's manual");
            events.push(InstrumentEvent::Fault(fault));
            return true;
        }
        self.told(i, sent, now, events);
        true
    }

    /// Setting `i` is acknowledged.
    pub(super) fn told(&mut self, i: usize, sent: Moment, now: Moment, events: &mut Vec<InstrumentEvent>) {
        let (at, round_trip) = self.answered(sent, now);
        let tell = &mut self.tells[i];
        tell.missed = 0;
        let (channel, value, round_trip) = (tell.channel, tell.sent, Some(round_trip));
        events.push(InstrumentEvent::Told { channel, value, at, round_trip });
    }

    /// Whether the error queue is read after each setting.
    pub(super) const fn checks_errors(&self) -> bool {
        matches!(self.dialect, Dialect::Lines { check_errors: true, .. })
    }
}
/// Appends the bytes of a command; nothing where a person is told.
fn put(tell: &Tell, dialect: &Dialect, value: f64, tx: &mut Vec<u8>) {
    match (&tell.command, dialect) {
        (Command::Line(template), Dialect::Lines { end, .. }) => {
            template.write(tell.raw(value), tx);
            tx.extend_from_slice(end);
        }
        (Command::Register { .. }, Dialect::Modbus { unit, .. }) => {
            if let Some(request) = tell.request(value) {
                request.encode(*unit, tx);
            }
        }
        _ => {}
    }
}
