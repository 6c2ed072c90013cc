//! What is done when an answer does not come.
//!
//! In: that a deadline has passed. Out: the query asked once more, or a fault. In between the instrument is brought
//! back into step: late answers are waited out, then a request is sent whose answer is known (the identity), or one
//! whose answer is thrown away; only then is an answer trusted again. Never: a late answer taken for the next one,
//! more than [`RESYNC_REQUESTS_MAX`] requests for that, or an endless repetition.

use super::event::{Discard, InstrumentEvent};
use super::exchange::{Ack, Purpose, Reply};
use super::limits::{
    HEARTBEATS_MISSED_MAX, LATE_QUIET, LOSSES_MAX, LOSSES_WITHIN, OWED_MAX, RESYNC_REQUESTS_MAX,
    SAFE_STATE_TRIES,
};
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode, shown_bytes};
use std::time::Duration;

impl Instrument {
    /// The answer to `what` did not come in time.
    pub(super) fn expired(&mut self, what: What, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.counts.missed += 1;
        match what {
            What::Identity => self.identity_missed(now, events),
            What::Errors => self.errors_missed(now, events),
            What::Poll(i) => self.poll_missed(i, now, events),
            What::Tell(i) => self.tell_missed(i, now, events),
            What::Probe => self.probe_missed(now, events),
        }
        self.lines.clear();
        self.frame.clear();
        self.garbage.give_up_pending(now);
    }

    fn poll_missed(&mut self, i: usize, now: Moment, events: &mut Vec<InstrumentEvent>) {
        if !self.retried {
            self.retried = true;
            self.retry = Some(i);
            self.begin_quiet(now);
            self.note_loss(now, events);
            return;
        }
        self.losses.clear();
        self.suspect = true;
        self.state = State::Idle { not_before: self.after_silence(now) };
        let (code, seen, help) = self.why_missed(&self.polls[i].shown);
        let who = &self.polls[i].targets[0].who;
        events.push(InstrumentEvent::Fault(Fault::new(code, who, seen, help)));
    }

    /// Answers that are lost again and again although the instrument answers the next time: somebody else reads them.
    fn note_loss(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.losses.retain(|at| now.since(*at) <= LOSSES_WITHIN);
        self.losses.push(now);
        if self.losses.len() < LOSSES_MAX {
            return;
        }
        self.losses.clear();
        let seen = format!(
            "{LOSSES_MAX} answers within {:.0} s came torn or not at all, and came when asked again",
            LOSSES_WITHIN.as_secs_f64()
        );
        let help = "another program may read from this port: close it";
        self.fault(FaultCode::SharedPort, seen, help, events);
    }

    /// What was seen in place of the answer to `asked`, and what to do.
    fn why_missed(&self, asked: &str) -> (FaultCode, String, &'static str) {
        let within_ms = self.reply_within.as_millis();
        let tail = if self.frame.is_empty() { self.lines.tail() } else { &self.frame };
        if let Some(difference) = &self.difference {
            let seen = format!("in answer to `{asked}`: {difference}");
            (FaultCode::Frame, seen, "compare the rig with what the instrument sends")
        } else if self.echoed {
            let seen = format!("`{asked}` comes back and no answer");
            (FaultCode::Echo, seen, "switch the echo of the device or of the line off")
        } else if tail.is_empty() {
            let seen = format!("no answer to `{asked}` within {within_ms} ms");
            (FaultCode::Timeout, seen, "check power and cable")
        } else {
            let seen = format!("only \"{}\" in answer to `{asked}` within {within_ms} ms", shown_bytes(tail));
            (FaultCode::Timeout, seen, "an answer ends with CR or LF: see what the instrument ends it with")
        }
    }

    fn tell_missed(&mut self, i: usize, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.state = State::Idle { not_before: self.after_silence(now) };
        let asked = match self.tells[i].ack {
            Ack::Repeat(_) => "the register written".to_owned(),
            _ => shown_bytes(self.sent_bytes.trim_ascii()),
        };
        let (mut code, seen, mut help) = self.why_missed(&asked);
        let tell = &mut self.tells[i];
        tell.missed = tell.missed.saturating_add(1);
        match tell.purpose {
            Purpose::SafeState => {
                help = "the safe state is not acknowledged: cut the 12 V feed by hand";
                if tell.missed < SAFE_STATE_TRIES {
                    tell.queued.get_or_insert(tell.sent);
                    self.safe = Some(i);
                }
            }
            Purpose::Heartbeat if tell.missed < HEARTBEATS_MISSED_MAX => {
                self.suspect = true;
                return;
            }
            Purpose::Heartbeat => {
                code = FaultCode::Heartbeat;
                self.suspect = true;
            }
            Purpose::Setting => self.suspect = true,
        }
        let who = &self.tells[i].who;
        events.push(InstrumentEvent::Fault(Fault::new(code, who, seen, help)));
    }

