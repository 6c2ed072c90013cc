//! Plots: one panel, or several above one another over one x axis.
//!
//! In: a [`Plot`]. Out: titles, names, frames, layers, key on the canvas. Never: a layer outside its frame.

use super::Size;
use super::axes::{self, Plane};
use super::band;
use super::bins;
use super::direct;
use super::ground::Ground;
use super::key::{Key, Sample, spoken_for};
use super::layer::Layer;
use super::mark::{self, Strip};
use super::model::{Panel, Plot};
use super::scale::Scale;
use super::series;
use super::span;
use super::svg::{Canvas, Rect};

/// The height of a frame.
fn frame_height(size: Size, panels: usize) -> f64 {
    match (size, panels) {
        (Size::Wide, 0 | 1) => 290.0,
        (Size::Wide, 2) => 190.0,
        (Size::Wide, _) => 150.0,
        (Size::Narrow, 0 | 1) => 240.0,
        (Size::Narrow, _) => 150.0,
    }
}

/// The plot.
pub(super) fn draw(plot: &Plot, canvas: &mut Canvas) {
    let high = frame_height(canvas.size, plot.panels.len());
    let x = mark::scale_over(&plot.x, plot.panels.iter().map(|p| &p.layers[..]), true);
    let scales: Vec<Scale> =
        plot.panels.iter().map(|p| mark::scale_over(&p.y, [&p.layers[..]], false).moved(high, 0.0)).collect();
    let most = |rooms: &mut dyn Iterator<Item = f64>| rooms.fold(0.0, f64::max);
    let left = most(&mut scales.iter().map(|s| axes::y_room(&axes::y_ticks(s, high))));
    let right_room =
        most(&mut plot.panels.iter().zip(&scales).map(|(p, y)| direct::room(&p.layers, &x, y, canvas.size)));
    let (left, right) = (left.max(20.0), canvas.width() - right_room.max(14.0));
    let x = x.moved(left, right);
    let mut key = Key::default();
    for (i, (panel, y)) in plot.panels.iter().zip(&scales).enumerate() {
        let strip = Strip::pack(&panel.layers, &x, canvas.width());
        let overhang = axes::y_overhang(&axes::y_ticks(y, high));
        let above = axes::y_title(canvas, &panel.y, canvas.height) + strip.height().max(2.0);
        let top = canvas.height + above + overhang + 4.0;
        let frame = Rect { left, right, top, bottom: top + high };
        let plane = Plane { frame, x: x.clone(), y: y.moved(frame.bottom, frame.top) };
        let last = i + 1 == plot.panels.len();
        draw_panel(canvas, &plane, panel, last, &strip, &mut key);
        canvas.height = frame.bottom + 12.0;
        if last {
            canvas.height = axes::x_title(canvas, &plot.x, frame, frame.bottom + 22.0) + 6.0;
        }
    }
    canvas.height = key.draw(canvas, canvas.height);
}

/// One panel in its frame; names that find no place go to the key.
fn draw_panel(
    canvas: &mut Canvas,
    plane: &Plane,
    panel: &Panel,
    labelled: bool,
    strip: &Strip,
    key: &mut Key,
) {
    let frame = plane.frame;
    mark::draw_spans(canvas, plane, &panel.layers);
    let x_ticks = axes::x_ticks(&plane.x, frame.width());
    axes::draw_x(canvas, plane, &x_ticks, labelled);
    axes::draw_y(canvas, plane, &axes::y_ticks(&plane.y, frame.height()));
    let mut ground = Ground::new(frame);
    draw_layers(canvas, plane, &panel.layers, strip, &mut ground);
    axes::draw_frame(canvas, frame);
    strip.draw(canvas, frame.top);
    for layer in &panel.layers {
        if let Layer::Callout(c) = layer {
            mark::draw_callout(canvas, plane, c, &mut ground);
        }
    }
    direct::draw(canvas, plane, &panel.layers, &mut ground, key);
    for i in &strip.too_long {
        match &panel.layers[*i] {
            Layer::Reference(r) => key.add(Sample::Reference(r.kind), r.label.as_str()),
            Layer::Span(s) => key.add(Sample::Span(s.kind), s.label.as_str()),
            _ => {}
        }
    }
    key_of(&panel.layers, key);
}

/// Bands, bars, references, lines and points, in this order.
pub(super) fn draw_layers(
    canvas: &mut Canvas,
    plane: &Plane,
    layers: &[Layer],
    strip: &Strip,
    ground: &mut Ground,
) {
    // Wide bands lie beneath narrow ones.
    let mut bands: Vec<_> =
        layers.iter().filter_map(|l| if let Layer::Band(b) = l { Some(b) } else { None }).collect();
    bands.sort_by_key(|b| std::cmp::Reverse(b.kind));
    for b in bands {
        band::draw(canvas, plane, b);
    }
    for layer in layers {
        if let Layer::Bins(b) = layer {
            bins::draw(canvas, plane, b, ground);
        }
    }
    for (i, layer) in layers.iter().enumerate() {
        if let Layer::Reference(r) = layer {
            mark::draw_reference(canvas, plane, (i, r), strip, ground);
        }
    }
    for layer in layers {
        if let Layer::Line(l) = layer {
            series::draw_line(canvas, plane, l, ground);
        }
    }
    for layer in layers {
        if let Layer::Points(p) = layer {
            series::draw_points(canvas, plane, p, ground);
        }
    }
}

/// Entries of the key for what is never named beside itself.
pub(super) fn key_of(layers: &[Layer], key: &mut Key) {
    for layer in layers {
        match layer {
            Layer::Points(p) if !p.points.is_empty() && !spoken_for(p, layers) => {
                key.add(Sample::Points(p.ink, p.marker, p.hollow), p.label.as_str());
            }
            Layer::Band(b) => key.add(Sample::Band(b.kind, b.ink), b.label.as_str()),
            Layer::Span(s) => key.add(Sample::Span(s.kind), span::name(s.kind)),
            Layer::Bins(b) => key.add(Sample::Bins(b.ink), b.label.as_str()),
            _ => {}
        }
    }
}
