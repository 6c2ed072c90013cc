//! Verdicts on a controller on its own: edges, response times, hysteresis; and its table of observations.
//!
//! In: observations, limits that the scenario states. Out: items; a CSV. Never: a limit that nobody stated.

use super::baseline::items::id;
use crate::numerics::gum::u95;
use crate::reduce::controller::{Kind, Observation, Observations, Quantity, Way};
use crate::verdict::decide::{Subject, judge};
use crate::verdict::expect::Expectation;
use crate::verdict::item::Item;
use std::fmt::Write as _;

/// Percentiles told of each response.
const PERCENTILES: [(f64, &str); 2] = [(0.5, "median"), (0.95, "95th percentile")];

/// Edges, hysteresis and percentiles of responses.
#[must_use]
pub fn items(observations: &Observations, expected: &[Expectation]) -> Vec<Item> {
    let mut all = Vec::new();
    let mut add = |id: String, quantity: String, unit: &str, result: (f64, f64)| {
        let limits = expected.iter().find(|e| e.item == id).map(|e| e.limits);
        all.push(judge(&Subject {
            id,
            quantity,
            unit: unit.into(),
            result: Some(result),
            dof: None,
            limits: limits.unwrap_or_default(),
            effort: None,
        }));
    };
    let edges = || observations.list.iter().filter(|o| matches!(o.kind, Kind::Edge(..)));
    for o in edges() {
        let Some(value) = o.value else { continue };
        add(id(o), o.words(), &o.unit, (value, u95(o.u_common.hypot(o.u_own), f64::INFINITY)));
        if let Some((gap, u)) = hysteresis(o, edges()) {
            let name = format!("{}.hysteresis", id(o));
            add(name, format!("hysteresis of {} at {}", o.output, o.at.words()), &o.unit, (gap, u));
        }
    }
    for r in &observations.responses {
        for (share, words) in PERCENTILES {
            let Some(result) = r.percentile(share) else {
                continue;
            };
            let name = format!("response.{}.{}.p{:.0}", r.output, r.way.word(), 100.0 * share);
            add(name, format!("{}: response to a step {}, {words}", r.output, r.way.word()), "s", result);
        }
    }
    all
}

/// How far apart the edges from below and from above lie. Errors of what plays the input are in both and cancel.
fn hysteresis<'a>(o: &Observation, mut edges: impl Iterator<Item = &'a Observation>) -> Option<(f64, f64)> {
    let Kind::Edge(Way::Up, input) = &o.kind else {
        return None;
    };
    let back = Kind::Edge(Way::Down, input.clone());
    let other = edges.find(|e| e.output == o.output && e.kind == back && e.at.same(&o.at))?;
    Some((o.value? - other.value?, u95(o.u_own.hypot(other.u_own), f64::INFINITY)))
}

/// `observations.csv`.
#[must_use]
pub fn csv(observations: &Observations) -> String {
    let mut text = String::from("output,kind,boost_kpa,boost_v,rpm,supply_v,value,unit,u95,repeats\n");
    for o in &observations.list {
        let cell = |v: Option<f64>, decimals: usize| v.map_or(String::new(), |v| format!("{v:.decimals$}"));
        let scatter = if o.repeats > 1 {
            (o.squares / f64::from(o.repeats - 1) / f64::from(o.repeats)).sqrt()
        } else {
            0.0
        };
        let u = scatter.hypot(o.u_common).hypot(o.u_own);
        let dof =
            if scatter > 0.0 { f64::from(o.repeats - 1) * (u / scatter).powi(4) } else { f64::INFINITY };
        let unit = if o.kind.quantity() == Quantity::Value && o.unit == "on" { "" } else { o.unit.as_str() };
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{},{unit},{},{}",
            o.output,
            o.kind.word(),
            cell(o.at.boost_kpa, 3),
            cell(o.at.boost_v, 4),
            cell(o.at.rpm, 1),
            cell(o.at.supply_v, 2),
            cell(o.value, 5),
            cell(o.value.map(|_| u95(u, dof)), 5),
            o.repeats
        );
    }
    text
}
