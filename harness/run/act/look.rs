//! Readings that a person takes where a step needs them: at a settled gauge, at the end of a vented span.
//!
//! In: which readings. Out: one question for all of them; the answers are samples like any others. Never: a wait for a
//! steadiness that one reading cannot show; the person judges it, and the question says so.

use super::super::desk::Desk;
use super::{Act, Context, Mark, Progress};
use crate::clock::Moment;
use crate::problem::fault::Fault;
use crate::script::planner::END;
use crate::script::role::Role;

/// Kinds of spans whose readings the analysis takes from their end, and which readings those are.
const AT_END: [(&str, &[Role]); 2] =
    [("vented_zero", &[Role::LinePressure, Role::BackPressure]), ("weigh", &[Role::CupMass, Role::TankMass])];

/// The readings that the end of a span needs from a person; none where it is another mark, or instruments read them.
pub(super) fn wanted_at_end(kind: &str, values: &[(String, String)], desk: &Desk<'_>) -> Option<Vec<Role>> {
    let of = values.iter().find(|(name, _)| name == "of").map(|(_, of)| of.as_str());
    let (_, roles) = AT_END.iter().find(|(span, _)| kind == END && of == Some(span))?;
    let wanted: Vec<Role> = roles.iter().filter(|r| desk.by_hand(r)).cloned().collect();
    (!wanted.is_empty()).then_some(wanted)
}

/// Readings being taken by a person.
#[derive(Debug)]
pub(super) struct Look {
    /// What is said before the question.
    note: &'static str,
    roles: Vec<Role>,
    /// The mark to be made once everything is read; none for a settled reading.
    mark: Option<Mark>,
    /// Roles still to be read; none before they were asked for.
    open: Option<Vec<Role>>,
    asked_at: Moment,
    value: f64,
}

impl Look {
    /// Waits for a steady reading: the person waits, and reads.
    pub(super) fn settled(role: Role) -> Self {
        Look::new(
            "Spray into a bucket, away from the cup, and wait until it stands still; then:",
            vec![role],
            None,
        )
    }

    /// Reads what a span needs, and then marks its end.
    pub(super) fn at_end(kind: String, values: Vec<(String, String)>) -> Self {
        Look::new("", Vec::new(), Some(Mark { kind, values }))
    }

    fn new(note: &'static str, roles: Vec<Role>, mark: Option<Mark>) -> Self {
        Look { note, roles, mark, open: None, asked_at: Moment::START, value: 0.0 }
    }

    fn ask(&mut self, bench: &mut Context<'_>, now: Moment) {
        if let Some(mark) = &self.mark {
            self.roles = wanted_at_end(&mark.kind, &mark.values, &bench.desk).unwrap_or_default();
        }
        if !self.note.is_empty() {
            bench.notes.push(self.note.to_owned());
        }
        bench.desk.request(&self.roles, now);
        self.open = Some(self.roles.clone());
        self.asked_at = now;
    }
}

impl Act for Look {
    fn advance(&mut self, bench: &mut Context<'_>, now: Moment) -> Result<Progress, Fault> {
        let Some(open) = &self.open else {
            self.ask(bench, now);
            return Ok(Progress::Until(Moment::NEVER));
        };
        if !open.is_empty() {
            return Ok(Progress::Until(Moment::NEVER));
        }
        if let Some(mark) = &mut self.mark {
            return mark.advance(bench, now);
        }
        let (role, after_s) = (&self.roles[0], now.since(self.asked_at).as_secs_f64());
        bench.log.event(now, "settled", &[("role", role), ("value", &self.value), ("after_s", &after_s)]);
        Ok(Progress::Done)
    }

    fn reading(&mut self, role: &Role, _at: Moment, value: f64) {
        if let Some(open) = &mut self.open
            && open.contains(role)
        {
            open.retain(|r| r != role);
            self.value = value;
        }
    }
}
