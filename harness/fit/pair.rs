//! The whole fit of a pair: points, nozzles, pump, common errors.
//!
//! In: collections, their common errors, facts. Out: [`PairFit`], or a refusal with its reason. Never: files.

use super::blend::Blend;
use super::budget::{Budget, budgets};
use super::common_errors::{Refit, shifts};
use super::edges::Edges;
use super::facts::{FitRefusal, PairFacts};
use super::findings::findings;
use super::law::Choice;
use super::liquid::away;
use super::model::{NozzleLaw, PairModel, Reference};
use super::nozzle::{self, NozzleFit};
use super::points::{Points, points};
use super::pump_data::PumpData;
use super::second_opinion::SecondOpinion;
use super::store::{self, Origin};
use super::tables::Tables;
use super::terms::Away;
use crate::calibration::Calibration;
use crate::fluid::{Fluid, NumericsError};
use crate::reduce::collection::{Collection, Systematics};
use crate::reduce::finding::Finding;
use crate::uncertainty::Cause;

/// Line pressure at full flow that stands in where none was measured, kPa: a unit of account that cancels at bench
/// conditions.
const UNMEASURED_KPA: f64 = 500.0;

/// A fitted pair with what it came from.
#[derive(Clone, Debug)]
pub struct PairFit {
    /// What answers questions.
    pub model: PairModel,
    /// Fitted nozzles, in the order of the model's; none for one without pressures.
    pub nozzles: Vec<Option<NozzleFit>>,
    /// The blend of pump laws.
    pub blend: Blend,
    /// The points used.
    pub points: Points,
    /// The facts.
    pub facts: PairFacts,
    /// Which law in a few parameters the data ask for.
    pub choice: Option<Choice>,
    /// Second opinions, in the order of the nozzles.
    pub second: Vec<SecondOpinion>,
    /// Places among [`Points::flowing`] of collections that went wrong and have little weight.
    pub wrong: Vec<usize>,
    /// What ramps of the duty showed.
    pub edges: Edges,
}

impl PairFit {
    /// `duty_flow.csv`, `flow_duty.csv`, `boost_flow.csv`, `boost_duty.csv`.
    #[must_use]
    pub fn tables(&self) -> Tables {
        Tables::new(&self.model)
    }

    /// The calibration file.
    #[must_use]
    pub fn calibration(&self, origin: &Origin) -> Calibration {
        store::calibration(self, origin)
    }

    /// What a person should know.
    #[must_use]
    pub fn findings(&self) -> Vec<Finding> {
        findings(self)
    }

    /// Budgets of published results.
    #[must_use]
    pub fn budgets(&self) -> Vec<Budget> {
        budgets(self)
    }
}

/// Fits a pair.
///
/// # Errors
/// A refusal, where the data do not carry a fit.
pub fn fit(
    collections: &[Collection],
    systematics: &Systematics,
    facts: &PairFacts,
) -> Result<PairFit, FitRefusal> {
    let mut points = points(collections)?;
    let u_zero = systematics.u(&Cause::GaugeZero).hypot(systematics.u(&Cause::TapHeight));
    let nozzles = nozzle::fit(&points, u_zero);
    let k: Vec<f64> = nozzles
        .iter()
        .map(|n| n.as_ref().map_or(points.highest_flow / UNMEASURED_KPA.sqrt(), |n| n.k))
        .collect();
    let away = distances(&points, facts)?;
    points.flowing.iter_mut().zip(&away).for_each(|(p, a)| p.away = *a);
    let freewheel_v = facts.freewheel_v.0;
    let mut data = PumpData::new(&points, &k, freewheel_v, &away);
    let (blend, wrong) = Blend::new(&mut data).ok_or_else(|| FitRefusal::Degenerate {
        what: "the pump's displacement, friction and slip".into(),
    })?;
    let refit = Refit {
        points: &points,
        data: &data,
        away: &away,
        blend: &blend,
        nozzles: &nozzles,
        k: &k,
        freewheel_v,
        wrong: &wrong,
        u_zero_kpa: u_zero,
    };
    let shifts = shifts(&refit, systematics);
    let mut model = PairModel {
        surface: blend.surface.clone(),
        covariance: blend.covariance.clone(),
        dof: blend.dof,
        freewheel_v,
        nozzles: laws(&points, &k),
        shifts,
        reference: reference(&points, &data, &nozzles, facts),
    };
    let second: Vec<SecondOpinion> =
        (0..k.len()).map(|j| SecondOpinion::new(&model, &points, j, blend.scatter_ml_min)).collect();
    for (law, opinion) in model.nozzles.iter_mut().zip(&second) {
        law.widening.clone_from(&opinion.widening);
    }
    Ok(PairFit {
        choice: Choice::new(&data, &blend),
        model,
        nozzles,
        blend,
        points,
        facts: facts.clone(),
        second,
        edges: Edges::default(),
        wrong,
    })
}

/// How far each point is from the reference; at it where no temperature was measured.
fn distances(points: &Points, facts: &PairFacts) -> Result<Vec<Away>, FitRefusal> {
    let outside = |step, e: NumericsError| FitRefusal::Impossible { step, what: e.to_string() };
    let fluid = Fluid::new(facts.methanol_mass_fraction).map_err(|e| outside(0, e))?;
    points
        .flowing
        .iter()
        .map(|p| match p.water_degc.or(points.mean_water_degc) {
            None => Ok(Away::default()),
            Some(degc) => away(fluid, fluid, degc).map_err(|e| outside(p.step, e)),
        })
        .collect()
}

fn laws(points: &Points, k: &[f64]) -> Vec<NozzleLaw> {
    let ends = |values: &[f64]| {
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)))
    };
    (0..k.len())
        .map(|j| {
            let groups = points.groups.iter().filter(|g| g.nozzle == j);
            let flows: Vec<f64> = groups.clone().map(|g| g.flow).collect();
            let mut duties: Vec<f64> = groups.map(|g| g.duty).collect();
            duties.sort_by(f64::total_cmp);
            NozzleLaw {
                name: points.nozzles[j].clone(),
                k: k[j],
                flow_range: ends(&flows),
                duty_range: ends(&duties),
                duties,
                widening: Vec::new(),
            }
        })
        .collect()
}

fn reference(
    points: &Points,
    data: &PumpData,
    nozzles: &[Option<NozzleFit>],
    facts: &PairFacts,
) -> Reference {
    let ends = |f: &dyn Fn(usize) -> f64| {
        (0..points.flowing.len())
            .map(f)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
    };
    Reference {
        supply_v: points.mean_supply_v,
        supply_range_v: ends(&|i| points.flowing[i].supply_v),
        water_degc: points.mean_water_degc,
        line_range_kpa: ends(&|i| {
            let d = &data.points[i];
            d.outlet.out_kpa + (d.flow / d.outlet.k).powi(2)
        }),
        out_range_kpa: ends(&|i| points.flowing[i].out_kpa),
        pressure_measured: nozzles.iter().all(Option::is_some),
        methanol_mass_fraction: facts.methanol_mass_fraction,
        pwm_hz: facts.pwm_hz,
        check_valve_kpa: facts.check_valve_kpa,
    }
}
