//! Drift across a run: whether equal settings gave less or more as time went by.
//!
//! In: collections. Out: findings: a trend of repeats with time, and a last point that does not repeat the first.
//! Never: a drift read out of settings that were never repeated.

use super::collection::Collection;
use super::finding::Finding;
use super::replicates::same_conditions;
use crate::numerics::distribution::t_survival;

/// Probability of such a trend by chance, below which it is told.
const P_MOST: f64 = 0.01;
/// Change over the run that is worth telling, fraction of flow.
const CHANGE_LEAST: f64 = 0.002;
/// Times the random standard uncertainty of their difference by which first and last must differ.
const APART_K: f64 = 3.0;

/// Findings about drift.
#[must_use]
pub fn findings(collections: &[Collection]) -> Vec<Finding> {
    let good: Vec<&Collection> =
        collections.iter().filter(|c| c.void.is_none() && c.flow_ml_min > 0.0).collect();
    trend(&good).into_iter().chain(first_and_last(&good)).collect()
}

/// Times and relative deviations of repeats from the mean of their setting, and how many settings have repeats.
fn deviations(good: &[&Collection]) -> (Vec<(f64, f64)>, usize) {
    let (mut all, mut settings) = (Vec::new(), 0);
    let mut done = vec![false; good.len()];
    for i in 0..good.len() {
        if done[i] {
            continue;
        }
        let group: Vec<usize> =
            (i..good.len()).filter(|j| !done[*j] && same_conditions(good[i], good[*j])).collect();
        group.iter().for_each(|j| done[*j] = true);
        if group.len() < 2 {
            continue;
        }
        settings += 1;
        let n = group.len() as f64;
        let mean = |of: &dyn Fn(&Collection) -> f64| group.iter().map(|j| of(good[*j])).sum::<f64>() / n;
        let (time, flow) = (mean(&|c| c.time_s), mean(&|c| c.flow_ml_min));
        all.extend(group.iter().map(|j| (good[*j].time_s - time, good[*j].flow_ml_min / flow - 1.0)));
    }
    (all, settings)
}

/// A trend of repeats with time, common to all settings.
fn trend(good: &[&Collection]) -> Option<Finding> {
    let (points, settings) = deviations(good);
    let free = points.len().checked_sub(settings + 1).filter(|f| *f >= 2)? as f64;
    let tt: f64 = points.iter().map(|(t, _)| t * t).sum();
    let per_s = points.iter().map(|(t, r)| t * r).sum::<f64>() / tt;
    let rest: f64 = points.iter().map(|(t, r)| (r - per_s * t).powi(2)).sum();
    let u = (rest / free / tt).sqrt();
    let span_s = good.last()?.time_s - good.first()?.time_s;
    let change = per_s * span_s;
    let p = 2.0 * t_survival((per_s / u).abs(), free);
    if p.is_nan() || p >= P_MOST || change.abs() < CHANGE_LEAST {
        return None;
    }
    let cause = if change < 0.0 {
        "the pump warms (winding resistance rises), a filter or the nozzle clogs, or the supply sags: let the pump warm up first, and look at pressure and supply over the run"
    } else {
        "the water warms (density and slip change), air leaves the line, or a part runs in: prime longer, and look at temperature and pressure over the run"
    };
    let what = format!("equal settings gave {:+.2} % by the end of the run", 100.0 * change);
    Some(
        Finding::new("drift.over_run", what, cause)
            .with("change over the run", 100.0 * change, "%")
            .with("standard uncertainty of it", 100.0 * u * span_s, "%")
            .with("probability by chance", p, ""),
    )
}

/// The first setting, where it was repeated last.
fn first_and_last(good: &[&Collection]) -> Option<Finding> {
    let (first, last) = (good.first()?, good.last()?);
    if good.len() < 4 || !same_conditions(first, last) {
        return None;
    }
    let difference = last.flow_ml_min - first.flow_ml_min;
    let u = last.flow_random_ml_min.hypot(first.flow_random_ml_min);
    let small = difference.abs() < CHANGE_LEAST * first.flow_ml_min;
    if difference.abs() <= APART_K * u || small {
        return None;
    }
    let what = format!(
        "the last point does not repeat the first: {:.1} mL/min then, {:.1} mL/min at the end",
        first.flow_ml_min, last.flow_ml_min
    );
    let cause = "something changed during the run: supply, temperature, filter, nozzle; points taken late are not \
                 comparable with early ones";
    Some(Finding::new("drift.first_and_last", what, cause).with("difference", difference, "mL/min").with(
        "random standard uncertainty of it",
        u,
        "mL/min",
    ))
}
