//! The table of verdicts: each value, its limits, what it came to and why.
//!
//! In: [`Verdicts`]. Out: a [`Table`]. Never: a verdict of its own.

use super::figure_text::{self, Units};
use super::page::{Cell, Column, Table};
use crate::judge::item::{Item, Verdicts};

/// The table.
#[must_use]
pub fn table(verdicts: &Verdicts, units: Units) -> Table {
    let columns = vec![
        Column::words("item"),
        Column::words("value"),
        Column::words("limits"),
        Column::words("verdict"),
        Column::words("note"),
    ];
    verdicts
        .items
        .iter()
        .fold(Table::new("Verdicts", columns), |table, item| {
            table.row(vec![
                Cell::words(&item.quantity),
                value(item, units),
                Cell::words(figure_text::limits(item.lower, item.upper, &item.unit, units)),
                Cell::Verdict(item.verdict),
                Cell::words(&item.note),
            ])
        })
        .noted("U is the expanded uncertainty for 95 % coverage.")
}

/// `412.3 ± 6.2 mL/min (95 %), k = 2.14, 14 degrees of freedom`.
fn value(item: &Item, units: Units) -> Cell {
    let Some(value) = item.value.filter(|v| v.is_finite()) else {
        return Cell::Missing;
    };
    let text = figure_text::figure(Some(value), item.u95, &item.unit, units);
    if item.u95.is_some() {
        Cell::words(format!("{text}, {}", figure_text::coverage(item.dof)))
    } else {
        Cell::words(text)
    }
}
