//! Verdicts on a fitted pair: the nozzle against its rating, and what the scenario expects.
//!
//! In: a fit, the rig's ratings, expectations of the scenario. Out: items. Never: a limit that nobody stated.

use crate::fit::estimate::Estimate;
use crate::fit::pair::PairFit;
use crate::fit::published::{highest_pressure, nozzle_exponent, nozzle_k, rated_flow};
use crate::numerics::conformity::Zone;
use crate::script::rig::Rating;
use crate::verdict::decide::{Subject, judge};
use crate::verdict::expect::Expectation;
use crate::verdict::item::Item;

/// Every item of a fitted pair. Where a pair has several nozzles, ids of all but the first end in the nozzle's name.
#[must_use]
pub fn items(fit: &PairFit, expected: &[Expectation]) -> Vec<Item> {
    let mut items = Vec::new();
    for (index, law) in fit.model.nozzles.iter().enumerate() {
        let several = fit.model.nozzles.len() > 1;
        let before = if several { format!("nozzle {}: ", law.name) } else { String::new() };
        let suffix = if index == 0 { String::new() } else { format!(".{}", law.name) };
        let mut add =
            |id: &str, quantity: &str, unit: &str, estimate: Option<Estimate>, limits: Option<Zone>| {
                let id = format!("{id}{suffix}");
                let stated = expected.iter().find(|e| e.item == id).map(|e| e.limits);
                let subject = Subject {
                    quantity: format!("{before}{quantity}"),
                    unit: unit.into(),
                    result: estimate.as_ref().map(|e| (e.value, e.u95)),
                    dof: estimate.as_ref().map(|e| e.dof).filter(|dof| dof.is_finite()),
                    limits: stated.or(limits).unwrap_or_default(),
                    effort: None,
                    id,
                };
                if estimate.is_some() || subject.limits != Zone::default() {
                    items.push(judge(&subject));
                }
            };
        let nozzle = fit.nozzles.get(index).and_then(Option::as_ref);
        if let Some(nozzle) = nozzle {
            let rating = fit.facts.nozzles.iter().find(|n| n.name == law.name).and_then(|n| n.rating);
            if let Some(rating) = rating {
                let flow = rated_flow(&fit.model, index, rating.at_kpa);
                add("nozzle.rating", &at_rating(&rating), "mL/min", Some(flow), Some(limits(&rating)));
            }
            add(
                "nozzle.k",
                "nozzle coefficient",
                "mL/min/sqrt(kPa)",
                Some(nozzle_k(&fit.model, index)),
                None,
            );
            add("nozzle.exponent", "nozzle exponent", "", Some(nozzle_exponent(nozzle)), None);
        }
        add("duty.dead_band", "dead band, flow stops at", "%", fit.dead_band(index), None);
        let breakaway = (index == 0).then(|| fit.breakaway()).flatten();
        add("duty.breakaway", "breakaway, flow starts at", "%", breakaway, None);
        add("line.highest", "line pressure at full duty", "kPa", highest_pressure(&fit.model, index), None);
    }
    items
}

fn at_rating(rating: &Rating) -> String {
    format!("flow at rated {:.0} kPa", rating.at_kpa)
}

fn limits(rating: &Rating) -> Zone {
    let spread = rating.flow_ml_min * rating.tolerance;
    Zone { lower: Some(rating.flow_ml_min - spread), upper: Some(rating.flow_ml_min + spread) }
}
