//! The values a calibration publishes about a pair: coefficients of pump and nozzle, dead band, highest pressure.
//!
//! In: a fitted model. Out: estimates with their budgets. Never: a curve or a table.

use super::ask::Ask;
use super::blend::Blend;
use super::dead_band::dead_band;
use super::model::{Condition, PairModel};
use super::nozzle::NozzleFit;
use super::terms::{At, Away, Drive, LawTerm};
use crate::uncertainty::{Cause, Origin, Term, Uncertain};
use nalgebra::DVector;

/// Share of the evidence from which on a bypass is published.
const BYPASS_SHARE: f64 = 0.9;

/// Published values of the pump. Values hold at the reference supply and temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct PumpValues {
    /// Flow per volt of effective voltage without pressure, mean over the measured range, mL/min per V.
    pub displacement_ml_min_per_v: Uncertain,
    /// Effective voltage below which nothing flows, V.
    pub friction_v: Option<Uncertain>,
    /// Loss of flow per kPa of line pressure without the bypass, mean up to the highest pressure, mL/min per kPa.
    pub slip_ml_min_per_kpa: Uncertain,
    /// Opening pressure (gauge kPa) and slope (mL/min per kPa) of an internal bypass, where one was found.
    pub bypass: Option<(Uncertain, Uncertain)>,
}

/// Something linear in the coefficients, with its budget.
fn linear(model: &PairModel, row: &[f64]) -> Uncertain {
    let g = DVector::from_column_slice(row);
    let value = row.iter().zip(&model.surface.coefficients).map(|(r, c)| r * c).sum();
    let variance = (&model.covariance * &g).dot(&g).max(0.0);
    let mut terms = vec![Term::observed(Cause::Scatter, variance.sqrt(), model.dof)];
    let moved = |d: &[f64]| row.iter().zip(d).map(|(r, d)| r * d).sum();
    terms.extend(model.shifts.iter().map(|s| s.term(moved(&s.coefficients))));
    terms.retain(|t| t.u != 0.0);
    Uncertain::new(value, terms)
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
        let each = |f: &dyn Fn(&LawTerm) -> f64| model.surface.terms.iter().map(f).collect::<Vec<f64>>();
        let value = |t: &LawTerm, a: &At| t.value(a, scaling);
        let relief = |t: &LawTerm| matches!(t, LawTerm::Relief { .. });
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
fn friction_v(model: &PairModel) -> Option<Uncertain> {
    let band = dead_band(model, 0)?;
    let per_pct = (model.reference.supply_v + model.freewheel_v) / 100.0;
    let value = band.value * per_pct - model.freewheel_v;
    Some(band.scaled(per_pct).about(value))
}

/// Opening pressure of the bypass: weighed mean of the members', uncertain by their spread and by the gauge.
fn opening(model: &PairModel, blend: &Blend) -> Option<Uncertain> {
    let share = blend.bypass_share();
    if share < BYPASS_SHARE {
        return None;
    }
    let opens = blend.members.iter().filter_map(|m| m.extra.opening.map(|o| (m.weight / share, o)));
    let mean: f64 = opens.clone().map(|(w, o)| w * o.opens_kpa).sum();
    let spread: f64 =
        opens.map(|(w, o)| w * ((o.opens_kpa - mean).powi(2) + 0.25 * o.width_kpa.powi(2))).sum();
    let mut terms = vec![Term::observed(Cause::Scatter, spread.sqrt(), model.dof)];
    let common = model.shifts.iter().filter(|s| s.origin == Origin::Common);
    terms.extend(common.map(|s| s.term(-2.0 * s.ln_k.first().copied().unwrap_or(0.0) * mean)));
    terms.retain(|t| t.u != 0.0);
    Some(Uncertain::new(mean, terms))
}

/// Coefficient of a nozzle for the bench's liquid, mL/min per sqrt(kPa).
#[must_use]
pub fn nozzle_k(model: &PairModel, nozzle: usize) -> Uncertain {
    let k = model.nozzles[nozzle].k;
    let moved = model.shifts.iter().filter(|s| s.ln_k[nozzle] != 0.0);
    Uncertain::new(k, moved.map(|s| s.term(k * s.ln_k[nozzle])).collect())
}

/// Flow of a nozzle at a pressure across it by its own law, mL/min: what a rating is compared with.
#[must_use]
pub fn rated_flow(model: &PairModel, nozzle: usize, at_kpa: f64) -> Uncertain {
    nozzle_k(model, nozzle).times(at_kpa.max(0.0).sqrt())
}

/// Exponent of a nozzle's law, as measured.
#[must_use]
pub fn nozzle_exponent(fit: &NozzleFit) -> Uncertain {
    let x = &fit.exponent;
    let mut terms = vec![
        Term::observed(Cause::Nozzle(fit.name.as_str().into()), x.u_scatter, x.dof),
        Term::known(Cause::GaugeZero, x.u_zero),
    ];
    terms.retain(|t| t.u != 0.0);
    Uncertain::new(x.value, terms)
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
pub fn full_flow(model: &PairModel, nozzle: usize) -> Option<Uncertain> {
    model.flow_at(&on_the_bench(model, nozzle), 100.0).ok().map(|flow| flow.estimate)
}

/// Line pressure at full duty and reference conditions with a nozzle, gauge kPa: the highest of normal use. None where
/// no line pressure was measured.
#[must_use]
pub fn highest_pressure(model: &PairModel, nozzle: usize) -> Option<Uncertain> {
    if !model.reference.pressure_measured {
        return None;
    }
    let ask = on_the_bench(model, nozzle);
    let flow = model.flow_at(&ask, 100.0).ok()?.estimate;
    let c = Condition { duty: 1.0, ..model.place(&ask).ok()?.condition };
    let line = model.operate(&c).line_kpa;
    let drop = line - c.out_kpa;
    let terms = flow.terms.iter().map(|t| {
        // An error that moves flow and coefficient alike leaves the pressure as it is.
        let ln_k = model.shifts.iter().find(|s| s.cause == t.cause).map_or(0.0, |s| s.ln_k[nozzle]);
        t.at(2.0 * drop * (t.u / flow.value - ln_k))
    });
    Some(Uncertain::new(line, terms.collect()))
}
