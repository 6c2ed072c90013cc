//! What a chart is, before it is drawn: kinds of charts and their axes.
//!
//! In: numbers in the units that are displayed, and words. Out: nothing; these are plain data.
//! Never: a pixel, a colour, a unit conversion.

use super::layer::Layer;
use crate::report::words::Words;

/// A chart of one of the kinds there are.
#[derive(Clone, Debug, PartialEq)]
pub enum Chart {
    /// One plot, or several above one another over the same x axis.
    Plot(Plot),
    /// Small plots side by side, all with the same axes.
    Multiples(Multiples),
    /// Horizontal bars of an uncertainty budget.
    Budget(Budget),
    /// A map of differences over two axes.
    Overview(Overview),
}

/// Panels above one another over one x axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// The x axis of all panels.
    pub x: Axis,
    /// From the top.
    pub panels: Vec<Panel>,
}

/// One pair of axes and what is drawn in it, in drawing order.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// The y axis.
    pub y: Axis,
    /// What is drawn; bands and spans go beneath everything else whatever their place.
    pub layers: Vec<Layer>,
}

/// Small plots with the same axes.
#[derive(Clone, Debug, PartialEq)]
pub struct Multiples {
    /// The x axis of each.
    pub x: Axis,
    /// The y axis of each.
    pub y: Axis,
    /// In reading order.
    pub plots: Vec<Small>,
}

/// One of many small plots. Layers with the same label in several plots share one entry of the key.
#[derive(Clone, Debug, PartialEq)]
pub struct Small {
    /// What this one is for: `boost 58 kPa`.
    pub title: Words,
    /// What is drawn.
    pub layers: Vec<Layer>,
}

/// An axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// What it shows, with the unit: `flow, mL/min`.
    pub title: Words,
    /// How values are spaced.
    pub spacing: Spacing,
    /// Values that must be on it; it grows beyond them where the data do.
    pub at_least: Option<(f64, f64)>,
}

impl Axis {
    /// A linear axis over its data.
    pub fn linear(title: impl Into<Words>) -> Self {
        Axis { title: title.into(), spacing: Spacing::Linear, at_least: None }
    }

    /// A logarithmic axis over its data; values that are not positive cannot be shown, and the chart says how many.
    pub fn log(title: impl Into<Words>) -> Self {
        Axis { spacing: Spacing::Log, ..Axis::linear(title) }
    }

    /// An axis of named places: 0 for the first word, 1 for the second, and so on. It reaches half a place beyond them,
    /// and further where the data do.
    pub fn words<W: Into<Words>>(title: impl Into<Words>, words: impl IntoIterator<Item = W>) -> Self {
        Axis { spacing: Spacing::Words(words.into_iter().map(Into::into).collect()), ..Axis::linear(title) }
    }

    /// The same axis, reaching at least from `low` to `high`.
    #[must_use]
    pub fn over(mut self, low: f64, high: f64) -> Self {
        self.at_least = Some((low, high));
        self
    }
}

/// How the values of an axis are spaced.
#[derive(Clone, Debug, PartialEq)]
pub enum Spacing {
    /// Evenly.
    Linear,
    /// By ratio.
    Log,
    /// Named places at 0, 1, 2, ...
    Words(Vec<Words>),
}

/// Contributions to an uncertainty, largest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// What the lengths are: `share of the variance, %`.
    pub title: Words,
    /// The bars.
    pub bars: Vec<Bar>,
}

/// One contribution.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// What contributes.
    pub name: Words,
    /// Length, 0 or more.
    pub length: f64,
    /// What is written at its end: `0.31 % (58 % of the variance)`.
    pub words: Words,
    /// Type A (from repeats and residuals, hatched) or type B (from the rig file and data sheets, solid).
    pub type_a: bool,
}

/// A map of differences over two axes.
#[derive(Clone, Debug, PartialEq)]
pub struct Overview {
    /// What the columns are: `engine speed, rpm`.
    pub x_title: Words,
    /// What the rows are: `boost, kPa`.
    pub y_title: Words,
    /// What the cells are: `new minus old, % duty`.
    pub value_title: Words,
    /// Column names from the left.
    pub columns: Vec<Words>,
    /// Row names from the top.
    pub rows: Vec<Words>,
    /// Cells by row; missing ones are drawn as missing.
    pub cells: Vec<Vec<Cell>>,
    /// The difference that counts as a change: colours reach full strength at three times it.
    pub tolerance: f64,
}

/// One cell of a map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell {
    /// Not measured.
    Missing,
    /// A difference, and whether it is out of limit.
    Difference {
        /// New minus old.
        value: f64,
        /// Whether it counts as a change.
        out: bool,
    },
}
