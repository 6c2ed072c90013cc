//! The report as a document, before it has a format.
//!
//! In: words, numbers as text, charts. Out: a [`Page`] that [`super::page_html`] renders. Every text is [`Words`], so
//! nothing in a page can be read as markup. Never: a computation on measured data, an address.
//!
//! A page for one kind of result is put together like this (see `harness/report/pages/`):
//!
//! ```
//! use dutycup::door::report::chart::{Axis, Chart, Ink, Layer, Line, Panel, Plot, Point, Points, Marker};
//! use dutycup::door::report::figure_text::Units;
//! use dutycup::door::report::page::{Block, Cell, Column, Fact, Figure, Page, Section, Table};
//! use dutycup::door::report::summary::{Finding, KeyFigure, Summary, Tone};
//! use dutycup::door::report::words::FileName;
//! use dutycup::door::report::page_html;
//! use dutycup::door::calibration::Measured;
//!
//! let full = Measured { value: 412.34, u95: 6.21, dof: Some(14.0) };
//! let table = Table::new("Flow at each duty", vec![Column::words("duty"), Column::number("flow, mL/min")])
//!     .row(vec![Cell::words("100 %"), Cell::measured(full, "mL/min", Units::Metric)])
//!     .row(vec![Cell::words("20 %"), Cell::Missing]);
//! let chart = Chart::Plot(Plot {
//!     x: Axis::linear("duty, %").over(0.0, 100.0),
//!     panels: vec![Panel {
//!         y: Axis::linear("flow, mL/min").over(0.0, 400.0),
//!         layers: vec![
//!             Layer::Line(Line::solid("fitted", Ink::Blue, vec![(10.0, 0.0), (100.0, 412.3)])),
//!             Layer::Points(Points {
//!                 label: "measured".into(), ink: Ink::Vermillion, marker: Marker::Disc, hollow: false,
//!                 points: vec![Point::with_u(100.0, 412.3, 6.2)],
//!             }),
//!         ],
//!     }],
//! });
//! let page = Page {
//!     decision_rule: dutycup::door::report::page::DECISION_RULE.into(),
//!     id: "20260301-pair-7f3a".into(),
//!     hash: "sha256 9f2c41d0".into(),
//!     title: "Pump and nozzle".into(),
//!     subject: "pump P-17 with nozzle A".into(),
//!     summary: Summary {
//!         tone: Tone::Good,
//!         verdict: "measured".into(),
//!         headline: "At full duty this pair delivers 412 ± 6 mL/min into an open cup.".into(),
//!         figures: vec![KeyFigure::measured("flow at 100 % duty", full, "mL/min", Units::Metric)],
//!         findings: vec![Finding::new(Tone::Quiet, "The square-root law holds.", "")],
//!         files: FileName::new("duty_flow.csv").into_iter().collect(),
//!     },
//!     identity: vec![Fact::new("operator", "M. Example"), Fact::new("bench", "bench 1")],
//!     sections: vec![Section::new("Flow over duty")
//!         .with(Block::Paragraph("Every point is the mean of three collections.".into()))
//!         .with(Block::figure(Figure {
//!             caption: "Flow over duty".into(),
//!             reading: "Flow rises from zero at 10 % duty to 412 mL/min at 100 %.".into(),
//!             chart,
//!             data: table,
//!             csv: FileName::new("duty_flow.csv"),
//!         }))],
//!     provenance: vec![Fact::new("software", "dutycup 0.1.0")],
//! };
//! let html = page_html::render(&page);
//! assert!(html.contains("412.3"));
//! ```

use super::chart::Chart;
use super::figure_text::{self, Units};
use super::summary::Summary;
use super::words::{FileName, Words};
use crate::calibration::Measured;
use crate::verdict::item::Verdict;

/// A report.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// Unique id, on every printed page.
    pub id: Words,
    /// Hash of what the report was made from, on every printed page; empty where it was made from several files.
    pub hash: Words,
    /// What was tested: `Pump and nozzle`.
    pub title: Words,
    /// Which one: `pump P-17 with nozzle A`.
    pub subject: Words,
    /// The result.
    pub summary: Summary,
    /// Who, where, when, what, how: the title block.
    pub identity: Vec<Fact>,
    /// How verdicts of this page were decided: one rule a page.
    pub decision_rule: Words,
    /// The body.
    pub sections: Vec<Section>,
    /// Software, hashes, seed, instruments with calibration dates: what it takes to do it again.
    pub provenance: Vec<Fact>,
}

/// A name and what it stands for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// The name.
    pub name: Words,
    /// The value; empty is shown as `not stated`.
    pub value: Words,
}

