//! Questions to the operator.
//!
//! In: what the operator typed. Out: a reading, a setting done, or what is wrong with the answer, so that it is asked
//! again. Never: a reading from an answer that is not wholly understood.

use super::deliver::{Occasion, deliver};
use super::event::InstrumentEvent;
use super::exchange::Target;
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::problem::Problem;
use crate::quantity::{self, Dimension, QuantityError};
use crate::wire::number::Numeric;

/// What an operator may answer to a request that is done.
const DONE: &[&str] = &["", "ok", "done", "yes", "y"];

impl Instrument {
    /// Takes the operator's answer to the question of `channel`: `ok` or an empty line for a setting that is done, a
    /// value with its unit for a reading.
    ///
    /// # Errors
    /// What is wrong with the answer; the question is still open.
    pub fn answer(
        &mut self,
        channel: usize,
        text: &str,
        now: Moment,
        events: &mut Vec<InstrumentEvent>,
    ) -> Result<(), Box<Problem>> {
        let text = text.trim();
        match self.state {
            State::Waiting {
                what: What::Tell(i),
                sent,
                ..
            } if self.tells[i].channel == channel => {
                if !DONE.iter().any(|word| text.eq_ignore_ascii_case(word)) {
                    let what = format!("\"{text}\" does not say whether it is done");
                    let problem = Problem::new(what).expected("\"ok\", or an empty line, when it is done");
                    return Err(Box::new(problem));
                }
                self.told(i, sent, now, events);
            }
            State::Waiting {
                what: What::Poll(i), ..
            } if self.polls[i].targets[0].channel == channel => {
                let value = value_of(text, &self.polls[i].targets[0])?;
                // The value was read between question and answer, nearer to the answer.
                self.answered(now, now);
                let occasion = Occasion {
                    at: now,
                    round_trip: None,
                    flag: None,
                };
                deliver(
                    &mut self.polls[i].targets,
                    occasion,
                    |_| Some((Numeric::Finite(value), None)),
                    events,
                );
                let poll = &mut self.polls[i];
                poll.due = if poll.period.is_zero() {
                    Moment::NEVER
                } else {
                    now + poll.period
                };
                self.find_next_due();
            }
            _ => return Err(Box::new(Problem::new("no question is open for this channel"))),
        }
        self.plan_wake();
        Ok(())
    }
}

/// The instrument's number in an answer: a value with its unit; `on`, `off`, 1 or 0 for a switch.
fn value_of(text: &str, target: &Target) -> Result<f64, Box<Problem>> {
    let value = match (target.dimension, text) {
        (Dimension::Switch, "1") => Ok(1.0),
        (Dimension::Switch, "0") => Ok(0.0),
        _ => quantity::parse(text, target.dimension),
    };
    match value {
        Ok(value) => Ok((value - target.offset) / target.gain),
        Err(why) => Err(Box::new(Problem {
            place: None,
            what: why.what(text),
            expected: Some(QuantityError::expected(target.dimension)),
            help: why.help(),
        })),
    }
}
