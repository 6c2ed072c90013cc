//! What a step does, one file a kind.
//!
//! In: the bench as a step sees it, and moments. Out: set points, events, and when to look again.
//! To add a kind of step: a variant of [`Op`], a file here, and a line in [`begin`].

mod ask;
mod bisect;
mod by_eye;
mod collect;
mod look;
mod ramp;
mod replay;
mod set;
mod settle;
mod vent;
mod weigh;

use super::desk::Desk;
use super::guard::Guard;
use super::log::Log;
use super::readings::Readings;
use crate::clock::Moment;
use crate::instrument::Flag;
use crate::problem::fault::Fault;
use crate::script::plan::{Op, Step};
use crate::script::role::Role;
use std::time::Duration;

/// The bench as a step sees it.
#[derive(Debug)]
pub struct Context<'a> {
    /// Instruments.
    pub desk: Desk<'a>,
    /// Latest readings.
    pub readings: Readings,
    /// Interlocks.
    pub guard: Guard,
    /// The record.
    pub log: Log<'a>,
    /// Questions for the operator, to be shown.
    pub questions: Vec<(Question, String)>,
    /// What the operator is to see and need not answer, to be shown before any question.
    pub notes: Vec<String>,
}

/// Whose question it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Question {
    /// The step's that is being played.
    Step,
    /// That of a channel, read or set by hand.
    Channel(usize),
}

impl Context<'_> {
    /// Sets a role: permitted, told, noted.
    ///
    /// # Errors
    /// `CONFIG` where the value may not be sent.
    pub fn set(&mut self, role: &Role, value: f64, now: Moment) -> Result<(), Fault> {
        self.guard.permit(role, value)?;
        self.desk.set(role, value, &self.readings, now)?;
        self.guard.commanded(role, value, now);
        Ok(())
    }

    /// Asks the operator; the answer comes to [`Act::answered`].
    pub fn ask(&mut self, text: impl Into<String>) {
        self.questions.push((Question::Step, text.into()));
    }

    /// Whether a person plays a role.
    #[must_use]
    pub fn by_hand(&self, role: &Role) -> bool {
        self.desk.by_hand(role)
    }
}

/// Where a step stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Progress {
    /// Look again at this moment, or when something arrives.
    Until(Moment),
    /// Done.
    Done,
}

/// A step being played.
pub trait Act: std::fmt::Debug + Send {
    /// Goes on as far as it can.
    ///
    /// # Errors
    /// The fault that ends the run.
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault>;

    /// Sees a reading.
    fn reading(&mut self, _role: &Role, _at: Moment, _value: f64) {}

    /// Sees what an instrument says about its reading.
    fn flag(&mut self, _role: &Role, _flag: Flag) {}

    /// The operator has done what was asked, and answered this.
    fn answered(&mut self, _text: &str) {}

    /// The loop stood still; what is being measured cannot be trusted.
    fn gap(&mut self, _span: Duration) {}
}

/// Starts a step. What a person plays is asked for where an instrument would just be read.
#[must_use]
pub fn begin(step: &Step, desk: &Desk<'_>) -> Box<dyn Act> {
    match &step.op {
        Op::Settle { role, .. } if desk.by_hand(role) => Box::new(look::Look::settled(role.clone())),
        Op::Ramp { role, from, to, seconds, .. } if desk.by_hand(role) => {
            Box::new(by_eye::ByEye::new(role.clone(), (*from, *to), *seconds))
        }
        Op::Collect { repeat, nozzle, stop, .. } if desk.by_hand(&Role::CupMass) => {
            Box::new(weigh::Weigh::new(*repeat, nozzle.clone(), *stop))
        }
        Op::Mark { kind, values } if look::wanted_at_end(kind, values, desk).is_some() => {
            Box::new(look::Look::at_end(kind.clone(), values.clone()))
        }
        Op::Set(values) => Box::new(set::Set::new(values.clone())),
        Op::Hold { seconds } => Box::new(Hold { seconds: *seconds, until: None }),
        Op::Ramp { role, from, to, seconds, until } => {
            Box::new(ramp::Ramp::new(role.clone(), (*from, *to), *seconds, until.clone()))
        }
        Op::Settle { role, within, within_fraction, window_s, at_most_s } => {
            Box::new(settle::Settle::new(role.clone(), (*within, *within_fraction), *window_s, *at_most_s))
        }
        Op::Collect { repeat, nozzle, stop, weigh_at_rest } => {
            Box::new(collect::Collect::new(*repeat, nozzle.clone(), *stop, *weigh_at_rest))
        }
        Op::Mark { kind, values } => Box::new(Mark { kind: kind.clone(), values: values.clone() }),
        Op::Replay { rows, .. } => Box::new(replay::Replay::new(rows.clone())),
        Op::Bisect { input, from, to, resolution, output, level, settle_s } => Box::new(bisect::Bisect::new(
            (input.clone(), output.clone()),
            (*from, *to),
            *resolution,
            *level,
            *settle_s,
        )),
        Op::Ask { request } => Box::new(ask::Ask::new(request.clone())),
        Op::Vent { at_most_s } => Box::new(vent::Vent::new(*at_most_s)),
        Op::Expect { item, lower, upper } => {
            Box::new(Expect { item: item.clone(), limits: [("lower", *lower), ("upper", *upper)] })
        }
    }
}

/// Waits.
#[derive(Debug)]
struct Hold {
    seconds: f64,
    until: Option<Moment>,
}

impl Act for Hold {
    fn advance(&mut self, _bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let until = *self.until.get_or_insert(now + Duration::from_secs_f64(self.seconds.max(0.0)));
        Ok(if now >= until { Progress::Done } else { Progress::Until(until) })
    }
}

/// Writes a mark for the analysis.
#[derive(Debug)]
struct Mark {
    kind: String,
    values: Vec<(String, String)>,
}

impl Act for Mark {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let mut pairs: Vec<(&str, &dyn std::fmt::Display)> = vec![("kind", &self.kind)];
        pairs
            .extend(self.values.iter().map(|(name, value)| (name.as_str(), value as &dyn std::fmt::Display)));
        bench.log.event(now, "mark", &pairs);
        Ok(Progress::Done)
    }
}

/// Writes into the record what the scenario expects, for the judgement that comes later.
#[derive(Debug)]
struct Expect {
    item: String,
    limits: [(&'static str, Option<f64>); 2],
}

impl Act for Expect {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let mut pairs: Vec<(&str, &dyn std::fmt::Display)> = vec![("item", &self.item)];
        for (name, limit) in &self.limits {
            pairs.extend(limit.as_ref().map(|value| (*name, value as &dyn std::fmt::Display)));
        }
        bench.log.event(now, "expect", &pairs);
        Ok(Progress::Done)
    }
}