    /// How long silence has to last for late answers to be over.
    pub(super) fn late_quiet(&self) -> Duration {
        LATE_QUIET.min(self.reply_within / 2)
    }

    /// Waits for silence before the instrument is brought back into step.
    pub(super) fn begin_quiet(&mut self, now: Moment) {
        let quiet = self.late_quiet();
        self.probes = 0;
        self.thrown_away = false;
        self.state = State::Quiet { until: now + quiet, at_most: now + self.reply_within.max(quiet) };
    }

    /// Silence: sends a request whose answer shows that the instrument is in step.
    pub(super) fn probe(&mut self, now: Moment, tx: &mut Vec<u8>, events: &mut Vec<InstrumentEvent>) {
        if self.identity.is_none() && (self.thrown_away || self.sacrifice().is_none()) {
            self.back_in_step(now);
            return;
        }
        self.probes += 1;
        self.send(What::Probe, now, tx, events);
    }

    /// The query whose answer is thrown away where there is no identity to ask for.
    fn sacrifice(&self) -> Option<usize> {
        let on_wire = |i: &usize| !matches!(self.polls[*i].reply, Reply::Person);
        self.retry.or(Some(0)).filter(|i| *i < self.polls.len()).filter(on_wire)
    }

    /// Appends the request that identifies, or the one whose answer is thrown away.
    pub(super) fn write_probe(&self, tx: &mut Vec<u8>) {
        if let Some(identity) = &self.identity {
            tx.extend_from_slice(&identity.request);
        } else if let Some(i) = self.sacrifice() {
            tx.extend_from_slice(&self.polls[i].request);
        }
    }

    /// A line after such a request: the identity ends it, everything before is stale.
    pub(super) fn probe_line(&mut self, now: Moment, line: &[u8], events: &mut Vec<InstrumentEvent>) -> bool {
        if self.identity.is_none() {
            if (0..self.polls.len()).any(|i| self.fits(What::Poll(i), line)) {
                self.discard(line, Discard::Stale, events);
                return true;
            }
            return false;
        }
        let in_step = self.fits(What::Probe, line) && !self.is_echo(line);
        if in_step {
            self.back_in_step(now);
        }
        in_step
    }

    fn probe_missed(&mut self, now: Moment, events: &mut Vec<InstrumentEvent>) {
        if self.identity.is_some() {
            self.owe_identity(now);
        } else if self.heard {
            // The late answer and the one thrown away may come close together: the line has to fall silent after.
            self.begin_quiet(now);
            self.thrown_away = true;
            return;
        }
        if self.heard && self.probes < RESYNC_REQUESTS_MAX {
            let probes = self.probes;
            self.begin_quiet(now);
            self.probes = probes;
            return;
        }
        self.suspect = true;
        self.retried = false;
        self.losses.clear();
        self.state = State::Idle { not_before: self.after_silence(now) };
        let (who, asked) = match self.retry.take() {
            Some(i) => (self.polls[i].targets[0].who.clone(), format!(" to `{}`", self.polls[i].shown)),
            None => (self.name.clone(), String::new()),
        };
        let (code, seen) = if self.heard {
            let tries = self.probes;
            let seen = format!(
                "answers still belong to earlier requests after {tries} requests to come back into step"
            );
            (FaultCode::Stale, seen)
        } else {
            let seen = format!(
                "no answer{asked} within {} ms, nor to a second request",
                self.reply_within.as_millis()
            );
            (FaultCode::Timeout, seen)
        };
        events.push(InstrumentEvent::Fault(Fault::new(code, who, seen, "check power and cable")));
    }

    fn back_in_step(&mut self, now: Moment) {
        self.counts.resyncs += 1;
        self.suspect = false;
        self.owed.clear();
        self.state = State::Idle { not_before: self.after_silence(now) };
    }

    /// The instrument has restarted: what was under way will not be answered.
    pub(super) fn after_restart(&mut self, now: Moment) {
        let safe_state = |i: usize| self.tells[i].purpose == Purpose::SafeState;
        if let State::Waiting { what: What::Tell(i), .. } = self.state
            && safe_state(i)
        {
            return;
        }
        self.retry = None;
        self.retried = false;
        self.owed.clear();
        self.clear_tells();
        self.state = State::Idle { not_before: self.after_silence(now) };
    }

    /// Gives up the request that is under way; its answer may still come.
    pub(super) fn abandon(&mut self, now: Moment) {
        let State::Waiting { what, .. } = self.state else {
            return;
        };
        match what {
            What::Identity => {}
            What::Probe if self.identity.is_some() => self.owe_identity(now),
            What::Probe => self.suspect = true,
            What::Errors | What::Poll(_) | What::Tell(_) if self.owed.len() < OWED_MAX => {
                self.owed.push((what, now + self.reply_within * 2));
            }
            What::Errors | What::Poll(_) | What::Tell(_) => self.suspect = true,
        }
    }
}
