//! Shapes of the scatter of flow, and how large it is expected to be.
//!
//! In: the pump's data. Out: one [`Noise`] per shape. Never: a scatter taken from what the rig states where replicates
//! tell it.

use super::bayes::Noise;
use super::pump_data::PumpData;

/// The shapes in words, in the order of [`noises`].
pub const SHAPES: [&str; 3] = [
    "as reported with each collection",
    "the same at all flows",
    "mostly proportional to flow",
];

/// Shapes of the noise that are weighed: as reported with each collection, the same at all flows, and mostly
/// proportional to flow. Each expected at the scatter of replicates, or as reported where there are too few.
pub(super) fn noises(data: &PumpData) -> Vec<Noise> {
    let full = data.scaling.flow_ml_min;
    let least = (1e-4 * full).powi(2);
    let reported: Vec<f64> = data
        .data
        .iter()
        .map(|d| (d.u_flow * d.u_flow).max(least))
        .collect();
    let shapes = [
        reported.clone(),
        vec![1.0; reported.len()],
        data.data
            .iter()
            .map(|d| (0.1 + 0.9 * d.flow / full).powi(2))
            .collect(),
    ];
    let residuals: Vec<f64> = replicate_residuals(data);
    shapes
        .into_iter()
        .map(|shape| {
            let (scatter, dof) = data.pure_error(&residuals, &shape);
            let claimed = reported.iter().zip(&shape).map(|(u, v)| u / v).sum::<f64>() / shape.len() as f64;
            let smallest = least / (shape.iter().sum::<f64>() / shape.len() as f64);
            let (expected, prior_dof, floor) = if dof >= 3.0 {
                (scatter.max(smallest), 0.5, smallest)
            } else {
                (claimed.max(smallest), 2.0, claimed.max(smallest))
            };
            Noise {
                shape,
                expected,
                prior_dof,
                floor,
            }
        })
        .collect()
}

/// Flow less what small differences of effective voltage within a group explain by the mean slope.
fn replicate_residuals(data: &PumpData) -> Vec<f64> {
    let x = data.group_means(|d| d.effective_v);
    let slope = data.slope();
    data.data
        .iter()
        .zip(&x)
        .map(|(d, x)| d.flow - slope * (d.effective_v - x))
        .collect()
}
