//! Plays a recorded trace at its own timing.

use super::{Act, Context, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::role::Role;
use std::time::Duration;

/// Set points and the time of each from the start of the step, s.
type Rows = Vec<(f64, Vec<(Role, f64)>)>;

/// A trace being played.
#[derive(Debug)]
pub(super) struct Replay {
    rows: Rows,
    next: usize,
    start: Option<Moment>,
}

impl Replay {
    pub(super) fn new(rows: Rows) -> Self {
        Replay { rows, next: 0, start: None }
    }
}

impl Act for Replay {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let start = *self.start.get_or_insert(now);
        while let Some((time_s, values)) = self.rows.get(self.next) {
            let due = start + Duration::from_secs_f64(time_s.max(0.0));
            if now < due {
                return Ok(Progress::Until(due));
            }
            for (role, value) in values {
                bench.set(role, *value, now)?;
            }
            self.next += 1;
        }
        Ok(Progress::Done)
    }
}
