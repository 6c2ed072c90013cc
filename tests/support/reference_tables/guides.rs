//! The worked examples of the guides: inputs, readings and expected values of `tests/reference/gum/`.
//!
//! In: the name of a case. Out: its cells, and the check of computed against published and recomputed values. Never: a
//! quantity that the table does not have.

use super::{Row, Tally, table};
use std::collections::HashMap;

/// Digits of the computed values.
const DIGITS: f64 = 11.0;
/// Digits where a length of 5e7 nm is differenced for sensitivities of a few nm.
const DIGITS_DIFFERENCED: f64 = 8.0;

/// What is known of an input.
pub(crate) struct Input {
    pub(crate) value: f64,
    pub(crate) u: f64,
    pub(crate) dof: f64,
}

/// The inputs of a case, by name.
pub(crate) fn inputs(case: &str) -> HashMap<String, Input> {
    table("gum/gum_inputs.csv")
        .iter()
        .filter(|r| r.text("case_id") == case && !r.text("std_uncertainty").is_empty())
        .map(|r| {
            (
                r.text("name").to_owned(),
                Input { value: number(r, "value"), u: r.num("std_uncertainty"), dof: r.num("df") },
            )
        })
        .collect()
}

/// Relative contributions are written with a remark in place of the value 1.
fn number(row: &Row, column: &str) -> f64 {
    row.text(column).split_whitespace().next().unwrap().parse().unwrap()
}

/// The readings of a case: one list a row.
pub(crate) fn readings(case: &str, prefix: &str) -> Vec<Vec<f64>> {
    table("gum/gum_inputs.csv")
        .iter()
        .filter(|r| r.text("case_id") == case && r.text("name").starts_with(prefix))
        .map(|r| r.list("value"))
        .collect()
}

/// A number of a case.
pub(crate) fn constant(case: &str, name: &str) -> f64 {
    let rows = table("gum/gum_inputs.csv");
    rows.iter().find(|r| r.text("case_id") == case && r.text("name") == name).unwrap().num("value")
}

/// Checks quantities of a case against `got`, published and computed.
pub(crate) fn expect(tally: &mut Tally, case: &str, got: &[(&str, f64)]) {
    let rows = table("gum/gum_expected.csv");
    for (quantity, value) in got {
        let found = rows.iter().find(|r| r.text("case_id") == case && r.text("quantity") == *quantity);
        let row = found.unwrap_or_else(|| panic!("{case}: not in the table: {quantity}"));
        let (computed, tolerance) = (row.num("computed_value"), row.num("tolerance_abs_vs_published"));
        let digits = if case == "GUM_H1" { DIGITS_DIFFERENCED } else { DIGITS };
        let off = computed.abs().max(1e-3) * 10f64.powf(-digits);
        tally.within(format!("{case} {quantity}"), *value, computed, off);
        if let Some(published) = row.maybe("published_value") {
            tally.within(format!("{case} {quantity} as printed"), *value, published, tolerance.max(1e-12));
        }
    }
}
