//! What is left of each collection after the fit, over duty and over the time of the run.
//!
//! In: reduced data and the fit. Out: two [`Figure`]s over the same data. Never: a computation of a result.

use super::pair_figures::points;
use crate::fit::model::Condition;
use crate::fit::pair::PairFit;
use crate::reduce::Reduced;
use crate::report::chart::{Axis, Chart, Ink, Layer, Marker, Panel, Plot, Point, Reference, ReferenceKind};
use crate::report::figure_text::{Shown, Units};
use crate::report::page::{Cell, Column, Figure, Table};
use crate::report::words::FileName;

/// Seconds in a minute.
const MINUTE_S: f64 = 60.0;

/// One collection: duty (%), time (min) or place in the order, measured less fitted (shown unit).
struct Rest {
    duty_pct: f64,
    at: f64,
    rest: f64,
}

/// Over duty, and over time.
pub(super) fn figures(reduced: &Reduced, fit: &PairFit, units: Units) -> [Figure; 2] {
    let shown = units.shown("mL/min");
    let times: Vec<f64> = fit.points.flowing.iter().map(|p| time_s(reduced, p.step, p.repeat)).collect();
    let timed = times.windows(2).any(|w| (w[1] - w[0]).abs() > 0.0);
    let rests: Vec<Rest> = fit
        .points
        .flowing
        .iter()
        .zip(&times)
        .enumerate()
        .map(|(i, (p, time_s))| {
            let condition = Condition {
                nozzles: vec![p.nozzle],
                duty: p.duty,
                supply_v: p.supply_v,
                out_kpa: p.out_kpa,
                away: p.away,
                k_factor: 1.0,
            };
            Rest {
                duty_pct: 100.0 * p.duty,
                at: if timed { time_s / MINUTE_S } else { i as f64 + 1.0 },
                rest: (p.flow - fit.model.operate(&condition).flow) * shown.factor,
            }
        })
        .collect();
    let along = if timed { "time, min" } else { "collection, in the order taken" };
    [
        figure(
            "Residuals over duty",
            "Residuals should scatter about zero without a shape; a shape is a law that does not hold.",
            Axis::linear("duty, %").over(0.0, 100.0),
            &rests,
            (|r| r.duty_pct, along, shown),
        ),
        figure(
            "Residuals over time",
            "A slope or a step along the run is drift: of the pump as it warms, of the scale, of the gauge.",
            Axis::linear(along).over(0.0, 0.0),
            &rests,
            (|r| r.at, along, shown),
        ),
    ]
}

/// When a collection began, s; not a number where there is none such.
fn time_s(reduced: &Reduced, step: u32, repeat: u32) -> f64 {
    let found = reduced.collections.iter().find(|c| c.step == step && c.repeat == repeat);
    found.map_or(f64::NAN, |c| c.time_s)
}

/// `how` is the place along x, the heading of the time column, and the unit shown.
fn figure(
    caption: &str,
    reading: &str,
    x: Axis,
    rests: &[Rest],
    how: (fn(&Rest) -> f64, &str, Shown<'_>),
) -> Figure {
    let (place, along, shown) = how;
    let title = format!("measured less fitted, {}", shown.unit);
    let columns = vec![Column::number("duty, %"), Column::number(along), Column::number(title.as_str())];
    let data = rests.iter().fold(Table::new(caption, columns), |table, r| {
        table.row(vec![
            Cell::number(Some(r.duty_pct), 4),
            Cell::number(Some(r.at), 4),
            Cell::number(Some(r.rest), 2),
        ])
    });
    let places = rests.iter().map(|r| Point::new(place(r), r.rest)).collect();
    let zero =
        Layer::Reference(Reference { label: "".into(), kind: ReferenceKind::Base, upright: false, at: 0.0 });
    Figure {
        caption: caption.into(),
        reading: reading.into(),
        chart: Chart::Plot(Plot {
            x,
            panels: vec![Panel {
                y: Axis::linear(title),
                layers: vec![
                    zero,
                    points("measured less fitted", Ink::Vermillion, Marker::Disc, false, places),
                ],
            }],
        }),
        data,
        csv: FileName::new("collections.csv"),
    }
}
