//! Propagation of distributions by Monte Carlo (JCGM 101:2008), seeded.
//!
//! In: a function, what is known of its inputs, a random stream, a number of trials. Out: mean, standard uncertainty and
//! coverage intervals of the output. The same stream gives the same numbers. Never: a trial dropped because its output
//! is not a number.

use super::error::{NumericsError, all_finite, at_least};
use super::gum::type_a;
use crate::chance::{Distribution as _, Stream, standard_normal, uniform};
use rand_distr::StudentT;

/// Trials that give a 95 % interval two significant digits (JCGM 101:2008, 7.2.2).
pub const TRIALS_USUAL: usize = 200_000;
/// Most trials: beyond, memory would be the price.
pub const TRIALS_MAX: usize = 4_000_000;

/// What is known of an input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Input {
    /// Known exactly.
    Constant(f64),
    /// Mean and standard uncertainty.
    Normal(f64, f64),
    /// Mean, standard uncertainty from readings, and its degrees of freedom (JCGM 101:2008, 6.4.9).
    T(f64, f64, f64),
    /// Between two limits with equal probability.
    Rectangular(f64, f64),
    /// Between two limits, the middle likelier.
    Triangular(f64, f64),
    /// Between two limits, swinging like a sine.
    Arcsine(f64, f64),
}

impl Input {
    /// One draw.
    pub fn draw(&self, stream: &mut Stream) -> f64 {
        match *self {
            Input::Constant(value) => value,
            Input::Normal(mean, u) => mean + u * standard_normal(stream),
            Input::T(mean, u, dof) => mean + u * student(stream, dof),
            Input::Rectangular(low, high) => uniform(stream, low, high),
            Input::Triangular(low, high) => 0.5 * (uniform(stream, low, high) + uniform(stream, low, high)),
            Input::Arcsine(low, high) => {
                let angle = uniform(stream, 0.0, std::f64::consts::TAU);
                0.5 * (low + high) + 0.5 * (high - low) * angle.sin()
            }
        }
    }
}

/// Student's t; normal for infinite degrees of freedom, not a number for none.
fn student(stream: &mut Stream, dof: f64) -> f64 {
    if dof.is_infinite() && dof > 0.0 {
        return standard_normal(stream);
    }
    StudentT::new(dof).map_or(f64::NAN, |d| d.sample(stream))
}

/// Outputs of the trials, sorted.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Mean.
    pub mean: f64,
    /// Standard uncertainty.
    pub u: f64,
    sorted: Vec<f64>,
}

impl Outcome {
    /// From the outputs of at least two trials.
    ///
    /// # Errors
    /// `TooFewPoints`, `NotFinite`.
    pub fn new(mut outputs: Vec<f64>) -> Result<Self, NumericsError> {
        at_least(outputs.len(), 2)?;
        all_finite(&outputs, "an output of a trial")?;
        let a = type_a(&outputs)?;
        outputs.sort_unstable_by(f64::total_cmp);
        Ok(Self { mean: a.mean, u: a.sd, sorted: outputs })
    }

    /// The output that this share of trials does not exceed.
    #[must_use]
    pub fn quantile(&self, probability: f64) -> f64 {
        let place = probability.clamp(0.0, 1.0) * (self.sorted.len() - 1) as f64;
        let below = place.floor() as usize;
        let above = (below + 1).min(self.sorted.len() - 1);
        self.sorted[below] + (place - below as f64) * (self.sorted[above] - self.sorted[below])
    }

    /// Interval that leaves equal probability on both sides (JCGM 101:2008, 7.7.2).
    #[must_use]
    pub fn symmetric(&self, probability: f64) -> (f64, f64) {
        (self.quantile(0.5 * (1.0 - probability)), self.quantile(0.5 * (1.0 + probability)))
    }

    /// Shortest interval with this probability (JCGM 101:2008, 7.7.4).
    #[must_use]
    pub fn shortest(&self, probability: f64) -> (f64, f64) {
        let n = self.sorted.len();
        let inside = ((probability.clamp(0.0, 1.0) * n as f64 + 0.5) as usize).clamp(1, n - 1);
        let width = |i: usize| self.sorted[i + inside] - self.sorted[i];
        let best = (0..n - inside).fold(0, |best, i| if width(i) < width(best) { i } else { best });
        (self.sorted[best], self.sorted[best + inside])
    }
}

/// Draws the inputs `trials` times and evaluates `f` each time.
///
/// # Errors
/// `TooFewPoints` below two trials, `OutOfRange` above [`TRIALS_MAX`], `NotFinite` where an output is not a number.
pub fn propagate(
    stream: &mut Stream,
    trials: usize,
    inputs: &[Input],
    f: impl Fn(&[f64]) -> f64,
) -> Result<Outcome, NumericsError> {
    if trials > TRIALS_MAX {
        return Err(NumericsError::OutOfRange {
            what: "trials",
            found: trials as f64,
            expected: "at most 4000000",
        });
    }
    let mut drawn = vec![0.0; inputs.len()];
    let outputs = (0..trials)
        .map(|_| {
            for (value, input) in drawn.iter_mut().zip(inputs) {
                *value = input.draw(stream);
            }
            f(&drawn)
        })
        .collect();
    Outcome::new(outputs)
}
