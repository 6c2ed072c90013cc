//! Dead band and breakaway as they were seen on ramps of the duty, beside what the law says.
//!
//! In: edges from the reduction, the common errors of the duty. Out: [`Uncertain`]s in per cent. Never: an edge given to
//! one of several nozzles, since a ramp does not say whose it was.

use super::dead_band::dead_band;
use super::pair::PairFit;
use crate::reduce::collection::Systematics;
use crate::reduce::edge_duty::{Direction, DutyEdge};
use crate::uncertainty::{Cause, Term, Uncertain};

/// What ramps of the duty showed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Edges {
    /// Duty at which flow stops on the way down, %.
    pub stall: Option<Uncertain>,
    /// Duty at which it starts on the way up, %.
    pub breakaway: Option<Uncertain>,
}

impl Edges {
    /// From the edges of a run; of several ramps the same way, the mean.
    #[must_use]
    pub fn new(edges: &[DutyEdge], systematics: &Systematics) -> Self {
        let of = |direction| {
            let own: Vec<&DutyEdge> = edges.iter().filter(|e| e.direction == direction).collect();
            estimate(&own, systematics)
        };
        Edges { stall: of(Direction::Down), breakaway: of(Direction::Up) }
    }
}

fn estimate(edges: &[&DutyEdge], systematics: &Systematics) -> Option<Uncertain> {
    let n = edges.len() as f64;
    let mean = |value: fn(&DutyEdge) -> f64| edges.iter().map(|e| value(e)).sum::<f64>() / n;
    if edges.is_empty() {
        return None;
    }
    let duty_pct = mean(|e| e.duty_pct);
    let common = systematics.0.iter().filter_map(|s| match s.cause {
        Cause::DutyZero => s.bound.term(Cause::DutyZero, 1.0),
        Cause::DutyGain => s.bound.term(Cause::DutyGain, duty_pct),
        _ => None,
    });
    // Drip and lag are the same on every ramp: their limits do not shrink with the number of ramps.
    let mut terms = vec![Term::limits(Cause::Edge, mean(|e| e.limits_pct))];
    terms.extend(common);
    Some(Uncertain::new(duty_pct, terms))
}

impl PairFit {
    /// The dead band of a nozzle: as seen on a ramp where the pair has one nozzle, else by the law.
    #[must_use]
    pub fn dead_band(&self, nozzle: usize) -> Option<Uncertain> {
        let seen = self.edges.stall.clone().filter(|_| self.model.nozzles.len() == 1);
        seen.or_else(|| dead_band(&self.model, nozzle))
    }

    /// The duty at which the pump starts from rest, where a ramp showed it.
    #[must_use]
    pub fn breakaway(&self) -> Option<Uncertain> {
        self.edges.breakaway.clone().filter(|_| self.model.nozzles.len() == 1)
    }

    /// The same fit with what ramps of the duty showed.
    #[must_use]
    pub fn with_edges(mut self, edges: Edges) -> Self {
        self.edges = edges;
        self
    }
}
