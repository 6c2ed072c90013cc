//! Changes of a part of a map: one point, two neighbouring rows or columns swapped.
//!
//! In: evidence of one output. Out: each hypothesis with what it leaves. Where the points of a controller's own table
//! lie is not known: they are looked for on the grid and half way between. Never: more than one change at a time.

use super::evidence::{Evidence, GridPoint};
use super::surface::refined;
use super::{Change, Worked};
use crate::reduce::controller::Way;

/// Most places along an axis that are looked at.
const PLACES_MOST: usize = 41;
/// A change that is seen on more than this share of the grid is none of a single point.
const WHOLE: f64 = 0.6;
/// Difference that counts as one, in tolerances.
const SEEN: f64 = 0.5;

/// Every hypothesis of this kind.
pub(super) fn all(e: &Evidence) -> Vec<Worked> {
    if !e.has_grid() {
        return Vec::new();
    }
    let mut all = Vec::new();
    all.extend(point(e));
    for (change, rows) in [(Change::RowsSwapped, true), (Change::ColumnsSwapped, false)] {
        for held in [false, true] {
            all.extend(swapped(e, change, rows, held));
        }
    }
    all
}

fn places(axis: &[f64]) -> Vec<f64> {
    let fine = refined(axis);
    if fine.len() <= PLACES_MOST { fine } else { axis.to_vec() }
}

/// Where along an axis anything differs: first and last.
fn span_of_change(e: &Evidence, along: impl Fn(&GridPoint) -> f64) -> Option<(f64, f64)> {
    let seen = e.grid.iter().filter(|p| ((p.new - p.old) / e.tolerance).abs() > SEEN);
    seen.map(along).fold(None, |span, x| match span {
        None => Some((x, x)),
        Some((a, b)) => Some((x.min(a), x.max(b))),
    })
}

/// One point of a table moves what lies between its neighbours: a tent where it is interpolated, a block where held.
fn point(e: &Evidence) -> Vec<Worked> {
    let rows = span_of_change(e, |p| p.row);
    let columns = span_of_change(e, |p| p.column);
    let (Some(rows), Some(columns)) = (rows, columns) else {
        return Vec::new();
    };
    let shapes = |axis: &[f64], span: (f64, f64)| {
        let fine = places(axis);
        let first = axis.first().copied().unwrap_or(0.0);
        let last = axis.last().copied().unwrap_or(0.0);
        let mut shapes = vec![Shape::Block(span.0, span.1)];
        let outside = |x: f64, low: bool| if low { x < span.0 + 1e-6 } else { x > span.1 - 1e-6 };
        let lows = fine.iter().copied().filter(|x| outside(*x, true)).rev().take(3);
        let lows: Vec<f64> = lows.chain((span.0 <= first).then_some(f64::NEG_INFINITY)).collect();
        let highs = fine.iter().copied().filter(|x| outside(*x, false)).take(3);
        let highs: Vec<f64> = highs.chain((span.1 >= last).then_some(f64::INFINITY)).collect();
        for low in &lows {
            for high in &highs {
                let inside = fine.iter().filter(|x| (span.0 - 1e-6..=span.1 + 1e-6).contains(*x));
                shapes.extend(
                    inside.filter(|x| *low < **x && **x < *high).map(|x| Shape::Tent(*low, *x, *high)),
                );
            }
        }
        shapes
    };
    let (by_row, by_column) = (shapes(&e.old[0].rows, rows), shapes(&e.old[0].columns, columns));
    let mut best: Option<(f64, f64, (&Shape, &Shape))> = None;
    for r in &by_row {
        for c in &by_column {
            let weights = || e.grid.iter().map(|p| r.at(p.row) * c.at(p.column));
            let over: f64 = weights().map(|w| w * w).sum();
            if over <= 0.0 || over > WHOLE * e.grid.len() as f64 {
                continue;
            }
            let amount = weights().zip(&e.grid).map(|(w, p)| w * (p.new - p.old)).sum::<f64>() / over;
            let left: f64 = weights().zip(&e.grid).map(|(w, p)| (p.new - p.old - amount * w).powi(2)).sum();
            if best.is_none_or(|b| left < b.1) {
                best = Some((amount, left, (r, c)));
            }
        }
    }
    let Some((amount, _, (r, c))) = best else {
        return Vec::new();
    };
    let change = |row: f64, column: f64| amount * r.at(row) * c.at(column);
    let map = |row: f64, column: f64| e.old[0].at(row, column) + change(row, column);
    let left = e.left(|p| p.old + change(p.row, p.column), |b| e.follows(b, map));
    let (row, column) = (0.5 * (rows.0 + rows.1), 0.5 * (columns.0 + columns.1));
    let words = format!("one point changed by {amount:+.1} {} near {row:.0} kPa, {column:.0} rpm", e.unit);
    vec![Worked { change: Change::PointChanged, words, left, free: 3.0 }]
}

