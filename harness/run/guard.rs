//! The interlocks: limits, staleness, on-time, emergency stop, heartbeat.
//!
//! In: readings, the time, what was commanded. Out: a fault, once something may not go on. A trip latches: the run
//! ends, and nothing here switches anything on. This program is not a safety device; see the README for the order
//! of trust.

use super::desk::Desk;
use super::readings::Readings;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::rig::Limits;
use crate::script::role::Role;
use std::time::Duration;

/// Time between heartbeats.
pub const BEAT: Duration = Duration::from_millis(100);
/// Time between checks of what is late or has lasted too long.
const CHECK: Duration = Duration::from_millis(50);
/// Time a read-back may take to follow a command.
const READ_BACK: Duration = Duration::from_millis(300);
/// Time after a command until pressure, jet and cup count as steady.
const STEADY_AFTER: Duration = Duration::from_secs(2);
/// Pump on this long at [`PRESSURE_DUTY_PCT`] or more must show [`PRESSURE_EXPECTED_KPA`].
const PRESSURE_AFTER: Duration = Duration::from_secs(3);
/// Duty, %, that lies above the dead band of any pump (common practice, no source).
const PRESSURE_DUTY_PCT: f64 = 40.0;
/// A change between a duty up to the first and one from the second on, %, is one that pressure must answer.
const ANSWERED_DUTIES_PCT: (f64, f64) = (40.0, 60.0);
/// The least it must move by, kPa: more than the noise behind a gauge that stands still, less than the noise of one that
/// is alive, and far less than such a change of duty makes on any pair (common practice, no source).
const ANSWER_KPA: f64 = 1.0;
/// Time within which it must.
const ANSWERED_WITHIN: Duration = Duration::from_secs(2);
/// Readings within that time from which on a gauge is judged: one that a person reads is not.
const ANSWER_READINGS: u32 = 10;
/// 5 psi.
const PRESSURE_EXPECTED_KPA: f64 = 34.5;

/// A pressure that has yet to answer a change of duty.
#[derive(Debug)]
struct Unanswered {
    since: Moment,
    /// Lowest and highest reading since.
    span_kpa: (f64, f64),
    readings: u32,
}

/// The interlocks of a run.
#[derive(Debug)]
pub struct Guard {
    limits: Limits,
    guarded: Vec<Role>,
    energised: Option<Moment>,
    /// When the pump was last told something else than before.
    changed: Moment,
    strong: Option<Moment>,
    duty_pct: f64,
    unanswered: Option<Unanswered>,
    next_beat: Moment,
    next_check: Moment,
    has_heartbeat: bool,
}

impl Guard {
    /// Interlocks for the effective limits of a plan.
    #[must_use]
    pub fn new(limits: Limits, desk: &Desk<'_>) -> Self {
        let guarded = [Role::LinePressure, Role::OutputOn, Role::EmergencyStop, Role::Supply, Role::CupMass];
        Guard {
            limits,
            guarded: guarded.into_iter().filter(|r| desk.channel(r).is_some()).collect(),
            energised: None,
            changed: Moment::START,
            strong: None,
            duty_pct: 0.0,
            unanswered: None,
            next_beat: Moment::START,
            next_check: Moment::START,
            has_heartbeat: desk.channel(&Role::Heartbeat).is_some(),
        }
    }

    /// Checks a set point before it leaves.
    ///
    /// # Errors
    /// `CONFIG` where it is not finite or outside the limits.
    pub fn permit(&self, role: &Role, value: f64) -> Result<(), Fault> {
        let (low, high) = self.limits.duty_pct;
        let bad = match role {
            _ if !value.is_finite() => true,
            Role::PumpDuty => value != 0.0 && !(low..=high).contains(&value),
            Role::SupplySet => {
                value != 0.0 && !(self.limits.supply_v.0..=self.limits.supply_v.1).contains(&value)
            }
            _ => false,
        };
        if bad {
            let seen = format!("{value} lies outside the limits of the rig or scenario");
            return Err(Fault::new(
                FaultCode::Config,
                role.word(),
                seen,
                "choose a set point inside the limits",
            ));
        }
        Ok(())
    }

    /// Takes note of a set point that is being sent.
    pub fn commanded(&mut self, role: &Role, value: f64, now: Moment) {
        self.changed = now;
        let on = match role {
            Role::PumpDuty => {
                let before = std::mem::replace(&mut self.duty_pct, value);
                let (low, high) = ANSWERED_DUTIES_PCT;
                if value.min(before) <= low && value.max(before) >= high {
                    self.unanswered = Some(Unanswered {
                        since: now,
                        span_kpa: (f64::INFINITY, f64::NEG_INFINITY),
                        readings: 0,
                    });
                }
                value > 0.0
            }
            Role::DriveSource => value > 0.5,
            Role::SafeState => false,
            _ => return,
        };
        self.energised = if on { self.energised.or(Some(now)) } else { None };
        let strong = on && self.duty_pct >= PRESSURE_DUTY_PCT;
        self.strong = if strong { self.strong.or(Some(now)) } else { None };
    }

    /// Whether the pump may be running by our command.
    #[must_use]
    pub fn energised(&self) -> bool {
        self.energised.is_some()
    }

    /// Whether the pump has been on without any other command for a while: nothing may jump now.
    #[must_use]
    pub fn steadily_on(&self, now: Moment) -> bool {
        self.energised.is_some() && now.since(self.changed) >= STEADY_AFTER
    }

