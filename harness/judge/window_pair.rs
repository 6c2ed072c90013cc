//! What a calibrated pair shows on the line, for the window; and cells from a small table.
//!
//! In: a [`PairModel`] and conditions. Out: flow and line pressure with U. Never: a pressure for a pair whose line was
//! not measured.

use super::window::{Cell, LineAt, Pair};
use crate::fit::ask::Ask;
use crate::fit::model::PairModel;
use crate::problem::{Problem, Problems};
use crate::quantity::{Dimension, find_unit};
use crate::reduce::table::{Table, number};
use crate::uncertainty::Uncertain;

/// A pair at fixed conditions; duty and boost are asked for.
#[derive(Clone, Debug)]
pub struct Calibrated<'a> {
    /// The pair.
    pub model: &'a PairModel,
    /// Nozzle and supply; its boost is not used.
    pub ask: Ask,
}

impl Calibrated<'_> {
    /// Places of the nozzles that spray.
    fn nozzles(&self) -> Vec<usize> {
        let Some(names) = &self.ask.nozzle else {
            return vec![0];
        };
        let place = |name: &str| self.model.nozzles.iter().position(|n| n.name == name);
        place(names).map_or_else(|| names.split('+').filter_map(|n| place(n.trim())).collect(), |i| vec![i])
    }
}

impl Pair for Calibrated<'_> {
    fn line(&self, duty_pct: f64, boost_kpa: f64) -> Result<LineAt, String> {
        if !self.model.reference.pressure_measured {
            return Err("it was not measured when the pair was calibrated".into());
        }
        let ask = Ask { boost_kpa, ..self.ask.clone() };
        let flow = self.model.flow_at(&ask, duty_pct).map_err(|e| e.to_string())?.estimate;
        let nozzles = self.nozzles();
        let k: f64 = nozzles.iter().map(|&i| self.model.nozzles[i].k).sum();
        if flow.value <= 0.0 || k <= 0.0 {
            return Ok(LineAt { flow_ml_min: 0.0, line_kpa: boost_kpa, line_u95_kpa: 0.0 });
        }
        let drop = (flow.value / k).powi(2);
        let terms = flow
            .terms
            .iter()
            .map(|t| {
                // An error that moves flow and coefficient alike leaves the pressure as it is.
                let shift = self.model.shifts.iter().find(|s| s.cause == t.cause);
                let ln_k = shift.map_or(0.0, |s| {
                    nozzles.iter().map(|&i| s.ln_k[i] * self.model.nozzles[i].k).sum::<f64>() / k
                });
                t.at(2.0 * drop * (t.u / flow.value - ln_k))
            })
            .collect();
        let line = Uncertain::new(boost_kpa + drop, terms);
        Ok(LineAt { flow_ml_min: flow.value, line_kpa: line.value, line_u95_kpa: line.u95 })
    }
}

/// Cells from a table with the columns `boost_psi` (or `_kpa`, `_bar`) and `duty_pct`; others are ignored.
///
/// # Errors
/// Every problem, with its place.
pub fn cells(table: &Table) -> Result<Vec<Cell>, Problems> {
    let mut problems = Problems::default();
    let named =
        |wanted: &dyn Fn(&str) -> bool| table.header.iter().position(|h| wanted(&h.to_ascii_lowercase()));
    let unit_of = |name: &str| find_unit(name.strip_prefix("boost_")?, Dimension::GaugePressure);
    let boost = named(&|h| unit_of(&h.replace("kpa", "kPa")).is_some());
    let duty = named(&|h| h == "duty_pct");
    for (column, name) in [(boost, "boost_psi, boost_kpa or boost_bar"), (duty, "duty_pct")] {
        if column.is_none() {
            problems.push(
                Problem::new(format!("there is no column {name}"))
                    .at(table.whole_header())
                    .expected("boost_psi (or _kpa, _bar) and duty_pct"),
            );
        }
    }
    let (Some(boost), Some(duty)) = (boost, duty) else {
        return Err(problems);
    };
    let Some(unit) = unit_of(&table.header[boost].to_ascii_lowercase().replace("kpa", "kPa")) else {
        return Err(problems);
    };
    let mut cells = Vec::new();
    for row in &table.rows {
        let mut read = |column: usize, low: f64, high: f64, what: &str| match number(
            &row.cells[column],
            &table.header[column],
        ) {
            Ok(Some(value)) if (low..=high).contains(&value) => Some(value),
            Ok(_) => {
                let problem = Problem::new(format!("\"{}\" is not {what}", row.cells[column]));
                problems.push(problem.at(table.cell(row, column)).expected(what.to_owned()));
                None
            }
            Err(problem) => {
                problems.push(problem.at(table.cell(row, column)));
                None
            }
        };
        let at = read(boost, -101.0, 1000.0, "a boost");
        let duty_pct = read(duty, 0.0, 100.0, "a duty from 0 to 100 %");
        if let (Some(at), Some(duty_pct)) = (at, duty_pct) {
            cells.push(Cell { boost_kpa: unit.to_internal(at), duty_pct });
        }
    }
    problems.into_result().map(|()| cells)
}
