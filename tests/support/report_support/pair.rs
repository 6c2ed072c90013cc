//! Invented figures of a pump and nozzle pair.

use dutycup::door::chance::{Seed, normal};
use dutycup::door::report::chart::{
    Axis, Band, BandKind, Callout, Chart, Dash, Ink, Layer, Line, Marker, Panel, Plot, Point, Points,
    Reference, ReferenceKind,
};
use dutycup::door::report::page::{Cell, Column, Figure, Table};
use dutycup::door::report::words::FileName;

/// An invented duty curve, mL/min.
fn flow(duty: f64) -> f64 {
    let d = ((duty - 8.6) / 91.4).max(0.0);
    if duty > 88.0 { 590.0 + (duty - 88.0) * 4.3 } else { 590.0 * (d / 0.8687).powf(1.04) }
}

fn grid(from: f64, to: f64, count: u32) -> Vec<f64> {
    (0..=count).map(|i| from + (to - from) * f64::from(i) / f64::from(count)).collect()
}

/// Duty, flow and U of invented collections.
fn collections() -> Vec<(f64, f64, f64)> {
    let mut stream = Seed(1).stream("demo flow");
    let mut out = Vec::new();
    for step in 1..=10 {
        for _ in 0..3 {
            let duty = f64::from(step) * 10.0 + normal(&mut stream, 0.0, 0.08);
            let mean = flow(duty);
            out.push((duty, mean + normal(&mut stream, 0.0, 1.0 + mean * 0.007), 2.0 + mean * 0.012));
        }
    }
    out
}

fn points(label: &str, ink: Ink, marker: Marker, points: Vec<Point>) -> Layer {
    Layer::Points(Points { label: label.into(), ink, marker, hollow: false, points })
}

fn reference(label: &str, kind: ReferenceKind, upright: bool, at: f64) -> Layer {
    Layer::Reference(Reference { label: label.into(), kind, upright, at })
}

/// Flow over duty: points, fit, bands, the straight line, limits.
pub(crate) fn duty_flow() -> Figure {
    let data = collections();
    let xs = grid(8.6, 100.0, 92);
    let band = |extra: f64| {
        xs.iter()
            .map(|d| {
                (
                    *d,
                    flow(*d) - extra - flow(*d) * 0.012 * extra.sqrt(),
                    flow(*d) + extra + flow(*d) * 0.012 * extra.sqrt(),
                )
            })
            .collect()
    };
    let layers = vec![
        Layer::Band(Band {
            label: "where a single collection falls (95 %)".into(),
            kind: BandKind::Prediction,
            ink: Ink::Blue,
            points: band(7.0),
        }),
        Layer::Band(Band {
            label: "where the curve lies (95 %)".into(),
            kind: BandKind::Confidence,
            ink: Ink::Blue,
            points: band(1.6),
        }),
        Layer::Line(Line::solid("fitted curve", Ink::Blue, xs.iter().map(|d| (*d, flow(*d))).collect())),
        Layer::Line(
            Line::solid("straight line to full flow", Ink::Plain, vec![(0.0, 0.0), (100.0, 641.0)])
                .dashed(Dash::Long),
        ),
        points(
            "collections with U",
            Ink::Vermillion,
            Marker::Disc,
            data.iter().map(|c| Point::with_u(c.0, c.1, c.2)).collect(),
        ),
        Layer::Points(Points {
            label: "void".into(),
            ink: Ink::Plain,
            marker: Marker::Cross,
            hollow: false,
            points: vec![Point::new(60.0, 302.0)],
        }),
        reference("dead band 8.6 %", ReferenceKind::Base, true, 8.6),
        reference("bypass opens", ReferenceKind::Base, true, 88.0),
        reference("wanted at most", ReferenceKind::Limit, false, 680.0),
        Layer::Callout(Callout {
            x: 30.0,
            y: flow(30.0),
            words: "30 % duty delivers 23 % of full flow".into(),
        }),
    ];
    let table = data.iter().fold(
        Table::new(
            "Collections",
            vec![
                Column::number("duty, %"),
                Column::number("flow, mL/min"),
                Column::number("U (95 %), mL/min"),
            ],
        ),
        |t, c| {
            t.row(vec![Cell::number(Some(c.0), 4), Cell::number(Some(c.1), 4), Cell::number(Some(c.2), 2)])
        },
    );
    Figure {
        caption: "Flow over duty at 13.8 V, open cup".into(),
        reading: "Flow starts at 8.6 % duty, stays below the straight line to full flow, and flattens where the bypass \
                  opens at 88 %."
            .into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("duty, %").over(0.0, 100.0),
            panels: vec![Panel {
                y: Axis::linear("flow, mL/min").over(0.0, 700.0),
                layers,
            }],
        }),
        data: table,
        csv: FileName::new("duty_flow.csv"),
    }
}

