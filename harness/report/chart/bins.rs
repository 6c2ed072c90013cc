//! Bars of a histogram.
//!
//! In: bins with counts, a plane. Out: a bar for each bin that is not empty. Never: a bar for an empty bin.

use super::axes::Plane;
use super::ground::Ground;
use super::layer::Bins;
use super::series::ink_class;
use super::svg::{Canvas, Rect};

/// The bars.
pub(super) fn draw(canvas: &mut Canvas, plane: &Plane, bins: &Bins, ground: &mut Ground) {
    let class = format!("hb {}", ink_class(bins.ink));
    for &(from, to, count) in &bins.bins {
        if !(count > 0.0 && plane.y.shows(count)) {
            continue;
        }
        let (left, right) = (plane.x.clamped(from), plane.x.clamped(to));
        let rect = Rect {
            left,
            right: right.max(left + 1.0),
            // A bin that holds something is seen, however little it holds.
            top: plane.y.clamped(count).min(plane.frame.bottom - 2.0),
            bottom: plane.frame.bottom,
        };
        canvas.rect(&class, rect, None);
        let mut x = rect.left;
        while x <= rect.right {
            ground.stroke((x, rect.top), (x, rect.bottom));
            x += 4.0;
        }
    }
}
