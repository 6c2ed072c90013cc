//! Collects into the cup: marks the start and the end of a steady dwell, and weighs at rest before and after.
//!
//! In: a spraying, settled bench. Out: events that the reduction reads. The pump runs on after a collection unless
//! the cup is weighed at rest; the next step decides.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::instrument::Flag;
use crate::problem::fault::{Fault, FaultCode};
use crate::script::plan::CollectStop;
use crate::script::role::Role;
use std::time::Duration;

/// Time after stopping the pump until the cup counts as at rest: line decay, drip, and the scale's own settling.
const REST_AFTER: Duration = Duration::from_secs(4);
/// Length of a weighing at rest.
const REST_FOR: Duration = Duration::from_secs(2);
/// Time after restarting the pump until the dwell starts again: pump, line and scale together.
const RESTART: Duration = Duration::from_secs(4);
/// A cup that does not change for this long with the pump on is frozen, or nothing reaches it.
const FROZEN_AFTER: Duration = Duration::from_secs(2);
/// Longest wait for a scale that says that it moves, at a weighing at rest.
const UNSTABLE_AFTER: Duration = Duration::from_secs(10);
/// Window over which the cup must gain something with the pump on.
const PLATEAU_OVER: Duration = Duration::from_secs(3);
/// What it must gain in that window, g (common practice, no source: the smallest nozzle sprays ten times as much).
const PLATEAU_G: f64 = 0.5;
/// Duty, %, from which flow is expected in any case (common practice, no source).
const FLOW_DUTY_PCT: f64 = 40.0;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    Start,
    Stopping { until: Moment, before: bool },
    Resting { until: Moment, before: bool },
    Restarting { until: Moment },
    Collecting,
}

/// A collection in progress.
#[derive(Debug)]
pub(super) struct Collect {
    repeat: u32,
    nozzle: String,
    stop: CollectStop,
    weigh_at_rest: bool,
    phase: Phase,
    /// Duty to go back to after weighing at rest, %.
    duty_pct: f64,
    began: Moment,
    mass_start_g: Option<f64>,
    mass_g: f64,
    mass_changed: Moment,
    /// Mass at the start of the window in which the cup must gain, and when that was.
    gain_from: Option<(Moment, f64)>,
    /// How long the cup has gained how much, g, where that is next to nothing.
    no_gain: Option<(Duration, f64)>,
    /// Whether the scale has said that it moves, and not once that it is at rest, since the weighing began.
    moving: bool,
    rested: bool,
    void: Option<String>,
}

impl Collect {
    pub(super) fn new(repeat: u32, nozzle: String, stop: CollectStop, weigh_at_rest: bool) -> Self {
        Collect {
            repeat,
            nozzle,
            stop,
            weigh_at_rest,
            phase: Phase::Start,
            duty_pct: 0.0,
            began: Moment::START,
            mass_start_g: None,
            mass_g: f64::NAN,
            mass_changed: Moment::START,
            gain_from: None,
            no_gain: None,
            moving: false,
            rested: false,
            void: None,
        }
    }

    fn stop_pump(&mut self, bench: &mut Context<'_>, now: Moment, before: bool) -> Result<(), Fault> {
        bench.set(&Role::PumpDuty, 0.0, now)?;
        bench.log.text(now, "set", "pump_duty=0");
        self.phase = Phase::Stopping { until: now + REST_AFTER, before };
        Ok(())
    }

    fn begin(&mut self, bench: &mut Context<'_>, now: Moment) {
        self.phase = Phase::Collecting;
        self.began = now;
        self.mass_start_g = None;
        self.mass_changed = now;
        (self.gain_from, self.no_gain) = (None, None);
        let pairs: [(&str, &dyn std::fmt::Display); 3] =
            [("repeat", &self.repeat), ("nozzle", &self.nozzle), ("duty_set_pct", &self.duty_pct)];
        bench.log.event(now, "collect_start", &pairs);
    }

    /// Why the dwell ends now, if it does.
    fn finished(&self, now: Moment) -> Option<&'static str> {
        let elapsed_s = now.since(self.began).as_secs_f64();
        match self.stop {
            CollectStop::Seconds(s) => (elapsed_s >= s).then_some("time"),
            CollectStop::Mass { grams, at_most_s } => {
                let collected = self.mass_start_g.map_or(0.0, |start| self.mass_g - start);
                if collected >= grams { Some("mass") } else { (elapsed_s >= at_most_s).then_some("time") }
            }
        }
    }

    fn latest_end(&self) -> Moment {
        let seconds = match self.stop {
            CollectStop::Seconds(s) => s,
            CollectStop::Mass { at_most_s, .. } => at_most_s,
        };
        self.began + Duration::from_secs_f64(seconds.max(0.0))
    }

    fn frozen(&self, bench: &Context<'_>, now: Moment) -> Result<(), Fault> {
        let still = now.since(self.mass_changed);
        let sampled = bench.desk.channel(&Role::CupMass).is_some() && self.mass_start_g.is_some();
        if sampled && still > FROZEN_AFTER && self.duty_pct >= FLOW_DUTY_PCT {
            let seen = format!(
                "cup mass stands at {:.2} g for {:.1} s with the pump on",
                self.mass_g,
                still.as_secs_f64()
            );
            return Err(Fault::new(
                FaultCode::Frozen,
                "cup_mass",
                seen,
                "check the scale, and that the spray reaches the cup",
            ));
        }
        self.plateau(sampled)
    }

    /// A cup that runs over shows noise, but gains nothing.
    fn plateau(&self, sampled: bool) -> Result<(), Fault> {
        let Some((over, gained_g)) = self.no_gain.filter(|_| sampled && self.duty_pct >= FLOW_DUTY_PCT)
        else {
            return Ok(());
        };
        let seen = format!("the cup gained {gained_g:.2} g in {:.1} s with the pump on", over.as_secs_f64());
        let help = "see whether the cup runs over, and that the spray reaches it";
        Err(Fault::new(FaultCode::Frozen, "cup_mass", seen, help))
    }

    /// Whether a weighing at rest has to wait for the scale.
    ///
    /// # Errors
    /// `UNSTABLE` where it never comes to rest.
    fn restless(&self, since: Moment, now: Moment) -> Result<bool, Fault> {
        let waits = self.moving && !self.rested;
        if waits && now.since(since) >= UNSTABLE_AFTER {
            let seen = format!("it still moves after {:.0} s", now.since(since).as_secs_f64());
            let help = "shield the scale from draught and vibration; nothing can be said of this point";
            return Err(Fault::new(FaultCode::Unstable, "cup_mass", seen, help));
        }
        Ok(waits)
    }
}

