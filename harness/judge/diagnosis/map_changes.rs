//! Changes of a whole map: axis shifted, scaled, offset, clamped, with other hysteresis, looked up another way.
//!
//! In: evidence of one output. Out: each hypothesis with what it leaves. Never: more than one change at a time.

use super::evidence::{Beside, Evidence, GridPoint};
use super::surface::{Surface, refined};
use super::{Change, Worked};
use crate::reduce::controller::{Kind, Way};

/// Largest share of an axis that it may have moved.
const SHIFT_MOST: f64 = 0.3;
/// A value that is off, in tolerances.
const OFF: f64 = 0.1;
/// Values below this share of the largest may have a threshold that switches them off.
const THRESHOLD: f64 = 0.25;
/// Steps of a search along a line, to each side.
const STEPS: i32 = 60;

/// Every hypothesis of this kind.
pub(super) fn all(e: &Evidence) -> Vec<Worked> {
    let mut all = Vec::new();
    if e.has_grid() {
        all.extend([shift_boost(e), shift_speed(e), hysteresis(e)]);
        if !e.switched() {
            all.extend([scaled(e), offset(e, false), offset(e, true)]);
            all.extend(clamps(e));
            all.extend([lookup(e, false), lookup(e, true)]);
        }
    } else if !e.edges.is_empty() {
        all.extend([shift_boost(e), hysteresis(e)]);
    }
    all
}

/// An on-off output between two points is one or the other.
fn settled(e: &Evidence, v: f64) -> f64 {
    if e.switched() { v.round() } else { v }
}

/// The boost of an edge, moved.
fn edge_moved(b: &Beside, input: &str, up: f64, down: f64) -> Option<f64> {
    match &b.kind {
        Kind::Edge(Way::Up, i) if i == input => Some(b.old + up),
        Kind::Edge(Way::Down, i) if i == input => Some(b.old + down),
        _ => None,
    }
}

/// The best of a line search, refined once: position and what it leaves.
fn search(most: f64, left: impl Fn(f64) -> f64) -> (f64, f64) {
    let step = most / f64::from(STEPS);
    let coarse = (-STEPS..=STEPS).map(|i| f64::from(i) * step);
    let best = |candidates: &mut dyn Iterator<Item = f64>| {
        candidates.map(|x| (x, left(x))).min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::INFINITY))
    };
    let (near, _) = best(&mut coarse.into_iter());
    best(&mut (-10..=10).map(|i| near + f64::from(i) * step / 10.0))
}

fn reach(axis: &[f64]) -> f64 {
    match (axis.first(), axis.last()) {
        (Some(a), Some(b)) if b > a => SHIFT_MOST * (b - a),
        _ => 30.0,
    }
}

fn shift_boost(e: &Evidence) -> Worked {
    let (by, left) = search(reach(&e.old[0].rows), |by| {
        let map = |row: f64, column: f64| e.old[0].at(row - by, column);
        e.left(
            |p| settled(e, e.before(p.way).at(p.row - by, p.column)),
            |b| e.follows(b, map).or_else(|| edge_moved(b, "boost", by, by)),
        )
    });
    let words = format!("boost axis shifted by {by:+.1} kPa");
    Worked { change: Change::AxisShifted, words, left, free: 1.0 }
}

fn shift_speed(e: &Evidence) -> Worked {
    let (by, left) = search(reach(&e.old[0].columns), |by| {
        let map = |row: f64, column: f64| e.old[0].at(row, column - by);
        e.left(
            |p| settled(e, e.before(p.way).at(p.row, p.column - by)),
            |b| e.follows(b, map).or_else(|| edge_moved(b, "rpm", by, by)),
        )
    });
    let words = format!("speed axis shifted by {by:+.0} rpm");
    Worked { change: Change::AxisShifted, words, left, free: 1.0 }
}

