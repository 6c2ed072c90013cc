//! The uncertainty budget: errors common to all collections, and how much each adds to a flow.
//!
//! In: what is known of the instruments and the liquid. Out: [`Systematics`], the capture and density factors that go
//! with them, and rows for the report. Limits are rectangular (JCGM 100:2008, 4.3.7); one-sided limits count with
//! their mean applied and their half-width. Never: a common error that shrinks with the number of collections.

use super::collection::{Collection, Systematic, Systematics};
use super::instruments::{ASSUMED, FROM_RIG, Instruments};
use crate::fluid::weighing::{WEIGHTS_KG_M3, buoyancy_factor};
use crate::fluid::{Fluid, NumericsError, air};
use crate::uncertainty::{Bound, Cause, Origin, Term, Uncertain};

/// Density of air may be off by this much where only ambient pressure is known, standard, kg/m3: 5 K and 30 % of
/// relative humidity.
const AIR_U_KG_M3: f64 = 0.025;
/// Dissolved salts of tap water, limits, fraction of density (tens to hundreds of ppm).
const SALTS: f64 = 1e-4;
/// Standard gravity, m/s2.
const GRAVITY_M_S2: f64 = 9.806_65;

/// A line of the budget of a flow.
#[derive(Clone, Debug, PartialEq)]
pub struct BudgetRow {
    /// What it is, as a part of the flow in %.
    pub term: Term,
    /// Where it comes from.
    pub from: String,
}

/// What turns a mass flow read on the scale into a volume flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conversion {
    /// mL/min for each g/s read.
    pub ml_min_per_g_s: f64,
    /// Density of the liquid in the cup, kg/m3.
    pub density_kg_m3: f64,
    /// Relative standard uncertainty of density and buoyancy together.
    pub density_u: f64,
}

/// The conversion at a water temperature and an ambient pressure (absolute).
///
/// # Errors
/// `OutOfRange` where temperature, pressure or mix lie outside the range of the formulas.
pub fn conversion(known: &Instruments, degc: f64, ambient_kpa: f64) -> Result<Conversion, NumericsError> {
    let fluid = Fluid::new(known.methanol)?;
    let density = fluid.density_kg_m3(degc, 0.0)?;
    let air_kg_m3 = air::density_kg_m3(ambient_kpa, degc, 50.0)?.value;
    let buoyancy = buoyancy_factor(air_kg_m3, density.value, WEIGHTS_KG_M3);
    let captured = 1.0 - mean(known.mist) - mean(known.leak);
    let u = [
        density.u / density.value,
        fluid.expansion_per_k(degc)? * known.water_degc.1,
        SALTS / 3.0_f64.sqrt(),
        AIR_U_KG_M3 * (1.0 / density.value - 1.0 / WEIGHTS_KG_M3),
    ];
    Ok(Conversion {
        ml_min_per_g_s: 60e3 * buoyancy / density.value / captured,
        density_kg_m3: density.value,
        density_u: u.iter().fold(0.0, |sum: f64, u| sum.hypot(*u)),
    })
}

fn mean((low, high): (f64, f64)) -> f64 {
    0.5 * (low + high)
}

/// Half the width of limits, as a standard uncertainty.
fn half_width((low, high): (f64, f64)) -> f64 {
    0.5 * (high - low) / 3.0_f64.sqrt()
}

/// A gauge reading, kPa, brought to the nozzle: the mean of the limits of the loss between them, and their heights.
#[must_use]
pub fn at_nozzle_kpa(known: &Instruments, line_kpa: f64, density_kg_m3: f64) -> f64 {
    line_kpa * (1.0 - mean(known.tap_loss)) + height_kpa(known, density_kg_m3)
}

/// The water between the gauge and the nozzle below it, kPa.
#[must_use]
pub fn height_kpa(known: &Instruments, density_kg_m3: f64) -> f64 {
    density_kg_m3 * GRAVITY_M_S2 * known.tap_height_m.0 * 1e-3
}

/// Every error common to a data set; `back` says whether back pressure was measured, `density_u` comes from
/// [`conversion`].
#[must_use]
pub fn systematics(known: &Instruments, density_kg_m3: f64, density_u: f64, back: bool) -> Systematics {
    let mut all = Vec::new();
    let mut add = |cause, bound: Bound, from| {
        if bound.standard() > 0.0 {
            all.push(Systematic { cause, bound, from });
        }
    };
    let exact = |u: f64| Bound::Standard(u, f64::INFINITY);
    add(Cause::ScaleGain, known.scale.gain, known.scale.from);
    add(Cause::ClockGain, known.clock, known.from);
    add(Cause::GaugeZero, known.gauge.zero, known.gauge.from);
    add(Cause::GaugeGain, known.gauge.gain, known.gauge.from);
    if back {
        add(Cause::BackGaugeZero, known.back.zero, known.back.from);
    }
    add(Cause::SupplyGain, known.supply.gain, known.supply.from);
    add(Cause::SupplyZero, known.supply.zero, known.supply.from);
    add(Cause::DutyZero, known.duty.zero, known.duty.from);
    add(Cause::DutyGain, known.duty.gain, known.duty.from);
    add(Cause::Density, exact(density_u), "temperature, salts, air and formula");
    add(Cause::Capture, exact(half_width(known.mist).hypot(half_width(known.leak))), known.from);
    add(Cause::Freewheel, exact(known.freewheel_v.1), known.from);
    add(Cause::TapLoss, Bound::Limits(0.5 * (known.tap_loss.1 - known.tap_loss.0)), known.from);
    add(Cause::TapHeight, exact(density_kg_m3 * GRAVITY_M_S2 * known.tap_height_m.1 * 1e-3), known.from);
    Systematics(all)
}

/// The budget of a typical flow: the good collection of median flow.
#[must_use]
pub fn rows(collections: &[Collection], systematics: &Systematics) -> Vec<BudgetRow> {
    let mut good: Vec<&Collection> =
        collections.iter().filter(|c| c.void.is_none() && c.flow_ml_min > 0.0).collect();
    good.sort_by(|a, b| a.flow_ml_min.total_cmp(&b.flow_ml_min));
    let Some(typical) = good.get(good.len() / 2) else {
        return Vec::new();
    };
    let per_cent = 100.0 / typical.flow_ml_min;
    let flow = flow(typical, systematics);
    let rows = flow.terms.iter().map(|t| {
        let common = systematics.0.iter().find(|s| s.cause == t.cause && t.origin == Origin::Common);
        let from = match common {
            None => format!("readings at {:.0} mL/min", typical.flow_ml_min),
            Some(s) if matches!(s.from, FROM_RIG | ASSUMED) && matches!(s.bound, Bound::Limits(_)) => {
                format!("{}, limits", s.from)
            }
            Some(s) => s.from.to_owned(),
        };
        BudgetRow { term: t.times(per_cent), from }
    });
    rows.collect()
}

/// A flow, mL/min: the random part of the collection and every common error of flow.
#[must_use]
pub fn flow(collection: &Collection, systematics: &Systematics) -> Uncertain {
    let value = collection.flow_ml_min;
    let mut terms = vec![Term::observed(Cause::Readings, collection.flow_random_ml_min, collection.flow_dof)];
    let relative =
        |c: &Cause| matches!(c, Cause::ScaleGain | Cause::ClockGain | Cause::Density | Cause::Capture);
    let common = systematics.0.iter().filter(|s| relative(&s.cause));
    terms.extend(common.filter_map(|s| s.bound.term(s.cause.clone(), value)));
    Uncertain::new(value, terms)
}
