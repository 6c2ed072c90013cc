//! Figures of a controller: its outputs over engine speed, a small plot a boost; where they changed.
//!
//! In: observations of one or two sides, a comparison. Out: figures with their data. Never: a difference that the
//! comparison did not make.

use crate::judge::baseline::{Compared, Comparison};
use crate::reduce::controller::{At, Kind, Observation};
use crate::report::chart::{
    self, Axis, Chart, Dash, Ink, Layer, Line, Marker, Multiples, Overview, Point, Points, Small,
};
use crate::report::figure_text::Units;
use crate::report::page::{Cell, Column, Figure, Table};
use crate::verdict::item::Verdict;
use std::collections::BTreeMap;

/// Small plots of one figure.
const PLOTS_MOST: usize = 18;
/// Columns of a map of changes.
const COLUMNS_MOST: usize = 24;

/// One side of a figure.
pub(super) struct Side<'a> {
    pub(super) label: &'a str,
    pub(super) ink: Ink,
    pub(super) marker: Marker,
    pub(super) hollow: bool,
    pub(super) dash: Dash,
    pub(super) points: Vec<&'a Observation>,
}

/// The baseline's look.
pub(super) fn baseline_side(points: Vec<&Observation>) -> Side<'_> {
    Side {
        label: "baseline",
        ink: Ink::Plain,
        marker: Marker::Square,
        hollow: true,
        dash: Dash::Short,
        points,
    }
}

/// The run's look.
pub(super) fn run_side(points: Vec<&Observation>) -> Side<'_> {
    Side {
        label: "this run",
        ink: Ink::Vermillion,
        marker: Marker::Disc,
        hollow: false,
        dash: Dash::Solid,
        points,
    }
}

/// A boost level: in thousandths of kPa where it was asked for, of the sensor's volts where not.
type Level = (bool, i64);

fn level(at: &At) -> Option<Level> {
    let thousandths = |v: f64| (v * 20.0).round() as i64 * 50;
    match (at.boost_kpa, at.boost_v) {
        (Some(kpa), _) => Some((true, thousandths(kpa))),
        (None, Some(v)) => Some((false, (v * 1000.0).round() as i64)),
        _ => None,
    }
}

fn level_words(level: Level, units: Units) -> String {
    let value = level.1 as f64 / 1000.0;
    if level.0 {
        let shown = units.shown("kPa");
        format!("boost {:.1} {}", value * shown.factor, shown.unit)
    } else {
        format!("sensor {value:.3} V")
    }
}

/// Whether an observation belongs to the curves: steady, from below or without a way.
pub(super) fn on_curve(o: &Observation) -> bool {
    matches!(o.kind, Kind::Steady | Kind::SteadyUp)
        && o.value.is_some()
        && o.at.rpm.is_some()
        && level(&o.at).is_some()
}

