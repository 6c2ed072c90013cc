//! Invented figures of a comparison, and a budget.

use dutycup::door::report::chart::{
    self, Axis, Bar, Budget, Chart, Dash, Ink, Layer, Line, Marker, Multiples, Overview, Panel, Plot, Point,
    Points, Reference, ReferenceKind, Small,
};
use dutycup::door::report::page::{Cell, Column, Figure, Table};

const RPM: [f64; 8] = [2000.0, 2500.0, 3000.0, 3500.0, 4000.0, 4500.0, 5000.0, 5500.0];
const BOOST: [f64; 6] = [20.0, 40.0, 60.0, 80.0, 100.0, 120.0];

fn old(boost: f64, rpm: f64) -> f64 {
    (10.0 + boost * 0.45 + (rpm - 2000.0) * 0.006).min(100.0)
}

fn difference(boost: f64, rpm: f64) -> f64 {
    if boost >= 100.0 && rpm >= 4000.0 {
        (rpm - 3500.0) * 0.002
    } else if boost < 30.0 && rpm > 5000.0 {
        -2.6
    } else {
        0.15 * ((boost + rpm) % 7.0 / 3.5 - 1.0)
    }
}

fn series(
    label: &str,
    ink: Ink,
    marker: Marker,
    hollow: bool,
    dash: Dash,
    values: Vec<(f64, f64)>,
) -> [Layer; 2] {
    let points = values.iter().map(|v| Point::with_u(v.0, v.1, 0.8)).collect();
    [
        Layer::Line(Line::solid(label, ink, values).dashed(dash)),
        Layer::Points(Points { label: label.into(), ink, marker, hollow, points }),
    ]
}

fn curve(boost: f64, part: f64) -> Vec<(f64, f64)> {
    RPM.iter().map(|r| (*r, old(boost, *r) + part * difference(boost, *r))).collect()
}

/// Output over rpm, a small plot a boost level, old and new.
pub(crate) fn what_changed() -> Figure {
    let plots = BOOST
        .iter()
        .map(|boost| Small {
            title: format!("boost {boost:.0} kPa").into(),
            layers: series("baseline", Ink::Plain, Marker::Square, true, Dash::Short, curve(*boost, 0.0))
                .into_iter()
                .chain(series(
                    "this run",
                    Ink::Vermillion,
                    Marker::Disc,
                    false,
                    Dash::Solid,
                    curve(*boost, 1.0),
                ))
                .collect(),
        })
        .collect();
    let table = BOOST.iter().fold(
        Table::new(
            "Greatest change at each boost",
            vec![Column::number("boost, kPa"), Column::number("change, % duty")],
        ),
        |t, boost| {
            let greatest =
                RPM.iter().map(|r| difference(*boost, *r)).max_by(|a, b| a.abs().total_cmp(&b.abs()));
            t.row(vec![Cell::number(Some(*boost), 3), Cell::number(greatest, 2)])
        },
    );
    Figure {
        caption: "Pump duty over engine speed, by boost".into(),
        reading: "At 100 and 120 kPa the new firmware sprays more from 4000 rpm on; at 20 kPa less beyond 5000 rpm.".into(),
        chart: Chart::Multiples(Multiples {
            x: Axis::linear("engine speed, rpm"),
            y: Axis::linear("pump duty, %").over(0.0, 100.0),
            plots,
        }),
        data: table,
        csv: None,
    }
}

/// Before and after, and the difference with U.
pub(crate) fn before_after() -> Figure {
    let change = RPM.iter().map(|r| Point::with_u(*r, difference(120.0, *r), 0.9)).collect();
    let reference =
        |label: &str, kind, at| Layer::Reference(Reference { label: label.into(), kind, upright: false, at });
    let table = RPM.iter().fold(
        Table::new(
            "Before and after at 120 kPa",
            vec![
                Column::number("rpm"),
                Column::number("before, %"),
                Column::number("after, %"),
                Column::number("difference, %"),
            ],
        ),
        |t, r| {
            t.row(vec![
                Cell::number(Some(*r), 4),
                Cell::number(Some(old(120.0, *r)), 3),
                Cell::number(Some(old(120.0, *r) + difference(120.0, *r)), 3),
                Cell::number(Some(difference(120.0, *r)), 2),
            ])
        },
    );
    Figure {
        caption: "Before and after at 120 kPa boost".into(),
        reading: "The difference leaves the tolerance of 1 % duty at 4500 rpm.".into(),
        chart: Chart::Plot(Plot {
            x: Axis::linear("engine speed, rpm"),
            panels: vec![
                Panel {
                    y: Axis::linear("pump duty, %"),
                    layers: series(
                        "before",
                        Ink::Plain,
                        Marker::Square,
                        true,
                        Dash::Short,
                        curve(120.0, 0.0),
                    )
                    .into_iter()
                    .chain(series(
                        "after",
                        Ink::Vermillion,
                        Marker::Disc,
                        false,
                        Dash::Solid,
                        curve(120.0, 1.0),
                    ))
                    .collect(),
                },
                Panel {
                    y: Axis::linear("after minus before, % duty").over(-2.0, 2.0),
                    layers: vec![
                        reference("tolerance", ReferenceKind::Limit, 1.0),
                        reference("no change", ReferenceKind::Base, 0.0),
                        reference("tolerance", ReferenceKind::Limit, -1.0),
                        Layer::Points(Points {
                            label: "difference with U of the difference".into(),
                            ink: Ink::Vermillion,
                            marker: Marker::Triangle,
                            hollow: false,
                            points: change,
                        }),
                    ],
                },
            ],
        }),
        data: table,
        csv: None,
    }
}