/// Residuals over duty and over time.
pub(crate) fn residuals() -> Figure {
    let data = collections();
    let residual = |c: &(f64, f64, f64)| (c.1 - flow(c.0)) / c.2;
    let table = data.iter().fold(
        Table::new("Residuals", vec![Column::number("duty, %"), Column::number("residual, U")]),
        |t, c| t.row(vec![Cell::number(Some(c.0), 4), Cell::number(Some(residual(c)), 2)]),
    );
    let mut stream = Seed(2).stream("demo order");
    let over = |x: &dyn Fn(usize, f64) -> f64| {
        data.iter().enumerate().map(|(i, c)| Point::new(x(i, c.0), residual(c))).collect::<Vec<_>>()
    };
    let _ = normal(&mut stream, 0.0, 1.0);
    let base = || {
        vec![
            reference("+U", ReferenceKind::Base, false, 1.0),
            reference("no deviation", ReferenceKind::Base, false, 0.0),
            reference("−U", ReferenceKind::Base, false, -1.0),
        ]
    };
    let mut layers = base();
    layers.push(points("residual of a collection", Ink::Vermillion, Marker::Disc, over(&|_, d| d)));
    Figure {
        caption: "Residuals over duty".into(),
        reading: "The deviations from the fitted curve show no trend over duty; one of thirty exceeds U, as expected at 95 %.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("duty, %").over(0.0, 100.0),
            panels: vec![Panel {
                y: Axis::linear("measured minus fitted, in units of U"),
                layers,
            }],
        }),
        data: table,
        csv: None,
    }
}

/// Flow over pressure on logarithmic axes with the slope.
pub(crate) fn nozzle_law() -> Figure {
    let k = 23.42;
    let mut stream = Seed(3).stream("demo nozzle");
    let data: Vec<(f64, f64, f64)> = [18.0, 42.0, 80.0, 150.0, 240.0, 330.0, 450.0, 560.0, 660.0, 752.0]
        .into_iter()
        .map(|p: f64| (p, k * p.sqrt() * (1.0 + normal(&mut stream, 0.0, 0.008)), k * p.sqrt() * 0.03))
        .collect();
    let xs = [15.0, 800.0];
    let layers = vec![
        Layer::Line(Line::solid(
            "fitted, slope 0.503 ± 0.011",
            Ink::Blue,
            xs.map(|p: f64| (p, 23.0 * p.powf(0.503))).to_vec(),
        )),
        Layer::Line(
            Line::solid(
                "square-root law, slope 0.5",
                Ink::Plain,
                xs.map(|p: f64| (p, k * p.sqrt())).to_vec(),
            )
            .dashed(Dash::Short),
        ),
        points(
            "collections with U",
            Ink::Vermillion,
            Marker::Square,
            data.iter().map(|c| Point { x: c.0, y: c.1, y_u: c.2, x_u: 4.0 }).collect(),
        ),
        points("start of spray", Ink::Green, Marker::Triangle, vec![Point::new(9.0, 0.0)]),
    ];
    let table = data.iter().fold(
        Table::new(
            "Pressure and flow",
            vec![Column::number("line pressure, kPa"), Column::number("flow, mL/min")],
        ),
        |t, c| t.row(vec![Cell::number(Some(c.0), 3), Cell::number(Some(c.1), 4)]),
    );
    Figure {
        caption: "Flow over line pressure, both axes logarithmic".into(),
        reading: "The slope is 0.503 ± 0.011; an orifice has 0.5.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::log("line pressure above outlet, kPa"),
            panels: vec![Panel { y: Axis::log("flow, mL/min"), layers }],
        }),
        data: table,
        csv: FileName::new("collections.csv"),
    }
}

