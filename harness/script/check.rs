//! A scenario against a rig: every reference has its other end, every set point lies inside the limits.
//!
//! In: decoded steps, a rig, effective limits. Out: problems with both ends named: the place in the scenario, and the
//! line of the rig. Never: the order of steps; what depends on it is in `planner`.

use super::limits::{Asked, effective, raised};
use super::rig::{Limits, Rig};
use super::rig_file::place_of;
use super::role::{Direction, Role};
use super::scenario::step::{Action, Placed, Step};
use super::yaml::{Mark, PROBLEMS_MAX, Text};
use crate::problem::{Problem, Problems};
use crate::quantity::{Dimension, Gauge, Units, show};

/// Checks steps and limits.
///
/// # Errors
/// Everything that does not fit.
pub(super) fn check(text: &Text, steps: &[Step], asked: &Asked, rig: &Rig) -> Result<Limits, Problems> {
    let limits = effective(&rig.limits, asked);
    let mut check = Check { text, rig, limits, missing: Vec::new(), problems: Problems::default() };
    check.limits(asked);
    check.steps(steps);
    check.other_lines();
    for (mark, problem) in super::by_hand::refusals(steps, rig) {
        check.tell(mark, problem);
    }
    check.problems.into_result()?;
    Ok(limits)
}

struct Check<'c> {
    text: &'c Text,
    rig: &'c Rig,
    limits: Limits,
    /// Roles that no channel plays: where in `problems` they are told, and in which lines they stand.
    missing: Vec<(Role, usize, Vec<u32>)>,
    problems: Problems,
}

