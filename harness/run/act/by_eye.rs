//! A slow move that a person makes and watches: where the spray stopped, or started.
//!
//! In: a role set by hand, from where to where. Out: a question, and an event with what the person saw. Never: a value
//! that was not seen taken for one that was.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};
use crate::quantity::{self, Dimension, QuantityError, Units};
use crate::script::role::Role;

/// Answers in a row that could not be used, after which the run ends.
const WRONG_ANSWERS_MAX: u32 = 20;
/// What an operator answers who saw nothing stop or start.
const NOTHING: &str = "none";

/// A move by hand.
#[derive(Debug)]
pub(super) struct ByEye {
    role: Role,
    from: f64,
    to: f64,
    seconds: f64,
    answer: Option<String>,
    asked: bool,
    wrong: u32,
}

impl ByEye {
    pub(super) fn new(role: Role, (from, to): (f64, f64), seconds: f64) -> Self {
        ByEye { role, from, to, seconds, answer: None, asked: false, wrong: 0 }
    }

    fn question(&self) -> String {
        let show = |value, dimension| quantity::show(value, dimension, Units::Metric);
        let (way, seen) = if self.to < self.from { ("down", "stopped") } else { ("up", "started") };
        format!(
            "Turn {} slowly and evenly {way}, from {} to {} over about {}, and watch the spray. \
             Answer with the value at which it {seen} [%]; answer {NOTHING} if it never did.",
            self.role,
            show(self.from, self.role.dimension()),
            show(self.to, self.role.dimension()),
            show(self.seconds, Dimension::Time),
        )
    }

    /// What was answered: a value within the move, or that nothing was seen.
    fn seen(&self, text: &str) -> Result<Option<f64>, String> {
        let text = text.trim();
        if text.eq_ignore_ascii_case(NOTHING) {
            return Ok(None);
        }
        let value = match quantity::parse(text, Dimension::Ratio) {
            Err(QuantityError::NoUnit) => quantity::parse(&format!("{text} %"), Dimension::Ratio),
            other => other,
        };
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        match value {
            Ok(value) if (low..=high).contains(&value) => Ok(Some(value)),
            Ok(_) => Err(format!("\"{text}\" does not lie between {low} % and {high} %")),
            Err(why) => Err(format!(
                "{}; expected {} or {NOTHING}",
                why.what(text),
                QuantityError::expected(Dimension::Ratio)
            )),
        }
    }
}

impl Act for ByEye {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        if !self.asked {
            self.asked = true;
            bench.ask(self.question());
            bench.guard.permit(&self.role, self.from)?;
            bench.guard.commanded(&self.role, self.from.max(self.to), now);
        }
        let Some(answer) = self.answer.take() else {
            return Ok(Progress::Until(Moment::NEVER));
        };
        match self.seen(&answer) {
            Ok(seen) => {
                let direction = if self.to < self.from { "down" } else { "up" };
                if let Some(value) = seen {
                    let pairs: [(&str, &dyn std::fmt::Display); 3] =
                        [("role", &self.role), ("direction", &direction), ("value", &value)];
                    bench.log.event(now, "seen_by_eye", &pairs);
                }
                Ok(Progress::Done)
            }
            Err(why) => {
                self.wrong += 1;
                if self.wrong >= WRONG_ANSWERS_MAX {
                    let help = "see what the questions ask for, and go on with --resume";
                    return Err(Fault::new(FaultCode::Timeout, "operator", why, help));
                }
                bench.notes.push(why);
                bench.ask(self.question());
                Ok(Progress::Until(Moment::NEVER))
            }
        }
    }

    fn answered(&mut self, text: &str) {
        self.answer = Some(text.to_owned());
    }
}
