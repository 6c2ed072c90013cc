//! Sets roles, and waits until the instruments have taken them.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::role::Role;
use std::time::Duration;

/// Longest wait for an instrument to take a set point.
const TAKEN_WITHIN: Duration = Duration::from_secs(2);

/// Sets roles.
#[derive(Debug)]
pub(super) struct Set {
    values: Vec<(Role, f64)>,
    sent: Option<Moment>,
}

impl Set {
    pub(super) fn new(values: Vec<(Role, f64)>) -> Self {
        Set { values, sent: None }
    }
}

impl Act for Set {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let sent = match self.sent {
            Some(sent) => sent,
            None => {
                for (role, value) in &self.values {
                    bench.set(role, *value, now)?;
                }
                let detail: Vec<String> = self.values.iter().map(|(r, v)| format!("{r}={v}")).collect();
                bench.log.text(now, "set", &detail.join(";"));
                self.sent = Some(now);
                now
            }
        };
        let Some((role, _)) = self.values.iter().find(|(role, _)| bench.desk.is_pending(role)) else {
            return Ok(Progress::Done);
        };
        if bench.by_hand(role) {
            // A person takes the time it takes.
            return Ok(Progress::Until(Moment::NEVER));
        }
        if now.since(sent) >= TAKEN_WITHIN {
            let seen = "the instrument did not take the set point in time";
            return Err(Fault::new(
                FaultCode::Timeout,
                role.word(),
                seen,
                "check the instrument and its cable",
            ));
        }
        Ok(Progress::Until(sent + TAKEN_WITHIN))
    }
}
