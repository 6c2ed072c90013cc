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
    done: bool,
}

impl Ask {
    pub(super) fn new(request: String) -> Self {
        Ask {
            request,
            asked: false,
            done: false,
        }
    }
}

impl Act for Ask {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        if !self.asked {
            self.asked = true;
            if bench.desk.channel(&Role::PumpDuty).is_some() {
                bench.set(&Role::PumpDuty, 0.0, now)?;
            }
            bench.log.text(now, "ask", &self.request);
            bench
                .questions
                .push(format!("{} Press Enter when done.", self.request));
        }
        if !self.done {
            return Ok(Progress::Until(Moment::NEVER));
        }
        bench.log.text(now, "answered", &self.request);
        Ok(Progress::Done)
    }

    fn answered(&mut self) {
        self.done = true;
    }
}