impl Act for Collect {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        match self.phase {
            Phase::Start => {
                self.duty_pct = bench.desk.told(&Role::PumpDuty).unwrap_or(0.0);
                if self.weigh_at_rest {
                    self.stop_pump(bench, now, true)?;
                } else {
                    self.begin(bench, now);
                }
            }
            // A person sets the duty in its own time; ours begins then.
            Phase::Stopping { before, .. } if bench.desk.is_pending(&Role::PumpDuty) => {
                self.phase = Phase::Stopping { until: now + REST_AFTER, before };
            }
            Phase::Restarting { .. } if bench.desk.is_pending(&Role::PumpDuty) => {
                self.phase = Phase::Restarting { until: now + RESTART };
            }
            Phase::Stopping { until, before } if now >= until => {
                let which = if before { "before" } else { "after" };
                let step = bench.log.step;
                bench.log.event(now, "rest_start", &[("which", &which), ("collection", &step)]);
                (self.moving, self.rested) = (false, false);
                self.phase = Phase::Resting { until: now + REST_FOR, before };
            }
            Phase::Resting { until, .. } if now >= until && self.restless(until - REST_FOR, now)? => {
                return Ok(Progress::Until(now + Duration::from_millis(100)));
            }
            Phase::Resting { until, before } if now >= until => {
                let which = if before { "before" } else { "after" };
                let step = bench.log.step;
                bench.log.event(now, "rest_end", &[("which", &which), ("collection", &step)]);
                if !before {
                    return Ok(Progress::Done);
                }
                bench.set(&Role::PumpDuty, self.duty_pct, now)?;
                bench.log.event(now, "set", &[("pump_duty", &self.duty_pct)]);
                self.phase = Phase::Restarting { until: now + RESTART };
            }
            Phase::Restarting { until } if now >= until => self.begin(bench, now),
            Phase::Collecting => {
                self.frozen(bench, now)?;
                if let Some(reason) = self.finished(now) {
                    if let Some(why) = &self.void {
                        bench.log.event(now, "void", &[("reason", why)]);
                    }
                    bench.log.event(now, "collect_end", &[("reason", &reason)]);
                    if !self.weigh_at_rest {
                        return Ok(Progress::Done);
                    }
                    self.stop_pump(bench, now, false)?;
                }
            }
            _ => {}
        }
        Ok(Progress::Until(match self.phase {
            Phase::Start => now,
            Phase::Stopping { until, .. } | Phase::Resting { until, .. } | Phase::Restarting { until } => {
                until
            }
            Phase::Collecting => self.latest_end(),
        }))
    }

    fn reading(&mut self, role: &Role, at: Moment, value: f64) {
        if *role == Role::CupMass {
            // Readings are compared as they came: a frozen scale repeats itself to the last bit.
            if value.to_bits() != self.mass_g.to_bits() {
                self.mass_changed = at;
            }
            self.mass_g = value;
            if self.phase == Phase::Collecting {
                let (from, first_g) = *self.gain_from.get_or_insert((at, value));
                let gain = (at.since(from), value - first_g);
                if gain.1 >= PLATEAU_G || gain.1 <= -PLATEAU_G {
                    (self.gain_from, self.no_gain) = (Some((at, value)), None);
                } else if gain.0 >= PLATEAU_OVER {
                    self.no_gain = Some(gain);
                }
            }
            if self.phase == Phase::Collecting && self.mass_start_g.is_none() && at >= self.began {
                self.mass_start_g = Some(value);
            }
        }
    }

    fn flag(&mut self, role: &Role, flag: Flag) {
        if *role == Role::CupMass {
            self.moving |= flag == Flag::Moving;
            self.rested |= flag == Flag::Stable;
        }
    }

    fn gap(&mut self, span: Duration) {
        if self.phase == Phase::Collecting {
            self.void = Some(format!("the loop stood still for {:.0} ms", span.as_secs_f64() * 1e3));
        }
    }
}
