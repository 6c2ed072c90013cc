//! A collection by hand: the cup weighed before and after, the spray started and stopped by a person or by us.
//!
//! In: a duty that was set before. Out: the two weighings as rests, the time between start and stop, and what gauge and
//! voltmeter showed meanwhile. The time is ours between two Enters, or that of a stopwatch whose seconds are typed.
//! Afterwards the pump is off. Never: a collection that begins before its cup was weighed.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::quantity::{self, Dimension, QuantityError, Units};
use crate::script::plan::CollectStop;
use crate::script::role::Role;
use std::time::Duration;

/// Answers in a row that could not be used, after which the run ends.
const WRONG_ANSWERS_MAX: u32 = 20;
/// A stopwatch and our clock may differ by this much, or this part of the time, before the answer is doubted, s.
const WATCH_DIFFERS: (f64, f64) = (3.0, 0.1);
/// Time after switching the pump off ourselves until the cup may be taken, s.
const DRIP: Duration = Duration::from_secs(4);

/// Readings that the spray itself does not need from a person.
const NOT_MEANWHILE: [Role; 2] = [Role::CupMass, Role::TankMass];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    Start,
    /// The pump is being switched off, before the collection or after it.
    Off {
        before: bool,
    },
    /// The last drops fall.
    Drip {
        until: Moment,
        before: bool,
    },
    /// The cup is on the scale.
    Weighing {
        before: bool,
    },
    /// The pump is being switched on.
    On,
    /// It sprays, and somebody reads gauge and voltmeter.
    Reading,
    /// It sprays until our time is over, or the person stops it.
    Spraying,
}

/// A collection by hand.
#[derive(Debug)]
pub(super) struct Weigh {
    repeat: u32,
    nozzle: String,
    stop: CollectStop,
    phase: Phase,
    duty_pct: f64,
    answer: Option<String>,
    /// Readings that are still to come.
    open: Vec<Role>,
    began: Moment,
    wrong: u32,
}

impl Weigh {
    pub(super) fn new(repeat: u32, nozzle: String, stop: CollectStop) -> Self {
        Weigh {
            repeat,
            nozzle,
            stop,
            phase: Phase::Start,
            duty_pct: 0.0,
            answer: None,
            open: Vec::new(),
            began: Moment::START,
            wrong: 0,
        }
    }

    fn seconds(&self) -> f64 {
        match self.stop {
            CollectStop::Seconds(s) => s,
            CollectStop::Mass { at_most_s, .. } => at_most_s,
        }
    }

    /// Until when it is sprayed, in words.
    fn until(&self) -> String {
        let show = |value, dimension| quantity::show(value, dimension, Units::Metric);
        match self.stop {
            CollectStop::Seconds(s) => format!("after about {}", show(s, Dimension::Time)),
            CollectStop::Mass { grams, at_most_s } => format!(
                "when about {} are in the cup, or after {}",
                show(grams, Dimension::Mass),
                show(at_most_s, Dimension::Time)
            ),
        }
    }

    /// Has the pump switched off: asked of a person, or done.
    fn switch_off(&mut self, bench: &mut Context<'_>, now: Moment, before: bool) -> Result<(), Fault> {
        self.phase = Phase::Off { before };
        if bench.by_hand(&Role::PumpDuty) {
            bench.ask("Switch the pump off, leave its setting as it is, and let the nozzle drip off. Press Enter when done.");
            return Ok(());
        }
        self.phase = Phase::Drip { until: now + DRIP, before };
        bench.set(&Role::PumpDuty, 0.0, now)?;
        bench.log.text(now, "set", "pump_duty=0");
        Ok(())
    }

    fn ask_mass(&mut self, bench: &mut Context<'_>, now: Moment, before: bool) {
        self.phase = Phase::Weighing { before };
        bench.notes.push(String::from(if before {
            "Weigh the cup, dry outside, and put it back under the nozzle:"
        } else {
            "Weigh the cup again, dry outside:"
        }));
        self.rest(bench, now, "rest_start", before);
        self.open = vec![Role::CupMass];
        bench.desk.request(&self.open, now);
    }

    fn rest(&self, bench: &mut Context<'_>, now: Moment, kind: &str, before: bool) {
        let which = if before { "before" } else { "after" };
        let step = bench.log.step;
        bench.log.event(now, kind, &[("which", &which), ("collection", &step)]);
    }

