//! The bench loop, as a state machine without IO.
//!
//! In: moments, bytes, what happened to ports, signals. Out: bytes, questions, the next moment to be woken, and at
//! last an ending. Phases: identify every instrument, see every reading once, arm, play the plan, reach the safe state.

use super::act::{Act, Context, Progress, Question, begin};
use super::credible::Credible;
use super::desk::{Desk, Events};
use super::ending::Ending;
use super::guard::Guard;
use super::log::Log;
use super::readings::Readings;
use super::shutdown::Shutdown;
use super::snapshot::Stage;
use super::timing::Timing;
use crate::clock::Moment;
use crate::exit::Exit;
use crate::problem::Problems;
use crate::problem::fault::{Fault, FaultCode};
use crate::record::writer::Recorder;
use crate::script::plan::Plan;
use crate::script::rig::Rig;
use crate::script::role::Role;
use std::collections::VecDeque;
use std::time::Duration;

/// Longest wait until every instrument has said who it is, beyond what its port is given to get ready.
const IDENTIFY_WITHIN: Duration = Duration::from_secs(5);
/// Longest wait until every sampled channel has been read once.
const READ_WITHIN: Duration = Duration::from_secs(5);
/// Time between looks whether arming has been confirmed.
const ARM_LOOK: Duration = Duration::from_millis(20);
#[derive(Debug)]
enum Phase {
    Identifying {
        until: Moment,
    },
    FirstReadings {
        until: Moment,
    },
    /// The safe state was commanded; then the device is let switch on.
    Arming {
        let_on: bool,
    },
    Playing,
    Ending(Shutdown),
    Ended(Ending),
}

/// A bench being run.
#[derive(Debug)]
pub struct Bench<'a> {
    pub(super) rig: &'a Rig,
    plan: &'a Plan,
    pub(super) context: Context<'a>,
    phase: Phase,
    pub(super) ready: Vec<bool>,
    pub(super) identities: Vec<String>,
    next_step: usize,
    pub(super) act: Option<Box<dyn Act>>,
    pub(super) act_wake: Moment,
    /// Why the run ends, once it does: exit and fault.
    pub(super) why: Option<(Exit, Option<Fault>)>,
    control_lost: bool,
    /// A signal or the stop key has come.
    stopped: bool,
    out: Vec<Vec<u8>>,
    pub(super) events: Events,
    /// Questions that the operator has seen and not answered, oldest first.
    pub(super) asked: VecDeque<(Question, String)>,
    /// Answers in a row that could not be used.
    pub(super) wrong: u32,
    pub(super) wake: Moment,
    pub(super) timing: Timing,
    pub(super) credible: Credible,
}

impl<'a> Bench<'a> {
    /// A bench ready to be started.
    ///
    /// # Errors
    /// Problems of the rig that only a dialect can see.
    pub fn new(rig: &'a Rig, plan: &'a Plan, recorder: &'a mut Recorder) -> Result<Self, Problems> {
        let desk = Desk::new(rig)?;
        let count = desk.len();
        let guard = Guard::new(plan.limits, &desk);
        let context = Context {
            desk,
            readings: Readings::new(rig),
            guard,
            log: Log::new(recorder),
            questions: Vec::new(),
            notes: Vec::new(),
        };
        Ok(Bench {
            rig,
            plan,
            context,
            phase: Phase::Identifying { until: Moment::NEVER },
            ready: vec![false; count],
            identities: vec![String::new(); count],
            next_step: 0,
            act: None,
            act_wake: Moment::START,
            why: None,
            control_lost: false,
            stopped: false,
            out: vec![Vec::new(); count],
            events: Vec::new(),
            asked: VecDeque::new(),
            wrong: 0,
            wake: Moment::START,
            timing: Timing::default(),
            credible: Credible::new(),
        })
    }

    /// Starts at `now`, at the plan's step `from_step` (0 for the first).
    pub fn start(&mut self, now: Moment, from_step: usize) {
        let slowest = self.rig.instruments.iter().map(|i| i.port.ready_within).max().unwrap_or_default();
        self.phase = Phase::Identifying { until: now + slowest + IDENTIFY_WITHIN };
        self.next_step = from_step;
        self.context.desk.start(now);
        self.wake = now;
    }

    /// Bytes that arrived at an instrument's port.
    pub fn receive(&mut self, index: usize, at: Moment, bytes: &[u8]) {
        let mut events = std::mem::take(&mut self.events);
        self.context.desk.receive(index, at, bytes, &mut events);
        self.take_events(&mut events, at);
        self.events = events;
    }

