//! Figures that every run's report may show: the run over time, and an uncertainty budget.
//!
//! In: reduced data, a budget. Out: [`Figure`]s and tables. Never: a computation of a result.

use crate::fit::budget::{Budget, BudgetRow};
use crate::reduce::Reduced;
use crate::report::chart::{
    Axis, Bar, Budget as BudgetChart, Chart, Ink, Layer, Line, Panel, Plot, Span, SpanKind,
};
use crate::report::figure_text::{Units, significant};
use crate::report::page::{Cell, Column, Figure, Table};
use crate::report::words::FileName;
use crate::script::role::Role;

/// Share of the variance below which contributions are drawn as one bar, %.
const FOLDED_PCT: f64 = 0.1;

/// The run over time: pressure, cup, duty, with the dwells shaded. None for data without a time line.
pub(super) fn time_series(reduced: &Reduced, units: Units) -> Option<Figure> {
    let pressure = units.shown("kPa");
    let find = |role: &Role| reduced.series.iter().find(|s| s.role == *role);
    let wanted = [
        (Role::LinePressure, format!("line, {}", pressure.unit), pressure.factor, Ink::Blue),
        (Role::CupMass, "cup, g".to_owned(), 1.0, Ink::Green),
        (Role::Duty, "duty, %".to_owned(), 1.0, Ink::Purple),
    ];
    let spans = || {
        reduced.stretches.iter().filter(|s| s.kind != "rest").map(|s| {
            let kind = if s.kind == "void" { SpanKind::Void } else { SpanKind::Dwell };
            let label = if s.kind == "void" { "void" } else { "" };
            Layer::Span(Span { label: label.into(), kind, from: s.from_to_s.0, to: s.from_to_s.1 })
        })
    };
    let mut panels = Vec::new();
    for (role, title, factor, ink) in wanted {
        let Some(series) = find(&role) else { continue };
        let line = series.points.iter().map(|p| (p.time_s, p.mean * factor)).collect();
        let mut layers: Vec<Layer> = spans().collect();
        layers.push(Layer::Line(Line::solid(title.as_str(), ink, line)));
        panels.push(Panel { y: Axis::linear(title.as_str()), layers });
    }
    if panels.is_empty() {
        return None;
    }
    let columns = vec![Column::number("from, s"), Column::number("to, s"), Column::words("what")];
    let table = reduced.stretches.iter().fold(Table::new("Stretches of the run", columns), |table, s| {
        table.row(vec![
            Cell::number(Some(s.from_to_s.0), 6),
            Cell::number(Some(s.from_to_s.1), 6),
            Cell::words(s.kind),
        ])
    });
    Some(Figure {
        caption: "The run over time".into(),
        reading: "Shaded stretches are the dwells that flow was taken from; crossed ones were not used."
            .into(),
        chart: Chart::Plot(Plot { x: Axis::linear("time, s"), panels }),
        data: table,
        csv: FileName::new("samples.csv"),
    })
}

/// Shares of the variance of one result.
pub(super) fn budget(budget: &Budget, units: Units) -> Figure {
    let variance = budget.rows.iter().map(|r| r.contribution.powi(2)).sum::<f64>();
    let mut rows: Vec<_> = budget.rows.iter().collect();
    rows.sort_by(|a, b| b.contribution.abs().total_cmp(&a.contribution.abs()));
    let share = |c: f64| {
        if variance > 0.0 { 100.0 * c * c / variance } else { 0.0 }
    };
    let (large, small): (Vec<_>, Vec<_>) = rows.iter().partition(|r| share(r.contribution) >= FOLDED_PCT);
    let bar = |name: String, length: f64, type_a: bool| Bar {
        name: name.into(),
        length,
        words: format!("{} %", significant(length, 2)).into(),
        type_a,
    };
    let mut bars: Vec<Bar> = large
        .iter()
        .map(|r: &&BudgetRow| bar(r.source.clone(), share(r.contribution), r.kind == 'A'))
        .collect();
    if !small.is_empty() {
        let rest: f64 = small.iter().map(|r| share(r.contribution)).sum();
        let name = format!("{} others, each below {FOLDED_PCT} %", small.len());
        bars.push(bar(name, rest, false));
    }
    Figure {
        caption: format!("Shares of the variance: {}", budget.quantity).into(),
        reading: "What would narrow the result most stands first.".into(),
        chart: Chart::Budget(BudgetChart { title: "share of the variance, %".into(), bars }),
        data: budget_table(budget, units),
        csv: None,
    }
}

/// One result's budget as a table.
pub(super) fn budget_table(budget: &Budget, units: Units) -> Table {
    let shown = units.shown(budget.unit);
    let columns = vec![
        Column::words("source"),
        Column::words("type"),
        Column::number("u of the source"),
        Column::number("sensitivity"),
        Column::number(format!("contribution, {}", shown.unit)),
        Column::number("degrees of freedom"),
    ];
    let caption = format!(
        "{}: {}",
        budget.quantity,
        crate::report::figure_text::figure(
            Some(budget.estimate.value),
            Some(budget.estimate.u95),
            budget.unit,
            units
        )
    );
    budget.rows.iter().fold(Table::new(caption, columns), |table, r| {
        let dof = if r.dof.is_finite() { significant(r.dof, 3) } else { "∞".to_owned() };
        table.row(vec![
            Cell::words(&r.source),
            Cell::words(r.kind.to_string()),
            Cell::number(r.u, 3),
            Cell::number(r.sensitivity.map(|s| s * shown.factor), 3),
            Cell::number(Some(r.contribution * shown.factor), 3),
            Cell::words(dof),
        ])
    })
}
