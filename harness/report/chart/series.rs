//! Points with their error bars, and lines.
//!
//! In: points or a line, a plane. Out: marks on the canvas and on the ground. Never: a mark for a missing value; a
//! line across a gap.

use super::axes::Plane;
use super::decimate::decimate;
use super::ground::Ground;
use super::layer::{Dash, Ink, Line, Marker, Points};
use super::svg::{Canvas, Value, number};

/// Half the size of a marker.
pub(super) const MARK: f64 = 4.0;

/// The class that sets the colour.
pub(super) const fn ink_class(ink: Ink) -> &'static str {
    match ink {
        Ink::Blue => "i1",
        Ink::Vermillion => "i2",
        Ink::Green => "i3",
        Ink::Purple => "i4",
        Ink::Plain => "i5",
    }
}

/// The dash array of a line style.
pub(super) const fn dash_array(dash: Dash) -> Option<&'static str> {
    match dash {
        Dash::Solid => None,
        Dash::Long => Some("9 4"),
        Dash::Short => Some("5 3"),
        Dash::Mixed => Some("9 3 2 3"),
    }
}

/// The outline of a marker around a place.
pub(super) fn marker_path(marker: Marker, (x, y): (f64, f64), r: f64) -> String {
    let n = number;
    let closed = |corners: &[(f64, f64)]| {
        let mut path = String::new();
        for (i, (dx, dy)) in corners.iter().enumerate() {
            path += &format!("{}{} {}", if i == 0 { "M" } else { "L" }, n(x + dx * r), n(y + dy * r));
        }
        path + "Z"
    };
    match marker {
        Marker::Disc => format!(
            "M{} {}a{r} {r} 0 1 0 {} 0a{r} {r} 0 1 0 {} 0Z",
            n(x - r),
            n(y),
            n(2.0 * r),
            n(-2.0 * r),
            r = n(r)
        ),
        Marker::Square => closed(&[(-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)]),
        Marker::Triangle => closed(&[(0.0, -1.15), (1.1, 0.85), (-1.1, 0.85)]),
        Marker::Cross => format!(
            "M{} {}L{} {}M{} {}L{} {}",
            n(x - r),
            n(y - r),
            n(x + r),
            n(y + r),
            n(x - r),
            n(y + r),
            n(x + r),
            n(y - r)
        ),
    }
}

/// One marker.
pub(super) fn draw_marker(canvas: &mut Canvas, ink: Ink, marker: Marker, hollow: bool, at: (f64, f64)) {
    let stroked = marker == Marker::Cross;
    let kind = if stroked {
        "mx"
    } else if hollow {
        "mh"
    } else {
        "mk"
    };
    let class = format!("{kind} {}", ink_class(ink));
    canvas.leaf("path", &[("class", class.into()), ("d", marker_path(marker, at, MARK).into())]);
}

/// Points with their error bars.
pub(super) fn draw_points(canvas: &mut Canvas, plane: &Plane, points: &Points, ground: &mut Ground) {
    let class = format!("eb {}", ink_class(points.ink));
    let mut unseen = 0;
    for p in &points.points {
        let Some(at) = plane.at(p.x, p.y) else {
            unseen += usize::from(p.x.is_finite() && p.y.is_finite());
            continue;
        };
        if p.y_u > 0.0 {
            let (low, high) = (plane.y.clamped(p.y - p.y_u), plane.y.clamped(p.y + p.y_u));
            bar(canvas, &class, (at.0, low), (at.0, high), 3.5);
            ground.stroke((at.0, low), (at.0, high));
        }
        if p.x_u > 0.0 {
            let (low, high) = (plane.x.clamped(p.x - p.x_u), plane.x.clamped(p.x + p.x_u));
            bar(canvas, &class, (low, at.1), (high, at.1), 3.5);
            ground.stroke((low, at.1), (high, at.1));
        }
        draw_marker(canvas, points.ink, points.marker, points.hollow, at);
        ground.stroke((at.0 - MARK, at.1), (at.0 + MARK, at.1));
    }
    note_unseen(canvas, unseen);
}

