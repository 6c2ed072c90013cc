//! The scenario file: YAML to a checked tree of steps.
//!
//! In: a file, and values for its parameters. Out: the scenario; its steps in internal units. Never: an instrument, a
//! rig, or a file outside the scenario's folder.

mod decode;
pub mod parameters;
pub mod step;
mod trace;

use super::limits::Asked;
use super::shape::check::Checker;
use super::shape::scenario::SCENARIO;
use super::shape::value::{Fields, Item};
use super::shipped::{self, Beside};
use super::yaml::{self, Node, Text};
use crate::problem::{Problem, Problems};
use crate::verdict::purpose::Purpose;
use parameters::Parameter;
use std::path::Path;
use step::Step;

/// A scenario, checked with the defaults of its parameters.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// Its name.
    pub name: String,
    /// What it does, for people.
    pub about: Option<String>,
    /// What the analysis makes of the record.
    pub purpose: Purpose,
    /// Shown before the bench is armed.
    pub cautions: Vec<String>,
    /// Parameters in file order.
    pub parameters: Vec<Parameter>,
    /// The file's text.
    pub source: String,
    pub(super) text: Text,
    root: Node,
    beside: Beside,
}

/// A scenario with its parameters put in.
#[derive(Clone, Debug)]
pub(super) struct Resolved {
    /// Parameters as used.
    pub(super) parameters: Vec<(String, String)>,
    /// Limits it asks for.
    pub(super) limits: Asked,
    /// What to do.
    pub(super) steps: Vec<Step>,
}

/// Reads and checks a scenario file, or one that comes with the program; the files it names are looked for in its folder.
///
/// # Errors
/// Every problem of the file.
pub fn load(path: &Path) -> Result<Scenario, Problems> {
    let (text, beside) = shipped::find("scenarios", path)?;
    read(text, beside)
}

/// Checks the text of a scenario; the files it names are looked for `beside` it.
///
/// # Errors
/// Every problem of the text.
pub fn read(text: Text, beside: impl Into<Beside>) -> Result<Scenario, Problems> {
    let root = yaml::parse(&text)?;
    let parameters = parameters::declared(&text, &root)?;
    let mut scenario = Scenario {
        name: String::new(),
        about: None,
        purpose: Purpose::Record,
        cautions: Vec::new(),
        parameters,
        source: text.text.to_string(),
        text,
        root,
        beside: beside.into(),
    };
    let (_, fields) = scenario.resolve(&[])?;
    scenario.name = fields.text("scenario");
    scenario.about = fields.maybe_text("about");
    scenario.purpose = purpose(&fields);
    scenario.cautions = fields.item("cautions").list().iter().map(|item| item.text.clone()).collect();
    Ok(scenario)
}

impl Scenario {
    /// The text of a file that it names, such as a trace.
    ///
    /// # Errors
    /// Its name is not allowed, or it cannot be read.
    pub fn file(&self, name: &str) -> Result<String, Problems> {
        trace::text(&self.beside, name)
    }

    /// Puts parameters in and checks what comes of it.
    ///
    /// # Errors
    /// A parameter that does not exist, or every problem of the scenario with these values.
    pub(super) fn resolve(&self, sets: &[(String, String)]) -> Result<(Resolved, Fields), Problems> {
        let given = parameters::given(&self.parameters, sets)?;
        let root = parameters::put_in(&self.text, &self.root, &given)?;
        let mut checker = Checker::new(&self.text);
        let fields = checker.map(&root, &SCENARIO);
        checker.problems.into_result()?;
        let mut problems = Problems::default();
        let mut decoder = decode::Decoder {
            beside: &self.beside,
            purpose: purpose(&fields),
            tell: &mut |item: &Item, problem: Problem| {
                let from = item.from.as_deref().map(|from| format!("it comes from {from}"));
                let help = match (problem.help.clone(), from) {
                    (Some(help), Some(from)) => Some(format!("{help}; {from}")),
                    (help, from) => help.or(from),
                };
                let place = problem.place.clone().unwrap_or_else(|| self.text.place(item.mark));
                problems.push(Problem { help, ..problem }.at(place));
            },
        };
        let steps = decoder.steps(fields.item("steps"));
        let limits = decoder.limits(fields.fields("limits"));
        problems.into_result()?;
        let parameters = given.iter().map(|g| (g.name.clone(), g.shown())).collect();
        let resolved = Resolved { parameters, limits, steps };
        Ok((resolved, fields))
    }
}

/// What the analysis makes of the record; the table has let only such words through.
fn purpose(fields: &Fields) -> Purpose {
    Purpose::parse(fields.word("purpose")).unwrap_or(Purpose::Record)
}
