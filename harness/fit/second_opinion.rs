//! A curve without a pump law, as a second opinion at bench conditions.
//!
//! Through the means of replicates, brought to reference conditions, made monotone (pool adjacent violators) and joined
//! by shape-preserving cubics. It knows nothing between points but that flow rises, so it is uncertain there by how
//! far the cubic stands from the straight line. Where it disagrees with the fitted law beyond what both are uncertain
//! by, the law is widened, and the duty that should be measured next is named. In: a model, points. Out: widening,
//! the worst disagreement. Never: a change of the fitted value.

use super::model::{Condition, PairModel};
use super::points::Points;
use super::terms::Away;
use crate::numerics::{isotonic, monotone::Pchip};

/// Where the second opinion differs most from the law, against what both are uncertain by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Disagreement {
    /// Duty, fraction.
    pub duty: f64,
    /// Law less second opinion, mL/min.
    pub difference: f64,
    /// What both are uncertain by together, at 95 %, mL/min.
    pub u95: f64,
}

/// A second opinion on one nozzle's curve.
#[derive(Clone, Debug, PartialEq)]
pub struct SecondOpinion {
    /// Duty (fraction) and flow (mL/min) of its nodes at reference conditions.
    pub nodes: Vec<(f64, f64)>,
    /// Worst disagreement between the nodes; none with fewer than three.
    pub worst: Option<Disagreement>,
    /// Standard uncertainty (mL/min) by which the law is widened over duty (fraction).
    pub widening: Vec<(f64, f64)>,
    /// Curve.
    curve: Option<Pchip>,
}

impl SecondOpinion {
    /// On one nozzle.
    #[must_use]
    pub fn new(model: &PairModel, points: &Points, nozzle: usize, scatter: f64) -> Self {
        let (nodes, u_nodes) = nodes(model, points, nozzle, scatter);
        let duties: Vec<f64> = nodes.iter().map(|n| n.0).collect();
        let flows: Vec<f64> = nodes.iter().map(|n| n.1).collect();
        let weights: Vec<f64> = u_nodes.iter().map(|u| 1.0 / (u * u)).collect();
        let curve =
            isotonic::increasing(&flows, &weights).ok().and_then(|rising| Pchip::new(&duties, &rising).ok());
        let mut opinion = SecondOpinion { nodes, worst: None, widening: Vec::new(), curve };
        opinion.compare(model, nozzle, &u_nodes);
        opinion
    }

    /// Its flow at a duty (fraction), mL/min; none outside the nodes.
    #[must_use]
    pub fn flow(&self, duty: f64) -> Option<f64> {
        self.curve.as_ref()?.value(duty)
    }

    fn compare(&mut self, model: &PairModel, nozzle: usize, u_nodes: &[f64]) {
        let mut widening = Vec::new();
        for (i, pair) in self.nodes.windows(2).enumerate() {
            let ((d0, q0), (d1, q1)) = (pair[0], pair[1]);
            for part in [0.25, 0.5, 0.75] {
                let duty = d0 + part * (d1 - d0);
                let Some(other) = self.flow(duty) else { continue };
                let bow = (other - (q0 + part * (q1 - q0))).abs();
                let u_other = u_nodes[i].hypot(u_nodes[i + 1]).hypot(0.5 * bow + self.turn(i, d1 - d0));
                let c = condition(model, nozzle, duty);
                let o = model.operate(&c);
                let u_law = model.shares(&c, &o)[0].u;
                let difference = o.flow - other;
                let u95 = 2.0 * u_law.hypot(u_other);
                let excess = difference.abs() - u95;
                widening.push((duty, if excess > 0.0 { 0.5 * excess } else { 0.0 }));
                let worse = self.worst.is_none_or(|w| difference.abs() / u95 > w.difference.abs() / w.u95);
                if worse && u95 > 0.0 {
                    self.worst = Some(Disagreement { duty, difference, u95 });
                }
            }
        }
        if widening.iter().any(|w| w.1 > 0.0) {
            self.widening = widening;
        }
    }

    /// How much the curve may turn inside interval `i`, mL/min: an eighth of the change of slope to its neighbours.
    fn turn(&self, i: usize, width: f64) -> f64 {
        let slope =
            |k: usize| self.nodes.get(k + 1).map(|n| (n.1 - self.nodes[k].1) / (n.0 - self.nodes[k].0));
        let here = slope(i).unwrap_or(0.0);
        let before = i.checked_sub(1).and_then(slope).unwrap_or(here);
        let after = slope(i + 1).unwrap_or(here);
        ((here - before).abs().max((after - here).abs())) * width / 8.0
    }
}

fn condition(model: &PairModel, nozzle: usize, duty: f64) -> Condition {
    Condition {
        nozzles: vec![nozzle],
        duty,
        supply_v: model.reference.supply_v,
        out_kpa: model.reference.out_range_kpa.0,
        away: Away::default(),
        k_factor: 1.0,
    }
}

/// Means of replicates at reference conditions with their standard uncertainties: each flow with the law's own small
/// change from the point's supply, duty and temperature to the reference and the group's mean duty.
fn nodes(model: &PairModel, points: &Points, nozzle: usize, scatter: f64) -> (Vec<(f64, f64)>, Vec<f64>) {
    let mut nodes = Vec::new();
    let mut u = Vec::new();
    for (index, group) in points.groups.iter().enumerate().filter(|(_, g)| g.nozzle == nozzle) {
        let members = points.flowing.iter().filter(|p| p.group == index);
        let at_reference = model.operate(&condition(model, nozzle, group.duty)).flow;
        let mean = members
            .map(|p| {
                let c = Condition {
                    duty: p.duty,
                    supply_v: p.supply_v,
                    out_kpa: p.out_kpa,
                    away: p.away,
                    ..condition(model, nozzle, p.duty)
                };
                p.flow + at_reference - model.operate(&c).flow
            })
            .sum::<f64>()
            / group.count as f64;
        nodes.push((group.duty, mean));
        u.push((scatter / (group.count as f64).sqrt()).max(1e-9));
    }
    (nodes, u)
}
