//! The dead band: the duty at which steady flow stops on the way down.
//!
//! It is where the pump's flow against the open outlet is nothing, `F(x, P_out) = 0`. Below the lowest duty that
//! flowed this extrapolates, and near it a ratio of two uncertain numbers decides, so scatter is carried through by
//! Monte Carlo (JCGM 101:2008), seeded. In: a model, duties at which nothing flowed. Out: an estimate in % of duty.
//! Never: the breakaway duty on the way up, which steady flows do not show.

use super::estimate::{Cause, Estimate, Part};
use super::model::{Condition, PairModel, Shift};
use super::terms::{At, Away, duty_of};
use crate::chance::{Seed, standard_normal};
use nalgebra::DVector;

/// Draws of the Monte Carlo.
const DRAWS: usize = 2000;
/// Seed of the draws: the same data give the same U.
const SEED: Seed = Seed(0x64_65_61_64);
/// Part of the distance from the lowest duty with flow to the dead band that the law may be off by, as a standard
/// uncertainty: friction rises as a motor slows to a stop (common practice, no source).
const BELOW_PART: f64 = 0.13;

/// Dead band of a nozzle at the reference supply into its bench outlet, %.
#[must_use]
pub fn dead_band(model: &PairModel, nozzle: usize) -> Option<Estimate> {
    let r = &model.reference;
    let condition = Condition {
        nozzles: vec![nozzle],
        duty: 0.0,
        supply_v: r.supply_v,
        out_kpa: r.out_range_kpa.0,
        away: Away::default(),
        k_factor: 1.0,
    };
    let root = |shift: Option<&Shift>| stall_voltage(model, &condition, shift);
    let x = root(None)?;
    let per_v = 100.0 / (r.supply_v + model.freewheel_v);
    let value = 100.0 * duty_of(x, r.supply_v, model.freewheel_v);
    let scatter = scatter(model, &condition, x) * per_v;
    let mut parts = vec![Part {
        cause: Cause::Scatter,
        u_source: None,
        u: scatter,
        dof: model.dof,
        rectangular: false,
        type_a: true,
    }];
    for s in &model.shifts {
        let moved = root(Some(s)).map_or(value, |x| {
            100.0 * duty_of(x, r.supply_v, model.freewheel_v + s.freewheel_v)
        });
        parts.push(Part {
            cause: s.cause.clone(),
            u_source: s.u_source,
            u: moved - value,
            dof: s.dof,
            rectangular: s.rectangular,
            type_a: s.type_a,
        });
    }
    let below = (100.0 * model.nozzles[nozzle].duty_range.0 - value).max(0.0);
    parts.push(Part {
        cause: Cause::Beyond,
        u_source: None,
        u: BELOW_PART * below,
        dof: f64::INFINITY,
        rectangular: false,
        type_a: false,
    });
    parts.retain(|p| p.u != 0.0);
    Some(Estimate::new(value, parts))
}

/// Effective voltage at which the pump's flow against the outlet is nothing, searched downwards from the lowest that
/// flowed.
fn stall_voltage(model: &PairModel, c: &Condition, shift: Option<&Shift>) -> Option<f64> {
    let free = |x: f64| {
        let at = At {
            effective_v: x,
            line_kpa: c.out_kpa,
            away: c.away,
        };
        let flow = model.surface.flow(&at);
        let moved = shift.map_or(0.0, |s| {
            model
                .surface
                .terms
                .iter()
                .zip(&s.coefficients)
                .map(|(t, d)| d * t.value(&at, &model.surface.scaling))
                .sum()
        });
        flow + moved
    };
    let (low, high) = model.surface.scaling.effective_v;
    let step = 0.02 * (high - low);
    let mut top = low;
    if free(top) <= 0.0 {
        top = high;
    }
    for i in 1..=60 {
        let bottom = top - step * f64::from(i);
        if free(bottom) <= 0.0 {
            let (mut a, mut b) = (bottom, bottom + step);
            for _ in 0..50 {
                let mid = 0.5 * (a + b);
                if free(mid) <= 0.0 { a = mid } else { b = mid }
            }
            return Some(0.5 * (a + b));
        }
    }
    None
}

/// Standard uncertainty of the stall voltage from scatter, V: half the interval that holds 95 % of the draws of level
/// and slope there, over 1.96.
fn scatter(model: &PairModel, c: &Condition, x: f64) -> f64 {
    let scaling = &model.surface.scaling;
    let step = 0.02 * (scaling.effective_v.1 - scaling.effective_v.0);
    let row = |x: f64| {
        let at = At {
            effective_v: x,
            line_kpa: c.out_kpa,
            away: c.away,
        };
        DVector::from_iterator(
            model.surface.terms.len(),
            model.surface.terms.iter().map(|t| t.value(&at, scaling)),
        )
    };
    let level = row(x);
    let slope = (row(x + step) - row(x - step)) / (2.0 * step);
    let mean: f64 = slope
        .iter()
        .zip(&model.surface.coefficients)
        .map(|(t, c)| t * c)
        .sum();
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
