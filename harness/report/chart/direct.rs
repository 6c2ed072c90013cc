//! Names beside what they name: at the right edge of a frame, or alongside a line.
//!
//! In: lines and level references of a panel. Out: names to the right of the frame, pushed apart, each with a thin
//! line to what it names; names alongside a line within the frame. What finds no place goes to the key.
//! Never: a name over another name.

use super::Size;
use super::axes::Plane;
use super::ground::Ground;
use super::key::{Key, Sample, line_sample};
use super::layer::Layer;
use super::measure;
use super::scale::Scale;
use super::series::{self, MARK, path};
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};
use crate::report::words::Words;

/// The widest a name at the right edge may be before it is broken into lines.
const WIDTH_MAX: f64 = 150.0;
/// A line that ends in the last part of the x axis has its name outside the frame.
const EDGE: f64 = 0.94;
/// Lines that end nearer together than this cannot be told apart by names outside.
const SAME_END: f64 = 6.0;
/// From the frame to the names.
const GAP: f64 = 16.0;
/// The widest a name within a narrow frame may be.
const NARROW_MAX: f64 = 112.0;

/// The y where a line ends, if that is so near the right edge that its name can stand outside.
fn edge_end(layer: &Layer, x: &Scale, y: &Scale) -> Option<f64> {
    match layer {
        Layer::Line(l) if !l.label.is_empty() => {
            let last = l.points.iter().rev().find(|p| x.shows(p.0) && y.shows(p.1))?;
            let part = x.moved(0.0, 1.0).at(last.0)?;
            y.at(last.1).filter(|_| part > EDGE)
        }
        Layer::Reference(r) if !r.upright && !r.label.is_empty() => y.at(r.at),
        _ => None,
    }
}

/// Whether the name of a layer stands outside the frame: it ends there, and no other line ends at the same place.
fn outside(layers: &[Layer], own: usize, x: &Scale, y: &Scale) -> bool {
    let Some(end) = edge_end(&layers[own], x, y) else {
        return false;
    };
    let near = |other: &Layer| edge_end(other, x, y).is_some_and(|o| (o - end).abs() < SAME_END);
    !layers.iter().enumerate().any(|(i, layer)| i != own && near(layer))
}

/// The room that names right of the frame need; 0 where there are none or the chart is narrow. The y scale is in units
/// of the chart, the x scale need not be.
pub(super) fn room(layers: &[Layer], x: &Scale, y: &Scale, size: Size) -> f64 {
    if size == Size::Narrow {
        return 0.0;
    }
    let widest = (0..layers.len())
        .filter(|i| outside(layers, *i, x, y))
        .map(|i| match &layers[i] {
            Layer::Line(l) => measure::widest(&measure::wrap(l.label.as_str(), FONT, WIDTH_MAX), FONT),
            Layer::Reference(r) => measure::widest(&measure::wrap(r.label.as_str(), FONT, WIDTH_MAX), FONT),
            _ => 0.0,
        })
        .fold(0.0, f64::max);
    if widest > 0.0 { widest + GAP + 3.0 } else { 0.0 }
}

/// A name to the right of the frame, of something that ends at `end`.
struct Beside {
    end: (f64, f64),
    lines: Vec<String>,
    top: f64,
}

impl Beside {
    fn height(&self) -> f64 {
        self.lines.len() as f64 * LINE
    }
}

/// Draws the names of a panel's lines and level references; what has no place goes to the key.
pub(super) fn draw(canvas: &mut Canvas, plane: &Plane, layers: &[Layer], ground: &mut Ground, key: &mut Key) {
    let (frame, wide) = (plane.frame, canvas.size == Size::Wide);
    let paths: Vec<Path> = layers.iter().map(|layer| path_of(canvas, plane, layer)).collect();
    let mut beside: Vec<Beside> = Vec::new();
    let mut free = frame.height() + LINE;
    for (i, layer) in layers.iter().enumerate() {
        let (label, sample) = match layer {
            Layer::Line(l) => (&l.label, line_sample(l, layers)),
            Layer::Reference(r) if !r.upright => (&r.label, Sample::Reference(r.kind)),
            _ => continue,
        };
        let Some(&end) = paths[i].last().filter(|_| !label.is_empty()) else {
            continue;
        };
        let lines = measure::wrap(label.as_str(), FONT, WIDTH_MAX);
        let high = lines.len() as f64 * LINE;
        if wide && high <= free && outside(layers, i, &plane.x, &plane.y) {
            free -= high;
            let top = end.1 - high / 2.0;
            beside.push(Beside { end, lines, top });
        } else if !alongside(canvas, plane, label, i, &paths, ground) {
            key.add(sample, label.as_str());
        }
    }
    push_apart(&mut beside, frame.top - 2.0, frame.bottom + LINE / 2.0);
    for name in &beside {
        draw_beside(canvas, frame, name);
    }
}

/// Places in order.
type Path = Vec<(f64, f64)>;

/// The longest run of a line, or a level reference; empty for everything else.
fn path_of(canvas: &Canvas, plane: &Plane, layer: &Layer) -> Path {
    match layer {
        Layer::Line(l) => {
            let runs = series::runs(plane, l, canvas.size.points_max());
            runs.into_iter().max_by_key(Vec::len).unwrap_or_default()
        }
        Layer::Reference(r) if !r.upright => {
            let level = plane.y.at(r.at);
            level.map_or_else(Vec::new, |y| vec![(plane.frame.left, y), (plane.frame.right, y)])
        }
        _ => Vec::new(),
    }
}

/// A name right of the frame with a thin line from what it names.
fn draw_beside(canvas: &mut Canvas, frame: Rect, name: &Beside) {
    let middle = name.top + name.height() / 2.0;
    let to = if (middle - name.end.1).abs() > 1.0 { middle } else { name.end.1 };
    let from = ((name.end.0 + MARK + 2.0).min(frame.right + 2.0), name.end.1);
    let d = path(&[from, (frame.right + 2.0, name.end.1), (frame.right + GAP - 3.0, to)]);
    canvas.leaf("path", &[("class", "ld".into()), ("d", d.into())]);
    let first = name.top + FONT - 0.5;
    canvas.lines("tx", frame.right + GAP, first, Anchor::Start, &name.lines);
}

/// Pushes names apart within `top` and `bottom`, keeping their order.
fn push_apart(names: &mut [Beside], top: f64, bottom: f64) {
    names.sort_by(|a, b| a.end.1.total_cmp(&b.end.1));
    let mut y = top;
    for name in names.iter_mut() {
        name.top = name.top.max(y);
        y = name.top + name.height();
    }
    let mut y = bottom;
    for name in names.iter_mut().rev() {
        name.top = name.top.min(y - name.height());
        y = name.top;
    }
}

/// A name beside its line within the frame; false where there is no place that could mean this line only.
fn alongside(
    canvas: &mut Canvas,
    plane: &Plane,
    label: &Words,
    own: usize,
    paths: &[Path],
    ground: &mut Ground,
) -> bool {
    let across = measure::width(label.as_str(), FONT);
    let width_max = if canvas.size == Size::Narrow { NARROW_MAX } else { WIDTH_MAX };
    if across > width_max.min(plane.frame.width() * 0.5) {
        return false;
    }
    let others: Vec<&Path> = (0..paths.len()).filter(|i| *i != own).map(|i| &paths[i]).collect();
    let placed = ground.place_along(&paths[own], &others, across, LINE - 2.0);
    if let Some(rect) = placed {
        canvas.text("tx ha", rect.left, rect.bottom - 3.0, Anchor::Start, label.as_str());
    }
    placed.is_some()
}
