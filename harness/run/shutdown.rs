//! The one way to the safe state: pump off, solenoid closed, and seen to be so.
//!
//! In: why the run ends, readings, acknowledgements. Out: commands, and what was seen. Every ending goes through
//! here: the end of the plan, a fault, a signal, a limit, a panic.

use super::act::Context;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::role::Role;
use std::time::Duration;

/// Gauge pressure, kPa (20 psi), that may not stay once the pump is off.
const GONE_KPA: f64 = 138.0;
/// Pressure still there after this long means that something keeps pumping.
const STUCK_AFTER: Duration = Duration::from_secs(3);
/// Time between repeated commands while the device does not confirm.
const REPEAT: Duration = Duration::from_millis(200);
/// The same where a person is asked to switch the pump off.
const PERSON_WITHIN: Duration = Duration::from_secs(120);
/// Longest wait for a confirmation that does not come, where pressure cannot be read either.
const CONFIRM_WITHIN: Duration = Duration::from_secs(1);

/// What was seen of the safe state.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// In words.
    pub words: String,
    /// Whether it was verified.
    pub verified: bool,
    /// A fault that was met on the way, such as pressure that stays.
    pub fault: Option<Fault>,
}

/// The way to the safe state, in progress.
#[derive(Debug)]
pub struct Shutdown {
    start: Moment,
    next_command: Moment,
    traps_pressure: bool,
    /// Whether the port that can switch the pump off still answers.
    control_lost: bool,
    /// Whether the operator's input has ended.
    nobody: bool,
    /// When the solenoid was told to close.
    closing: Option<Moment>,
}

impl Shutdown {
    /// Starts at `now`; with `traps_pressure` the step had closed the line on purpose.
    #[must_use]
    pub fn new(now: Moment, traps_pressure: bool, control_lost: bool) -> Self {
        Shutdown { start: now, next_command: now, traps_pressure, control_lost, nobody: false, closing: None }
    }

    /// The same where the operator's input may have ended: no answer is waited for.
    #[must_use]
    pub fn with_nobody(mut self, nobody: bool) -> Self {
        self.nobody = nobody;
        self
    }

    /// Goes on; the answer once the safe state is seen, or will not be.
    pub fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Option<Seen> {
        let drives = bench.desk.channel(&Role::SafeState).is_some();
        let by_hand = bench.by_hand(&Role::SafeState);
        let confirmed = drives && now > self.start && !bench.desk.is_pending(&Role::SafeState);
        if drives && !self.control_lost && now >= self.next_command && (now == self.start || !confirmed) {
            self.command(bench, now);
            self.next_command = if by_hand { Moment::NEVER } else { now + REPEAT };
        }
        let after = |role: &Role| bench.readings.latest(role).filter(|r| r.at > self.start).map(|r| r.value);
        let has = |role: &Role| bench.desk.channel(role).is_some();
        let off = after(&Role::OutputOn).map(|on| on < 0.5);
        let gone = after(&Role::LinePressure).map(|p| p < GONE_KPA);
        // A person who switches the pump off watches the gauge fall, as asked.
        let pressure_matters =
            has(&Role::LinePressure) && !self.traps_pressure && !bench.by_hand(&Role::LinePressure);
        let off_seen = confirmed && (!has(&Role::OutputOn) || off == Some(true));
        if off_seen && (!pressure_matters || gone == Some(true)) {
            if self.closes(bench, now) {
                return None;
            }
            return Some(self.verified(bench, now));
        }
        if !drives && (!pressure_matters || gone == Some(true)) {
            let words = "this rig switches no pump; nothing was left to switch off".to_owned();
            return Some(Seen { words, verified: true, fault: None });
        }
        let waited = now.since(self.start);
        if pressure_matters && gone == Some(false) {
            return (waited >= STUCK_AFTER).then(|| self.stuck(bench));
        }
        let patience = if by_hand && !self.nobody { PERSON_WITHIN } else { CONFIRM_WITHIN };
        if waited < patience {
            return None;
        }
        Some(self.unconfirmed(gone == Some(true)))
    }

    /// The next moment to look.
    #[must_use]
    pub fn wake(&self, now: Moment) -> Moment {
        let soon = now + Duration::from_millis(20);
        self.next_command.max(soon).min((self.start + STUCK_AFTER).max(soon))
    }

    /// What is seen where nobody waited for it.
    #[must_use]
    pub fn cut_short() -> Seen {
        Seen {
            words: "the pump's off command was sent; a second signal ended the wait for its confirmation"
                .into(),
            verified: false,
            fault: None,
        }
    }

    /// Closes the solenoid once the line is empty: earlier it would trap the pressure that is to be seen falling.
    /// Whether its acknowledgement is still awaited.
    fn closes(&mut self, bench: &mut Context<'_>, now: Moment) -> bool {
        if bench.desk.channel(&Role::Solenoid).is_none() || self.traps_pressure {
            return false;
        }
        let since = *self.closing.get_or_insert_with(|| {
            let _ = bench.desk.set_urgent(&Role::Solenoid, 0.0, now);
            now
        });
        bench.desk.is_pending(&Role::Solenoid) && now.since(since) < REPEAT
    }

    fn command(&self, bench: &mut Context<'_>, now: Moment) {
        bench.guard.commanded(&Role::SafeState, 1.0, now);
        // A refusal here would be a rig without such a channel, which `advance` has looked for.
        let _ = bench.desk.set_urgent(&Role::SafeState, 1.0, now);
        bench.log.text(now, "safe_state_sent", "");
    }

    fn verified(&self, bench: &Context<'_>, now: Moment) -> Seen {
        let after_ms = now.since(self.start).as_secs_f64() * 1e3;
        let pressure = if self.traps_pressure {
            "; pressure is trapped on purpose: vent the line"
        } else if bench.desk.channel(&Role::LinePressure).is_some() {
            ", pressure gone"
        } else {
            ""
        };
        if bench.by_hand(&Role::SafeState) {
            return Seen {
                words: format!(
                    "the operator switched the pump off{}",
                    if self.traps_pressure { pressure } else { "" }
                ),
                verified: true,
                fault: None,
            };
        }
        let read_back =
            if bench.desk.channel(&Role::OutputOn).is_some() { "output reads back off" } else { "confirmed" };
        Seen {
            words: format!("pump off after {after_ms:.0} ms: {read_back}{pressure}"),
            verified: true,
            fault: None,
        }
    }

    fn stuck(&self, bench: &Context<'_>) -> Seen {
        let p = bench.readings.latest(&Role::LinePressure).map_or(f64::NAN, |r| r.value);
        let seen = format!("{p:.0} kPa {:.0} s after the pump was switched off", STUCK_AFTER.as_secs_f64());
        let help = "cut the 12 V feed with the emergency stop now; the relay or driver may be welded";
        let fault = Fault::new(FaultCode::RelayStuck, "line pressure", seen.clone(), help);
        Seen { words: format!("NOT SAFE: {seen}; {help}"), verified: false, fault: Some(fault) }
    }

    fn unconfirmed(&self, pressure_gone: bool) -> Seen {
        let help = "cut the 12 V feed with the emergency stop";
        let pressure = if pressure_gone { "line pressure is gone" } else { "line pressure is not seen" };
        let words = format!("the pump driver does not confirm that it is off ({pressure}); {help}");
        let fault = Fault::new(FaultCode::ControlLost, "pump driver", words.clone(), help);
        Seen { words, verified: false, fault: Some(fault) }
    }
}
