//! The rig file: YAML to the checked [`Rig`].
//!
//! In: a file. Out: the rig in internal units, or every problem found. Never: a rig with a channel that goes nowhere,
//! or one that can switch a pump on but not off.

mod channel;
mod cross;
mod sections;

use super::rig::Rig;
use super::shape::check::Checker;
use super::shape::rig::RIG;
use super::shape::value::{Fields, Item, Value};
use super::shipped;
use super::yaml::{self, Text};
use crate::problem::{Place, Problem, Problems};
use std::collections::BTreeMap;
use std::path::Path;

/// Reads and checks a rig file, or one that comes with the program.
///
/// # Errors
/// Every problem of the file.
pub fn load(path: &Path) -> Result<Rig, Problems> {
    read(&shipped::find("rigs", path)?.0)
}

/// Checks the text of a rig file.
///
/// # Errors
/// Every problem of the text.
pub fn read(text: &Text) -> Result<Rig, Problems> {
    let root = yaml::parse(text)?;
    let mut checker = Checker::new(text);
    let fields = checker.map(&root, &RIG);
    checker.problems.into_result()?;
    let mut problems = Problems::default();
    let mut told = |item: &Item, problem: Problem| problems.push(problem.at(text.place(item.mark)));
    let rig = decode(text, &fields, &mut told);
    cross::check(&rig, &fields, &mut told);
    problems.into_result()?;
    Ok(rig)
}

/// Tells a problem at an item.
type Tell<'a> = dyn FnMut(&Item, Problem) + 'a;

fn decode(text: &Text, fields: &Fields, tell: &mut Tell<'_>) -> Rig {
    let engine = sections::engine(fields.fields("engine"));
    let instruments = fields.item("instruments").list();
    let instruments: Vec<_> = instruments.iter().map(|i| sections::instrument(i.fields(), tell)).collect();
    let channels = fields.item("channels").list();
    let channels = channels.iter().filter_map(|c| channel::channel(c, &instruments, &engine, tell)).collect();
    let mut method = sections::method(fields.fields("method"), tell);
    method.place = fields.get("place").map(place);
    Rig {
        name: fields.text("rig"),
        source: text.text.to_string(),
        instruments,
        channels,
        pair: sections::pair(fields.fields("pair"), tell),
        fluid: sections::fluid(fields.fields("fluid"), tell),
        engine,
        limits: sections::limits(fields.fields("limits"), tell),
        watchdog: sections::watchdog(fields.item("watchdog")),
        method,
        virtual_bench: fields.get("virtual_bench").and_then(|item| raw(text, item, tell)),
    }
}

fn place(item: &Item) -> BTreeMap<String, String> {
    match &item.value {
        Value::Named(lines) => lines.iter().map(|(k, v)| (k.clone(), v.text.clone())).collect(),
        _ => BTreeMap::new(),
    }
}

/// The section `virtual_bench:` as a value of its own: read again from the whole text, which the budgets of
/// [`yaml`] have bounded.
fn raw(text: &Text, item: &Item, tell: &mut Tell<'_>) -> Option<serde_yaml::Value> {
    let whole: Result<serde_yaml::Value, _> = serde_yaml::from_str(&text.text);
    match whole {
        Ok(value) => value.get("virtual_bench").cloned(),
        Err(e) => {
            tell(item, Problem::new(format!("the section cannot be read: {e}")));
            None
        }
    }
}

/// Where something stands in a rig's text, for messages that name both ends of a bad reference; none where the rig
/// does not hold it.
#[must_use]
pub fn place_of(rig: &Rig, path: &[&str]) -> Option<Place> {
    let text = Text::new(format!("rig {}", rig.name), rig.source.as_str());
    let root = yaml::parse(&text).ok()?;
    root.at(path).map(|node| text.place(node.mark))
}
