//! How much an observation may differ and still be the same.
//!
//! In: what is shipped, what the command line says (`2 %`, `duty=2 %`). Out: a tolerance an observation, in its unit.
//! A plain percentage means points of duty for outputs in %, and that share of the largest value for others; it is not
//! meant for edges and times, which keep what is shipped unless they are named. Never: a unit guessed.
//!
//! | shipped | |
//! |---|---|
//! | a duty output | 2 % of duty |
//! | an on-off output | any change of state |
//! | an analogue output | 0.1 V |
//! | an output in another unit | 2 % of its largest value |
//! | the boost of an edge | 2 kPa |
//! | the speed of an edge | 50 rpm |
//! | the supply or another voltage of an edge | 0.2 V |
//! | a response | 30 ms |
//! | power to output | 100 ms |

use crate::problem::{Problem, Problems, nearest};
use crate::quantity::{Dimension, parse_difference};
use crate::reduce::controller::{Kind, Observation, Quantity};
use std::collections::{BTreeMap, BTreeSet};

/// Share of the largest value where nothing else is said.
const SHARE: f64 = 0.02;

/// A tolerance as stated.
#[derive(Clone, Debug, PartialEq)]
pub struct Stated {
    /// Output, kind of output (`duty`, `switched`, `analogue`), `edge`, `response` or `restart`; all where left out.
    pub name: Option<String>,
    /// The amount as written.
    pub amount: String,
}

/// Reads `2 %` or `duty=2 %`.
#[must_use]
pub fn read(text: &str) -> Stated {
    match text.split_once('=') {
        Some((name, amount)) => {
            Stated { name: Some(name.trim().to_owned()), amount: amount.trim().trim_matches('"').to_owned() }
        }
        None => Stated { name: None, amount: text.trim().to_owned() },
    }
}

/// Tolerances of a set of observations.
#[derive(Clone, Debug)]
pub struct Tolerances {
    stated: Vec<Stated>,
    largest: BTreeMap<String, f64>,
}

impl Tolerances {
    /// For these observations.
    ///
    /// # Errors
    /// An amount that is not one, or a name that nothing has.
    pub fn new(stated: &[Stated], observations: &[Observation]) -> Result<Self, Problems> {
        let mut largest: BTreeMap<String, f64> = BTreeMap::new();
        for o in observations.iter().filter(|o| o.kind.quantity() == Quantity::Value) {
            let most = largest.entry(o.output.clone()).or_default();
            *most = most.max(o.value.unwrap_or(0.0).abs());
        }
        let made = Tolerances { stated: stated.to_vec(), largest };
        let mut problems = Problems::default();
        for s in stated {
            let mut meant = observations.iter().filter(|o| applies(s, o)).peekable();
            if meant.peek().is_none() {
                let names: BTreeSet<String> = observations.iter().flat_map(names_of).collect();
                let name = s.name.clone().unwrap_or_else(|| s.amount.clone());
                let problem =
                    Problem::new(format!("the tolerance for \"{name}\" is for nothing that was observed"));
                let problem = problem.expected(names.iter().cloned().collect::<Vec<_>>().join(", "));
                problems.push(match nearest(&name, names.iter().map(String::as_str)) {
                    Some(near) => problem.help(format!("did you mean \"{near}\"?")),
                    None => problem,
                });
                continue;
            }
            if let Some(problem) = meant.find_map(|o| made.amount(s, o).err()) {
                problems.push(problem);
            }
        }
        problems.into_result().map(|()| made)
    }

    /// What an observation may differ by, in its unit.
    #[must_use]
    pub fn of(&self, o: &Observation) -> f64 {
        let rank = |s: &&Stated| match &s.name {
            None => 0,
            Some(name) if *name == o.output || o.output.ends_with(&format!(".{name}")) => 2,
            Some(_) => 1,
        };
        let best = self.stated.iter().filter(|s| applies(s, o)).max_by_key(rank);
        best.and_then(|s| self.amount(s, o).ok()).unwrap_or_else(|| self.shipped(o))
    }

