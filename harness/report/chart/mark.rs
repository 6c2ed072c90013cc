//! Straight lines at one value with their names, and words about one place.
//!
//! In: references, spans and callouts, a plane. Out: lines; names in a strip above the frame (upright lines, spans)
//! or beside a level line; callouts where there is room. Never: a name over another name.

use super::axes::Plane;
use super::ground::Ground;
use super::key::reference_class;
use super::layer::{Callout, Layer, Reference, Span, SpanKind};
use super::measure;
use super::model::Axis;
use super::scale::Scale;
use super::series::path;
use super::span;
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};

/// A name in the strip above a frame.
struct Name {
    text: String,
    left: f64,
    right: f64,
    row: usize,
}

/// The strip of names above a frame.
#[derive(Default)]
pub(super) struct Strip {
    names: Vec<Name>,
    /// For each upright line: its layer's place in the panel, its row, its x.
    rows: Vec<(usize, usize, f64)>,
    /// Layers whose names are too long to stand here; they belong into the key.
    pub(super) too_long: Vec<usize>,
}

/// Room between names of a row.
const APART: f64 = 8.0;
/// The longest name, as a part of the width of the chart.
const LONGEST: f64 = 0.7;

impl Strip {
    /// Packs the names of a panel. Upright lines are packed from the right, each name to the right of its line, so
    /// that the line of a name in a higher row passes to the left of the names beneath it.
    pub(super) fn pack(layers: &[Layer], x: &Scale, width: f64) -> Strip {
        let mut strip = Strip::default();
        let mut upright: Vec<(usize, &Reference, f64)> = layers
            .iter()
            .enumerate()
            .filter_map(|(i, layer)| match layer {
                Layer::Reference(r) if r.upright && !r.label.is_empty() => Some((i, r, x.at(r.at)?)),
                _ => None,
            })
            .collect();
        upright.sort_by(|a, b| b.2.total_cmp(&a.2));
        for (i, reference, at) in upright {
            let across = measure::width(reference.label.as_str(), FONT);
            if across > width * LONGEST {
                strip.too_long.push(i);
                continue;
            }
            let left = (at - 2.0).min(width - across - 1.0).max(1.0);
            let row = strip.add(reference.label.as_str(), left, across, usize::MAX);
            strip.rows.push((i, row.unwrap_or(0), at));
        }
        for wanted in [true, false] {
            for (i, layer) in layers.iter().enumerate() {
                if let Layer::Span(s) = layer
                    && (s.kind == SpanKind::Void) == wanted
                    && !s.label.is_empty()
                {
                    strip.add_span(i, s, x, width);
                }
            }
        }
        strip
    }

    /// A name of a void span is always to be read, here or in the key; others only where there is room.
    fn add_span(&mut self, layer: usize, s: &Span, x: &Scale, width: f64) {
        let (from, to) = (x.clamped(s.from), x.clamped(s.to));
        let across = measure::width(s.label.as_str(), FONT);
        let left = ((from + to - across) / 2.0).min(width - across - 1.0).max(1.0);
        if s.kind == SpanKind::Void {
            if across > width * LONGEST {
                self.too_long.push(layer);
            } else {
                self.add(s.label.as_str(), left, across, usize::MAX);
            }
        } else if across <= to - from + 6.0 {
            self.add(s.label.as_str(), left, across, 1);
        }
    }

    /// Puts a name into the lowest row where it fits.
    fn add(&mut self, text: &str, left: f64, across: f64, rows_max: usize) -> Option<usize> {
        let right = left + across;
        let row = (0..rows_max.min(self.names.len() + 2)).find(|row| {
            let free = |n: &Name| n.row != *row || right + APART <= n.left || n.right + APART <= left;
            // A line on its way up to a higher row must not pass through this name.
            let passed =
                |(_, above, x): &(usize, usize, f64)| *above > *row && (left - 2.0..right + 2.0).contains(x);
            self.names.iter().all(free) && !self.rows.iter().any(passed)
        })?;
        self.names.push(Name { text: text.to_owned(), left, right, row });
        Some(row)
    }

    /// The height of the strip.
    pub(super) fn height(&self) -> f64 {
        self.names.iter().map(|n| n.row + 1).max().unwrap_or(0) as f64 * LINE
    }

    /// Draws the names above a frame that begins at `frame_top`.
    pub(super) fn draw(&self, canvas: &mut Canvas, frame_top: f64) {
        for name in &self.names {
            let y = frame_top - 5.0 - name.row as f64 * LINE;
            canvas.text("tx ha", name.left, y, Anchor::Start, &name.text);
        }
    }

