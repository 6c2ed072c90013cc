//! The window in words and as a table.
//!
//! In: a [`Window`]. Out: sentences for people, metric; `window_cells.csv`. Never: a judgement of its own.

use super::window::{Advice, ByBoost, From, Lamp, Window};
use crate::table::{Cell, Sheet};

/// The header of the table of cells.
const COLUMNS: [&str; 6] = ["boost_kpa", "duty_pct", "flow_ml_min", "line_pressure_kpa", "u95_kpa", "lamp"];

/// What the lamp would show, where trip and reset lie, and what to do about it.
#[must_use]
pub fn sentences(window: &Window) -> Vec<String> {
    let at = &window.cells[window.lowest];
    let mut said = vec![
        format!(
            "reset must lie above {:.1} kPa (peak boost and margin) and trip below {:.1} kPa (lowest line pressure \
             less margin: {:.1} kPa at {:.1} % duty and {:.1} kPa boost)",
            window.floor_kpa, window.ceiling_kpa, at.line.line_kpa, at.cell.duty_pct, at.cell.boost_kpa
        ),
        by_boost(window.by_boost).to_owned(),
        spraying(window),
    ];
    said.push(match window.advice {
        Advice::SetPoint { low_kpa, high_kpa } => format!(
            "a set point between {low_kpa:.1} and {high_kpa:.1} kPa is right; {:.1} kPa lies in the middle",
            0.5 * (low_kpa + high_kpa)
        ),
        Advice::None { lowest_kpa, from } => format!(
            "no set point is right for all cells: boost and differential ask for at least {lowest_kpa:.1} kPa; {}",
            from_where(from, "set there, the lamp is right")
        ),
    });
    if !matches!(window.advice, Advice::SetPoint { .. }) || window.cells.iter().any(|c| c.lamp != Lamp::Lit) {
        said.push(from_where(window.right_from, "as the switch is set now, the lamp is surely lit"));
    }
    if window.silent > 0 {
        said.push(format!("cells that do not spray and were left out: {}", window.silent));
    }
    said
}

const fn by_boost(what: ByBoost) -> &'static str {
    match what {
        ByBoost::Dark => "the lamp goes dark when spraying stops at peak boost",
        ByBoost::StaysLit => "the lamp stays lit after spraying stops until boost falls below reset",
        ByBoost::LitAlone => "the lamp is lit by boost alone",
        ByBoost::Unsure => "whether the lamp goes dark when spraying stops at peak boost is not sure",
    }
}

fn spraying(window: &Window) -> String {
    let count = |lamp: Lamp| window.cells.iter().filter(|c| c.lamp == lamp).count();
    let (dark, unsure, all) = (count(Lamp::Dark), count(Lamp::Unsure), window.cells.len());
    match (dark, unsure) {
        (0, 0) => "the lamp is lit whenever it sprays".to_owned(),
        (0, _) => format!("whether the lamp is lit is not sure in {unsure} of {all} sprayed cells"),
        (_, 0) => format!("the lamp is dark while spraying in {dark} of {all} cells"),
        _ => {
            format!("the lamp is dark while spraying in {dark} of {all} cells, and not sure in {unsure} more")
        }
    }
}

fn from_where(from: Option<From>, what: &str) -> String {
    from.map_or_else(
        || format!("{what} at no duty: the pair does not reach the pressure for it"),
        |f| {
            format!(
                "{what} from {:.0} mL/min on ({:.1} % duty and {:.1} kPa line pressure at {:.1} kPa boost)",
                f.flow_ml_min, f.duty_pct, f.line_kpa, f.boost_kpa
            )
        },
    )
}

/// `window_cells.csv`.
#[must_use]
pub fn to_csv(window: &Window) -> String {
    let mut sheet = Sheet::new(&COLUMNS);
    for c in &window.cells {
        let lamp = match c.lamp {
            Lamp::Lit => "lit",
            Lamp::Dark => "dark",
            Lamp::Unsure => "unsure",
        };
        let numbers =
            [c.cell.boost_kpa, c.cell.duty_pct, c.line.flow_ml_min, c.line.line_kpa, c.line.line_u95_kpa];
        let [boost, duty, flow, line, u95] = numbers.map(|v| Cell::Fixed(v, 2));
        sheet.row(&[boost, duty, flow, line, u95, Cell::Text(lamp)]);
    }
    sheet.finish()
}
