//! The tables of a calibration: duty to flow, flow to duty, and both over boost.
//!
//! In: a fitted pair. Out: rows, and their CSV (RFC 4180, fixed decimals, empty = missing). Never: a corrected flow
//! with the narrow U of a measured one.

use super::ask::{Ask, Basis, Refusal};
use super::model::PairModel;
use crate::table::{Cell, Sheet};

/// Boost of the tables, kPa: from manifold vacuum to well above what road engines see.
const BOOST_KPA: std::ops::RangeInclusive<i32> = -60..=200;
/// A whole duty this near to the range measured belongs to it, %: a read-back has noise about its ends.
const SAME_DUTY_PCT: f64 = 0.25;
/// Step of boost, kPa.
const BOOST_STEP_KPA: usize = 20;
/// Step of duty in the table over boost, %.
const DUTY_STEP_PCT: usize = 5;
/// Rows of `flow_duty.csv` at about this many flows.
const FLOWS: f64 = 40.0;
/// Rows of `boost_duty.csv` at about this many flows.
const BOOST_FLOWS: f64 = 20.0;

/// A row of `duty_flow.csv` or `boost_flow.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct FlowRow {
    /// Nozzle.
    pub nozzle: String,
    /// Duty, %.
    pub duty_pct: f64,
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Flow, mL/min.
    pub flow_ml_min: f64,
    /// U at 95 %, mL/min.
    pub u95_ml_min: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// How it stands to what was measured.
    pub basis: Basis,
}

/// A row of `flow_duty.csv` or `boost_duty.csv`.
#[derive(Clone, Debug, PartialEq)]
pub struct DutyRow {
    /// Nozzle.
    pub nozzle: String,
    /// Flow, mL/min.
    pub flow_ml_min: f64,
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Duty with U, %, and how it stands to what was measured; none where the flow is out of reach.
    pub duty: Option<(f64, f64, Basis)>,
}

/// All four tables.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tables {
    /// `duty_flow.csv`.
    pub duty_flow: Vec<FlowRow>,
    /// `flow_duty.csv`.
    pub flow_duty: Vec<DutyRow>,
    /// `boost_flow.csv`; empty where line pressure was not measured.
    pub boost_flow: Vec<FlowRow>,
    /// `boost_duty.csv`; empty where line pressure was not measured.
    pub boost_duty: Vec<DutyRow>,
}

impl Tables {
    /// The tables of a fitted pair.
    #[must_use]
    pub fn new(model: &PairModel) -> Self {
        let mut tables = Tables::default();
        for (index, law) in model.nozzles.iter().enumerate() {
            let ask = |boost_kpa| Ask { nozzle: Some(law.name.clone()), boost_kpa, ..Ask::default() };
            let bench = model.reference.out_range_kpa.0;
            let (low, high) =
                (100.0 * law.duty_range.0 - SAME_DUTY_PCT, 100.0 * law.duty_range.1 + SAME_DUTY_PCT);
            let duties = (low.ceil() as i64..=high.floor() as i64).map(|d| d as f64);
            tables.duty_flow.extend(duties.filter_map(|d| flow_row(model, &ask(bench), index, d)));
            let flows = steps(law.flow_range, FLOWS);
            tables.flow_duty.extend(flows.filter_map(|q| duty_row(model, &ask(bench), index, q)));
            if !model.reference.pressure_measured {
                continue;
            }
            for boost in BOOST_KPA.step_by(BOOST_STEP_KPA).map(f64::from) {
                let duties = (DUTY_STEP_PCT..=100).step_by(DUTY_STEP_PCT).map(|d| d as f64);
                tables.boost_flow.extend(duties.filter_map(|d| flow_row(model, &ask(boost), index, d)));
                let flows = steps((0.0, law.flow_range.1), BOOST_FLOWS);
                tables.boost_duty.extend(flows.filter_map(|q| duty_row(model, &ask(boost), index, q)));
            }
        }
        tables
    }

