//! Points taken by hand: a CSV of duty, supply, pressure, mass and time.
//!
//! In: `duty_pct, supply_v, line_pressure_psi|_kpa|_bar, collected_g, collect_s`, optionally `back_pressure_*`,
//! `water_degc`, `nozzle`; empty means not measured. Out: one [`Point`] a row, in internal units; or every problem
//! with its line and column. Never: a missing value read as 0, a unit guessed, a row left out in silence.

use super::finding::Finding;
use super::table::{self, Row, Table};
use crate::problem::{Problem, Problems, nearest};
use crate::quantity::{Dimension, find_unit};

/// A point in internal units.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Line of the file.
    pub line: u32,
    /// Duty, %.
    pub duty_pct: f64,
    /// Supply, V.
    pub supply_v: Option<f64>,
    /// Line pressure, gauge kPa.
    pub line_kpa: Option<f64>,
    /// Back pressure, gauge kPa.
    pub back_kpa: Option<f64>,
    /// Water temperature, degC.
    pub water_degc: Option<f64>,
    /// Mass, g.
    pub collected_g: f64,
    /// Time, s.
    pub collect_s: f64,
    /// Nozzle.
    pub nozzle: String,
}

/// One step of the digits in each column, internal units.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Steps {
    /// Duty, %.
    pub duty_pct: f64,
    /// Supply, V.
    pub supply_v: f64,
    /// Line pressure, kPa.
    pub line_kpa: f64,
    /// Mass, g.
    pub collected_g: f64,
    /// Time, s.
    pub collect_s: f64,
}

/// Most collections in one file: each takes half a minute on the bench.
pub const POINTS_MAX: usize = 10_000;

/// Points and what was noticed while they were read.
#[derive(Clone, Debug)]
pub struct Points {
    /// In file order.
    pub rows: Vec<Point>,
    /// Steps of the digits.
    pub steps: Steps,
    /// Columns that were not used, ...
    pub findings: Vec<Finding>,
}

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Duty,
    Supply,
    Line,
    Back,
    Water,
    Mass,
    Time,
    Nozzle,
}

/// A known column: name, what it holds, unit of a pressure.
const COLUMNS: &[(&str, Kind, &str)] = &[
    ("duty_pct", Kind::Duty, ""),
    ("supply_v", Kind::Supply, ""),
    ("line_pressure_psi", Kind::Line, "psi"),
    ("line_pressure_kpa", Kind::Line, "kPa"),
    ("line_pressure_bar", Kind::Line, "bar"),
    ("back_pressure_psi", Kind::Back, "psi"),
    ("back_pressure_kpa", Kind::Back, "kPa"),
    ("back_pressure_bar", Kind::Back, "bar"),
    ("water_degc", Kind::Water, ""),
    ("collected_g", Kind::Mass, ""),
    ("collect_s", Kind::Time, ""),
    ("nozzle", Kind::Nozzle, ""),
];

/// Columns that must be there.
const NEEDED: &[(Kind, &str)] = &[
    (Kind::Duty, "duty_pct"),
    (Kind::Supply, "supply_v"),
    (Kind::Line, "line_pressure_psi, line_pressure_kpa or line_pressure_bar"),
    (Kind::Mass, "collected_g"),
    (Kind::Time, "collect_s"),
];

/// Gauge pressures from here on are no zero error any more, kPa.
const LEAST_KPA: f64 = -20.0;
/// Highest pressure taken for real, kPa (700 psi).
const MOST_KPA: f64 = 4830.0;
/// A scale may read this much below zero where nothing came, g.
const LEAST_G: f64 = -5.0;

/// Reads the points of a table.
///
/// # Errors
/// Every problem, each with its place.
pub fn read(table: &Table) -> Result<Points, Problems> {
    if table.rows.len() > POINTS_MAX {
        return Err(Problem::new(format!("{}: has {} rows", table.file, table.rows.len()))
            .expected(format!("at most {POINTS_MAX} collections"))
            .into());
    }
    let mut problems = Problems::default();
    let mut findings = Vec::new();
    let columns = columns(table, &mut problems, &mut findings);
    problems.clone().into_result()?;
    let mut rows = Vec::with_capacity(table.rows.len());
    for row in &table.rows {
        rows.extend(point(table, row, &columns, &mut problems));
        if problems.0.len() >= table::PROBLEMS_MAX {
            problems.push(Problem::new("there are more problems; these come first"));
            return Err(problems);
        }
    }
    if table.rows.is_empty() {
        problems
            .push(Problem::new("there are no points").at(table.whole_header()).expected("a line a point"));
    }
    check_duties(table, &columns, &rows, &mut problems);
    if !rows.is_empty() && rows.iter().all(|p| p.supply_v.is_none()) {
        let place = table.whole_header();
        let problem = Problem::new("supply_v is empty in every line").at(place);
        problems.push(
            problem
                .help("the flow of a duty depends on the supply: measure it at the terminals of the driver"),
        );
    }
    problems.into_result()?;
    Ok(Points { rows, steps: steps(table, &columns), findings })
}

