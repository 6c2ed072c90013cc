//! Checked fields to steps.
//!
//! In: fields of the scenario's table. Out: [`Step`]s; problems that need two values to be seen. Never: a rig.

use super::super::shipped::Beside;
use super::step::{Action, Axis, Order, Placed, Step};
use super::trace;
use crate::problem::Problem;
use crate::quantity::{AxisError, Decimal, Dimension, axis, split};
use crate::script::limits::{Asked, AskedLimit};
use crate::script::plan::{CollectStop, Until};
use crate::script::role::Role;
use crate::script::shape::value::{Fields, Item, Value};
use crate::verdict::catalogue;
use crate::verdict::purpose::Purpose;

/// Most points of one sweep.
pub(super) const POINTS_MAX: usize = 10_000;

/// Decodes steps, telling problems.
pub(super) struct Decoder<'d> {
    pub(super) beside: &'d Beside,
    pub(super) purpose: Purpose,
    pub(super) tell: &'d mut dyn FnMut(&Item, Problem),
}

impl Decoder<'_> {
    /// The limits a scenario asks for.
    pub(super) fn limits(&mut self, fields: &Fields) -> Asked {
        let one = |name: &str| {
            fields.get(name).map(|item| AskedLimit {
                value: item.number(),
                mark: item.mark,
                text: item.text.clone(),
            })
        };
        let mut two = |name: &str| {
            let item = fields.get(name)?;
            let [low, high] = item.list() else { return None };
            if low.number() > high.number() {
                let problem = Problem::new(format!("`{name}` runs from {} down to {}", low.text, high.text));
                (self.tell)(item, problem.expected("the lower value first"));
            }
            Some(((low.number(), high.number()), item.mark, format!("[{}, {}]", low.text, high.text)))
        };
        Asked {
            supply_v: two("supply"),
            duty_pct: two("duty"),
            line_pressure_kpa: one("line_pressure"),
            cup_mass_g: one("cup_mass"),
            on_time_s: one("on_time"),
        }
    }

    /// The steps of a list.
    pub(super) fn steps(&mut self, item: &Item) -> Vec<Step> {
        item.list()
            .iter()
            .filter_map(|item| {
                let fields = item.fields();
                let (name, value) = fields.only();
                self.action(name, value).map(|action| Step { mark: fields.mark, action })
            })
            .collect()
    }

    fn action(&mut self, name: &str, item: &Item) -> Option<Action> {
        Some(match name {
            "set" | "set_if_fitted" => Action::Set {
                settings: item.settings().iter().map(|(role, value)| (role.clone(), placed(value))).collect(),
                if_fitted: name == "set_if_fitted",
            },
            "hold" => self.hold(item),
            "ramp" => self.ramp(item.fields())?,
            "settle" => self.settle(item),
            "collect" => self.collect(item)?,
            "sweep" => self.sweep(item.fields())?,
            "cycle" => Action::Cycle {
                times: item.fields().whole("times"),
                body: self.steps(item.fields().item("do")),
            },
            "span" => Action::Span {
                kind: item.fields().word("kind"),
                values: named(item.fields().item("values")),
                body: self.steps(item.fields().item("do")),
            },
            "bisect" => self.bisect(item.fields()),
            "replay" => self.replay(item.fields())?,
            "mount" => Action::Mount { nozzle: item.text.clone() },
            "ask" => Action::Ask { request: item.text.clone() },
            "traps_pressure" => Action::Trap {
                why: item.fields().text("why"),
                vent_within_s: item.fields().number("vent_within"),
                body: self.steps(item.fields().item("do")),
            },
            "vent" => Action::Vent { at_most_s: item.fields().number("at_most") },
            _ => self.expect(item),
        })
    }

    fn hold(&mut self, item: &Item) -> Action {
        let (from, to) = match &item.value {
            Value::Fields(fields) => (fields.number("from"), fields.number("to")),
            _ => (item.number(), item.number()),
        };
        if from > to {
            (self.tell)(item, Problem::new("the shortest wait is longer than the longest"));
        }
        Action::Hold { from, to }
    }

    fn ramp(&mut self, fields: &Fields) -> Option<Action> {
        let until = match fields.get("until") {
            Some(item) => Some((self.until(item)?, item.mark)),
            None => None,
        };
        let (from, to) = (placed(fields.item("from")), placed(fields.item("to")));
        if from.value.total_cmp(&to.value).is_eq() && until.is_none() {
            let problem = Problem::new("a ramp that does not move and does not wait for anything");
            (self.tell)(fields.item("to"), problem.help("use hold, or say until what"));
        }
        Some(Action::Ramp {
            role: fields.item("role").role().clone(),
            from,
            to,
            seconds: fields.number("in"),
            until,
        })
    }

    fn until(&mut self, item: &Item) -> Option<Until> {
        let fields = item.fields();
        let role = fields.item("role").role().clone();
        let (level, rising) = match (fields.get("rises_to"), fields.get("falls_to")) {
            (Some(level), None) => (level, true),
            (None, Some(level)) => (level, false),
            _ => {
                let problem = Problem::new("`until` needs one of rises_to and falls_to");
                (self.tell)(item, problem.expected("`until: {role: switch, rises_to: on}`"));
                return None;
            }
        };
        let switch = role.dimension() == Dimension::Switch;
        if switch && (level.number() > 0.5) != rising {
            let problem = Problem::new(format!("{role} cannot pass that level in that direction"));
            (self.tell)(level, problem.expected("`rises_to: on` or `falls_to: off`"));
        }
        Some(Until {
            level: if switch { 0.5 } else { level.number() },
            role,
            rising,
            then_s: fields.number("then"),
        })
    }

    fn settle(&mut self, item: &Item) -> Action {
        let fields = item.fields();
        let (within, percent) = (fields.maybe("within"), fields.maybe("within_percent"));
        if within.is_none() && percent.is_none() {
            let problem = Problem::new("settle does not say what counts as steady");
            (self.tell)(item, problem.expected("`within: 0.5 psi`, or `within_percent: 0.5 %`, or both"));
        }
        let (window_s, at_most_s) = (fields.number("window"), fields.number("at_most"));
        if window_s > at_most_s {
            let problem = Problem::new("settle gives up before its window is full");
            (self.tell)(item, problem.expected("`at_most` of at least the window"));
        }
        Action::Settle {
            role: fields.item("role").role().clone(),
            within: within.unwrap_or(0.0),
            within_fraction: percent.unwrap_or(0.0) / 100.0,
            window_s,
            at_most_s,
        }
    }

    fn collect(&mut self, item: &Item) -> Option<Action> {
        let fields = item.fields();
        let stop = match (fields.maybe("for"), fields.maybe("mass"), fields.maybe("at_most")) {
            (Some(seconds), None, None) => CollectStop::Seconds(seconds),
            (None, Some(grams), Some(at_most_s)) => CollectStop::Mass { grams, at_most_s },
            _ => {
                let problem =
                    Problem::new("a collection ends after a time, or at a mass but after a time at most");
                (self.tell)(item, problem.expected("`{for: 30 s}` or `{mass: 200 g, at_most: 5 min}`"));
                return None;
            }
        };
        Some(Action::Collect { stop, weigh_at_rest: fields.flag("weigh_at_rest") })
    }

    fn sweep(&mut self, fields: &Fields) -> Option<Action> {
        let over = fields.item("over");
        let body = self.steps(fields.item("do"));
        let between = self.steps(fields.item("between"));
        let axes: Vec<Axis> = over.list().iter().filter_map(|item| self.axis(item)).collect();
        if axes.len() < over.list().len() {
            return None;
        }
        for (i, axis) in axes.iter().enumerate() {
            if axes[..i].iter().any(|other| other.role == axis.role) {
                let problem = Problem::new(format!("two axes move {}", axis.role));
                (self.tell)(&over.list()[i], problem.expected("each role on one axis"));
            }
        }
        let points: usize = axes.iter().map(|a| a.points.len()).product();
        if points > POINTS_MAX {
            let problem = Problem::new(format!("a sweep over {points} points"));
            (self.tell)(over, problem.expected(format!("at most {POINTS_MAX}")));
        }
        Some(Action::Sweep {
            axes,
            repeats: fields.whole("repeats"),
            order: match fields.word("order") {
                "up" => Order::Up,
                "down" => Order::Down,
                "both" => Order::Both,
                _ => Order::Shuffle,
            },
            first_again: fields.flag("first_again"),
            between,
            body,
        })
    }

    fn axis(&mut self, item: &Item) -> Option<Axis> {
        let fields = item.fields();
        let role = fields.item("role").role().clone();
        let ends = ["from", "to", "step"].map(|name| fields.get(name));
        let points = match (fields.get("values"), ends) {
            (Some(values), [None, None, None]) => values.list().iter().map(placed).collect(),
            (None, [Some(from), Some(to), Some(step)]) => self.exact(&role, from, to, step)?,
            _ => {
                let problem = Problem::new(format!("the axis {role} does not say where its points are"));
                let expected = "either `values: [...]`, or all of `from`, `to` and `step`";
                (self.tell)(item, problem.expected(expected));
                return None;
            }
        };
        Some(Axis { role, points })
    }

    /// Points in exact decimals of the unit they are written in.
    fn exact(&mut self, role: &Role, from: &Item, to: &Item, step: &Item) -> Option<Vec<Placed>> {
        let dimension = role.dimension();
        if dimension == Dimension::Switch {
            let problem = Problem::new(format!("{role} is on or off; it has no steps between"));
            (self.tell)(step, problem.expected("`values: [off, on]`"));
            return None;
        }
        let parts = [from, to, step].map(|item| split(&item.text, dimension).ok());
        let [Some((first, unit)), Some((last, unit_to)), Some((width, unit_step))] = parts else {
            return None;
        };
        if unit.symbol != unit_to.symbol || unit.symbol != unit_step.symbol {
            let problem = Problem::new(format!(
                "from, to and step are in {}, {} and {}",
                unit.symbol, unit_to.symbol, unit_step.symbol
            ));
            (self.tell)(step, problem.expected("one unit for all three, so that points are exact"));
            return None;
        }
        let decimals = [first, last, width].map(Decimal::parse);
        let points = match decimals {
            [Some(first), Some(last), Some(width)] => axis(first, last, width, POINTS_MAX),
            _ => Err(AxisError::TooFine),
        };
        match points {
            Ok(points) => Some(
                points
                    .into_iter()
                    .map(|point| Placed {
                        value: unit.to_internal(point.to_f64()),
                        text: format!("{point} {}", unit.symbol),
                        mark: from.mark,
                    })
                    .collect(),
            ),
            Err(error) => {
                let expected = match error {
                    AxisError::NeverEnds => "a step above zero; from and to give the direction".to_owned(),
                    AxisError::TooMany(_) => format!("at most {POINTS_MAX} points"),
                    AxisError::TooFine => "fewer digits".to_owned(),
                };
                (self.tell)(step, Problem::new(error.to_string()).expected(expected));
                None
            }
        }
    }

    fn bisect(&mut self, fields: &Fields) -> Action {
        let (from, to) = (placed(fields.item("from")), placed(fields.item("to")));
        let resolution = fields.number("resolution");
        let width = (to.value - from.value).abs();
        if resolution <= width * 1e-6 || resolution >= width {
            let problem =
                Problem::new("halving from one end to the other never gets that narrow, or is there already");
            let expected = "a resolution below the distance of the ends, and not below a millionth of it";
            (self.tell)(fields.item("resolution"), problem.expected(expected));
        }
        let output = fields.item("output").role().clone();
        let level = fields.number("level");
        Action::Bisect {
            input: fields.item("input").role().clone(),
            from,
            to,
            resolution,
            level: if output.dimension() == Dimension::Switch { 0.5 } else { level },
            output,
            settle_s: fields.number("settle"),
        }
    }

    fn replay(&mut self, fields: &Fields) -> Option<Action> {
        let item = fields.item("file");
        match trace::read(self.beside, &item.text, fields.number("speed")) {
            Ok(rows) => Some(Action::Replay { file: item.text.clone(), rows }),
            Err(problems) => {
                for problem in problems.0 {
                    (self.tell)(item, problem);
                }
                None
            }
        }
    }

    fn expect(&mut self, item: &Item) -> Action {
        let fields = item.fields();
        let (lower, upper) = (fields.maybe("lower"), fields.maybe("upper"));
        match (lower, upper) {
            (None, None) => {
                let problem = Problem::new("expect has no limits");
                (self.tell)(item, problem.expected("`lower`, `upper` or both"));
            }
            (Some(low), Some(high)) if low > high => {
                (self.tell)(item, Problem::new("the lower limit lies above the upper one"));
            }
            _ => {}
        }
        let id = fields.text("item");
        self.given(fields.item("item"), &id);
        Action::Expect { item: id, lower, upper }
    }

    /// Whether this scenario's measurement gives the item that is expected.
    fn given(&mut self, item: &Item, id: &str) {
        let purpose = self.purpose;
        if catalogue::find(id).is_none_or(|entry| entry.given_by(purpose)) {
            return;
        }
        let who = catalogue::find(id).map(catalogue::Entry::given_in_words).unwrap_or_default();
        let good = catalogue::ids_of(purpose);
        let expected = match good.as_slice() {
            [] => "no `expect` at all: nothing of such a run is judged".to_owned(),
            ids => format!("one of {}", ids.join(", ")),
        };
        let what = format!("a scenario of purpose {} does not give {id}", purpose.word());
        (self.tell)(item, Problem::new(what).expected(expected).help(format!("{id} is given by {who}")));
    }
}

fn placed(item: &Item) -> Placed {
    Placed { value: item.number(), text: item.text.clone(), mark: item.mark }
}

fn named(item: &Item) -> Vec<(String, String)> {
    match &item.value {
        Value::Named(named) => named.iter().map(|(name, item)| (name.clone(), item.text.clone())).collect(),
        _ => Vec::new(),
    }
}
