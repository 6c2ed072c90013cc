//! Axes: frame, grid, ticks, titles.
//!
//! In: a frame and its two scales. Out: lines and text on the canvas. Never: a tick label that another one touches.

use super::measure;
use super::model::Axis;
use super::scale::{Scale, Tick};
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};

/// A frame with its two scales.
pub(super) struct Plane {
    pub(super) frame: Rect,
    pub(super) x: Scale,
    pub(super) y: Scale,
}

impl Plane {
    /// The place of a value pair; none where one of them has none.
    pub(super) fn at(&self, x: f64, y: f64) -> Option<(f64, f64)> {
        Some((self.x.at(x)?, self.y.at(y)?))
    }
}

/// From tick labels to the frame.
const GAP: f64 = 7.0;
/// The widest a worded tick label may be before it is broken into lines.
const WORDS_WIDTH: f64 = 92.0;

/// Ticks of a y axis in a frame of this height.
pub(super) fn y_ticks(scale: &Scale, height: f64) -> Vec<Tick> {
    scale.ticks((height / 38.0).floor().max(2.0) as usize)
}

/// Ticks of an x axis in a frame of this width, so few that their labels keep apart.
pub(super) fn x_ticks(scale: &Scale, width: f64) -> Vec<Tick> {
    let mut count = (width / 60.0).floor().max(2.0) as usize;
    loop {
        let ticks = scale.ticks(count);
        let apart = ticks.windows(2).all(|pair| {
            let half = |t: &Tick| measure::width(&t.label, FONT) / 2.0;
            let between = scale.clamped(pair[1].value) - scale.clamped(pair[0].value);
            between >= half(&pair[0]) + half(&pair[1]) + 8.0
        });
        if apart || count <= 2 {
            return ticks;
        }
        count -= 1;
    }
}

/// The label of a tick of a y axis in lines.
fn label_lines(tick: &Tick) -> Vec<String> {
    measure::wrap_within(&tick.label, FONT, WORDS_WIDTH, 3)
}

/// How far the labels of a y axis may reach above and below their ticks, beyond a single line.
pub(super) fn y_overhang(ticks: &[Tick]) -> f64 {
    let lines = ticks.iter().map(|t| label_lines(t).len()).max().unwrap_or(1);
    (lines - 1) as f64 * LINE / 2.0
}

/// The room that the labels of a y axis need on the left.
pub(super) fn y_room(ticks: &[Tick]) -> f64 {
    let widest = ticks.iter().map(|t| measure::widest(&label_lines(t), FONT)).fold(0.0, f64::max);
    widest + GAP + 4.0
}

/// Grid lines, frame and the labels of the y axis.
pub(super) fn draw_y(canvas: &mut Canvas, plane: &Plane, ticks: &[Tick]) {
    let frame = plane.frame;
    for tick in ticks {
        let y = plane.y.clamped(tick.value);
        canvas.line("gr", (frame.left, y), (frame.right, y));
        let lines = label_lines(tick);
        let first = y + FONT * 0.36 - LINE * (lines.len() - 1) as f64 / 2.0;
        canvas.lines("tx", frame.left - GAP, first, Anchor::End, &lines);
    }
}

/// Grid lines of the x axis, its labels where `labelled`.
pub(super) fn draw_x(canvas: &mut Canvas, plane: &Plane, ticks: &[Tick], labelled: bool) {
    let frame = plane.frame;
    // A word keeps to its share of the axis (numbers are chosen to fit), and the outermost stay inside the chart.
    let share = match plane.x.is_worded() {
        true => frame.width() / (ticks.len().max(2) - 1) as f64 - 6.0,
        false => f64::INFINITY,
    };
    for tick in ticks {
        let x = plane.x.clamped(tick.value);
        canvas.line("gr", (x, frame.top), (x, frame.bottom));
        if labelled {
            let label = measure::shortened(&tick.label, FONT, share);
            let half = measure::width(&label, FONT) / 2.0;
            let x = x.min(canvas.width() - half - 1.0).max(half + 1.0);
            canvas.text("tx", x, frame.bottom + LINE, Anchor::Middle, &label);
        }
    }
}

/// The frame's two axis lines, drawn over the data's edge.
pub(super) fn draw_frame(canvas: &mut Canvas, frame: Rect) {
    canvas.line("ax", (frame.left, frame.bottom), (frame.right, frame.bottom));
    canvas.line("ax", (frame.left, frame.top), (frame.left, frame.bottom));
}

/// The title of a y axis: level, above the frame, at the left edge. Returns the height used.
pub(super) fn y_title(canvas: &mut Canvas, axis: &Axis, top: f64) -> f64 {
    let lines = measure::wrap(axis.title.as_str(), FONT, canvas.width() - 8.0);
    let count = if axis.title.is_empty() { 0 } else { lines.len() };
    canvas.lines("tt", 2.0, top + FONT, Anchor::Start, &lines[..count]);
    count as f64 * LINE + 4.0
}

/// The title of an x axis below its tick labels. Returns the y below it.
pub(super) fn x_title(canvas: &mut Canvas, axis: &Axis, frame: Rect, top: f64) -> f64 {
    if axis.title.is_empty() {
        return top;
    }
    let lines = measure::wrap(axis.title.as_str(), FONT, canvas.width() - 8.0);
    let half = measure::widest(&lines, FONT) / 2.0;
    let middle =
        ((frame.left + frame.right) / 2.0).clamp(half + 2.0, (canvas.width() - half - 2.0).max(half + 2.0));
    canvas.lines("tt", middle, top + FONT, Anchor::Middle, &lines) - FONT + 4.0
}
