//! `collections.csv`: one line a collection.
//!
//! In: collections and their common errors; or the file. Out: the file; or its lines. Columns are fixed; empty is
//! missing. Never: a number that is not finite, a text cell that a spreadsheet takes for a formula.

use super::budget;
use super::collection::{Collection, Systematics};
use super::table::{self, Row, Table};
use crate::problem::{Problem, Problems};
use std::path::Path;

/// The columns.
pub const COLUMNS: [&str; 16] = [
    "step",
    "repeat",
    "nozzle",
    "duty_pct",
    "duty_set_pct",
    "supply_v",
    "line_pressure_kpa",
    "back_pressure_kpa",
    "water_degc",
    "collected_g",
    "collect_s",
    "mass_flow_g_s",
    "flow_ml_min",
    "u95_ml_min",
    "void",
    "note",
];

/// The file's text.
#[must_use]
pub fn write(collections: &[Collection], systematics: &Systematics) -> String {
    let mut out = csv::Writer::from_writer(Vec::new());
    let fixed = |v: Option<f64>, decimals: usize| {
        v.filter(|v| v.is_finite()).map_or_else(String::new, |v| {
            let text = format!("{v:.decimals$}");
            if text.bytes().any(|b| (b'1'..=b'9').contains(&b)) { text } else { text.replace('-', "") }
        })
    };
    let mut line = |cells: &[String]| out.write_record(cells);
    // Writing to memory cannot fail.
    let _ = line(&COLUMNS.map(str::to_owned));
    for c in collections {
        let good = c.void.is_none();
        let flow = |v: f64| (good || v > 0.0).then_some(v);
        let _ = line(&[
            c.step.to_string(),
            c.repeat.to_string(),
            guarded(&c.nozzle),
            fixed(c.duty_pct, 3),
            fixed(c.duty_set_pct, 3),
            fixed((c.supply_v > 0.0).then_some(c.supply_v), 4),
            fixed(c.line_pressure_kpa, 3),
            fixed(Some(c.back_pressure_kpa), 3),
            fixed(c.water_degc, 2),
            fixed(flow(c.collected_g), 3),
            fixed(flow(c.collect_s), 3),
            fixed(flow(c.mass_flow_g_s), 5),
            fixed(flow(c.flow_ml_min), 3),
            fixed(flow(budget::flow(c, systematics).u95), 3),
            guarded(c.void.as_deref().unwrap_or("")),
            guarded(&c.note),
        ]);
    }
    out.into_inner().map_or_else(|_| String::new(), |bytes| String::from_utf8_lossy(&bytes).into_owned())
}

/// A text cell that no spreadsheet takes for a formula, on one line.
fn guarded(text: &str) -> String {
    let safe = crate::problem::safe_text(text);
    if safe.starts_with(['=', '+', '-', '@']) { format!("'{safe}") } else { safe }
}

/// A line that was read back.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Step of the plan.
    pub step: u32,
    /// Repeat from 1.
    pub repeat: u32,
    /// Nozzle.
    pub nozzle: String,
    /// Numbers in the order of [`COLUMNS`] from `duty_pct` to `u95_ml_min`.
    pub numbers: [Option<f64>; 11],
    /// Why it is void; empty where it is good.
    pub void: String,
    /// Note.
    pub note: String,
}

impl Line {
    /// A number by the name of its column.
    #[must_use]
    pub fn get(&self, column: &str) -> Option<f64> {
        let at = COLUMNS.iter().position(|c| *c == column)?;
        self.numbers.get(at.checked_sub(3)?).copied().flatten()
    }
}

/// Reads the file.
///
/// # Errors
/// Every cell that is out of form, with its place.
pub fn read(path: &Path) -> Result<Vec<Line>, Problems> {
    let table = table::read(path)?;
    if table.header != COLUMNS {
        let problem = Problem::new("these are not the columns of collections.csv").at(table.whole_header());
        return Err(problem.expected(COLUMNS.join(",")).into());
    }
    let mut problems = Problems::default();
    let lines = table.rows.iter().filter_map(|row| line(&table, row, &mut problems)).collect();
    problems.into_result().map(|()| lines)
}

fn line(table: &Table, row: &Row, problems: &mut Problems) -> Option<Line> {
    let before = problems.0.len();
    let mut count = |column: usize| {
        let read = row.cells[column].parse::<u32>().ok();
        if read.is_none() {
            let what = format!("\"{}\" is not a number from 0", row.cells[column]);
            problems.push(Problem::new(what).at(table.cell(row, column)));
        }
        read.unwrap_or(0)
    };
    let (step, repeat) = (count(0), count(1));
    let mut numbers = [None; 11];
    for (i, number) in numbers.iter_mut().enumerate() {
        match table::number(&row.cells[i + 3], COLUMNS[i + 3]) {
            Ok(value) => *number = value,
            Err(problem) => problems.push(problem.at(table.cell(row, i + 3))),
        }
    }
    (problems.0.len() == before).then(|| Line {
        step,
        repeat,
        nozzle: row.cells[2].clone(),
        numbers,
        void: row.cells[14].clone(),
        note: row.cells[15].clone(),
    })
}
