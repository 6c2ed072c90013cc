//! The scenario file: YAML to a checked tree of steps.
//!
//! In: a file, and values for its parameters. Out: the scenario; its steps in internal units. Never: an instrument, a
//! rig, or a file outside the scenario's folder.

mod decode;
pub mod parameters;
pub mod step;
mod trace;

use super::limits::Asked;
use super::plan::Purpose;
use super::shape::check::Checker;
use super::shape::scenario::SCENARIO;
use super::shape::value::{Fields, Item};
use super::yaml::{self, Node, Text};
use crate::problem::{Problem, Problems};
use parameters::Parameter;
use std::path::{Path, PathBuf};
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
    folder: PathBuf,
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

/// Reads and checks a scenario file; the files it names are looked for in its folder.
///
/// # Errors
/// Every problem of the file.
pub fn load(path: &Path) -> Result<Scenario, Problems> {
    let folder = match path.parent() {
        Some(parent) if parent != Path::new("") => parent.to_path_buf(),
        _ => PathBuf::from("."),
    };
    read(Text::read(path)?, folder)
}

/// Checks the text of a scenario; the files it names are looked for in `folder`.
///
/// # Errors
/// Every problem of the text.
pub fn read(text: Text, folder: PathBuf) -> Result<Scenario, Problems> {
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
        folder,
    };
    let (_, fields) = scenario.resolve(&[])?;
    scenario.name = fields.text("scenario");
    scenario.about = fields.maybe_text("about");
    scenario.purpose = purpose(fields.word("purpose"));
    scenario.cautions = fields.item("cautions").list().iter().map(|item| item.text.clone()).collect();
    Ok(scenario)
}

impl Scenario {
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
            folder: &self.folder,
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

fn purpose(word: &str) -> Purpose {
    match word {
        "pair" => Purpose::Pair,
        "duty_curve" => Purpose::DutyCurve,
        "switch" => Purpose::Switch,
        "leak_down" => Purpose::LeakDown,
        "dead_head" => Purpose::DeadHead,
        "tank_level" => Purpose::TankLevel,
        "controller" => Purpose::Controller,
        "road_trace" => Purpose::RoadTrace,
        "check_scale" => Purpose::CheckScale,
        _ => Purpose::Record,
    }
}