/// A column that is used: where, what, unit of a pressure.
type Used = (usize, Kind, &'static str);

/// The columns that are used.
fn columns(table: &Table, problems: &mut Problems, findings: &mut Vec<Finding>) -> Vec<Used> {
    let mut used: Vec<Used> = Vec::new();
    for (i, name) in table.header.iter().enumerate() {
        if let Some((_, kind, unit)) = COLUMNS.iter().find(|(n, ..)| n == name) {
            if let Some((first, ..)) = used.iter().find(|(_, k, _)| k == kind) {
                let problem = Problem::new(format!("{name} gives again what {} gives", table.header[*first]));
                problems.push(problem.at(table.column(i)).help("keep one of the two"));
            } else {
                used.push((i, *kind, unit));
            }
        } else if let Some(help) = not_quite(name) {
            let problem = Problem::new(format!("\"{name}\" is not a column of points"));
            problems.push(problem.at(table.column(i)).help(help));
        } else {
            let what = format!("the column \"{}\" was not used", crate::problem::safe_text(name));
            findings.push(Finding::new("points.unused_column", what, "it is none of the columns of points"));
        }
    }
    for (kind, name) in NEEDED {
        if problems.0.is_empty() && !used.iter().any(|(_, k, _)| k == kind) {
            let problem = Problem::new(format!("there is no column {name}")).at(table.whole_header());
            problems.push(
                problem.expected(
                    "duty_pct, supply_v, line_pressure_psi (or _kpa, _bar), collected_g, collect_s",
                ),
            );
        }
    }
    used
}

/// Help for a column that is nearly one of ours: another unit, or a slip of the pen.
fn not_quite(name: &str) -> Option<String> {
    let base = |n: &str| n.rsplit_once('_').map(|(base, _)| base.to_owned());
    let other_unit =
        base(name).is_some_and(|b| COLUMNS.iter().any(|(n, ..)| base(n).as_deref() == Some(b.as_str())));
    let near = nearest(name, COLUMNS.iter().map(|(n, ..)| *n)).filter(|_| !other_unit);
    near.map(|near| format!("did you mean {near}?")).or_else(|| in_our_units(name))
}

/// The name of a column of ours for a quantity that was called something else.
fn in_our_units(name: &str) -> Option<String> {
    let name = name.to_ascii_lowercase();
    let meant = [
        (&["line_p", "pressure"][..], "line_pressure_psi, line_pressure_kpa or line_pressure_bar"),
        (&["back_p"], "back_pressure_psi, back_pressure_kpa or back_pressure_bar"),
        (&["duty"], "duty_pct, in percent"),
        (&["supply", "volt", "batt"], "supply_v, in volts"),
        (&["collected", "mass", "weight"], "collected_g, in grams"),
        (&["collect_", "time", "seconds", "duration"], "collect_s, in seconds"),
        (&["water", "temp"], "water_degc, in degrees Celsius"),
    ];
    let (_, ours) = meant.iter().find(|(words, _)| words.iter().any(|w| name.starts_with(w)))?;
    Some(format!("write it as {ours}"))
}

/// The point of a row; none where something is wrong with it.
fn point(table: &Table, row: &Row, columns: &[Used], problems: &mut Problems) -> Option<Point> {
    let before = problems.0.len();
    let mut value = |kind: Kind, needed: bool, low: f64, high: f64, why: &str| -> Option<f64> {
        let (column, _, unit) = *columns.iter().find(|(_, k, _)| *k == kind)?;
        let name = &table.header[column];
        let at = |p: Problem| p.at(table.cell(row, column));
        let read = match table::number(&row.cells[column], name) {
            Ok(Some(read)) => read,
            Ok(None) if needed => {
                problems.push(
                    at(Problem::new(format!("{name} is missing")))
                        .help("a point without it tells nothing: measure it, or take the line out"),
                );
                return None;
            }
            Ok(None) => return None,
            Err(problem) => {
                problems.push(at(*problem));
                return None;
            }
        };
        let internal = find_unit(unit, Dimension::GaugePressure).map_or(read, |u| u.to_internal(read));
        if !(low..=high).contains(&internal) {
            problems.push(at(Problem::new(format!("{name} is {read}"))).help(why));
            return None;
        }
        Some(internal)
    };
    let duty = value(Kind::Duty, true, 0.0, 100.0, "a duty lies between 0 and 100 %");
    let supply_v = value(
        Kind::Supply,
        false,
        1.0,
        60.0,
        "a supply lies between 1 and 60 V: give volts at the terminals of the driver, or leave the cell empty",
    );
    let pressure = "a gauge pressure lies between -20 and 4830 kPa (-3 and 700 psi): was it absolute, or in another unit?";
    let line_kpa = value(Kind::Line, false, LEAST_KPA, MOST_KPA, pressure);
    let back = "a back pressure is a gauge pressure between -100 and 1000 kPa";
    let back_kpa = value(Kind::Back, false, -100.0, 1000.0, back);
    let water_degc =
        value(Kind::Water, false, 0.0, 60.0, "water is sprayed between 0 and 60 degC: was it in degF?");
    let mass = value(Kind::Mass, true, LEAST_G, 1e6, "the cup cannot lose mass: was the tare taken after?");
    let time =
        value(Kind::Time, true, 0.1, 1e6, "a collection takes longer than 0.1 s: the flow is mass over time");
    let nozzle = nozzle(table, row, columns, problems);
    if problems.0.len() > before {
        return None;
    }
    Some(Point {
        line: row.line,
        duty_pct: duty?,
        supply_v,
        line_kpa,
        back_kpa,
        water_degc,
        collected_g: mass?,
        collect_s: time?,
        nozzle: nozzle?,
    })
}

/// The nozzle of a row: `A` where nothing is given.
fn nozzle(table: &Table, row: &Row, columns: &[Used], problems: &mut Problems) -> Option<String> {
    let Some((column, ..)) = columns.iter().find(|(_, k, _)| *k == Kind::Nozzle) else {
        return Some(String::from("A"));
    };
    let name = row.cells[*column].as_str();
    let good = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.' | '+');
    match name {
        "" => Some(String::from("A")),
        _ if name.len() <= 32 && name.chars().all(good) => Some(name.to_owned()),
        _ => {
            let problem =
                Problem::new(format!("\"{name}\" is not a name of a nozzle")).at(table.cell(row, *column));
            problems.push(problem.expected("up to 32 letters, digits, _, - or . ; two at once as A+B"));
            None
        }
    }
}

/// Duties that were given as fractions.
fn check_duties(table: &Table, columns: &[Used], rows: &[Point], problems: &mut Problems) {
    let Some((column, ..)) = columns.iter().find(|(_, k, _)| *k == Kind::Duty) else {
        return;
    };
    let fractions = rows.iter().all(|p| p.duty_pct <= 1.0) && rows.iter().any(|p| p.duty_pct > 0.0);
    if rows.len() > 1 && fractions {
        let problem = Problem::new("no duty_pct is above 1").at(table.column(*column));
        problems.push(problem.help("write percent: 40, not 0.4"));
    }
}

/// One step of the finest digits in each column, internal units.
fn steps(table: &Table, columns: &[Used]) -> Steps {
    let step = |kind: Kind| {
        let Some((column, _, unit)) = columns.iter().find(|(_, k, _)| *k == kind) else {
            return 0.0;
        };
        let digits = |cell: &String| {
            cell.split_once('.').map_or(0, |(_, d)| d.trim_end_matches(|c: char| !c.is_ascii_digit()).len())
        };
        let finest = table.rows.iter().map(|r| digits(&r.cells[*column])).max().unwrap_or(0);
        let read = 10_f64.powi(-(finest.min(12) as i32));
        find_unit(unit, Dimension::GaugePressure).map_or(read, |u| u.difference_to_internal(read))
    };
    Steps {
        duty_pct: step(Kind::Duty),
        supply_v: step(Kind::Supply),
        line_kpa: step(Kind::Line),
        collected_g: step(Kind::Mass),
        collect_s: step(Kind::Time),
    }
}