/// Says how many values a logarithmic axis cannot show.
pub(super) fn note_unseen(canvas: &mut Canvas, unseen: usize) {
    if unseen > 0 {
        let values = if unseen == 1 { "value" } else { "values" };
        canvas.note(format!(
            "{unseen} {values} at or below zero cannot be shown on a logarithmic axis; see the table."
        ));
    }
}

/// An error bar with caps.
fn bar(canvas: &mut Canvas, class: &str, a: (f64, f64), b: (f64, f64), cap: f64) {
    let n = number;
    let upright = (a.0 - b.0).abs() < 1e-9;
    let (dx, dy) = if upright { (cap, 0.0) } else { (0.0, cap) };
    let end = |p: (f64, f64)| format!("M{} {}L{} {}", n(p.0 - dx), n(p.1 - dy), n(p.0 + dx), n(p.1 + dy));
    let d = format!("M{} {}L{} {}{}{}", n(a.0), n(a.1), n(b.0), n(b.1), end(a), end(b));
    canvas.leaf("path", &[("class", class.into()), ("d", d.into())]);
}

/// The runs of a line between its gaps, as places.
pub(super) fn runs(plane: &Plane, line: &Line, points_max: usize) -> Vec<Vec<(f64, f64)>> {
    let mut runs = vec![Vec::new()];
    for (x, y) in decimate(&line.points, points_max) {
        let last = runs.len() - 1;
        match plane.at(x, y) {
            Some(at) => {
                if line.step
                    && let Some(&(_, before)) = runs[last].last()
                {
                    runs[last].push((at.0, before));
                }
                runs[last].push(at);
            }
            None if !runs[last].is_empty() => runs.push(Vec::new()),
            None => {}
        }
    }
    runs.retain(|run| !run.is_empty());
    runs
}

/// A line.
pub(super) fn draw_line(canvas: &mut Canvas, plane: &Plane, line: &Line, ground: &mut Ground) {
    let unseen = line
        .points
        .iter()
        .filter(|(x, y)| x.is_finite() && y.is_finite() && plane.at(*x, *y).is_none())
        .count();
    note_unseen(canvas, unseen);
    let class = format!("ln {}", ink_class(line.ink));
    for run in runs(plane, line, canvas.size.points_max()) {
        if run.len() == 1 {
            draw_marker(canvas, line.ink, Marker::Disc, false, run[0]);
        }
        let mut attributes: Vec<(&str, Value)> =
            vec![("class", class.as_str().into()), ("d", path(&run).into())];
        if let Some(dashes) = dash_array(line.dash) {
            attributes.push(("stroke-dasharray", dashes.into()));
        }
        canvas.leaf("path", &attributes);
        for pair in run.windows(2) {
            ground.stroke(pair[0], pair[1]);
        }
        if line.arrow {
            draw_arrow(canvas, line.ink, &run);
        }
    }
}

/// A path through places.
pub(super) fn path(run: &[(f64, f64)]) -> String {
    let mut d = String::with_capacity(run.len() * 12);
    for (i, (x, y)) in run.iter().enumerate() {
        d.push(if i == 0 { 'M' } else { 'L' });
        d += &number(*x);
        d.push(' ');
        d += &number(*y);
    }
    d
}

/// An arrow head in the middle of the longest stretch of a run.
fn draw_arrow(canvas: &mut Canvas, ink: Ink, run: &[(f64, f64)]) {
    let length = |p: &[(f64, f64)]| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1);
    let Some(longest) = run.windows(2).max_by(|a, b| length(a).total_cmp(&length(b))) else {
        return;
    };
    let far = length(longest);
    if far < 16.0 {
        return;
    }
    let (ux, uy) = ((longest[1].0 - longest[0].0) / far, (longest[1].1 - longest[0].1) / far);
    let tip =
        ((longest[0].0 + longest[1].0) / 2.0 + ux * 6.0, (longest[0].1 + longest[1].1) / 2.0 + uy * 6.0);
    let corner = |side: f64| (tip.0 - ux * 11.0 - uy * 5.0 * side, tip.1 - uy * 11.0 + ux * 5.0 * side);
    let d = path(&[tip, corner(1.0), corner(-1.0)]) + "Z";
    let class = format!("mk {}", ink_class(ink));
    canvas.leaf("path", &[("class", class.into()), ("d", d.into())]);
}
