//! What a chart is, before it is drawn: axes, layers, panels.
//!
//! In: numbers in the units that are displayed, and words. Out: nothing; these are plain data.
//! Never: a pixel, a colour, a unit conversion.

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
        Axis {
            title: title.into(),
            spacing: Spacing::Linear,
            at_least: None,
        }
    }

    /// A logarithmic axis over its data; values that are not positive cannot be shown, and the chart says how many.
    pub fn log(title: impl Into<Words>) -> Self {
        Axis {
            spacing: Spacing::Log,
            ..Axis::linear(title)
        }
    }

    /// An axis of named places: 0 for the first word, 1 for the second, and so on.
    pub fn words<W: Into<Words>>(title: impl Into<Words>, words: impl IntoIterator<Item = W>) -> Self {
        Axis {
            spacing: Spacing::Words(words.into_iter().map(Into::into).collect()),
            ..Axis::linear(title)
        }
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

/// One of five inks that stay apart for colour-blind readers; markers and line styles differ besides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Ink {
    /// Blue, light blue on dark.
    Blue,
    /// Vermillion, orange on dark.
    Vermillion,
    /// Bluish green.
    Green,
    /// Reddish purple.
    Purple,
    /// Black, white on dark.
    Plain,
}

impl Ink {
    /// All of them, in the order in which to use them.
    pub const ALL: [Ink; 5] = [Ink::Blue, Ink::Vermillion, Ink::Green, Ink::Purple, Ink::Plain];
}

/// The shape of a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Marker {
    /// A disc.
    Disc,
    /// A square on its side.
    Square,
    /// A triangle pointing up.
    Triangle,
    /// A square on its corner.
    Diamond,
    /// Two crossed lines.
    Cross,
    /// An upright dash, for many values along one line.
    Tick,
}

/// The style of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dash {
    /// Unbroken.
    Solid,
    /// Long dashes.
    Long,
    /// Short dashes.
    Short,
    /// Dots.
    Dots,
    /// Dash and dot.
    DashDot,
}

/// One thing drawn in a panel.
#[derive(Clone, Debug, PartialEq)]
pub enum Layer {
    /// Points, with bars of their uncertainty.
    Points(Points),
    /// A line, a step line, a closed loop.
    Line(Line),
    /// A band around a curve.
    Band(Band),
    /// A stretch of the x axis.
    Span(Span),
    /// A straight line at one value, with its name.
    Reference(Reference),
    /// Words about one place.
    Callout(Callout),
    /// Bars of a histogram.
    Bins(Bins),
}

/// A point; a value that is not finite is not drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Along x.
    pub x: f64,
    /// Along y.
    pub y: f64,
    /// Half the length of the error bar along y; 0 for none.
    pub y_u: f64,
    /// Half the length of the error bar along x; 0 for none.
    pub x_u: f64,
}

impl Point {
    /// A point without error bars.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Point {
            x,
            y,
            y_u: 0.0,
            x_u: 0.0,
        }
    }

    /// A point with an error bar along y.
    #[must_use]
    pub const fn with_u(x: f64, y: f64, y_u: f64) -> Self {
        Point { x, y, y_u, x_u: 0.0 }
    }
}

/// Points of one kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Points {
    /// What they are.
    pub label: Words,
    /// Colour.
    pub ink: Ink,
    /// Shape.
    pub marker: Marker,
    /// Drawn as an outline: voided, earlier, not used.
    pub hollow: bool,
    /// The points.
    pub points: Vec<Point>,
}

/// A line through places in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What it is.
    pub label: Words,
    /// Colour.
    pub ink: Ink,
    /// Style.
    pub dash: Dash,
    /// Whether a value holds until the next one.
    pub step: bool,
    /// Whether an arrow head in the middle shows the direction.
    pub arrow: bool,
    /// `(x, y)` in order; a y that is not finite is a gap.
    pub points: Vec<(f64, f64)>,
}

impl Line {
    /// A plain solid line.
    pub fn solid(label: impl Into<Words>, ink: Ink, points: Vec<(f64, f64)>) -> Self {
        Line {
            label: label.into(),
            ink,
            dash: Dash::Solid,
            step: false,
            arrow: false,
            points,
        }
    }

    /// The same line in another style.
    #[must_use]
    pub fn dashed(mut self, dash: Dash) -> Self {
        self.dash = dash;
        self
    }
}

/// What a band says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum BandKind {
    /// Where the curve itself may lie (hatched rising, dense).
    Confidence,
    /// Where a single further value may lie (hatched falling, wide).
    Prediction,
    /// Where values are wanted (level lines).
    Tolerance,
}

/// A band along x.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// What it is.
    pub label: Words,
    /// What it says.
    pub kind: BandKind,
    /// Colour.
    pub ink: Ink,
    /// `(x, low, high)` in order; a value that is not finite is a gap.
    pub points: Vec<(f64, f64, f64)>,
}

/// What happened during a stretch of x.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum SpanKind {
    /// Waiting for rest: hatched.
    Settle,
    /// Used for the result: shaded.
    Dwell,
    /// Not used: crossed out.
    Void,
}

/// A stretch of the x axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// A short name shown above it where there is room; a void stretch is always named.
    pub label: Words,
    /// What happened.
    pub kind: SpanKind,
    /// From this x.
    pub from: f64,
    /// To this x.
    pub to: f64,
}

/// What a reference line stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReferenceKind {
    /// A limit: heavy dashes.
    Limit,
    /// A value worth seeing: thin dashes.
    Mark,
    /// A zero or a nominal value: thin solid.
    Base,
}

/// A straight line at one value.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// Its name, written beside it.
    pub label: Words,
    /// What it stands for.
    pub kind: ReferenceKind,
    /// Whether it is upright (at an x) or level (at a y).
    pub upright: bool,
    /// Where.
    pub at: f64,
}

/// Words about one place, placed where they hide nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Callout {
    /// The place.
    pub x: f64,
    /// The place.
    pub y: f64,
    /// The words.
    pub words: Words,
}

/// Bars of a histogram; an empty bin has no bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Bins {
    /// What was counted.
    pub label: Words,
    /// Colour.
    pub ink: Ink,
    /// `(from, to, count)` in order.
    pub bins: Vec<(f64, f64, f64)>,
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
