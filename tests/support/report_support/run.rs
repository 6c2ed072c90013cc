//! Invented figures of a run: time series, switch, latency.

use dutycup::door::chance::{Seed, normal};
use dutycup::door::report::chart::{
    Axis, Bins, Chart, Dash, Ink, Layer, Line, Marker, Panel, Plot, Point, Points, Reference, ReferenceKind,
    Span, SpanKind,
};
use dutycup::door::report::page::{Cell, Column, Figure, Table};
use dutycup::door::report::words::FileName;

fn reference(label: &str, kind: ReferenceKind, upright: bool, at: f64) -> Layer {
    Layer::Reference(Reference { label: label.into(), kind, upright, at })
}

/// Start, duty and fate of invented dwells.
const DWELLS: [(f64, f64, bool); 6] = [
    (20.0, 20.0, false),
    (70.0, 40.0, false),
    (120.0, 60.0, true),
    (170.0, 60.0, false),
    (220.0, 80.0, false),
    (270.0, 100.0, false),
];

/// Pressure and cup mass over time with settling, dwells and a void one.
pub(crate) fn time_series() -> Figure {
    let mut stream = Seed(4).stream("demo time");
    let (mut pressure, mut mass) = (Vec::new(), Vec::new());
    let mut grams = 0.0;
    for i in 0..12_800 {
        let t = f64::from(i) * 0.025;
        let duty = DWELLS.iter().rev().find(|d| t >= d.0 && t < d.0 + 45.0).map_or(0.0, |d| d.1);
        let since = DWELLS.iter().rev().find(|d| t >= d.0).map_or(t, |d| t - d.0);
        let target = 7.5 * (duty - 5.0f64).max(0.0) * duty / 100.0;
        let kpa = if duty > 0.0 {
            target * (1.0 - (-since / 2.0).exp())
        } else {
            60.0 * (-(since - 45.0).max(0.0)).exp()
        };
        grams += 0.0288 * kpa.max(0.0).sqrt() * 0.35;
        let gap = (200.0..204.0).contains(&t);
        pressure.push((t, if gap { f64::NAN } else { kpa + normal(&mut stream, 0.0, 4.0) }));
        if i % 4 == 0 {
            let bump = if (140.0..141.5).contains(&t) { 60.0 } else { 0.0 };
            mass.push((t, grams + bump));
        }
    }
    let spans = || {
        DWELLS.iter().flat_map(|&(t, duty, void)| {
            let kind = if void { SpanKind::Void } else { SpanKind::Dwell };
            [
                Layer::Span(Span { label: "".into(), kind: SpanKind::Settle, from: t, to: t + 12.0 }),
                Layer::Span(Span {
                    label: if void { "void: touched".into() } else { format!("{duty:.0} %").into() },
                    kind,
                    from: t + 12.0,
                    to: t + 45.0,
                }),
            ]
        })
    };
    let table = DWELLS.iter().fold(
        Table::new(
            "Dwells",
            vec![
                Column::number("from, s"),
                Column::number("to, s"),
                Column::words("duty"),
                Column::words("used"),
            ],
        ),
        |t, d| {
            t.row(vec![
                Cell::number(Some(d.0 + 12.0), 3),
                Cell::number(Some(d.0 + 45.0), 3),
                Cell::words(format!("{:.0} %", d.1)),
                Cell::words(if d.2 { "void: cup touched at 140.0 s" } else { "used" }),
            ])
        },
    );
    Figure {
        caption: "Line pressure and cup mass over the run".into(),
        reading: "Six dwells; the third was touched at 140 s and is not used. Pressure was not read from 200 s to 204 s.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("time, s").over(0.0, 320.0),
            panels: vec![
                Panel {
                    y: Axis::linear("line pressure, kPa").over(0.0, 700.0),
                    layers: spans().chain([Layer::Line(Line::solid("", Ink::Blue, pressure))]).collect(),
                },
                Panel {
                    y: Axis::linear("cup mass, g").over(0.0, 100.0),
                    layers: spans()
                        .map(|l| match l { Layer::Span(s) => Layer::Span(Span { label: "".into(), ..s }), l => l })
                        .chain([Layer::Line(Line::solid("", Ink::Vermillion, mass)), reference("cup full", ReferenceKind::Limit, false, 1400.0)])
                        .collect(),
                },
            ],
        }),
        data: table,
        csv: FileName::new("samples.csv"),
    }
}

