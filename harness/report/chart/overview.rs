//! A map of differences over two axes: blue below, white at zero, vermillion above, with numbers in the cells.
//!
//! In: an [`Overview`]. Out: cells with numbers where they fit, a triangle in each cell that is out of limit, and a
//! key in words. Never: a cell that was not measured drawn like a zero; a sign told by colour alone.

use super::measure;
use super::model::{Cell, Overview};
use super::series::path;
use super::svg::{Anchor, Canvas, FONT, LINE, Rect};
use crate::report::figure_text::at_place;
use crate::uncertainty::rounding;

/// Height of a cell.
const HIGH: f64 = 34.0;
/// Room for a triangle beside a number.
const TRIANGLE: f64 = 13.0;

/// The map.
pub(super) fn draw(overview: &Overview, canvas: &mut Canvas) {
    let width = canvas.width();
    let title = measure::wrap(overview.y_title.as_str(), FONT, width - 8.0);
    let top = canvas.lines("tt", 2.0, FONT, Anchor::Start, &title) - FONT + 6.0;
    let head_max = width * 0.3;
    let heads: Vec<Vec<String>> =
        overview.rows.iter().map(|r| measure::wrap_within(r.as_str(), FONT, head_max, 2)).collect();
    let left = heads.iter().map(|h| measure::widest(h, FONT)).fold(0.0, f64::max) + 10.0;
    let columns = overview.columns.len().max(1);
    let across = ((width - left - 2.0) / columns as f64).min(110.0);
    let place = digits(overview.tolerance);
    for (i, (row, head)) in overview.cells.iter().zip(&heads).enumerate() {
        let y = top + i as f64 * HIGH;
        let first = y + HIGH / 2.0 + FONT * 0.36 - (head.len() - 1) as f64 * LINE / 2.0;
        canvas.lines("tx", left - 8.0, first, Anchor::End, head);
        for (j, cell) in row.iter().enumerate().take(columns) {
            let x = left + j as f64 * across;
            let rect = Rect { left: x + 1.0, right: x + across - 1.0, top: y + 1.0, bottom: y + HIGH - 1.0 };
            draw_cell(canvas, cell, overview.tolerance, place, rect);
        }
    }
    let bottom = top + overview.cells.len() as f64 * HIGH;
    draw_columns(canvas, overview, left, across, bottom + LINE);
    let titles = measure::wrap(overview.x_title.as_str(), FONT, width - 8.0);
    let half = measure::widest(&titles, FONT) / 2.0;
    let middle =
        (left + across * columns as f64 / 2.0).clamp(half + 2.0, (width - half - 2.0).max(half + 2.0));
    let y = canvas.lines("tt", middle, bottom + 2.0 * LINE + 3.0, Anchor::Middle, &titles);
    canvas.height = draw_key(canvas, overview, y);
}

/// The place of the last digit that is worth showing: a tenth of the tolerance.
fn digits(tolerance: f64) -> i32 {
    rounding::place(tolerance).unwrap_or(-1)
}

/// Column names; only every n-th where they would touch.
fn draw_columns(canvas: &mut Canvas, overview: &Overview, left: f64, across: f64, y: f64) {
    let widest = overview.columns.iter().map(|c| measure::width(c.as_str(), FONT)).fold(0.0, f64::max);
    let every = (((widest + 6.0) / across).ceil() as usize).max(1);
    for (j, name) in overview.columns.iter().enumerate().step_by(every) {
        let name =
            measure::shortened(name.as_str(), FONT, (across * every as f64 - 6.0).min(canvas.width() / 3.0));
        let half = measure::width(&name, FONT) / 2.0;
        let x = (left + (j as f64 + 0.5) * across).min(canvas.width() - half - 1.0);
        canvas.text("tx", x.max(half + 1.0), y, Anchor::Middle, &name);
    }
}

/// The class of a cell's ground.
fn class_of(value: f64, tolerance: f64) -> &'static str {
    let part = value / tolerance;
    let strength = match part.abs() {
        a if a < 1.0 / 3.0 => return "z0",
        a if a <= 1.0 => 1,
        a if a <= 2.0 => 2,
        _ => 3,
    };
    match (part < 0.0, strength) {
        (true, 1) => "m1",
        (true, 2) => "m2",
        (true, _) => "m3",
        (false, 1) => "p1",
        (false, 2) => "p2",
        (false, _) => "p3",
    }
}

