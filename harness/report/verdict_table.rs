//! The table of verdicts: each value, its limits, what it came to and why.
//!
//! In: [`Verdicts`]. Out: a [`Table`]. Never: a verdict of its own.

use super::figure_text::{self, Units};
use super::page::{Cell, Column, Table};
use crate::verdict::item::{Item, Verdicts};

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
        .noted("What follows ± is the expanded uncertainty U for 95 % coverage; k is its coverage factor.")
}

/// `412.3 ± 6.2 mL/min (k = 2.14)`.
fn value(item: &Item, units: Units) -> Cell {
    let Some(value) = item.value.filter(|v| v.is_finite()) else {
        return Cell::Missing;
    };
    let shown = units.shown(&item.unit);
    match figure_text::pair(value, item.u95, shown) {
        (value, Some(u)) => {
            let k = figure_text::k_text(item.dof);
            let text = figure_text::with_unit(&format!("{value} ± {u}"), shown.unit);
            Cell::words(format!("{text} ({k})"))
        }
        (value, None) => Cell::words(figure_text::with_unit(&value, shown.unit)),
    }
}