/// The loop of a pressure switch with the scatter of its cycles.
pub(crate) fn switch_loop() -> Figure {
    let mut stream = Seed(5).stream("demo switch");
    let trips: Vec<f64> = (0..10).map(|_| 255.1 + normal(&mut stream, 0.0, 2.1)).collect();
    let resets: Vec<f64> = (0..10).map(|_| 214.6 + normal(&mut stream, 0.0, 2.8)).collect();
    let ticks = |label: &str, ink, at: &[f64], y| {
        Layer::Points(Points {
            label: label.into(),
            ink,
            marker: Marker::Cross,
            hollow: false,
            points: at.iter().map(|p| Point::new(*p, y)).collect(),
        })
    };
    let mut rising = Line::solid(
        "pressure rising",
        Ink::Blue,
        vec![(150.0, 0.0), (255.1, 0.0), (255.1, 1.0), (320.0, 1.0)],
    );
    rising.arrow = true;
    let mut falling = Line::solid(
        "pressure falling",
        Ink::Vermillion,
        vec![(320.0, 1.06), (214.6, 1.06), (214.6, 0.06), (150.0, 0.06)],
    )
    .dashed(Dash::Long);
    falling.arrow = true;
    let layers = vec![
        Layer::Line(rising),
        Layer::Line(falling),
        ticks("trip of each cycle", Ink::Blue, &trips, 0.42),
        ticks("reset of each cycle", Ink::Vermillion, &resets, 0.58),
        reference("trip 255.1 ± 1.6", ReferenceKind::Base, true, 255.1),
        reference("reset 214.6 ± 2.1", ReferenceKind::Base, true, 214.6),
        reference("at least 186.2", ReferenceKind::Limit, true, 186.2),
        reference("at most 227.5", ReferenceKind::Limit, true, 227.5),
    ];
    let table = trips.iter().zip(&resets).enumerate().fold(
        Table::new(
            "Cycles",
            vec![Column::number("cycle"), Column::number("trip, kPa"), Column::number("reset, kPa")],
        ),
        |t, (i, (a, b))| {
            t.row(vec![
                Cell::words((i + 1).to_string()),
                Cell::number(Some(*a), 4),
                Cell::number(Some(*b), 4),
            ])
        },
    );
    Figure {
        caption: "Pressure switch over ten cycles".into(),
        reading: "The switch makes at 255.1 ± 1.6 kPa rising, above its upper limit of 227.5 kPa, and breaks at 214.6 ± 2.1 kPa falling.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("line pressure, kPa").over(150.0, 320.0),
            panels: vec![Panel {
                y: Axis::words("switch", ["open, lamp dark", "made, lamp lit"]),
                layers,
            }],
        }),
        data: table,
        csv: None,
    }
}

/// Latency of the heartbeat.
pub(crate) fn latency() -> Figure {
    let mut stream = Seed(6).stream("demo latency");
    let mut counts = [0u32; 30];
    for _ in 0..12_480 {
        let ms = (normal(&mut stream, -1.6, 0.75).exp() + 0.04)
            * if normal(&mut stream, 0.0, 1.0) > 3.0 { 9.0 } else { 1.0 };
        let bin = ((ms.log10() + 2.0) * 10.0).clamp(0.0, 29.0) as usize;
        counts[bin] += 1;
    }
    let edge = |i: usize| 10f64.powf(i as f64 / 10.0 - 2.0);
    let bins: Vec<(f64, f64, f64)> = (0..30).map(|i| (edge(i), edge(i + 1), f64::from(counts[i]))).collect();
    let table = bins.iter().filter(|b| b.2 > 0.0).fold(
        Table::new(
            "Lateness of heartbeats",
            vec![Column::number("from, ms"), Column::number("to, ms"), Column::number("count")],
        ),
        |t, b| {
            t.row(vec![
                Cell::number(Some(b.0), 3),
                Cell::number(Some(b.1), 3),
                Cell::words(format!("{:.0}", b.2)),
            ])
        },
    );
    Figure {
        caption: "Lateness of 12 480 heartbeats".into(),
        reading: "Half of the heartbeats are later than 0.2 ms, one in a thousand later than 4 ms; the watchdog trips at 400 ms.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::log("lateness, ms"),
            panels: vec![Panel {
                y: Axis::linear("heartbeats"),
                layers: vec![
                    Layer::Bins(Bins { label: "heartbeats".into(), ink: Ink::Blue, bins }),
                    reference("p50 0.24", ReferenceKind::Base, true, 0.24),
                    reference("p99 1.4", ReferenceKind::Base, true, 1.4),
                    reference("p99.9 3.9", ReferenceKind::Base, true, 3.9),
                    reference("watchdog trips 400", ReferenceKind::Limit, true, 400.0),
                ],
            }],
        }),
        data: table,
        csv: FileName::new("timing.hlog"),
    }
}
