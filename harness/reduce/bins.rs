//! Readings gathered in short bins: a mean with its uncertainty, and how it drifted, in bounded memory.
//!
//! In: readings with their times. Out: mean, random standard uncertainty that knows of correlation, change with time.
//! Bins start 100 ms wide and double in width when there would be more than [`BINS_MAX`]. Never: a mean of nothing.

use super::noise::{Trend, trend};

/// Bins at most.
const BINS_MAX: usize = 512;
/// Width of a bin to begin with, s.
const WIDTH_S: f64 = 0.1;

/// Readings from a start on.
#[derive(Clone, Debug)]
pub struct Bins {
    start_s: f64,
    width_s: f64,
    bins: Vec<Bin>,
    /// The bin that readings go into now, and its limits, s.
    open: usize,
    open_s: (f64, f64),
}

#[derive(Clone, Copy, Debug, Default)]
struct Bin {
    n: u32,
    sum: f64,
    squares: f64,
}

/// What readings over a span come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Average {
    /// Their mean.
    pub mean: f64,
    /// Random standard uncertainty of the mean.
    pub u: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// Standard deviation of single readings.
    pub sd: f64,
    /// Change per second, with its standard uncertainty.
    pub per_s: (f64, f64),
    /// How many.
    pub n: u32,
}

impl Bins {
    /// Bins from `start_s` on.
    #[must_use]
    pub fn new(start_s: f64) -> Self {
        Bins {
            start_s,
            width_s: WIDTH_S,
            bins: Vec::new(),
            open: 0,
            open_s: (f64::INFINITY, f64::NEG_INFINITY),
        }
    }

    /// Takes a reading; one before the start is left out.
    #[inline]
    pub fn add(&mut self, time_s: f64, value: f64) {
        if !value.is_finite() || !((self.open_s.0..self.open_s.1).contains(&time_s) || self.move_to(time_s)) {
            return;
        }
        let bin = &mut self.bins[self.open];
        bin.n += 1;
        bin.sum += value;
        bin.squares += value * value;
    }

    /// Opens the bin of a time; whether there is one.
    fn move_to(&mut self, time_s: f64) -> bool {
        if !(time_s >= self.start_s && time_s.is_finite()) {
            return false;
        }
        while (time_s - self.start_s) / self.width_s >= BINS_MAX as f64 {
            self.halve();
        }
        self.open = ((time_s - self.start_s) / self.width_s) as usize;
        if self.open >= self.bins.len() {
            self.bins.resize(self.open + 1, Bin::default());
        }
        let from_s = self.start_s + self.open as f64 * self.width_s;
        self.open_s = (from_s, from_s + self.width_s);
        true
    }

    /// Joins neighbours.
    fn halve(&mut self) {
        let join = |pair: &[Bin]| {
            pair.iter().fold(Bin::default(), |a, b| Bin {
                n: a.n + b.n,
                sum: a.sum + b.sum,
                squares: a.squares + b.squares,
            })
        };
        self.bins = self.bins.chunks(2).map(join).collect();
        self.width_s *= 2.0;
    }

    /// What the readings between two times come to, by whole bins whose middles lie between them; none without any.
    /// `resolution` is one step of the instrument: where the readings do not move, the mean is not known better than
    /// that (rectangular).
    #[must_use]
    pub fn average(&self, from_s: f64, to_s: f64, resolution: f64) -> Option<Average> {
        let (mut times, mut means) = (Vec::new(), Vec::new());
        let mut all = Bin::default();
        for (i, bin) in self.bins.iter().enumerate().filter(|(_, b)| b.n > 0) {
            let middle = self.start_s + (i as f64 + 0.5) * self.width_s;
            if (from_s..=to_s).contains(&middle) {
                times.push(middle);
                means.push(bin.sum / f64::from(bin.n));
                all = Bin { n: all.n + bin.n, sum: all.sum + bin.sum, squares: all.squares + bin.squares };
            }
        }
        let n = f64::from(all.n);
        let mean = (all.n > 0).then(|| all.sum / n)?;
        let centred = (all.squares - n * mean * mean).max(0.0);
        let sd = if all.n > 1 { (centred / (n - 1.0)).sqrt() } else { 0.0 };
        let steady = trend(&times, &means, 1);
        let (u, dof) = match &steady {
            Some(t) => (t.u[0], t.dof),
            None if all.n > 1 => (sd / n.sqrt(), n - 1.0),
            None => (0.0, f64::INFINITY),
        };
        let stuck = if sd < 0.5 * resolution { resolution / 12.0_f64.sqrt() } else { 0.0 };
        let drift = trend(&times, &means, 2).map_or((0.0, 0.0), |t: Trend| (t.coefficients[1], t.u[1]));
        Some(Average { mean, u: u.hypot(stuck), dof, sd, per_s: drift, n: all.n })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::{Seed, standard_normal};

    #[test]
    fn means_and_drifts() {
        let mut bins = Bins::new(10.0);
        assert_eq!(bins.average(0.0, 100.0, 0.1), None);
        let mut rng = Seed(1).stream("bins");
        for i in 0..20_000 {
            let t = 0.01 * f64::from(i);
            bins.add(t, 5.0 + 0.01 * (t - 60.0) + 0.2 * standard_normal(&mut rng));
        }
        bins.add(50.0, f64::NAN);
        let all = bins.average(0.0, 1e9, 0.0).unwrap();
        assert_eq!(all.n, 19_000, "readings before the start are left out");
        let part = bins.average(20.0, 100.0, 0.0).unwrap();
        assert!((part.mean - 5.0).abs() < 0.01, "{part:?}");
        assert!((part.per_s.0 - 0.01).abs() < 4.0 * part.per_s.1 && part.per_s.1 < 1e-3, "{part:?}");
        assert!(bins.bins.len() <= BINS_MAX);
    }

    #[test]
    fn readings_that_do_not_move_are_known_to_a_step() {
        let mut bins = Bins::new(0.0);
        (0..300).for_each(|i| bins.add(0.1 * f64::from(i), 412.0));
        let still = bins.average(0.0, 30.0, 1.0).unwrap();
        assert!((still.u - 1.0 / 12.0_f64.sqrt()).abs() < 1e-9);
        assert!(still.sd.abs() < 1e-6);
    }
}