    /// A port is gone, or bytes were lost.
    pub fn port_lost(&mut self, index: usize, at: Moment, fault: Fault) {
        self.context.desk.port_lost(index, at);
        let controls = |role: &Role| self.context.desk.channel(role).map(|c| self.rig.channels[c].instrument);
        let is_control = controls(&Role::SafeState) == Some(index);
        self.control_lost |= is_control;
        let energised = self.context.guard.energised();
        let fault = match (is_control, energised) {
            (true, true) => Fault::new(
                FaultCode::ControlLost,
                fault.who.clone(),
                fault.to_string(),
                "the pump cannot be switched off from here: cut the 12 V feed with the emergency stop",
            ),
            (false, true) if index < self.ready.len() => {
                Fault::new(FaultCode::SensorLost, fault.who.clone(), fault.to_string(), fault.help)
            }
            _ => fault,
        };
        self.fail(fault, at);
    }

    /// A signal, or the stop key. A second one ends at once what the first began: the off command is on its way, and
    /// nobody waits for what the bench says to it.
    pub fn stop(&mut self, exit: Exit, at: Moment) {
        if self.stopped && matches!(self.phase, Phase::Ending(_)) {
            self.context.log.event(at, "stop", &[("exit", &exit.code()), ("again", &true)]);
            self.finish(Shutdown::cut_short(), at);
            return;
        }
        self.stopped = true;
        if self.why.is_none() {
            self.context.log.event(at, "stop", &[("exit", &exit.code())]);
        }
        self.end(exit, None, at);
    }

    /// Goes on as far as it can at `now`.
    pub fn advance(&mut self, now: Moment) {
        self.watch_the_loop(now);
        let mut events = std::mem::take(&mut self.events);
        self.context.desk.advance(now, &mut self.out, &mut events);
        self.take_events(&mut events, now);
        self.events = events;
        if let Err(fault) = self.context.guard.check(now, &self.context.readings) {
            self.fail(fault, now);
        }
        self.step_phase(now);
        if self.context.guard.beat_due(now) && self.is_live() {
            // The channel is there: the guard has looked.
            let _ = self.context.desk.set_urgent(&Role::Heartbeat, 1.0, now);
        }
        let mut events = std::mem::take(&mut self.events);
        self.context.desk.advance(now, &mut self.out, &mut events);
        self.take_events(&mut events, now);
        self.events = events;
        if let Some(fault) = self.context.log.failure.take() {
            self.fail(fault, now);
        }
        self.wake = self.next_wake(now);
    }

    /// Bytes to send to each instrument's port; cleared by the caller.
    pub fn outgoing(&mut self) -> &mut [Vec<u8>] {
        &mut self.out
    }

    /// The next moment this wants to be advanced.
    #[must_use]
    pub fn wake(&self) -> Moment {
        self.wake
    }

    /// How it ended, once it has.
    #[must_use]
    pub fn ending(&self) -> Option<&Ending> {
        match &self.phase {
            Phase::Ended(ending) => Some(ending),
            _ => None,
        }
    }

    /// What each instrument said it is, in rig order; empty where it cannot tell.
    #[must_use]
    pub fn identities(&self) -> &[String] {
        &self.identities
    }

    /// How late and how slow things were.
    #[must_use]
    pub fn timing(&self) -> &Timing {
        &self.timing
    }

    /// Step being played (from 1) and steps in all.
    #[must_use]
    pub fn progress(&self) -> (usize, usize) {
        (self.next_step, self.plan.steps.len())
    }

    /// How far the run has come.
    #[must_use]
    pub fn stage(&self) -> Stage {
        match self.phase {
            Phase::Identifying { .. } | Phase::FirstReadings { .. } => Stage::Opening,
            Phase::Arming { .. } => Stage::Arming,
            Phase::Playing => Stage::Playing,
            Phase::Ending(_) => Stage::Ending,
            Phase::Ended(_) => Stage::Ended,
        }
    }

    /// The latest readings.
    #[must_use]
    pub fn readings(&self) -> &Readings {
        &self.context.readings
    }

    /// The bytes that switch the pump off, a port each: for the moment when nothing else works any more.
    #[must_use]
    pub fn off_commands(&self) -> Vec<(usize, Vec<u8>)> {
        self.context.desk.off_commands()
    }

    /// A turn is over: what was recorded goes to the system.
    pub fn turn(&mut self) {
        self.context.log.turn();
    }

    pub(super) fn is_live(&self) -> bool {
        matches!(self.phase, Phase::Arming { .. } | Phase::Playing | Phase::Ending(_))
    }

