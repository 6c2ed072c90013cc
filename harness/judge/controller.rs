//! What is judged of a controller on its own: thresholds, hysteresis, response times; and its table of observations.

use super::baseline::items::id_at;
use crate::reduce::controller::{Kind, Observation, Observations, Quantity, Way};
use crate::script::role::Role;
use crate::table::{Cell, Sheet};
use crate::uncertainty::{Cause, Term, Uncertain};
use crate::verdict::catalogue::{
    CONTROLLER_HYSTERESIS_BOOST, CONTROLLER_HYSTERESIS_RPM, CONTROLLER_HYSTERESIS_SENSOR,
    CONTROLLER_HYSTERESIS_SUPPLY, CONTROLLER_RESPONSE, CONTROLLER_THRESHOLD_BOOST, CONTROLLER_THRESHOLD_RPM,
    CONTROLLER_THRESHOLD_SENSOR, CONTROLLER_THRESHOLD_SUPPLY, Entry,
};
use crate::verdict::subject::{Found, Subject};

/// Percentiles told of each response.
const PERCENTILES: [(f64, &str); 2] = [(0.5, "median"), (0.95, "95th percentile")];

/// Thresholds, hysteresis and percentiles of responses.
#[must_use]
pub fn items(observations: &Observations) -> Vec<Subject> {
    let mut all = Vec::new();
    let of = |entry: &'static Entry, (value, u95): (f64, f64)| {
        Subject::new(entry, Found::Value { value, u95, dof: None })
    };
    let thresholds = || observations.list.iter().filter(|o| matches!(o.kind, Kind::Edge(..)));
    for o in thresholds() {
        let Kind::Edge(way, input) = &o.kind else { continue };
        let (Some(value), Some((threshold, hysteresis))) = (o.value, rows(input)) else { continue };
        let edge = Uncertain::new(value, vec![o.common(), o.own()]);
        let member = format!("{}.{}{}", o.output, way.word(), id_at(o));
        all.push(Subject::new(threshold, Found::from(&edge)).member(&member).words(o.words()));
        if let Some(gap) = gap(o, thresholds()) {
            let words = format!("hysteresis of {} at {}", o.output, o.at.words());
            all.push(
                Subject::new(hysteresis, Found::from(&gap))
                    .member(&format!("{}{}", o.output, id_at(o)))
                    .words(words),
            );
        }
    }
    for r in &observations.responses {
        for (share, words) in PERCENTILES {
            let Some(result) = r.percentile(share) else {
                continue;
            };
            let member = format!("{}.{}.p{:.0}", r.output, r.way.word(), 100.0 * share);
            let words = format!("{}: response to a step {}, {words}", r.output, r.way.word());
            all.push(of(&CONTROLLER_RESPONSE, result).member(&member).words(words));
        }
    }
    all
}

/// The rows of threshold and hysteresis over an input; none for what is no input of a controller.
fn rows(input: &str) -> Option<(&'static Entry, &'static Entry)> {
    match Role::parse(input)? {
        Role::Boost => Some((&CONTROLLER_THRESHOLD_BOOST, &CONTROLLER_HYSTERESIS_BOOST)),
        Role::Rpm => Some((&CONTROLLER_THRESHOLD_RPM, &CONTROLLER_HYSTERESIS_RPM)),
        Role::SupplySet => Some((&CONTROLLER_THRESHOLD_SUPPLY, &CONTROLLER_HYSTERESIS_SUPPLY)),
        Role::Sensor(_) => Some((&CONTROLLER_THRESHOLD_SENSOR, &CONTROLLER_HYSTERESIS_SENSOR)),
        _ => None,
    }
}

/// How far apart the edges from below and from above lie. Errors of what plays the input are in both and cancel.
fn gap<'a>(o: &Observation, mut edges: impl Iterator<Item = &'a Observation>) -> Option<Uncertain> {
    let Kind::Edge(Way::Up, input) = &o.kind else {
        return None;
    };
    let back = Kind::Edge(Way::Down, input.clone());
    let other = edges.find(|e| e.output == o.output && e.kind == back && e.at.same(&o.at))?;
    Some(Uncertain::new(o.value? - other.value?, vec![o.own(), other.own()]))
}

/// `observations.csv`.
#[must_use]
pub fn csv(observations: &Observations) -> String {
    let mut sheet = Sheet::new(&[
        "output",
        "kind",
        "boost_kpa",
        "boost_v",
        "rpm",
        "supply_v",
        "value",
        "unit",
        "u95",
        "repeats",
    ]);
    for o in &observations.list {
        let mut terms = vec![o.common(), o.own()];
        if o.repeats > 1 {
            let dof = f64::from(o.repeats - 1);
            let scatter = (o.squares / dof / f64::from(o.repeats)).sqrt();
            terms.push(Term::observed(Cause::Readings, scatter, dof));
        }
        let u95 = o.value.map(|v| Uncertain::new(v, terms).u95);
        let unit = if o.kind.quantity() == Quantity::Value && o.unit == "on" { "" } else { o.unit.as_str() };
        sheet.row(&[
            Cell::Text(&o.output),
            Cell::Text(&o.kind.word()),
            Cell::fixed(o.at.boost_kpa, 3),
            Cell::fixed(o.at.boost_v, 4),
            Cell::fixed(o.at.rpm, 1),
            Cell::fixed(o.at.supply_v, 2),
            Cell::fixed(o.value, 5),
            Cell::Text(unit),
            Cell::fixed(u95, 5),
            Cell::Whole(o.repeats.into()),
        ]);
    }
    sheet.finish()
}
