//! Bands around a curve, told apart by their hatching.
//!
//! In: a band, a plane. Out: a hatched area with its two edges. Never: an area across a gap.

use super::axes::Plane;
use super::decimate::decimate;
use super::layer::{Band, BandKind, Ink};
use super::series::{ink_class, path};
use super::svg::{Canvas, Rect};

/// What fills a band of this kind: dense rising lines, wide falling lines, level lines.
pub(super) fn hatch(canvas: &mut Canvas, kind: BandKind, ink: Ink) -> String {
    let (name, edge, turn, width) = match kind {
        BandKind::Confidence => ("ci", 5.0, 45.0, 1.4),
        BandKind::Prediction => ("pi", 11.0, 135.0, 1.0),
    };
    let class = ink_class(ink);
    canvas.define(
        &format!("{name}-{class}"),
        &format!(
            "<pattern id=\"ID\" width=\"{edge}\" height=\"{edge}\" patternUnits=\"userSpaceOnUse\" \
             patternTransform=\"rotate({turn})\"><line class=\"hl {class}\" x1=\"0\" y1=\"0\" x2=\"0\" \
             y2=\"{edge}\" stroke-width=\"{width}\"/></pattern>"
        ),
    )
}

/// The band.
pub(super) fn draw(canvas: &mut Canvas, plane: &Plane, band: &Band) {
    let fill = hatch(canvas, band.kind, band.ink);
    let edge = format!("be {}", ink_class(band.ink));
    for (low, high) in runs(plane, band, canvas.size.points_max()) {
        let mut around = high.clone();
        around.extend(low.iter().rev());
        let wash = format!("bw {}", ink_class(band.ink));
        let d = path(&around) + "Z";
        if band.kind == BandKind::Confidence {
            canvas.leaf("path", &[("class", wash.into()), ("d", d.as_str().into())]);
        }
        canvas.leaf("path", &[("fill", fill.as_str().into()), ("d", d.into())]);
        for side in [&low, &high] {
            canvas.leaf("path", &[("class", edge.as_str().into()), ("d", path(side).into())]);
        }
    }
}

/// The low and high edges of the band between its gaps.
#[expect(clippy::type_complexity, reason = "two edges of places, used once")]
fn runs(plane: &Plane, band: &Band, points_max: usize) -> Vec<(Vec<(f64, f64)>, Vec<(f64, f64)>)> {
    let mut runs = vec![(Vec::new(), Vec::new())];
    let width: Vec<(f64, f64)> =
        (0..band.points.len()).map(|i| (i as f64, band.points[i].2 - band.points[i].1)).collect();
    for (i, _) in decimate(&width, points_max) {
        let (x, low, high) = band.points[i as usize];
        let last = runs.len() - 1;
        let seen = plane.x.at(x).filter(|_| low.is_finite() && high.is_finite() && plane.y.shows(high));
        match seen {
            Some(at) => {
                runs[last].0.push((at, plane.y.clamped(low)));
                runs[last].1.push((at, plane.y.clamped(high)));
            }
            None if !runs[last].0.is_empty() => runs.push((Vec::new(), Vec::new())),
            None => {}
        }
    }
    runs.retain(|(low, _)| low.len() > 1);
    runs
}

/// A small piece of a band, for the key.
pub(super) fn draw_sample(canvas: &mut Canvas, kind: BandKind, ink: Ink, rect: Rect) {
    let fill = hatch(canvas, kind, ink);
    if kind == BandKind::Confidence {
        canvas.rect(&format!("bw {}", ink_class(ink)), rect, None);
    }
    canvas.rect(&format!("bo {}", ink_class(ink)), rect, Some(&fill));
}
