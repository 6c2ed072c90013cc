//! Shapes of the scatter of flow, and how large it is.
//!
//! In: the pump's data. Out: one [`Noise`] per shape, for the means of replicates, with what the replicates say of its
//! scale. Never: a scatter taken from what the rig states where replicates tell it.

use super::bayes::Noise;
use super::pump_data::{Datum, PumpData};

/// Least standard deviation of a flow that is believed, fraction of full flow.
const LEAST: f64 = 1e-4;
/// Degrees of freedom from which on replicates alone set the scale.
const TELLING_DOF: f64 = 3.0;
/// Scatter from one dwell to the next that a dwell itself does not show, fraction of flow, supposed where replicates do not
/// tell it (common practice, no source).
const UNSEEN: f64 = 0.0015;
/// Degrees of freedom given to the scale that the collections report, where replicates do not tell.
const REPORTED_DOF: f64 = 2.0;

/// A noise for each shape. The relative variance of a mean is that of its points over their number; the scale's prior
/// is what the replicates scatter by, or what the collections report where there are too few.
pub(super) fn noises(data: &PumpData) -> Vec<Noise> {
    let full = data.scaling.flow_ml_min;
    let least = (LEAST * full).powi(2);
    let untold = ((data.points.len() - data.means.len()) as f64) < TELLING_DOF;
    let unseen = if untold { UNSEEN } else { 0.0 };
    let variance = |d: &Datum| (d.u_flow.powi(2) + (unseen * d.flow).powi(2)).max(least);
    let reported: Vec<f64> = data.points.iter().map(variance).collect();
    let shapes = [
        reported.clone(),
        vec![1.0; reported.len()],
        data.points.iter().map(|d| (0.1 + 0.9 * d.flow / full).powi(2)).collect(),
    ];
    shapes.into_iter().map(|shape| noise(data, &shape, &reported, least)).collect()
}

fn noise(data: &PumpData, shape: &[f64], reported: &[f64], least: f64) -> Noise {
    let n = shape.len() as f64;
    let (squares, dof) = data.within(shape);
    let claimed = reported.iter().zip(shape).map(|(u, v)| u / v).sum::<f64>() / n;
    let smallest = least / (shape.iter().sum::<f64>() / n);
    let (expected, own_dof, own) = if dof >= TELLING_DOF {
        ((squares / dof).max(smallest), 0.5, smallest)
    } else {
        (claimed.max(smallest), REPORTED_DOF, claimed.max(smallest))
    };
    let mut means = vec![0.0; data.means.len()];
    for (d, v) in data.points.iter().zip(shape) {
        means[d.group] += d.weight * v;
    }
    means.iter_mut().zip(&data.means).for_each(|(v, m)| *v /= m.weight * m.weight);
    let logs = |values: &[f64]| values.iter().map(|v| v.ln()).sum::<f64>();
    Noise {
        log_within: 0.5 * (logs(&means) - logs(shape)),
        shape: means,
        within: squares,
        expected,
        prior_dof: own_dof + dof,
        floor: (own_dof * own + squares) / (own_dof + dof),
    }
}