/// How much of a point's change is seen along one axis.
enum Shape {
    /// From one neighbour over the point to the other.
    Tent(f64, f64, f64),
    /// The same from here to there.
    Block(f64, f64),
}

impl Shape {
    fn at(&self, x: f64) -> f64 {
        match *self {
            Shape::Block(from, to) => f64::from(u8::from((from - 1e-6..=to + 1e-6).contains(&x))),
            Shape::Tent(low, middle, high) => {
                let side = |end: f64| {
                    if end.is_finite() { (end - x) / (end - middle) } else { 1.0 }
                };
                if x <= low || x >= high {
                    0.0
                } else {
                    side(if x < middle { low } else { high }).clamp(0.0, 1.0)
                }
            }
        }
    }
}

/// Two neighbours of four points of an axis have changed places; none of the outer two where the axis ends there.
fn swapped(e: &Evidence, change: Change, rows: bool, held: bool) -> Option<Worked> {
    let along = move |p: &GridPoint| if rows { p.row } else { p.column };
    let span = span_of_change(e, along)?;
    let axis = if rows { &e.old[0].rows } else { &e.old[0].columns };
    let fine = places(axis);
    let old = |p: &GridPoint, x: f64| {
        let surface = e.before(p.way);
        if rows { surface.at(x, p.column) } else { surface.at(p.row, x) }
    };
    let mut best: Option<(f64, Knots)> = None;
    let outer = |at: Option<f64>, end: f64| at.unwrap_or(end);
    for (i, &first) in fine.iter().enumerate() {
        for (j, &second) in fine.iter().enumerate().skip(i + 1) {
            let lows = fine[..i].iter().copied().map(Some).chain(std::iter::once(None));
            let lows = lows.filter(|l| outer(*l, f64::NEG_INFINITY) <= span.0 + 1e-6);
            for low in lows {
                // Only the part that can be seen to differ needs to lie inside.
                let highs = fine[j + 1..].iter().copied().map(Some).chain(std::iter::once(None));
                for high in highs.filter(|h| outer(*h, f64::INFINITY) >= span.1 - 1e-6) {
                    let knots = Knots { low, first, second, high };
                    let left = e.grid.iter().map(|p| {
                        let d = p.new - knots.predict(along(p), held, |x| old(p, x));
                        d * d
                    });
                    let left: f64 = left.sum();
                    if best.is_none_or(|b| left < b.0) {
                        best = Some((left, knots));
                    }
                }
            }
        }
    }
    let knots = best?.1;
    let (first, second) = (knots.first, knots.second);
    let map = |row: f64, column: f64| {
        let p = GridPoint { row, column, way: Way::Up, new: 0.0, old: 0.0 };
        knots.predict(along(&p), held, |x| old(&p, x))
    };
    let left = e.left(|p| knots.predict(along(p), held, |x| old(p, x)), |b| e.follows(b, map));
    let words = if rows {
        format!("rows near {first:.0} and {second:.0} kPa swapped")
    } else {
        format!("columns near {first:.0} and {second:.0} rpm swapped")
    };
    Some(Worked { change, words, left, free: 4.0 })
}

/// Four neighbouring points of a controller's axis.
#[derive(Clone, Copy)]
struct Knots {
    low: Option<f64>,
    first: f64,
    second: f64,
    high: Option<f64>,
}

impl Knots {
    /// The value at `x` when `first` and `second` have changed places, from the values before.
    fn predict(&self, x: f64, held: bool, old: impl Fn(f64) -> f64) -> f64 {
        let (first, second) = (self.first, self.second);
        let mix =
            |a: f64, b: f64, from: f64, to: f64| a + (b - a) * ((x - from) / (to - from)).clamp(0.0, 1.0);
        if x < first {
            return match self.low {
                Some(low) if x <= low || held => old(x),
                Some(low) => mix(old(low), old(second), low, first),
                None if held => old(x),
                None => old(second),
            };
        }
        match self.high {
            Some(high) if x >= high => old(x),
            _ if held && x < second => old(second),
            _ if held => old(first),
            _ if x < second => mix(old(second), old(first), first, second),
            Some(high) => mix(old(first), old(high), second, high),
            None => old(first),
        }
    }
}
