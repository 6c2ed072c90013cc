//! Many small plots with one pair of scales, so that they can be compared at a glance.
//!
//! In: [`Multiples`]. Out: small frames in rows, tick labels at the outer edges, one key. Never: a scale of its own
//! for one of them.

use super::Size;
use super::axes::{self, Plane};
use super::ground::Ground;
use super::key::{Key, Sample, line_sample};
use super::layer::Layer;
use super::mark::{self, Strip};
use super::measure;
use super::model::{Multiples, Small};
use super::panels;
use super::scale::Scale;
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};

/// Between frames of a row.
const GUTTER: f64 = 16.0;

/// The plots.
pub(super) fn draw(multiples: &Multiples, canvas: &mut Canvas) {
    let (columns_max, high) = match canvas.size {
        Size::Wide => (3, 130.0),
        Size::Narrow => (2, 110.0),
    };
    let columns = columns_max.min(multiples.plots.len()).max(1);
    let layers = || multiples.plots.iter().map(|p| &p.layers[..]);
    let x = mark::scale_over(&multiples.x, layers(), true);
    let y = mark::scale_over(&multiples.y, layers(), false);
    let left = axes::y_room(&axes::y_ticks(&y.moved(high, 0.0), high));
    let overhang = axes::y_overhang(&axes::y_ticks(&y.moved(high, 0.0), high));
    let across = (canvas.width() - left - 10.0 - GUTTER * (columns - 1) as f64) / columns as f64;
    canvas.height = axes::y_title(canvas, &multiples.y, 0.0);
    let mut key = Key::default();
    let mut bottom = canvas.height;
    for (row, plots) in multiples.plots.chunks(columns).enumerate() {
        let titles: Vec<Vec<String>> =
            plots.iter().map(|p| measure::wrap(p.title.as_str(), FONT, across - 2.0)).collect();
        let title_lines = titles.iter().map(Vec::len).max().unwrap_or(1);
        let top = bottom + title_lines as f64 * LINE + 6.0 + overhang;
        for (column, (plot, title)) in plots.iter().zip(&titles).enumerate() {
            let frame_left = left + column as f64 * (across + GUTTER);
            let frame = Rect { left: frame_left, right: frame_left + across, top, bottom: top + high };
            let first = top - 6.0 - (title.len() - 1) as f64 * LINE;
            canvas.lines("tt", frame.left, first, Anchor::Start, title);
            let lowest = (row + 1) * columns + column >= multiples.plots.len();
            draw_small(canvas, (&x, &y), frame, plot, (column == 0, lowest), &mut key);
        }
        let lowest_row = (row + 2) * columns > multiples.plots.len();
        bottom = top + high + if lowest_row { LINE + 8.0 } else { 10.0 };
    }
    let whole = Rect { left, right: canvas.width() - 10.0, top: 0.0, bottom };
    canvas.height = axes::x_title(canvas, &multiples.x, whole, bottom - 2.0) + 6.0;
    canvas.height = key.draw(canvas, canvas.height);
}

/// One plot; `edges` says whether it carries labels of the y axis and of the x axis.
fn draw_small(
    canvas: &mut Canvas,
    (x, y): (&Scale, &Scale),
    frame: Rect,
    plot: &Small,
    edges: (bool, bool),
    key: &mut Key,
) {
    let plane = Plane { frame, x: x.moved(frame.left, frame.right), y: y.moved(frame.bottom, frame.top) };
    mark::draw_spans(canvas, &plane, &plot.layers);
    axes::draw_x(canvas, &plane, &axes::x_ticks(&plane.x, frame.width()), edges.1);
    let mut y_ticks = axes::y_ticks(&plane.y, frame.height());
    if !edges.0 {
        y_ticks.iter_mut().for_each(|t| t.label.clear());
    }
    axes::draw_y(canvas, &plane, &y_ticks);
    let mut ground = Ground::new(frame);
    panels::draw_layers(canvas, &plane, &plot.layers, &Strip::default(), &mut ground);
    axes::draw_frame(canvas, frame);
    for layer in &plot.layers {
        match layer {
            Layer::Line(l) => key.add(line_sample(l, &plot.layers), l.label.as_str()),
            Layer::Reference(r) => key.add(Sample::Reference(r.kind), r.label.as_str()),
            Layer::Callout(c) => mark::draw_callout(canvas, &plane, c, &mut ground),
            _ => {}
        }
    }
    panels::key_of(&plot.layers, key);
}
