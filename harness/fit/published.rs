//! The values a calibration publishes about a pair: coefficients of pump and nozzle, dead band, highest pressure.
//!
//! In: a fitted model. Out: estimates with their budgets. Never: a curve or a table.

use super::ask::Ask;
use super::blend::Blend;
use super::dead_band::dead_band;
use super::estimate::{Cause, Estimate, Part};
use super::model::{Condition, PairModel};
use super::nozzle::NozzleFit;
use super::terms::{At, Away, Drive, Term};
use nalgebra::DVector;

/// Share of the evidence from which on a bypass is published.
const BYPASS_SHARE: f64 = 0.9;

/// Published values of the pump. Values hold at the reference supply and temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpValues {
    /// Flow per volt of effective voltage without pressure, mean over the measured range, mL/min per V.
    pub displacement_ml_min_per_v: Estimate,
    /// Effective voltage below which nothing flows, V.
    pub friction_v: Option<Estimate>,
    /// Loss of flow per kPa of line pressure without the bypass, mean up to the highest pressure, mL/min per kPa.
    pub slip_ml_min_per_kpa: Estimate,
    /// Opening pressure (gauge kPa) and slope (mL/min per kPa) of an internal bypass, where one was found.
    pub bypass: Option<(Estimate, Estimate)>,
}

fn part(cause: Cause, u: f64, dof: f64, type_a: bool) -> Part {
    Part { cause, u_source: None, u, dof, rectangular: false, type_a }
}

/// Something linear in the coefficients, with its budget.
fn linear(model: &PairModel, row: &[f64]) -> Estimate {
    let g = DVector::from_column_slice(row);
    let value = row.iter().zip(&model.surface.coefficients).map(|(r, c)| r * c).sum();
    let variance = (&model.covariance * &g).dot(&g).max(0.0);
    let mut parts = vec![part(Cause::Scatter, variance.sqrt(), model.dof, true)];
    for s in &model.shifts {
        parts.push(Part {
            cause: s.cause.clone(),
            u_source: s.u_source,
            u: row.iter().zip(&s.coefficients).map(|(r, d)| r * d).sum(),
            dof: s.dof,
            rectangular: s.rectangular,
            type_a: s.type_a,
        });
    }
    parts.retain(|p| p.u != 0.0);
    Estimate::new(value, parts)
}

impl PumpValues {
    /// From a fitted model.
    #[must_use]
    pub fn new(model: &PairModel, blend: &Blend) -> Self {
        let scaling = &model.surface.scaling;
        let (low, high) = scaling.effective_v;
        let drive = Drive { duty: 1.0, supply_v: model.reference.supply_v, freewheel_v: model.freewheel_v };
        let at = |effective_v, line_kpa| At {
            drive: drive.with_effective_v(effective_v),
            line_kpa,
            away: Away::default(),
        };
        let each = |f: &dyn Fn(&Term) -> f64| model.surface.terms.iter().map(f).collect::<Vec<f64>>();
        let value = |t: &Term, a: &At| t.value(a, scaling);
        let relief = |t: &Term| matches!(t, Term::Relief { .. });
        let (top, mid) = (scaling.pressure_kpa, 0.5 * (low + high));
        let rise = each(&|t| (value(t, &at(high, 0.0)) - value(t, &at(low, 0.0))) / (high - low));
        let slip = each(&|t| {
            if relief(t) { 0.0 } else { (value(t, &at(mid, 0.0)) - value(t, &at(mid, top))) / top }
        });
        let slope = each(&|t| {
            if relief(t) { 1.0 / scaling.pressure_kpa } else { 0.0 }
        });
        PumpValues {
            displacement_ml_min_per_v: linear(model, &rise),
            friction_v: friction_v(model),
            slip_ml_min_per_kpa: linear(model, &slip),
            bypass: opening(model, blend).map(|opens| (opens, linear(model, &slope))),
        }
    }
}

/// The effective voltage of the dead band.
fn friction_v(model: &PairModel) -> Option<Estimate> {
    let band = dead_band(model, 0)?;
    let per_pct = (model.reference.supply_v + model.freewheel_v) / 100.0;
    let parts = band.parts.into_iter().map(|p| Part { u: p.u * per_pct, ..p }).collect();
    Some(Estimate::new(band.value * per_pct - model.freewheel_v, parts))
}

