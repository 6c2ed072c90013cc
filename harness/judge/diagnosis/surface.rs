//! Values over boost and speed as they were seen, and between.
//!
//! In: points of a grid. Out: the value anywhere, bilinear between the points, the edge beyond them. Never: a point
//! that was not seen taken for 0 (it takes the place of its neighbours).

/// A surface over rows (boost) and columns (speed).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Surface {
    pub(super) rows: Vec<f64>,
    pub(super) columns: Vec<f64>,
    /// By row, then column; NaN where not seen.
    pub(super) values: Vec<Vec<f64>>,
}

impl Surface {
    /// The value at a place.
    pub(super) fn at(&self, row: f64, column: f64) -> f64 {
        let (i, u) = place(&self.rows, row);
        let (j, v) = place(&self.columns, column);
        let get = |i: usize, j: usize| {
            let (i, j) = (i.min(self.rows.len() - 1), j.min(self.columns.len() - 1));
            self.values[i][j]
        };
        let mix = |a: f64, b: f64, t: f64| match (a.is_nan() || t >= 1.0, b.is_nan() || t <= 0.0) {
            (false, false) => a + (b - a) * t,
            (true, _) => b,
            (false, true) => a,
        };
        let low = mix(get(i, j), get(i, j + 1), v);
        let high = mix(get(i + 1, j), get(i + 1, j + 1), v);
        mix(low, high, u)
    }

    /// The largest value.
    pub(super) fn top(&self) -> f64 {
        self.values.iter().flatten().copied().filter(|v| v.is_finite()).fold(0.0, f64::max)
    }
}

/// The interval that holds `x`, and how far into it; the ends beyond.
fn place(axis: &[f64], x: f64) -> (usize, f64) {
    let after = axis.partition_point(|a| *a <= x);
    match after {
        0 => (0, 0.0),
        n if n >= axis.len() => (axis.len() - 1, 0.0),
        n => (n - 1, (x - axis[n - 1]) / (axis[n] - axis[n - 1])),
    }
}

/// Axis values with one more in the middle of each step.
pub(super) fn refined(axis: &[f64]) -> Vec<f64> {
    let mut fine = Vec::with_capacity(2 * axis.len());
    for pair in axis.windows(2) {
        fine.extend([pair[0], 0.5 * (pair[0] + pair[1])]);
    }
    fine.extend(axis.last());
    fine
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_points_and_beyond_them() {
        let s = Surface {
            rows: vec![0.0, 10.0],
            columns: vec![0.0, 2.0],
            values: vec![vec![0.0, 2.0], vec![10.0, 14.0]],
        };
        // By hand.
        for (row, column, value) in
            [(0.0, 0.0, 0.0), (5.0, 0.0, 5.0), (5.0, 1.0, 6.5), (20.0, 9.0, 14.0), (-5.0, -1.0, 0.0)]
        {
            assert!((s.at(row, column) - value).abs() < 1e-12, "{row} {column}");
        }
        assert_eq!(refined(&[0.0, 2.0, 3.0]), [0.0, 1.0, 2.0, 2.5, 3.0]);
    }
}
