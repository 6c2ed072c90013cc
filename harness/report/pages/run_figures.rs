//! Figures that every run's report may show: the run over time, and an uncertainty budget.
//!
//! In: reduced data, a budget. Out: [`Figure`]s and tables. Never: a computation of a result.

use crate::fit::budget::Budget;
use crate::reduce::Reduced;
use crate::report::chart::{
    Axis, Bar, Budget as BudgetChart, Chart, Ink, Layer, Line, Panel, Plot, Span, SpanKind,
};
use crate::report::figure_text::{Units, significant};
use crate::report::page::{Cell, Column, Figure, Table};
use crate::report::words::FileName;
use crate::script::role::Role;
use crate::uncertainty::{Origin, Term};

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
    let variance = budget.estimate.u.powi(2);
    let mut terms: Vec<&Term> = budget.estimate.terms.iter().collect();
    terms.sort_by(|a, b| b.u.abs().total_cmp(&a.u.abs()));
    let share = |c: f64| {
        if variance > 0.0 { 100.0 * c * c / variance } else { 0.0 }
    };
    let (large, small): (Vec<_>, Vec<_>) = terms.iter().partition(|t| share(t.u) >= FOLDED_PCT);
    let bar = |name: String, length: f64, type_a: bool| Bar {
        name: name.into(),
        length,
        words: format!("{} %", significant(length, 2)).into(),
        type_a,
    };
    let mut bars: Vec<Bar> = large
        .iter()
        .map(|t: &&Term| bar(t.cause.to_string(), share(t.u), t.origin == Origin::Random))
        .collect();
    if !small.is_empty() {
        let rest: f64 = small.iter().map(|t| share(t.u)).sum();
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

/// A figure of one source; what several sources were combined into before has none of its own.
fn of_source(value: Option<f64>) -> Cell {
    value.map_or_else(|| Cell::words("combined"), |v| Cell::number(Some(v), 3))
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
    budget.estimate.terms.iter().fold(Table::new(caption, columns), |table, t| {
        let dof = if t.dof().is_finite() { significant(t.dof(), 3) } else { "∞".to_owned() };
        table.row(vec![
            Cell::words(t.cause.to_string()),
            Cell::words(if t.origin == Origin::Random { "A" } else { "B" }),
            of_source(t.of_cause),
            of_source(t.sensitivity().map(|s| s * shown.factor)),
            Cell::number(Some(t.u * shown.factor), 3),
            Cell::words(dof),
        ])
    })
}