/// Opening pressure of the bypass: weighed mean of the members', uncertain by their spread and by the gauge.
fn opening(model: &PairModel, blend: &Blend) -> Option<Estimate> {
    let share = blend.bypass_share();
    if share < BYPASS_SHARE {
        return None;
    }
    let opens = blend.members.iter().filter_map(|m| m.extra.opening.map(|o| (m.weight / share, o)));
    let mean: f64 = opens.clone().map(|(w, o)| w * o.opens_kpa).sum();
    let spread: f64 =
        opens.map(|(w, o)| w * ((o.opens_kpa - mean).powi(2) + 0.25 * o.width_kpa.powi(2))).sum();
    let mut parts = vec![part(Cause::Scatter, spread.sqrt(), model.dof, true)];
    for s in &model.shifts {
        let ln_k = s.ln_k.first().copied().unwrap_or(0.0);
        if ln_k != 0.0 && matches!(s.cause, Cause::Common(_)) {
            parts.push(Part { u: -2.0 * ln_k * mean, ..part(s.cause.clone(), 0.0, s.dof, s.type_a) });
        }
    }
    Some(Estimate::new(mean, parts))
}

/// Coefficient of a nozzle for the bench's liquid, mL/min per sqrt(kPa).
#[must_use]
pub fn nozzle_k(model: &PairModel, nozzle: usize) -> Estimate {
    let k = model.nozzles[nozzle].k;
    let parts = model
        .shifts
        .iter()
        .filter(|s| s.ln_k[nozzle] != 0.0)
        .map(|s| Part {
            cause: s.cause.clone(),
            u_source: s.u_source,
            u: k * s.ln_k[nozzle],
            dof: s.dof,
            rectangular: s.rectangular,
            type_a: s.type_a,
        })
        .collect();
    Estimate::new(k, parts)
}

/// Flow of a nozzle at a pressure across it by its own law, mL/min: what a rating is compared with.
#[must_use]
pub fn rated_flow(model: &PairModel, nozzle: usize, at_kpa: f64) -> Estimate {
    let k = nozzle_k(model, nozzle);
    let root = at_kpa.max(0.0).sqrt();
    Estimate::new(k.value * root, k.parts.into_iter().map(|p| Part { u: p.u * root, ..p }).collect())
}

/// Exponent of a nozzle's law, as measured.
#[must_use]
pub fn nozzle_exponent(fit: &NozzleFit) -> Estimate {
    let x = &fit.exponent;
    let zero = Cause::Common(crate::reduce::collection::Source::GaugeZero);
    let mut parts = vec![
        part(Cause::Nozzle(fit.name.clone()), x.u_scatter, x.dof, true),
        part(zero, x.u_zero, f64::INFINITY, false),
    ];
    parts.retain(|p| p.u != 0.0);
    Estimate::new(x.value, parts)
}

/// A nozzle at the bench's outlet pressure, at reference conditions.
fn on_the_bench(model: &PairModel, nozzle: usize) -> Ask {
    Ask {
        nozzle: Some(model.nozzles[nozzle].name.clone()),
        boost_kpa: model.reference.out_range_kpa.0,
        ..Ask::default()
    }
}

/// Flow at full duty and reference conditions with a nozzle, mL/min.
#[must_use]
pub fn full_flow(model: &PairModel, nozzle: usize) -> Option<Estimate> {
    model.flow_at(&on_the_bench(model, nozzle), 100.0).ok().map(|flow| flow.estimate)
}

/// Line pressure at full duty and reference conditions with a nozzle, gauge kPa: the highest of normal use. None where
/// no line pressure was measured.
#[must_use]
pub fn highest_pressure(model: &PairModel, nozzle: usize) -> Option<Estimate> {
    if !model.reference.pressure_measured {
        return None;
    }
    let ask = on_the_bench(model, nozzle);
    let flow = model.flow_at(&ask, 100.0).ok()?.estimate;
    let c = Condition { duty: 1.0, ..model.place(&ask).ok()?.condition };
    let line = model.operate(&c).line_kpa;
    let drop = line - c.out_kpa;
    let parts = flow.parts.into_iter().map(|p| {
        // An error that moves flow and coefficient alike leaves the pressure as it is.
        let ln_k = model.shifts.iter().find(|s| s.cause == p.cause).map_or(0.0, |s| s.ln_k[nozzle]);
        Part { u: 2.0 * drop * (p.u / flow.value - ln_k), ..p }
    });
    Some(Estimate::new(line, parts.collect()))
}
