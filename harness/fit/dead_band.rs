//! The dead band: the duty at which steady flow stops on the way down.
//!
//! It is where the pump's flow against the open outlet is nothing, `F(x, P_out) = 0`. Below the lowest duty that
//! flowed this extrapolates, and near it a ratio of two uncertain numbers decides, so scatter is carried through by
//! Monte Carlo (JCGM 101:2008), seeded. In: a model, duties at which nothing flowed. Out: an estimate in % of duty.
//! Never: the breakaway duty on the way up, which steady flows do not show.

use super::model::{Condition, PairModel, Shift};
use super::terms::{At, Away, Drive};
use crate::chance::{Seed, standard_normal};
use crate::uncertainty::{Cause, Term, Uncertain};
use nalgebra::DVector;

/// Step in which the stall is searched, fraction of duty.
const SEARCH_STEP: f64 = 0.01;
/// Draws of the Monte Carlo.
const DRAWS: usize = 2000;
/// Seed of the draws: the same data give the same U.
const SEED: Seed = Seed(7);
/// Part of the distance from the lowest duty with flow to the dead band that the law may be off by, as a standard
/// uncertainty: friction rises as a motor slows to a stop (common practice, no source).
const BELOW_PART: f64 = 0.13;

/// Dead band of a nozzle at the reference supply into its bench outlet, %.
#[must_use]
pub fn dead_band(model: &PairModel, nozzle: usize) -> Option<Uncertain> {
    let r = &model.reference;
    let condition = Condition {
        nozzles: vec![nozzle],
        duty: 0.0,
        supply_v: r.supply_v,
        out_kpa: r.out_range_kpa.0,
        away: Away::default(),
        k_factor: 1.0,
    };
    let duty = stall(model, &condition, None)?;
    let value = 100.0 * duty;
    let scatter = 100.0 * scatter(model, &condition, duty);
    let mut terms = vec![Term::observed(Cause::Scatter, scatter, model.dof)];
    for s in &model.shifts {
        let moved = stall(model, &condition, Some(s)).unwrap_or(duty);
        terms.push(s.term(100.0 * moved - value));
    }
    let below = (100.0 * model.nozzles[nozzle].duty_range.0 - value).max(0.0);
    terms.push(Term::known(Cause::Beyond, BELOW_PART * below));
    terms.retain(|t| t.u != 0.0);
    Some(Uncertain::new(value, terms))
}

/// Values of the terms at a duty against the outlet alone.
fn row(model: &PairModel, c: &Condition, duty: f64, freewheel_v: f64) -> DVector<f64> {
    let at =
        At { drive: Drive { duty, supply_v: c.supply_v, freewheel_v }, line_kpa: c.out_kpa, away: c.away };
    let terms = &model.surface.terms;
    DVector::from_iterator(terms.len(), terms.iter().map(|t| t.value(&at, &model.surface.scaling)))
}

/// Duty (fraction) at which the pump's flow against the outlet is nothing: the highest below the measured duties.
fn stall(model: &PairModel, c: &Condition, shift: Option<&Shift>) -> Option<f64> {
    let freewheel_v = model.freewheel_v + shift.map_or(0.0, |s| s.freewheel_v);
    let free = |duty: f64| {
        let row = row(model, c, duty, freewheel_v);
        let coefficients = model.surface.coefficients.iter();
        match shift {
            None => row.iter().zip(coefficients).map(|(t, c)| t * c).sum::<f64>(),
            Some(s) => row.iter().zip(coefficients.zip(&s.coefficients)).map(|(t, (c, d))| t * (c + d)).sum(),
        }
    };
    let lowest = model.nozzles.iter().map(|n| n.duty_range.0).fold(1.0, f64::min);
    let top = if free(lowest) > 0.0 { lowest } else { 1.0 };
    let mut high = top;
    while high > 0.0 {
        let low = (high - SEARCH_STEP).max(0.0);
        if free(low) <= 0.0 {
            let (mut a, mut b) = (low, high);
            for _ in 0..50 {
                let mid = 0.5 * (a + b);
                if free(mid) <= 0.0 { a = mid } else { b = mid }
            }
            return Some(0.5 * (a + b));
        }
        high = low;
    }
    None
}

/// Standard uncertainty of the stall duty from scatter: half the interval that holds 95 % of the draws of level and
/// slope there, over 1.96.
fn scatter(model: &PairModel, c: &Condition, duty: f64) -> f64 {
    let level = row(model, c, duty, model.freewheel_v);
    let slope = (row(model, c, duty + SEARCH_STEP, model.freewheel_v)
        - row(model, c, (duty - SEARCH_STEP).max(0.0), model.freewheel_v))
        / (duty + SEARCH_STEP - (duty - SEARCH_STEP).max(0.0));
    let mean: f64 = slope.iter().zip(&model.surface.coefficients).map(|(t, c)| t * c).sum();
    let (cl, cs) = (&model.covariance * &level, &model.covariance * &slope);
    let (vl, vs, both) = (cl.dot(&level).max(0.0), cs.dot(&slope).max(0.0), cl.dot(&slope));
    let along = if vl > 0.0 { both / vl } else { 0.0 };
    let rest = (vs - along * both).max(0.0).sqrt();
    let mut stream = SEED.stream("dead band");
    let mut draws: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let level = vl.sqrt() * standard_normal(&mut stream);
            let slope = mean + along * level + rest * standard_normal(&mut stream);
            level / slope.max(0.1 * mean.abs())
        })
        .collect();
    draws.sort_by(f64::total_cmp);
    let at = |p: f64| draws[((DRAWS - 1) as f64 * p).round() as usize];
    (at(0.975) - at(0.025)) / (2.0 * 1.96)
}
