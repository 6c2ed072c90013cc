//! The differences of one output, sorted by what they can tell.
//!
//! In: a comparison, an output. Out: the grid before and after from both sides, and everything else beside it. All
//! differences are weighed in tolerances. Never: a difference of something that one side lacks.

use super::surface::Surface;
use crate::judge::baseline::{Compared, Comparison};
use crate::reduce::controller::{At, Kind, Observation, Way};
use std::collections::BTreeMap;

/// Weight of an edge of an output that is no on-off output: where it lies follows from its values.
const EDGE_OF_VALUES: f64 = 0.3;

/// A point of the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct GridPoint {
    pub(super) row: f64,
    pub(super) column: f64,
    pub(super) way: Way,
    pub(super) new: f64,
    pub(super) old: f64,
}

/// Another value beside the grid.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Beside {
    pub(super) kind: Kind,
    pub(super) at: At,
    pub(super) old: f64,
    pub(super) new: f64,
    pub(super) tolerance: f64,
    pub(super) weight: f64,
}

/// Everything known of one output.
#[derive(Clone, Debug)]
pub(super) struct Evidence {
    pub(super) unit: String,
    pub(super) tolerance: f64,
    pub(super) grid: Vec<GridPoint>,
    /// Before, from below and from above; the same one where the way was not stated.
    pub(super) old: [Surface; 2],
    pub(super) supply: Vec<Beside>,
    pub(super) edges: Vec<Beside>,
    pub(super) times: Vec<Beside>,
    pub(super) faults: Vec<Beside>,
}

/// The boost axis of a point: kPa where it is known, else the sensor's volts.
pub(super) fn boost_of(at: &At) -> Option<f64> {
    at.boost_kpa.or(at.boost_v)
}

