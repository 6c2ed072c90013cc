//! The flow that each point of a controller delivers.
//!
//! In: a pair's model, points with their duty and its uncertainty. Out: flow at the boost of each point, with U. Never:
//! a flow where the model gives none; the reason stands in its place.

use super::ask::{Ask, Basis, Refusal};
use super::model::PairModel;
use crate::uncertainty::Uncertain;

/// Step of duty for the slope of the flow, %.
const STEP_PCT: f64 = 0.5;

/// A duty under given conditions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutyAt<'a> {
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Supply, V; the calibration's reference where it is none.
    pub supply_v: Option<f64>,
    /// Duty, %.
    pub duty_pct: &'a Uncertain,
}

/// A flow with its U.
#[derive(Clone, Debug, PartialEq)]
pub struct Delivered {
    /// Flow, mL/min.
    pub flow_ml_min: f64,
    /// U at 95 %.
    pub u95_ml_min: f64,
    /// Measured, interpolated or extrapolated.
    pub basis: Basis,
    /// What to know.
    pub warnings: Vec<String>,
}

/// The flow of a point: the model's uncertainty and that of the duty through the slope of the flow (JCGM 100:2008 5.1).
///
/// # Errors
/// Why there is no answer.
pub fn delivered(model: &PairModel, ask: &Ask, point: &DutyAt<'_>) -> Result<Delivered, Refusal> {
    let ask = Ask { boost_kpa: point.boost_kpa, supply_v: point.supply_v.or(ask.supply_v), ..ask.clone() };
    let duty = point.duty_pct.value.clamp(0.0, 100.0);
    let answer = model.flow_at(&ask, duty)?;
    let (low, high) = ((duty - STEP_PCT).max(0.0), (duty + STEP_PCT).min(100.0));
    let rise = model.flow_at(&ask, high)?.estimate.value - model.flow_at(&ask, low)?.estimate.value;
    let per_pct = rise / (high - low);
    let mut terms = answer.estimate.terms;
    terms.extend(point.duty_pct.terms.iter().map(|t| t.times(per_pct)));
    let flow = Uncertain::new(answer.estimate.value, terms);
    Ok(Delivered {
        flow_ml_min: flow.value,
        u95_ml_min: flow.u95,
        basis: answer.basis,
        warnings: answer.warnings,
    })
}
