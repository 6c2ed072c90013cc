//! The last stretch of a run as the screen needs it: flow from the cup, and trends.
//!
//! In: mass, pressure and time. Out: an estimate of flow for the eye, and trend lines. Never: a result; results come
//! from the record.

use std::collections::VecDeque;

/// Stretch the flow is taken over, s.
pub const FLOW_OVER_S: f64 = 3.0;
/// Fewest readings for a slope.
const READINGS_FEWEST: usize = 5;
/// Most readings kept for a slope.
const READINGS_MOST: usize = 64;

/// Slope of cup mass over the last seconds.
#[derive(Clone, Debug, Default)]
pub struct Slope {
    readings: VecDeque<(f64, f64)>,
}

impl Slope {
    /// Takes a reading: time (s), mass (g). A time that was seen before is not a new reading.
    pub fn take(&mut self, time_s: f64, mass_g: f64) {
        if self.readings.back().is_some_and(|(t, _)| *t >= time_s) || !mass_g.is_finite() {
            return;
        }
        self.readings.push_back((time_s, mass_g));
        while self.readings.len() > READINGS_MOST
            || self.readings.front().is_some_and(|(t, _)| time_s - t > FLOW_OVER_S)
        {
            self.readings.pop_front();
        }
    }

    /// Grams a second by least squares; none where there are too few readings or they cover too little time.
    #[must_use]
    pub fn g_s(&self) -> Option<f64> {
        let n = self.readings.len() as f64;
        let covered = self.readings.back()?.0 - self.readings.front()?.0;
        if self.readings.len() < READINGS_FEWEST || covered < FLOW_OVER_S / 3.0 {
            return None;
        }
        let mean = |of: fn(&(f64, f64)) -> f64| self.readings.iter().map(of).sum::<f64>() / n;
        let (t, m) = (mean(|r| r.0), mean(|r| r.1));
        let top: f64 = self.readings.iter().map(|r| (r.0 - t) * (r.1 - m)).sum();
        let bottom: f64 = self.readings.iter().map(|r| (r.0 - t).powi(2)).sum();
        Some(top / bottom)
    }
}

/// A quantity over the last stretch of time.
#[derive(Clone, Debug)]
pub struct Trend {
    points: VecDeque<(f64, f64)>,
    /// How far back it goes, s.
    pub over_s: f64,
}

impl Trend {
    /// An empty trend over the last `over_s` seconds.
    #[must_use]
    pub fn new(over_s: f64) -> Self {
        Trend { points: VecDeque::new(), over_s }
    }

    /// Takes a value, or that there was none; what is too old is forgotten.
    pub fn take(&mut self, time_s: f64, value: Option<f64>) {
        self.points.extend(value.filter(|v| v.is_finite()).map(|v| (time_s, v)));
        self.points.retain(|(t, _)| time_s - t <= self.over_s);
    }

    /// Lowest and highest value; none without one.
    #[must_use]
    pub fn span(&self) -> Option<(f64, f64)> {
        let values = self.points.iter().map(|p| p.1);
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
        (low <= high).then_some((low, high))
    }

    /// The mean in each of `columns` equal stretches up to `now_s`; none where nothing fell.
    #[must_use]
    pub fn columns(&self, columns: usize, now_s: f64) -> Vec<Option<f64>> {
        let mut sums = vec![(0.0, 0_u32); columns];
        let start = now_s - self.over_s;
        for (t, v) in &self.points {
            let place = (t - start) / self.over_s * columns as f64;
            let Some(sum) = sums.get_mut((place.max(0.0) as usize).min(columns.saturating_sub(1))) else {
                continue;
            };
            sum.0 += v;
            sum.1 += 1;
        }
        sums.iter().map(|(sum, n)| (*n > 0).then(|| sum / f64::from(*n))).collect()
    }
}

/// A trend as two rows of text, upper first; each column is one of sixteen heights, a blank where nothing is known.
#[must_use]
pub fn rows(columns: &[Option<f64>], (low, high): (f64, f64), blocks: bool) -> [String; 2] {
    const FINE: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    const COARSE: [char; 9] = [' ', '.', '.', ':', ':', '|', '|', '#', '#'];
    let signs = if blocks { FINE } else { COARSE };
    let span = (high - low).max(f64::MIN_POSITIVE);
    let mut out = [String::new(), String::new()];
    for value in columns {
        // A value that is known is seen: one sixteenth at least.
        let height = value.map_or(0, |v| (((v - low) / span).clamp(0.0, 1.0) * 15.0).round() as usize + 1);
        out[0].push(signs[height.saturating_sub(8)]);
        out[1].push(signs[height.min(8)]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_filling_gives_its_slope_and_a_handful_of_readings_gives_none() {
        let mut slope = Slope::default();
        for i in 0..4 {
            slope.take(f64::from(i), 100.0);
        }
        assert_eq!(slope.g_s(), None, "too few");
        let mut slope = Slope::default();
        for i in 0..200 {
            let t = f64::from(i) * 0.1;
            slope.take(t, 50.0 + 4.0 * t);
            slope.take(t, 999.0);
        }
        assert!((slope.g_s().unwrap() - 4.0).abs() < 1e-9, "the same time twice is one reading");
    }

    #[test]
    fn a_trend_forgets_and_leaves_gaps() {
        let mut trend = Trend::new(10.0);
        for i in 0..40 {
            trend.take(f64::from(i), (i % 10 < 5).then_some(f64::from(i)));
        }
        let columns = trend.columns(10, 39.0);
        assert_eq!(trend.span(), Some((30.0, 34.0)));
        assert!(columns[..5].iter().any(Option::is_some) && columns[7..].iter().all(Option::is_none));
        let [upper, lower] = rows(&[Some(0.0), None, Some(10.0)], (0.0, 10.0), true);
        assert_eq!((upper.as_str(), lower.as_str()), ("  █", "▁ █"));
    }
}
