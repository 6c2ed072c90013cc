//! Stretches of the x axis: settling hatched, dwells shaded, void ones crossed out.
//!
//! In: spans, a plane. Out: areas over the whole height of the frame. Never: a difference by colour alone.

use super::axes::Plane;
use super::layer::{Span, SpanKind};
use super::svg::{Canvas, Rect};

/// What fills a settling stretch.
fn settle_hatch(canvas: &mut Canvas) -> String {
    canvas.define(
        "settle",
        "<pattern id=\"ID\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" \
         patternTransform=\"rotate(45)\"><line class=\"hs\" x1=\"0\" y1=\"0\" x2=\"0\" y2=\"6\"/></pattern>",
    )
}

/// The area of a span in the frame; none where it lies outside.
pub(super) fn area(plane: &Plane, span: &Span) -> Option<Rect> {
    let (a, b) = (plane.x.clamped(span.from), plane.x.clamped(span.to));
    (b > a).then_some(Rect { left: a, right: b, ..plane.frame })
}

/// The span.
pub(super) fn draw(canvas: &mut Canvas, plane: &Plane, span: &Span) {
    if let Some(rect) = area(plane, span) {
        draw_area(canvas, span.kind, rect);
    }
}

/// An area of this kind; also the sample in the key.
pub(super) fn draw_area(canvas: &mut Canvas, kind: SpanKind, rect: Rect) {
    match kind {
        SpanKind::Dwell => canvas.rect("sd", rect, None),
        SpanKind::Settle => {
            let fill = settle_hatch(canvas);
            canvas.rect("ss", rect, Some(&fill));
        }
        SpanKind::Void => {
            canvas.rect("sv", rect, None);
            canvas.line("vx", (rect.left, rect.top), (rect.right, rect.bottom));
            canvas.line("vx", (rect.left, rect.bottom), (rect.right, rect.top));
        }
    }
}

/// What the key calls the kind.
pub(super) const fn name(kind: SpanKind) -> &'static str {
    match kind {
        SpanKind::Settle => "settling, not used",
        SpanKind::Dwell => "dwell, used",
        SpanKind::Void => "void, not used",
    }
}
