//! Stops the pump, opens the line and waits until the pressure is gone.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::role::Role;
use std::time::Duration;

/// Gauge pressure, kPa, below which a line counts as vented.
const VENTED_KPA: f64 = 10.0;

/// Readings by a person that may still show pressure.
const LOOKS_MAX: u32 = 10;

/// A vent in progress.
#[derive(Debug)]
pub(super) struct Vent {
    at_most: Duration,
    start: Option<Moment>,
    /// Readings by a person that still showed pressure.
    looks: u32,
    read: bool,
}

impl Vent {
    pub(super) fn new(at_most_s: f64) -> Self {
        Vent { at_most: Duration::from_secs_f64(at_most_s.max(0.0)), start: None, looks: 0, read: false }
    }

    /// A person reads the gauge, once more where it still shows pressure.
    fn by_hand(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        if std::mem::take(&mut self.read) {
            self.looks += 1;
            if self.looks >= LOOKS_MAX {
                return Err(stays(&format!("the gauge was read {LOOKS_MAX} times and still shows pressure")));
            }
            bench.notes.push("The line is not vented: keep clear, and vent it.".into());
            bench.desk.request(&[Role::LinePressure], now);
        }
        Ok(Progress::Until(Moment::NEVER))
    }
}

fn stays(seen: &str) -> Fault {
    Fault::new(FaultCode::RelayStuck, "line pressure", seen, "keep clear; vent the line by hand")
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
                    bench.notes.push("Vent the line at its bleed valve.".into());
                }
                bench.desk.request(&[Role::LinePressure], now);
                bench.log.text(now, "vent", "");
                self.start = Some(now);
                now
            }
        };
        if bench.readings.fresh(&Role::LinePressure, now).is_some_and(|p| p < VENTED_KPA) {
            bench.log.text(now, "vented", "");
            return Ok(Progress::Done);
        }
        if bench.by_hand(&Role::LinePressure) {
            return self.by_hand(bench, now);
        }
        if now.since(start) >= self.at_most {
            let seen = format!("pressure is still there after {:.0} s", self.at_most.as_secs_f64());
            return Err(stays(&seen));
        }
        Ok(Progress::Until(start + self.at_most))
    }

    fn reading(&mut self, role: &Role, _at: Moment, _value: f64) {
        self.read |= *role == Role::LinePressure;
    }
}