    /// Has the pump switched on: a person says when.
    fn switch_on(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<(), Fault> {
        self.phase = Phase::On;
        let duty = quantity::show(self.duty_pct, Dimension::Ratio, Units::Metric);
        bench.guard.permit(&Role::PumpDuty, self.duty_pct)?;
        if bench.by_hand(&Role::PumpDuty) {
            bench.ask(format!(
                "The cup is in place? Switch the pump on at {duty}, and press Enter at the same moment."
            ));
            return Ok(());
        }
        bench.set(&Role::PumpDuty, self.duty_pct, now)?;
        bench.log.event(now, "set", &[("pump_duty", &self.duty_pct)]);
        self.begin(bench, now);
        Ok(())
    }

    /// It sprays.
    fn begin(&mut self, bench: &mut Context<'_>, now: Moment) {
        self.began = now;
        self.note_duty(bench, now, self.duty_pct);
        let pairs: [(&str, &dyn std::fmt::Display); 4] = [
            ("repeat", &self.repeat),
            ("nozzle", &self.nozzle),
            ("duty_set_pct", &self.duty_pct),
            ("weighed", &"by_hand"),
        ];
        bench.log.event(now, "collect_start", &pairs);
        let meanwhile = bench.desk.read_by_hand().filter(|r| !NOT_MEANWHILE.contains(r));
        self.open = meanwhile.cloned().collect();
        bench.desk.request(&self.open, now);
        self.phase = Phase::Reading;
    }

    /// A duty that a person set; one that we set notes itself.
    fn note_duty(&self, bench: &mut Context<'_>, now: Moment, duty_pct: f64) {
        if !bench.by_hand(&Role::PumpDuty) {
            return;
        }
        bench.guard.commanded(&Role::PumpDuty, duty_pct, now);
        bench.log.event(now, "set", &[("pump_duty", &duty_pct)]);
        if let Some(column) = bench.desk.channel(&Role::PumpDuty) {
            bench.log.sample(now, column, duty_pct);
        }
    }

    fn ask_stop(&mut self, bench: &mut Context<'_>) {
        self.phase = Phase::Spraying;
        if bench.by_hand(&Role::PumpDuty) {
            bench.ask(format!(
                "Let it spray; {} switch the pump off and press Enter at the same moment, or answer with the seconds of a \
                 stopwatch that ran with the spray [s].",
                self.until()
            ));
        }
    }

    /// The spray has stopped at `now`; `text` is what the operator answered. False where the answer is no good.
    fn end(&mut self, bench: &mut Context<'_>, now: Moment, text: &str) -> Result<bool, Fault> {
        let ours_s = now.since(self.began).as_secs_f64();
        let seconds = match stopwatch(text, ours_s) {
            Ok(seconds) => seconds,
            Err(why) => {
                self.wrong += 1;
                if self.wrong >= WRONG_ANSWERS_MAX {
                    let help = "see what the questions ask for, and go on with --resume";
                    return Err(Fault::new(FaultCode::Timeout, "operator", why, help));
                }
                bench.notes.push(why);
                bench.ask("With the pump off: press Enter, or answer with the seconds of the stopwatch [s].");
                return Ok(false);
            }
        };
        self.note_duty(bench, now, 0.0);
        let (by, seconds) = seconds.map_or(("enter", ours_s), |s| ("stopwatch", s));
        let pairs: [(&str, &dyn std::fmt::Display); 3] =
            [("reason", &"time"), ("seconds", &seconds), ("timed_by", &by)];
        bench.log.event(now, "collect_end", &pairs);
        Ok(true)
    }

    fn wake(&self) -> Moment {
        match self.phase {
            Phase::Drip { until, .. } => until,
            _ => Moment::NEVER,
        }
    }
}

/// Seconds of a stopwatch in an answer; none where it only says that it is done.
fn stopwatch(text: &str, ours_s: f64) -> Result<Option<f64>, String> {
    let text = text.trim();
    if text.is_empty() || text.eq_ignore_ascii_case("ok") {
        return Ok(None);
    }
    let seconds = match quantity::parse(text, Dimension::Time) {
        Err(QuantityError::NoUnit) => quantity::parse(&format!("{text} s"), Dimension::Time),
        other => other,
    };
    let seconds = seconds
        .map_err(|why| format!("{}; expected Enter, or seconds such as \"30.2 s\"", why.what(text)))?;
    let (least_s, part) = WATCH_DIFFERS;
    if seconds <= 0.0 || seconds > ours_s + least_s.max(part * ours_s) {
        return Err(format!(
            "a stopwatch that shows {seconds} s cannot have run with a spray that began {ours_s:.1} s ago"
        ));
    }
    Ok(Some(seconds))
}

impl Act for Weigh {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        match self.phase {
            Phase::Start => {
                self.duty_pct = bench.desk.told(&Role::PumpDuty).unwrap_or(0.0);
                self.switch_off(bench, now, true)?;
            }
            Phase::Off { before } if self.answer.take().is_some() => {
                self.note_duty(bench, now, 0.0);
                self.ask_mass(bench, now, before);
            }
            Phase::Drip { until, before } if now >= until => self.ask_mass(bench, now, before),
            Phase::Weighing { before } if self.open.is_empty() => {
                self.rest(bench, now, "rest_end", before);
                if !before {
                    return Ok(Progress::Done);
                }
                self.switch_on(bench, now)?;
            }
            Phase::On if self.answer.take().is_some() => self.begin(bench, now),
            Phase::Reading if self.open.is_empty() => self.ask_stop(bench),
            Phase::Spraying if bench.by_hand(&Role::PumpDuty) => {
                if let Some(text) = self.answer.take()
                    && self.end(bench, now, &text)?
                {
                    self.ask_mass(bench, now, false);
                }
            }
            Phase::Spraying => {
                let until = self.began + Duration::from_secs_f64(self.seconds().max(0.0));
                if now < until {
                    return Ok(Progress::Until(until));
                }
                self.end(bench, now, "")?;
                self.switch_off(bench, now, false)?;
            }
            _ => {}
        }
        Ok(Progress::Until(self.wake()))
    }

    fn reading(&mut self, role: &Role, _at: Moment, _value: f64) {
        self.open.retain(|r| r != role);
    }

    fn answered(&mut self, text: &str) {
        self.answer = Some(text.to_owned());
    }
}

#[cfg(test)]
mod tests {
    use super::stopwatch;

    #[test]
    fn a_stopwatch_is_believed_where_it_can_be() {
        for (text, seconds) in [
            ("", None),
            ("ok", None),
            ("30.2", Some(30.2)),
            (" 30.2 s ", Some(30.2)),
            ("0.5 min", Some(30.0)),
        ] {
            assert_eq!(stopwatch(text, 31.0), Ok(seconds), "{text}");
        }
        for text in ["3o", "30 psi", "-4", "0", "300", "yes it is"] {
            assert!(stopwatch(text, 31.0).is_err(), "{text}");
        }
    }
}