    fn shipped(&self, o: &Observation) -> f64 {
        match (o.kind.quantity(), o.unit.as_str()) {
            (Quantity::Time, _) if o.kind == Kind::Restart => 0.1,
            (Quantity::Time, _) => 0.03,
            (Quantity::Edge(_), "kPa") => 2.0,
            (Quantity::Edge(_), "rpm") => 50.0,
            (Quantity::Edge(_), _) => 0.2,
            (Quantity::Value, "%") => 2.0,
            (Quantity::Value, "on") => 0.5,
            (Quantity::Value, "V") => 0.1,
            (Quantity::Value, _) => SHARE * self.largest.get(&o.output).copied().unwrap_or(0.0),
        }
    }

    /// The amount a statement gives an observation.
    fn amount(&self, stated: &Stated, o: &Observation) -> Result<f64, Problem> {
        let unit = o.unit.as_str();
        let refuse = |e: crate::quantity::QuantityError, dimension: Dimension| {
            let problem = Problem::new(format!("tolerance: {}", e.what(&stated.amount)));
            let problem = problem.expected(crate::quantity::QuantityError::expected(dimension));
            e.help().map_or(problem.clone(), |help| problem.help(help))
        };
        let percent = parse_difference(&stated.amount, Dimension::Ratio);
        let (dimension, factor) = match unit {
            "V" => (Dimension::Voltage, 1.0),
            "mV" => (Dimension::Voltage, 1e3),
            "A" => (Dimension::Current, 1.0),
            "kPa" => (Dimension::GaugePressure, 1.0),
            "s" => (Dimension::Time, 1.0),
            "ms" => (Dimension::Time, 1e3),
            "rpm" => (Dimension::Speed, 1.0),
            "Hz" => (Dimension::Frequency, 1.0),
            "mL/min" => (Dimension::Flow, 1.0),
            _ => (Dimension::Ratio, 1.0),
        };
        let amount = match (percent, dimension) {
            // A state has no share: any change of it counts.
            (Ok(_), _) if unit == "on" => 0.5,
            (Ok(p), Dimension::Ratio) => p,
            (Ok(p), _) if o.kind.quantity() == Quantity::Value => {
                0.01 * p * self.largest.get(&o.output).copied().unwrap_or(0.0)
            }
            (Ok(p), _) => 0.01 * p * o.value.unwrap_or(0.0).abs(),
            (Err(e), Dimension::Ratio) => return Err(refuse(e, dimension)),
            (Err(_), _) => {
                factor * parse_difference(&stated.amount, dimension).map_err(|e| refuse(e, dimension))?
            }
        };
        if amount >= 0.0 {
            return Ok(amount);
        }
        Err(Problem::new(format!("tolerance: \"{}\" is below zero", stated.amount))
            .expected("an amount such as \"2 %\""))
    }
}

/// The names an observation answers to.
fn names_of(o: &Observation) -> Vec<String> {
    match &o.kind {
        Kind::Edge(_, input) => vec!["edge".into(), format!("edge.{input}")],
        Kind::Response(_) => vec!["response".into()],
        Kind::Restart => vec!["restart".into()],
        _ => {
            let mut names = vec![o.output.clone()];
            if let Some((kind, name)) = o.output.split_once('.') {
                let kind = if kind == "duty_output" { "duty" } else { kind };
                names.extend([kind.to_owned(), name.to_owned()]);
            }
            names
        }
    }
}

fn applies(stated: &Stated, o: &Observation) -> bool {
    match &stated.name {
        Some(name) => names_of(o).contains(name),
        // Without a name it is for values; a percentage for all of them, anything else where the unit is the same.
        None => {
            o.kind.quantity() == Quantity::Value
                && (parse_difference(&stated.amount, Dimension::Ratio).is_ok()
                    || parse_difference(&stated.amount, Dimension::Voltage).is_err()
                    || matches!(o.unit.as_str(), "V" | "mV"))
        }
    }
}
