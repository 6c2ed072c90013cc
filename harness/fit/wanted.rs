//! A table of wanted flows, and the duties that give them.
//!
//! In: a CSV, one row a cell (`boost_kpa|boost_psi, rpm, flow_ml_min|flow_gal_h`) or a grid (first column
//! `boost_kpa|boost_psi`, the other columns named by their rpm, cells in mL/min). Out: one row a cell with the duty, U,
//! basis, or the reason why it is out of reach. Never: a duty for a cell that nobody asked for.

use super::ask::{Answer, Ask, Refusal};
use super::model::PairModel;
use crate::problem::{Problem, Problems};
use crate::quantity::{Dimension, find_unit};
use crate::reduce::table::{self, Table};
use crate::table::{Cell, Sheet};
use std::path::Path;

/// Rows a table may have.
const CELLS_MOST: usize = 100_000;

/// A wanted flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SprayCell {
    /// Boost, gauge kPa.
    pub boost_kpa: f64,
    /// Engine speed, rpm; none where the table has none.
    pub rpm: Option<f64>,
    /// Wanted flow, mL/min.
    pub flow_ml_min: f64,
}

/// A table of wanted flows.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted(pub Vec<SprayCell>);

/// A table of duties.
#[derive(Debug)]
pub struct Duties(Vec<(SprayCell, Result<Option<Answer>, Refusal>)>);

/// Reads a table.
///
/// # Errors
/// Every problem of the file, with its place.
pub fn read(path: &Path) -> Result<Wanted, Problems> {
    from_table(&table::read(path)?)
}

/// A named column's unit, where it has the wanted stem.
fn unit_of(name: &str, stem: &str, dimension: Dimension) -> Option<fn(f64, &str) -> Option<f64>> {
    let word = name.strip_prefix(stem)?;
    let spelled = word_of(word);
    find_unit(spelled, dimension)?;
    Some(match dimension {
        Dimension::GaugePressure => |v, w| find_unit(w, Dimension::GaugePressure).map(|u| u.to_internal(v)),
        _ => |v, w| find_unit(w, Dimension::Flow).map(|u| u.to_internal(v)),
    })
}

/// The unit as people write it, from the end of a column's name.
fn word_of(suffix: &str) -> &str {
    match suffix {
        "ml_min" => "mL/min",
        "l_h" => "L/h",
        "l_min" => "L/min",
        "gal_h" => "gal/h",
        "kpa" => "kPa",
        other => other,
    }
}

/// Reads a table that is already split into cells.
///
/// # Errors
/// As [`read`].
pub fn from_table(table: &Table) -> Result<Wanted, Problems> {
    let find = |stem: &str, dimension| {
        let hit = |(i, name): (usize, &String)| Some((i, name.clone(), unit_of(name, stem, dimension)?));
        table.header.iter().enumerate().find_map(hit)
    };
    let Some((boost, boost_name, to_kpa)) = find("boost_", Dimension::GaugePressure) else {
        let problem = Problem::new("no column says the boost").at(table.whole_header());
        return Err(problem.expected("a column boost_kpa or boost_psi").into());
    };
    let suffix = |name: &str, stem: &str| word_of(name.strip_prefix(stem).unwrap_or_default()).to_owned();
    let boost_unit = suffix(&boost_name, "boost_");
    let rpm = table.header.iter().position(|n| n == "rpm");
    let mut problems = Problems::default();
    let mut cells = Vec::new();
    let flow = find("flow_", Dimension::Flow);
    let columns: Vec<(usize, Option<f64>)> = match &flow {
        Some((column, ..)) => vec![(*column, None)],
        None => grid_columns(table, boost, &mut problems),
    };
    for row in &table.rows {
        let mut get = |column: usize| match table::number(&row.cells[column], &table.header[column]) {
            Ok(value) => value,
            Err(problem) => {
                problems.push(problem.at(table.cell(row, column)));
                None
            }
        };
        let Some(boost_kpa) = get(boost).and_then(|v| to_kpa(v, &boost_unit)) else {
            continue;
        };
        let own_rpm = rpm.and_then(&mut get);
        for (column, of_grid) in &columns {
            let Some(value) = get(*column) else { continue };
            let flow_ml_min = match &flow {
                Some((_, name, to_ml_min)) => to_ml_min(value, &suffix(name, "flow_")),
                None => Some(value),
            };
            let rpm = of_grid.or(own_rpm);
            cells.extend(flow_ml_min.map(|flow_ml_min| SprayCell { boost_kpa, rpm, flow_ml_min }));
        }
    }
    if cells.len() > CELLS_MOST {
        problems
            .push(Problem::new(format!("{} cells", cells.len())).expected(format!("at most {CELLS_MOST}")));
    }
    problems.into_result()?;
    Ok(Wanted(cells))
}