    /// The files by name, as CSV.
    #[must_use]
    pub fn files(&self) -> [(&'static str, String); 4] {
        [
            ("duty_flow.csv", duty_flow_csv(&self.duty_flow)),
            ("flow_duty.csv", flow_duty_csv(&self.flow_duty)),
            ("boost_flow.csv", boost_flow_csv(&self.boost_flow)),
            ("boost_duty.csv", boost_duty_csv(&self.boost_duty)),
        ]
    }
}

/// Round flows over a range: steps of 1, 2 or 5 times a power of ten, about `count` of them.
fn steps((low, high): (f64, f64), count: f64) -> impl Iterator<Item = f64> {
    let rough = (high - low).max(1e-9) / count;
    let power = 10.0_f64.powf(rough.log10().floor());
    let step =
        [1.0, 2.0, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough).unwrap_or(10.0 * power);
    let first = (low / step).ceil().max(1.0) as i64;
    (first..=(high / step).floor() as i64).map(move |i| i as f64 * step)
}

fn flow_row(model: &PairModel, ask: &Ask, nozzle: usize, duty_pct: f64) -> Option<FlowRow> {
    let answer = model.flow_at(ask, duty_pct).ok()?;
    Some(FlowRow {
        nozzle: model.nozzles[nozzle].name.clone(),
        duty_pct,
        boost_kpa: ask.boost_kpa,
        flow_ml_min: answer.estimate.value,
        u95_ml_min: answer.estimate.u95,
        dof: answer.estimate.dof,
        basis: answer.basis,
    })
}

fn duty_row(model: &PairModel, ask: &Ask, nozzle: usize, flow: f64) -> Option<DutyRow> {
    let duty = match model.duty_for(ask, flow) {
        Ok(a) => Some((a.estimate.value, a.estimate.u95, a.basis)),
        Err(Refusal::Unreachable { .. }) => None,
        Err(_) => return None,
    };
    Some(DutyRow {
        nozzle: model.nozzles[nozzle].name.clone(),
        flow_ml_min: flow,
        boost_kpa: ask.boost_kpa,
        duty,
    })
}

/// `nozzle, duty_pct, flow_ml_min, u95_ml_min, basis`.
#[must_use]
pub fn duty_flow_csv(rows: &[FlowRow]) -> String {
    let mut sheet = Sheet::new(&["nozzle", "duty_pct", "flow_ml_min", "u95_ml_min", "basis"]);
    for r in rows {
        let (flow, u95) = (Cell::Fixed(r.flow_ml_min, 3), Cell::Fixed(r.u95_ml_min, 3));
        let duty = Cell::Fixed(r.duty_pct, 2);
        sheet.row(&[Cell::Text(&r.nozzle), duty, flow, u95, Cell::Text(r.basis.word())]);
    }
    sheet.finish()
}

/// `nozzle, flow_ml_min, duty_pct, u95_pct, basis`.
#[must_use]
pub fn flow_duty_csv(rows: &[DutyRow]) -> String {
    let mut sheet = Sheet::new(&["nozzle", "flow_ml_min", "duty_pct", "u95_pct", "basis"]);
    for r in rows {
        let [duty, u95] = duty_cells(r);
        let basis = r.duty.map_or("", |(_, _, basis)| basis.word());
        sheet.row(&[Cell::Text(&r.nozzle), Cell::Fixed(r.flow_ml_min, 3), duty, u95, Cell::Text(basis)]);
    }
    sheet.finish()
}

/// `nozzle, duty_pct, boost_kpa, flow_ml_min, u95_ml_min, basis`.
#[must_use]
pub fn boost_flow_csv(rows: &[FlowRow]) -> String {
    let mut sheet = Sheet::new(&["nozzle", "duty_pct", "boost_kpa", "flow_ml_min", "u95_ml_min", "basis"]);
    for r in rows {
        let (flow, u95) = (Cell::Fixed(r.flow_ml_min, 3), Cell::Fixed(r.u95_ml_min, 3));
        let (duty, boost) = (Cell::Fixed(r.duty_pct, 2), Cell::Fixed(r.boost_kpa, 1));
        sheet.row(&[Cell::Text(&r.nozzle), duty, boost, flow, u95, Cell::Text(r.basis.word())]);
    }
    sheet.finish()
}

/// `nozzle, flow_ml_min, boost_kpa, duty_pct, u95_pct, reachable`.
#[must_use]
pub fn boost_duty_csv(rows: &[DutyRow]) -> String {
    let mut sheet = Sheet::new(&["nozzle", "flow_ml_min", "boost_kpa", "duty_pct", "u95_pct", "reachable"]);
    for r in rows {
        let reachable = Cell::Text(if r.duty.is_some() { "yes" } else { "no" });
        let [duty, u95] = duty_cells(r);
        let (flow, boost) = (Cell::Fixed(r.flow_ml_min, 3), Cell::Fixed(r.boost_kpa, 1));
        sheet.row(&[Cell::Text(&r.nozzle), flow, boost, duty, u95, reachable]);
    }
    sheet.finish()
}

fn duty_cells(row: &DutyRow) -> [Cell<'static>; 2] {
    row.duty.map_or([Cell::Missing; 2], |(duty, u95, _)| [Cell::Fixed(duty, 4), Cell::Fixed(u95, 4)])
}
