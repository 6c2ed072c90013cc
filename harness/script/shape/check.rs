//! Nodes against shapes: every problem at once, each at its place.
//!
//! In: a tree of nodes and a shape. Out: checked values with defaults filled in; the problems. Never: a stop at the
//! first problem, or a value taken that was not understood in full.

use super::value::{Fields, Item, Value};
use super::words::{self, is_name};
use super::{Field, Kind, Need, Shape, Use};
use crate::problem::{Problem, Problems, nearest};
use crate::script::yaml::{Body, Key, Mark, Node, PROBLEMS_MAX, Text};

/// Names whose text decides what values beside them are.
const DECIDING: &[&str] = &["role", "input", "output", "item"];

/// Checks nodes of one text.
pub struct Checker<'t> {
    text: &'t Text,
    /// The deciding names of the maps around the node at hand, outermost first.
    around: Vec<(&'static str, String)>,
    /// What was found wrong.
    pub problems: Problems,
}

impl<'t> Checker<'t> {
    /// A checker for a text.
    #[must_use]
    pub fn new(text: &'t Text) -> Self {
        Checker { text, around: Vec::new(), problems: Problems::default() }
    }

    /// Tells a problem at a node; beyond [`PROBLEMS_MAX`] of them they are dropped.
    pub fn tell(&mut self, node: &Node, problem: Problem) {
        let from = node.from.as_deref().map(|from| format!("it comes from {from}"));
        self.tell_at(node.mark, problem, from);
    }

    fn tell_at(&mut self, mark: Mark, mut problem: Problem, from: Option<String>) {
        if self.problems.0.len() < PROBLEMS_MAX {
            problem.help = match (problem.help.take(), from) {
                (Some(help), Some(from)) => Some(format!("{help}; {from}")),
                (help, from) => help.or(from),
            };
            self.problems.push(problem.at(self.text.place(mark)));
        }
    }

    /// What the nearest deciding name around says.
    pub(super) fn decided(&self, name: &str) -> Option<&str> {
        let found = self.around.iter().rev().find(|(n, _)| *n == name);
        found.map(|(_, text)| text.as_str())
    }

    /// Checks a map.
    pub fn map(&mut self, node: &Node, shape: &'static Shape) -> Fields {
        let mut fields = Fields { items: Vec::new(), known: shape.fields, mark: node.mark };
        let Body::Map(pairs) = &node.body else {
            let what = format!("{} stands where the names of {} are expected", node.kind(), shape.name);
            self.tell(node, Problem::new(what).expected(words::names(shape)));
            return fields;
        };
        let outside = self.around.len();
        self.enter(pairs);
        for (key, _) in pairs.iter().filter(|(k, _)| shape.field(&k.name).is_none()) {
            self.unknown(key, shape);
        }
        for field in shape.fields {
            match pairs.iter().find(|(k, _)| k.name == field.name) {
                Some((_, value)) => fields.items.push((field.name, self.value(value, &field.kind, field))),
                None => self.absent(node, field, &mut fields),
            }
        }
        self.around.truncate(outside);
        fields
    }

    fn enter(&mut self, pairs: &[(Key, Node)]) {
        for (key, value) in pairs {
            let name = DECIDING.iter().find(|name| **name == key.name);
            if let (Some(name), Some(text)) = (name, value.text()) {
                self.around.push((name, text.to_owned()));
            }
        }
    }

    fn unknown(&mut self, key: &Key, shape: &Shape) {
        let near = nearest(&key.name, shape.fields.iter().map(|f| f.name));
        let what = format!("\"{}\" is not a name of {}", key.name, shape.name);
        let mut problem = Problem::new(what).expected(words::names(shape));
        problem.help = near.map(|near| format!("did you mean \"{near}\"?"));
        self.tell_at(key.mark, problem, None);
    }

    fn absent(&mut self, node: &Node, field: &'static Field, fields: &mut Fields) {
        match field.need {
            Need::Optional => {}
            Need::Required => {
                let what = format!("`{}` is missing", field.name);
                self.tell(node, Problem::new(what).expected(words::wanted(field)));
            }
            Need::Default(text) => {
                let stand_in = stand_in(node.mark, text);
                let item = self.value(&stand_in, &field.kind, field);
                fields.items.push((field.name, item));
            }
        }
    }

    /// Checks a value of any kind.
    pub fn value(&mut self, node: &Node, kind: &'static Kind, field: &'static Field) -> Item {
        let value = match kind {
            Kind::Map(shape) => Value::Fields(self.map(node, shape)),
            Kind::OneOf(shape) => self.one_of(node, shape),
            Kind::Either(_, shape) if matches!(node.body, Body::Map(_)) => {
                Value::Fields(self.map(node, shape))
            }
            Kind::Either(kind, _) => return self.value(node, kind, field),
            Kind::List(kind, least, most) => self.list(node, kind, (*least, *most), field),
            Kind::Named(kind) => self.named(node, kind, field),
            Kind::Settings => self.settings(node, field),
            Kind::Scalars => self.scalars(node, field),
            Kind::Raw => Value::Raw(node.clone()),
            _ => self.scalar(node, kind, field),
        };
        item(node, value)
    }

