//! Errors common to all data, carried into the fit: what the model would be if one of them were off by its standard
//! uncertainty.
//!
//! The data are moved by one standard uncertainty of one source, and refitted with members and weights as they were.
//! Such an error is not fitted, does not shrink with the number of points, and stays apart from scatter up to the final
//! table. In: points, systematics, the fitted blend. Out: [`Shift`]s. Never: scatter.

use super::blend::Blend;
use super::model::Shift;
use super::nozzle::{self, NozzleFit};
use super::points::{Point, Points};
use super::prior::{DROOP, LEAK_SHARE, LEVEL, Warmth};
use super::pump_data::PumpData;
use super::terms::Away;
use crate::reduce::collection::{Systematic, Systematics};
use crate::uncertainty::{Cause, Origin, Shape};

/// What a refit needs.
pub struct Refit<'a> {
    /// The points as measured.
    pub points: &'a Points,
    /// The pump's data as measured.
    pub data: &'a PumpData,
    /// How far each point is from the reference.
    pub away: &'a [Away],
    /// The fitted blend.
    pub blend: &'a Blend,
    /// Fitted nozzles.
    pub nozzles: &'a [Option<NozzleFit>],
    /// Nozzle coefficients as used.
    pub k: &'a [f64],
    /// Free-wheel voltage, V.
    pub freewheel_v: f64,
    /// Collections that have little weight.
    pub wrong: &'a [usize],
    /// Standard uncertainty of the gauge's zero, with height, kPa.
    pub u_zero_kpa: f64,
}

/// Every source's shift.
#[must_use]
pub fn shifts(refit: &Refit<'_>, systematics: &Systematics) -> Vec<Shift> {
    let Some(base) = refit.blend.refit(refit.data, Warmth::SUPPOSED) else {
        return Vec::new();
    };
    let mut shifts = Vec::new();
    for s in systematics.0.iter().filter(|s| s.u() > 0.0) {
        if matches!(s.cause, Cause::GaugeZero | Cause::TapHeight) {
            continue;
        }
        let ln_k = moved_k(refit, s);
        let freewheel_v = if s.cause == Cause::Freewheel { s.u() } else { 0.0 };
        let moved = moved(refit.points, s);
        if let Some(shift) = shift(refit, &base, &moved, ln_k, freewheel_v) {
            shifts.push(Shift {
                cause: s.cause.clone(),
                of_cause: Some(s.u()),
                shape: s.bound.shape(),
                ..shift
            });
        }
    }
    shifts.extend(zero_shift(refit, &base, systematics));
    shifts.extend(nozzle_shifts(refit, &base));
    shifts.extend(warmth_shifts(refit, &base));
    shifts
}

/// The points with every value moved by one standard uncertainty of a source.
fn moved(points: &Points, s: &Systematic) -> Points {
    let mut points = points.clone();
    let (u, up) = (s.u(), 1.0 + s.u());
    let each: &dyn Fn(&mut Point) = match s.cause {
        Cause::ScaleGain | Cause::ClockGain | Cause::Density | Cause::Capture => &|p| p.flow *= up,
        Cause::GaugeGain | Cause::TapLoss => &|p| p.line_kpa = p.line_kpa.map(|l| l * up),
        Cause::GaugeZero | Cause::TapHeight => &|p| p.line_kpa = p.line_kpa.map(|l| l + u),
        Cause::BackGaugeZero => &|p| p.out_kpa += u,
        Cause::SupplyGain => &|p| p.supply_v *= up,
        Cause::SupplyZero => &|p| p.supply_v += u,
        Cause::DutyZero => &|p| p.duty += u / 100.0,
        Cause::DutyGain => &|p| p.duty *= up,
        _ => &|_| (),
    };
    points.flowing.iter_mut().for_each(each);
    points
}

/// Relative change of every nozzle's coefficient for one standard uncertainty of a source.
fn moved_k(refit: &Refit<'_>, s: &Systematic) -> Vec<f64> {
    let per = match s.cause {
        Cause::ScaleGain | Cause::ClockGain | Cause::Density | Cause::Capture => s.u(),
        Cause::GaugeGain | Cause::TapLoss => -0.5 * s.u(),
        Cause::BackGaugeZero => {
            let moved = nozzle::fit(&moved(refit.points, s), refit.u_zero_kpa);
            return moved
                .iter()
                .zip(refit.nozzles)
                .map(|(m, n)| m.as_ref().zip(n.as_ref()).map_or(0.0, |(m, n)| (m.k / n.k).ln()))
                .collect();
        }
        _ => 0.0,
    };
    // Without a measured pressure the coefficient is a unit of account, and no error moves it.
    refit.nozzles.iter().map(|n| if n.is_some() { per } else { 0.0 }).collect()
}