    /// Where the upright line of a layer ends above.
    fn top_of(&self, layer: usize, frame_top: f64) -> f64 {
        let row = self.rows.iter().find(|(i, ..)| *i == layer).map(|(_, row, _)| *row);
        row.map_or(frame_top, |row| frame_top - row as f64 * LINE - 3.0)
    }
}

/// A reference line; an upright one reaches up to its name.
pub(super) fn draw_reference(
    canvas: &mut Canvas,
    plane: &Plane,
    (layer, reference): (usize, &Reference),
    strip: &Strip,
    ground: &mut Ground,
) {
    let frame = plane.frame;
    let class = reference_class(reference.kind);
    if reference.upright {
        if let Some(x) = plane.x.at(reference.at) {
            let top = strip.top_of(layer, frame.top);
            canvas.line(class, (x, top), (x, frame.bottom));
            ground.stroke((x, frame.top), (x, frame.bottom));
        }
    } else if let Some(y) = plane.y.at(reference.at) {
        canvas.line(class, (frame.left, y), (frame.right, y));
        ground.stroke((frame.left, y), (frame.right, y));
    }
}

/// Words about one place: a ring around it, a thin line, and the words where there is room.
pub(super) fn draw_callout(canvas: &mut Canvas, plane: &Plane, callout: &Callout, ground: &mut Ground) {
    let Some(at) = plane.at(callout.x, callout.y) else {
        return;
    };
    let width_max = (plane.frame.width() * 0.46).min(230.0);
    let lines = measure::wrap(callout.words.as_str(), FONT, width_max);
    let (across, down) = (measure::widest(&lines, FONT), lines.len() as f64 * LINE);
    let Some(rect) = ground.place(at, across, down, 20.0) else {
        canvas.note(callout.words.to_string());
        return;
    };
    leader(canvas, at, &rect.grown(3.0), 6.0);
    canvas.leaf(
        "circle",
        &[("class", "ring".into()), ("cx", at.0.into()), ("cy", at.1.into()), ("r", 6.5.into())],
    );
    canvas.lines("tx ha", rect.left, rect.top + FONT, Anchor::Start, &lines);
}

/// A thin line from a place to the nearest edge of a box of words, beginning `off` away from the place.
fn leader(canvas: &mut Canvas, at: (f64, f64), rect: &Rect, off: f64) {
    let to = (at.0.clamp(rect.left, rect.right), at.1.clamp(rect.top, rect.bottom));
    let far = (to.0 - at.0).hypot(to.1 - at.1);
    if far > off + 2.0 {
        let t = off / far;
        let from = (at.0 + (to.0 - at.0) * t, at.1 + (to.1 - at.1) * t);
        canvas.leaf("path", &[("class", "ld".into()), ("d", path(&[from, to]).into())]);
    }
}

/// The spans of a panel, beneath everything.
pub(super) fn draw_spans(canvas: &mut Canvas, plane: &Plane, layers: &[Layer]) {
    for layer in layers {
        if let Layer::Span(s) = layer {
            span::draw(canvas, plane, s);
        }
    }
}

/// Every x and every y of the layers, for the scales.
pub(super) fn extent(layers: &[Layer]) -> (Vec<f64>, Vec<f64>) {
    let (mut xs, mut ys) = (Vec::new(), Vec::new());
    for layer in layers {
        match layer {
            Layer::Points(p) => {
                for p in &p.points {
                    xs.extend([p.x - p.x_u, p.x + p.x_u]);
                    ys.extend([p.y - p.y_u, p.y, p.y + p.y_u]);
                }
            }
            Layer::Line(l) => {
                xs.extend(l.points.iter().map(|p| p.0));
                ys.extend(l.points.iter().map(|p| p.1));
            }
            Layer::Band(b) => {
                xs.extend(b.points.iter().map(|p| p.0));
                ys.extend(b.points.iter().flat_map(|p| [p.1, p.2]));
            }
            Layer::Span(s) => xs.extend([s.from, s.to]),
            Layer::Reference(r) if r.upright => xs.push(r.at),
            Layer::Reference(r) => ys.push(r.at),
            Layer::Callout(c) => {
                xs.push(c.x);
                ys.push(c.y);
            }
            Layer::Bins(b) => {
                xs.extend(b.bins.iter().flat_map(|b| [b.0, b.1]));
                ys.extend(b.bins.iter().map(|b| b.2).chain([0.0]));
            }
        }
    }
    (xs, ys)
}

/// The scale of an axis over everything the layers hold along x or y.
pub(super) fn scale_over<'a>(
    axis: &Axis,
    layers: impl IntoIterator<Item = &'a [Layer]>,
    along_x: bool,
) -> Scale {
    let data = layers.into_iter().flat_map(|l| if along_x { extent(l).0 } else { extent(l).1 });
    Scale::over(axis, data.collect::<Vec<_>>(), 0.0, 1.0)
}
