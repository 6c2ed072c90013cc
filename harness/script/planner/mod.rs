//! A scenario played out for a rig: the tree of steps becomes a flat list.
//!
//! In: a scenario, a rig, parameters, a seed. Out: a [`Plan`], or every problem. Never: more than
//! [`STEPS_MAX`] steps, a pump that runs longer than it may, or one that runs against a closed outlet without the
//! scenario saying so.

mod sweep;
pub mod timeline;
mod walk;

use super::check::check;
use super::plan::{Op, Plan, Step};
use super::rig::{Limits, Rig};
use super::rig_file::place_of;
use super::role::Role;
use super::scenario::Scenario;
use super::scenario::step::{self as tree, Action};
use super::yaml::{Mark, Text};
use crate::chance::{Seed, Stream, uniform};
use crate::problem::{Problem, Problems};
use crate::quantity::{Dimension, Units, rounded, show};
use walk::Walk;

/// Most steps of a plan.
pub const STEPS_MAX: usize = 100_000;

/// Plays a scenario out for a rig.
///
/// # Errors
/// Every problem: parameters, references, limits, order.
pub fn plan(scenario: &Scenario, rig: &Rig, sets: &[(String, String)], seed: Seed) -> Result<Plan, Problems> {
    let (resolved, _) = scenario.resolve(sets)?;
    let limits = check(&scenario.text, &resolved.steps, &resolved.limits, rig)?;
    let mut planner = Planner::new(&scenario.text, rig, limits, seed);
    planner.steps(&resolved.steps);
    planner.end();
    planner.problems.into_result()?;
    Ok(Plan {
        scenario: scenario.name.clone(),
        source: scenario.source.clone(),
        parameters: resolved.parameters,
        steps: planner.plan,
        limits,
        purpose: scenario.purpose,
    })
}

struct Planner<'p> {
    text: &'p Text,
    rig: &'p Rig,
    limits: Limits,
    seed: Seed,
    holds: Stream,
    plan: Vec<Step>,
    walk: Walk,
    /// Where we are in words, outermost first.
    around: Vec<String>,
    /// Number of the cycle at hand, from 1.
    cycle: Option<usize>,
    /// Pass of the sweep at hand, from 1.
    repeat: u32,
    /// Sweeps begun, for the names of their random streams.
    sweeps: u32,
    /// Pressure is trapped on purpose.
    traps: bool,
    /// Nozzles mounted, joined by `+`.
    mounted: String,
    full: bool,
    /// Where the pump was last set going.
    on_at: Mark,
    told: Vec<&'static str>,
    problems: Problems,
}

impl<'p> Planner<'p> {
    fn new(text: &'p Text, rig: &'p Rig, limits: Limits, seed: Seed) -> Self {
        Planner {
            text,
            rig,
            limits,
            seed,
            holds: seed.stream("plan.hold"),
            plan: Vec::new(),
            walk: Walk::new(rig),
            around: Vec::new(),
            cycle: None,
            repeat: 1,
            sweeps: 0,
            traps: false,
            mounted: rig.pair.nozzles.first().map_or_else(String::new, |n| n.name.clone()),
            full: false,
            on_at: Mark { line: 1, column: 1, width: 1 },
            told: Vec::new(),
            problems: Problems::default(),
        }
    }

    /// Tells a problem of a kind once.
    fn once(&mut self, kind: &'static str, mark: Mark, problem: Problem) {
        if !self.told.contains(&kind) {
            self.told.push(kind);
            self.problems.push(problem.at(self.text.place(mark)));
        }
    }

    /// The line of the rig that sets a limit.
    fn rig_line(&self, name: &str) -> String {
        let line = place_of(self.rig, &["limits", name]).map_or(0, |p| p.line);
        format!("rig {}, line {line}", self.rig.name)
    }

    fn steps(&mut self, steps: &[tree::Step]) {
        for step in steps {
            if self.full {
                return;
            }
            self.step(step);
        }
    }

