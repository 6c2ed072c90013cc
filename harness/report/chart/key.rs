//! The key: samples with their names, beneath the chart.
//!
//! In: what is drawn and not named beside itself. Out: rows of samples and words. Never: two entries of one name and
//! one look.

use super::band;
use super::layer::{BandKind, Dash, Ink, Layer, Line, Marker, Points, ReferenceKind, SpanKind};
use super::measure;
use super::series::{dash_array, draw_marker, ink_class};
use super::span;
use super::svg::{Anchor, Canvas, FONT, LINE, Rect, Value};

/// The look of an entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sample {
    Points(Ink, Marker, bool),
    Line(Ink, Dash),
    /// A line through points: one name for both.
    Both(Ink, Dash, Marker, bool),
    Band(BandKind, Ink),
    Span(SpanKind),
    Reference(ReferenceKind),
    Bins(Ink),
}

/// Entries in the order in which they came.
#[derive(Default)]
pub(super) struct Key {
    entries: Vec<(Sample, String)>,
}

/// Width of a sample and the gap after it.
const SAMPLE: f64 = 30.0;
const AFTER: f64 = 7.0;
/// Between entries of a row.
const BETWEEN: f64 = 20.0;

impl Key {
    /// Adds an entry, unless it is there or has no name.
    pub(super) fn add(&mut self, sample: Sample, name: &str) {
        let entry = (sample, name.to_owned());
        if !name.trim().is_empty() && !self.entries.contains(&entry) {
            self.entries.push(entry);
        }
    }

    /// Draws the entries in rows from `top`. Returns the y below them.
    pub(super) fn draw(&self, canvas: &mut Canvas, top: f64) -> f64 {
        let room = canvas.width() - 4.0;
        let (mut x, mut y, mut high) = (2.0, top, 0.0f64);
        for (sample, name) in &self.entries {
            let lines = measure::wrap(name, FONT, room - SAMPLE - AFTER);
            let across = SAMPLE + AFTER + measure::widest(&lines, FONT);
            if x > 2.0 && x + across > room {
                (x, y, high) = (2.0, y + high + 4.0, 0.0);
            }
            draw_sample(canvas, *sample, Rect { left: x, right: x + SAMPLE, top: y + 1.0, bottom: y + 15.0 });
            canvas.lines("tx", x + SAMPLE + AFTER, y + FONT, Anchor::Start, &lines);
            x += across + BETWEEN;
            high = high.max(lines.len() as f64 * LINE);
        }
        if self.entries.is_empty() { top } else { y + high + 4.0 }
    }
}

/// The sample of a line: with its marker where points of the same name and colour lie on it.
pub(super) fn line_sample(line: &Line, layers: &[Layer]) -> Sample {
    layers
        .iter()
        .find_map(|layer| match layer {
            Layer::Points(p) if p.label == line.label && p.ink == line.ink => {
                Some(Sample::Both(line.ink, line.dash, p.marker, p.hollow))
            }
            _ => None,
        })
        .unwrap_or(Sample::Line(line.ink, line.dash))
}

/// Whether a line of the same name and colour speaks for these points too.
pub(super) fn spoken_for(points: &Points, layers: &[Layer]) -> bool {
    layers
        .iter()
        .any(|layer| matches!(layer, Layer::Line(l) if l.label == points.label && l.ink == points.ink))
}

/// The class of a reference line.
pub(super) const fn reference_class(kind: ReferenceKind) -> &'static str {
    match kind {
        ReferenceKind::Limit => "rl",
        ReferenceKind::Base => "rb",
    }
}

fn draw_sample(canvas: &mut Canvas, sample: Sample, rect: Rect) {
    let middle = (rect.top + rect.bottom) / 2.0;
    match sample {
        Sample::Points(ink, marker, hollow) => {
            draw_marker(canvas, ink, marker, hollow, ((rect.left + rect.right) / 2.0, middle));
        }
        Sample::Both(ink, dash, marker, hollow) => {
            draw_sample(canvas, Sample::Line(ink, dash), rect);
            draw_sample(canvas, Sample::Points(ink, marker, hollow), rect);
        }
        Sample::Line(ink, dash) => {
            let class = format!("ln {}", ink_class(ink));
            let d = super::series::path(&[(rect.left, middle), (rect.right, middle)]);
            let mut attributes: Vec<(&str, Value)> = vec![("class", class.into()), ("d", d.into())];
            if let Some(dashes) = dash_array(dash) {
                attributes.push(("stroke-dasharray", dashes.into()));
            }
            canvas.leaf("path", &attributes);
        }
        Sample::Band(kind, ink) => band::draw_sample(canvas, kind, ink, rect),
        Sample::Span(kind) => span::draw_area(canvas, kind, rect),
        Sample::Reference(kind) => {
            canvas.line(reference_class(kind), (rect.left, middle), (rect.right, middle));
        }
        Sample::Bins(ink) => canvas.rect(&format!("hb {}", ink_class(ink)), rect, None),
    }
}