/// A map of all changes.
pub(crate) fn overview() -> Figure {
    let cells: Vec<Vec<chart::Cell>> = BOOST
        .iter()
        .map(|b| {
            RPM.iter()
                .map(|r| {
                    let value = difference(*b, *r);
                    if *b > 110.0 && *r < 2600.0 {
                        chart::Cell::Missing
                    } else if *b > 70.0 && *b < 90.0 {
                        chart::Cell::Difference { value: 0.0, out: false }
                    } else {
                        chart::Cell::Difference { value, out: value.abs() > 1.9 }
                    }
                })
                .collect()
        })
        .collect();
    let table = cells.iter().zip(BOOST).fold(
        Table::new(
            "New minus old, % duty",
            std::iter::once(Column::number("boost, kPa"))
                .chain(RPM.iter().map(|r| Column::number(format!("{r:.0} rpm"))))
                .collect(),
        ),
        |t, (row, boost)| {
            let mut out = vec![Cell::number(Some(boost), 3)];
            out.extend(row.iter().map(|c| match c {
                chart::Cell::Missing => Cell::Missing,
                chart::Cell::Difference { value, .. } => Cell::number(Some(*value), 2),
            }));
            t.row(out)
        },
    );
    Figure {
        caption: "Where the output changed".into(),
        reading: "More at high boost and high speed, less at light boost beyond 5000 rpm, no change elsewhere. Two points were not measured.".into(),
        chart: Chart::Overview(Overview {
            x_title: "engine speed, rpm".into(),
            y_title: "boost, kPa".into(),
            value_title: "new minus old, % duty".into(),
            columns: RPM.iter().map(|r| format!("{r:.0}").into()).collect(),
            rows: BOOST.iter().map(|b| format!("{b:.0}").into()).collect(),
            cells,
            tolerance: 1.0,
        }),
        data: table,
        csv: None,
    }
}

/// Contributions to the uncertainty of the flow at full duty.
pub(crate) fn budget() -> Figure {
    let parts = [
        ("pressure gauge, gain", 0.46, false),
        ("repeatability of collections", 0.31, true),
        ("mist that escapes the cup", 0.22, false),
        ("jet thrust drift", 0.13, false),
        ("scale, gain and linearity", 0.08, false),
        ("water density (temperature)", 0.03, false),
        ("clock", 0.004, false),
    ];
    let whole: f64 = parts.iter().map(|p| p.1 * p.1).sum();
    let bars = parts
        .iter()
        .map(|&(name, u, type_a)| Bar {
            name: name.into(),
            length: u * u / whole * 100.0,
            words: format!("{:.0} %  (u = {u} %)", u * u / whole * 100.0).into(),
            type_a,
        })
        .collect();
    let table = parts.iter().fold(
        Table::new(
            "Uncertainty budget of the flow at 100 % duty",
            vec![
                Column::words("contribution"),
                Column::words("type"),
                Column::number("u, %"),
                Column::number("share, %"),
            ],
        ),
        |t, p| {
            t.row(vec![
                Cell::words(p.0),
                Cell::words(if p.2 { "A" } else { "B" }),
                Cell::number(Some(p.1), 2),
                Cell::number(Some(p.1 * p.1 / whole * 100.0), 2),
            ])
        },
    );
    Figure {
        caption: "What the uncertainty of the flow at full duty is made of".into(),
        reading: "The gain of the pressure gauge makes up most of it; a better gauge helps first.".into(),
        chart: Chart::Budget(Budget { title: "share of the variance".into(), bars }),
        data: table,
        csv: None,
    }
}
