//! The flow that each point of a controller's map delivers.
//!
//! In: observations of a controller, a pair's model. Out: a row a point with flow and U, or why there is none; a CSV.
//! Never: a flow for an output that is no duty.

use crate::fit::ask::{Ask, Refusal};
use crate::fit::delivered::{Delivered, DutyAt, delivered};
use crate::fit::model::PairModel;
use crate::judge::baseline::scatter::pooled;
use crate::reduce::controller::{Kind, Observation};
use crate::table::{Cell, Sheet};
use crate::uncertainty::{Cause, Term, Uncertain};

/// A point.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its duty.
    pub observation: Observation,
    /// Boost, gauge kPa; none where it is not known, and then there is no flow.
    pub boost_kpa: Option<f64>,
    /// U of the duty at 95 %, %.
    pub u95_pct: f64,
    /// Flow, or why there is none.
    pub flow: Result<Delivered, String>,
}

/// The duty outputs there are, in order of name.
#[must_use]
pub fn duty_outputs(observations: &[Observation]) -> Vec<String> {
    let steady = |o: &&Observation| o.unit == "%" && is_point(o);
    let mut names: Vec<String> = observations.iter().filter(steady).map(|o| o.output.clone()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

fn is_point(o: &Observation) -> bool {
    matches!(o.kind, Kind::Steady | Kind::SteadyUp | Kind::SteadyDown)
}

/// A row a steady point of an output. `boost_of` turns a sensor voltage into gauge boost where the boost was not asked
/// for as such.
#[must_use]
pub fn rows(
    model: &PairModel,
    ask: &Ask,
    observations: &[Observation],
    output: &str,
    boost_of: impl Fn(f64) -> Option<f64>,
) -> Vec<Row> {
    let scatter = pooled(observations);
    let mine = observations.iter().filter(|o| o.output == output && is_point(o) && o.value.is_some());
    mine.map(|o| {
        let pool = scatter.get(&(o.output.clone(), o.kind.quantity())).copied().unwrap_or_default();
        let random = pool.sd / f64::from(o.repeats.max(1)).sqrt();
        let mut terms = vec![o.common(), o.own()];
        if random > 0.0 {
            terms.push(Term::observed(Cause::Readings, random, pool.dof.max(1.0)));
        }
        let duty = Uncertain::new(o.value.unwrap_or_default(), terms);
        let boost_kpa = o.at.boost_kpa.or_else(|| o.at.boost_v.and_then(&boost_of));
        let flow = match (boost_kpa, o.value) {
            (Some(boost_kpa), Some(_)) => {
                let supply_v = o.supply_read_v.or(o.at.supply_v);
                let point = DutyAt { boost_kpa, supply_v, duty_pct: &duty };
                delivered(model, ask, &point).map_err(|refusal: Refusal| refusal.to_string())
            }
            _ => Err("the boost of this point is not known".to_owned()),
        };
        Row { observation: o.clone(), boost_kpa, u95_pct: duty.u95, flow }
    })
    .collect()
}

/// `map.csv`.
#[must_use]
pub fn csv(rows: &[Row]) -> String {
    let mut sheet = Sheet::new(&[
        "output",
        "approach",
        "boost_kpa",
        "rpm",
        "supply_v",
        "duty_pct",
        "duty_u95_pct",
        "flow_ml_min",
        "u95_ml_min",
        "basis",
        "note",
    ]);
    for row in rows {
        let o = &row.observation;
        let approach = match o.kind {
            Kind::SteadyUp => "below",
            Kind::SteadyDown => "above",
            _ => "",
        };
        let (flow, u95, basis, note) = match &row.flow {
            Ok(d) => (Some(d.flow_ml_min), Some(d.u95_ml_min), d.basis.word(), d.warnings.join("; ")),
            Err(why) => (None, None, "", why.clone()),
        };
        sheet.row(&[
            Cell::Text(&o.output),
            Cell::Text(approach),
            Cell::fixed(row.boost_kpa, 2),
            Cell::fixed(o.at.rpm, 0),
            Cell::fixed(o.supply_read_v.or(o.at.supply_v), 2),
            Cell::fixed(o.value, 3),
            Cell::Fixed(row.u95_pct, 3),
            Cell::fixed(flow, 2),
            Cell::fixed(u95, 2),
            Cell::Text(basis),
            Cell::Text(&note),
        ]);
    }
    sheet.finish()
}
