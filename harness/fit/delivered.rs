//! The flow that each point of a controller delivers.
//!
//! In: a pair's model, points with their duty and its uncertainty. Out: flow at the boost of each point, with U. Never:
//! a flow where the model gives none; the reason stands in its place.

use super::ask::{Ask, Basis, Refusal};
use super::model::PairModel;
use crate::numerics::gum::{self, Term};

/// Step of duty for the slope of the flow, %.
const STEP_PCT: f64 = 0.5;

/// A duty under given conditions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutyAt {
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Supply, V; the calibration's reference where it is none.
    pub supply_v: Option<f64>,
    /// Duty, %.
    pub duty_pct: f64,
    /// Its standard uncertainty, %.
    pub u_pct: f64,
    /// Degrees of freedom of that.
    pub dof: f64,
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
pub fn delivered(model: &PairModel, ask: &Ask, point: &DutyAt) -> Result<Delivered, Refusal> {
    let ask = Ask { boost_kpa: point.boost_kpa, supply_v: point.supply_v.or(ask.supply_v), ..ask.clone() };
    let duty = point.duty_pct.clamp(0.0, 100.0);
    let answer = model.flow_at(&ask, duty)?;
    let (low, high) = ((duty - STEP_PCT).max(0.0), (duty + STEP_PCT).min(100.0));
    let rise = model.flow_at(&ask, high)?.estimate.value - model.flow_at(&ask, low)?.estimate.value;
    let of_duty = rise / (high - low) * point.u_pct;
    let e = &answer.estimate;
    let combined = gum::combine(&[Term::new(e.u, e.dof), Term::new(of_duty, point.dof)]);
    // The model's own coverage counts where it is wider than that of t (limits, one-sided terms).
    let k = (e.u95 / e.u.max(1e-12)).max(gum::k95(combined.dof));
    let u95_ml_min = if e.u > 0.0 { k * combined.u } else { combined.u95() };
    Ok(Delivered { flow_ml_min: e.value, u95_ml_min, basis: answer.basis, warnings: answer.warnings })
}
