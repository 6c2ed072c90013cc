//! What a person cannot do of a scenario: a person gives a reading or a setting a minute, not a hundred a second.
//!
//! In: decoded steps, a rig. Out: a problem for each step that needs more, with what would do instead. Never: a scenario
//! begun by hand that could not come to a result.

use super::rig::Rig;
use super::role::Role;
use super::scenario::step::{Action, Step};
use super::yaml::Mark;
use crate::problem::Problem;

/// Kinds of spans whose readings have to come at a rate, the roles read, and what would do instead.
const AT_RATE: &[(&str, &[Role], &str)] = &[
    ("ramp", &[Role::LinePressure, Role::Switch], SWITCH),
    ("decay", &[Role::LinePressure], DECAY),
    ("leak", &[Role::LinePressure], DECAY),
    ("response", &[Role::LinePressure], DECAY),
    ("dead_head", &[Role::LinePressure], DEAD_HEAD),
    ("trace", &[Role::LinePressure, Role::CupMass], TRACE),
];
const SWITCH: &str = "raise and lower the pressure slowly by hand, write a row just before and just after each change of the lamp \
                      into a CSV (`ramp, time_s, line_pressure_psi, switch`), and give it to `dutycup analyse ramps.csv \
                      --set-point \"30 psi\" --tolerance \"3 psi\"`";
const DECAY: &str = "use a rig with a pressure transducer; without one, shut the line in, note the gauge at once and after some \
                     minutes, and judge the drop by the data sheet: this is no measurement of a leak";
const DEAD_HEAD: &str = "use a rig with a pressure transducer, whose limit ends the ramp in time; a person reading a gauge is too slow to \
                         be the guard of the highest pressure on the bench";
const TRACE: &str = "use a rig whose instruments are read by the program";

/// What a person cannot do, each with its mark.
pub(super) fn refusals(steps: &[Step], rig: &Rig) -> Vec<(Mark, Problem)> {
    let mut look = Look { rig, spans: Vec::new(), found: Vec::new() };
    look.steps(steps);
    look.found
}

struct Look<'r> {
    rig: &'r Rig,
    /// Kinds of the spans around the step at hand.
    spans: Vec<String>,
    found: Vec<(Mark, Problem)>,
}

impl Look<'_> {
    /// Tells once that a person plays `role` here, where one does.
    fn tell(&mut self, mark: Mark, what: &str, role: &Role, help: &str) {
        if !self.rig.by_hand(role) {
            return;
        }
        let what = format!("{what} of {role} cannot be done by hand: it needs a value many times a second");
        if self.found.iter().any(|(_, p)| p.what == what) {
            return;
        }
        let expected = format!("a channel of the rig {} that an instrument plays", self.rig.name);
        self.found.push((mark, Problem::new(what).expected(expected).help(help)));
    }

    fn steps(&mut self, steps: &[Step]) {
        for step in steps {
            self.step(step);
        }
    }

    fn step(&mut self, step: &Step) {
        let mark = step.mark;
        match &step.action {
            Action::Ramp { role, until, .. } => {
                let help = self.help();
                let watched = self.spans.iter().any(|kind| kind == "dead_band") && *role == Role::PumpDuty;
                if !watched {
                    self.tell(mark, "a ramp", role, help);
                }
                if let Some((until, mark)) = until {
                    self.tell(*mark, "the end of a ramp at a level", &until.role, help);
                }
            }
            Action::Bisect { input, output, .. } => {
                for role in [input, output] {
                    self.tell(mark, "a search by halving", role, TRACE);
                }
            }
            Action::Replay { .. } => {
                for role in [Role::Boost, Role::Rpm] {
                    self.tell(mark, "the replay", &role, TRACE);
                }
            }
            Action::Span { kind, body, .. } => {
                if let Some((_, roles, help)) = AT_RATE.iter().find(|(k, ..)| k == kind) {
                    for role in *roles {
                        self.tell(mark, &format!("the {} span", kind.replace('_', " ")), role, help);
                    }
                }
                self.spans.push((*kind).to_owned());
                self.steps(body);
                self.spans.pop();
            }
            Action::Sweep { between, body, .. } => {
                self.steps(between);
                self.steps(body);
            }
            Action::Cycle { body, .. } | Action::Trap { body, .. } => self.steps(body),
            _ => {}
        }
    }

    /// What would do instead, by the span around a step.
    fn help(&self) -> &'static str {
        let around = |kind: &String| AT_RATE.iter().find(|(k, ..)| k == kind).map(|(.., help)| *help);
        self.spans.iter().rev().find_map(around).unwrap_or(TRACE)
    }
}