    /// The fault of a cup whose mass moved by `by_g` and stays there while the pump is on.
    #[must_use]
    pub fn cup_step(by_g: f64) -> Fault {
        let seen = format!("the cup's mass jumped by {by_g:+.1} g with the pump on");
        let help = "put the cup back, or switch off what tares the scale by itself; this collection is void";
        Fault::new(FaultCode::ScaleStep, "cup_mass", seen, help)
    }

    /// Looks at one reading.
    ///
    /// # Errors
    /// `LIMIT` where it passed a limit, `ESTOP` where the emergency stop is pressed.
    pub fn reading(&mut self, role: &Role, value: f64) -> Result<(), Fault> {
        if let (Role::LinePressure, Some(waits)) = (role, &mut self.unanswered) {
            waits.span_kpa = (waits.span_kpa.0.min(value), waits.span_kpa.1.max(value));
            waits.readings += 1;
            if waits.span_kpa.1 - waits.span_kpa.0 > ANSWER_KPA {
                self.unanswered = None;
            }
        }
        let passed = |limit: f64, unit: &str| {
            let seen = format!("{value:.1} {unit} passed the limit of {limit:.1} {unit}");
            Fault::new(FaultCode::Limit, role.word(), seen, "find out why before running again")
        };
        match role {
            Role::LinePressure if value > self.limits.line_pressure_kpa => {
                Err(passed(self.limits.line_pressure_kpa, "kPa"))
            }
            Role::CupMass if value > self.limits.cup_mass_g => Err(passed(self.limits.cup_mass_g, "g")),
            Role::Supply if value > self.limits.supply_v.1 => Err(passed(self.limits.supply_v.1, "V")),
            Role::EmergencyStop if value > 0.5 => Err(Fault::new(
                FaultCode::EStop,
                role.word(),
                "the emergency stop is pressed",
                "release it when the bench is safe, then start and arm again",
            )),
            _ => Ok(()),
        }
    }

    /// Looks at what is late or has lasted too long, when its moment has come.
    ///
    /// # Errors
    /// `SENSOR_LOST`, `LIMIT` (on-time, low supply), `HEARTBEAT`, `NO_PRESSURE`, `FROZEN`.
    pub fn check(&mut self, now: Moment, readings: &Readings) -> Result<(), Fault> {
        if now < self.next_check {
            return Ok(());
        }
        self.next_check = now + CHECK;
        let Some(since) = self.energised else {
            return Ok(());
        };
        if let Some((role, age)) = readings.lost(&self.guarded, now) {
            let seen = format!("no reading for {:.0} ms", age.as_secs_f64() * 1e3);
            return Err(Fault::new(
                FaultCode::SensorLost,
                role.word(),
                seen,
                "check the instrument and its cable",
            ));
        }
        let on_s = now.since(since).as_secs_f64();
        if on_s > self.limits.on_time_s {
            let seen = format!("pump on for {on_s:.0} s, allowed {:.0} s", self.limits.on_time_s);
            return Err(Fault::new(FaultCode::Limit, "on-time", seen, "let the pump cool"));
        }
        let value = |role: &Role| readings.latest(role).map(|r| r.value);
        if now.since(since) > READ_BACK && value(&Role::OutputOn).is_some_and(|on| on < 0.5) {
            let help = "check the link to the device that owns the pump output, then arm again";
            return Err(Fault::new(
                FaultCode::Heartbeat,
                "pump output",
                "reads back off while commanded on",
                help,
            ));
        }
        if let Some(v) = value(&Role::Supply).filter(|v| *v < self.limits.supply_v.0) {
            let seen = format!("{v:.2} V is below {:.2} V", self.limits.supply_v.0);
            return Err(Fault::new(
                FaultCode::Limit,
                "supply",
                seen,
                "check the battery or supply and its leads",
            ));
        }
        if let Some(waits) = &self.unanswered
            && waits.readings >= ANSWER_READINGS
            && waits.span_kpa.0 >= PRESSURE_EXPECTED_KPA
            && now.since(waits.since) > ANSWERED_WITHIN
        {
            let seen = format!(
                "{:.1} to {:.1} kPa in {} readings since duty was changed to {:.0} %, {:.1} s ago",
                waits.span_kpa.0,
                waits.span_kpa.1,
                waits.readings,
                self.duty_pct,
                now.since(waits.since).as_secs_f64()
            );
            let help = "check the gauge, its tap and its instrument: pressure is not being measured";
            return Err(Fault::new(FaultCode::Frozen, "line_pressure", seen, help));
        }
        // A gauge that a person reads may have been read last with the pump off.
        let read =
            readings.latest(&Role::LinePressure).filter(|r| self.strong.is_some_and(|since| r.at > since));
        let low = read.map(|r| r.value).filter(|p| *p < PRESSURE_EXPECTED_KPA);
        if let (Some(since), Some(p)) = (self.strong, low)
            && now.since(since) > PRESSURE_AFTER
        {
            let seen = format!(
                "{p:.1} kPa after {:.0} s at {:.0} % duty",
                now.since(since).as_secs_f64(),
                self.duty_pct
            );
            return Err(Fault::new(
                FaultCode::NoPressure,
                "line pressure",
                seen,
                "pump dry, hose burst or gauge open?",
            ));
        }
        Ok(())
    }

    /// Whether a heartbeat is due; counts it as sent.
    pub fn beat_due(&mut self, now: Moment) -> bool {
        let due = self.has_heartbeat && now >= self.next_beat;
        if due {
            self.next_beat = now + BEAT;
        }
        due
    }

    /// The next moment something is to be checked or beaten.
    #[must_use]
    pub fn wake(&self) -> Moment {
        if self.has_heartbeat { self.next_check.min(self.next_beat) } else { self.next_check }
    }
}
