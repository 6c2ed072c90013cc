//! The figures of a pair's report.
//!
//! In: reduced data and the fit. Out: [`Figure`]s, each with its data. Never: a computation of a result.

use crate::fit::pair::PairFit;
use crate::fit::tables::{FlowRow, Tables};
use crate::reduce::Reduced;
use crate::report::chart::{
    Axis, Band, BandKind, Callout, Chart, Dash, Ink, Layer, Line, Marker, Panel, Plot, Point, Points,
};
use crate::report::figure_text::{Units, significant};
use crate::report::page::{Cell, Column, Figure, Table};
use crate::report::words::FileName;

/// Coverage factor for the band of a single further collection: normal, two-sided 95 %.
const K95: f64 = 1.96;
/// Boosts drawn, kPa.
const BOOSTS_KPA: [f64; 4] = [0.0, 60.0, 100.0, 140.0];
/// Duty that is set against the straight line, %.
const EXAMPLE_DUTY_PCT: f64 = 30.0;
/// Most duties with a row in the data table of a curve.
const TABLE_STEP: usize = 5;

pub(super) fn points(label: &str, ink: Ink, marker: Marker, hollow: bool, points: Vec<Point>) -> Layer {
    Layer::Points(Points { label: label.into(), ink, marker, hollow, points })
}

/// Flow over duty: collections, the curve with its bands, and the straight line people expect.
pub(super) fn duty_flow(reduced: &Reduced, fit: &PairFit, tables: &Tables, units: Units) -> Figure {
    let q = units.shown("mL/min").factor;
    let mut layers = Vec::new();
    for (index, law) in fit.model.nozzles.iter().enumerate() {
        let ink = Ink::ALL[index % Ink::ALL.len()];
        let rows: Vec<&FlowRow> = tables.duty_flow.iter().filter(|r| r.nozzle == law.name).collect();
        let band = |extra: f64| {
            let half = |r: &FlowRow| r.u95_ml_min.hypot(extra);
            rows.iter()
                .map(|r| (r.duty_pct, q * (r.flow_ml_min - half(r)).max(0.0), q * (r.flow_ml_min + half(r))))
                .collect()
        };
        let name = if fit.model.nozzles.len() > 1 { format!(", nozzle {}", law.name) } else { String::new() };
        let single = format!("where a single collection falls (95 %){name}");
        let curve = format!("where the curve lies (95 %){name}");
        layers.push(Layer::Band(Band {
            label: single.into(),
            kind: BandKind::Prediction,
            ink,
            points: band(K95 * fit.blend.scatter_ml_min),
        }));
        layers.push(Layer::Band(Band {
            label: curve.into(),
            kind: BandKind::Confidence,
            ink,
            points: band(0.0),
        }));
        let line = rows.iter().map(|r| (r.duty_pct, q * r.flow_ml_min)).collect();
        layers.push(Layer::Line(Line::solid(format!("fitted curve{name}"), ink, line)));
        if index == 0 {
            layers.extend(straight_line(&rows, q));
        }
    }
    layers.extend(collection_layers(reduced, q));
    let flow_axis = Axis::linear(format!("flow, {}", units.shown("mL/min").unit)).over(0.0, 0.0);
    Figure {
        caption: format!("Flow over duty at {:.2} V", fit.model.reference.supply_v).into(),
        reading: duty_reading(fit).into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("duty, %").over(0.0, 100.0),
            panels: vec![Panel { y: flow_axis, layers }],
        }),
        data: flow_table("Flow at each duty", &tables.duty_flow, units),
        csv: FileName::new("duty_flow.csv"),
    }
}

