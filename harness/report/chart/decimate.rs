//! Long series made short without losing a peak.
//!
//! In: a series of `(x, y)` in order. Out: at most `max` of its own points, with the first and the last, the least
//! and the greatest of each stretch, and every gap. Never: a point that was not there.

/// At most `max` points of the series (`max` is at least 8). A y that is not finite is a gap; one point of each gap is
/// kept, so that the line stays broken there, as long as there are fewer gaps than a quarter of `max`.
#[must_use]
pub fn decimate(points: &[(f64, f64)], max: usize) -> Vec<(f64, f64)> {
    if points.len() <= max.max(8) {
        return points.to_vec();
    }
    let gaps = gap_places(points);
    let gaps = if gaps.len() > max / 4 { Vec::new() } else { gaps };
    // Two points a bucket, one a gap, and the two ends.
    let buckets = ((max.max(8) - 2 - gaps.len()) / 2).max(1);
    let mut keep = gaps;
    keep.extend([0, points.len() - 1]);
    for bucket in 0..buckets {
        let (from, to) = (bucket * points.len() / buckets, (bucket + 1) * points.len() / buckets);
        let finite = || (from..to).filter(|&i| points[i].1.is_finite());
        keep.extend(finite().min_by(|&a, &b| points[a].1.total_cmp(&points[b].1)));
        keep.extend(finite().max_by(|&a, &b| points[a].1.total_cmp(&points[b].1)));
    }
    keep.sort_unstable();
    keep.dedup();
    keep.into_iter().map(|i| points[i]).collect()
}

/// The first point of each gap.
fn gap_places(points: &[(f64, f64)]) -> Vec<usize> {
    (0..points.len())
        .filter(|&i| !points[i].1.is_finite() && (i == 0 || points[i - 1].1.is_finite()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn extremes_ends_and_order_stay(ys in prop::collection::vec(-1e3..1e3f64, 9..5000), max in 8usize..500) {
            let points: Vec<(f64, f64)> = ys.iter().enumerate().map(|(i, y)| (i as f64, *y)).collect();
            let kept = decimate(&points, max);
            prop_assert!(kept.len() <= max.max(8));
            prop_assert!(kept.windows(2).all(|w| w[0].0 < w[1].0));
            prop_assert!(kept.iter().all(|p| points.contains(p)));
            let least = |ps: &[(f64, f64)]| ps.iter().map(|p| p.1).fold(f64::INFINITY, f64::min).to_bits();
            let greatest = |ps: &[(f64, f64)]| ps.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max).to_bits();
            prop_assert_eq!(least(&kept), least(&points));
            prop_assert_eq!(greatest(&kept), greatest(&points));
            prop_assert_eq!(kept.first(), points.first());
            prop_assert_eq!(kept.last(), points.last());
        }
    }

    #[test]
    fn a_gap_stays_a_gap() {
        let points: Vec<(f64, f64)> = (0..10_000)
            .map(|i| (f64::from(i), if (4000..6000).contains(&i) { f64::NAN } else { 1.0 }))
            .collect();
        let kept = decimate(&points, 100);
        assert!(kept.iter().any(|p| p.1.is_nan()));
        assert!(kept.len() <= 100);
    }
}
