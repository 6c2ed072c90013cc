//! A controller's table: two axes, values, and how it is read between its points.
//!
//! In: boost and engine speed. Out: a value. Beyond the ends of an axis the end counts.

use crate::virtual_bench::config::Lookup;

/// Table over boost (rows) and speed (columns).
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Table {
    pub(crate) boost_kpa: Vec<f64>,
    pub(crate) rpm: Vec<f64>,
    pub(crate) values: Vec<Vec<f64>>,
    pub(crate) lookup: Lookup,
}

impl Table {
    /// The value at a boost (gauge kPa) and a speed (rpm).
    pub(crate) fn value(&self, boost_kpa: f64, rpm: f64) -> f64 {
        let (i, u) = place(&self.boost_kpa, boost_kpa);
        let (j, v) = place(&self.rpm, rpm);
        let at = |i: usize, j: usize| self.values[i.min(self.boost_kpa.len() - 1)][j.min(self.rpm.len() - 1)];
        match self.lookup {
            Lookup::Held => at(i, j),
            Lookup::Interpolated => {
                let low = at(i, j) * (1.0 - v) + at(i, j + 1) * v;
                let high = at(i + 1, j) * (1.0 - v) + at(i + 1, j + 1) * v;
                low * (1.0 - u) + high * u
            }
        }
    }
}

/// The interval of `axis` that holds `x`, and how far into it, 0 to 1; clamped to the ends.
fn place(axis: &[f64], x: f64) -> (usize, f64) {
    let last = axis.len() - 1;
    let i = axis.partition_point(|&a| a <= x);
    match i {
        0 => (0, 0.0),
        _ if i > last => (last, 0.0),
        _ => (i - 1, (x - axis[i - 1]) / (axis[i] - axis[i - 1])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_points_and_between() {
        let mut t = Table {
            boost_kpa: vec![50.0, 100.0],
            rpm: vec![2000.0, 4000.0, 6000.0],
            values: vec![vec![10.0, 20.0, 30.0], vec![30.0, 60.0, 90.0]],
            lookup: Lookup::Interpolated,
        };
        // Source: bilinear interpolation by hand; beyond the ends, the end.
        for (boost, rpm, interpolated, held) in [
            (50.0, 2000.0, 10.0, 10.0),
            (100.0, 6000.0, 90.0, 90.0),
            (75.0, 3000.0, 30.0, 10.0),
            (60.0, 5000.0, 35.0, 20.0),
            (-20.0, 1000.0, 10.0, 10.0),
            (500.0, 9000.0, 90.0, 90.0),
            (100.0, 4500.0, 67.5, 60.0),
        ] {
            t.lookup = Lookup::Interpolated;
            assert!((t.value(boost, rpm) - interpolated).abs() < 1e-12, "{boost} {rpm}");
            t.lookup = Lookup::Held;
            assert!((t.value(boost, rpm) - held).abs() < 1e-12, "{boost} {rpm}");
        }
    }
}
