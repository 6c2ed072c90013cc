//! Charts as SVG text, drawn without a browser, a font or a script.
//!
//! In: a [`Chart`] of numbers and words, a [`Size`], an id prefix. Out: one `<svg>` element; the same input gives the
//! same bytes. Colours are classes that the page's style sheet fills in, so that a dark page has dark charts.
//! Never: meaning by colour alone (markers, line styles, hatches and words say the same), clipped text, a value that
//! is missing drawn as zero.
//!
//! | file | what it draws |
//! |---|---|
//! | `model`, `layer` | what a chart is: kinds, axes; what is drawn in a panel |
//! | `scale`, `axes` | linear, logarithmic and worded axes with ticks |
//! | `series`, `band`, `span`, `mark`, `bins` | one kind of layer each |
//! | `direct`, `ground` | labels beside what they name, placed where nothing is |
//! | `key` | what is not labelled directly |
//! | `panels`, `multiples` | plots above one another; many small plots with one pair of scales |
//! | `budget`, `overview` | bars of an uncertainty budget; a map of changes |
//! | `svg`, `measure`, `palette`, `decimate` | bytes, text widths, colours, long series |

mod axes;
mod band;
mod bins;
mod budget;
pub mod decimate;
mod direct;
mod ground;
mod key;
mod layer;
mod mark;
pub mod measure;
mod model;
mod multiples;
mod overview;
pub mod palette;
mod panels;
mod scale;
mod series;
mod span;
mod svg;

pub use layer::{
    Band, BandKind, Bins, Callout, Dash, Ink, Layer, Line, Marker, Point, Points, Reference, ReferenceKind,
    Span, SpanKind,
};
#[cfg(feature = "door")]
pub use model::Spacing;
pub use model::{Axis, Bar, Budget, Cell, Chart, Multiples, Overview, Panel, Plot, Small};

use super::words::Words;

/// How wide a chart is laid out. A page holds both and shows the one that fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// 720 units: screens and paper.
    Wide,
    /// 340 units: a phone at the bench.
    Narrow,
}

impl Size {
    /// Units across.
    #[must_use]
    pub const fn width(self) -> f64 {
        match self {
            Size::Wide => 720.0,
            Size::Narrow => 340.0,
        }
    }

    /// Points that a series keeps at most.
    #[must_use]
    pub const fn points_max(self) -> usize {
        match self {
            Size::Wide => 2000,
            Size::Narrow => 700,
        }
    }
}

/// The chart as one `<svg>` element. `id` is a prefix of letters, digits and `-`, unique on the page; `title` names
/// the chart and `desc` says what it shows, for readers who do not see it.
#[must_use]
pub fn svg(chart: &Chart, size: Size, id: &str, title: &Words, desc: &Words) -> String {
    let mut canvas = svg::Canvas::new(id, size);
    match chart {
        Chart::Plot(plot) => panels::draw(plot, &mut canvas),
        Chart::Multiples(multiples) => multiples::draw(multiples, &mut canvas),
        Chart::Budget(budget) => budget::draw(budget, &mut canvas),
        Chart::Overview(overview) => overview::draw(overview, &mut canvas),
    }
    canvas.finish(title, desc)
}
