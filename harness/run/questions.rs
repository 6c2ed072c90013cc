//! The operator's questions and answers on their way through the bench loop.
//!
//! In: what steps and instruments ask, and what the operator types. Out: questions and notes to be shown, answers at
//! whoever asked. Never: an answer taken for that to another question; more than so many wrong ones in a row.

use super::act::Question;
use super::bench::Bench;
use crate::clock::Moment;
use crate::problem::fault::{Fault, FaultCode};

/// Answers in a row that could not be used, after which the run ends.
const WRONG_ANSWERS_MAX: u32 = 20;

impl Bench<'_> {
    /// The operator's answer to the oldest open question.
    pub fn answer(&mut self, text: &str, at: Moment) {
        match self.asked.pop_front() {
            Some((Question::Step, _)) => {
                if let Some(act) = &mut self.act {
                    act.answered(text);
                    self.act_wake = at;
                }
            }
            Some((Question::Channel(channel), question)) => {
                let mut events = std::mem::take(&mut self.events);
                match self.context.desk.answer(channel, text, at, &mut events) {
                    Ok(()) => self.wrong = 0,
                    Err(problem) => self.ask_again(&problem.to_string(), (channel, question), at),
                }
                self.take_events(&mut events, at);
                self.events = events;
                self.act_wake = at;
            }
            None => {}
        }
        self.wake = self.wake.min(at);
    }

    /// An answer that cannot be used: says why, and asks once more.
    fn ask_again(&mut self, why: &str, (channel, question): (usize, String), at: Moment) {
        self.wrong += 1;
        if self.wrong >= WRONG_ANSWERS_MAX {
            let help = "see what the questions ask for, and go on with --resume";
            let seen = format!("{WRONG_ANSWERS_MAX} answers in a row could not be used: {why}");
            self.fail(Fault::new(FaultCode::Timeout, "operator", seen, help), at);
            return;
        }
        self.context.notes.push(why.to_owned());
        self.context.questions.push((Question::Channel(channel), question));
    }

    /// Questions to show the operator, oldest first.
    pub fn take_questions(&mut self) -> Vec<String> {
        let questions = std::mem::take(&mut self.context.questions);
        self.asked.extend(questions.iter().cloned());
        questions.into_iter().map(|(_, text)| text).collect()
    }

    /// What the operator is to see and need not answer, oldest first.
    pub fn take_notes(&mut self) -> Vec<String> {
        std::mem::take(&mut self.context.notes)
    }
}