fn draw_cell(canvas: &mut Canvas, cell: &Cell, tolerance: f64, place: i32, rect: Rect) {
    match *cell {
        Cell::Difference { value, out } if value.is_finite() => {
            canvas.rect(&format!("mc {}", class_of(value, tolerance)), rect, None);
            let digits = at_place(value, place);
            let text = if value > 0.0 && digits.bytes().any(|b| (b'1'..=b'9').contains(&b)) {
                format!("+{digits}")
            } else {
                digits
            };
            let across = measure::width(&text, FONT);
            let (middle, level) = ((rect.left + rect.right) / 2.0, rect.top + HIGH / 2.0 - 1.0);
            let beside = across + TRIANGLE <= rect.width() - 4.0;
            let fits = across <= rect.width() - 2.0;
            // The triangle stands before the number, above it in a slim cell, alone in a tiny one.
            let (mark, words) = match (out, beside) {
                (false, _) => (None, (middle, level)),
                (true, true) => (Some((middle - across / 2.0, level)), (middle + TRIANGLE / 2.0, level)),
                (true, false) if fits => (Some((middle, rect.top + 8.0)), (middle, level + 7.0)),
                (true, false) => (Some((middle, level)), (middle, level)),
            };
            if fits {
                canvas.text("tm", words.0, words.1 + FONT * 0.36, Anchor::Middle, &text);
            }
            if let Some(at) = mark {
                draw_triangle(canvas, at, value > 0.0);
            }
        }
        _ => draw_missing(canvas, rect),
    }
}

/// A cell that was not measured: no ground, a dashed edge, one stroke through it.
fn draw_missing(canvas: &mut Canvas, rect: Rect) {
    canvas.rect("mm", rect, None);
    canvas.line("mm", (rect.left, rect.bottom), (rect.right, rect.top));
}

/// A triangle that points up for more, down for less.
fn draw_triangle(canvas: &mut Canvas, (x, y): (f64, f64), up: bool) {
    let s = if up { 1.0 } else { -1.0 };
    let d = path(&[(x, y - 5.0 * s), (x + 5.0, y + 4.0 * s), (x - 5.0, y + 4.0 * s)]) + "Z";
    canvas.leaf("path", &[("class", "mt".into()), ("d", d.into())]);
}

/// What the looks of cells mean, in words. Returns the y below.
fn draw_key(canvas: &mut Canvas, overview: &Overview, top: f64) -> f64 {
    let unit = |v: f64| at_place(v, digits(overview.tolerance));
    let t = overview.tolerance;
    let lines = measure::wrap(overview.value_title.as_str(), FONT, canvas.width() - 8.0);
    let mut y = canvas.lines("tt", 2.0, top, Anchor::Start, &lines) - FONT + 4.0;
    let mut x = 2.0;
    let entries: [(Option<f64>, bool, String); 6] = [
        (Some(-1.5 * t), false, "less".to_owned()),
        (Some(0.0), false, format!("within {} of zero", unit(t / 3.0))),
        (Some(1.5 * t), false, "more".to_owned()),
        (Some(3.0 * t), true, format!("changed by more than {}: more", unit(t))),
        (Some(-3.0 * t), true, format!("changed by more than {}: less", unit(t))),
        (None, false, "not measured".to_owned()),
    ];
    for (value, out, name) in entries {
        let across = 37.0 + measure::width(&name, FONT);
        if x > 2.0 && x + across > canvas.width() - 2.0 {
            (x, y) = (2.0, y + LINE + 4.0);
        }
        let rect = Rect { left: x, right: x + 30.0, top: y, bottom: y + 16.0 };
        match value {
            Some(v) => {
                canvas.rect(&format!("mc {}", class_of(v, t)), rect, None);
                if out {
                    draw_triangle(canvas, (x + 15.0, y + 8.0), v > 0.0);
                }
            }
            None => draw_missing(canvas, rect),
        }
        canvas.text("tx", x + 37.0, y + FONT, Anchor::Start, &name);
        x += across + 18.0;
    }
    y + LINE + 6.0
}
