//! Names beside what they name: at the right edge of a frame, or near the end of a line.
//!
//! In: lines and level references of a panel. Out: names to the right of the frame, pushed apart, each with a thin
//! line to what it names; names near a line's end within the frame. What finds no place goes to the key.
//! Never: a name over another name.

use super::Size;
use super::axes::Plane;
use super::ground::Ground;
use super::key::{Key, Sample};
use super::mark::leader;
use super::measure;
use super::model::{Layer, Line, Reference};
use super::scale::Scale;
use super::series::path;
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};

/// The widest a name at the right edge may be before it is broken into lines.
const WIDTH_MAX: f64 = 150.0;
/// From the frame to the names.
const GAP: f64 = 16.0;
/// The widest a name within a narrow frame may be.
const NARROW_MAX: f64 = 96.0;

/// The place of the last point that is drawn, on a scale along x alone.
fn end_x(line: &Line, x: &Scale) -> Option<f64> {
    let last = line
        .points
        .iter()
        .rev()
        .find(|p| p.1.is_finite() && x.shows(p.0))?;
    x.at(last.0)
}

/// Whether a line ends so near the right edge that its name can stand outside.
fn reaches_edge(line: &Line, x: &Scale, right: f64) -> bool {
    end_x(line, x).is_some_and(|end| end > right - 14.0)
}

/// The room that names right of the frame need; 0 where there are none or the chart is narrow.
pub(super) fn room(layers: &[Layer], x: &Scale, size: Size) -> f64 {
    if size == Size::Narrow {
        return 0.0;
    }
    // Judged on the scale before it is moved to its final place: 0 to 1.
    let unit = x.moved(0.0, 1000.0);
    let widest = layers
        .iter()
        .filter_map(|layer| match layer {
            Layer::Line(l) if !l.label.is_empty() && reaches_edge(l, &unit, 1000.0) => Some(&l.label),
            Layer::Reference(r) if !r.upright && !r.label.is_empty() => Some(&r.label),
            _ => None,
        })
        .map(|label| measure::widest(&measure::wrap(label.as_str(), FONT, WIDTH_MAX), FONT))
        .fold(0.0, f64::max);
    if widest > 0.0 { widest + GAP + 3.0 } else { 0.0 }
}

/// A name to the right of the frame.
struct Beside {
    at: f64,
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
    let mut beside: Vec<Beside> = Vec::new();
    let mut free = plane.frame.height() + LINE;
    for layer in layers {
        let (label, at, sample) = match layer {
            Layer::Line(l) if canvas.size == Size::Wide && reaches_edge(l, &plane.x, plane.frame.right) => {
                let end = l.points.iter().rev().find_map(|p| plane.at(p.0, p.1));
                (&l.label, end.map(|e| e.1), Sample::Line(l.ink, l.dash))
            }
            Layer::Line(l) => {
                near_end(canvas, plane, l, ground, key);
                continue;
            }
            Layer::Reference(r) if !r.upright && canvas.size == Size::Wide => {
                (&r.label, plane.y.at(r.at), Sample::Reference(r.kind))
            }
            Layer::Reference(r) if !r.upright => {
                on_level(canvas, plane, r, ground, key);
                continue;
            }
            _ => continue,
        };
        let lines = measure::wrap(label.as_str(), FONT, WIDTH_MAX);
        let high = lines.len() as f64 * LINE;
        match at {
            Some(at) if !label.is_empty() && high <= free => {
                free -= high;
                beside.push(Beside {
                    at,
                    lines,
                    top: at - high / 2.0,
                });
            }
            _ => key.add(sample, label.as_str()),
        }
    }
    push_apart(
        &mut beside,
        plane.frame.top - LINE / 2.0,
        plane.frame.bottom + LINE / 2.0,
    );
    for name in &beside {
        let middle = name.top + name.height() / 2.0;
        let right = plane.frame.right;
        if (middle - name.at).abs() > 1.0 {
            let d = path(&[(right + 2.0, name.at), (right + GAP - 3.0, middle)]);
            canvas.leaf("path", &[("class", "ld".into()), ("d", d.into())]);
        } else {
            canvas.line("ld", (right + 2.0, name.at), (right + GAP - 3.0, name.at));
        }
        canvas.lines(
            "tx",
            right + GAP,
            name.top + FONT - 0.5,
            Anchor::Start,
            &name.lines,
        );
    }
}

/// Pushes names apart within `top` and `bottom`, keeping their order.
fn push_apart(names: &mut [Beside], top: f64, bottom: f64) {
    names.sort_by(|a, b| a.at.total_cmp(&b.at));
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

/// The name of a line near its end within the frame, where there is room; to the key otherwise.
fn near_end(canvas: &mut Canvas, plane: &Plane, line: &Line, ground: &mut Ground, key: &mut Key) {
    let across = measure::width(line.label.as_str(), FONT);
    let short = across
        <= if canvas.size == Size::Narrow {
            NARROW_MAX
        } else {
            WIDTH_MAX
        };
    let end = line.points.iter().rev().find_map(|p| plane.at(p.0, p.1));
    let placed = end
        .filter(|_| short && !line.label.is_empty())
        .and_then(|end| Some((end, ground.place(end, across, LINE - 2.0, 6.0)?)));
    match placed {
        Some((end, rect)) => {
            leader(canvas, end, &rect, 3.0);
            canvas.text(
                "tx ha",
                rect.left,
                rect.bottom - 3.0,
                Anchor::Start,
                line.label.as_str(),
            );
        }
        None => key.add(Sample::Line(line.ink, line.dash), line.label.as_str()),
    }
}

/// The name of a level reference on its line within a narrow frame; to the key where there is no room.
fn on_level(canvas: &mut Canvas, plane: &Plane, reference: &Reference, ground: &mut Ground, key: &mut Key) {
    let across = measure::width(reference.label.as_str(), FONT);
    let Some(y) = plane.y.at(reference.at).filter(|_| !reference.label.is_empty()) else {
        return;
    };
    let near = (plane.frame.right - across / 2.0 - 6.0, y);
    let found: Option<Rect> = (across < plane.frame.width() * 0.7)
        .then(|| ground.place(near, across, LINE - 3.0, 3.0))
        .flatten()
        .filter(|rect| rect.top < y + 12.0 && rect.bottom > y - 12.0);
    match found {
        Some(rect) => canvas.text(
            "tx ha",
            rect.left,
            rect.bottom - 3.0,
            Anchor::Start,
            reference.label.as_str(),
        ),
        None => key.add(Sample::Reference(reference.kind), reference.label.as_str()),
    }
}
