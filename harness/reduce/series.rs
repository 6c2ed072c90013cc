//! Time series for plots: every column, thinned to at most [`POINTS_MAX`] points with their least and greatest.
//!
//! In: rows as they come. Out: for each column, bins with mean, least and greatest. Never: a peak lost.

use crate::record::SampleRow;
use crate::script::role::Role;

/// Width of the short time that a point stands for, to begin with, s.
const WIDTH_S: f64 = 0.1;

/// Points a series has at most.
pub const POINTS_MAX: usize = 2000;

/// A thinned series.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Which role.
    pub role: Role,
    /// Points in order of time.
    pub points: Vec<Point>,
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

/// Thins every column of a record. All columns share the short times that points stand for.
pub struct Thinner {
    series: Vec<Series>,
    open: Vec<Open>,
    /// Number of the short time that is open.
    at: f64,
    width_s: f64,
}

/// What a column has in the short time that is open.
#[derive(Clone, Copy)]
struct Open {
    n: u32,
    sum: f64,
    least: f64,
    greatest: f64,
}

const EMPTY: Open = Open { n: 0, sum: 0.0, least: f64::INFINITY, greatest: f64::NEG_INFINITY };

impl Thinner {
    /// For a record with these columns.
    #[must_use]
    pub fn new(columns: &[Role]) -> Self {
        let empty = |role: &Role| Series { role: role.clone(), points: Vec::new() };
        Thinner {
            series: columns.iter().map(empty).collect(),
            open: vec![EMPTY; columns.len()],
            at: 0.0,
            width_s: WIDTH_S,
        }
    }

    /// Takes a row.
    pub fn row(&mut self, row: &SampleRow<'_>) {
        let from_start = row.time_s - self.at * self.width_s;
        // A row that comes a little late counts to the time that is open.
        if from_start >= self.width_s {
            self.end_point();
            self.at = (row.time_s / self.width_s).floor();
        }
        for (open, value) in self.open.iter_mut().zip(row.values) {
            if !value.is_nan() {
                open.n += 1;
                open.sum += value;
                open.least = open.least.min(*value);
                open.greatest = open.greatest.max(*value);
            }
        }
    }

    /// Ends the short time that is open.
    fn end_point(&mut self) {
        let time_s = (self.at + 0.5) * self.width_s;
        for (series, open) in self.series.iter_mut().zip(&mut self.open) {
            if open.n > 0 {
                let Open { n, sum, least, greatest } = std::mem::replace(open, EMPTY);
                series.points.push(Point { time_s, mean: sum / f64::from(n), least, greatest, n });
            }
        }
        if self.series.iter().any(|s| s.points.len() > POINTS_MAX) {
            self.width_s *= 2.0;
            self.series.iter_mut().for_each(|s| s.join(self.width_s));
        }
    }

    /// The series that have points.
    #[must_use]
    pub fn finish(mut self) -> Vec<Series> {
        self.end_point();
        self.series.into_iter().filter(|s| !s.points.is_empty()).collect()
    }
}

impl Series {
    /// Joins points of the same time at a new width.
    fn join(&mut self, width_s: f64) {
        let mut joined: Vec<Point> = Vec::with_capacity(self.points.len());
        for point in &self.points {
            let time_s = ((point.time_s / width_s).floor() + 0.5) * width_s;
            match joined.last_mut() {
                Some(last) if last.time_s + 0.25 * width_s >= time_s => last.join(point),
                _ => joined.push(Point { time_s, ..*point }),
            }
        }
        self.points = joined;
    }
}

impl Point {
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
            thinner.row(&SampleRow { time_s: 0.01 * f64::from(i), step: 1, values: &values });
        }
        let series = thinner.finish();
        assert_eq!(series.len(), 1, "a column without readings is no series");
        let points = &series[0].points;
        assert!((1000..=POINTS_MAX).contains(&points.len()), "{}", points.len());
        let top = points.iter().max_by(|a, b| a.greatest.total_cmp(&b.greatest)).unwrap();
        assert!((top.greatest - 901.0).abs() < 1e-9 && (top.time_s - 7777.77).abs() < 10.0);
        assert!(points.windows(2).all(|w| w[0].time_s < w[1].time_s));
        let count: u32 = points.iter().map(|p| p.n).sum();
        assert_eq!(count, 1_000_000);
    }
}
