//! What happens now, what comes next, and how long it takes, in words.
//!
//! In: setup and snapshot. Out: sentences. Never: an escape sequence.

use super::setup::{Doing, Setup, StepShown};
use crate::clock::Moment;
use crate::run::snapshot::{Snapshot, Stage};

/// A span of time as people say it: `9 min 20 s`, `1 h 05 min`, `12 s`.
#[must_use]
pub fn span(seconds: f64) -> String {
    let whole = seconds.max(0.0).round() as u64;
    match whole {
        0..60 => format!("{whole} s"),
        60..3600 => format!("{} min {:02} s", whole / 60, whole % 60),
        _ => format!("{} h {:02} min", whole / 3600, whole / 60 % 60),
    }
}

/// A moment of the run: `12:34` or `1:02:03`.
#[must_use]
pub fn clock(at: Moment) -> String {
    let s = at.as_s() as u64;
    if s >= 3600 {
        format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    } else {
        format!("{}:{:02}", s / 60, s % 60)
    }
}

/// The stage in a word.
#[must_use]
pub const fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Opening => "OPENING",
        Stage::Arming => "ARMING",
        Stage::Playing => "RUNNING",
        Stage::Ending => "SWITCHING OFF",
        Stage::Ended => "ENDED",
    }
}

/// What happens now, and what the person at the bench has to do about it.
#[must_use]
pub fn now(setup: &Setup, snapshot: &Snapshot) -> String {
    match snapshot.stage {
        Stage::Opening => "Waiting for every instrument to answer. Nothing is energised.".into(),
        Stage::Arming => "Putting the bench into its safe state, then arming. Keep clear.".into(),
        Stage::Ending => match &snapshot.fault {
            Some(fault) => format!("Ended by {fault}. Switching off; wait until pressure is gone."),
            None => "Switching off and watching pressure fall. Wait until it is gone.".into(),
        },
        Stage::Ended => "The run has ended. The pump is off.".into(),
        Stage::Playing => match step(setup, snapshot.step).map(|s| &s.doing) {
            Some(Doing::Setting) => "Changing set points. Keep clear of the spray.".into(),
            Some(Doing::Waiting) => "Waiting. Nothing to do; keep hands off hose and scale.".into(),
            Some(Doing::Moving(what)) => format!("Moving {what}. Keep clear of the spray."),
            Some(Doing::Steadying(what)) => format!("Waiting until {what} is steady. Keep hands off."),
            Some(Doing::Collecting) => "Filling the cup. Touch neither scale, cup nor hose.".into(),
            Some(Doing::Asking(request)) => format!("Your turn: {request}"),
            Some(Doing::Venting) => "Letting pressure out. Do not open a fitting yet.".into(),
            Some(Doing::Noting) | None => "Going on.".into(),
        },
    }
}

/// The step that is played, from 1.
fn step(setup: &Setup, number: usize) -> Option<&StepShown> {
    setup.steps.get(number.checked_sub(1)?)
}

/// The label of the step that is played; without what only the record sees.
#[must_use]
pub fn label(setup: &Setup, number: usize) -> &str {
    step(setup, number).map_or("before the first step", |s| s.label.as_str())
}

/// The next step that a person notices.
#[must_use]
pub fn next(setup: &Setup, number: usize) -> Option<&str> {
    setup.steps.iter().skip(number).find(|s| s.doing != Doing::Noting).map(|s| s.label.as_str())
}

/// How far a run is, fraction of its expected bench time, and the bench time left, s. `in_step_s` is the time since
/// the step began.
#[must_use]
pub fn progress(setup: &Setup, snapshot: &Snapshot, in_step_s: f64) -> (f64, f64) {
    if matches!(snapshot.stage, Stage::Ending | Stage::Ended) {
        return (1.0, 0.0);
    }
    let all = setup.seconds_from(1).max(f64::MIN_POSITIVE);
    let own = step(setup, snapshot.step).map_or(0.0, |s| s.seconds);
    let left = setup.seconds_from(snapshot.step.max(1)) - in_step_s.clamp(0.0, own);
    ((1.0 - left / all).clamp(0.0, 1.0), left.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_said_as_people_say_them() {
        for (seconds, words) in [
            (-1.0, "0 s"),
            (59.4, "59 s"),
            (59.6, "1 min 00 s"),
            (560.0, "9 min 20 s"),
            (3_905.0, "1 h 05 min"),
        ] {
            assert_eq!(span(seconds), words);
        }
        assert_eq!(clock(Moment::from_s(3_723.9)), "1:02:03");
        assert_eq!(clock(Moment::from_s(61.0)), "1:01");
    }
}
