//! From an open port to an instrument that may be used.
//!
//! In: what the instrument answers to the identity query. Out: `Ready`, or why it is not. A device that restarts
//! when its port is opened gets the rig's `ready_within`: the tries are spread over it, and its banner is no answer.
//! Never: a setting before the identity is known.

use super::event::{Discard, InstrumentEvent};
use super::limits::{IDENTITY_LATE, IDENTITY_RETRIES, OLD_ERRORS_MAX, OPENING_DRAIN};
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::problem::fault::{FaultCode, shown_bytes};
use crate::wire::scpi;

impl Instrument {
    /// The port has been drained.
    pub(super) fn first_command(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) {
        if self.identity.is_some() {
            self.ask_identity(now, tx, events);
        } else {
            self.identified(now, None, events);
        }
    }

    pub(super) fn ask_identity(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) {
        self.tries += 1;
        self.send(What::Identity, now, tx, events);
    }

    /// No identity came in time: waits for the next try, or says why there is none.
    pub(super) fn identity_missed(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.owe_identity(now);
        if self.tries <= IDENTITY_RETRIES {
            let spread = self.ready_within * u32::from(self.tries) / u32::from(IDENTITY_RETRIES);
            let until = (self.opened + OPENING_DRAIN + spread).max(now);
            self.state = State::Pausing { until };
            return;
        }
        let asked = self.identity.as_ref().map_or("", |i| &i.shown).to_owned();
        let expect = self.identity.as_ref().map_or("", |i| &i.expect).to_owned();
        let tries = self.tries;
        let tail = shown_bytes(self.lines.tail());
        let (code, seen, help) = if let Some(wrong) = self.wrong.take().filter(|_| !self.garbage.is_no_text())
        {
            let seen = format!("\"{wrong}\" in answer to `{asked}`, asked {tries} times");
            (
                FaultCode::WrongDevice,
                seen,
                format!("expected an answer with \"{expect}\"; see which port is which"),
            )
        } else if self.garbage.has_senseless() {
            let seen = "what comes is no text".to_owned();
            let help = "check baud rate, parity and wiring".to_owned();
            (FaultCode::Garbage, seen, help)
        } else if self.echoed {
            let seen = format!("`{asked}` comes back and nothing else");
            (FaultCode::Echo, seen, "switch the echo of the device or of the line off".to_owned())
        } else if !tail.is_empty() {
            let seen = format!("\"{tail}\" without a line end in answer to `{asked}`");
            (FaultCode::Timeout, seen, "see what ends the device's lines".to_owned())
        } else {
            let seen = format!("nothing answers to `{asked}`, asked {tries} times");
            let help =
                "check power, cable and baud rate; some devices need DTR or longer to start (ready_within)";
            (FaultCode::Timeout, seen, help.to_owned())
        };
        self.state = State::Failed;
        self.fault(code, seen, &help, events);
    }

    /// The answer to an identity query that was given up may still come.
    pub(super) fn owe_identity(&mut self, now: Moment) {
        self.identity_owed = self.identity_owed.saturating_add(1);
        self.identity_until = now + IDENTITY_LATE.max(self.reply_within * 2);
    }

    /// The instrument is the expected one; old errors are read away before it is used.
    pub(super) fn identified(&mut self, now: Moment, line: Option<&[u8]>, events: &mut Vec<InstrumentEvent>) {
        self.wrong = line.map(|l| String::from_utf8_lossy(l).trim().to_owned());
        self.garbage.good();
        if let Some(version) = self.missing_version(line) {
            let seen = format!("it says \"{}\"", shown_bytes(line.unwrap_or_default().trim_ascii()));
            let help =
                format!("the rig was made for version {version}: check its commands, then change the rig");
            self.state = State::Failed;
            self.fault(FaultCode::Version, seen, &help, events);
            return;
        }
        self.state = State::Idle { not_before: now };
        if self.checks_errors() {
            self.errors_left = OLD_ERRORS_MAX;
        } else {
            self.become_ready(now, events);
        }
    }

    /// The firmware version that the rig names, where the identity does not show it.
    fn missing_version(&self, line: Option<&[u8]>) -> Option<String> {
        let version = self.identity.as_ref()?.version.as_ref()?;
        let line = String::from_utf8_lossy(line?);
        (!line.contains(version.as_str())).then(|| version.clone())
    }

    fn become_ready(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.ready = true;
        self.errors_left = 0;
        for poll in &mut self.polls {
            poll.due = if poll.is_on_request() { Moment::NEVER } else { now };
            poll.sequence = None;
        }
        self.find_next_due();
        events.push(InstrumentEvent::Ready { identity: self.wrong.take() });
    }

    /// A line while the error queue is read; whether it is an entry.
    pub(super) fn error_queue_line(
        &mut self,
        now: Moment,
        line: &[u8],
        events: &mut Vec<InstrumentEvent>,
    ) -> bool {
        let Some(entry) = scpi::error_entry(line) else {
            return false;
        };
        self.state = State::Idle { not_before: now };
        self.errors_left -= 1;
        if entry.code == 0 {
            self.errors_left = 0;
            if !self.ready {
                self.become_ready(now, events);
            }
            return true;
        }
        if self.ready {
            let seen = format!("error {}, \"{}\"", entry.code, entry.text);
            self.fault(FaultCode::Device, seen, "see the instrument's manual", events);
        } else {
            self.discard(line, Discard::Early, events);
        }
        if self.errors_left == 0 && !self.ready {
            self.state = State::Failed;
            let seen =
                format!("the error queue still holds \"{}\" after {OLD_ERRORS_MAX} readings", entry.text);
            self.fault(FaultCode::Device, seen, "clear the instrument's errors", events);
        }
        true
    }

    /// No entry of the error queue came in time.
    pub(super) fn errors_missed(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.errors_left = 0;
        let seen = format!("no answer to `{}`", scpi::ERROR_QUERY);
        self.fault(
            FaultCode::Timeout,
            seen,
            "leave the reading of the error queue out if it has none",
            events,
        );
        if self.ready {
            self.suspect = true;
            self.state = State::Idle { not_before: now };
        } else {
            self.state = State::Failed;
        }
    }
}