    fn step(&mut self, step: &tree::Step) {
        let mark = step.mark;
        match &step.action {
            Action::Set { settings, if_fitted } => {
                let settings: Vec<_> = settings
                    .iter()
                    .filter(|(role, _)| !if_fitted || self.rig.plays(role))
                    .map(|(role, value)| (role.clone(), value.value))
                    .collect();
                if !settings.is_empty() {
                    self.push(mark, shown_settings(&settings), Op::Set(settings));
                }
            }
            Action::Sweep { .. } => self.sweep(step),
            Action::Cycle { times, body } => self.cycle(mark, *times, body),
            Action::Span { kind, values, body } => self.span(mark, kind, values, body),
            Action::Trap { why, vent_within_s, body } => self.trap(mark, why, *vent_within_s, body),
            Action::Mount { nozzle } => self.mount(mark, nozzle),
            action => {
                if let Some((label, op)) = self.plain(action) {
                    self.push(mark, label, op);
                }
            }
        }
    }

    /// Steps that become one operation.
    fn plain(&mut self, action: &Action) -> Option<(String, Op)> {
        Some(match action {
            Action::Hold { from, to } => {
                let seconds = if to > from { uniform(&mut self.holds, *from, *to) } else { *from };
                (format!("hold {}", show(seconds, Dimension::Time, Units::Metric)), Op::Hold { seconds })
            }
            Action::Ramp { role, from, to, seconds, until } => (
                format!("ramp {role} {} to {}", from.text, to.text),
                Op::Ramp {
                    role: role.clone(),
                    from: from.value,
                    to: to.value,
                    seconds: *seconds,
                    until: until.as_ref().map(|(until, _)| until.clone()),
                },
            ),
            Action::Settle { role, within, within_fraction, window_s, at_most_s } => (
                format!("settle {role}"),
                Op::Settle {
                    role: role.clone(),
                    within: *within,
                    within_fraction: *within_fraction,
                    window_s: *window_s,
                    at_most_s: *at_most_s,
                },
            ),
            Action::Collect { stop, weigh_at_rest } => (
                format!("collect, nozzle {}, repeat {}", self.mounted, self.repeat),
                Op::Collect {
                    repeat: self.repeat,
                    nozzle: self.mounted.clone(),
                    stop: *stop,
                    weigh_at_rest: *weigh_at_rest,
                },
            ),
            Action::Bisect { input, from, to, resolution, output, level, settle_s } => (
                format!("bisect {input} {} to {} for {output}", from.text, to.text),
                Op::Bisect {
                    input: input.clone(),
                    from: from.value,
                    to: to.value,
                    resolution: *resolution,
                    output: output.clone(),
                    level: *level,
                    settle_s: *settle_s,
                },
            ),
            Action::Replay { file, rows } => (
                format!("replay {} rows", rows.len()),
                Op::Replay {
                    file: file.clone(),
                    rows: rows
                        .iter()
                        .map(|(t, boost, rpm)| (*t, vec![(Role::Boost, *boost), (Role::Rpm, *rpm)]))
                        .collect(),
                },
            ),
            Action::Ask { request } => {
                ("ask the operator".to_owned(), Op::Ask { request: request.trim().to_owned() })
            }
            Action::Vent { at_most_s } => ("vent the line".to_owned(), Op::Vent { at_most_s: *at_most_s }),
            Action::Expect { item, lower, upper } => {
                (format!("expect {item}"), Op::Expect { item: item.clone(), lower: *lower, upper: *upper })
            }
            _ => return None,
        })
    }

    /// Adds an operation, and looks at what it does to the bench.
    fn push(&mut self, mark: Mark, label: String, op: Op) {
        if self.plan.len() >= STEPS_MAX {
            self.full = true;
            let problem = Problem::new(format!("the scenario comes to more than {STEPS_MAX} steps"));
            self.once("steps", mark, problem.help("fewer points, repeats or cycles"));
            return;
        }
        let was_on = self.walk.pump_on();
        self.walk.step(&op);
        if self.walk.pump_on() && !was_on {
            self.on_at = mark;
        }
        let label = self.around.iter().cloned().chain([label]).collect::<Vec<_>>().join(": ");
        self.plan.push(Step { id: self.plan.len() as u32 + 1, label, op, traps_pressure: self.traps });
        self.look(mark);
    }

