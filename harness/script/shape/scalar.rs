//! Single values against their kind: numbers, quantities, words, roles, dates.
//!
//! In: a scalar node and a kind. Out: the value, or [`Value::Wrong`] and a problem. Never: a value out of the range
//! the table gives.

use super::check::Checker;
use super::value::Value;
use super::words::{self, is_name};
use super::{Field, Kind, Measure, Use, plausible};
use crate::problem::{Problem, nearest};
use crate::quantity::{Dimension, QuantityError, parse, parse_difference, parse_number};
use crate::script::role::Role;
use crate::script::yaml::Node;
use crate::verdict::catalogue;
use crate::verdict::expect::Expectation;

impl Checker<'_> {
    /// Checks a single value.
    pub(super) fn scalar(&mut self, node: &Node, kind: &'static Kind, field: &'static Field) -> Value {
        let text = match node.text() {
            Some(text) if !text.is_empty() => text,
            _ => {
                let what = format!("`{}` is {}", field.name, node.kind());
                return self.wrong(node, Problem::new(what).expected(words::wanted(field)));
            }
        };
        match kind {
            Kind::Quantity(dimension, low, high) => self.quantity(node, *dimension, (low, high), false),
            Kind::Difference(dimension, low, high) => self.quantity(node, *dimension, (low, high), true),
            Kind::OnOff => self.of_dimension(node, Dimension::Switch, false),
            Kind::Of(on, measure) => self.of(node, on, *measure),
            Kind::Number(low, high) => self.number(node, text, (*low, *high)),
            Kind::Whole(low, high) => self.whole(node, text, (*low, *high)),
            Kind::Text(longest) => self.line(node, text, *longest),
            Kind::Prose => self.prose(node, text),
            Kind::Word(words) => self.word(node, text, words),
            Kind::Role(usage) => self.role(node, *usage).map_or(Value::Wrong, Value::Role),
            Kind::Item => self.verdict_item(node, text),
            Kind::Name if is_name(text) => Value::Text,
            Kind::Date if words::is_date(text) => Value::Text,
            Kind::Date => self.wrong(
                node,
                Problem::new(format!("\"{text}\" is not a date"))
                    .expected("year-month-day such as 2026-03-01"),
            ),
            _ => self.wrong(node, Problem::new(format!("\"{text}\" is not a name")).expected(words::NAME)),
        }
    }

    fn wrong(&mut self, node: &Node, problem: Problem) -> Value {
        self.tell(node, problem);
        Value::Wrong
    }

    fn number(&mut self, node: &Node, text: &str, (low, high): (f64, f64)) -> Value {
        let expected = format!("a plain number from {low} to {high}");
        let (what, help) = match parse_number(text) {
            Ok(n) if (low..=high).contains(&n) => return Value::Number(n),
            Ok(_) => (format!("{text} is out of range"), None),
            Err(e) => (format!("\"{text}\" is not a plain number"), e.help()),
        };
        let problem = Problem::new(what).expected(expected);
        self.wrong(node, Problem { help, ..problem })
    }

    fn whole(&mut self, node: &Node, text: &str, (low, high): (i64, i64)) -> Value {
        let digits = text.strip_prefix('-').unwrap_or(text);
        let plain = digits == "0" || !digits.starts_with('0') && digits.bytes().all(|b| b.is_ascii_digit());
        let what = match text.parse::<i64>() {
            Ok(n) if plain && (low..=high).contains(&n) => return Value::Number(n as f64),
            Ok(_) if plain => format!("{text} is out of range"),
            _ => format!("\"{text}\" is not a whole number"),
        };
        let expected = format!("a whole number from {low} to {high}");
        self.wrong(node, Problem::new(what).expected(expected))
    }

    fn line(&mut self, node: &Node, text: &str, longest: usize) -> Value {
        let what = if text.len() > longest {
            format!("a text of {} bytes", text.len())
        } else if text.chars().any(char::is_control) {
            "a text with line breaks or control characters in it".to_owned()
        } else {
            return Value::Text;
        };
        let expected = format!("one line of at most {longest} bytes");
        self.wrong(node, Problem::new(what).expected(expected))
    }

    fn prose(&mut self, node: &Node, text: &str) -> Value {
        if text.chars().any(|c| c.is_control() && c != '\n') {
            return self.wrong(node, Problem::new("a text with control characters in it"));
        }
        Value::Text
    }

    fn word(&mut self, node: &Node, text: &str, allowed: super::Words) -> Value {
        if let Some((word, _)) = allowed.iter().find(|(w, _)| *w == text) {
            return Value::Word(word);
        }
        let what = format!("\"{text}\" is not a word that may stand here");
        self.near_miss(node, what, text, allowed.iter().map(|(w, _)| *w).collect())
    }

    fn near_miss(&mut self, node: &Node, what: String, text: &str, known: Vec<&'static str>) -> Value {
        let near = nearest(text, known.iter().copied());
        let mut problem = Problem::new(what).expected(format!("one of {}", known.join(", ")));
        problem.help = near.map(|near| format!("did you mean \"{near}\"?"));
        self.wrong(node, problem)
    }

    /// Checks a role; none where it is not one that may stand here.
    pub(super) fn role(&mut self, node: &Node, usage: Use) -> Option<Role> {
        let text = node.text().unwrap_or_default();
        let role = Role::parse(text);
        let what = match &role {
            Some(role) if usage.allows(role) => return Some(role.clone()),
            Some(Role::Heartbeat | Role::SafeState) => {
                format!("{text} belongs to the bench loop; a scenario neither sets nor reads it")
            }
            Some(_) if usage == Use::Set => format!("{text} is read from a bench; it cannot be set"),
            Some(_) => format!("{text} is set on a bench; it cannot be read"),
            None => format!("\"{text}\" is not a role"),
        };
        self.near_miss(node, what, text, words::roles(usage));
        None
    }

    fn verdict_item(&mut self, node: &Node, text: &str) -> Value {
        let problem = match Expectation::new(text, None, None) {
            Ok(_) => return Value::Text,
            Err(problem) => problem,
        };
        let runs = |e: &&catalogue::Entry| matches!(e.giver, catalogue::Giver::Runs(_));
        let known: Vec<&str> = catalogue::CATALOGUE.iter().filter(runs).map(|e| e.id).collect();
        self.wrong(node, problem.expected(format!("one of {}", known.join(", "))))
    }

    /// A value whose dimension is that of the role or item another name gives; nothing is said where that name is
    /// itself missing or wrong, since that has been told.
    fn of(&mut self, node: &Node, on: &str, measure: Measure) -> Value {
        let wire = matches!(measure, Measure::Wire | Measure::WireDifference);
        let decided = self.decided(on);
        let dimension =
            match decided.map(|text| (Role::parse(text), catalogue::find(text).map(|e| e.dimension))) {
                Some((Some(Role::Boost), _)) if wire => Dimension::Voltage,
                Some((Some(role), _)) => role.dimension(),
                Some((None, Some(dimension))) => dimension,
                _ => return Value::Wrong,
            };
        let difference = matches!(measure, Measure::Difference | Measure::WireDifference);
        self.of_dimension(node, dimension, difference)
    }

    /// A value or difference within what is plausible for its dimension.
    pub(super) fn of_dimension(&mut self, node: &Node, dimension: Dimension, difference: bool) -> Value {
        let (low, high) = plausible(dimension);
        if !difference || dimension == Dimension::Switch {
            return self.quantity(node, dimension, (low, high), false);
        }
        let high = high.trim_end_matches(" abs");
        let zero = format!("0 {}", high.rsplit_once(' ').map_or("", |(_, unit)| unit));
        self.quantity(node, dimension, (&zero, high), true)
    }

    fn quantity(
        &mut self,
        node: &Node,
        dimension: Dimension,
        (low, high): (&str, &str),
        difference: bool,
    ) -> Value {
        let text = node.text().unwrap_or_default();
        let read = |t: &str| {
            if difference { parse_difference(t, dimension) } else { parse(t, dimension) }
        };
        let (least, most) = match (read(low), read(high)) {
            (Ok(least), Ok(most)) => (least, most),
            other => panic!("a range of the table cannot be read: {low}, {high}: {other:?}"),
        };
        let problem = match read(text) {
            Ok(value) if (least..=most).contains(&value) => return Value::Number(value),
            Ok(_) => Problem::new(format!("\"{text}\" is out of range"))
                .expected(format!("{} from {low} to {high}", dimension.noun())),
            Err(e) => {
                let what =
                    if node.text().is_some() { e.what(text) } else { format!("{} stands here", node.kind()) };
                let problem = Problem::new(what).expected(QuantityError::expected(dimension));
                Problem { help: e.help(), ..problem }
            }
        };
        self.wrong(node, problem)
    }
}
