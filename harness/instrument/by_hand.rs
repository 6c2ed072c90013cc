//! Questions to the operator.
//!
//! In: what the operator typed. Out: a reading, a setting done, or what is wrong with the answer, so that it is asked
//! again. Never: a reading from an answer that is not wholly understood.

use super::deliver::{Occasion, deliver};
use super::event::InstrumentEvent;
use super::exchange::Target;
use super::machine::{Instrument, State, What};
use super::unit;
use crate::clock::Moment;
use crate::problem::Problem;
use crate::quantity::Dimension;
use crate::wire::number::{self, DecimalMark, Numeric};

/// What an operator may answer to a request that is done.
const DONE: &[&str] = &["", "ok", "done", "yes", "y"];

impl Instrument {
    /// Takes the operator's answer to the question of `channel`. A setting is done with `ok` or an empty line; a
    /// reading is a value with its unit, or the bare number that the channel's scaling is for.
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

/// The instrument's number in an answer.
fn value_of(text: &str, target: &Target) -> Result<f64, Box<Problem>> {
    let problem = |what: String, expected: &str| Err(Box::new(Problem::new(what).expected(expected)));
    if target.dimension == Dimension::Switch {
        return match text.to_ascii_lowercase().as_str() {
            "1" | "on" | "yes" => Ok(1.0),
            "0" | "off" | "no" => Ok(0.0),
            _ => problem(format!("\"{text}\" is neither on nor off"), "on or off"),
        };
    }
    let word = text.trim_start_matches(|c: char| !c.is_alphabetic() && c != '%');
    let (digits, word) = (text[..text.len() - word.len()].trim(), word.trim());
    let value = match number::decimal(digits.as_bytes(), DecimalMark::Point) {
        Ok(value) => value,
        Err(why) => {
            return problem(
                format!("\"{text}\" is not a value: {why}"),
                "a number and its unit",
            );
        }
    };
    if word.is_empty() {
        return Ok(value);
    }
    match unit::in_internal(value, word, target.dimension) {
        Some(value) => Ok((value - target.offset) / target.gain),
        None => problem(
            format!("\"{word}\" is not its unit"),
            "a unit of what is asked for",
        ),
    }
}
