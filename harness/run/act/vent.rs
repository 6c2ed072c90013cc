//! Stops the pump, opens the line and waits until the pressure is gone.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::role::Role;
use std::time::Duration;

/// Gauge pressure, kPa, below which a line counts as vented.
const VENTED_KPA: f64 = 10.0;

/// A vent in progress.
#[derive(Debug)]
pub(super) struct Vent {
    at_most: Duration,
    start: Option<Moment>,
}

impl Vent {
    pub(super) fn new(at_most_s: f64) -> Self {
        Vent {
            at_most: Duration::from_secs_f64(at_most_s.max(0.0)),
            start: None,
        }
    }
}

impl Act for Vent {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let start = match self.start {
            Some(start) => start,
            None => {
                bench.set(&Role::PumpDuty, 0.0, now)?;
                if bench.desk.channel(&Role::Solenoid).is_some() {
                    bench.set(&Role::Solenoid, 1.0, now)?;
                } else {
                    bench.questions.push("Vent the line at its bleed valve.".into());
                }
                bench.log.text(now, "vent", "");
                self.start = Some(now);
                now
            }
        };
        if bench
            .readings
            .fresh(&Role::LinePressure, now)
            .is_some_and(|p| p < VENTED_KPA)
        {
            bench.log.text(now, "vented", "");
            return Ok(Progress::Done);
        }
        if now.since(start) >= self.at_most {
            let seen = format!(
                "pressure is still there after {:.0} s",
                self.at_most.as_secs_f64()
            );
            return Err(Fault::new(
                FaultCode::RelayStuck,
                "line pressure",
                seen,
                "keep clear; vent the line by hand",
            ));
        }
        Ok(Progress::Until(start + self.at_most))
    }
}