impl Fact {
    /// A fact.
    pub fn new(name: impl Into<Words>, value: impl Into<Words>) -> Self {
        Fact { name: name.into(), value: value.into() }
    }
}

/// A part of the body with a heading.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// The heading.
    pub heading: Words,
    /// What it holds, in order.
    pub blocks: Vec<Block>,
}

impl Section {
    /// An empty section.
    pub fn new(heading: impl Into<Words>) -> Self {
        Section { heading: heading.into(), blocks: Vec::new() }
    }

    /// The section with one more block.
    #[must_use]
    pub fn with(mut self, block: Block) -> Self {
        self.blocks.push(block);
        self
    }
}

/// One thing in a section.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A paragraph.
    Paragraph(Words),
    /// A table.
    Table(Table),
    /// A chart with its data.
    Figure(Box<Figure>),
    /// Names and values.
    Facts(Vec<Fact>),
}

impl Block {
    /// A figure block.
    #[must_use]
    pub fn figure(figure: Figure) -> Self {
        Block::Figure(Box::new(figure))
    }
}

/// A chart, what it shows in words, and its data.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Its name.
    pub caption: Words,
    /// What a reader sees in it, in a sentence: shown below the caption and read to those who do not see it.
    pub reading: Words,
    /// The chart.
    pub chart: Chart,
    /// The data behind it, in the units of the chart.
    pub data: Table,
    /// The file of the run folder that holds them all.
    pub csv: Option<FileName>,
}

/// A table. The first cell of each row is its heading.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Its name.
    pub caption: Words,
    /// Columns from the left.
    pub columns: Vec<Column>,
    /// Rows; each has a cell a column.
    pub rows: Vec<Vec<Cell>>,
    /// What to know when reading it; empty for nothing.
    pub note: Words,
}

impl Table {
    /// A table without rows.
    pub fn new(caption: impl Into<Words>, columns: Vec<Column>) -> Self {
        Table { caption: caption.into(), columns, rows: Vec::new(), note: "".into() }
    }

    /// The table with one more row.
    #[must_use]
    pub fn row(mut self, cells: Vec<Cell>) -> Self {
        self.rows.push(cells);
        self
    }

    /// The table with a note.
    #[must_use]
    pub fn noted(mut self, note: impl Into<Words>) -> Self {
        self.note = note.into();
        self
    }
}

/// A column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Heading, with the unit.
    pub name: Words,
    /// Whether its cells are numbers, set to the right.
    pub number: bool,
}

impl Column {
    /// A column of words.
    pub fn words(name: impl Into<Words>) -> Self {
        Column { name: name.into(), number: false }
    }

    /// A column of numbers.
    pub fn number(name: impl Into<Words>) -> Self {
        Column { name: name.into(), number: true }
    }
}

/// A cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Not measured: shown as such, never as a blank or a zero.
    Missing,
    /// Words or a number as text.
    Text(Words),
    /// A verdict: sign and word.
    Verdict(Verdict),
}

impl Cell {
    /// Words.
    pub fn words(text: impl Into<Words>) -> Self {
        Cell::Text(text.into())
    }

    /// A number to `digits` significant digits; missing where there is none.
    #[must_use]
    pub fn number(value: Option<f64>, digits: i32) -> Self {
        value
            .filter(|v| v.is_finite())
            .map_or(Cell::Missing, |v| Cell::Text(figure_text::significant(v, digits).into()))
    }

    /// A value with its uncertainty and without its unit, which the column names: `412.3 ± 6.2`.
    #[must_use]
    pub fn measured(measured: Measured, unit: &str, units: Units) -> Self {
        if !measured.value.is_finite() {
            return Cell::Missing;
        }
        match figure_text::pair(measured.value, Some(measured.u95), units.shown(unit)) {
            (value, Some(u)) => Cell::words(format!("{value} ± {u}")),
            (value, None) => Cell::words(value),
        }
    }
}

/// Said on every report.
pub const RELATES_ONLY: &str =
    "These results relate only to the items tested, in the condition in which they were received.";

/// What a verdict means on a report that holds values against limits.
pub const DECISION_RULE: &str = "Decision rule: a value passes when it lies inside its limits by at least its expanded \
     uncertainty U (95 %), fails when it lies outside by at least U, and is undecided in between.";

/// Said on every report: what the bench is not.
pub const CAUTION: &str = "The bench and this report are aids, not safety devices. Water under pressure, pumps and \
     methanol can hurt: data sheets, local codes and licensed practice come first.";