    fn one_of(&mut self, node: &Node, shape: &'static Shape) -> Value {
        let expected = format!("exactly one of {}", words::names(shape));
        let Body::Map(pairs) = &node.body else {
            let what = format!("{} stands where the names of {} are expected", node.kind(), shape.name);
            self.tell(node, Problem::new(what).expected(expected));
            return Value::Wrong;
        };
        let [(key, value)] = pairs.as_slice() else {
            let what = format!("{} names in {}", pairs.len(), shape.name);
            let problem = Problem::new(what).expected(expected);
            self.tell(node, problem.help("begin each with \"- \" on a line of its own"));
            return Value::Wrong;
        };
        let Some(field) = shape.field(&key.name) else {
            self.unknown(key, shape);
            return Value::Wrong;
        };
        Value::Fields(Fields {
            items: vec![(field.name, self.value(value, &field.kind, field))],
            known: shape.fields,
            mark: key.mark,
        })
    }

    fn list(
        &mut self,
        node: &Node,
        kind: &'static Kind,
        (least, most): (usize, usize),
        field: &'static Field,
    ) -> Value {
        let Body::List(nodes) = &node.body else {
            let what = format!("`{}` is {}", field.name, node.kind());
            let expected = format!("a list, {}", words::wanted(field));
            self.tell(node, Problem::new(what).expected(expected));
            return Value::Wrong;
        };
        if nodes.len() < least || nodes.len() > most {
            let what = format!("`{}` is a list of {}", field.name, nodes.len());
            let many = if least == most { least.to_string() } else { format!("{least} to {most}") };
            let expected = format!("{many} of them, {}", words::wanted(field));
            self.tell(node, Problem::new(what).expected(expected));
            return Value::Wrong;
        }
        Value::List(nodes.iter().map(|n| self.value(n, kind, field)).collect())
    }

    fn named(&mut self, node: &Node, kind: &'static Kind, field: &'static Field) -> Value {
        let Body::Map(pairs) = &node.body else {
            let what = format!("`{}` is {}", field.name, node.kind());
            self.tell(node, Problem::new(what).expected(words::wanted(field)));
            return Value::Wrong;
        };
        let mut named = Vec::new();
        for (key, value) in pairs {
            if !is_name(&key.name) {
                let problem = Problem::new(format!("\"{}\" is not a name", key.name));
                self.tell_at(key.mark, problem.expected(words::NAME), None);
            }
            named.push((key.name.clone(), self.value(value, kind, field)));
        }
        Value::Named(named)
    }

    fn settings(&mut self, node: &Node, field: &'static Field) -> Value {
        let pairs = match &node.body {
            Body::Map(pairs) if !pairs.is_empty() => pairs,
            _ => {
                let what = format!("`{}` is {}", field.name, node.kind());
                self.tell(node, Problem::new(what).expected(words::wanted(field)));
                return Value::Wrong;
            }
        };
        let mut settings = Vec::new();
        for (key, value) in pairs {
            let name = Node { mark: key.mark, body: Body::Scalar(key.name.clone(), false), from: None };
            if let Some(role) = self.role(&name, Use::Set) {
                let number = self.of_dimension(value, role.dimension(), false);
                settings.push((role, item(value, number)));
            }
        }
        Value::Settings(settings)
    }

    fn scalars(&mut self, node: &Node, field: &'static Field) -> Value {
        let flat = match &node.body {
            Body::Scalar(text, quoted) => *quoted || !text.is_empty(),
            Body::List(items) => !items.is_empty() && items.iter().all(|n| n.text().is_some()),
            Body::Map(_) => false,
        };
        if flat {
            return Value::Raw(node.clone());
        }
        let what = format!("`{}` is {}", field.name, node.kind());
        self.tell(node, Problem::new(what).expected("a single value, or a list of single values"));
        Value::Wrong
    }
}

/// The node of a default: a scalar, a flat list, or an empty map.
fn stand_in(mark: Mark, text: &str) -> Node {
    let node = |body| Node { mark, body, from: None };
    let scalar = |text: &str| node(Body::Scalar(text.to_owned(), false));
    let inner = text.strip_prefix('[').and_then(|t| t.strip_suffix(']'));
    match inner.map(str::trim) {
        Some("") => node(Body::List(Vec::new())),
        Some(items) => node(Body::List(items.split(',').map(|t| scalar(t.trim())).collect())),
        None if text == "{}" => node(Body::Map(Vec::new())),
        None => scalar(text),
    }
}

/// A node's checked value, with what else is kept of it.
fn item(node: &Node, value: Value) -> Item {
    Item { value, mark: node.mark, text: node.text().unwrap_or_default().to_owned(), from: node.from.clone() }
}
