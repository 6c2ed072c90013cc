//! Time series for plots: every column, thinned to at most [`POINTS_MAX`] points with their least and greatest.
//!
//! In: rows as they come. Out: for each column, bins with mean, least and greatest. Never: a peak lost.

use crate::record::SampleRow;
use crate::script::role::Role;

/// Points a series has at most.
pub const POINTS_MAX: usize = 2000;

/// A thinned series.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Which role.
    pub role: Role,
    /// Points in order of time.
    pub points: Vec<Point>,
    width_s: f64,
}

/// A point: readings of a short time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Middle of the time, s.
    pub time_s: f64,
    /// Mean of the readings.
    pub mean: f64,
    /// Least reading.
    pub least: f64,
    /// Greatest reading.
    pub greatest: f64,
    n: u32,
}

/// Thins every column of a record.
pub struct Thinner(Vec<Series>);

impl Thinner {
    /// For a record with these columns.
    #[must_use]
    pub fn new(columns: &[Role]) -> Self {
        let empty = |role: &Role| Series {
            role: role.clone(),
            points: Vec::new(),
            width_s: 0.1,
        };
        Thinner(columns.iter().map(empty).collect())
    }

    /// Takes a row.
    pub fn row(&mut self, row: &SampleRow<'_>) {
        for (series, value) in self.0.iter_mut().zip(row.values) {
            if !value.is_nan() {
                series.add(row.time_s, *value);
            }
        }
    }

    /// The series that have points.
    #[must_use]
    pub fn finish(self) -> Vec<Series> {
        self.0.into_iter().filter(|s| !s.points.is_empty()).collect()
    }
}

impl Series {
    fn add(&mut self, time_s: f64, value: f64) {
        let middle = ((time_s / self.width_s).floor() + 0.5) * self.width_s;
        match self.points.last_mut() {
            Some(last) if last.time_s + 0.25 * self.width_s >= middle => last.add(value),
            _ => self.points.push(Point {
                time_s: middle,
                mean: value,
                least: value,
                greatest: value,
                n: 1,
            }),
        }
        if self.points.len() > POINTS_MAX {
            self.halve();
        }
    }

    /// Doubles the width of the points.
    fn halve(&mut self) {
        self.width_s *= 2.0;
        let mut joined: Vec<Point> = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let middle = ((point.time_s / self.width_s).floor() + 0.5) * self.width_s;
            match joined.last_mut() {
                Some(last) if last.time_s + 0.25 * self.width_s >= middle => last.join(point),
                _ => joined.push(Point {
                    time_s: middle,
                    ..*point
                }),
            }
        }
        self.points = joined;
    }
}

impl Point {
    fn add(&mut self, value: f64) {
        self.join(&Point {
            time_s: self.time_s,
            mean: value,
            least: value,
            greatest: value,
            n: 1,
        });
    }

    fn join(&mut self, other: &Point) {
        let (a, b) = (f64::from(self.n), f64::from(other.n));
        self.mean = (a * self.mean + b * other.mean) / (a + b);
        self.least = self.least.min(other.least);
        self.greatest = self.greatest.max(other.greatest);
        self.n += other.n;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn peaks_survive_and_memory_is_bounded() {
        let mut thinner = Thinner::new(&[Role::LinePressure, Role::Supply]);
        for i in 0..1_000_000_u32 {
            let peak = if i == 777_777 { 900.0 } else { 400.0 };
            let values = [peak + f64::from(i % 2), f64::NAN];
            thinner.row(&SampleRow {
                time_s: 0.01 * f64::from(i),
                step: 1,
                values: &values,
            });
        }
        let series = thinner.finish();
        assert_eq!(series.len(), 1, "a column without readings is no series");
        let points = &series[0].points;
        assert!((1000..=POINTS_MAX).contains(&points.len()), "{}", points.len());
        let top = points
            .iter()
            .max_by(|a, b| a.greatest.total_cmp(&b.greatest))
            .unwrap();
        assert!((top.greatest - 901.0).abs() < 1e-9 && (top.time_s - 7777.77).abs() < 10.0);
        assert!(points.windows(2).all(|w| w[0].time_s < w[1].time_s));
        let count: u32 = points.iter().map(|p| p.n).sum();
        assert_eq!(count, 1_000_000);
    }
}
