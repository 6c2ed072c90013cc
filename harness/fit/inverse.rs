//! The duty for a flow: the inverse of the flow at a duty, exact and with its own uncertainty.
//!
//! In: a model, a condition, a flow. Out: a duty with U, or why there is none. Never: an approximation of the curve.

use super::ask::{Answer, Refusal};
use super::model::{Condition, PairModel};
use super::predict::{Place, signed};
use crate::uncertainty::Uncertain;

/// Step in which the curve is searched for the first crossing, fraction of duty.
const SEARCH_STEP: f64 = 0.02;

/// The duty that gives a flow.
pub(super) fn duty_answer(model: &PairModel, place: &Place, flow: f64) -> Result<Answer, Refusal> {
    let Some(duty) = duty(model, &place.condition, flow) else {
        let full = model.flow_answer(place, 100.0)?;
        return Err(Refusal::Unreachable {
            wanted_ml_min: flow,
            nothing_flows: full.estimate.value <= 0.0,
            highest: Box::new(full.estimate),
        });
    };
    let condition = Condition { duty, ..place.condition.clone() };
    let operating = model.operate(&condition);
    let slope = slope(model, &condition);
    let terms = model.all_terms(place, &condition, &operating);
    let straight = Uncertain::new(100.0 * duty, terms).scaled(-100.0 / slope);
    let u95 = bent(model, &place.condition, flow, &straight, slope);
    let estimate = straight.widened(u95);
    let answer = model.flow_answer(place, 100.0 * duty)?;
    Ok(Answer { estimate, basis: answer.basis, warnings: answer.warnings })
}

/// The first duty (fraction) at which the flow reaches a value, by bracketing and halving with secants; none if it
/// never does.
fn duty(model: &PairModel, c: &Condition, flow: f64) -> Option<f64> {
    let excess = |duty: f64| signed(&model.operate(&Condition { duty, ..c.clone() })) - flow;
    let steps = (1.0 / SEARCH_STEP) as usize;
    let (mut low, mut at_low) = (0.0, excess(0.0));
    for i in 1..=steps {
        let high = i as f64 * SEARCH_STEP;
        let at_high = excess(high);
        if at_low < 0.0 && at_high >= 0.0 {
            return Some(cross(low, at_low, high, at_high, excess));
        }
        (low, at_low) = (high, at_high);
    }
    None
}

/// Root between two ends by secant steps, each guarded by halving.
fn cross(mut low: f64, mut at_low: f64, mut high: f64, mut at_high: f64, excess: impl Fn(f64) -> f64) -> f64 {
    for round in 0..60 {
        let secant = low - at_low * (high - low) / (at_high - at_low);
        let mid =
            if round % 3 == 2 || !(secant > low && secant < high) { 0.5 * (low + high) } else { secant };
        let value = excess(mid);
        if value.abs() < 1e-9 || high - low < 1e-13 {
            return mid;
        }
        if value < 0.0 {
            (low, at_low) = (mid, value);
        } else {
            (high, at_high) = (mid, value);
        }
    }
    0.5 * (low + high)
}

/// Slope of flow over duty, mL/min per unit of duty.
fn slope(model: &PairModel, c: &Condition) -> f64 {
    let step = 1e-4;
    let at = |duty: f64| signed(&model.operate(&Condition { duty, ..c.clone() }));
    ((at(c.duty + step) - at(c.duty - step)) / (2.0 * step)).max(1e-6)
}

/// U of the duty where the curve bends within U of the flow: the farther of the two duties that give the flow more and
/// less by its U (interval carried through the inverse, as JCGM 101:2008 5.10 asks of nonlinear models).
fn bent(model: &PairModel, c: &Condition, flow: f64, straight: &Uncertain, slope: f64) -> f64 {
    let u_flow = straight.u95 * slope / 100.0;
    let here = straight.value / 100.0;
    let up = duty(model, c, flow + u_flow).map_or(1.0, |d| d) - here;
    let down = if flow > u_flow {
        here - duty(model, c, flow - u_flow).unwrap_or(0.0)
    } else {
        straight.u95 / 100.0
    };
    (100.0 * up.max(down)).max(straight.u95)
}