impl Check<'_> {
    fn tell(&mut self, mark: Mark, problem: Problem) {
        let known = self.problems.0.iter().any(|p| {
            p.what == problem.what
                && p.place.as_ref().is_some_and(|at| at.line == mark.line && at.column == mark.column)
        });
        if !known && self.problems.0.len() < PROBLEMS_MAX {
            self.problems.push(problem.at(self.text.place(mark)));
        }
    }

    /// The other end: a line of the rig.
    fn line_of(&self, path: &[&str]) -> String {
        match place_of(self.rig, path) {
            Some(place) => format!("rig {}, line {}: `{}`", self.rig.name, place.line, place.text.trim()),
            None => format!("rig {}", self.rig.name),
        }
    }

    fn limits(&mut self, asked: &Asked) {
        for raised in raised(&self.rig.limits, asked) {
            let what = format!("`{}: {}` would raise a limit of the bench", raised.name, raised.text);
            let other = self.line_of(&["limits", raised.name]);
            let problem = Problem::new(what).expected(format!("not beyond {other}"));
            self.tell(raised.mark, problem.help("a scenario may lower limits, never raise them"));
        }
        let Limits { supply_v, duty_pct, .. } = self.limits;
        for ((low, high), range) in [(supply_v, &asked.supply_v), (duty_pct, &asked.duty_pct)] {
            if let (true, Some((_, mark, text))) = (low > high, range) {
                let problem =
                    Problem::new(format!("nothing is left between {text} and the limits of the rig"));
                self.tell(*mark, problem);
            }
        }
    }

    fn steps(&mut self, steps: &[Step]) {
        for step in steps {
            self.step(step);
        }
    }

    fn step(&mut self, step: &Step) {
        let mark = step.mark;
        match &step.action {
            Action::Set { settings, if_fitted } => {
                for (role, value) in settings {
                    if !if_fitted || self.rig.plays(role) {
                        self.set_point(role, value);
                    }
                }
            }
            Action::Ramp { role, from, to, until, .. } => {
                self.set_point(role, from);
                self.set_point(role, to);
                if let Some((until, mark)) = until {
                    self.need(&until.role, *mark, "read");
                    self.level(&until.role, until.level, until.rising, *mark);
                }
            }
            Action::Settle { role, .. } => self.need(role, mark, "settle on"),
            Action::Collect { .. } => self.need(&Role::CupMass, mark, "collect into"),
            Action::Sweep { axes, between, body, .. } => {
                for axis in axes {
                    self.axis(&axis.role, &axis.points);
                }
                self.steps(between);
                self.steps(body);
            }
            Action::Cycle { body, .. } | Action::Span { body, .. } | Action::Trap { body, .. } => {
                self.steps(body)
            }
            Action::Bisect { input, from, to, output, .. } => {
                self.set_point(input, from);
                self.set_point(input, to);
                self.need(output, mark, "watch");
            }
            Action::Replay { rows, .. } => self.replay(rows, mark),
            Action::Mount { nozzle } => self.nozzle(nozzle, mark),
            Action::Hold { .. } | Action::Ask { .. } | Action::Vent { .. } | Action::Expect { .. } => {}
        }
    }

    /// A role that some channel of the rig must play; each missing one is told once.
    fn need(&mut self, role: &Role, mark: Mark, to: &str) {
        if self.rig.plays(role) {
            return;
        }
        if let Some((_, _, lines)) = self.missing.iter_mut().find(|(r, _, _)| r == role) {
            lines.push(mark.line);
            return;
        }
        let direction = role.direction();
        let has: Vec<String> = self
            .rig
            .channels
            .iter()
            .filter(|c| c.role.direction() == direction)
            .map(|c| c.role.word())
            .collect();
        let does = if direction == Direction::Read { "reads" } else { "sets" };
        let what = format!("no instrument of the rig {} plays {role}, to {to} here", self.rig.name);
        let problem = Problem::new(what).expected(format!("a role the rig {does}: {}", has.join(", ")));
        self.missing.push((role.clone(), self.problems.0.len(), Vec::new()));
        self.tell(mark, problem);
    }

    /// Adds to each missing role where else it stands, and where the rig would have it.
    fn other_lines(&mut self) {
        let channels = place_of(self.rig, &["channels"]).map_or(0, |p| p.line.saturating_sub(1));
        for (_, at, mut lines) in std::mem::take(&mut self.missing) {
            lines.dedup();
            let also = match lines.as_slice() {
                [] => String::new(),
                [line] => format!("; it also stands in line {line}"),
                [first, .., last] => {
                    format!("; it also stands in {} more lines, {first} to {last}", lines.len())
                }
            };
            let help = format!(
                "give the rig a channel for it (line {channels}, `channels:`), or use another rig{also}"
            );
            if let Some(problem) = self.problems.0.get_mut(at) {
                problem.help = Some(help);
            }
        }
    }

    /// A set point within the limits and the channel's range.
    fn set_point(&mut self, role: &Role, value: &Placed) {
        self.need(role, value.mark, "set");
        let (range, path): ((f64, f64), &[&str]) = match role {
            Role::PumpDuty if value.value <= 0.0 => return,
            Role::PumpDuty => (self.limits.duty_pct, &["limits", "duty"]),
            Role::SupplySet => (self.limits.supply_v, &["limits", "supply"]),
            _ => ((f64::NEG_INFINITY, f64::INFINITY), &["limits"]),
        };
        let inside = |(low, high): (f64, f64), v: f64| (low..=high).contains(&v);
        if !inside(range, value.value) {
            let problem = Problem::new(format!("{role} set to {}, outside the limits", value.text));
            let shown = self.shown(role.dimension(), range);
            let other = self.line_of(path);
            self.tell(value.mark, problem.expected(format!("{shown} ({other})")));
        }
        self.channel_range(role, value);
    }

    fn channel_range(&mut self, role: &Role, value: &Placed) {
        let Some(channel) = self.rig.channel(role) else { return };
        let (low, high) = channel.range;
        let (sent, dimension) = match role {
            Role::Boost => {
                let engine = &self.rig.engine;
                match engine.boost_volts(Gauge(value.value), None) {
                    Some(volts) => (volts, Dimension::Voltage),
                    None => return,
                }
            }
            _ => (value.value, role.dimension()),
        };
        // A hair's breadth for what rounding of units makes of a value exactly on the end.
        let slack = 1e-9 * low.abs().max(high.abs());
        if sent < low - slack || sent > high + slack {
            let at = self.rig.channel_index(role).unwrap_or(0);
            let instrument = &self.rig.instruments[channel.instrument].name;
            let as_volts = if *role == Role::Boost {
                format!(" ({})", show(sent, dimension, Units::Us))
            } else {
                String::new()
            };
            let problem = Problem::new(format!(
                "{role} set to {}{as_volts}, outside the range of its channel",
                value.text
            ));
            let range = self.shown(dimension, (low, high));
            let expected = format!("{range} (rig {}, channel {} on {instrument})", self.rig.name, at + 1);
            self.tell(value.mark, problem.expected(expected));
        }
    }

    fn shown(&self, dimension: Dimension, (low, high): (f64, f64)) -> String {
        format!("{} to {}", show(low, dimension, Units::Us), show(high, dimension, Units::Us))
    }

    /// The lowest and the highest point of an axis stand for all.
    fn axis(&mut self, role: &Role, points: &[Placed]) {
        let by = |a: &&Placed, b: &&Placed| a.value.total_cmp(&b.value);
        let lowest = points.iter().filter(|p| p.value > 0.0 || *role != Role::PumpDuty).min_by(by);
        for point in [lowest, points.iter().max_by(by)].into_iter().flatten() {
            self.set_point(role, point);
        }
    }

    /// A pressure level beyond the limit is never reached.
    fn level(&mut self, role: &Role, level: f64, rising: bool, mark: Mark) {
        if *role == Role::LinePressure && rising && level >= self.limits.line_pressure_kpa {
            let problem = Problem::new("the level lies at or above the limit, which trips first");
            let other = self.line_of(&["limits", "line_pressure"]);
            self.tell(mark, problem.expected(format!("a level below {other}")));
        }
    }

    fn replay(&mut self, rows: &[(f64, f64, f64)], mark: Mark) {
        for (role, pick) in [(Role::Boost, 1), (Role::Rpm, 2)] {
            let values = rows.iter().map(|row| if pick == 1 { row.1 } else { row.2 });
            let (low, high) =
                values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
            for value in [low, high] {
                let text = show(value, role.dimension(), Units::Us);
                self.set_point(&role, &Placed { value, text, mark });
            }
        }
    }

    fn nozzle(&mut self, name: &str, mark: Mark) {
        let known = |part: &str| part == "first" || self.rig.pair.nozzles.iter().any(|n| n.name == part);
        let unknown: Vec<&str> = name.split('+').filter(|part| !known(part)).collect();
        if !unknown.is_empty() {
            let names: Vec<&str> = self.rig.pair.nozzles.iter().map(|n| n.name.as_str()).collect();
            let other = self.line_of(&["pair", "nozzles"]);
            let problem =
                Problem::new(format!("the rig {} has no nozzle \"{}\"", self.rig.name, unknown.join("+")));
            self.tell(
                mark,
                problem.expected(format!("{}, or several joined by + ({other})", names.join(", "))),
            );
        }
    }
}
