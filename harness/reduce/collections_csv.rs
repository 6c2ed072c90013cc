//! `collections.csv`: one line a collection.
//!
//! In: collections and their common errors. Out: the file's text.

use super::budget;
use super::collection::{Collection, Systematics};
use crate::table::{Cell, Sheet};

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
    let mut sheet = Sheet::new(&COLUMNS);
    for c in collections {
        let good = c.void.is_none();
        let flow = |v: f64, decimals: usize| Cell::fixed((good || v > 0.0).then_some(v), decimals);
        sheet.row(&[
            Cell::Whole(c.step.into()),
            Cell::Whole(c.repeat.into()),
            Cell::Text(&c.nozzle),
            Cell::fixed(c.duty_pct, 3),
            Cell::fixed(c.duty_set_pct, 3),
            Cell::fixed((c.supply_v > 0.0).then_some(c.supply_v), 4),
            Cell::fixed(c.line_pressure_kpa, 3),
            Cell::Fixed(c.back_pressure_kpa, 3),
            Cell::fixed(c.water_degc, 2),
            flow(c.collected_g, 3),
            flow(c.collect_s, 3),
            flow(c.mass_flow_g_s, 5),
            flow(c.flow_ml_min, 3),
            flow(budget::flow(c, systematics).u95, 3),
            Cell::Text(c.void.as_deref().unwrap_or("")),
            Cell::Text(&c.note),
        ]);
    }
    sheet.finish()
}