/// The line from nothing at no duty to the flow at the highest duty, and how far the curve lies from it.
fn straight_line(rows: &[&FlowRow], q: f64) -> Vec<Layer> {
    let Some(top) = rows.last() else { return Vec::new() };
    let line = vec![(0.0, 0.0), (top.duty_pct, q * top.flow_ml_min)];
    let mut layers =
        vec![Layer::Line(Line::solid("straight line to full flow", Ink::Plain, line).dashed(Dash::Long))];
    let example = rows.iter().find(|r| (r.duty_pct - EXAMPLE_DUTY_PCT).abs() < 0.5);
    if let Some(row) = example.filter(|_| top.flow_ml_min > 0.0) {
        let share = 100.0 * row.flow_ml_min / top.flow_ml_min;
        let words = format!("{EXAMPLE_DUTY_PCT:.0} % duty delivers {share:.1} % of full flow");
        layers.push(Layer::Callout(Callout { x: row.duty_pct, y: q * row.flow_ml_min, words: words.into() }));
    }
    layers
}

fn collection_layers(reduced: &Reduced, q: f64) -> Vec<Layer> {
    let of = |void: bool| -> Vec<Point> {
        let kept = reduced.collections.iter().filter(|c| c.void.is_some() == void);
        kept.filter_map(|c| Some(Point::new(c.duty()?, q * c.flow_ml_min))).collect()
    };
    let mut layers = vec![points("collections", Ink::Vermillion, Marker::Disc, false, of(false))];
    let void = of(true);
    if !void.is_empty() {
        layers.push(points("void", Ink::Plain, Marker::Cross, false, void));
    }
    layers
}

fn duty_reading(fit: &PairFit) -> String {
    let law = &fit.model.nozzles[0];
    format!(
        "Measured from {:.0} to {:.0} % duty; the wide band is where one further collection falls, the narrow one is \
         the uncertainty of the curve.",
        100.0 * law.duty_range.0,
        100.0 * law.duty_range.1
    )
}

fn flow_table(caption: &str, rows: &[FlowRow], units: Units) -> Table {
    let shown = units.shown("mL/min");
    let columns = vec![
        Column::words("nozzle"),
        Column::number("duty, %"),
        Column::number(format!("flow, {}", shown.unit)),
        Column::number(format!("U (95 %), {}", shown.unit)),
        Column::words("basis"),
    ];
    rows.iter().step_by(TABLE_STEP).fold(Table::new(caption, columns), |table, r| {
        table.row(vec![
            Cell::words(&r.nozzle),
            Cell::number(Some(r.duty_pct), 3),
            Cell::number(Some(r.flow_ml_min * shown.factor), 4),
            Cell::number(Some(r.u95_ml_min * shown.factor), 2),
            Cell::words(r.basis.word()),
        ])
    })
}

/// Flow over the pressure across the nozzle, both logarithmic: a straight line of slope 0.5 for an orifice.
pub(super) fn pressure_flow(fit: &PairFit, units: Units) -> Figure {
    let (flow, pressure) = (units.shown("mL/min"), units.shown("kPa"));
    let mut layers = Vec::new();
    let columns = vec![
        Column::words("nozzle"),
        Column::number(format!("across the nozzle, {}", pressure.unit)),
        Column::number(format!("flow, {}", flow.unit)),
    ];
    let mut table = Table::new("Pressure and flow", columns);
    let mut readings = Vec::new();
    for (index, law) in fit.model.nozzles.iter().enumerate() {
        let places: Vec<(f64, f64)> = fit
            .points
            .flowing
            .iter()
            .filter(|p| p.nozzle == index)
            .filter_map(|p| Some((p.line_kpa? - p.out_kpa, p.flow)))
            .filter(|(dp, q)| *dp > 0.0 && *q > 0.0)
            .collect();
        let ends = places.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), (dp, _)| (a.min(*dp), b.max(*dp)));
        let ink = Ink::ALL[index % Ink::ALL.len()];
        if ends.1 > 0.0 {
            let line =
                [ends.0, ends.1].map(|dp| (dp * pressure.factor, law.k * dp.sqrt() * flow.factor)).to_vec();
            layers.push(Layer::Line(Line::solid(format!("nozzle {}: square-root law", law.name), ink, line)));
        }
        for (dp, q) in &places {
            table = table.row(vec![
                Cell::words(&law.name),
                Cell::number(Some(dp * pressure.factor), 4),
                Cell::number(Some(q * flow.factor), 4),
            ]);
        }
        let marks = places.iter().map(|(dp, q)| Point::new(dp * pressure.factor, q * flow.factor)).collect();
        layers.push(points(&format!("nozzle {}: collections", law.name), ink, Marker::Disc, true, marks));
        if let Some(nozzle) = &fit.nozzles[index] {
            readings.push(format!("nozzle {}: exponent {}", law.name, significant(nozzle.exponent.value, 4)));
        }
    }
    Figure {
        caption: "Pressure and flow, logarithmic".into(),
        reading: format!("An orifice follows a line of slope 0.5; found: {}.", readings.join("; ")).into(),
        chart: Chart::Plot(Plot {
            x: Axis::log(format!("pressure across the nozzle, {}", pressure.unit)),
            panels: vec![Panel { y: Axis::log(format!("flow, {}", flow.unit)), layers }],
        }),
        data: table,
        csv: FileName::new("collections.csv"),
    }
}