/// Pump flow over pressure for several duties, and the nozzle across them.
pub(crate) fn pump_curves() -> Figure {
    let dashes = [Dash::Short, Dash::Mixed, Dash::Short, Dash::Long, Dash::Solid];
    let mut layers = Vec::new();
    for (i, dash) in dashes.into_iter().enumerate() {
        let duty = 20.0 * (i as f64 + 1.0);
        let free = 10.2 * (duty - 6.0);
        let stop = free / 0.41;
        let curve = grid(0.0, stop.min(900.0), 60)
            .into_iter()
            .map(|p| (p, (free - 0.41 * p - 3.0 * (p - 735.0).max(0.0)).max(0.0)))
            .collect::<Vec<_>>();
        let last = curve.iter().position(|c| c.1 <= 0.0).map_or(curve.len(), |i| i + 1);
        layers.push(Layer::Line(
            Line::solid(format!("{duty:.0} % duty"), Ink::Blue, curve[..last].to_vec()).dashed(dash),
        ));
    }
    layers.push(Layer::Line(Line::solid(
        "nozzle A",
        Ink::Vermillion,
        grid(0.0, 900.0, 80).into_iter().map(|p| (p, 23.42 * p.sqrt())).collect(),
    )));
    layers.push(points(
        "where pump and nozzle agree",
        Ink::Plain,
        Marker::Triangle,
        vec![
            Point::new(33.0, 134.0),
            Point::new(150.0, 287.0),
            Point::new(295.0, 402.0),
            Point::new(480.0, 513.0),
            Point::new(690.0, 615.0),
        ],
    ));
    let table = Table::new(
        "Operating points",
        vec![Column::words("duty"), Column::number("line pressure, kPa"), Column::number("flow, mL/min")],
    )
    .row(vec![Cell::words("20 %"), Cell::words("33"), Cell::words("134")])
    .row(vec![Cell::words("40 %"), Cell::words("150"), Cell::words("287")])
    .row(vec![Cell::words("60 %"), Cell::words("295"), Cell::words("402")])
    .row(vec![Cell::words("80 %"), Cell::words("480"), Cell::words("513")])
    .row(vec![Cell::words("100 %"), Cell::words("690"), Cell::words("615")]);
    Figure {
        caption: "What the pump delivers against pressure".into(),
        reading: "Each duty has its own curve; the pair runs where it crosses the curve of the nozzle."
            .into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("line pressure, kPa").over(0.0, 900.0),
            panels: vec![Panel { y: Axis::linear("flow, mL/min").over(0.0, 1000.0), layers }],
        }),
        data: table,
        csv: None,
    }
}

/// Delivered flow over duty for several boosts.
pub(crate) fn boost_curves() -> Figure {
    let looks = [
        (Ink::Blue, Dash::Solid, 0.0),
        (Ink::Vermillion, Dash::Long, 60.0),
        (Ink::Green, Dash::Short, 120.0),
        (Ink::Purple, Dash::Mixed, 180.0),
    ];
    let mut table = Table::new(
        "Delivered flow",
        vec![
            Column::number("duty, %"),
            Column::number("open cup"),
            Column::number("boost 60 kPa"),
            Column::number("boost 120 kPa"),
            Column::number("boost 180 kPa"),
        ],
    );
    let delivered = |duty: f64, boost: f64| flow(duty - boost * 0.075).max(0.0);
    for duty in grid(0.0, 100.0, 10) {
        let cell = |boost| Cell::number(Some(delivered(duty, boost)), 3);
        table = table.row(vec![Cell::number(Some(duty), 3), cell(0.0), cell(60.0), cell(120.0), cell(180.0)]);
    }
    let mut layers: Vec<Layer> = looks
        .iter()
        .map(|&(ink, dash, boost)| {
            let label = if boost > 0.0 { format!("boost {boost:.0} kPa") } else { "open cup".to_owned() };
            let curve = grid(0.0, 100.0, 100).into_iter().map(|d| (d, delivered(d, boost))).collect();
            Layer::Line(Line::solid(label, ink, curve).dashed(dash))
        })
        .collect();
    layers.push(Layer::Band(Band {
        label: "U at boost 180 kPa (extrapolated)".into(),
        kind: BandKind::Confidence,
        ink: Ink::Purple,
        points: grid(25.0, 100.0, 75)
            .into_iter()
            .map(|d| (d, (delivered(d, 180.0) - 25.0).max(0.0), delivered(d, 180.0) + 25.0))
            .collect(),
    }));
    Figure {
        caption: "Delivered flow by boost".into(),
        reading: "Boost pushes back: at 60 % duty, 180 kPa of boost takes a quarter of the flow.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("duty, %").over(0.0, 100.0),
            panels: vec![Panel { y: Axis::linear("delivered flow, mL/min").over(0.0, 600.0), layers }],
        }),
        data: table,
        csv: FileName::new("boost_flow.csv"),
    }
}
