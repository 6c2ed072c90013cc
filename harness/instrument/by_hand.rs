//! Questions to the operator.
//!
//! In: what is to be read, and what the operator typed. Out: one question for all readings that are wanted together,
//! and later the readings, a setting done, or what is wrong with the answer, so that it is asked again. Never: a reading
//! from an answer that is not wholly understood, or one outside its channel's range.

use super::deliver::{Occasion, deliver};
use super::event::InstrumentEvent;
use super::exchange::{Poll, Target};
use super::machine::{Instrument, State, What};
use crate::clock::Moment;
use crate::problem::Problem;
use crate::quantity::{self, Dimension, QuantityError, Units};
use crate::wire::number::Numeric;

/// What an operator may answer to a request that is done.
const DONE: &[&str] = &["", "ok", "done", "yes", "y"];

impl Instrument {
    /// Takes the operator's answer to the question of `channel`: `ok` or an empty line for a setting that is done, a
    /// value with its unit for a reading; where several readings were asked for, all of them, in the order asked. A
    /// bare number is taken only where the question states its unit, as in `Read the gauge [psi].`
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
            State::Waiting { what: What::Tell(i), .. } if self.tells[i].channel == channel => {
                is_done(text)?;
                // What was asked for is done when the operator says so, not halfway to it.
                self.told(i, now, now, events);
            }
            State::Waiting { what: What::Poll(_), .. } if self.is_asked(channel) => {
                let asked: Vec<&Target> = self.asked.iter().map(|i| &self.polls[*i].targets[0]).collect();
                let values = values(text, &asked)?;
                self.answered(now, now);
                for (i, value) in std::mem::take(&mut self.asked).into_iter().zip(values) {
                    let occasion = Occasion { at: now, round_trip: None, flag: None };
                    let value = Numeric::Finite(value);
                    deliver(&mut self.polls[i].targets, occasion, |_| Some((value, None)), events);
                }
            }
            _ => return Err(Box::new(Problem::new("no question is open for this channel"))),
        }
        self.plan_wake();
        Ok(())
    }

    fn is_asked(&self, channel: usize) -> bool {
        self.asked.iter().any(|i| self.polls[*i].targets[0].channel == channel)
    }

    /// Asks for every reading that is wanted by `now`, poll `first` among them, in one question.
    pub(super) fn ask_person(&mut self, first: usize, now: Moment, events: &mut Vec<InstrumentEvent>) {
        self.asked.clear();
        for (i, poll) in self.polls.iter_mut().enumerate() {
            if i == first || poll.due <= now {
                poll.due = Moment::NEVER;
                self.asked.push(i);
            }
        }
        self.find_next_due();
        let questions: Vec<&str> = self.asked.iter().map(|i| self.polls[*i].shown.as_str()).collect();
        let mut text = questions.join("\n");
        if questions.len() > 1 {
            text.push_str("\nAnswer with the values in this order, a comma and a blank between them.");
        }
        let channel = self.polls[self.asked[0]].targets[0].channel;
        events.push(InstrumentEvent::Question { channel, text });
    }
}

impl Poll {
    /// A question is asked when somebody wants its answer, on no grid of time.
    pub(super) fn is_on_request(&self) -> bool {
        self.period.is_zero()
    }
}

/// What is wrong, with the whole answer where that names only a part of it.
fn told(text: &str, what: &str) -> String {
    let whole = what.contains(text);
    if whole { what.to_owned() } else { format!("in \"{text}\": {what}") }
}

fn is_done(text: &str) -> Result<(), Box<Problem>> {
    if DONE.iter().any(|word| text.eq_ignore_ascii_case(word)) {
        return Ok(());
    }
    let what = format!("\"{text}\" does not say whether it is done");
    Err(Box::new(Problem::new(what).expected("\"ok\", or an empty line, when it is done")))
}

/// The instrument's numbers in an answer, one for each target.
fn values(text: &str, targets: &[&Target]) -> Result<Vec<f64>, Box<Problem>> {
    let parts = parts(text, targets.len());
    if parts.len() != targets.len() {
        let what = match text {
            "" => String::from("the values are missing"),
            _ => format!("\"{text}\" holds {} values, {} were asked for", parts.len(), targets.len()),
        };
        let examples: Vec<&str> = targets.iter().map(|t| t.dimension.example()).collect();
        return Err(Box::new(
            Problem::new(what)
                .expected(format!("the values in the order asked, such as \"{}\"", examples.join(", "))),
        ));
    }
    parts.iter().zip(targets).map(|(part, target)| value_of(part, target)).collect()
}

/// The parts of an answer: between semicolons, or commas with a blank (a comma alone may be meant as a decimal mark and
/// is refused with the number); or bare numbers with blanks between them.
fn parts(text: &str, wanted: usize) -> Vec<&str> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let bare = |word: &&str| word.parse::<f64>().is_ok();
    if wanted == 1 {
        vec![text]
    } else if words.len() == wanted && words.iter().all(bare) {
        words
    } else {
        text.split(';').flat_map(|part| part.split(", ")).map(str::trim).collect()
    }
}

/// The instrument's number in an answer: a value with its unit, or without where the question states it; `on`, `off`,
/// 1 or 0 for a switch.
fn value_of(text: &str, target: &Target) -> Result<f64, Box<Problem>> {
    let value = match (target.dimension, text, &target.stated) {
        (Dimension::Switch, "1", _) => Ok(1.0),
        (Dimension::Switch, "0", _) => Ok(0.0),
        (dimension, _, Some(unit)) => match quantity::parse(text, dimension) {
            Err(QuantityError::NoUnit) => quantity::parse(&format!("{text} {unit}"), dimension),
            other => other,
        },
        (dimension, ..) => quantity::parse(text, dimension),
    };
    let value = value.map_err(|why| {
        Box::new(Problem {
            place: None,
            what: told(text, &why.what(text)),
            expected: Some(QuantityError::expected(target.dimension)),
            help: why.help(),
        })
    })?;
    let (low, high) = target.range;
    if !(low..=high).contains(&value) {
        let show = |value| quantity::show(value, target.dimension, Units::Us);
        return Err(Box::new(
            Problem::new(format!("\"{text}\" is not a reading this instrument can show")).expected(format!(
                "{} to {}",
                show(low),
                show(high)
            )),
        ));
    }
    Ok((value - target.offset) / target.gain)
}

/// The unit that a question states for its answer, in square brackets; none where it states none.
///
/// # Errors
/// What stands in the brackets, where that is no unit of the dimension.
pub(super) fn stated_unit(question: &str, dimension: Dimension) -> Result<Option<String>, String> {
    let Some((_, rest)) = question.split_once('[') else {
        return Ok(None);
    };
    let word = rest.split(']').next().unwrap_or_default().trim();
    match quantity::parse(&format!("1 {word}"), dimension) {
        Ok(_) if dimension != Dimension::Switch => Ok(Some(word.to_owned())),
        _ => Err(word.to_owned()),
    }
}
