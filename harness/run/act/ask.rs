//! Asks the operator to do something, and waits until it is done. The pump is off meanwhile.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::role::Role;

/// A request to the operator.
#[derive(Debug)]
pub(super) struct Ask {
    request: String,
    asked: bool,
    answer: Option<String>,
}

impl Ask {
    pub(super) fn new(request: String) -> Self {
        Ask { request, asked: false, answer: None }
    }
}

impl Act for Ask {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        if !self.asked {
            self.asked = true;
            let by_hand = bench.by_hand(&Role::PumpDuty);
            if by_hand {
                bench.guard.commanded(&Role::PumpDuty, 0.0, now);
            } else if bench.desk.channel(&Role::PumpDuty).is_some() {
                bench.set(&Role::PumpDuty, 0.0, now)?;
            }
            let first = if by_hand { "With the pump off: " } else { "" };
            bench.log.text(now, "ask", &self.request);
            bench.ask(format!("{first}{} Press Enter when done.", self.request));
        }
        let Some(answer) = &self.answer else {
            return Ok(Progress::Until(Moment::NEVER));
        };
        match answer.trim().parse::<f64>() {
            Ok(seconds) if seconds.is_finite() => bench.log.event(now, "answered", &[("seconds", &seconds)]),
            _ => bench.log.text(now, "answered", answer),
        }
        Ok(Progress::Done)
    }

    fn answered(&mut self, text: &str) {
        self.answer = Some(text.to_owned());
    }
}