    fn step_phase(&mut self, now: Moment) {
        match &mut self.phase {
            Phase::Identifying { until } => {
                let late = now >= *until;
                if self.ready.iter().all(|r| *r) {
                    self.phase = Phase::FirstReadings { until: now + READ_WITHIN };
                } else if late {
                    let index = self.ready.iter().position(|r| !r).unwrap_or(0);
                    let who = self.rig.instruments[index].name.clone();
                    let help = "check its power, its cable, the port and the speed in the rig file";
                    self.fail(Fault::new(FaultCode::Timeout, who, "no sign of it", help), now);
                }
            }
            Phase::FirstReadings { until } => {
                let late = now >= *until;
                match self.context.readings.missing().map(Role::word) {
                    None => self.arm(now),
                    Some(role) if late => {
                        let help = "check the instrument's wiring and the channel's command in the rig file";
                        self.fail(Fault::new(FaultCode::Timeout, role, "no reading came", help), now);
                    }
                    Some(_) => {}
                }
            }
            Phase::Arming { let_on } => {
                if self.context.desk.is_pending(&Role::SafeState) {
                    return;
                }
                if self.context.desk.by_hand(&Role::SafeState) {
                    // A person who switched the pump off needs no leave to switch it on again.
                    *let_on = true;
                }
                if !std::mem::replace(let_on, true) {
                    self.safe_state(0.0, now);
                    return;
                }
                self.context.log.text(now, "armed", &self.rig.name);
                self.phase = Phase::Playing;
                self.play(now);
            }
            Phase::Playing => self.play(now),
            Phase::Ending(shutdown) => {
                if let Some(seen) = shutdown.advance(&mut self.context, now) {
                    self.finish(seen, now);
                }
            }
            Phase::Ended(_) => {}
        }
    }

    /// Everything answers: put the bench into the safe state, then let the device switch on.
    fn arm(&mut self, now: Moment) {
        self.phase = Phase::Arming { let_on: false };
        self.safe_state(1.0, now);
    }

    /// Tells the device that owns the pump output to be safe (1) or armed (0), where the rig has one.
    fn safe_state(&mut self, value: f64, now: Moment) {
        if self.context.desk.channel(&Role::SafeState).is_some()
            && let Err(fault) = self.context.desk.set(&Role::SafeState, value, &self.context.readings, now)
        {
            self.fail(fault, now);
        }
    }

    /// Plays steps until one has to wait.
    fn play(&mut self, now: Moment) {
        loop {
            let act = match &mut self.act {
                Some(act) => act,
                None => {
                    let Some(step) = self.plan.steps.get(self.next_step) else {
                        self.end(Exit::Pass, None, now);
                        return;
                    };
                    self.next_step += 1;
                    self.context.log.step = step.id;
                    self.context.log.text(now, "step", &step.label);
                    self.act.insert(begin(step, &self.context.desk))
                }
            };
            match act.advance(&mut self.context, now) {
                Ok(Progress::Done) => {
                    self.act = None;
                    // Nobody waits for an answer to a step that is over.
                    self.asked.retain(|(question, _)| *question != Question::Step);
                }
                Ok(Progress::Until(wake)) => {
                    self.act_wake = wake;
                    return;
                }
                Err(fault) => {
                    self.fail(fault, now);
                    return;
                }
            }
        }
    }

    pub(super) fn fail(&mut self, fault: Fault, now: Moment) {
        self.context.log.text(now, "fault", &fault.to_string());
        let exit = fault.code.exit();
        self.end(exit, Some(fault), now);
    }

    /// Goes to the safe state; the gravest reason is the one that is kept.
    fn end(&mut self, exit: Exit, fault: Option<Fault>, now: Moment) {
        match &mut self.why {
            Some((kept, kept_fault)) => {
                let graver = kept.and(exit);
                if graver != *kept {
                    *kept = graver;
                    *kept_fault = fault;
                }
            }
            None => self.why = Some((exit, fault)),
        }
        if matches!(self.phase, Phase::Ending(_) | Phase::Ended(_)) {
            return;
        }
        self.act = None;
        // What was being asked no longer matters; what makes the bench safe is asked now.
        self.asked.clear();
        self.context.questions.clear();
        let traps =
            self.next_step > 0 && self.plan.steps.get(self.next_step - 1).is_some_and(|s| s.traps_pressure);
        let mut shutdown = Shutdown::new(now, traps, self.control_lost).with_nobody(exit == Exit::HangUp);
        if let Some(seen) = shutdown.advance(&mut self.context, now) {
            self.finish(seen, now);
        } else {
            self.phase = Phase::Ending(shutdown);
        }
    }

    fn finish(&mut self, seen: super::shutdown::Seen, now: Moment) {
        let (exit, fault) = self.why.take().unwrap_or((Exit::Pass, None));
        let exit = seen.fault.as_ref().map_or(exit, |f| exit.and(f.code.exit()));
        self.context.log.text(now, "safe", &seen.words);
        self.context.log.flush();
        let fault = fault.or(seen.fault);
        self.phase = Phase::Ended(Ending { exit, fault, safe_state: seen.words, verified: seen.verified });
    }

    fn next_wake(&self, now: Moment) -> Moment {
        let phase = match &self.phase {
            Phase::Identifying { until } | Phase::FirstReadings { until } => *until,
            Phase::Arming { .. } => now + ARM_LOOK,
            Phase::Playing => self.act_wake,
            Phase::Ending(shutdown) => shutdown.wake(now),
            Phase::Ended(_) => Moment::NEVER,
        };
        let guard = if self.is_live() { self.context.guard.wake() } else { Moment::NEVER };
        self.context.desk.wake().min(phase).min(guard)
    }
}