/// Boost is believed only when it has moved by more than before: values from below lag one way, from above the other.
/// At the turning points of a pass the belief stands still first.
fn hysteresis(e: &Evidence) -> Worked {
    let (low, high) = match (e.old[0].rows.first(), e.old[0].rows.last()) {
        (Some(a), Some(b)) => (*a, *b),
        _ => (f64::NEG_INFINITY, f64::INFINITY),
    };
    let (by, left) = search(reach(&e.old[0].rows), |by| {
        let believed = |row: f64, way: Way| match way {
            Way::Up if by > 0.0 => (row - by).max(low + by),
            Way::Down if by > 0.0 => (row + by).min(high - by),
            Way::Up => row - by,
            Way::Down => row + by,
        };
        let map = |row: f64, column: f64| e.old[0].at(row - by, column);
        e.left(
            |p| settled(e, e.before(p.way).at(believed(p.row, p.way), p.column)),
            |b| e.follows(b, map).or_else(|| edge_moved(b, "boost", by, -by)),
        )
    });
    let words = format!("hysteresis changed by {by:+.1} kPa to each side");
    Worked { change: Change::HysteresisChanged, words, left, free: 1.0 }
}

/// Grid and what follows from it under a change of values.
///
/// A point that was off and came on, or went off, shows only that a threshold lies between: it is not held against a
/// change in that direction.
fn of_values(e: &Evidence, change: impl Fn(f64) -> f64) -> f64 {
    of_values_and(e, &change, |b| {
        let value =
            Kind::Supply(Way::Up).quantity() == b.kind.quantity() && !matches!(b.kind, Kind::Fault(_));
        value.then(|| change(b.old))
    })
}

/// The same, with what follows beside the grid.
fn of_values_and(e: &Evidence, change: impl Fn(f64) -> f64, beside: impl Fn(&Beside) -> Option<f64>) -> f64 {
    let off = |v: f64| v.abs() <= OFF * e.tolerance;
    let top = e.old[0].top();
    let rises = change(0.5 * top) > 0.5 * top;
    let grid = |p: &GridPoint| {
        let came = rises && off(p.old) && !off(p.new);
        let went = !rises && off(p.new) && !off(p.old) && p.old < THRESHOLD * top;
        if (came && p.new < THRESHOLD * top) || went { p.new } else { change(p.old) }
    };
    e.left(grid, beside)
}

/// Full scale of an output: no value beyond it can be put out.
fn full(e: &Evidence) -> f64 {
    if e.unit == "%" { 100.0 } else { f64::INFINITY }
}

fn scaled(e: &Evidence) -> Worked {
    let top = full(e);
    let (by, left) = search(0.6, |by| of_values(e, |v| (v * (1.0 + by)).min(top)));
    let words = format!("map scaled by {:.3}", 1.0 + by);
    Worked { change: Change::MapScaled, words, left, free: 1.0 }
}

fn offset(e: &Evidence, everywhere: bool) -> Worked {
    let top = full(e);
    let most = 0.4 * e.old[0].top().max(1e-6);
    let (by, left) = search(most, |by| {
        let change = |v: f64| {
            if v.abs() > OFF * e.tolerance || everywhere { (v + by).clamp(0.0, top) } else { v }
        };
        // The offset is in the table, before the supply is compensated.
        let map = |row: f64, column: f64| change(e.old[0].at(row, column));
        of_values_and(e, change, |b| e.follows(b, map))
    });
    let words = format!("offset by {by:+.2} {}", e.unit);
    Worked { change: Change::Offset, words, left, free: 1.0 }
}

/// A clamp from above or below, lower or higher than it was.
fn clamps(e: &Evidence) -> Vec<Worked> {
    let top = e.old[0].top();
    let worked =
        |words: String, left: f64, free: f64| Worked { change: Change::ClampMoved, words, left, free };
    let (at, left) = search(0.5 * top, |by| of_values(e, |v| v.min(top - by.abs())));
    let lower = worked(format!("maximum limited to {:.1} {}", top - at.abs(), e.unit), left, 1.0);
    let (at, left) = search(0.5 * top, |by| {
        of_values(e, |v| if v.abs() > OFF * e.tolerance { v.max(by.abs()) } else { v })
    });
    let raised = worked(format!("minimum raised to {:.1} {}", at.abs(), e.unit), left, 1.0);
    // A clamp that went up frees what it held: those points alone may take any value above.
    let held = |v: f64| v >= top - 0.25 * e.tolerance;
    let count = e.grid.iter().filter(|p| held(p.old)).count() as f64;
    let grid = |p: &GridPoint| if held(p.old) { p.new.max(p.old) } else { p.old };
    let left = e.left(grid, |b| held(b.old).then_some(b.new.max(b.old)));
    let freed = worked(format!("maximum raised above {top:.1} {}", e.unit), left, count.max(1.0));
    vec![lower, raised, freed]
}

