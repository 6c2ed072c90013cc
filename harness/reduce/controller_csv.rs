//! Controller points taken elsewhere: `output, boost_v, rpm, supply_v, value, unit, repeat`.
//!
//! In: a table. Out: observations, repeats gathered by point; every problem with its place. The step of the written
//! digits counts as resolution. Never: a guess at a cell; an empty value is a point not measured.

use super::controller::{At, Gather, Kind, Observation, Observations, blank};
use super::table::{PROBLEMS_MAX, Row, Table, number};
use crate::problem::{Problem, Problems, nearest};
use std::collections::{BTreeMap, BTreeSet};

/// The columns; the first, `value` and `unit` are needed.
pub const COLUMNS: [&str; 7] = ["output", "boost_v", "rpm", "supply_v", "value", "unit", "repeat"];
/// Units that a value may be in; `on` and an empty cell stand for an on-off output.
const UNITS: [&str; 12] = ["%", "V", "mV", "A", "ms", "s", "kPa", "rpm", "Hz", "mL/min", "on", ""];

/// Whether a header is that of controller points.
#[must_use]
pub fn is_points(header: &[String]) -> bool {
    let has = |name: &str| header.iter().any(|h| h == name);
    has("output") || (has("value") && (has("boost_v") || has("rpm")))
}

/// Reads observations out of a table.
///
/// # Errors
/// Every problem with its place.
pub fn from_table(table: &Table) -> Result<Observations, Problems> {
    let columns = columns(table)?;
    let mut problems = Problems::default();
    let mut gather = Gather::default();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let mut units: BTreeMap<String, String> = BTreeMap::new();
    let mut decimals: BTreeMap<String, u32> = BTreeMap::new();
    for row in &table.rows {
        if problems.0.len() >= PROBLEMS_MAX {
            problems.push(Problem::new("there are more problems; these come first"));
            break;
        }
        let Some((observation, repeat)) = read_row(table, row, &columns, &mut problems) else {
            continue;
        };
        let at_output = table.cell(row, columns["output"]);
        let unit = units.entry(observation.output.clone()).or_insert_with(|| observation.unit.clone());
        if *unit != observation.unit {
            let what =
                format!("output {} is in {} here and in {unit} above", observation.output, observation.unit);
            problems
                .push(Problem::new(what).at(table.cell(row, columns["unit"])).expected("one unit an output"));
        }
        let point = format!("{} {:?} {repeat}", observation.output, observation.at);
        if !seen.insert(point) {
            let what =
                format!("repeat {repeat} of this point of output {} was given before", observation.output);
            problems.push(Problem::new(what).at(at_output).help("number repeats of a point 1, 2, 3"));
        }
        let text = &row.cells[columns["value"]];
        let places =
            text.split_once('.').map_or(0, |(_, d)| d.chars().take_while(char::is_ascii_digit).count());
        let most = decimals.entry(observation.output.clone()).or_default();
        *most = (*most).max(u32::try_from(places).unwrap_or(0));
        gather.add(observation);
    }
    problems.into_result()?;
    let mut list = gather.finish();
    for o in &mut list {
        let step = 10f64.powi(-(i32::try_from(decimals[&o.output]).unwrap_or(0)));
        // An on-off output has no digits to round.
        o.u_own = if o.unit == "on" { 0.0 } else { step / 12f64.sqrt() };
    }
    if list.is_empty() {
        return Err(Problem::new(format!("{}: holds no value", table.file))
            .expected("rows with a value")
            .into());
    }
    let notes = vec![String::from(
        "points taken elsewhere: only scatter and written digits are known of their uncertainty",
    )];
    Ok(Observations { list, responses: Vec::new(), notes })
}

/// Where each column stands.
fn columns(table: &Table) -> Result<BTreeMap<&'static str, usize>, Problems> {
    let mut problems = Problems::default();
    let mut found = BTreeMap::new();
    for (i, name) in table.header.iter().enumerate() {
        match COLUMNS.iter().find(|c| *c == name) {
            Some(column) if found.insert(*column, i).is_some() => {
                problems.push(Problem::new(format!("column {name} stands here twice")).at(table.column(i)));
            }
            Some(_) => {}
            None => {
                let problem = Problem::new(format!("\"{name}\" is not a column of controller points"))
                    .at(table.column(i))
                    .expected(COLUMNS.join(", "));
                problems.push(match nearest(name, COLUMNS) {
                    Some(near) => problem.help(format!("did you mean \"{near}\"?")),
                    None => problem,
                });
            }
        }
    }
    for needed in ["output", "value", "unit"] {
        if !found.contains_key(needed) {
            let problem = Problem::new(format!("there is no column {needed}")).at(table.whole_header());
            problems.push(problem.expected(COLUMNS.join(", ")));
        }
    }
    problems.into_result().map(|()| found)
}

/// The observation of a row and its repeat; none where it has no value or is wrong.
fn read_row(
    table: &Table,
    row: &Row,
    columns: &BTreeMap<&'static str, usize>,
    problems: &mut Problems,
) -> Option<(Observation, u32)> {
    let before = problems.0.len();
    let mut cell = |name: &str| -> Option<f64> {
        let column = *columns.get(name)?;
        let read = number(&row.cells[column], name);
        read.unwrap_or_else(|problem| {
            problems.push(problem.at(table.cell(row, column)));
            None
        })
    };
    let value = cell("value");
    let at = At { boost_kpa: None, boost_v: cell("boost_v"), rpm: cell("rpm"), supply_v: cell("supply_v") };
    let repeat = cell("repeat").unwrap_or(1.0);
    if repeat < 1.0 || repeat.fract() > 0.0 || repeat > 1e6 {
        let column = columns.get("repeat").copied().unwrap_or(0);
        let problem = Problem::new(format!("repeat {repeat} is not a number of a repeat"));
        problems.push(problem.at(table.cell(row, column)).expected("1, 2, 3, ..."));
    }
    let output = &row.cells[columns["output"]];
    if output.is_empty() {
        let problem = Problem::new("the output is not named").at(table.cell(row, columns["output"]));
        problems.push(problem.expected("the name of an output, such as duty"));
    }
    let written = &row.cells[columns["unit"]];
    if !UNITS.contains(&written.as_str()) {
        let column = columns["unit"];
        let problem =
            Problem::new(format!("\"{written}\" is not a unit of an output")).at(table.cell(row, column));
        let problem = problem.expected(UNITS[..UNITS.len() - 1].join(", "));
        problems.push(match nearest(written, UNITS) {
            Some(near) if !near.is_empty() => problem.help(format!("did you mean \"{near}\"?")),
            _ => problem,
        });
    }
    if problems.0.len() > before {
        return None;
    }
    let unit = if written.is_empty() { "on" } else { written.as_str() };
    let mut observation = blank(output, Kind::Steady, at, unit);
    observation.value = Some(value?);
    Some((observation, repeat as u32))
}
