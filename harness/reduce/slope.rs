//! Mass flow: the slope of cup mass over a steady dwell.
//!
//! In: times and readings of the scale, and its resolution. Out: slope with its random standard uncertainty and
//! degrees of freedom, what stands out of the line, and whether the flow changed over the dwell. Readings that stand
//! out (splash, a bump) are labelled and counted; while they are few the slope is that of the others, and the slope
//! with them is told. Never: a reading dropped without a word.

use super::noise::{Trend, trend};
use super::scale_step::{grouped, median};
use crate::numerics::distribution::t_survival;

/// Robust standard deviations beyond which a reading stands out.
const STANDS_OUT: f64 = 6.0;
/// Part of the readings that may be left out; more are no outliers but the scale's way.
const OUTLIERS_MOST: f64 = 0.05;
/// Readings that a slope needs at least.
pub const READINGS_MIN: usize = 8;
/// Readings a fit is made over at most; more are averaged in equal groups first.
const READINGS_FITTED: usize = 600;

/// A slope.
#[derive(Clone, Debug, PartialEq)]
pub struct Slope {
    /// g/s.
    pub g_per_s: f64,
    /// Random standard uncertainty, g/s.
    pub u: f64,
    /// Its effective degrees of freedom.
    pub dof: f64,
    /// Readings in the dwell.
    pub readings: usize,
    /// Times of readings that stand out, s.
    pub outliers_s: Vec<f64>,
    /// Whether they were left out of the slope.
    pub left_out: bool,
    /// The slope with every reading, g/s.
    pub with_all_g_per_s: f64,
    /// Scatter of the readings about the line, g.
    pub scatter_g: f64,
    /// Correlation time of the scatter, s.
    pub correlation_s: f64,
    /// Change of the flow from start to end of the dwell, g/s, with its standard uncertainty.
    pub change_g_per_s: (f64, f64),
    /// Probability of a change as large by chance.
    pub change_p: f64,
    /// Reading of the line at the start and the end, g.
    pub line_g: (f64, f64),
}

/// The slope of scale readings (g) at increasing times (s); `resolution_g` is one step of the scale. None for fewer
/// than [`READINGS_MIN`] readings, or readings that are not finite or all at one time.
#[must_use]
pub fn slope(times_s: &[f64], masses_g: &[f64], resolution_g: f64) -> Option<Slope> {
    if times_s.len() < READINGS_MIN || times_s.len() != masses_g.len() {
        return None;
    }
    let all = fit(times_s, masses_g, 2)?;
    let out = standing_out(times_s, masses_g, resolution_g);
    let count = out.iter().filter(|o| **o).count();
    let left_out = count > 0 && count as f64 <= OUTLIERS_MOST * times_s.len() as f64;
    let keep = |values: &[f64]| -> Vec<f64> {
        values.iter().zip(&out).filter(|(_, o)| !**o).map(|(v, _)| *v).collect()
    };
    let (times, masses) =
        if left_out { (keep(times_s), keep(masses_g)) } else { (times_s.to_vec(), masses_g.to_vec()) };
    let line = if left_out { fit(&times, &masses, 2)? } else { all.clone() };
    let (start, end) = (times[0], times[times.len() - 1]);
    let bend = fit(&times, &masses, 3)?;
    let (change, u_change) = (2.0 * bend.coefficients[2] * (end - start), 2.0 * bend.u[2] * (end - start));
    let u_steps = resolution_u(resolution_g, line.coefficients[1], end - start);
    Some(Slope {
        g_per_s: line.coefficients[1],
        u: line.u[1].hypot(u_steps),
        dof: line.dof,
        readings: times_s.len(),
        outliers_s: times_s.iter().zip(&out).filter(|(_, o)| **o).map(|(t, _)| *t).collect(),
        left_out,
        with_all_g_per_s: all.coefficients[1],
        scatter_g: line.scatter,
        correlation_s: line.correlation_s,
        change_g_per_s: (change, u_change),
        change_p: if u_change > 0.0 { 2.0 * t_survival((change / u_change).abs(), bend.dof) } else { 1.0 },
        line_g: (line.at(start), line.at(end)),
    })
}

/// A fit over at most [`READINGS_FITTED`] readings; longer series are averaged in equal groups, which loses nothing
/// of a slope.
fn fit(times_s: &[f64], masses_g: &[f64], terms: usize) -> Option<Trend> {
    trend(&grouped(times_s, READINGS_FITTED), &grouped(masses_g, READINGS_FITTED), terms)
}

/// What the steps of the scale alone leave open, g/s: over a dwell of few steps the readings form a staircase whose
/// ends decide the slope; over many steps the stairs average out.
fn resolution_u(resolution_g: f64, g_per_s: f64, span_s: f64) -> f64 {
    let steps = if resolution_g > 0.0 { (g_per_s * span_s / resolution_g).abs() } else { f64::INFINITY };
    resolution_g / (6.0_f64.sqrt() * span_s) / steps.max(1.0)
}

/// Which readings stand out of the line through the others.
fn standing_out(times_s: &[f64], masses_g: &[f64], resolution_g: f64) -> Vec<bool> {
    let mut out = vec![false; times_s.len()];
    for _ in 0..5 {
        let Some((a, b)) = line(times_s, masses_g, &out) else {
            break;
        };
        let rest: Vec<f64> =
            times_s.iter().zip(masses_g).map(|(t, m)| m - a - b * (t - times_s[0])).collect();
        let used: Vec<f64> = rest.iter().zip(&out).filter(|(_, o)| !**o).map(|(r, _)| *r).collect();
        let middle = median(used.clone());
        // 1.4826 makes the median deviation of normal noise its standard deviation.
        let spread = 1.4826 * median(used.iter().map(|r| (r - middle).abs()).collect());
        let limit = STANDS_OUT * spread.max(0.5 * resolution_g);
        let next: Vec<bool> = rest.iter().map(|r| limit > 0.0 && (r - middle).abs() > limit).collect();
        if next == out {
            break;
        }
        out = next;
    }
    out
}

/// Ordinary least squares through the readings that are kept: at the first time, and per s.
fn line(times_s: &[f64], masses_g: &[f64], out: &[bool]) -> Option<(f64, f64)> {
    let kept = || {
        times_s.iter().zip(masses_g).zip(out).filter(|(_, o)| !**o).map(|((t, m), _)| (t - times_s[0], *m))
    };
    let n = kept().count() as f64;
    let (t_mean, m_mean) = (kept().map(|(t, _)| t).sum::<f64>() / n, kept().map(|(_, m)| m).sum::<f64>() / n);
    let tt: f64 = kept().map(|(t, _)| (t - t_mean).powi(2)).sum();
    let tm: f64 = kept().map(|(t, m)| (t - t_mean) * (m - m_mean)).sum();
    (tt > 0.0).then(|| (m_mean - tm / tt * t_mean, tm / tt))
}