/// Held where it was interpolated: each row and each column takes the value of a place at or below it, each by its
/// own. The other way round, the old values are found in the new ones.
fn lookup(e: &Evidence, reversed: bool) -> Worked {
    let mut seen = e.old[0].clone();
    for p in e.grid.iter().filter(|p| p.way == Way::Up) {
        let near = |axis: &[f64], x: f64, within: f64| axis.iter().position(|a| (a - x).abs() < within);
        if let (Some(i), Some(j)) = (near(&seen.rows, p.row, 1e-3), near(&seen.columns, p.column, 1.0)) {
            seen.values[i][j] = p.new;
        }
    }
    let (from, to) = if reversed { (&seen, &e.old[0]) } else { (&e.old[0], &seen) };
    let lags = Lags::fit(from, to);
    let left = if reversed {
        // What is left of the old values, with nothing said of the rest.
        e.left(|p| p.new - (p.old - lags.at(from, p.row, p.column)), |_| None)
    } else {
        let map = |row: f64, column: f64| lags.at(from, row, column);
        e.left(|p| lags.at(from, p.row, p.column), |b| e.follows(b, map))
    };
    let words = if reversed {
        "table lookup now interpolated instead of stepped"
    } else {
        "table lookup now stepped instead of interpolated"
    };
    // Where every lag is nothing it has chosen nothing.
    let free = lags.chosen(from).max(1.0);
    Worked { change: Change::LookupToggled, words: words.to_owned(), left, free: 0.5 * free }
}

/// From where each row and each column takes its value.
struct Lags {
    rows: Vec<f64>,
    columns: Vec<f64>,
}

impl Lags {
    fn fit(from: &Surface, to: &Surface) -> Self {
        let mut lags = Lags { rows: from.rows.clone(), columns: from.columns.clone() };
        let miss = |row: f64, column: f64, i: usize, j: usize| {
            let d = from.at(row, column) - to.values[i][j];
            if d.is_finite() { d * d } else { 0.0 }
        };
        let (rows, columns) = (refined(&refined(&from.rows)), refined(&refined(&from.columns)));
        for _ in 0..4 {
            for i in 0..from.rows.len() {
                let left = |row: f64| (0..from.columns.len()).map(|j| miss(row, lags.columns[j], i, j)).sum();
                lags.rows[i] = nearest_below(&rows, from.rows[i], left);
            }
            for j in 0..from.columns.len() {
                let left = |column: f64| (0..from.rows.len()).map(|i| miss(lags.rows[i], column, i, j)).sum();
                lags.columns[j] = nearest_below(&columns, from.columns[j], left);
            }
        }
        lags
    }

    /// The value of the surface where the lags of its row and column lead.
    fn at(&self, from: &Surface, row: f64, column: f64) -> f64 {
        let moved = |axis: &[f64], to: &[f64], x: f64| {
            let i = axis.partition_point(|a| *a <= x + 1e-6).saturating_sub(1);
            x - axis.get(i).zip(to.get(i)).map_or(0.0, |(a, t)| a - t)
        };
        from.at(moved(&from.rows, &self.rows, row), moved(&from.columns, &self.columns, column))
    }

    /// How many rows and columns lag.
    fn chosen(&self, from: &Surface) -> f64 {
        let lagging =
            |axis: &[f64], to: &[f64]| axis.iter().zip(to).filter(|(a, t)| **a - **t > 1e-9).count();
        (lagging(&from.rows, &self.rows) + lagging(&from.columns, &self.columns)) as f64
    }
}

/// The place at or below `x` that leaves least; the nearest where several do.
fn nearest_below(places: &[f64], x: f64, left: impl Fn(f64) -> f64) -> f64 {
    let mut best = (x, left(x));
    for place in places.iter().rev().filter(|p| **p < x - 1e-9) {
        let miss = left(*place);
        if miss < best.1 - 1e-9 {
            best = (*place, miss);
        }
    }
    best.0
}
