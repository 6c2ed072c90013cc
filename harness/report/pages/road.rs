//! The report of a road trace: duty, pressure and fluid used over time, the volume, how long a tank lasts.
//!
//! In: a reduced trace, verdicts. Out: a [`Page`]. Never: a computation of a result.

use super::items;
use super::subject::Subject;
use crate::reduce::road::Road;
use crate::report::chart::{Axis, Chart, Ink, Layer, Line, Panel, Plot};
use crate::report::figure_text::Units;
use crate::report::page::{Block, Cell, Column, Figure, Page, Section, Table};
use crate::report::words::FileName;
use crate::verdict::item::Verdicts;

/// Every how many points one stands in the page's table; the file holds all.
const TABLE_EVERY: usize = 10;

/// The page.
#[must_use]
pub fn page(subject: &Subject, road: &Road, verdicts: &Verdicts, units: Units) -> Page {
    let said = [format!("{:.0} s of road; the pump ran for {:.0} s of them.", road.seconds, road.spraying_s)];
    let mut page = items::page(subject, verdicts, &[], &said, &["road.csv"], units);
    page.sections.insert(0, Section::new("Over time").with(Block::figure(over_time(road, units))));
    page
}

fn over_time(road: &Road, units: Units) -> Figure {
    let pressure = units.shown("kPa");
    let names = ["duty, %".to_owned(), format!("line, {}", pressure.unit), "used, mL".to_owned()];
    let factors = [1.0, pressure.factor, 1.0];
    let inks = [Ink::Purple, Ink::Blue, Ink::Green];
    let panel = |i: usize| {
        let line = road.series[i].iter().map(|p| (p.0, p.1 * factors[i])).collect();
        Panel {
            y: Axis::linear(names[i].as_str()),
            layers: vec![Layer::Line(Line::solid(names[i].as_str(), inks[i], line))],
        }
    };
    let panels = (0..3).filter(|i| !road.series[*i].is_empty()).map(panel).collect();
    let columns =
        std::iter::once(Column::number("time, s")).chain(names.iter().map(Column::number)).collect();
    let at =
        |i: usize, t: f64| road.series[i].iter().find(|p| (p.0 - t).abs() < 1e-6).map(|p| p.1 * factors[i]);
    let mut table = Table::new("The trace over time", columns);
    for (t, _) in road.series[1].iter().step_by(TABLE_EVERY) {
        let cells = (0..3).map(|i| Cell::number(at(i, *t), 4));
        table = table.row(std::iter::once(Cell::number(Some(*t), 4)).chain(cells).collect());
    }
    Figure {
        caption: "Duty, line pressure and fluid used".into(),
        reading: "What the controller asked of the pump, what pressure that made, what was used up to then."
            .into(),
        chart: Chart::Plot(Plot { x: Axis::linear("time, s"), panels }),
        data: table,
        csv: FileName::new("road.csv"),
    }
}