    /// What must hold after each step.
    fn look(&mut self, mark: Mark) {
        if self.walk.pump_on() && !self.walk.open && !self.traps {
            let problem = Problem::new("the pump runs against the closed solenoid here");
            let help =
                "set `solenoid: on` first; where that is the purpose, put the steps into traps_pressure";
            self.once("closed", mark, problem.help(help));
        }
        if self.walk.on_s > self.limits.on_time_s {
            let limit = show(self.limits.on_time_s, Dimension::Time, Units::Metric);
            let problem = Problem::new("the pump may have been on for too long by the end of this step");
            let rig = self.rig_line("on_time");
            let problem = problem.expected(format!("a pause before {limit} ({rig})"));
            self.once("on", mark, problem.help("stop the pump between passes, such as `between: [{set: {pump_duty: 0 %}}, {hold: 60 s}]`"));
        }
    }

    fn mark(&mut self, mark: Mark, kind: &str, values: Vec<(String, String)>) {
        let label = format!("mark {kind}");
        self.push(mark, label, Op::Mark { kind: kind.to_owned(), values });
    }

    fn cycle(&mut self, mark: Mark, times: usize, body: &[tree::Step]) {
        let outside = self.cycle;
        for i in 1..=times {
            self.cycle = Some(i);
            let (start, before) = (self.plan.len(), self.walk.clone());
            self.around.push(format!("cycle {i} of {times}"));
            self.steps(body);
            self.around.pop();
            self.room(mark, start, &before);
            if self.full {
                break;
            }
        }
        self.cycle = outside;
    }

    fn span(&mut self, mark: Mark, kind: &str, values: &[(String, String)], body: &[tree::Step]) {
        let mut values = values.to_vec();
        if let Some(cycle) = self.cycle.filter(|_| !values.iter().any(|(name, _)| name == "cycle")) {
            values.push(("cycle".to_owned(), cycle.to_string()));
        }
        self.mark(mark, kind, values);
        self.steps(body);
        self.mark(mark, END, vec![("of".to_owned(), kind.to_owned())]);
    }

    fn trap(&mut self, mark: Mark, why: &str, vent_within_s: f64, body: &[tree::Step]) {
        let outside = std::mem::replace(&mut self.traps, true);
        self.around.push(why.to_owned());
        self.steps(body);
        if self.walk.pump_on() {
            self.push(mark, "pump off".to_owned(), Op::Set(vec![(Role::PumpDuty, 0.0)]));
        }
        self.push(mark, "vent the line".to_owned(), Op::Vent { at_most_s: vent_within_s });
        self.around.pop();
        self.traps = outside;
    }

    fn mount(&mut self, mark: Mark, nozzle: &str) {
        let first = self.rig.pair.nozzles.first().map_or("", |n| n.name.as_str());
        let wanted = nozzle.replace("first", first);
        if wanted == self.mounted {
            return;
        }
        if self.walk.pump_on() {
            self.push(mark, "pump off".to_owned(), Op::Set(vec![(Role::PumpDuty, 0.0)]));
        }
        self.push(mark, "vent the line".to_owned(), Op::Vent { at_most_s: 30.0 });
        let request = format!("Switch the 12 V feed off, mount nozzle {wanted}, then switch it on again.");
        self.push(mark, format!("mount nozzle {wanted}"), Op::Ask { request });
        self.mounted = wanted;
    }

    /// The end of the plan: the pump must be off.
    fn end(&mut self) {
        if self.walk.pump_on() && !self.full {
            let problem = Problem::new("the scenario ends with the pump on; it was switched on here");
            self.once(
                "end",
                self.on_at,
                problem.expected("`set: {pump_duty: 0 %}`, and the drive source off, at its end"),
            );
        }
    }
}

/// Kind of a mark that ends a span.
pub const END: &str = "end";

/// The name of a role's value in marks, with its unit.
#[must_use]
pub fn value_name(role: &Role) -> String {
    match role {
        Role::Boost => "boost_kpa".to_owned(),
        role => role.column(),
    }
}

fn shown_settings(settings: &[(Role, f64)]) -> String {
    let one =
        |(role, value): &(Role, f64)| format!("{role} {}", show(*value, role.dimension(), Units::Metric));
    format!("set {}", settings.iter().map(one).collect::<Vec<_>>().join(", "))
}

/// A value in a mark: ten significant digits.
fn mark_value(value: f64) -> String {
    rounded(value, 10)
}
