//! The report of a map: the flow that each point of a controller delivers.
//!
//! In: rows with flow and U. Out: a [`Page`]. Never: a computation of a result.

use super::subject::Subject;
use crate::calibration::Measured;
use crate::judge::map::Row;
use crate::reduce::controller::Kind;
use crate::report::chart::{Axis, Chart, Ink, Layer, Line, Marker, Multiples, Point, Points, Small};
use crate::report::figure_text::Units;
use crate::report::page::{Block, Cell, Column, DECISION_RULE, Figure, Page, Section, Table};
use crate::report::summary::{Finding, KeyFigure, Summary, Tone};
use crate::report::words::FileName;
use std::collections::BTreeMap;

/// The page. Points come to from above stand in the file; the picture shows those from below.
#[must_use]
pub fn page(subject: &Subject, rows: &[Row], units: Units) -> Page {
    let shown: Vec<&Row> = rows.iter().filter(|r| r.observation.kind != Kind::SteadyDown).collect();
    let known = rows.iter().filter(|r| r.flow.is_ok()).count();
    let most = shown
        .iter()
        .filter_map(|r| r.flow.as_ref().ok())
        .max_by(|a, b| a.flow_ml_min.total_cmp(&b.flow_ml_min));
    let mut findings = Vec::new();
    let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
    let refused = rows.iter().filter_map(|r| r.flow.as_ref().err());
    let warned = rows.iter().filter_map(|r| r.flow.as_ref().ok()).flat_map(|d| &d.warnings);
    refused.chain(warned).for_each(|why| *reasons.entry(why).or_default() += 1);
    findings.extend(
        reasons.into_iter().map(|(why, n)| Finding::new(Tone::Doubt, format!("{n} points: {why}"), "")),
    );
    let highest = most.map(|d| Measured { value: d.flow_ml_min, u95: d.u95_ml_min, dof: None });
    Page {
        decision_rule: DECISION_RULE.into(),
        id: subject.id.as_str().into(),
        hash: subject.hash.as_str().into(),
        title: subject.title.as_str().into(),
        subject: subject.items.as_str().into(),
        summary: Summary {
            tone: if known == rows.len() { Tone::Good } else { Tone::Doubt },
            verdict: "measured".into(),
            headline: format!("Delivered flow for {known} of {} points, each at its own boost.", rows.len())
                .into(),
            figures: highest
                .map(|m| KeyFigure::measured("largest flow on the map", m, "mL/min", units))
                .into_iter()
                .collect(),
            findings,
            files: ["map.csv", "report.html"].into_iter().filter_map(FileName::new).collect(),
        },
        identity: subject.identity.clone(),
        sections: vec![Section::new("Delivered flow").with(Block::figure(picture(&shown, units)))],
        provenance: subject.provenance.clone(),
    }
}

fn picture(rows: &[&Row], units: Units) -> Figure {
    let (flow, pressure) = (units.shown("mL/min"), units.shown("kPa"));
    let mut levels: BTreeMap<i64, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        if let Some(kpa) = row.boost_kpa {
            levels.entry((kpa * 10.0).round() as i64).or_default().push(row);
        }
    }
    let title = |level: i64| format!("boost {:.1} {}", level as f64 / 10.0 * pressure.factor, pressure.unit);
    let columns = vec![
        Column::words("boost"),
        Column::number("rpm"),
        Column::number("duty, %"),
        Column::number(format!("flow, {}", flow.unit)),
    ];
    let mut table = Table::new("Delivered flow", columns);
    let mut plots = Vec::new();
    for (level, mut rows) in levels {
        rows.sort_by(|a, b| {
            a.observation.at.rpm.unwrap_or(0.0).total_cmp(&b.observation.at.rpm.unwrap_or(0.0))
        });
        let mut points = Vec::new();
        for row in rows {
            let (o, found) = (&row.observation, row.flow.as_ref().ok());
            let measured = found.map(|d| Measured { value: d.flow_ml_min, u95: d.u95_ml_min, dof: None });
            table = table.row(vec![
                Cell::words(title(level)),
                Cell::number(o.at.rpm, 5),
                Cell::number(o.value, 4),
                measured.map_or(Cell::Missing, |m| Cell::measured(m, "mL/min", units)),
            ]);
            if let (Some(rpm), Some(d)) = (o.at.rpm, found) {
                points.push(Point::with_u(rpm, d.flow_ml_min * flow.factor, d.u95_ml_min * flow.factor));
            }
        }
        let line = points.iter().map(|p| (p.x, p.y)).collect();
        plots.push(Small {
            title: title(level).into(),
            layers: vec![
                Layer::Line(Line::solid("delivered flow", Ink::Blue, line)),
                Layer::Points(Points {
                    label: "delivered flow".into(),
                    ink: Ink::Blue,
                    marker: Marker::Disc,
                    hollow: false,
                    points,
                }),
            ],
        });
    }
    Figure {
        caption: "Delivered flow over engine speed, by boost".into(),
        reading: "What comes out of the nozzle against the boost of each point; bars are U at 95 %.".into(),
        chart: Chart::Multiples(Multiples {
            x: Axis::linear("engine speed, rpm"),
            y: Axis::linear(format!("flow, {}", flow.unit)),
            plots,
        }),
        data: table,
        csv: FileName::new("map.csv"),
    }
}
