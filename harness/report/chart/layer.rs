//! What is drawn in a panel, before it is drawn: points, lines, bands, spans, references, callouts, histogram bars.
//!
//! In: numbers in the units that are displayed, and words. Out: nothing; these are plain data.
//! Never: a pixel, a unit conversion.

use crate::report::words::Words;

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
    /// Two crossed lines.
    Cross,
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
    /// Dash and dot.
    Mixed,
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
        Point { x, y, y_u: 0.0, x_u: 0.0 }
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
        Line { label: label.into(), ink, dash: Dash::Solid, step: false, arrow: false, points }
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
