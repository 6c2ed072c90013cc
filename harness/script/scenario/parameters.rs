//! Named parameters of a scenario: declared with a default, changed from the command line, written `$name` where
//! they are used.
//!
//! In: the root node, and values given as `name=value`. Out: the tree with values in place of their names. Never: a
//! parameter that is declared and not used, or used and not declared.

use crate::problem::{Problem, Problems, nearest};
use crate::script::shape::check::Checker;
use crate::script::shape::scenario::SCENARIO;
use crate::script::shape::value::{Fields, Value};
use crate::script::yaml::{Body, Mark, Node, Text};
use std::collections::BTreeSet;
use std::sync::Arc;

/// A parameter as declared.
#[derive(Clone, Debug)]
pub struct Parameter {
    /// Its name.
    pub name: String,
    /// What it does, for people.
    pub about: Option<String>,
    /// Its default, as it may be typed.
    pub default: String,
    body: Body,
    mark: Mark,
}

/// A parameter with the value it has.
#[derive(Clone, Debug)]
pub(super) struct Given {
    pub(super) name: String,
    body: Body,
    mark: Mark,
    from: Arc<str>,
}

impl Given {
    /// The value as it may be typed.
    pub(super) fn shown(&self) -> String {
        shown(&self.body)
    }
}

fn shown(body: &Body) -> String {
    match body {
        Body::Scalar(text, _) => text.clone(),
        Body::List(nodes) => nodes.iter().map(|n| shown(&n.body)).collect::<Vec<_>>().join(", "),
        Body::Map(_) => String::new(),
    }
}

/// The parameters a scenario declares.
///
/// # Errors
/// Problems of the section `parameters:` alone; the rest of the file is not looked at.
pub(super) fn declared(text: &Text, root: &Node) -> Result<Vec<Parameter>, Problems> {
    let mut checker = Checker::new(text);
    let Some(section) = root.get("parameters") else {
        return Ok(Vec::new());
    };
    let Some(field) = SCENARIO.field("parameters") else {
        panic!("the table has parameters");
    };
    let item = checker.value(section, &field.kind, field);
    checker.problems.into_result()?;
    let Value::Named(named) = item.value else {
        return Ok(Vec::new());
    };
    let mark_of = |name: &str| section.get(name).map_or(section.mark, |n| n.mark);
    Ok(named
        .iter()
        .map(|(name, item)| {
            let fields = item.fields();
            let body = default_body(fields);
            Parameter {
                name: name.clone(),
                about: fields.maybe_text("about"),
                default: shown(&body),
                body,
                mark: mark_of(name),
            }
        })
        .collect())
}

fn default_body(fields: &Fields) -> Body {
    match &fields.item("default").value {
        Value::Raw(node) => node.body.clone(),
        _ => Body::Scalar(String::new(), false),
    }
}

/// The values of all parameters, those of `sets` in place of defaults; the last of a name counts.
///
/// # Errors
/// A name that no parameter has.
pub(super) fn given(parameters: &[Parameter], sets: &[(String, String)]) -> Result<Vec<Given>, Problems> {
    let mut problems = Problems::default();
    for (name, _) in sets {
        if !parameters.iter().any(|p| p.name == *name) {
            let names: Vec<&str> = parameters.iter().map(|p| p.name.as_str()).collect();
            let known = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            let mut problem =
                Problem::new(format!("--set {name}: the scenario has no parameter of that name"));
            problem.expected = Some(format!("one of its parameters: {known}"));
            problem.help = nearest(name, names).map(|near| format!("did you mean \"{near}\"?"));
            problems.push(problem);
        }
    }
    problems.into_result()?;
    Ok(parameters
        .iter()
        .map(|p| {
            let set = sets.iter().rev().find(|(name, _)| *name == p.name);
            Given {
                name: p.name.clone(),
                body: set.map_or_else(|| p.body.clone(), |(_, value)| typed(value, p)),
                mark: p.mark,
                from: match set {
                    Some((name, value)) => format!("--set {name}={value}").into(),
                    None => format!("the default of `{}` in line {}", p.name, p.mark.line).into(),
                },
            }
        })
        .collect())
}

/// A typed value: a list with commas where the default is a list.
fn typed(value: &str, parameter: &Parameter) -> Body {
    let scalar = |text: &str| Body::Scalar(text.trim().to_owned(), false);
    match parameter.body {
        Body::List(_) => Body::List(
            value
                .split(',')
                .map(|text| Node { mark: parameter.mark, body: scalar(text), from: None })
                .collect(),
        ),
        _ => scalar(value),
    }
}

/// The tree with values in place of `$name`; the section `parameters:` stays as it is.
///
/// # Errors
/// Names that are not declared, and parameters that are not used.
pub(super) fn put_in(text: &Text, root: &Node, given: &[Given]) -> Result<Node, Problems> {
    let mut work = Work { text, given, used: BTreeSet::new(), problems: Problems::default() };
    let root = match &root.body {
        Body::Map(pairs) => Node {
            body: Body::Map(
                pairs
                    .iter()
                    .map(|(key, value)| match key.name.as_str() {
                        "parameters" => (key.clone(), value.clone()),
                        _ => (key.clone(), work.node(value)),
                    })
                    .collect(),
            ),
            ..root.clone()
        },
        _ => root.clone(),
    };
    for parameter in given.iter().filter(|g| !work.used.contains(&g.name)) {
        let what = format!("the parameter `{}` is not used", parameter.name);
        let help = format!("leave it out, or write ${} where it belongs", parameter.name);
        work.problems.push(text.problem(parameter.mark, what).help(help));
    }
    work.problems.into_result()?;
    Ok(root)
}

struct Work<'w> {
    text: &'w Text,
    given: &'w [Given],
    used: BTreeSet<String>,
    problems: Problems,
}

impl Work<'_> {
    fn node(&mut self, node: &Node) -> Node {
        let body = match &node.body {
            Body::Scalar(text, false) if text.starts_with('$') => return self.value(node, &text[1..]),
            Body::Scalar(..) => node.body.clone(),
            Body::List(nodes) => Body::List(nodes.iter().map(|n| self.node(n)).collect()),
            Body::Map(pairs) => Body::Map(pairs.iter().map(|(k, n)| (k.clone(), self.node(n))).collect()),
        };
        Node { mark: node.mark, body, from: None }
    }

    fn value(&mut self, node: &Node, name: &str) -> Node {
        let Some(given) = self.given.iter().find(|g| g.name == name) else {
            let names: Vec<&str> = self.given.iter().map(|g| g.name.as_str()).collect();
            let mut problem = self.text.problem(node.mark, format!("the parameter `{name}` is not declared"));
            problem.help = nearest(name, names).map_or_else(
                || Some(format!("declare it: `parameters: {{{name}: {{default: ...}}}}`")),
                |near| Some(format!("did you mean \"${near}\"?")),
            );
            self.problems.push(problem);
            return node.clone();
        };
        self.used.insert(given.name.clone());
        let at_use =
            |body: &Body| Node { mark: node.mark, body: body.clone(), from: Some(given.from.clone()) };
        match &given.body {
            Body::List(nodes) => Node {
                body: Body::List(nodes.iter().map(|n| at_use(&n.body)).collect()),
                ..at_use(&given.body)
            },
            body => at_use(body),
        }
    }
}