fn shift(refit: &Refit<'_>, base: &[f64], moved: &Points, ln_k: Vec<f64>, freewheel_v: f64) -> Option<Shift> {
    let k: Vec<f64> = refit.k.iter().zip(&ln_k).map(|(k, d)| k * d.exp()).collect();
    let mut data = PumpData::new(moved, &k, refit.freewheel_v + freewheel_v, refit.away);
    data.scaling = refit.data.scaling;
    data.mistrust(refit.wrong);
    let kept = refit.data.about.iter().zip(refit.data.means.iter().zip(&data.means));
    data.about = kept.map(|(q, (was, is))| q * is.flow / was.flow).collect();
    let coefficients = refit.blend.refit(&data, Warmth::SUPPOSED)?;
    Some(Shift {
        cause: Cause::Scatter,
        of_cause: None,
        shape: Shape::Normal,
        origin: Origin::Common,
        coefficients: coefficients.iter().zip(base).map(|(c, b)| c - b).collect(),
        ln_k,
        freewheel_v,
    })
}

/// The gauge's zero, as far as the nozzle's own law has not told it.
fn zero_shift(refit: &Refit<'_>, base: &[f64], systematics: &Systematics) -> Option<Shift> {
    let stated = systematics.0.iter().find(|s| s.cause == Cause::GaugeZero);
    let u = refit.u_zero_kpa;
    if u <= 0.0 {
        return None;
    }
    let ln_k: Vec<f64> = refit.nozzles.iter().map(|n| n.as_ref().map_or(0.0, |n| n.per_zero)).collect();
    let shift = shift(refit, base, refit.points, ln_k, 0.0)?;
    Some(Shift {
        cause: Cause::GaugeZero,
        of_cause: Some(u),
        // The nozzle's own law tells part of it: what is left is no longer a rectangle.
        shape: Shape::of_dof(stated.map_or(f64::INFINITY, |s| s.bound.shape().dof())),
        ..shift
    })
}

/// Each nozzle's own scatter.
fn nozzle_shifts(refit: &Refit<'_>, base: &[f64]) -> Vec<Shift> {
    let mut shifts = Vec::new();
    for (j, nozzle) in refit.nozzles.iter().enumerate() {
        let Some(nozzle) = nozzle else { continue };
        let mut ln_k = vec![0.0; refit.k.len()];
        ln_k[j] = nozzle.u_scatter;
        if let Some(shift) = shift(refit, base, refit.points, ln_k, 0.0) {
            shifts.push(Shift {
                cause: Cause::Nozzle(nozzle.name.as_str().into()),
                of_cause: Some(nozzle.u_scatter),
                shape: Shape::of_dof(nozzle.dof),
                origin: Origin::Random,
                ..shift
            });
        }
    }
    shifts
}

/// What is supposed of leakage and winding, where the data do not tell.
fn warmth_shifts(refit: &Refit<'_>, base: &[f64]) -> Vec<Shift> {
    if refit.data.tells_warmth() {
        return Vec::new();
    }
    let supposed = Warmth::SUPPOSED;
    let leak = Warmth { leak_share: supposed.leak_share + LEAK_SHARE.1, ..supposed };
    let winding = Warmth { droop: supposed.droop + DROOP.1, level: supposed.level + LEVEL.1, ..supposed };
    [
        (Cause::LeakShare, leak, Some(LEAK_SHARE.1), Shape::Rectangle),
        (Cause::Winding, winding, None, Shape::Normal),
    ]
    .into_iter()
    .filter_map(|(cause, warmth, of_cause, shape)| {
        let moved = refit.blend.refit(refit.data, warmth)?;
        Some(Shift {
            cause,
            of_cause,
            shape,
            origin: Origin::Common,
            coefficients: moved.iter().zip(base).map(|(c, b)| c - b).collect(),
            ln_k: vec![0.0; refit.k.len()],
            freewheel_v: 0.0,
        })
    })
    .collect()
}