/// Outputs that have curves, in order of name.
pub(super) fn outputs<'a>(observations: impl Iterator<Item = &'a Observation>) -> Vec<&'a str> {
    let mut names: Vec<&str> = observations.filter(|o| on_curve(o)).map(|o| o.output.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// An output over engine speed, a small plot a boost; the boosts with the largest changes where there are many.
pub(super) fn curves(
    output: &str,
    sides: &[Side<'_>],
    weight: impl Fn(&Observation) -> f64,
    units: Units,
) -> Figure {
    let mut levels: BTreeMap<Level, f64> = BTreeMap::new();
    let mine = |o: &&&Observation| o.output == output && on_curve(o);
    for o in sides.iter().flat_map(|s| &s.points).filter(mine) {
        if let Some(l) = level(&o.at) {
            let most = levels.entry(l).or_default();
            *most = most.max(weight(o));
        }
    }
    let all = levels.len();
    let mut ranked: Vec<(Level, f64)> = levels.into_iter().collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    ranked.truncate(PLOTS_MOST);
    ranked.sort_by_key(|r| r.0);
    let unit = sides.iter().flat_map(|s| &s.points).find(mine).map_or("", |o| o.unit.as_str());
    let plots = ranked.iter().map(|(l, _)| small(*l, output, sides, units)).collect();
    let left_out = if all > ranked.len() {
        format!(" {} of {all} boosts are shown, those with the largest changes.", ranked.len())
    } else {
        String::new()
    };
    let axis = if unit == "on" { format!("{output}, 0 off, 1 on") } else { format!("{output}, {unit}") };
    let y = match unit {
        "%" => Axis::linear(axis).over(0.0, 100.0),
        "on" => Axis::linear(axis).over(0.0, 1.0),
        _ => Axis::linear(axis),
    };
    Figure {
        caption: format!("{output} over engine speed, by boost").into(),
        reading: format!("One small plot a boost, all on one pair of scales.{left_out}").into(),
        chart: Chart::Multiples(Multiples { x: Axis::linear("engine speed, rpm"), y, plots }),
        data: data(output, sides, &ranked, unit, units),
        csv: None,
    }
}

fn of_level<'a>(side: &Side<'a>, output: &str, l: Level) -> Vec<(f64, f64, f64)> {
    let mine = side.points.iter().filter(|o| o.output == output && on_curve(o) && level(&o.at) == Some(l));
    let mut points: Vec<(f64, f64, f64)> =
        mine.filter_map(|o| Some((o.at.rpm?, o.value?, 2.0 * o.u_common.hypot(o.u_own)))).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    points
}

fn small(l: Level, output: &str, sides: &[Side<'_>], units: Units) -> Small {
    let mut layers = Vec::new();
    for side in sides {
        let points = of_level(side, output, l);
        let line = points.iter().map(|p| (p.0, p.1)).collect();
        layers.push(Layer::Line(Line::solid(side.label, side.ink, line).dashed(side.dash)));
        layers.push(Layer::Points(Points {
            label: side.label.into(),
            ink: side.ink,
            marker: side.marker,
            hollow: side.hollow,
            points: points.iter().map(|p| Point::with_u(p.0, p.1, p.2)).collect(),
        }));
    }
    Small { title: level_words(l, units).into(), layers }
}

fn data(output: &str, sides: &[Side<'_>], levels: &[(Level, f64)], unit: &str, units: Units) -> Table {
    let mut columns = vec![Column::words("boost"), Column::number("rpm")];
    columns.extend(sides.iter().map(|s| Column::number(format!("{}, {unit}", s.label))));
    let mut table = Table::new(format!("{output} over engine speed"), columns);
    for (l, _) in levels {
        let found: Vec<Vec<(f64, f64, f64)>> = sides.iter().map(|s| of_level(s, output, *l)).collect();
        let mut speeds: Vec<f64> = found.iter().flatten().map(|p| p.0).collect();
        speeds.sort_by(f64::total_cmp);
        speeds.dedup_by(|a, b| (*a - *b).abs() < 1.0);
        for rpm in speeds {
            let mut row = vec![Cell::words(level_words(*l, units)), Cell::number(Some(rpm), 5)];
            row.extend(found.iter().map(|points| {
                let value = points.iter().find(|p| (p.0 - rpm).abs() < 1.0).map(|p| p.1);
                Cell::number(value, 4)
            }));
            table = table.row(row);
        }
    }
    table
}

/// Where an output changed: new minus old over boost and speed.
pub(super) fn overview(comparison: &Comparison, output: &str, units: Units) -> Option<Figure> {
    let mine = |c: &&Compared| c.subject().is_some_and(|o| o.output == output && on_curve(o));
    let list: Vec<&Compared> = comparison.list.iter().filter(mine).collect();
    let place = |c: &Compared| {
        let at = &c.subject()?.at;
        Some((level(at)?, at.rpm?.round() as i64))
    };
    let mut rows: Vec<Level> = list.iter().filter_map(|c| place(c)).map(|p| p.0).collect();
    let mut columns: Vec<i64> = list.iter().filter_map(|c| place(c)).map(|p| p.1).collect();
    rows.sort_unstable();
    rows.dedup();
    columns.sort_unstable();
    columns.dedup();
    columns.truncate(COLUMNS_MOST);
    let tolerance = list.iter().map(|c| c.tolerance).fold(f64::NAN, f64::max);
    if rows.is_empty() || columns.is_empty() || tolerance.is_nan() || tolerance <= 0.0 {
        return None;
    }
    let cell = |row: Level, column: i64| {
        let found = list.iter().find(|c| place(c) == Some((row, column)))?;
        Some((found.difference?, found.verdict == Verdict::Changed))
    };
    let grid: Vec<Vec<Option<(f64, bool)>>> =
        rows.iter().rev().map(|r| columns.iter().map(|c| cell(*r, *c)).collect()).collect();
    let unit = list.first().and_then(|c| c.subject()).map_or("", |o| o.unit.as_str());
    let mut head = vec![Column::words("boost")];
    head.extend(columns.iter().map(|c| Column::number(format!("{c} rpm"))));
    let mut table = Table::new(format!("{output}: new minus old, {unit}"), head);
    for (row, cells) in rows.iter().rev().zip(&grid) {
        let mut out = vec![Cell::words(level_words(*row, units))];
        out.extend(cells.iter().map(|c| Cell::number(c.map(|c| c.0), 3)));
        table = table.row(out);
    }
    let out = grid.iter().flatten().flatten().filter(|c| c.1).count();
    let chart_cell = |c: &Option<(f64, bool)>| {
        c.map_or(chart::Cell::Missing, |(value, out)| chart::Cell::Difference { value, out })
    };
    Some(Figure {
        caption: format!("Where {output} changed").into(),
        reading: format!("{out} of {} points changed; triangles point the way.", rows.len() * columns.len())
            .into(),
        chart: Chart::Overview(Overview {
            x_title: "engine speed, rpm".into(),
            y_title: "boost".into(),
            value_title: format!("new minus old, {unit}").into(),
            columns: columns.iter().map(|c| c.to_string().into()).collect(),
            rows: rows.iter().rev().map(|r| level_words(*r, units).into()).collect(),
            cells: grid.iter().map(|r| r.iter().map(chart_cell).collect()).collect(),
            tolerance,
        }),
        data: table,
        csv: None,
    })
}
