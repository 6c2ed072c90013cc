//! Sweeps: points in their order, pass by pass; the cup emptied in time.
//!
//! In: axes, order, repeats. Out: set, mark, body and end of mark for each point. Never: an order that depends on
//! anything but the seed and the sweep's number.

use super::{END, Planner, mark_value, shown_settings, value_name};
use crate::chance::shuffle;
use crate::problem::Problem;
use crate::quantity::{Dimension, Units, show};
use crate::script::plan::Op;
use crate::script::role::Role;
use crate::script::scenario::step::{self as tree, Action, Axis, Order};
use crate::script::yaml::Mark;

/// A point: index into each axis.
type Point = Vec<usize>;

/// What does not change over a sweep.
struct Sweep<'s> {
    number: u32,
    mark: Mark,
    axes: &'s [Axis],
    order: Order,
    body: &'s [tree::Step],
}

impl Planner<'_> {
    /// Plays a sweep out.
    pub(super) fn sweep(&mut self, step: &tree::Step) {
        let Action::Sweep { axes, repeats, order, first_again, between, body } = &step.action else {
            return;
        };
        self.sweeps += 1;
        let sweep = Sweep { number: self.sweeps, mark: step.mark, axes, order: *order, body };
        let outside = self.repeat;
        let mut first = None;
        for pass in 1..=*repeats {
            self.repeat = pass as u32;
            let points = self.order(&sweep, pass);
            first = first.or_else(|| points.first().cloned());
            for (point, direction) in &points {
                self.point(&sweep, point, direction);
            }
            if pass < *repeats {
                self.steps(between);
            }
            if self.full {
                break;
            }
        }
        if let (true, Some((point, _))) = (*first_again, first) {
            self.steps(between);
            self.repeat = *repeats as u32 + 1;
            self.point(&sweep, &point, "again");
        }
        self.repeat = outside;
    }

    /// The points of a pass in order, each with the direction it is come to from.
    fn order(&self, sweep: &Sweep<'_>, pass: usize) -> Vec<(Point, &'static str)> {
        let up = grid(sweep.axes);
        let all = |points: Vec<Point>, direction| points.into_iter().map(move |p| (p, direction));
        let down = up.iter().rev().cloned().collect();
        match sweep.order {
            Order::Up => all(up, "up").collect(),
            Order::Down => all(down, "down").collect(),
            Order::Both => all(up, "up").chain(all(down, "down")).collect(),
            Order::Shuffle => {
                let mut points = up;
                let name = format!("plan.sweep.{}.pass.{pass}", sweep.number);
                shuffle(&mut self.seed.stream(&name), &mut points);
                all(points, "shuffle").collect()
            }
        }
    }

    fn point(&mut self, sweep: &Sweep<'_>, point: &[usize], direction: &str) {
        if self.full {
            return;
        }
        let settings: Vec<(Role, f64)> = sweep
            .axes
            .iter()
            .zip(point)
            .map(|(axis, at)| (axis.role.clone(), axis.points[*at].value))
            .collect();
        let words: Vec<String> = sweep
            .axes
            .iter()
            .zip(point)
            .map(|(axis, at)| format!("{} {}", axis.role, axis.points[*at].text))
            .collect();
        let mut values: Vec<(String, String)> =
            settings.iter().map(|(role, value)| (value_name(role), mark_value(*value))).collect();
        values.push(("repeat".to_owned(), self.repeat.to_string()));
        values.push(("direction".to_owned(), direction.to_owned()));
        self.around.push(format!("sweep {}: {}", sweep.number, words.join(", ")));
        let (start, before) = (self.plan.len(), self.walk.clone());
        self.mark(sweep.mark, "point", values);
        self.push(sweep.mark, shown_settings(&settings), Op::Set(settings));
        self.steps(sweep.body);
        self.mark(sweep.mark, END, vec![("of".to_owned(), "point".to_owned())]);
        self.around.pop();
        self.room(sweep.mark, start, &before);
    }

    /// Makes room in the cup before the point or cycle that began at step `start`, where it would not have had any.
    pub(super) fn room(&mut self, mark: Mark, start: usize, before: &super::walk::Walk) {
        let weighs = self.rig.plays(&Role::CupMass);
        if self.full || !weighs || !self.walk.cup_full(&self.limits) {
            return;
        }
        let alone_g = self.walk.cup_g - before.cup_g;
        if alone_g > self.limits.cup_mass_g {
            let most = show(self.limits.cup_mass_g, Dimension::Mass, Units::Metric);
            let what =
                format!("one point may put {} into the cup", show(alone_g, Dimension::Mass, Units::Metric));
            let rig = self.rig_line("cup_mass");
            self.once("cup", mark, Problem::new(what).expected(format!("at most {most} ({rig})")));
            return;
        }
        let request = "Empty the cup, put it back, and wait until the scale is steady.".to_owned();
        let point = self.plan.split_off(start);
        self.walk = before.clone();
        let (mut off, mut on) = (vec![(Role::PumpDuty, 0.0)], vec![(Role::PumpDuty, before.duty_pct)]);
        if before.by_controller {
            off.insert(0, (Role::DriveSource, 0.0));
            on.push((Role::DriveSource, 1.0));
        }
        self.push(mark, "pump off".to_owned(), Op::Set(off));
        self.push(mark, "empty the cup".to_owned(), Op::Ask { request });
        self.walk.cup_g = 0.0;
        if before.pump_on() {
            self.push(mark, "pump as before".to_owned(), Op::Set(on));
        }
        for mut step in point {
            self.walk.step(&step.op);
            step.id = self.plan.len() as u32 + 1;
            self.plan.push(step);
        }
    }
}

/// Every point of a grid; the last axis moves fastest.
fn grid(axes: &[Axis]) -> Vec<Point> {
    axes.iter().fold(vec![Vec::new()], |points, axis| {
        points
            .iter()
            .flat_map(|point| {
                (0..axis.points.len()).map(move |i| {
                    let mut longer = point.clone();
                    longer.push(i);
                    longer
                })
            })
            .collect()
    })
}