impl Evidence {
    /// Out of a comparison.
    pub(super) fn of(comparison: &Comparison, output: &str) -> Self {
        let both = |c: &'_ Compared| -> Option<(Observation, f64, f64, f64)> {
            let (old, new) = (c.old.clone()?, c.new.as_ref()?);
            let (a, b) = (old.value?, new.value?);
            (old.output == output).then_some((old, a, b, c.tolerance.max(1e-9)))
        };
        let all: Vec<_> = comparison.list.iter().filter_map(both).collect();
        let usual = usual_supply(all.iter().filter(|(o, ..)| is_grid(&o.kind)).map(|(o, ..)| &o.at));
        let mut evidence = Evidence {
            unit: String::new(),
            tolerance: 1.0,
            grid: Vec::new(),
            old: [empty(), empty()],
            supply: Vec::new(),
            edges: Vec::new(),
            times: Vec::new(),
            faults: Vec::new(),
        };
        for (o, old, new, tolerance) in all {
            let at_usual = o.at.supply_v.is_none_or(|v| usual.is_none_or(|u| (u - v).abs() < 0.15));
            let place = boost_of(&o.at).zip(o.at.rpm);
            let beside = Beside { kind: o.kind.clone(), at: o.at.clone(), old, new, tolerance, weight: 1.0 };
            match (&o.kind, place) {
                (kind, Some((row, column))) if is_grid(kind) && at_usual => {
                    (evidence.unit, evidence.tolerance) = (o.unit.clone(), tolerance);
                    let way = if *kind == Kind::SteadyDown { Way::Down } else { Way::Up };
                    evidence.grid.push(GridPoint { row, column, way, new, old });
                }
                (Kind::Supply(_) | Kind::Steady | Kind::SteadyUp | Kind::SteadyDown, _) => {
                    evidence.supply.push(beside)
                }
                (Kind::Edge(..), _) => evidence.edges.push(beside),
                (Kind::Response(_) | Kind::Restart, _) => evidence.times.push(beside),
                (Kind::Fault(_) | Kind::After(_), _) => evidence.faults.push(beside),
            }
        }
        let weight = if evidence.switched() { 1.0 } else { EDGE_OF_VALUES };
        evidence.edges.iter_mut().for_each(|e| e.weight = weight);
        let up = surface(&evidence.grid, Way::Up);
        let down = surface(&evidence.grid, Way::Down);
        evidence.old = if down.rows.is_empty() { [up.clone(), up] } else { [up, down] };
        evidence
    }

    /// Whether the output is on or off.
    pub(super) fn switched(&self) -> bool {
        self.unit == "on"
    }

    /// Whether there is a grid to reason about.
    pub(super) fn has_grid(&self) -> bool {
        self.old[0].rows.len() > 1 && !self.old[0].columns.is_empty()
    }

    /// The surface before, for a way.
    pub(super) fn before(&self, way: Way) -> &Surface {
        &self.old[usize::from(way == Way::Down)]
    }

    fn besides(&self) -> impl Iterator<Item = &Beside> {
        self.supply.iter().chain(&self.edges).chain(&self.times).chain(&self.faults)
    }

    /// All differences, squared, in tolerances.
    pub(super) fn total(&self) -> f64 {
        self.left(|p| p.old, |_| None)
    }

    /// How many differences there are.
    pub(super) fn count(&self) -> f64 {
        (self.grid.len() + self.besides().count()).max(2) as f64
    }

    /// What a prediction leaves, squared, in tolerances. `beside` says none where it predicts no change.
    pub(super) fn left(
        &self,
        grid: impl Fn(&GridPoint) -> f64,
        beside: impl Fn(&Beside) -> Option<f64>,
    ) -> f64 {
        let of_grid = self.grid.iter().map(|p| ((p.new - grid(p)) / self.tolerance).powi(2));
        let of_others = self.besides().map(|b| {
            let predicted = beside(b).unwrap_or(b.old);
            (b.weight * (b.new - predicted) / b.tolerance).powi(2)
        });
        of_grid.chain(of_others).filter(|v| v.is_finite()).sum()
    }

    /// What a change of the map means for a value beside the grid: the same factor as the grid has there, or the same
    /// difference where it was 0. None for edges and times.
    pub(super) fn follows(&self, b: &Beside, map: impl Fn(f64, f64) -> f64) -> Option<f64> {
        if !matches!(
            b.kind,
            Kind::Supply(_) | Kind::After(_) | Kind::Steady | Kind::SteadyUp | Kind::SteadyDown
        ) {
            return None;
        }
        let (row, column) = (boost_of(&b.at)?, b.at.rpm?);
        let was = self.old[0].at(row, column);
        let is = map(row, column);
        let predicted = if was.abs() > 0.1 * self.tolerance { b.old * is / was } else { b.old + is - was };
        (self.has_grid() && predicted.is_finite()).then_some(predicted)
    }
}

fn is_grid(kind: &Kind) -> bool {
    matches!(kind, Kind::Steady | Kind::SteadyUp | Kind::SteadyDown)
}

fn empty() -> Surface {
    Surface { rows: Vec::new(), columns: Vec::new(), values: Vec::new() }
}

/// The supply that most points have.
fn usual_supply<'a>(points: impl Iterator<Item = &'a At>) -> Option<f64> {
    let mut counts: BTreeMap<i64, usize> = BTreeMap::new();
    points
        .filter_map(|at| at.supply_v)
        .for_each(|v| *counts.entry((v * 10.0).round() as i64).or_default() += 1);
    counts.into_iter().max_by_key(|c| c.1).map(|(v, _)| v as f64 / 10.0)
}

fn surface(grid: &[GridPoint], way: Way) -> Surface {
    let mine: Vec<&GridPoint> = grid.iter().filter(|p| p.way == way).collect();
    let axis = |of: fn(&GridPoint) -> f64, apart: f64| {
        let mut axis: Vec<f64> = mine.iter().map(|p| of(p)).collect();
        axis.sort_by(f64::total_cmp);
        axis.dedup_by(|a, b| (*a - *b).abs() < apart);
        axis
    };
    let (rows, columns) = (axis(|p| p.row, 1e-3), axis(|p| p.column, 1.0));
    let mut values = vec![vec![f64::NAN; columns.len()]; rows.len()];
    for p in mine {
        let i = rows.partition_point(|r| *r < p.row - 1e-3).min(rows.len() - 1);
        let j = columns.partition_point(|c| *c < p.column - 1.0).min(columns.len() - 1);
        values[i][j] = p.old;
    }
    Surface { rows, columns, values }
}