/// Columns of a grid: those whose name is an rpm.
fn grid_columns(table: &Table, boost: usize, problems: &mut Problems) -> Vec<(usize, Option<f64>)> {
    let mut columns = Vec::new();
    for (i, name) in table.header.iter().enumerate().filter(|(i, _)| *i != boost) {
        match name.parse::<f64>().ok().filter(|v| v.is_finite() && *v >= 0.0) {
            Some(rpm) => columns.push((i, Some(rpm))),
            None => problems.push(
                Problem::new(format!("column \"{name}\" is neither a flow nor an rpm"))
                    .at(table.column(i))
                    .expected("flow_ml_min or flow_gal_h, or a grid whose columns are named by their rpm"),
            ),
        }
    }
    columns
}

impl Wanted {
    /// The duty for each cell; `ask` gives everything but the boost. A wanted flow of 0 needs no duty.
    #[must_use]
    pub fn duties(&self, model: &PairModel, ask: &Ask) -> Duties {
        let of = |cell: &SprayCell| {
            let ask = Ask { boost_kpa: cell.boost_kpa, ..ask.clone() };
            let answer = if cell.flow_ml_min == 0.0 {
                Ok(None)
            } else {
                model.duty_for(&ask, cell.flow_ml_min).map(Some)
            };
            (*cell, answer)
        };
        Duties(self.0.iter().map(of).collect())
    }
}

impl Duties {
    /// Cells with a duty, and cells out of reach.
    #[must_use]
    pub fn counts(&self) -> (usize, usize) {
        let reached = self.0.iter().filter(|(_, answer)| answer.is_ok()).count();
        (reached, self.0.len() - reached)
    }

    /// `boost_kpa, rpm, flow_ml_min, duty_pct, u95_pct, basis, reachable, reason`.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut sheet = Sheet::new(&[
            "boost_kpa",
            "rpm",
            "flow_ml_min",
            "duty_pct",
            "u95_pct",
            "basis",
            "reachable",
            "reason",
        ]);
        for (asked, answer) in &self.0 {
            let reason = answer.as_ref().err().map(ToString::to_string).unwrap_or_default();
            let (duty, u95, basis) = match answer {
                Ok(None) => (Cell::Whole(0), Cell::Whole(0), ""),
                Ok(Some(a)) => {
                    (Cell::Fixed(a.estimate.value, 3), Cell::Fixed(a.estimate.u95, 3), a.basis.word())
                }
                Err(_) => (Cell::Missing, Cell::Missing, ""),
            };
            sheet.row(&[
                Cell::Fixed(asked.boost_kpa, 3),
                asked.rpm.map_or(Cell::Missing, Cell::Exact),
                Cell::Fixed(asked.flow_ml_min, 3),
                duty,
                u95,
                Cell::Text(basis),
                Cell::Text(if answer.is_ok() { "yes" } else { "no" }),
                Cell::Text(&reason),
            ]);
        }
        sheet.finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(text: &str) -> Result<Vec<SprayCell>, String> {
        let table = table::parse("wanted.csv", text.as_bytes()).map_err(|e| e.to_string())?;
        from_table(&table).map(|w| w.0).map_err(|e| e.to_string())
    }

    #[test]
    fn rows_and_grids_are_read() {
        let rows = cells("boost_psi,rpm,flow_gal_h\n10,4000,2\n").expect("rows");
        // Exact factors: 1 psi = 6.894757293168361 kPa (NIST SP 811), 1 US gal/h = 63.0901964 mL/min.
        assert!((rows[0].boost_kpa - 68.947_572_931_683_61).abs() < 1e-9);
        assert!((rows[0].flow_ml_min - 126.180_392_8).abs() < 1e-9);
        let grid = cells("boost_kpa,2000,4000\n0,100,200\n50,,300\n").expect("a grid");
        assert_eq!(grid.len(), 3);
        assert_eq!((grid[2].boost_kpa, grid[2].rpm, grid[2].flow_ml_min), (50.0, Some(4000.0), 300.0));
    }

    #[test]
    fn what_is_wrong_is_shown_where_it_stands() {
        let text = cells("boost_kpa,rpm,flow_ml_min\n10,3000,\"1,5\"\n").expect_err("a decimal comma");
        assert!(text.contains("wanted.csv:2:9"), "{text}");
        assert!(cells("boost,flow\n1,2\n").expect_err("no boost").contains("boost_kpa"));
        assert!(cells("boost_kpa,idle\n1,2\n").expect_err("no rpm").contains("idle"));
    }
}
