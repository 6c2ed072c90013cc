//! The uncertainty budget: errors common to all collections, and how much each adds to a flow.
//!
//! In: what is known of the instruments and the liquid. Out: [`Systematics`], the capture and density factors that go
//! with them, and rows for the report. Limits are rectangular (JCGM 100:2008, 4.3.7); one-sided limits count with
//! their mean applied and their half-width. Never: a common error that shrinks with the number of collections.

use super::collection::{Collection, Source, Systematic, Systematics};
use super::instruments::{ASSUMED, FROM_RIG, Instruments};
use crate::fluid::weighing::{WEIGHTS_KG_M3, buoyancy_factor};
use crate::fluid::{Fluid, NumericsError, air};
use crate::script::rig::Bound;

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
    /// What it is.
    pub source: String,
    /// `A` (statistics) or `B` (statements).
    pub kind: char,
    /// Standard uncertainty as a part of the flow, %.
    pub of_flow_pct: f64,
    /// Degrees of freedom; none for infinite.
    pub dof: Option<f64>,
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
    let mut add = |source, bound: Bound, from| {
        let (u, dof, rectangular) = match bound {
            Bound::None => (0.0, f64::INFINITY, false),
            Bound::Limits(_) => (bound.standard(), f64::INFINITY, true),
            Bound::Standard(u, dof) => (u, dof, false),
        };
        if u > 0.0 {
            all.push(Systematic { source, u, dof, rectangular, from });
        }
    };
    let exact = |u: f64| Bound::Standard(u, f64::INFINITY);
    add(Source::ScaleGain, known.scale.gain, known.scale.from);
    add(Source::ClockGain, known.clock, known.from);
    add(Source::GaugeZero, known.gauge.zero, known.gauge.from);
    add(Source::GaugeGain, known.gauge.gain, known.gauge.from);
    if back {
        add(Source::BackGaugeZero, known.back.zero, known.back.from);
    }
    add(Source::SupplyGain, known.supply.gain, known.supply.from);
    add(Source::SupplyZero, known.supply.zero, known.supply.from);
    add(Source::DutyZero, known.duty.zero, known.duty.from);
    add(Source::DutyGain, known.duty.gain, known.duty.from);
    add(Source::Density, exact(density_u), "temperature, salts, air and formula");
    add(Source::Capture, exact(half_width(known.mist).hypot(half_width(known.leak))), known.from);
    add(Source::Freewheel, exact(known.freewheel_v.1), known.from);
    add(Source::TapLoss, Bound::Limits(0.5 * (known.tap_loss.1 - known.tap_loss.0)), known.from);
    add(Source::TapHeight, exact(density_kg_m3 * GRAVITY_M_S2 * known.tap_height_m.1 * 1e-3), known.from);
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
    let mut rows = vec![BudgetRow {
        source: format!("scatter within a collection at {:.0} mL/min", typical.flow_ml_min),
        kind: 'A',
        of_flow_pct: 100.0 * typical.flow_random_ml_min / typical.flow_ml_min,
        dof: typical.flow_dof.is_finite().then_some(typical.flow_dof),
        from: String::from("readings"),
    }];
    let named = |source| match source {
        Source::ScaleGain => Some("gain of the scale"),
        Source::ClockGain => Some("rate of the clock"),
        Source::Density => Some("density and buoyancy"),
        Source::Capture => Some("mist and leak before the nozzle"),
        _ => None,
    };
    rows.extend(systematics.0.iter().filter_map(|s| {
        Some(BudgetRow {
            source: named(s.source)?.to_owned(),
            kind: 'B',
            of_flow_pct: 100.0 * s.u,
            dof: s.dof.is_finite().then_some(s.dof),
            from: if matches!(s.from, FROM_RIG | ASSUMED) && s.rectangular {
                format!("{}, limits", s.from)
            } else {
                s.from.to_owned()
            },
        })
    }));
    rows
}

/// Expanded uncertainty of a flow at 95 %, mL/min: the random part of the collection and every common error of flow.
#[must_use]
pub fn flow_u95(collection: &Collection, systematics: &Systematics) -> f64 {
    use crate::numerics::gum::{Term, combine};
    let common = [Source::ScaleGain, Source::ClockGain, Source::Density, Source::Capture];
    let mut terms = vec![Term::new(collection.flow_random_ml_min, collection.flow_dof)];
    let of = |s: &&Systematic| common.contains(&s.source);
    terms.extend(systematics.0.iter().filter(of).map(|s| Term::new(s.u * collection.flow_ml_min, s.dof)));
    combine(&terms).u95()
}
