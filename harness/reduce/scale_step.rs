//! A step in the scale's readings: a cup that was touched or lifted, a scale that set its own zero.
//!
//! In: times and readings of a dwell. Out: how far the level stepped, where it did. A splash comes and goes and is
//! none. Never: a steady flow taken for a step.

/// Readings at most; more are averaged in equal groups first.
const READINGS: usize = 1500;
/// Readings looked at on either side.
const SIDE: usize = 6;
/// Robust standard deviations of a reading that a step must exceed.
const STANDS_OUT: f64 = 12.0;

/// The largest step of the level, g, if one stands out of the noise and of the flow.
#[must_use]
pub fn level_step(times_s: &[f64], masses_g: &[f64], resolution_g: f64) -> Option<f64> {
    let (times_s, masses_g) = (&grouped(times_s, READINGS)[..], &grouped(masses_g, READINGS)[..]);
    let n = times_s.len();
    if n < 4 * SIDE {
        return None;
    }
    let rate = median(rates(times_s, masses_g));
    let level: Vec<f64> = times_s.iter().zip(masses_g).map(|(t, m)| m - rate * (t - times_s[0])).collect();
    let jump = |i: usize| median(level[i..i + SIDE].to_vec()) - median(level[i - SIDE..i].to_vec());
    let jumps: Vec<(usize, f64)> = (SIDE..n - SIDE).map(|i| (i, jump(i))).collect();
    let usual = 1.4826 * median(jumps.iter().map(|(_, j)| j.abs()).collect());
    let limit = STANDS_OUT * usual.max(resolution_g);
    let (at, largest) = jumps.into_iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    // The level must stay where it went: a splash returns.
    let stayed = median(level[at..].to_vec()) - median(level[..at].to_vec());
    (limit > 0.0 && largest.abs() > limit && stayed / largest > 0.5).then_some(largest)
}

/// Rates between readings a few apart, g/s.
fn rates(times_s: &[f64], masses_g: &[f64]) -> Vec<f64> {
    let apart = |i: usize| (masses_g[i + SIDE] - masses_g[i]) / (times_s[i + SIDE] - times_s[i]);
    (0..times_s.len() - SIDE).map(apart).filter(|r| r.is_finite()).collect()
}

/// The median; 0 of nothing.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    let n = values.len();
    if n == 0 {
        return 0.0;
    }
    let (below, upper, _) = values.select_nth_unstable_by(n / 2, f64::total_cmp);
    match below.iter().copied().max_by(f64::total_cmp) {
        Some(lower) if n.is_multiple_of(2) => 0.5 * (lower + *upper),
        _ => *upper,
    }
}

/// Values averaged in equal groups, so that at most `most` are left; a last group that is not full is left out.
pub(super) fn grouped(values: &[f64], most: usize) -> Vec<f64> {
    let group = values.len().div_ceil(most).max(1);
    values.chunks_exact(group).map(|c| c.iter().sum::<f64>() / group as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, standard_normal};

    #[test]
    fn medians() {
        for (values, expected) in [
            (vec![], 0.0),
            (vec![3.0], 3.0),
            (vec![4.0, 1.0], 2.5),
            (vec![5.0, 1.0, 2.0], 2.0),
            (vec![1.0, 9.0, 2.0, 4.0], 3.0),
        ] {
            assert!((median(values) - expected).abs() < 1e-12);
        }
        assert_eq!(grouped(&[1.0, 3.0, 5.0, 7.0, 9.0], 2), [3.0]);
        assert_eq!(grouped(&[1.0, 3.0, 5.0, 7.0], 2), [2.0, 6.0]);
    }

    #[test]
    fn steps_are_found_and_splashes_are_none() {
        let mut rng = Seed(2).stream("steps");
        let times: Vec<f64> = (0..300).map(|i| 0.1 * f64::from(i)).collect();
        let mut masses = |change: &dyn Fn(usize) -> f64| -> Vec<f64> {
            let reading = |(i, t): (usize, &f64)| 7.0 * t + 0.1 * standard_normal(&mut rng) + change(i);
            times.iter().enumerate().map(reading).collect()
        };
        for step in [-400.0, -6.0, 8.0] {
            let found = level_step(&times, &masses(&|i| if i < 120 { 0.0 } else { step }), 0.1).unwrap();
            assert!((found - step).abs() < 3.0, "{found}");
        }
        assert_eq!(level_step(&times, &masses(&|_| 0.0), 0.1), None);
        let splash = |i| if (100..103).contains(&i) { 15.0 } else { 0.0 };
        assert_eq!(level_step(&times, &masses(&splash), 0.1), None);
        assert_eq!(level_step(&times[..10], &[0.0; 10], 0.1), None);
    }
}