/// Flow over duty against several boosts, for the first nozzle.
pub(super) fn boost(fit: &PairFit, tables: &Tables, units: Units) -> Figure {
    let (flow, pressure) = (units.shown("mL/min"), units.shown("kPa"));
    let law = &fit.model.nozzles[0];
    let dashes = [Dash::Solid, Dash::Long, Dash::Short, Dash::Mixed];
    let mut layers = Vec::new();
    for ((boost, dash), ink) in BOOSTS_KPA.iter().zip(dashes).zip(Ink::ALL) {
        let rows: Vec<&FlowRow> = tables
            .boost_flow
            .iter()
            .filter(|r| r.nozzle == law.name && (r.boost_kpa - boost).abs() < 0.5)
            .collect();
        let half = |r: &FlowRow, sign: f64| (r.flow_ml_min + sign * r.u95_ml_min).max(0.0) * flow.factor;
        let label = format!("{} {} boost", significant(boost * pressure.factor, 3), pressure.unit);
        let last = BOOSTS_KPA.last() == Some(boost);
        layers.extend(last.then(|| {
            Layer::Band(Band {
                label: format!("uncertainty at {label} (95 %)").into(),
                kind: BandKind::Confidence,
                ink,
                points: rows.iter().map(|r| (r.duty_pct, half(r, -1.0), half(r, 1.0))).collect(),
            })
        }));
        let line = rows.iter().map(|r| (r.duty_pct, r.flow_ml_min * flow.factor)).collect();
        layers.push(Layer::Line(Line::solid(label, ink, line).dashed(dash)));
    }
    let columns = vec![
        Column::number(format!("boost, {}", pressure.unit)),
        Column::number("duty, %"),
        Column::number(format!("flow, {}", flow.unit)),
        Column::number(format!("U (95 %), {}", flow.unit)),
        Column::words("basis"),
    ];
    let drawn =
        |r: &&FlowRow| r.nozzle == law.name && BOOSTS_KPA.iter().any(|b| (b - r.boost_kpa).abs() < 0.5);
    let table = tables.boost_flow.iter().filter(drawn).step_by(2).fold(
        Table::new("Flow against boost", columns),
        |t, r| {
            t.row(vec![
                Cell::number(Some(r.boost_kpa * pressure.factor), 3),
                Cell::number(Some(r.duty_pct), 3),
                Cell::number(Some(r.flow_ml_min * flow.factor), 4),
                Cell::number(Some(r.u95_ml_min * flow.factor), 2),
                Cell::words(r.basis.word()),
            ])
        },
    );
    Figure {
        caption: format!("Flow against boost, nozzle {}", law.name).into(),
        reading: "Boost takes from the pressure across the nozzle; below some duty nothing flows against it. Where boost \
                  was not measured on the bench, the bands hold what the pump's law may be off by."
            .into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("duty, %").over(0.0, 100.0),
            panels: vec![Panel { y: Axis::linear(format!("flow, {}", flow.unit)).over(0.0, 0.0), layers }],
        }),
        data: table,
        csv: FileName::new("boost_flow.csv"),
    }
}
