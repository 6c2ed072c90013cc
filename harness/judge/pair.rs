//! What is judged of a fitted pair, with the rig's ratings as limits.

use crate::fit::pair::PairFit;
use crate::fit::published::{full_flow, highest_pressure, nozzle_exponent, nozzle_k, rated_flow};
use crate::numerics::conformity::Zone;
use crate::script::rig::Rating;
use crate::uncertainty::Uncertain;
use crate::verdict::catalogue::{
    DUTY_BREAKAWAY, DUTY_DEAD_BAND, Entry, FLOW_FULL_DUTY, LINE_FULL_DUTY, NOZZLE_EXPONENT, NOZZLE_K,
    NOZZLE_RATING,
};
use crate::verdict::subject::{Found, Subject};

/// A highest duty from here on is full duty, %: the driver's read-back is not exact.
pub const FULL_PCT: f64 = 99.5;

/// Every item of a fitted pair. Where a pair has several nozzles, ids of all but the first end in the nozzle's name.
#[must_use]
pub fn items(fit: &PairFit) -> Vec<Subject> {
    let mut items = Vec::new();
    let several = fit.model.nozzles.len() > 1;
    for (index, law) in fit.model.nozzles.iter().enumerate() {
        let mut add =
            |entry: &'static Entry, words: Option<String>, found: Option<Uncertain>, rig: Option<Zone>| {
                let Some(e) = found else { return };
                let subject = Subject::new(entry, Found::from(&e)).rig(rig);
                let top = 100.0 * law.duty_range.1;
                let beyond = [FLOW_FULL_DUTY.id, LINE_FULL_DUTY.id].contains(&entry.id) && top < FULL_PCT;
                let subject = if beyond {
                    subject.context(format!("extrapolated: the highest duty measured is {top:.0} %"))
                } else {
                    subject
                };
                let subject = if index == 0 { subject } else { subject.member(&law.name) };
                let words = words.unwrap_or_else(|| entry.meaning.to_owned());
                let before = if several { format!("nozzle {}: ", law.name) } else { String::new() };
                items.push(subject.words(format!("{before}{words}")));
            };
        if let Some(nozzle) = fit.nozzles.get(index).and_then(Option::as_ref) {
            let rating = fit.facts.nozzles.iter().find(|n| n.name == law.name).and_then(|n| n.rating);
            if let Some(rating) = rating {
                let flow = rated_flow(&fit.model, index, rating.at_kpa);
                add(&NOZZLE_RATING, Some(at_rating(&rating)), Some(flow), Some(limits(&rating)));
            }
            add(&NOZZLE_K, None, Some(nozzle_k(&fit.model, index)), None);
            add(&NOZZLE_EXPONENT, None, Some(nozzle_exponent(nozzle)), None);
        }
        add(&DUTY_DEAD_BAND, None, fit.dead_band(index), None);
        add(&DUTY_BREAKAWAY, None, (index == 0).then(|| fit.breakaway()).flatten(), None);
        add(&FLOW_FULL_DUTY, None, full_flow(&fit.model, index), None);
        add(&LINE_FULL_DUTY, None, highest_pressure(&fit.model, index), None);
    }
    items
}

fn at_rating(rating: &Rating) -> String {
    format!("flow at rated pressure ({:.0} kPa gauge)", rating.at_kpa)
}

fn limits(rating: &Rating) -> Zone {
    let spread = rating.flow_ml_min * rating.tolerance;
    Zone { lower: Some(rating.flow_ml_min - spread), upper: Some(rating.flow_ml_min + spread) }
}
