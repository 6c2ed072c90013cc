//! Figures of a pressure switch: the loop of its states over pressure, and where each ramp made or broke.
//!
//! In: ramps and points of the switch. Out: a [`Figure`] with its data. Never: a computation of a result.

use crate::reduce::switch_points::{Point as SwitchPoint, SwitchPoints};
use crate::reduce::switch_ramps::Way;
use crate::report::chart::{
    Axis, Band, BandKind, Callout, Chart, Dash, Ink, Layer, Line, Marker, Panel, Plot, Point, Points,
    Reference, ReferenceKind,
};
use crate::report::figure_text::{Units, significant};
use crate::report::page::{Cell, Column, Figure, Table};
use crate::report::words::FileName;
use crate::verdict::item::Item;

/// The loop and the scatter of its ramps; none without a pressure that was seen.
#[must_use]
pub fn loop_figure(points: &SwitchPoints, items: &[Item], units: Units) -> Option<Figure> {
    let (low, high) = points.range_kpa()?;
    let kpa = units.shown("kPa");
    let f = kpa.factor;
    let mut upper = Vec::new();
    let (trip, reset) = (points.trip.as_ref(), points.reset.as_ref());
    let line = |label: &str, ink, dash, path: Vec<(f64, f64)>| {
        let mut line = Line::solid(label, ink, path).dashed(dash);
        line.arrow = true;
        Layer::Line(line)
    };
    if let Some(p) = trip {
        let path = vec![(low, 0.0), (p.value_kpa, 0.0), (p.value_kpa, 1.0), (high, 1.0)];
        let path = path.into_iter().map(|(x, y)| (x * f, y)).collect();
        upper.push(line("pressure rising", Ink::Blue, Dash::Solid, path));
    }
    if let Some(p) = reset {
        let path = vec![(high, 1.0), (p.value_kpa, 1.0), (p.value_kpa, 0.0), (low, 0.0)];
        let path = path.into_iter().map(|(x, y)| (x * f, y)).collect();
        upper.push(line("pressure falling", Ink::Vermillion, Dash::Long, path));
    }
    for (point, word, y) in [(trip, "trip", 1.0), (reset, "reset", 0.0)] {
        let Some(p) = point else { continue };
        upper.push(Layer::Callout(Callout {
            x: p.value_kpa * f,
            y,
            words: format!("{word} {}", words(p, f, kpa.unit)).into(),
        }));
    }
    let mut lower = Vec::new();
    for (way, point, label, ink, marker) in [
        (Way::Rising, trip, "trip, rising", Ink::Blue, Marker::Triangle),
        (Way::Falling, reset, "reset, falling", Ink::Vermillion, Marker::Square),
    ] {
        let single = point.and_then(|p| Some((p.value_kpa, p.tolerance_kpa()?)));
        if let Some((a, b)) = single.map(|(at, half)| (at - half, at + half)) {
            let (bottom, top) = (0.0, points.ramps.len() as f64 + 1.0);
            lower.push(Layer::Band(Band {
                label: format!("where single ones fall: {label}").into(),
                kind: BandKind::Prediction,
                ink,
                points: vec![(a * f, bottom, top), (b * f, bottom, top)],
            }));
        }
        for used in [true, false] {
            let places: Vec<Point> = points
                .ramps
                .iter()
                .enumerate()
                .filter(|(_, r)| r.way == Some(way) && r.used().is_some() == used)
                .filter_map(|(i, r)| Some(Point::new(r.crossing.as_ref()?.pressure_kpa * f, i as f64 + 1.0)))
                .collect();
            if !places.is_empty() {
                lower.push(Layer::Points(Points {
                    label: format!("{label}{}", if used { "" } else { " (not in the mean)" }).into(),
                    ink,
                    marker,
                    hollow: !used,
                    points: places,
                }));
            }
        }
    }
    let judged = items.iter().find(|i| i.id == "switch.trip");
    let limits = judged.map(|i| [(i.lower, "lowest trip"), (i.upper, "highest trip")]);
    for (limit, label) in limits.into_iter().flatten() {
        upper.extend(limit.map(|at| {
            Layer::Reference(Reference {
                label: label.into(),
                kind: ReferenceKind::Limit,
                upright: true,
                at: at * f,
            })
        }));
    }
    Some(Figure {
        caption: "The switch over pressure".into(),
        reading: reading(points, f, kpa.unit).into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear(format!("line pressure, {}", kpa.unit)),
            panels: vec![
                Panel { y: Axis::words("contact", ["open", "made"]), layers: upper },
                Panel { y: Axis::linear("ramp").over(0.0, points.ramps.len() as f64 + 1.0), layers: lower },
            ],
        }),
        data: table(points, f, kpa.unit),
        csv: FileName::new("switch_cycles.csv"),
    })
}

fn words(point: &SwitchPoint, factor: f64, unit: &str) -> String {
    let value = significant(point.value_kpa * factor, 4);
    point.all.as_ref().map_or_else(
        || format!("{value} {unit}"),
        |all| format!("{value} ± {} {unit}", significant(all.u95 * factor, 2)),
    )
}

fn reading(points: &SwitchPoints, factor: f64, unit: &str) -> String {
    let said = |p: Option<&SwitchPoint>, what: &str, how: &str| {
        p.map_or_else(
            || format!("It was never seen to {what}"),
            |p| format!("It {what}s at {} {how}", words(p, factor, unit)),
        )
    };
    format!(
        "{}; {}. Below: where each ramp made or broke, in the order of the ramps; single \
         ramps still carry the lag of their rate, the means do not.",
        said(points.trip.as_ref(), "make", "rising"),
        said(points.reset.as_ref(), "break", "falling").replace("It ", "it ")
    )
}

fn table(points: &SwitchPoints, factor: f64, unit: &str) -> Table {
    let columns = vec![
        Column::words("ramp"),
        Column::words("direction"),
        Column::number(format!("rate, {unit}/s")),
        Column::number(format!("made or broke at, {unit}")),
        Column::number("bounces"),
        Column::words("in the mean"),
        Column::words("note"),
    ];
    let start = Table::new("Ramps over the switch", columns);
    points.ramps.iter().enumerate().fold(start, |table, (i, r)| {
        let crossing = r.crossing.as_ref();
        table.row(vec![
            Cell::words((i + 1).to_string()),
            r.way.map_or(Cell::Missing, |w| Cell::words(w.word())),
            Cell::number(crossing.map(|c| c.rate_kpa_s * factor), 3),
            Cell::number(crossing.map(|c| c.pressure_kpa * factor), 5),
            crossing.map_or(Cell::Missing, |c| Cell::words(c.bounces.to_string())),
            Cell::words(if r.used().is_some() { "yes" } else { "no" }),
            Cell::words(&r.note),
        ])
    })
}
