//! Budget tables of published results.
//!
//! In: a fitted pair. Out: results with their terms. Never: a sum without its parts.

use super::ask::Ask;
use super::pair::PairFit;
use super::published::{nozzle_exponent, nozzle_k};
use crate::uncertainty::Uncertain;

/// Duties whose flows get a budget, %.
const DUTIES_PCT: [f64; 3] = [30.0, 60.0, 100.0];
/// Boost whose flow gets a budget, kPa.
const BOOST_KPA: f64 = 100.0;

/// The budget of one result.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// The result in words: `nozzle A, flow at 60 % duty`.
    pub quantity: String,
    /// Unit of the result.
    pub unit: &'static str,
    /// The result.
    pub estimate: Uncertain,
}

impl Budget {
    /// The budget of an estimate.
    #[must_use]
    pub fn new(quantity: impl Into<String>, unit: &'static str, estimate: Uncertain) -> Self {
        Budget { quantity: quantity.into(), unit, estimate }
    }
}

/// Budgets of what a pair's fit publishes.
#[must_use]
pub fn budgets(fit: &PairFit) -> Vec<Budget> {
    let mut budgets = Vec::new();
    for (index, law) in fit.model.nozzles.iter().enumerate() {
        let name = &law.name;
        if let Some(nozzle) = &fit.nozzles[index] {
            let k = nozzle_k(&fit.model, index);
            budgets.push(Budget::new(format!("nozzle {name}, coefficient"), "mL/min/sqrt(kPa)", k));
            budgets.push(Budget::new(format!("nozzle {name}, exponent"), "", nozzle_exponent(nozzle)));
        }
        if let Some(band) = fit.dead_band(index) {
            budgets.push(Budget::new(format!("nozzle {name}, dead band"), "%", band));
        }
        let bench = fit.model.reference.out_range_kpa.0;
        let boosts = if fit.model.reference.pressure_measured { vec![bench, BOOST_KPA] } else { vec![bench] };
        for boost_kpa in boosts {
            for duty in DUTIES_PCT {
                let ask = Ask { nozzle: Some(name.clone()), boost_kpa, ..Ask::default() };
                let Ok(answer) = fit.model.flow_at(&ask, duty) else {
                    continue;
                };
                // The gauge of an open cup's pressure may read a little below zero.
                let against = if boost_kpa.abs() < 0.5 { 0.0 } else { boost_kpa };
                let at = format!("nozzle {name}, flow at {duty:.0} % duty against {against:.0} kPa");
                budgets.push(Budget::new(at, "mL/min", answer.estimate));
            }
        }
    }
    budgets
}
